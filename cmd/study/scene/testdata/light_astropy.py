#!/usr/bin/python3
"""Light of stars in whole pixels by astropy's models, integrated by sampling each pixel at 301 × 301 points.

Run: /usr/bin/python3 light_astropy.py > light_astropy.csv
"""
import numpy as np
import astropy
from astropy.modeling.models import Gaussian2D, Moffat2D
from astropy.convolution import discretize_model

print("# astropy", astropy.__version__, ", discretize_model(mode='oversample', factor=301)")
print("profile,fwhm,beta,x,y,i,j,share")
N = 6
for fwhm in (1.5, 3.0, 5.0):
    for x, y in ((0.0, 0.0), (0.3, -0.2), (0.49, 0.1)):
        sigma = fwhm / (2 * np.sqrt(2 * np.log(2)))
        models = [("gaussian", 0.0, Gaussian2D(1 / (2 * np.pi * sigma**2), x, y, sigma, sigma))]
        for beta in (2.5, 3.5):
            alpha = fwhm / (2 * np.sqrt(2 ** (1 / beta) - 1))
            models.append(("moffat", beta, Moffat2D((beta - 1) / (np.pi * alpha**2), x, y, alpha, beta)))
        for name, beta, m in models:
            v = discretize_model(m, (-N, N + 1), (-N, N + 1), mode="oversample", factor=301)
            for j in (-5, -1, 0, 1, 3):
                for i in (-2, 0, 1, 6):
                    print(f"{name},{fwhm},{beta},{x},{y},{i},{j},{v[j + N, i + N]:.12e}")
