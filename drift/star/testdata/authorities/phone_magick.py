#!/usr/bin/python3
# Invented stars on a sloping sky, integrated over pixels by error functions, coded by the sRGB curve and put
# through ImageMagick's own noise reduction, sharpening and JPEG. Writes phone_*.jpg and phone_truth.csv beside itself.
# Made with numpy 1.24.2 and ImageMagick 6.9.11-60 (Debian).
import math
import os
import subprocess
import tempfile

import numpy as np
from PIL import Image

SIDE, SIGMA, WELL, SKY, READ = 300, 3 / 2.3548, 6000, 250, 3
rng = np.random.default_rng(20)
here = os.path.dirname(os.path.abspath(__file__))


def share(at):
    edges = (np.arange(SIDE + 1) - 0.5 - at) / (math.sqrt(2) * SIGMA)
    return np.diff([0.5 * math.erf(e) for e in edges])


light = SKY * (1 + 0.3 * (np.arange(SIDE) / SIDE - 0.5))[None, :] * np.ones((SIDE, 1))
truth = []
for j in range(10):
    for i in range(10):
        x, y = 16 + 29 * i + 2 * rng.random(), 16 + 29 * j + 2 * rng.random()
        n = 1500 * 20 ** rng.random()
        light += n * np.outer(share(y), share(x))
        truth.append((x, y, n))
v = np.clip((rng.poisson(light) + READ * rng.standard_normal(light.shape)) / WELL, 0, 1)
v = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
with open(os.path.join(here, "phone_truth.csv"), "w") as f:
    f.write("x,y,electrons\n")
    for t in truth:
        f.write("%.4f,%.4f,%.0f\n" % t)
chains = {
    "sharpened": ["-unsharp", "0x1.5+1.5+0", "-quality", "85"],
    "median": ["-statistic", "median", "3x3", "-quality", "92"],
    "despeckled": ["-despeckle", "-unsharp", "0x1+1+0", "-quality", "75"],
}
with tempfile.TemporaryDirectory() as d:
    png = os.path.join(d, "in.png")
    Image.fromarray(np.round(255 * v).astype(np.uint8)).save(png)
    for name, how in chains.items():
        subprocess.run(["convert", png, *how, "-strip", os.path.join(here, "phone_%s.jpg" % name)], check=True)
