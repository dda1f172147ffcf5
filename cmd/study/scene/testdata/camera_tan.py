"""Reference for camera_test.go: where astropy's gnomonic WCS (TAN) sees stars, and where its
SIP polynomials (AP, BP: ideal to measured) move them when they spell out the radial and tangential terms.

    /usr/bin/python3 camera_tan.py > camera_tan.csv

FITS counts pixels from 1; the y axis runs down here, as in a picture shown with its first row on top.
"""
import astropy
import numpy as np
from astropy.wcs import WCS, Sip

print(f"# astropy {astropy.__version__}, WCS RA---TAN/DEC--TAN; distortion by Sip AP, BP; camera_tan.py")
print("width,height,focal_px,off_x,off_y,k1,k2,t1,t2,ra_deg,dec_deg,roll_deg,star_ra_deg,star_dec_deg,x,y")
rng = np.random.default_rng(20261126)


def polynomial(order, terms):
    m = np.zeros((order + 1, order + 1))
    for (p, q), v in terms.items():
        m[p, q] += v
    return m


for n in range(40):
    w, h = [(4032, 3024), (1024, 768), (768, 1024)][n % 3]
    half = np.hypot(w, h) / 2
    diagonal = np.radians(rng.uniform(5, 90))
    f = half / np.tan(diagonal / 2)
    bent = n % 2 == 1
    offx, offy = rng.uniform(-30, 30, 2)
    k1, k2, t1, t2 = (rng.uniform(-1, 1, 4) * [0.1, 0.03, 0.002, 0.002]) if bent else np.zeros(4)
    ra, dec, roll = rng.uniform(0, 360), np.degrees(np.arcsin(rng.uniform(-1, 1))), rng.uniform(0, 360)
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = [ra, dec]
    wcs.wcs.crpix = [(w - 1) / 2 + offx + 1, (h - 1) / 2 + offy + 1]
    s = np.degrees(1 / f)
    r = np.radians(roll)
    # right = (-cos r, sin r), down = (-sin r, -cos r) in (east, north): with roll 0 east is left
    wcs.wcs.cd = s * np.array([[-np.cos(r), -np.sin(r)], [np.sin(r), -np.cos(r)]])
    wcs.wcs.set()
    made = 0
    while made < 5:
        # somewhere in the picture without distortion
        px, py = rng.uniform(0, w - 1), rng.uniform(0, h - 1)
        sra, sdec = wcs.wcs_pix2world(px, py, 0)
        x, y = wcs.wcs_world2pix(float(sra), float(sdec), 0)
        if bent:
            ap = polynomial(5, {(3, 0): k1 / half**2, (1, 2): k1 / half**2, (5, 0): k2 / half**4, (3, 2): 2 * k2 / half**4,
                                (1, 4): k2 / half**4, (1, 1): 2 * t1 / half, (2, 0): 3 * t2 / half, (0, 2): t2 / half})
            bp = polynomial(5, {(0, 3): k1 / half**2, (2, 1): k1 / half**2, (0, 5): k2 / half**4, (2, 3): 2 * k2 / half**4,
                                (4, 1): k2 / half**4, (1, 1): 2 * t2 / half, (0, 2): 3 * t1 / half, (2, 0): t1 / half})
            sip = Sip(np.zeros((2, 2)), np.zeros((2, 2)), ap, bp, wcs.wcs.crpix)
            # focal coordinates are counted from crpix
            x, y = sip.foc2pix(np.array([[x + 1 - wcs.wcs.crpix[0], y + 1 - wcs.wcs.crpix[1]]]), 1)[0] - 1
        print(",".join(repr(float(v)) for v in (w, h, f, offx, offy, k1, k2, t1, t2, ra, dec, roll, sra, sdec, x, y)))
        made += 1
