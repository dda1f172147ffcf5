"""Sun, Moon and what nights bring, by astropy's built-in ephemeris (ERFA), for ephem and ephem/night.

Run: /usr/bin/python3 night_reference.py   (Debian's python3-astropy; no network). Writes night_bodies.csv and
night_events.csv beside itself. UTC is taken as UT1, as the project does. Altitudes are of the middle, without air.
Limits: Sun -50', -6, -12, -18 degrees; Moon: upper edge at -34'. "lowest" and "highest" give altitudes of the Sun,
"lit" the share of the Moon's disc at mean midnight.
"""
import os
import numpy as np
import astropy
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, get_body, solar_system_ephemeris
from astropy.time import Time
from astropy.utils import iers

iers.conf.auto_download = False
iers.conf.iers_degraded_accuracy = "ignore"
solar_system_ephemeris.set("builtin")
here = os.path.dirname(os.path.abspath(__file__))
SITES = [(-78, 167, 10), (-33, -70, 1200), (0, 37, 1800), (46, 7.75, 1620), (60, 25, 0), (71, 25, 100)]
DATES = ["2026-06-21", "2026-12-21", "2026-03-20", "2027-09-10", "1975-02-11", "1994-05-03", "2050-11-14"]
NIGHTS = [(*s, d) for s in SITES for d in DATES]
# Where the Sun just reaches, or just misses, a limit at midnight or noon.
NIGHTS += [(lat, 25, 0, d) for lat, d in [
    (48.55, "2026-06-21"), (48.5625, "2026-06-21"), (48.57, "2026-06-21"), (48.58, "2026-06-21"),
    (65.72, "2026-06-21"), (65.73, "2026-06-21"), (65.74, "2026-06-21"),
    (67.39, "2026-12-21"), (67.40, "2026-12-21"), (67.41, "2026-12-21"), (-65.73, "2026-12-21")]]
STEP = 30  # seconds, straight lines between


def altaz(body, t, where):
    a = get_body(body, t, where)
    h = a.transform_to(AltAz(obstime=t, location=where))
    return h.alt.deg, h.az.deg, a.distance.to_value(u.km)


def lit(t):
    sun, moon = get_body("sun", t), get_body("moon", t)
    e = sun.separation(moon)
    i = np.arctan2(sun.distance * np.sin(e), moon.distance - sun.distance * np.cos(e))
    return float((1 + np.cos(i)) / 2)


bodies = open(os.path.join(here, "night_bodies.csv"), "w")
events = open(os.path.join(here, "night_events.csv"), "w")
for f in (bodies, events):
    print("# astropy", astropy.__version__, file=f)
print("lat,lon,height_m,utc,body,altitude_deg,azimuth_deg", file=bodies)
print("lat,lon,height_m,date,what,way,utc,value", file=events)
for lat, lon, height, date in NIGHTS:
    where = EarthLocation(lat=lat * u.deg, lon=lon * u.deg, height=height * u.m)
    noon = Time((Time(date + "T12:00:00", scale="utc") - lon / 15 * u.hour).isot[:19], scale="utc")
    t = noon + np.arange(-1800, 86400 + 1800 + STEP, STEP) * u.s
    t.delta_ut1_utc = 0.0
    sun, moon = altaz("sun", t, where), altaz("moon", t, where)
    for i in range(0, len(t), 840):
        for name, b in (("sun", sun), ("moon", moon)):
            print(f"{lat},{lon},{height},{t[i].isot[:19]}Z,{name},{b[0][i]:.5f},{b[1][i]:.5f}", file=bodies)
    head = f"{lat},{lon},{height},{date}"
    edge = np.degrees(np.arcsin(0.272481 * 6378.14 / moon[2]))
    for what, d in [("sun", sun[0] + 50 / 60), ("civil", sun[0] + 6), ("nautical", sun[0] + 12), ("dark", sun[0] + 18),
                    ("moon", moon[0] + edge + 34 / 60)]:
        for i in np.flatnonzero(np.diff(np.sign(d))):
            at = t[i] + -d[i] / (d[i + 1] - d[i]) * STEP * u.s
            print(f"{head},{what},{'up' if d[i + 1] > d[i] else 'down'},{at.isot[:19]}Z,", file=events)
    print(f"{head},lowest,,,{sun[0].min():.5f}", file=events)
    print(f"{head},highest,,,{sun[0].max():.5f}", file=events)
    mid = noon + 12 * u.hour
    mid.delta_ut1_utc = 0.0
    print(f"{head},lit,,{mid.isot[:19]}Z,{lit(mid):.5f}", file=events)
