"""Pixel places of stars on a fixed tripod, by astropy (ERFA) alone.

Run with Debian's astropy 5.2.1 and pyerfa 2.0.0.1:

    /usr/bin/python3 tripod_astropy.py > tripod_astropy.csv

A camera without lens faults, 2000 x 1500 px, focal length 6644.5 px, stands
upright, aimed at ICRS 65.0 +18.0 at the middle of a 15 s exposure that begins
at 2026-01-10T20:00:00Z, and then does not move. Places are given for the middle
of that exposure and of the one that begins 180 s later. UT1 is taken as UTC, as
the project does. Star places (HIP, ICRS degrees) are those of the embedded
catalogue.
"""
import warnings
import numpy as np
import astropy.units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time
from astropy.utils import iers

iers.conf.auto_download = False
warnings.simplefilter("ignore")

STARS = [
    (21421, 68.9802, 16.5093), (20894, 67.1656, 15.8709), (20889, 67.1542, 19.1804),
    (20205, 64.9483, 15.6276), (20455, 65.7337, 17.5425), (20635, 66.3424, 22.2939),
    (20711, 66.5769, 22.8136), (20648, 66.3724, 17.9279), (19038, 61.1738, 22.0819),
    (18724, 60.1701, 12.4903),
]
SITES = [("north", 47.2, 11.4, 600.0), ("south", -33.4, 18.9, 250.0)]
FOCAL, CX, CY = 6644.5, 999.5, 749.5


def enu(coord, site, when):
    """East, north, up unit vectors with refraction: 5 C, 940 hPa, dry, 0.55 um."""
    when.delta_ut1_utc = 0.0
    frame = AltAz(obstime=when, location=site, pressure=940 * u.hPa,
                  temperature=5 * u.deg_C, relative_humidity=0, obswl=0.55 * u.micron)
    h = coord.transform_to(frame)
    az, alt = h.az.rad, h.alt.rad
    return np.array([np.cos(alt) * np.sin(az), np.cos(alt) * np.cos(az), np.sin(alt)])


print("site,after_s,hip,x_px,y_px")
for name, lat, lon, height in SITES:
    site = EarthLocation.from_geodetic(lon * u.deg, lat * u.deg, height * u.m)
    t0 = Time("2026-01-10T20:00:07.5", scale="utc")
    forward = enu(SkyCoord(65.0 * u.deg, 18.0 * u.deg, frame="icrs"), site, t0)
    right = np.cross(forward, [0, 0, 1])
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    for after in (0, 180):
        when = t0 + after * u.s
        for hip, ra, dec in STARS:
            v = enu(SkyCoord(ra * u.deg, dec * u.deg, frame="icrs"), site, when)
            x = CX + FOCAL * (v @ right) / (v @ forward)
            y = CY + FOCAL * (v @ down) / (v @ forward)
            print(f"{name},{after},{hip},{x:.4f},{y:.4f}")
