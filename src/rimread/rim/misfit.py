"""How badly a predicted edge explains the light along each normal, wherever its break may lie.

Each arc's profile (`profiles`) is held against those predicted for a grid of edge shapes
(`shading`), shifted along the normal, samples weighted by the scatter of the finish on their side
of the break. Level and, within bounds, contrast are free. What the metal just outside slopes by
shows besides in how much brighter or darker it is than level metal.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from rimread.rim.profiles import LEAST_LIGHT, POOLED_DEG, Profiles, pool
from rimread.rim.shading import DARK, Turn, light_at, predicted

__all__ = ["misfits_of", "no_break_evidence", "slope_misfit"]

Array = NDArray[np.floating]

CONTRAST_RANGE = (0.5, 2.0)
"""A predicted contrast is taken as right within this factor,"""
CLIPPED_CONTRAST = 10.0
"""or may be up to this much larger where the exposure is clipped. Own choice, both."""
LEAST_MISFIT = 1e-2
"""Share of a profile's power that no prediction is expected to explain: a tenth of its contrast."""
UNPREDICTED = 5e-3
"""Nor is light predicted to better than 0.5 % of it: beside a faint rim lies as much of something
else. Own choice."""
RATIO_SPREAD = 0.4
"""How far by ratio the light of two places outside may be off what their slopes say: light falls
off over a field, and no finish is even. Own choice; simulated photos are read alike with 0.15 or
0.25."""
LEAST_LEVEL = 0.3
"""Part of the turn along which level metal must be seen. Own choice."""


def misfits_of(
    measured: Profiles,
    blurs: tuple[float, ...],
    turns: tuple[Turn, ...],
    shifts: NDArray[np.floating],
    *,
    pooled: float,
) -> Array:
    """-2 log likelihood per sample, shape (blurs * turns, shifts, A), pooled over arcs.

    Parameters
    ----------
    measured : Profiles
    blurs : tuple of float
    turns : tuple of Turn
    shifts : ndarray, shape (shifts,)
        Places of the break along the normals, evenly apart.
    pooled : float
        Standard deviation of the mean over neighbouring arcs in degrees.
    """
    q, step = measured.q_px, shifts[1] - shifts[0]
    fine = np.arange(q[0] - shifts[-1], q[-1] + shifts[-1] + step / 2, step)
    expected = predicted(measured.sides, blurs, turns, fine).reshape(len(measured.t), len(fine), -1)
    expected -= (expected[:, :1] + expected[:, -1:]) / 2  # float32: squares must not drown spreads
    share = ndtr((shifts[:, None] - q) / blurs[len(blurs) // 2])
    variance = (
        share * measured.variance_in[:, None, None]
        + (1 - share) * measured.variance_out[:, None, None]
    )
    misfit = _light_misfit(measured, expected, np.asarray(variance, np.float32))
    return np.swapaxes(pool(np.moveaxis(misfit, 0, -1), pooled), 0, 1)


def _light_misfit(measured: Profiles, expected: Array, variance: Array) -> Array:
    """Weighted misfit (A, shifts, shapes) of profiles, free in level, bound in contrast.

    Parameters
    ----------
    measured : Profiles
    expected : ndarray, shape (A, places, shapes)
        From the first sample less the largest shift to the last one and that shift.
    variance : ndarray, shape (A, shifts, Q)
        Of the samples when the break lies at a shift.
    """
    seen, light = measured.seen[:, None], measured.light[:, None]
    weight = seen / variance
    seen_sum, weight_sum = seen.sum(axis=2, keepdims=True), weight.sum(axis=2, keepdims=True)
    spread = _dot(seen, np.log(variance)) / seen_sum - np.log(seen_sum / weight_sum)
    weight /= weight_sum
    mean = _dot(weight, light)
    centred = light - mean
    pull = weight * centred
    total = _dot(pull, centred)
    at = _moved(weight, expected.shape[1])
    cross = _moved(pull, expected.shape[1]) @ expected
    power = at @ (expected * expected)
    power -= (at @ expected) ** 2
    power += np.float32(1e-12)
    most = np.where(measured.clipped, CLIPPED_CONTRAST, CONTRAST_RANGE[1]).astype(np.float32)
    contrast = cross / power
    np.maximum(contrast, CONTRAST_RANGE[0], out=contrast)
    np.minimum(contrast, most[:, None, None], out=contrast)
    rest = power  # that array, as large ones take long to make: total + c (c power - 2 cross)
    rest *= contrast
    rest -= 2 * cross
    rest *= contrast
    rest += total
    np.maximum(rest, 0, out=rest)
    rest += _floor(total, mean)
    np.log(rest, out=rest)
    rest += spread
    return rest


def _dot(one: Array, other: Array) -> Array:
    """Sums (A, shifts, 1) over the samples."""
    return np.asarray(np.einsum("asq,asq->as", one, other)[..., None])


def _floor(power: Array, light: Array) -> Array:
    """What is left unexplained of profiles of some power and mean light, at the least."""
    return LEAST_MISFIT * power + (UNPREDICTED * np.maximum(light, LEAST_LIGHT)) ** 2


def slope_misfit(measured: Profiles, slopes: NDArray[np.floating]) -> Array:
    """How badly outer slopes explain the light just outside beside that of level metal.

    Mean over the turn of -log of a Cauchy density, as stains and neighbours are in the way.

    Parameters
    ----------
    measured : Profiles
    slopes : ndarray, shape (S,)
        See `rimread.rim.shading.Turn`.

    Returns
    -------
    ndarray, shape (S,)
        Zeros where too little of the level metal is in the picture, or all is dark.
    """
    sides = measured.sides
    known = np.minimum(sides.level, sides.outside) > LEAST_LIGHT
    if known.mean() < LEAST_LEVEL:
        return np.zeros(len(slopes), np.float32)
    ridge = sides.ridge[known]
    sloped, flat = (
        np.log(np.maximum(light_at(ridge, at), DARK)) for at in (slopes, np.zeros((1,)))
    )
    seen = np.log(sides.outside[known] / sides.level[known])
    return np.asarray(np.log1p(((seen - sloped + flat) / RATIO_SPREAD) ** 2).mean(axis=1))


def no_break_evidence(measured: Profiles) -> Array:
    """Log likelihood (A,) of profiles as straight slopes of light, pooled over arcs.

    Parameters
    ----------
    measured : Profiles
    """
    weight = measured.seen / measured.seen.sum(axis=1, keepdims=True)
    mean = (weight * measured.light).sum(axis=1, keepdims=True)
    light = measured.light - mean
    along = measured.q_px - (weight * measured.q_px).sum(axis=1, keepdims=True)
    slope = (weight * light * along).sum(axis=1) / (weight * along**2).sum(axis=1)
    rest = (weight * (light - slope[:, None] * along) ** 2).sum(axis=1)
    misfit = np.log(rest + _floor((weight * light**2).sum(axis=1), mean[:, 0]))
    return np.asarray(-0.5 * len(measured.q_px) * pool(misfit[None], POOLED_DEG)[0])


def _moved(weights: Array, places: int) -> Array:
    """Weights (A, shifts, Q) of samples 1 px apart at each shift's places, (A, shifts, places)."""
    arcs, shifts, samples = weights.shape
    per = (places - shifts) // (samples - 1)
    out = np.zeros((arcs, shifts, places), np.float32)
    for i in range(shifts):
        first = shifts - 1 - i
        out[:, i, first : first + per * samples : per] = weights[:, i]
    return out
