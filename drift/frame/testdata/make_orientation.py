#!/usr/bin/python3
"""Writes the eight orientations as PNG (eXIf) and TIFF by exiftool and as DNG
by struct, and orientation_shown.txt: the 2x3 blocks of marker.jpg as PIL
(PNG), ImageMagick (TIFF) or dcraw (DNG) show them. Needs make.py's marker.jpg, Debian's
python3-pil, python3-numpy, ImageMagick, exiftool, dcraw."""
import os
import subprocess
import struct

import numpy as np
from PIL import Image, ImageOps

from make_embedded import File, LONG, SHORT, maker, thumbnail

MARKER = np.kron(np.array([[0, 120, 60], [240, 90, 180]], dtype=np.uint8), np.ones((8, 8), dtype=np.uint8))
out = open("orientation_shown.txt", "w")
out.write("# file, then the blocks as shown, row by row, by PIL, ImageMagick or dcraw\n")


def note(name, shown, every):
    half = every // 2
    out.write("%s %s\n" % (name, " / ".join(" ".join(map(str, row)) for row in shown[half::every, half::every])))


for ending in "png", "tiff":
    Image.fromarray(MARKER).save("marker." + ending, **({"compression": "tiff_adobe_deflate"} if ending == "tiff" else {}))
    for o in range(1, 9):
        name = "orientation_%d.%s" % (o, ending)
        if os.path.exists(name):
            os.remove(name)
        subprocess.run(["exiftool", "-q", "-n", "-o", name, "-IFD0:Orientation=%d" % o, "marker." + ending], check=True)
        if ending == "png":
            shown = np.asarray(ImageOps.exif_transpose(Image.open(name)))
        else:  # PIL 9.4 turns TIFF a second time for some values
            subprocess.run(["convert", name, "-auto-orient", "shown.pgm"], check=True)
            shown = np.asarray(Image.open("shown.pgm"))
            os.remove("shown.pgm")
        note(name, shown, 8)
    os.remove("marker." + ending)

mosaic = np.kron(MARKER, np.ones((2, 2), dtype=np.uint8))
height, width = mosaic.shape
for o in range(1, 9):
    name = "orientation_%d.dng" % o
    f = File()
    raw = f.directory([(254, LONG, [0]), (256, LONG, [width]), (257, LONG, [height]), (258, SHORT, [8]), (259, SHORT, [1]), (262, SHORT, [32803]),
                       (273, LONG, [f.block(mosaic.tobytes())]), (277, SHORT, [1]), (278, LONG, [height]), (279, LONG, [mosaic.size]),
                       (33421, SHORT, [2, 2]), (33422, 1, [0, 1, 1, 2])])
    f.write(name, f.directory(thumbnail(f) + maker(o) + [(330, LONG, [raw]), (50706, 1, [1, 4, 0, 0])]))
    pgm = subprocess.run(["dcraw", "-D", "-4", "-c", name], capture_output=True, check=True).stdout
    kind, size, top, data = pgm.split(b"\n", 3)
    w, h = map(int, size.split())
    note(name, np.array(struct.unpack(">%dH" % (w * h), data)).reshape(h, w), 16)
out.close()
