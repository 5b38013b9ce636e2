"""What a rim should look like, from the bowl itself.

A bowl is its own shading chart: along the ray from its centre to a rim point the slope of the
metal rises steadily from flat to the slope at the rim, and the light returned at each slope can be
read off the photo. At the rim the slope turns, over the rounding of the edge, from that of the
bowl to that of the ridge (or dish) around it: it runs through slopes the chart has shown. So the
profile across a rim is predicted, glint lines and one-sided shoulders included, up to the blur,
the rounding and the outer slope; where a blurred step would be placed half a pixel off, the
predicted profile is not.

With w(q) = 1 / (1 + exp(q / r)) the share of the inner slope at distance q outside the break
(r the rounding) and m the radius, slope(q) = s + (1 + q / m - s) w in units of the slope at the
rim: that of the bowl, which falls towards its centre, turning to s, the outer slope. The light is

    I(q) = w T(slope) + (1 - w) (g (T_out(slope) - T_out(s)) + I_out + q I_out'),    w = w(q),

T the chart along that ray (negative slopes: the ray on the opposite side) and T_out what the metal
outside returns, up to the constant that I_out sets, the light seen there; q I_out' for how that
changes away from the rim as the slope of the ridge does; then a Gaussian blur. T_out comes from the
chart too (`ridge`); where it is brighter or darker at s than the light seen outside, so is all of
it, by g = I_out / T_out(s), up to twice. A turn without an outer slope leaves the charts aside:
I(q) = w T(1) + (1 - w) (I_out + q I_out'), blurred likewise. Own derivation; checked against
simulated photos in tests/accuracy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "CHART_SLOPES",
    "DARK",
    "FARTHEST",
    "PER_RIM",
    "RADIAL_SLOPES",
    "Sides",
    "Turn",
    "bowl_chart",
    "dark_feet",
    "light_at",
    "neighbours",
    "predicted",
    "radial_chart",
]

PER_RIM = 48
"""Slopes of a chart to the slope at the rim, in units of which they are;"""
FARTHEST = 1.625
"""how far a ray's chart goes on beyond it, by its trend;"""
RADIAL_SLOPES = np.arange(round(FARTHEST * PER_RIM) + 1) / PER_RIM
"""those of one ray,"""
CHART_SLOPES = np.arange(-PER_RIM, PER_RIM + 1) / PER_RIM
"""and those of the ray and the one opposite, which has the negative ones."""
MOST_GAIN = 2.0
"""The metal outside shines by up to twice as much as the bowl at the same slope. Own choice."""
DARK = 1e-4
"""Light below 0.01 % of full scale is none."""
CHART_TREND = 0.12
"""Length in rim slopes of the stretch from which a chart is continued to the rim."""
FOOT = (0.45, 0.9)
"""Slopes halfway and near the rim, the latter in the trend that continues a chart where a rim is
small and blurred;"""
DARK_FOOT, EVEN_FOOT = (1.5, 3.0), 0.5
"""from 1.5 times (not at all) to 3 times (wholly) as much light in the middle as near the rim, and
from a change between the two slopes of half of what the middle is brighter by (not at all) to none
(wholly). Own choice: such bowls had errors beyond U more often than others on simulated photos."""
CHART_SMOOTH_DEG = 7.5
"""Standard deviation of the mean over neighbouring rays: finish is averaged out."""

BLUR_REACH = 4.0
"""A blur is followed to this many standard deviations."""
LEAST_SPACING_PX, SPACING_GROWTH = 0.05, 0.25
"""Steps of the integral of the blur: a Gaussian's is exact to 1e-8 in steps of its standard
deviation (trapezoidal rule, Poisson's summation); close together at the turn, as no blur is
narrower than 14 of them, and a quarter more for each pixel away from it."""

Array = NDArray[np.floating]


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """Light on the two sides of a rim.

    Parameters
    ----------
    chart, ridge : ndarray, shape (A, S)
        Light of the bowl, and of the metal outside, over slope along each ray, see `bowl_chart`
        and `rimread.rim.ridge`.
    outside : ndarray, shape (A,)
        Light just outside the rim.
    outward : ndarray, shape (A,)
        Its change per pixel away from the rim.
    level : ndarray, shape (A,)
        Light farther outside, where the metal is about level; not a number where that is out of
        the picture.
    radius_px : float
        Mean radius of the rim.
    """

    chart: Array
    ridge: Array
    outside: Array
    outward: Array
    level: Array
    radius_px: float


@dataclass(frozen=True, slots=True)
class Turn:
    """How the slope turns at a rim.

    Parameters
    ----------
    rounding_px : float
        Length r of the rounding: 10 to 90 % of the turn take 4.4 r.
    outer_slope : float or None
        Slope outside the rim in units of the slope inside it, negative on a ridge; None where the
        light does not follow the bowl's chart but runs straight from one side to the other.
    """

    rounding_px: float
    outer_slope: float | None


def radial_chart(rays: Array, u: NDArray[np.floating], *, known_to: float) -> Array:
    """Charts (A, R) of a bowl over `RADIAL_SLOPES` from rays (A, U) of linear light.

    Parameters
    ----------
    rays : ndarray, shape (A, U)
        Light along rays from the centre (u = 0) to the rim (u = 1).
    u : ndarray, shape (U,)
        Places on the rays.
    known_to : float
        Largest u not yet touched by the blur of the rim; beyond it the trend is continued.
    """
    smooth = rays.T @ neighbours(len(rays), CHART_SMOOTH_DEG)
    slopes = RADIAL_SLOPES[:, None]
    inner = _interpolate(smooth, u, np.minimum(RADIAL_SLOPES, known_to))
    before, last = _interpolate(smooth, u, np.array([known_to - CHART_TREND, known_to]))
    trend = (last - before) / CHART_TREND
    beyond = inner + trend * np.maximum(slopes - known_to, 0)
    beyond = np.clip(beyond, 0.5 * last, 2.0 * last)
    return np.where(slopes > known_to, beyond, inner).T.astype(np.float32)


def bowl_chart(radial: Array) -> Array:
    """Charts (A, S) over `CHART_SLOPES` from those of single rays, A even."""
    half = radial[:, : PER_RIM + 1]
    opposite = np.roll(half, len(half) // 2, axis=0)
    return np.concatenate([opposite[:, :0:-1], half], axis=1)


def light_at(chart: Array, slopes: NDArray[np.floating]) -> Array:
    """Light (..., A) of charts (A, S) over `CHART_SLOPES` at some slopes (...)."""
    return np.asarray(_interpolate(chart.T, CHART_SLOPES, slopes))


def dark_feet(chart: Array) -> Array:
    """How far a bowl that shines in its middle is dark and even from halfway to the rim, (A,).

    From 0, not at all, to 1. Where it is, the turn of the slope shows only where the metal is
    nearly level: where it begins is not seen, and any blur, rounding and sinking with the same
    upper half explains the edge.

    Parameters
    ----------
    chart : ndarray, shape (A, S)
        See `bowl_chart`.
    """
    middle, halfway, foot = (chart[:, PER_RIM + round(PER_RIM * s)] for s in (0, *FOOT))
    brighter = np.maximum(middle - foot, DARK)
    even = 1 - np.abs(foot - halfway) / (EVEN_FOOT * brighter)
    dark = np.interp(middle / np.maximum(foot, DARK), DARK_FOOT, (0, 1))
    return np.asarray(dark * np.maximum(even, 0))


def predicted(
    sides: Sides, blurs_px: Sequence[float], turns: Sequence[Turn], q_px: NDArray[np.floating]
) -> Array:
    """Predicted profiles at the distances `q_px`, shape (A, Q, len(blurs_px), len(turns))."""
    nodes, steps = _nodes(float(np.abs(q_px).max()), tuple(blurs_px))
    sharp = _sharp(sides, turns, nodes)
    blurring = _blurring(blurs_px, nodes, steps, q_px).reshape(-1, len(nodes))
    blurred = (blurring @ sharp.reshape(len(nodes), -1)).reshape(-1, sharp.shape[-1])
    turned = np.asarray(cv2.transpose(blurred), np.float32)  # numpy's takes several times longer
    return turned.reshape(-1, len(q_px), len(blurs_px), len(turns))


@lru_cache(maxsize=64)
def _nodes(
    span: float, blurs_px: tuple[float, ...]
) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Places at which the light is worked out for blurs within ±`span`, and their spacing.

    Close together at the turn, and nowhere farther apart than the standard deviation of the
    narrowest blur that reaches there from within the span.
    """
    nodes = [0.0]
    while nodes[-1] < span + BLUR_REACH * max(blurs_px):
        q = nodes[-1]
        narrowest = max(min(blurs_px), (q - span) / BLUR_REACH)
        nodes.append(q + min(LEAST_SPACING_PX + SPACING_GROWTH * q, narrowest))
    both = np.concatenate([-np.array(nodes[:0:-1]), nodes])
    return both, np.gradient(both)


def _sharp(sides: Sides, turns: Sequence[Turn], q: NDArray[np.floating]) -> Array:
    """Profiles before the blur, shape (len(q), len(turns), A)."""
    rounding = np.array([turn.rounding_px for turn in turns])
    straight = np.array([turn.outer_slope is None for turn in turns])
    outer = np.array([turn.outer_slope or 0.0 for turn in turns])
    w = (0.5 - 0.5 * np.tanh(q[:, None] / (2 * rounding))).astype(np.float32)
    slope = outer + (1 + q[:, None] / sides.radius_px - outer) * w
    bowl = light_at(sides.chart, np.where(straight, 1.0, slope))
    ridge = light_at(sides.ridge, np.where(straight, outer, slope))
    seen_from = light_at(sides.ridge, outer)
    ridge -= seen_from
    ridge *= np.clip(sides.outside / np.maximum(seen_from, DARK), 0, MOST_GAIN)
    ridge += (sides.outside + sides.outward * q.astype(np.float32)[:, None])[:, None]
    bowl -= ridge
    bowl *= w[..., None]
    bowl += ridge
    return np.asarray(bowl, np.float32)


def _blurring(
    blurs_px: Sequence[float],
    nodes: NDArray[np.floating],
    steps: NDArray[np.floating],
    q: NDArray[np.floating],
) -> Array:
    """Weights (len(q), len(blurs_px), len(nodes)) of Gaussian blurs."""
    off = np.asarray(nodes - q[:, None, None], np.float32)
    blur = np.asarray(blurs_px, np.float32)[:, None]
    kernels = np.exp(-0.5 * (off / blur) ** 2) * np.asarray(steps, np.float32)
    return np.asarray(kernels / kernels.sum(axis=2, keepdims=True))


def _interpolate(
    columns: Array, u: NDArray[np.floating], at: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Columns (U, A), given at evenly spaced `u`, at the places `at`: shape of `at` and (A,).

    A place's values lie side by side, which makes looking them up many times faster.
    """
    x = np.clip((at - u[0]) / (u[1] - u[0]), 0, len(u) - 1.001)
    i = x.astype(np.intp)
    columns = np.ascontiguousarray(columns)
    values = np.diff(columns, axis=0).take(i, axis=0)
    values *= (x - i).astype(np.float32)[..., None]
    values += columns.take(i, axis=0)
    return np.asarray(values)


@lru_cache(maxsize=8)
def neighbours(arcs: int, degrees: float) -> Array:
    """Weights (arcs, arcs), a symmetric matrix, of a Gaussian mean round a closed turn.

    Parameters
    ----------
    arcs : int
        Arcs of the turn.
    degrees : float
        Standard deviation.
    """
    k = np.fft.rfftfreq(arcs) * 2 * np.pi * arcs * (degrees / 360)
    weights = np.fft.irfft(np.exp(-0.5 * k * k), n=arcs).astype(np.float32)
    return np.asarray(weights[np.subtract.outer(np.arange(arcs), np.arange(arcs))])
