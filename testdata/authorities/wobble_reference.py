"""Reference output for package drift/wobble, written by astropy's LombScargle.

    /usr/bin/python3 testdata/authorities/wobble_reference.py

writes wobble_series.csv (the numbers), wobble_power.csv (their floating-mean periodogram,
normalization 'standard', method 'slow': the full fit at every frequency) and
wobble_alarm.csv (false-alarm chances after Baluev) beside itself. It needs Debian's
python3-astropy and no network. Each file's first line names what made it, its second the
columns. Times s, angles arcseconds, frequencies Hz. The series are invented: uneven, with
a gap, a tenth as long as a wave, with unlike errors.
"""

import os

import astropy
import numpy as np
from astropy.timeseries import LombScargle

HERE = os.path.dirname(os.path.abspath(__file__))
MADE_BY = f"# astropy {astropy.__version__} LombScargle, numpy {np.__version__}"


def series():
    rng = np.random.default_rng(20261125)
    even = np.arange(60) * 25.0
    uneven = np.sort(rng.uniform(0, 1500, 75))
    gap = np.concatenate([np.arange(25) * 20.0, 1900 + np.arange(20) * 20.0])
    short = np.arange(30) * 5.0
    for name, t, period in [("even", even, 480), ("uneven", uneven, 480), ("gap", gap, 311), ("short", short, 1400)]:
        sigma = rng.uniform(1.5, 3, len(t))
        x = 2 * np.pi * t / period + 0.7
        y = 40 + 22 * (np.sin(x) + 0.3 * np.sin(3 * x)) + sigma * rng.standard_normal(len(t))
        yield name, t, y, sigma
    t = np.arange(50) * 17.4
    yield "noise", t, 2 * rng.standard_normal(50), np.full(50, 2.0)


def write(name, columns, rows):
    with open(os.path.join(HERE, name), "w") as f:
        f.write(MADE_BY + "\n" + columns + "\n")
        for row in rows:
            f.write(",".join(v if isinstance(v, str) else repr(float(v)) for v in row) + "\n")


def weighted_std(t, sigma):
    w = sigma**-2.0
    return np.sqrt(np.average((t - np.average(t, weights=w)) ** 2, weights=w))


def main():
    numbers, powers, alarms = [], [], []
    for name, t, y, sigma in series():
        numbers += [(name, a, b, c) for a, b, c in zip(t, y, sigma)]
        span = t[-1] - t[0]
        highest = len(t) / (3 * span)
        freq = np.arange(1 / (3 * span), highest, 1 / (5 * span))
        ls = LombScargle(t, y, sigma, fit_mean=True, center_data=True, normalization="standard")
        powers += [(name, f, p) for f, p in zip(freq, ls.power(freq, method="slow"))]
        tried = ls.autofrequency(maximum_frequency=highest).max()  # what astropy makes of a highest frequency
        for power in (0.1, 0.25, 0.4, 0.6, 0.8):
            chance = ls.false_alarm_probability(power, method="baluev", maximum_frequency=highest)
            alarms.append((name, power, tried, weighted_std(t, sigma), len(t), chance))
    write("wobble_series.csv", "series,t_s,y_arcsec,sigma_arcsec", numbers)
    write("wobble_power.csv", "series,frequency_hz,power", powers)
    write("wobble_alarm.csv", "series,power,highest_hz,spread_s,points,chance", alarms)


main()
