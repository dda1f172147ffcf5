"""Reference output for package ephem, written by ERFA (the IAU's SOFA library)
and by astropy's table of the Earth's rotation.

    /usr/bin/python3 testdata/authorities/ephem_reference.py

writes the ephem_*.csv files beside itself. It needs Debian's python3-erfa and
python3-astropy and no network. Each file's first line names what made it, its
second the columns. Angles are degrees unless a column says otherwise.

In all files but ephem_ut1.csv UTC is used as UT1 (dut1 = 0) and the pole stands
still in the Earth (xp = yp = 0), as package ephem takes them. Air is dry, the
wavelength 0.55 micrometres. Proper motions and parallaxes are zero,
but in ephem_motion.csv.
"""

import csv
import math
import os
import warnings

import astropy
import erfa
from astropy.time import Time
from astropy.utils import iers

iers.conf.auto_download = False
iers.conf.auto_max_age = None
warnings.simplefilter("ignore", erfa.ErfaWarning)  # "dubious year": before 1960, after 2025

HERE = os.path.dirname(os.path.abspath(__file__))
MADE_BY = f"# pyerfa {erfa.__version__}, astropy {astropy.__version__}"
DEG = math.pi / 180
WAVELENGTH_UM = 0.55

# latitude, longitude (east), height m, temperature C, pressure hPa: invented
# places spread over the globe, with weather that could be theirs.
SITES = [
    (-85, 100, 2800, -55, 690),
    (-78, 166, 10, -30, 985),
    (-33, -70.8, 2400, 8, 765),
    (0, -78.5, 2800, 10, 725),
    (43.13, 5.9, 50, 15, 1010),
    (46, 7.75, 1600, -5, 835),
    (60, 25, 20, 0, 1013),
    (71, -156.8, 100, -8, 1000),
    (85, -60, 30, -35, 1020),
]

# Unlike hours and seasons, so that every term of nutation and both solstices'
# velocities come into play.
DATES = [
    (1905, 10, 2, 18, 0, 0.0),
    (1950, 3, 20, 4, 10, 0.0),
    (2000, 1, 1, 12, 0, 0.0),
    (2015, 9, 23, 21, 37, 12.25),
    (2026, 11, 25, 22, 0, 0.0),
    (2050, 6, 30, 1, 2, 3.5),
    (2095, 2, 14, 9, 45, 0.0),
]


def stars():
    """Right ascension and declination: an even spread, and both poles close by."""
    near_poles = [(37.9545, 89.2641), (120, 89.9), (300, 89.999), (318, -88.9565), (80, -89.9), (200, -89.999)]
    n, golden = 14, math.pi * (3 - math.sqrt(5))
    spread = [((math.degrees(i * golden)) % 360, math.degrees(math.asin(1 - (2 * i + 1) / n))) for i in range(n)]
    return near_poles + spread


def utc(date):
    return erfa.dtf2d("UTC", *date)


def iso(date):
    y, mo, d, h, mi, s = date
    return f"{y:04d}-{mo:02d}-{d:02d}T{h:02d}:{mi:02d}:{s:06.3f}Z"


def terrestrial(u1, u2):
    return erfa.taitt(*erfa.utctai(u1, u2))


def write(name, columns, rows):
    with open(os.path.join(HERE, name), "w", newline="") as f:
        f.write(MADE_BY + "\n")
        w = csv.writer(f, lineterminator="\n")
        w.writerow(columns)
        for row in rows:
            w.writerow([f"{x:.10g}" if isinstance(x, float) else x for x in row])


def observed(star, site, when, pressure):
    lat, lon, height, temperature, _ = site
    az, zd, *_ = erfa.atco13(star[0] * DEG, star[1] * DEG, 0, 0, 0, 0, *when, 0,
                             lon * DEG, lat * DEG, height, 0, 0, pressure, temperature, 0, WAVELENGTH_UM)
    return math.degrees(az), 90 - math.degrees(zd)


def star_rows():
    for site in SITES:
        for date in DATES:
            when = utc(date)
            astrom = erfa.apcg13(*terrestrial(*when))
            from_sun = astrom["eh"]
            for star in stars():
                x = erfa.s2c(star[0] * DEG, star[1] * DEG)
                elongation = math.degrees(math.acos(max(-1, min(1, -float(erfa.pdp(x, from_sun))))))
                true = observed(star, site, when, 0)
                seen = observed(star, site, when, site[4])
                yield (*site, iso(date), float(star[0]), float(star[1]), round(elongation, 1), *true, *seen)


def pole_rows():
    """The elevated pole: the axis of the Earth put through ERFA's CIRS to observed step."""
    for site in SITES:
        lat, lon, height, temperature, pressure = site
        date = (2026, 11, 25, 22, 0, 0.0)
        pole = 90 if lat >= 0 else -90
        out = erfa.atio13(0, pole * DEG, *utc(date), 0, lon * DEG, lat * DEG, height, 0, 0,
                          pressure, temperature, 0, WAVELENGTH_UM)
        yield (*site, iso(date), math.degrees(out[0]), 90 - math.degrees(out[1]))


def theory_rows():
    """Today's sidereal time and that of 1982/1994; Earth's velocity; the matrix of 1976/1980."""
    for date in DATES:
        u1, u2 = utc(date)
        t1, t2 = terrestrial(u1, u2)
        _, pvb = erfa.epv00(t1, t2)
        velocity = [float(v) / 173.1446326846693 for v in pvb["v"]]  # AU/d over that of light
        matrix = [float(x) for row in erfa.pnm80(t1, t2) for x in row]
        yield (iso(date), math.degrees(erfa.gst06a(u1, u2, t1, t2)), math.degrees(erfa.gst94(u1, u2)),
               *velocity, *matrix)


def refco_rows():
    for pressure in (0, 500, 690, 835, 1013.25, 1050):
        for temperature in (-60, -20, 0, 10, 25, 40):
            a, b = erfa.refco(pressure, temperature, 0, WAVELENGTH_UM)
            yield (pressure, temperature, math.degrees(a) * 3600, math.degrees(b) * 3600)


def ut1_rows():
    """Measured UT1-UTC, so true azimuths and altitudes of one star with the Earth as it turned."""
    site, star = SITES[5], (190.0, 0.5)
    lat, lon, height, *_ = site
    table = iers.IERS_B.open()
    for year in range(1973, 2022, 4):
        for month, day in ((1, 2), (6, 29)):
            date = (year, month, day, 21, 30, 0.0)
            when = utc(date)
            dut1 = float(table.ut1_utc(Time(when[0], when[1], format="jd", scale="utc")).value)
            az, zd, *_ = erfa.atco13(star[0] * DEG, star[1] * DEG, 0, 0, 0, 0, *when, dut1,
                                     lon * DEG, lat * DEG, height, 0, 0, 0, 0, 0, WAVELENGTH_UM)
            yield (*site, iso(date), *star, dut1, math.degrees(az), 90 - math.degrees(zd))


def motion_rows():
    """Positions carried by proper motion; the motions are inputs, not checked here."""
    for hip, ra, dec, east_mas, north_mas in ((11767, 37.95456067, 89.26410897, 44.22, -11.74),
                                              (104382, 317.195, -88.9565, 26.30, 5.02)):
        for date in DATES:
            t1, t2 = terrestrial(*utc(date))
            to_rad = DEG / 3600e3
            moved = erfa.pmsafe(ra * DEG, dec * DEG, east_mas * to_rad / math.cos(dec * DEG), north_mas * to_rad,
                                0, 0, 2451545.0, 0, t1, t2)
            yield (hip, ra, dec, iso(date), math.degrees(moved[0]), math.degrees(moved[1]))


def main():
    site = ["lat", "lon", "height_m", "temperature_c", "pressure_hpa", "utc"]
    write("ephem_stars.csv", site + ["ra", "dec", "sun_elongation", "true_az", "true_alt", "seen_az", "seen_alt"], star_rows())
    write("ephem_pole.csv", site + ["seen_az", "seen_alt"], pole_rows())
    write("ephem_theory.csv", ["utc", "gst06a", "gst94", "vx_c", "vy_c", "vz_c"]
          + [f"m{i}{j}" for i in range(3) for j in range(3)], theory_rows())
    write("ephem_refco.csv", ["pressure_hpa", "temperature_c", "a_arcsec", "b_arcsec"], refco_rows())
    write("ephem_motion.csv", ["hip", "ra", "dec", "utc", "moved_ra", "moved_dec"], motion_rows())
    write("ephem_ut1.csv", site + ["ra", "dec", "ut1_utc_s", "true_az", "true_alt"], ut1_rows())


if __name__ == "__main__":
    main()
