#!/usr/bin/python3
"""Which mix of red, green and blue shows stars best: a mosaic of stars is drawn
with noise, developed by dcraw 9.28, and stars are weighed against the sky's noise
by their own profile. Prints signal-to-noise; writes only into the folder given.

    /usr/bin/python3 signal_study.py FOLDER

The response to white, the colour matrix and the sky are typical figures of our
choice (no source). Needs python3-scipy, python3-tifffile, exiftool, dcraw."""
import os
import subprocess
import sys

import numpy as np
import tifffile
from scipy.signal import fftconvolve

from make_embedded import File, LONG, SHORT, TEXT, maker, text, thumbnail

W, H, SIGMA = 1200, 900, 3 / 2.3548  # pixels
FLUX, SKY, READ = 1500, 400, 3  # electrons in a white star's green, in a green pixel of sky, of reading
WHITE = np.array([0.5, 1, 0.6])  # red, green, blue of white light
STARS = {"white": WHITE, "red": np.array([0.8, 0.8, 0.3]), "blue": np.array([0.35, 1, 0.9])}
MATRIX = "0.7 -0.2 -0.06 -0.45 1.25 0.22 -0.1 0.2 0.6"
MIXES = {"green": (0, 1, 0), "luminance": (0.2126, 0.7152, 0.0722), "mean": (1 / 3, 1 / 3, 1 / 3), "1:2:1": (0.25, 0.5, 0.25)}

rng = np.random.default_rng(1)
y, x = np.mgrid[0:H, 0:W]
places = [(60 + i * 58 + rng.random(), 60 + j * 58 + rng.random()) for j in range(14) for i in range(19)]


def mosaic(star):
    flux = np.zeros((H, W))
    for px, py in places:
        near = slice(int(py) - 10, int(py) + 11), slice(int(px) - 10, int(px) + 11)
        flux[near] += np.exp(-((x[near] - px) ** 2 + (y[near] - py) ** 2) / (2 * SIGMA ** 2)) / (2 * np.pi * SIGMA ** 2)
    colour = np.array([0, 1, 1, 2])[y % 2 * 2 + x % 2]
    electrons = rng.poisson(FLUX * flux * star[colour] + SKY * WHITE[colour]) + rng.normal(0, READ, (H, W)) + 512
    return np.clip(electrons * 4, 0, 16383).astype("<u2")


def dng(name, raw):
    f = File()
    sub = f.directory([(254, LONG, [0]), (256, LONG, [W]), (257, LONG, [H]), (258, SHORT, [16]), (259, SHORT, [1]), (262, SHORT, [32803]),
                       (273, LONG, [f.block(raw.tobytes())]), (277, SHORT, [1]), (278, LONG, [H]), (279, LONG, [raw.nbytes]),
                       (33421, SHORT, [2, 2]), (33422, 1, [0, 1, 1, 2]), (50714, LONG, [2048]), (50717, LONG, [16383])])
    f.write(name, f.directory(thumbnail(f) + maker(1) + [(330, LONG, [sub]), (50706, 1, [1, 4, 0, 0]), (50708, TEXT, text("Hillside H-1"))]))
    subprocess.run(["exiftool", "-q", "-n", "-overwrite_original", "-ColorMatrix1=" + MATRIX, "-AsShotNeutral=0.5 1 0.6", "-CalibrationIlluminant1=21", name], check=True)


def ratio(picture):
    k = np.arange(-8, 9)
    own = np.exp(-(k[:, None] ** 2 + k ** 2) / (2 * SIGMA ** 2))
    found = fftconvolve(picture - np.median(picture), own, "same")
    sky = np.ones(picture.shape, bool)
    sky[:30] = sky[-30:] = sky[:, :30] = sky[:, -30:] = False
    signal = []
    for px, py in places:
        sky[int(py) - 14:int(py) + 15, int(px) - 14:int(px) + 15] = False
        signal.append(found[int(round(py)) - 1:int(round(py)) + 2, int(round(px)) - 1:int(round(px)) + 2].max())
    noise = found[sky]
    return np.median(signal) / (1.4826 * np.median(abs(noise - np.median(noise))))


os.chdir(sys.argv[1])
for kind, star in STARS.items():
    dng("s.dng", mosaic(star))
    for how, flags in {"developed": "-w", "balanced cube": "-o 0 -w -q 0", "plain cube": "-o 0 -r 1 1 1 1 -q 0"}.items():
        with open("s.tiff", "wb") as out:
            subprocess.run(["dcraw", "-4", "-T", *flags.split(), "-c", "s.dng"], stdout=out, check=True)
        light = tifffile.imread("s.tiff") / 65535
        print("%-6s %-14s" % (kind, how), "  ".join("%s %.1f" % (n, ratio(light @ np.array(mix))) for n, mix in MIXES.items()))
