"""Small pictures drawn from formulas: light over the distance outside an ellipse."""

import numpy as np

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
