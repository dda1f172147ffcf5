#!/usr/bin/python3
"""Draws star_field.png and star_trails.png and measures them with sep.

Debian packages python3-sep (SEP 1.2.1, after Bertin & Arnouts 1996, A&AS 117, 393), python3-numpy, python3-pil, python3-scipy.
Run in this folder; writes the two pictures, their truth (star_*_truth.csv) and the raw output of sep
(star_*_sep.csv: windowed positions, XWIN_IMAGE and YWIN_IMAGE, pixel centres at integers from 0).
The pictures are invented: 512 x 512, 16 bit grey, linear, seeds below.
"""
import numpy as np
import sep
from PIL import Image
from scipy.special import erf

SIZE, GAIN, READ = 512, 1.0, 6.0


def pixel(sigma, dx, dy):
    def c(t):
        return 0.5 * erf(t / (np.sqrt(2) * sigma))
    return (c(dx + .5) - c(dx - .5)) * (c(dy + .5) - c(dy - .5))


def draw(seed, count, sigma, length, angle):
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:SIZE, 0:SIZE].astype(float)
    image = 500 + 0.4 * x + 0.2 * y
    truth = []
    while len(truth) < count:
        sx, sy = rng.uniform(20, SIZE - 20, 2)
        if any(np.hypot(sx - t[0], sy - t[1]) < 22 + length for t in truth):
            continue
        flux = 1500 * (1 + length / 5) * 40 ** rng.uniform()
        truth.append((sx, sy, flux))
        n = 1 if length == 0 else int(6 * length)
        for k in range(n):
            t = ((k + .5) / n - .5) * length
            cx, cy = sx + t * np.cos(angle), sy + t * np.sin(angle)
            i, j = int(cx), int(cy)
            r = int(6 * sigma) + 2
            ys, xs = slice(max(j - r, 0), j + r + 1), slice(max(i - r, 0), i + r + 1)
            image[ys, xs] += flux / n * pixel(sigma, x[ys, xs] - cx, y[ys, xs] - cy)
    image = rng.poisson(image * GAIN) / GAIN + rng.normal(0, READ, image.shape)
    return np.clip(np.round(image), 0, 65535).astype(np.uint16), truth


def measure(image):
    data = image.astype(np.float32)
    back = sep.Background(data, bw=64, bh=64)
    data = data - back
    err = back.rms()
    objects = sep.extract(data, 1.5, err=err, minarea=5)
    flux, fluxerr, _ = sep.sum_circle(data, objects['x'], objects['y'], 8, err=err, gain=GAIN)
    radius, _ = sep.flux_radius(data, objects['x'], objects['y'], np.full(len(objects), 12.), 0.5)
    xw, yw, flag = sep.winpos(data, objects['x'], objects['y'], np.maximum(radius * 2 / 2.35, 0.8))
    return objects, xw, yw, flag, flux, fluxerr, radius


for name, args in (('star_field', (1, 160, 1.25, 0, 0)), ('star_trails', (2, 90, 1.25, 9, 0.7))):
    image, truth = draw(*args)
    Image.fromarray(image).save(name + '.png', optimize=True)
    image = np.asarray(Image.open(name + '.png')).astype(np.uint16)
    np.savetxt(name + '_truth.csv', truth, fmt='%.4f', delimiter=',', header='x,y,flux', comments='')
    o, xw, yw, flag, flux, fluxerr, radius = measure(image)
    rows = np.column_stack([xw, yw, np.sqrt(o['errx2']), np.sqrt(o['erry2']), o['a'], o['b'], o['theta'], flux, fluxerr, radius, flag])
    np.savetxt(name + '_sep.csv', rows, fmt='%.5g', delimiter=',',
               header='xwin,ywin,xerr,yerr,a,b,theta,flux,fluxerr,halflight,winflag', comments='')
    d = [min(np.hypot(xw - t[0], yw - t[1])) for t in truth]
    print(name, len(rows), 'objects;', sum(np.array(d) < 1.5), 'of', len(truth), 'drawn; rms', np.sqrt(np.mean(np.square([v for v in d if v < 1.5])) / 2))
