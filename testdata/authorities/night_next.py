"""The first night in which a target stands above a limit in the dark, by astropy's built-in ephemeris.

Run: /usr/bin/python3 night_next.py > night_next.csv   (Debian's python3-astropy; no network; ten minutes)

Every night of a year is looked at, minute by minute: the Sun's middle truly below -18 degrees and the target truly above its
limit (refraction, 2' at 25 degrees, is left out), without a break, straight lines between the minutes. Nights run from mean
noon to mean noon at the site and are called by the date of the first. Written are the length of the longest stretch on the night before the first that reaches
the length asked for, and on that night with its ends; "never" where no night of 366 does.
"""
import numpy as np
import astropy
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body, solar_system_ephemeris
from astropy.time import Time
from astropy.utils import iers

iers.conf.auto_download = False
iers.conf.iers_degraded_accuracy = "ignore"
solar_system_ephemeris.set("builtin")
STEP = 60  # seconds

print("# astropy", astropy.__version__)
print("name,lat,lon,height_m,ra_deg,dec_deg,limit_deg,from,least_min,night,begin_utc,end_utc,length_min,before_min")


def longest(margin):
    """The ends, in steps, of the longest stretch with a margin above zero."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (margin > 0).astype(int), [0]])))
    best = (0.0, 0.0)
    for a, b in edges.reshape(-1, 2):
        begin = a - margin[a] / (margin[a] - margin[a - 1]) if a > 0 else 0.0
        end = b - 1 + margin[b - 1] / (margin[b - 1] - margin[b]) if b < len(margin) else float(len(margin) - 1)
        if end - begin > best[1] - best[0]:
            best = (begin, end)
    return best


def first(name, lat, lon, height, ra, dec, limit, date, least):
    where = EarthLocation(lat=lat * u.deg, lon=lon * u.deg, height=height * u.m)
    head = f"{name},{lat},{lon},{height},{ra},{dec},{limit},{date},{least}"
    before = ""
    for day in range(366):
        noon = Time(date + "T12:00:00", scale="utc") + day * u.day - lon / 15 * u.hour
        t = noon + np.arange(0, 86400, STEP) * u.s
        frame = AltAz(obstime=t, location=where)
        margin = -18 - get_body("sun", t, where).transform_to(frame).alt.deg
        if ra != "" and (margin > 0).any():
            margin = np.minimum(margin, SkyCoord(ra * u.deg, dec * u.deg).transform_to(frame).alt.deg - limit)
        a, b = longest(margin)
        length = (b - a) * STEP / 60
        if length >= least:
            night = (Time(date) + day * u.day).isot[:10]
            ends = [(noon + x * STEP * u.s).isot[:19] + "Z" for x in (a, b)]
            print(f"{head},{night},{ends[0]},{ends[1]},{length:.1f},{before}")
            return
        before = f"{length:.1f}"
    print(f"{head},never,,,,")


first("Orion Nebula after spring", 46.02, 7.75, 1620, 83.85, -5.45, 25, "2026-06-01", 30)
first("Vega after midsummer", 60, 25, 0, 279.2347, 38.7837, 25, "2026-06-21", 30)
first("darkness alone", 60, 25, 0, "", "", "", "2026-06-21", 30)
first("a summer cluster far north", 66, 25, 0, 274.7, -13.8, 8, "2026-05-15", 30)
first("an hour of it in the Alps", 46.02, 7.75, 1620, 274.7, -13.8, 25, "2026-10-01", 60)
first("the southern cross in October", -33.9, 18.4, 0, 186.65, -63.1, 40, "2026-10-01", 30)
first("polar summer", 71, 25, 0, 10.685, 41.269, 25, "2026-06-01", 30)
