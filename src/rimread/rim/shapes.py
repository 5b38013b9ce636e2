"""The shapes of an edge that are tried, and how likely each of them is.

A shape is a blur and a turn of the slope (`rimread.rim.shading.Turn`): a rounding with an outer
slope, or with none, where the light runs straight from that of one side to that of the other. The
turns of a blur come one after the other, in each rounding the outer slopes and then none.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from rimread.rim.shading import Turn

__all__ = [
    "BLURS_PX",
    "OUTER_SLOPES",
    "all_turns",
    "blur_and_rounding",
    "blurs_about",
    "coarse_turns",
    "log_weights",
    "nearest_blur",
]

Array = NDArray[np.floating]

BLURS_PX = tuple(0.7 * 1.35**k for k in range(9))
"""0.7 px (an edge within one pixel) to 7.7 px (the gate refuses)."""
ROUNDINGS = (0.33, 0.7, 1.5, 3.2, 6.8)
"""Roundings of the edge over the typical one, 20-fold in all: under the least of them an edge as
wide as a pixel hides any."""
OUTER_SLOPES = (-0.6, -0.25, -0.05, 0.15, 0.4)
"""From a crest falling steeply, of which a narrow line along the rim speaks, to a dish, or a ridge
whose crest lies farther out and up which the metal still rises; in slopes of the bowl at the
rim,"""
COARSE_ROUNDINGS, COARSE_SLOPES = (0.3, 1.5, 4.5), (-0.2, 0.1)
"""and the shapes that settle an ellipse."""
TYPICAL_ROUNDING, ROUNDING_FACTOR = 8e-4, 2.5
"""Prior of the rounding in diameters, log-normal. Indents are geometrically similar, so that the
rounding goes with the diameter; its size is our assumption, no source. Wide, as blur hides it: set
with `TEMPER` by errors and coverage on simulated photos, while the renderings were watched."""
TYPICAL_SLOPE, SLOPE_SPREAD = -0.05, 0.2
"""Prior of the outer slope, a Cauchy density, as some crests are steep; our assumption, no
source."""
STRAIGHT = -2.0
"""Logarithm of the odds that the light turns straight, against all that follow the bowl's chart:
one to seven. A chart with stains in it, or of light thrown back and forth in the bowl, misleads. A
trade: with odds of none, -3, -2 and -1 the 95th percentile on the renderings, which were watched,
is 0.28, 0.25, 0.22 and 0.21 %, and the median on simulated photos, whose light the chart tells
rightly, 0.049, 0.049, 0.050 and 0.056 %."""
TEMPER = 12.0
"""Independent pieces of evidence in one turn of profiles, each of about a dozen samples: misfit
comes from the finish and is shared by neighbouring arcs. Set by coverage on simulated photos."""
SLOPE_TEMPER = 4.0
"""The same of the outer slope in the light outside, set likewise."""


def nearest_blur(blur_px: float) -> float:
    """The one of `BLURS_PX` by ratio."""
    return min(BLURS_PX, key=lambda one: abs(np.log(one / blur_px)))


def blurs_about(blur_px: float) -> tuple[float, ...]:
    """Three of `BLURS_PX` about a blur, at either end the last three."""
    best = BLURS_PX.index(nearest_blur(blur_px))
    first = min(max(best - 1, 0), len(BLURS_PX) - 3)
    return BLURS_PX[first : first + 3]


def all_turns(diameter_px: float) -> tuple[Turn, ...]:
    """Every rounding with every outer slope and without one."""
    return _turns(diameter_px, ROUNDINGS, (*OUTER_SLOPES, None))


def coarse_turns(diameter_px: float) -> tuple[Turn, ...]:
    """Those that settle an ellipse."""
    return _turns(diameter_px, COARSE_ROUNDINGS, COARSE_SLOPES)


def _turns(
    diameter_px: float, roundings: tuple[float, ...], slopes: tuple[float | None, ...]
) -> tuple[Turn, ...]:
    typical = TYPICAL_ROUNDING * diameter_px
    return tuple(Turn(typical * rounding, slope) for rounding, slope in product(roundings, slopes))


def blur_and_rounding(blurs_px: tuple[float, ...], turns: tuple[Turn, ...]) -> Array:
    """Blur and rounding of each shape in pixels, (blurs * turns, 2)."""
    return np.array([(blur, turn.rounding_px) for blur, turn in product(blurs_px, turns)])


def log_weights(misfit: Array, sloped: Array | float = 0.0) -> Array:
    """Logarithms of prior times likelihood of the shapes of some blurs and `all_turns`.

    Parameters
    ----------
    misfit : ndarray, shape (shapes,)
        -2 log likelihood per sample, the mean over the turn.
    sloped : ndarray, shape (len(OUTER_SLOPES),), or 0
        Misfit of each outer slope beside level metal, see `rimread.rim.misfit.slope_misfit`.

    Returns
    -------
    ndarray, shape (shapes,)
        Up to a constant.
    """
    by_rounding = -0.5 * (np.log(ROUNDINGS) / np.log(ROUNDING_FACTOR)) ** 2
    by_slope = -np.log1p(((np.array(OUTER_SLOPES) - TYPICAL_SLOPE) / SLOPE_SPREAD) ** 2)
    by_slope -= SLOPE_TEMPER * sloped
    by_slope = np.append(by_slope, STRAIGHT + logsumexp(by_slope))
    by_turn = np.add.outer(by_rounding, by_slope).reshape(-1)
    return np.asarray(np.tile(by_turn, len(misfit) // len(by_turn)) - TEMPER * misfit)
