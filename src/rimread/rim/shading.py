"""What a rim should look like, from the bowl itself.

A bowl is its own shading chart: along the ray from its centre to a rim point the slope of the
metal rises steadily from flat to the slope at the rim, and the light returned at each slope can be
read off the photo. At the rim the slope turns, over the rounding of the edge, from that of the
bowl to that of the ridge (or dish) around it: it runs through slopes the chart has shown. So the
profile across a rim is predicted, glint lines and one-sided shoulders included, up to the blur,
the rounding and the outer slope; where a blurred step would be placed half a pixel off, the
predicted profile is not.

With w(q) = 1 / (1 + exp(q / r)) the share of the inner slope at distance q outside the break
(r the rounding), slope(q) = s + (1 - s) w in units of the slope at the rim (s the outer slope), the
light is

    I(q) = T(slope(q)) + (1 - w(q)) (I_out - T(s)),

T the chart along that ray (negative slopes: the ray on the opposite side), the second term for
what the outer surface returns differently at the same slope; then a Gaussian blur. Own derivation;
checked against simulated photos in tests/accuracy.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

__all__ = ["CHART_SLOPES", "EdgeShape", "bowl_chart", "predicted"]

CHART_HALF = 48
CHART_SLOPES = np.linspace(-1.0, 1.0, 2 * CHART_HALF + 1)
"""Slopes of a chart in units of the slope at the rim."""
CHART_TREND = 0.12
"""Length in rim slopes of the stretch from which a chart is continued to the rim."""
CHART_SMOOTH_ARCS = 2.0
"""Standard deviation, in arcs, of the mean over neighbouring rays: finish is averaged out."""

Array = NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class EdgeShape:
    """What shapes a rim's profile beside the light.

    Parameters
    ----------
    blur_px : float
        Standard deviation of the blur.
    rounding_px : float
        Length r of the rounding: 10 to 90 % of the turn take 4.4 r.
    outer_slope : float
        Slope outside the rim in units of the slope inside it, negative on a ridge.
    """

    blur_px: float
    rounding_px: float
    outer_slope: float


def bowl_chart(rays: Array, u: NDArray[np.floating], *, known_to: float) -> Array:
    """Charts (A, S) over `CHART_SLOPES` from rays (A, U) of linear light, A even.

    Parameters
    ----------
    rays : ndarray, shape (A, U)
        Light along rays from the centre (u = 0) to the rim (u = 1).
    u : ndarray, shape (U,)
        Places on the rays.
    known_to : float
        Largest u not yet touched by the blur of the rim; beyond it the trend is continued.
    """
    smooth = _smooth_round(rays)
    slopes = CHART_SLOPES[CHART_HALF:]
    inner = _interpolate(smooth, u, np.minimum(slopes, known_to))
    before = _interpolate(smooth, u, np.array([known_to - CHART_TREND, known_to]))
    trend = (before[:, 1] - before[:, 0]) / CHART_TREND
    half = inner + trend[:, None] * np.maximum(slopes - known_to, 0)
    half = np.clip(half, 0.5 * before[:, 1:], 2.0 * before[:, 1:])
    half = np.where(slopes > known_to, half, inner)
    opposite = np.roll(half, len(half) // 2, axis=0)
    return np.concatenate([opposite[:, :0:-1], half], axis=1).astype(np.float32)


def predicted(chart: Array, outside: Array, shapes: tuple[EdgeShape, ...], q_px: bytes) -> Array:
    """Predicted profiles, shape (A, len(shapes), Q), at the float64 distances packed in `q_px`.

    Parameters
    ----------
    chart : ndarray, shape (A, S)
    outside : ndarray, shape (A,)
        Light just outside the rim.
    shapes : tuple of EdgeShape
    q_px : bytes
        ``ndarray.tobytes()`` of evenly spaced distances (hashable, so that weights are kept).
    """
    weights, shares = _weights_of_all(shapes, q_px)
    profiles = np.hstack([chart, outside[:, None]]) @ np.vstack([weights, shares])
    return np.asarray(profiles.reshape(len(chart), len(shapes), -1))


@lru_cache(maxsize=64)
def _weights_of_all(shapes: tuple[EdgeShape, ...], q_px: bytes) -> tuple[Array, Array]:
    """The weights of several shapes side by side, (S, len(shapes) Q) and (1, len(shapes) Q)."""
    pairs = [_weights(shape, q_px) for shape in shapes]
    return (
        np.hstack([weights for weights, _ in pairs]),
        np.hstack([share for _, share in pairs])[None],
    )


@lru_cache(maxsize=4096)
def _weights(shape: EdgeShape, q_px: bytes) -> tuple[Array, Array]:
    """Linear weights (S, Q) of the chart and (Q,) of the outside light in the profile."""
    q = np.frombuffer(q_px)
    step = q[1] - q[0]
    reach = int(np.ceil(4 * shape.blur_px / step))
    fine = q[0] + step * np.arange(-reach, len(q) + reach)
    w = 0.5 - 0.5 * np.tanh(fine / (2 * shape.rounding_px))
    slope = shape.outer_slope + (1 - shape.outer_slope) * w
    weights = _linear_weights(slope)
    weights -= (1 - w) * _linear_weights(np.array([shape.outer_slope]))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / shape.blur_px) ** 2)
    kernel /= kernel.sum()
    blurred = sliding_window_view(weights, len(kernel), axis=1) @ kernel
    share = np.convolve(1 - w, kernel, mode="valid")
    return blurred.astype(np.float32), share.astype(np.float32)


def _linear_weights(slope: NDArray[np.floating]) -> NDArray[np.floating]:
    """Weights (S, N) that interpolate a chart linearly at `slope` (N,)."""
    x = np.clip((slope + 1) * CHART_HALF, 0, 2 * CHART_HALF)
    return np.asarray(np.maximum(1 - np.abs(x - np.arange(2 * CHART_HALF + 1)[:, None]), 0))


def _interpolate(
    rows: Array, u: NDArray[np.floating], at: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Each row, given at evenly spaced `u`, at the places `at`."""
    x = np.clip((at - u[0]) / (u[1] - u[0]), 0, len(u) - 1.001)
    i = x.astype(np.intp)
    return np.asarray(rows[:, i] * (1 - (x - i)) + rows[:, i + 1] * (x - i))


def _smooth_round(rows: Array) -> Array:
    """Gaussian mean over neighbouring rows of a closed turn."""
    k = np.fft.rfftfreq(len(rows)) * 2 * np.pi * CHART_SMOOTH_ARCS
    spectrum = np.fft.rfft(rows, axis=0) * np.exp(-0.5 * k * k)[:, None]
    return np.fft.irfft(spectrum, n=len(rows), axis=0).astype(np.float32)
