"""Three nights by astropy's built-in ephemeris, for cmd/face/testdata/tonight.txtar.

Run: /usr/bin/python3 tonight.py > tonight.csv   (Debian's python3-astropy; no network)

Sun at -50', -6, -12 and -18 degrees (its middle, without air), the Moon's upper limb with 34' of refraction and a
semidiameter of 15.6', the target truly at 25 degrees, when it is highest, and how far the Moon is from it then.
"""
import sys
import numpy as np
import astropy
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body, solar_system_ephemeris
from astropy.time import Time
from astropy.utils import iers

iers.conf.auto_download = False
iers.conf.iers_degraded_accuracy = "ignore"
solar_system_ephemeris.set("builtin")
STEP = 30  # seconds, straight lines between

print("# astropy", astropy.__version__)
print("lat,lon,height_m,noon,what,way,utc,value_deg")


def night(lat, lon, height, noon, ra, dec):
    where = EarthLocation(lat=lat * u.deg, lon=lon * u.deg, height=height * u.m)
    t = Time(noon, scale="utc") + np.arange(0, 86400, STEP) * u.s
    frame = AltAz(obstime=t, location=where)
    head = f"{lat},{lon},{height},{noon}"
    moon = get_body("moon", t, where)
    target = SkyCoord(ra * u.deg, dec * u.deg).transform_to(frame)
    sun = get_body("sun", t, where).transform_to(frame).alt.deg

    def crossings(what, alt, limit):
        for i in np.flatnonzero(np.diff(np.sign(alt - limit))):
            share = (limit - alt[i]) / (alt[i + 1] - alt[i])
            way = "up" if alt[i + 1] > alt[i] else "down"
            print(f"{head},{what},{way},{(t[i] + share * STEP * u.s).isot[:19]}Z,{limit:.3f}")

    for what, limit in [("sun", -50 / 60), ("civil", -6), ("nautical", -12), ("dark", -18)]:
        crossings(what, sun, limit)
    crossings("moon", moon.transform_to(frame).alt.deg, -(34 + 15.6) / 60)
    crossings("target", target.alt.deg, 25)
    best = int(np.argmax(target.alt.deg))
    print(f"{head},highest,,{t[best].isot[:19]}Z,{target.alt.deg[best]:.3f}")
    apart = moon.transform_to(frame)[best].separation(target[best]).deg
    print(f"{head},moon distance,,{t[best].isot[:19]}Z,{apart:.2f}")


night(46.02, 7.75, 1620, "2026-11-25T11:30:00", 83.85, -5.45)
night(60, 25, 0, "2026-06-21T10:20:00", 83.85, -5.45)
night(-33.9, 18.4, 0, "2026-12-10T10:46:00", 83.85, -5.45)
