#!/usr/bin/python3
"""Measures the pictures of a folder with sep, for comparison with star.Find on the same pictures.

    TRUETURN_SEP=1 go test ./drift/star -run TestSideBySide -v     renders, runs this, prints the table

Debian packages python3-sep (after Bertin & Arnouts 1996, A&AS 117, 393) and python3-numpy. For every picture NAME.f32 in
the folder (little-endian float32 rows; its sides stand in NAME.size) writes NAME.sep.csv (x, y, and the windowed xwin,
ywin where those were found), and prints one line: NAME, seconds by the processor of background and extraction as sep does
it unasked, the same with the filter below, objects found by that.

Unasked, sep filters with its 3 x 3 kernel. For the lists it filters with the Gaussian that star.Find's own first look has
(sigma 1 pixel), matched to the noise, and keeps what stands five and a half sigma above it, as star.Find does; one pixel
is enough, so that no faint star is refused for its size, and sep's cleaning is off: it took away half of the stars of
signal-to-noise 5 to 20.
"""
import sys
import time
from pathlib import Path

import numpy as np
import sep

sep.set_extract_pixstack(3_000_000)
sep.set_sub_object_limit(65536)
SIGMAS = 5.5

grid = np.mgrid[-3:4, -3:4]
KERNEL = np.exp(-(grid ** 2).sum(0) / 2)
KERNEL /= KERNEL.sum()


def plain(data):
    back = sep.Background(data, bw=64, bh=64)
    return sep.extract(data - back, SIGMAS, err=back.globalrms)


def matched(data):
    back = sep.Background(data, bw=64, bh=64)
    rest = data - back
    return sep.extract(rest, SIGMAS, err=back.rms(), minarea=1, filter_kernel=KERNEL,
                       filter_type='matched', clean=False), rest


def timed(work, data):
    took = []
    for _ in range(3):
        start = time.process_time()
        out = work(data)
        took.append(time.process_time() - start)
    return out, sorted(took)[1]


for path in sorted(Path(sys.argv[1]).glob('*.f32')):
    width, height = map(int, path.with_suffix('.size').read_text().split())
    data = np.fromfile(path, '<f4').reshape(height, width)
    _, quick = timed(plain, data)
    (objects, rest), full = timed(matched, data)
    x, y = objects['x'], objects['y']
    xw, yw, _ = sep.winpos(rest, x, y, np.full(len(x), 1.4))
    lost = ~(np.hypot(xw - x, yw - y) < 1)
    xw[lost], yw[lost] = x[lost], y[lost]
    np.savetxt(path.with_suffix('.sep.csv'), np.column_stack([x, y, xw, yw]), fmt='%.6g', delimiter=',', header='x,y,xwin,ywin', comments='')
    print(path.stem, f'{quick:.4f} {full:.4f}', len(objects), flush=True)
