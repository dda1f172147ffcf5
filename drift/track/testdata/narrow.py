"""Places of an invented field's stars in the pictures of a mount whose axis is known, by ERFA (IAU SOFA).

Run: /usr/bin/python3 narrow.py   (Debian's python3-erfa, python3-numpy); writes narrow_*.csv beside it.

Every star: ICRS -> observed place (erfa.atco13: precession, nutation, aberration, refraction for the air given) ->
east, north, up. The camera is fixed to a mount that turns about its axis (east-north-up unit vector a, toward the
north pole) by theta = rate*omega*t + wobble(t): C(t) = C0 * Rot(a, theta), so a direction s of the sky has the camera
coordinates C0 * Rot(a, theta) s with Rot turning by +theta (the sky turns by -omega about the north pole seen from the
ground). Pinhole camera, x right, y down, pixel centres at integers. No noise. In the exposures with the motor off theta
stands. Rows: picture, star, x and y at the start, middle and end of the exposure.
"""
import numpy as np, erfa, os

HERE = os.path.dirname(os.path.abspath(__file__))
OMEGA = 7.292115e-5
ARCMIN = np.radians(1 / 60)

def rot(axis, angle):
    """Right-handed rotation of vectors (Rodrigues)."""
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * (k @ k)

def observed(ra, dec, jd1, jd2, site):
    lat, lon, h, pressure, temp = site
    az, zd, *_ = erfa.atco13(ra, dec, 0, 0, 0, 0, jd1, jd2, 0.0, np.radians(lon), np.radians(lat), h, 0, 0,
                             pressure, temp, 0.5, 0.55)
    return np.stack([np.sin(zd) * np.sin(az), np.sin(zd) * np.cos(az), np.cos(zd)], -1)

def refracted_pole(site, jd1, jd2):
    """North pole as seen: the mean direction of a small circle of observed stars about the pole of date."""
    lat, lon, h, pressure, temp = site
    a, b = erfa.refco(pressure, temp, 0.5, 0.55)
    z = np.radians(90 - abs(lat))
    lift = a * np.tan(z) + b * np.tan(z) ** 3
    alt = np.radians(abs(lat)) + lift
    return alt

def scene(name, seed, site, ra0, dec0, roll, alt_err, az_err, rate, wobble, start, every, count, exposure, off, width, height, scale, nstars):
    rng = np.random.default_rng(seed)
    f = 1 / np.tan(np.radians(scale / 3600))
    # stars over somewhat more than the picture
    half = np.radians(scale / 3600) * np.hypot(width, height) / 2 * 1.3
    xi, eta = rng.uniform(-half, half, (2, nstars))
    mag = 8 + 5 * rng.uniform(size=nstars) ** 0.5
    r0, d0 = np.radians(ra0), np.radians(dec0)
    z = np.array([np.cos(d0) * np.cos(r0), np.cos(d0) * np.sin(r0), np.sin(d0)])
    east = np.array([-np.sin(r0), np.cos(r0), 0]); north = np.cross(z, east)
    v = z + np.outer(xi, east) + np.outer(eta, north)
    v /= np.linalg.norm(v, axis=1)[:, None]
    ra, dec = np.arctan2(v[:, 1], v[:, 0]), np.arcsin(v[:, 2])
    lat = site[0]
    pole_alt = refracted_pole(site, *start)
    # the elevated end: azimuth 0 in the north, 180 in the south; errors: altitude up, azimuth clockwise
    a_alt = pole_alt + alt_err * ARCMIN
    a_az = (0 if lat >= 0 else np.pi) + az_err * ARCMIN
    axis = np.array([np.cos(a_alt) * np.sin(a_az), np.cos(a_alt) * np.cos(a_az), np.sin(a_alt)])
    truth = (np.degrees(a_alt), np.degrees(a_az) % 360)
    if lat < 0:
        axis = -axis  # the end toward the north pole
    # C0: at the middle of the first exposure the camera looks at (ra0, dec0) with up at position angle roll
    t0 = exposure / 2
    e = np.array([ra0, ra0, ra0]); small = np.radians(0.01)
    up_icrs = np.cos(np.radians(roll)) * north + np.sin(np.radians(roll)) * east
    tip = z + small * up_icrs; tip /= np.linalg.norm(tip)
    def at(t, vec):
        return observed(np.arctan2(vec[1], vec[0]), np.arcsin(vec[2]), start[0], start[1] + t / 86400, site)
    def theta(t):
        running = sum(min(t, b) - min(t, a) for a, b in zip([-1e9] + [o[1] for o in off], [o[0] for o in off] + [1e9]))
        running += 1e9
        return OMEGA * rate * running + np.radians(wobble[0] / 3600 / 2) * np.sin(2 * np.pi * running / wobble[1])
    zc = at(t0, z); u = at(t0, tip); u = u - zc * (u @ zc); u /= np.linalg.norm(u)
    c_now = np.stack([np.cross(-u, zc), -u, zc])  # rows x right, y down, z forward
    c0 = c_now @ rot(axis, theta(t0)).T
    with open(os.path.join(HERE, f"narrow_{name}.csv"), "w") as out:
        mjd = start[0] - 2400000.5 + start[1]
        print(f"# erfa {erfa.__version__}; site {site}; pictures of {width}x{height}, {scale} arcsec a pixel", file=out)
        print(f"# truth,{truth[0]:.7f},{truth[1]:.7f},{alt_err},{az_err},{rate}", file=out)
        print(f"# given,{site[0]},{site[1]},{site[2]},{ra0},{dec0},{roll},{width},{height},{scale},{exposure},{site[3]},{site[4]}", file=out)
        print("picture,start_s,star,mag,x0,y0,x1,y1,x2,y2", file=out)
        for i in range(count):
            ts = i * every
            xy = []
            for t in (ts, ts + exposure / 2, ts + exposure):
                s = observed(ra, dec, start[0], start[1] + t / 86400, site)
                cam = s @ (c0 @ rot(axis, theta(t))).T
                xy.append(np.stack([f * cam[:, 0] / cam[:, 2] + (width - 1) / 2, f * cam[:, 1] / cam[:, 2] + (height - 1) / 2], -1))
            for k in range(nstars):
                x, y = xy[1][k]
                if -20 < x < width + 20 and -20 < y < height + 20:
                    print(f"{i},{ts},{k},{mag[k]:.2f}," + ",".join(f"{c:.4f}" for p in xy for c in p[k]), file=out)

def jd(y, m, d, hh, mm):
    return erfa.dtf2d("UTC", y, m, d, hh, mm, 0)

# Fifteen pictures tracked, the last one with the motor off.
scene("north", 1, (46.02, 7.75, 1620, 830.0, 5.0), 10.0, 20.0, 25.0, 30.0, -50.0, 1.0, (30.0, 480.0),
      jd(2026, 11, 25, 20, 30), 30, 16, 3, [(15 * 30 - 12, 1e8)], 1600, 1200, 1.62, 110)
scene("south", 2, (-33.4, -70.6, 2400, 760.0, 8.0), 84.0, -35.0, 200.0, -40.0, 35.0, 1.0, (30.0, 480.0),
      jd(2026, 11, 26, 4, 30), 30, 16, 3, [(15 * 30 - 12, 1e8)], 1600, 1200, 1.62, 110)
