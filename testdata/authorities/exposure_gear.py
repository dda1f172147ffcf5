#!/usr/bin/env python3
"""Longest exposures by direct numerical integration, for the tests of align/exposure.

Run with Debian's python3-numpy:   python3 exposure_gear.py > exposure_gear.csv

Nothing is shared with the Go code, neither formulas nor approximations. A star is turned about the pole and
about the mount's axis by exact rotations, second by second, at all phases of the gear; it is projected by a
pinhole; the covariance of its places over an exposure is a plain sum; the variance of a round star's light is
added. Where, on a grid of two seconds, fewer than the share wanted of the phases first stay within the tolerance, the longest
exposure ends, given as the middle between that length and the one before. Where the axis error has no direction, the shortest of 24 is taken.

Two tolerances are written: `ratio_s`, where the long axis may be 1.25 times the short one, and `longest_s`, where
it may be 1.25 times as long as the round star is wide, whatever became of the short one (which implies the first).
`again_s` is where the share is reached again, in the direction that ends the exposure first; empty if within the
twenty minutes looked at (with no gear an hour) it is not. `share_240` is the share of round ones at 240 s.

The mean solar day's turning of the Earth against the stars: 7.292115e-5 rad/s (IERS Conventions 2010, table 1.1).
"""
import sys
import numpy as np

OMEGA = 7.292115e-5
ARCSEC = np.pi / 180 / 3600
FWHM, TOLERANCE, SHARE = 2.5, 1.25, 0.9
STEP, PHASES, DIRECTIONS = 1.0, 360, 24

# name, focal length in pixels, width, height, declination, axis error in arcminutes, peak to peak in arcseconds, period in
# seconds, [(order, cosine, sine), …] of the form
TELE = 115 * np.hypot(2000, 1500) / np.hypot(36, 24)
SINE = [(1, 0.0, 1.0)]
ROUGH = [(1, 0.0, 1.0), (3, 0.1, 0.25)]
CASES = [
    ("65in300", TELE, 2000, 1500, 0, 10, 65, 300, SINE),
    ("66in300", TELE, 2000, 1500, 0, 10, 66, 300, SINE),
    ("64in300alone", TELE, 2000, 1500, 0, 0, 64, 300, SINE),
    ("axisalone", TELE, 2000, 1500, 0, 10, 0, 300, SINE),
    ("axisandgear", TELE, 2000, 1500, 0, 30, 65, 300, SINE),
    ("north60", TELE, 2000, 1500, 60, 20, 120, 480, SINE),
    ("harmonics", TELE, 2000, 1500, 20, 10, 110, 480, ROUGH),
    ("quick", TELE, 2000, 1500, 20, 10, 80, 60, SINE),
]


def about(axis, angle, v):
    """Rodrigues' rotation of vectors v (…,3) about a unit axis by angles (…)."""
    c, s = np.cos(angle)[..., None], np.sin(angle)[..., None]
    return v * c + np.cross(axis, v) * s + axis * (v @ axis)[..., None] * (1 - c)


def wobble(form, p2p, period, t, phase):
    fine = np.linspace(0, 2 * np.pi, 20000, endpoint=False)
    shape = lambda x: sum(c * np.cos(k * x) + s * np.sin(k * x) for k, c, s in form)
    swing = np.ptp(shape(fine))
    return p2p * ARCSEC / swing * shape(2 * np.pi * t / period + phase)


def shares(case, toward):
    """Per length: the share of phases within each tolerance."""
    _, focal, width, height, dec, error, p2p, period, form = case
    d = np.radians(dec)
    look, up = np.array([np.cos(d), 0, np.sin(d)]), np.array([-np.sin(d), 0, np.cos(d)])
    right = np.cross(look, up)
    e = error * 60 * ARCSEC
    axis = np.array([np.sin(e) * np.cos(toward), np.sin(e) * np.sin(toward), np.cos(e)])
    half = (np.arange(int(cap(case) / STEP / 2)) + 0.5) * STEP  # windows of 2, 4, 6 … steps
    count = PHASES if p2p else 1
    phases = 2 * np.pi * np.arange(count) / count
    hx, hy = (width - 1) / 2, (height - 1) / 2
    worst_ratio = worst_long = 0
    own = (FWHM / (2 * np.sqrt(2 * np.log(2)))) ** 2
    for px, py in [(-hx, -hy), (hx, -hy), (-hx, hy), (hx, hy), (0, -hy), (0, hy), (-hx, 0), (hx, 0), (0, 0)]:
        star = px * right + py * up + focal * look
        star /= np.linalg.norm(star)
        sums = 0
        for sign in (1, -1):
            t = sign * half[None, :]
            sky = about(np.array([0, 0, 1.0]), -OMEGA * t, np.broadcast_to(star, (1, len(half), 3)))
            camera = OMEGA * t + wobble(form, p2p, period, t, phases[:, None])
            seen = about(axis, camera, np.broadcast_to(sky, (count, len(half), 3)))
            z = seen @ look
            x, y = focal * (seen @ right) / z - px, focal * (seen @ up) / z - py
            sums = sums + np.cumsum(np.stack([x, y, x * x, x * y, y * y]), axis=-1)
        n = 2 * np.arange(1, len(half) + 1)
        mx, my, xx, xy, yy = sums / n
        xx, xy, yy = xx - mx * mx + own, xy - mx * my, yy - my * my + own
        mean, off = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
        worst_ratio = np.maximum(worst_ratio, np.sqrt((mean + off) / (mean - off)))
        worst_long = np.maximum(worst_long, np.sqrt((mean + off) / own))
    return 2 * half + STEP, (worst_ratio <= TOLERANCE).mean(axis=0), (worst_long <= TOLERANCE).mean(axis=0)


def cap(case):
    return 1200 if case[6] else 3600


def first(length, share):
    """The first length that does not reach the share, between the two where it fell, and the first that does again."""
    bad = np.flatnonzero(share < SHARE)
    if len(bad) == 0:
        return length[-1], None
    i = bad[0]
    good = np.flatnonzero(share[i:] >= SHARE)
    return length[i] - STEP, length[good[0] + i] - STEP if len(good) else None


print("case,focal_px,width,height,declination_deg,axis_arcmin,peak_to_peak_arcsec,period_s,form,ratio_s,longest_s,again_s,share_240")
for case in CASES:
    ratio, best = cap(case), (cap(case), None, 1.0)
    for i in range(DIRECTIONS if case[5] else 1):
        length, by_ratio, by_long = shares(case, 2 * np.pi * i / DIRECTIONS)
        ratio = min(ratio, first(length, by_ratio)[0])
        longest, again = first(length, by_long)
        if i == 0 or longest < best[0]:
            best = (longest, again, by_long[np.argmin(abs(length - 240))])
    name, focal, width, height, dec, error, p2p, period, form = case
    text = " ".join(f"{k}:{c}:{s}" for k, c, s in form)
    again = "" if best[1] is None else f"{best[1]:.0f}"
    print(f"{name},{focal:.3f},{width},{height},{dec},{error},{p2p},{period},{text},{ratio:.0f},{best[0]:.0f},{again},{best[2]:.3f}")
    sys.stdout.flush()
