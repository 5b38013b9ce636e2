"""Small pictures drawn from formulas: light over the distance outside an ellipse."""

import numpy as np
from scipy.spatial import cKDTree

from rimread.photo import Photo


def taken(light):
    """A 16-bit linear photo of light in fractions of full scale."""
    grey = np.round(np.clip(light, 0, 1) * 65535).astype(np.uint16)
    return Photo(grey=grey, tone="linear", name="drawn", sha256="", tone_stated=True)


def light_about(ellipse, light, *, size, noise, seed):
    """Light over the distance outside an ellipse, (size, size), and grain."""
    y, x = np.indices((size, size), dtype=float)
    away = ellipse.distance(np.column_stack([x.ravel(), y.ravel()])).reshape(size, size)
    return light(away) + np.random.default_rng(seed).normal(0, noise, away.shape)


def grains(shape, size_px, *, seed):
    """Cells about random points, each of a shade of its own, of unit spread."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(0, shape[::-1], (round(shape[0] * shape[1] / size_px**2), 2))
    y, x = np.indices(shape)
    nearest = cKDTree(points).query(np.stack([x.ravel(), y.ravel()], axis=1))[1]
    return rng.standard_normal(len(points))[nearest].reshape(shape)
