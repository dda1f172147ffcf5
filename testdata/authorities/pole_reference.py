"""Reference output for package ephem/pole, written by ERFA (the IAU's SOFA library) and checked against astropy.

    /usr/bin/python3 testdata/authorities/pole_reference.py

writes pole_view.csv beside itself. It needs Debian's python3-erfa and python3-astropy and no network. Angles are degrees
unless a column says otherwise. UTC is used as UT1, the pole stands still in the Earth, air is dry, the wavelength
0.55 micrometres. Stars: positions J2000 (ICRS) and proper motions of the Hipparcos catalogue, from memory.

true_*: without air. seen_*: with ERFA's refraction, which holds above about 5 degrees; where the pole stands lower, low_* are what
Saemundsson's formula gives instead (Meeus, Astronomical Algorithms, 2nd ed., eq. 16.4, p. 106, with the factor for pressure and
temperature below it), which takes the true altitude. right/up: the star beside the pole as
seen, for someone who faces the pole, by spherical trigonometry on the two directions.
"""

import csv
import math
import os
import warnings

import astropy
import astropy.units as u
import erfa
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time
from astropy.utils import iers

iers.conf.auto_download = False
iers.conf.auto_max_age = None
warnings.simplefilter("ignore")  # "dubious year": dates far off

HERE = os.path.dirname(os.path.abspath(__file__))
DEG = math.pi / 180
WAVELENGTH_UM = 0.55

# latitude, longitude (east), height m, temperature C, pressure hPa: invented weather at invented places
SITES = [
    (-78, 166, 10, -30, 985),
    (-33, -70.8, 2400, 8, 765),
    (-2, 33, 1140, 18, 885),
    (0, -78.5, 2800, 10, 725),
    (46, 7.75, 1600, -5, 835),
    (60, 25, 20, 0, 1013),
    (71, -156.8, 100, -8, 1000),
    (88, -60, 30, -35, 1020),
]
DATES = [(1990, 2, 3, 4, 5, 0.0), (2010, 6, 21, 23, 30, 0.0), (2026, 11, 25, 21, 30, 0.0), (2050, 9, 9, 14, 0, 0.0), (2090, 4, 30, 19, 45, 0.0)]
#                 ra, dec (degrees), proper motion toward east and north, mas a year
STARS = {True: (11767, 37.95456067, 89.26410897, 44.22, -11.74), False: (104382, 317.1951867, -88.9564994, 25.79, 5.02)}


def observed(star, site, when, pressure):
    """azimuth, altitude, hour angle (hours 0-24), declination"""
    lat, lon, height, temperature, _ = site
    _, ra, dec, east, north = star
    mas = DEG / 3600e3
    az, zd, ha, dob, *_ = erfa.atco13(ra * DEG, dec * DEG, east * mas / math.cos(dec * DEG), north * mas, 0, 0, *when, 0,
                                      lon * DEG, lat * DEG, height, 0, 0, pressure, temperature, 0, WAVELENGTH_UM)
    return math.degrees(az), 90 - math.degrees(zd), math.degrees(ha) / 15 % 24, math.degrees(dob)


def pole_seen(site, when):
    lat, lon, height, temperature, pressure = site
    out = erfa.atio13(0, math.copysign(90, 1 if lat >= 0 else -1) * DEG, *when, 0, lon * DEG, lat * DEG, height, 0, 0,
                      pressure, temperature, 0, WAVELENGTH_UM)
    return 90 - math.degrees(out[1])


def low(true_altitude, site):
    lift = 1.02 / math.tan((true_altitude + 10.3 / (true_altitude + 5.11)) * DEG)
    return true_altitude + lift * site[4] / 1010 * 283 / (273 + site[3]) / 60


def beside(pole_azimuth, pole_altitude, azimuth, altitude):
    """arcminutes to the right and up, by the triangle zenith - pole - star"""
    turn = (azimuth - pole_azimuth) * DEG
    a, p = altitude * DEG, pole_altitude * DEG
    x = math.cos(a) * math.sin(turn)
    y = math.sin(a) * math.cos(p) - math.cos(a) * math.sin(p) * math.cos(turn)
    arc = math.atan2(math.hypot(x, y), math.sin(a) * math.sin(p) + math.cos(a) * math.cos(p) * math.cos(turn))
    angle = math.atan2(x, y)
    return math.degrees(arc * math.sin(angle)) * 60, math.degrees(arc * math.cos(angle)) * 60


def by_astropy(star, site, date):
    """azimuth and altitude without air, by astropy with its own Earth rotation"""
    lat, lon, height, *_ = site
    _, ra, dec, east, north = star
    t = Time("%04d-%02d-%02dT%02d:%02d:%02d" % date, scale="utc")
    t.delta_ut1_utc = 0
    where = EarthLocation.from_geodetic(lon * u.deg, lat * u.deg, height * u.m)
    at = SkyCoord(ra * u.deg, dec * u.deg, pm_ra_cosdec=east * u.mas / u.yr, pm_dec=north * u.mas / u.yr, obstime=Time("J2000.0"))
    now = at.apply_space_motion(new_obstime=t)
    there = SkyCoord(now.ra, now.dec).transform_to(AltAz(obstime=t, location=where))
    return there.az.deg, there.alt.deg


def rows():
    for site in SITES:
        lat = site[0]
        star, pole_az = STARS[lat >= 0], 0 if lat >= 0 else 180
        for date in DATES:
            when = erfa.dtf2d("UTC", *date)
            true = observed(star, site, when, 0)
            az, alt = by_astropy(star, site, date)
            assert abs(alt - true[1]) < 1 / 3600 * 2 and abs((az - true[0] + 180) % 360 - 180) * math.cos(alt * DEG) < 1 / 3600 * 2, (site, date, az, alt, true)
            seen = observed(star, site, when, site[4])
            pole = pole_seen(site, when)
            right, up = beside(pole_az, pole, seen[0], seen[1])
            y, mo, d, h, mi, s = date
            yield (*site, f"{y:04d}-{mo:02d}-{d:02d}T{h:02d}:{mi:02d}:00Z", star[0], abs(lat), pole, low(abs(lat), site),
                   true[2], (90 - abs(true[3])) * 60, true[0], true[1], seen[0], seen[1], low(true[1], site), right, up)


with open(os.path.join(HERE, "pole_view.csv"), "w", newline="") as f:
    f.write(f"# pyerfa {erfa.__version__}, astropy {astropy.__version__}\n")
    w = csv.writer(f, lineterminator="\n")
    w.writerow(["lat", "lon", "height_m", "temperature_c", "pressure_hpa", "utc", "hip", "pole_true_alt", "pole_seen_alt", "pole_low_alt",
                "hour_angle_h", "distance_arcmin", "true_az", "true_alt", "seen_az", "seen_alt", "low_alt", "right_arcmin", "up_arcmin"])
    for row in rows():
        w.writerow([f"{x:.10g}" if isinstance(x, float) else x for x in row])
