"""How well a break at each place along a normal explains the grey values on its two sides.

With the means m and variances v of a short window inside and one outside, the log likelihood
ratio of two normal populations over one falls into a part for the means and one for the spreads,

    log(1 + (m_in - m_out)² / (v_in + v_out)),
    2 log((v_in + v_out) / 2) - log v_in - log v_out

(per pair of independent samples, up to factors near one). Both rise with logarithms, so that one
glaring arc does not outvote a whole rim; neither knows polarity, so that lit and shaded sides of
a bowl count alike; and a change of texture at equal brightness, as where grinding marks end, is a
break too. So is a line brighter or darker than both sides, held against them in the same way.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["ASIDE", "MARGIN", "break_evidence"]

WINDOW = 5
"""Samples in each window; odd, so that window means sit on sample positions."""
GAP = 1
"""Samples left out between a window's edge and the break: blur mixes them."""
ASIDE = WINDOW // 2 + 1 + GAP
"""Samples from a break to the middle of either window: nearer to an end of a row it has no gain."""
LINE = 3
"""Samples of a glint line that may run along the rim between sides of equal brightness."""
ARC = 3
"""Neighbouring rows pooled."""
SHADING = 15
"""Length in samples of the twice-run mean that is taken off: slower changes are shading."""
MARGIN = SHADING - 1
"""Columns next to either end of a row whose shading is not known: a slope there looks like a
break."""
TEXTURE = 0.3
"""Weight of the texture term: variances of 15 samples are three times less certain than means."""
QUANTUM = 1 / 255.0
"""Grey steps of the coarsest files read; variances below its square are not believed."""


def break_evidence(
    grey: NDArray[np.floating], *, inside: NDArray[np.bool_], shading: bool
) -> NDArray[np.floating]:
    """Gain of a break at each sample of a band or polar picture.

    Parameters
    ----------
    grey : ndarray, shape (A, R)
        Rows go round the rim, columns outwards; coded grey values in fractions of full scale.
    inside : ndarray, shape (A, R), bool
        Samples outside the picture get no gain.
    shading : bool
        Whether slow changes along each row count too.

    Returns
    -------
    ndarray, shape (A, R), float32
    """
    values = grey if shading else grey - _slow(grey)
    ring = np.vstack([values[-ARC:], values, values[:ARC]])
    mean = _mean(ring)
    variance = np.maximum(_mean(ring * ring) - mean * mean, 0)[ARC:-ARC]
    mean = mean[ARC:-ARC]
    difference = mean[:, : -2 * ASIDE] - mean[:, 2 * ASIDE :]
    one, other = variance[:, : -2 * ASIDE] + QUANTUM**2, variance[:, 2 * ASIDE :] + QUANTUM**2
    gain = np.zeros_like(values)
    both = one + other
    middle = (
        _mean(ring, width=LINE)[ARC:-ARC, ASIDE:-ASIDE]
        - (mean[:, : -2 * ASIDE] + mean[:, 2 * ASIDE :]) / 2
    )
    step_or_line = np.log1p(np.maximum(difference**2, middle**2) / both)
    texture = np.log(both * both / (4 * one * other))
    gain[:, ASIDE:-ASIDE] = step_or_line + TEXTURE * texture
    gain[~inside] = 0
    return gain


def _mean(values: NDArray[np.floating], *, width: int = WINDOW) -> NDArray[np.floating]:
    box = cv2.blur(values, (width, ARC), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(box, np.float32)


def _slow(values: NDArray[np.floating]) -> NDArray[np.floating]:
    once = cv2.blur(values, (SHADING, 1), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(cv2.blur(once, (SHADING, 1), borderType=cv2.BORDER_REPLICATE), np.float32)
