"""Several frames of the same sight: their average, and how far they differ."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from rimread.budget import Component
from rimread.capture.frame import Frame, Picture, photo_of
from rimread.capture.shift import MOST_SMEAR_PX2, shift_px, small
from rimread.refusal import Refusal
from rimread.rim import find_rim

__all__ = ["LEAST_FRAMES", "Burst", "Scatter", "average", "scatter_of"]

LEAST_FRAMES = 3
"""Fewer frames say nothing about their scatter that is worth a number."""
_TO_16_BITS = 257  # 255 × 257 = 65535


@dataclass(frozen=True, slots=True, eq=False)
class Burst:
    """The average of several frames.

    Parameters
    ----------
    picture : ndarray, uint16, the shape of the frames
        Mean of the coded values, widened to 16 bits so that what averaging gains is kept. One
        frame alone is kept as it came.
    taken_at : datetime.datetime
        Of the last frame.
    frames : int
        How many.
    noise : float or None
        Median over the pixels of the frame-to-frame standard deviation, in fractions of full
        scale; None for a single frame.
    """

    picture: Picture
    taken_at: datetime
    frames: int
    noise: float | None


@dataclass(frozen=True, slots=True)
class Scatter:
    """How far the mean diameter differs from frame to frame.

    Parameters
    ----------
    frames : int
        Frames on which the rim was found.
    sd_rel : float
        Standard deviation of the mean diameter over the mean diameter, one frame.
    """

    frames: int
    sd_rel: float

    @property
    def u_rel(self) -> float:
        """Relative standard uncertainty of the average (GUM 4.2.3)."""
        return self.sd_rel / math.sqrt(self.frames)

    @property
    def dof(self) -> float:
        """Degrees of freedom."""
        return self.frames - 1.0

    def component(self, mean_mm: float) -> Component:
        """The scatter as a component of a mean diameter's budget, in mm."""
        return Component(
            "frame to frame",
            self.u_rel * mean_mm,
            dof=self.dof,
            how=f"{self.frames} frames measured one by one, scatter {self.sd_rel:.3%} of d",
        )


def average(frames: Sequence[Frame]) -> Burst | Refusal:
    """Average frames pixel by pixel.

    The coded values are averaged, not the light: over the few grey steps that noise moves a pixel
    the tone curve is straight.

    Returns
    -------
    Burst or Refusal
        ``not-steady`` when the sight moved, so that the average would be smeared.

    Raises
    ------
    ValueError
        If there are none or they differ in size.
    """
    if not frames:
        raise ValueError("an average needs at least one frame (got none)")
    if len({frame.picture.shape for frame in frames}) > 1:
        raise ValueError("all frames of an average must have one size")
    last = frames[-1]
    if len(frames) == 1:
        return Burst(last.picture, last.taken_at, 1, None)
    first, *later = (small(frame.grey) for frame in frames)
    moved = _moved(np.array([(0.0, 0.0), *(shift_px(first, now) for now in later)]))
    if moved is not None:
        return moved
    full = np.iinfo(last.picture.dtype).max
    total = np.zeros(last.picture.shape, np.float64)
    squares = np.zeros(last.picture.shape, np.float64)
    for frame in frames:
        values = frame.picture.astype(np.float64)
        total += values
        squares += values * values
    n = len(frames)
    spread = np.sqrt(np.maximum(squares - total * total / n, 0.0) / (n - 1))
    widen = _TO_16_BITS if full == np.iinfo(np.uint8).max else 1
    mean = np.rint(total / n * widen).astype(np.uint16)
    return Burst(_grey16(mean), last.taken_at, n, float(np.median(spread)) / full)


def scatter_of(frames: Sequence[Frame]) -> Scatter | Refusal:
    """Measure the rim in every frame by itself.

    Returns
    -------
    Scatter or Refusal
        ``too-few-frames`` when fewer than `LEAST_FRAMES` show a rim, ``not-steady`` when the rim
        moved: its size would scatter no more for that, though an average of the frames is smeared.
    """
    found = (find_rim(photo_of(frame)) for frame in frames)
    rims = [rim for rim in found if not isinstance(rim, Refusal)]
    sizes = [rim.ellipse.m for rim in rims]
    if len(sizes) < LEAST_FRAMES:
        return Refusal(
            "too-few-frames",
            f"the rim was found in {len(sizes)} of {len(frames)} frames; at least {LEAST_FRAMES} "
            "are needed to tell their scatter: hold the picture still and take it again",
            {"found": float(len(sizes)), "frames": float(len(frames))},
        )
    moved = _moved(np.array([rim.centre_px for rim in rims]))
    if moved is not None:
        return moved
    return Scatter(len(sizes), statistics.stdev(sizes) / statistics.fmean(sizes))


def _moved(places_px: NDArray[np.float64]) -> Refusal | None:
    """Why frames whose sight lay at these places, shape (frames, 2), have no average."""
    way, evidence = "out of view", {"frames": float(len(places_px))}
    if np.isfinite(places_px).all():
        apart_px = float(np.ptp(places_px, axis=0).max())
        smear_px2 = float(np.var(places_px, axis=0).sum())
        if smear_px2 <= MOST_SMEAR_PX2:
            return None
        way = f"by {apart_px:.1f} px"
        evidence |= {"apart_px": apart_px, "smear_px2": smear_px2}
    return Refusal(
        "not-steady",
        f"the picture moved {way} while {len(places_px)} frames were taken, which smears their "
        "average: let the scope and the piece come to rest and take it again",
        evidence,
    )


def _grey16(mean: Picture) -> Picture:
    """Luma of a 16 bit colour average: PNG files of 16 bit colour are not written by Pillow."""
    if mean.ndim == 2:
        return mean
    light = mean[..., 0] * 0.114 + mean[..., 1] * 0.587 + mean[..., 2] * 0.299  # ITU-R BT.601
    return np.asarray(np.rint(light).astype(np.uint16))
