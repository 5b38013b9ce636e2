"""How the metal outside a rim would return light at each slope.

The ball has pressed the bowl smoother than the metal around it, whose facets are tilted more
widely: it returns at a slope the mean of what the bowl returns at the slopes nearby, however they
are directed. So the bowl's charts, one along each ray, are laid out as one plane of slopes and
averaged there with a Gaussian, whose width is read off the photo: outside the metal is about
level, and the light seen there is that of the plane's middle so averaged. A level far darker than
the bright flank of a bowl, and brighter than its dark middle, tells a broad lobe; one like the
bowl's own middle a narrow one. That reflection from a rough surface is that of a smooth one
averaged over its facets' slopes is the model of Torrance & Sparrow (1967,
doi 10.1364/JOSA.57.001105); that a Gaussian of slopes makes up the difference is our assumption.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.rim.shading import CHART_SLOPES, DARK, FARTHEST, PER_RIM

__all__ = ["ridge_chart"]

Array = NDArray[np.floating]

CELLS = PER_RIM // 2
"""Cells of the plane to a rim's slope."""
LOBES = tuple(0.08 * 1.21**k for k in range(13))
"""Standard deviations tried, in slopes of the rim: 1.4° to 14° where a rim slopes by 17°."""
TYPICAL_LOBE, LOBE_FACTOR = 0.25, 2.5
"""Prior of the lobe, log-normal, and"""
LEVEL_SPREAD = 0.2
"""how far by ratio the light outside may be from that of the bowl at the same lobe: the two do not
shine alike. Our assumptions, no source; simulated photos are read about alike with a spread of 0.05
or 0.1, a typical lobe of 0.4 or a factor of 1.6."""


def ridge_chart(radial: Array, outside: Array) -> Array:
    """Charts (A, S) of the metal outside a rim over `rimread.rim.shading.CHART_SLOPES`.

    Parameters
    ----------
    radial : ndarray, shape (A, R)
        Of the bowl, see `rimread.rim.shading.radial_chart`; the rays evenly round the turn, the
        first half an arc from 0.
    outside : ndarray, shape (A,)
        Light just outside the rim on each ray.
    """
    layout = _layout(len(radial))
    turned = np.concatenate([radial, radial[:1]])
    seen = cv2.remap(turned, layout.radial, layout.turn, cv2.INTER_LINEAR)
    plane = np.asarray(seen * _within(), np.float32)
    across, whole = _averaging(_lobe(plane, float(np.median(outside))))
    spread = (across @ plane @ across) / whole
    return np.asarray(cv2.remap(spread, layout.x, layout.y, cv2.INTER_LINEAR))


def _lobe(plane: Array, outside: float) -> float:
    """The likeliest of `LOBES`, from the light of level metal."""
    level = _middles() @ plane.reshape(-1)
    off = np.log(np.maximum(level, DARK) / max(outside, DARK)) / LEVEL_SPREAD
    unusual = np.log(np.array(LOBES) / TYPICAL_LOBE) / np.log(LOBE_FACTOR)
    return LOBES[int(np.argmin(off**2 + unusual**2))]


@dataclass(frozen=True, slots=True, eq=False)
class _Layout:
    """Where the cells of the plane lie among the rays, and the charts' slopes among the cells.

    `radial` and `turn`, shape (N, N), are columns and rows of the charts; `x` and `y`, shape
    (A, S), columns and rows of the plane.
    """

    radial: Array
    turn: Array
    x: Array
    y: Array


def _cells() -> tuple[Array, Array]:
    """Slopes (N, 1) and (1, N) of the plane's cells along y and x."""
    half = round(FARTHEST * CELLS)
    along = np.arange(-half, half + 1) / CELLS
    return along[:, None], along[None]


@lru_cache(maxsize=1)
def _within() -> Array:
    """1 in the cells (N, N) up to `FARTHEST`, 0 in the corners."""
    y, x = _cells()
    return np.asarray(np.hypot(x, y) <= FARTHEST, np.float32)


@lru_cache(maxsize=4)
def _layout(arcs: int) -> _Layout:
    y, x = _cells()
    steep = np.hypot(x, y)
    turn = (np.arctan2(y, x) / (2 * np.pi) * arcs - 0.5) % arcs
    t = (np.arange(arcs)[:, None] + 0.5) * (2 * np.pi / arcs)
    middle = len(y) // 2
    return _Layout(
        radial=np.asarray(np.minimum(steep, FARTHEST) * PER_RIM, np.float32),
        turn=np.asarray(turn, np.float32),
        x=np.asarray(middle + CELLS * np.cos(t) * CHART_SLOPES, np.float32),
        y=np.asarray(middle + CELLS * np.sin(t) * CHART_SLOPES, np.float32),
    )


@lru_cache(maxsize=len(LOBES))
def _averaging(lobe: float) -> tuple[Array, Array]:
    """Gaussian weights (N, N) along either axis of the plane, and what they make of `_within`."""
    y, x = _cells()
    across = np.exp(-0.5 * ((y - x) / lobe) ** 2).astype(np.float32)
    return across, np.maximum(across @ _within() @ across, np.float32(1e-6))


@lru_cache(maxsize=1)
def _middles() -> Array:
    """Weights (lobes, N * N) that average the plane about its middle."""
    y, x = _cells()
    steep2 = (x * x + y * y).reshape(-1)
    weights = np.exp(-0.5 * steep2 / np.array(LOBES)[:, None] ** 2) * _within().reshape(-1)
    return np.asarray(weights / weights.sum(axis=1, keepdims=True), np.float32)
