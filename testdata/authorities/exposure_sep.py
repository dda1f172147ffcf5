#!/usr/bin/python3
"""Shapes of stars as sep measures them, for align/exposure.

Run from the repository's root:

    mkdir /tmp/sep && TRUETURN_SEP_DIR=/tmp/sep go test -run TestSepPictures ./align/exposure
    /usr/bin/python3 testdata/authorities/exposure_sep.py /tmp/sep > testdata/authorities/exposure_sep.csv

caseN.f32 is a noise-free rendering (package simulate), caseN.csv its brightest lone stars with the moments and the path that
the forecast gives them, at even steps of time. Here the same stars are drawn anew from those paths, convolved with a Gaussian
and with the pixel's box. sep measures both pictures with the same threshold, so that what it loses to it is the same.
sep 1.2.1, numpy and scipy as Debian packages them.
"""
import csv
import glob
import math
import sys

import numpy as np
import sep
from scipy.special import erf

THRESHOLD = 3e-8  # light per pixel above the sky; the stars' peaks are 100 to 10 000 times that


def box(at, middle, sigma):
    """A Gaussian integrated over pixels at whole numbers."""
    lo, hi = (at - 0.5 - middle) / (sigma * math.sqrt(2)), (at + 0.5 - middle) / (sigma * math.sqrt(2))
    return 0.5 * (erf(hi) - erf(lo))


def draw(shape, stars, sigma):
    image = np.zeros(shape)
    for star in stars:
        x, y, flux = star[:3]
        path = np.array(star[6:]).reshape(-1, 2)
        x0, y0 = int(x) - 30, int(y) - 30
        cols, rows = np.arange(max(x0, 0), min(x0 + 61, shape[1])), np.arange(max(y0, 0), min(y0 + 61, shape[0]))
        for dx, dy in path:
            patch = np.outer(box(rows, y + dy, sigma), box(cols, x + dx, sigma))
            image[rows[0]:rows[-1] + 1, cols[0]:cols[-1] + 1] += patch * flux / len(path)
    return image


def shapes(image):
    data = np.ascontiguousarray(image.astype(np.float64))
    data -= np.median(data)
    return sep.extract(data, THRESHOLD, minarea=5, deblend_cont=1.0, filter_kernel=None)


def nearest(objects, x, y):
    d = np.hypot(objects["x"] - x, objects["y"] - y)
    o = objects[np.argmin(d)]
    return o["a"] / o["b"] if d.min() < 1 else float("nan")


def main(folder):
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(["case", "x", "y", "xx", "xy", "yy", "rendered_a_over_b", "drawn_a_over_b"])
    for i in range(len(glob.glob(f"{folder}/case*.csv"))):
        with open(f"{folder}/case{i}.csv") as f:
            rows = list(csv.reader(f))
        name, width, height, fwhm = rows[0][0], int(rows[0][1]), int(rows[0][2]), float(rows[0][3])
        stars = [tuple(map(float, r)) for r in rows[1:]]
        rendered = np.fromfile(f"{folder}/case{i}.f32", dtype="<f4").reshape(height, width)
        drawn = draw(rendered.shape, stars, fwhm / (2 * math.sqrt(2 * math.log(2))))
        in_rendering, in_drawing = shapes(rendered), shapes(drawn)
        for x, y, _, xx, xy, yy, *_ in stars:
            a, b = nearest(in_rendering, x, y), nearest(in_drawing, x, y)
            out.writerow([name, f"{x:.4f}", f"{y:.4f}", f"{xx:.7g}", f"{xy:.7g}", f"{yy:.7g}", f"{a:.5f}", f"{b:.5f}"])


main(sys.argv[1])
