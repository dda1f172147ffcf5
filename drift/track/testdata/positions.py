"""Tables of positions of a camera on a mount whose axis is known, by ERFA (the IAU's SOFA library).

    /usr/bin/python3 positions.py STARS.csv

in this folder writes positions_*.csv beside itself. STARS.csv holds ra_deg,dec_deg,mag (ICRS, no header) of the
embedded catalogue; only the directions come from there. It needs Debian's python3-erfa and python3-numpy, no network.

The camera is fixed to a mount that turns about the axis named in each file's head, following the stars but for a
wobble of 20 arcseconds from peak to peak in 480 seconds. What it looks at is carried from the
horizon to the ICRS by eraAtoc13 (refraction of the air named, UT1 = UTC, pole at rest), stars the other way by eraAtco13.
No noise is added: whoever tests draws it. Faults, places and weather are invented.
"""

import csv
import math
import os
import sys
import warnings

import erfa
import numpy as np

warnings.simplefilter("ignore", erfa.ErfaWarning)
HERE = os.path.dirname(os.path.abspath(__file__))
DEG = math.pi / 180
OMEGA = 7.292115e-5  # rad/s, IERS Conventions (2010), table 1.2

# name, latitude, longitude (east), height m, temperature C, pressure hPa, axis of the elevated end: altitude and azimuth
SITES = {
    "north": (46.02, 7.75, 1620.0, -5.0, 832.0, 46.02 + 0.55, 0.9),
    "south": (-33.9, 18.4, 50.0, 12.0, 1012.0, 33.9 - 0.4, 180 - 1.1),
}
START = (2026, 11, 25, 21, 30, 0.0)


def enu(alt, az):
    return np.array([math.cos(alt) * math.sin(az), math.cos(alt) * math.cos(az), math.sin(alt)])


def turned(v, axis, angle):
    c, s = math.cos(angle), math.sin(angle)
    return v * c + np.cross(axis, v) * s + axis * np.dot(axis, v) * (1 - c)


def utc(seconds):
    a, b = erfa.dtf2d("UTC", *START)
    return a, b + seconds / 86400


def where(site):
    lat, lon, h, t, p = site[:5]
    return 0.0, lon * DEG, lat * DEG, h, 0.0, 0.0, p, t, 0.0, 0.55


def icrs(v, seconds, site):
    az, zd = math.atan2(v[0], v[1]), math.acos(max(-1, min(1, v[2] / np.linalg.norm(v))))
    ra, dec = erfa.atoc13("A", az, zd, *utc(seconds), *where(site))
    return np.array([math.cos(dec) * math.cos(ra), math.cos(dec) * math.sin(ra), math.sin(dec)])


def observed(ra, dec, seconds, site):
    az, zd = erfa.atco13(ra, dec, 0, 0, 0, 0, *utc(seconds), *where(site))[:2]
    return enu(math.pi / 2 - zd, az)


class Mount:
    def __init__(self, site, look_alt, look_az, swings=None):
        self.site, self.swings = site, swings
        elevated = enu(site[5] * DEG, site[6] * DEG)
        self.axis = elevated if site[0] > 0 else -elevated  # the end toward the north
        self.look = enu(look_alt * DEG, look_az * DEG)
        up = np.array([0, 0, 1]) - self.look * self.look[2]
        up /= np.linalg.norm(up)
        self.up = turned(up, self.look, 0.4)  # the camera is not level

    def at(self, seconds, i):
        angle = -OMEGA * seconds + 10 / 3600 * DEG * math.sin(2 * math.pi * seconds / 480)
        if self.swings:
            angle += self.swings[i] * DEG
        return turned(self.look, self.axis, angle), turned(self.up, self.axis, angle)


def stamp(seconds):
    y, mo, d, (h, m, s, f) = erfa.d2dtf("UTC", 3, *utc(seconds))
    return "%04d-%02d-%02dT%02d:%02d:%02d.%03dZ" % (y, mo, d, h, m, s, f)


def head(f, site):
    f.write("# pyerfa %s\n" % erfa.__version__)
    f.write("# site %.2f,%.2f,%.0f air %.0f,%.0f axis_altitude_deg %.4f axis_azimuth_deg %.4f\n" % tuple(site))


def directions(name, site, mount, times):
    with open(os.path.join(HERE, "positions_%s.csv" % name), "w", newline="") as f:
        head(f, site)
        f.write("mid_utc,ra_deg,dec_deg,roll_deg\n")
        for i, t in enumerate(times):
            look, up = mount.at(t, i)
            z, above = icrs(look, t, site), icrs(look + 0.01 * up, t, site)
            ra, dec = math.atan2(z[1], z[0]) % (2 * math.pi), math.asin(z[2])
            east = np.array([-math.sin(ra), math.cos(ra), 0])
            north = np.cross(z, east)
            roll = math.atan2(np.dot(above, east), np.dot(above, north))
            f.write("%s,%.8f,%.8f,%.6f\n" % (stamp(t), ra / DEG, dec / DEG, roll / DEG % 360))


def stars(name, site, mount, times, catalog):
    width, height, focal = 2000, 1500, 1 / math.tan(30 / 3600 * DEG)
    with open(os.path.join(HERE, "positions_%s.csv" % name), "w", newline="") as f:
        head(f, site)
        f.write("mid_utc,x,y,mag\n")
        for i, t in enumerate(times):
            look, up = mount.at(t, i)
            right = np.cross(look, up)
            z = icrs(look, t, site)
            near = [s for s in catalog if np.dot(s[0], z) > math.cos(11 * DEG)]
            rows = []
            for v, ra, dec, mag in near:
                d = observed(ra, dec, t, site)
                depth = np.dot(d, look)
                x = (width - 1) / 2 + focal * np.dot(d, right) / depth
                y = (height - 1) / 2 - focal * np.dot(d, up) / depth
                if 0 <= x <= width - 1 and 0 <= y <= height - 1:
                    rows.append((mag, x, y))
            for mag, x, y in sorted(rows)[:40]:
                f.write("%s,%.4f,%.4f,%.2f\n" % (stamp(t), x, y, mag))


def main():
    catalog = []
    for ra, dec, mag in csv.reader(open(sys.argv[1])):
        ra, dec, mag = float(ra) * DEG, float(dec) * DEG, float(mag)
        catalog.append((np.array([math.cos(dec) * math.cos(ra), math.cos(dec) * math.sin(ra), math.sin(dec)]), ra, dec, mag))
    minute = [60.0 * i for i in range(21)]
    for name, site in SITES.items():
        side = 90 if site[0] > 0 else 100
        directions("tracked_" + name, site, Mount(site, 50, side), minute)
        swings = [0, 28, -17, 41, 9, -30, 3]
        directions("swung_" + name, site, Mount(site, 55, side + 60, swings), [45.0 * i for i in range(7)])
        stars("stars_" + name, site, Mount(site, 50, side), [120.0 * i for i in range(11)], catalog)


main()
