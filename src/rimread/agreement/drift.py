"""Whether a person's readings drift."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rimread.agreement.statistics import CONFIDENCE, Estimate, student

__all__ = ["Drift", "Order", "drift"]

Order = Literal["time", "trial", "row"]


@dataclass(frozen=True, slots=True)
class Drift:
    """Straight line through differences against their order.

    Parameters
    ----------
    total : Estimate
        Change from the first to the last place, in the unit of the differences.
    joint : Estimate
        The same with the wider interval that decides when several readers are judged together.
    readers : int
        How many are.
    first, last : float
        The places it runs between.
    order : {"time", "trial", "row"}
        What the places are: days or seconds, trial numbers, or lines of the file.
    """

    total: Estimate
    joint: Estimate
    readers: int
    first: float
    last: float
    order: Order

    @property
    def seen(self) -> bool:
        """Whether the readings drift, as far as one in a class of readers can be told to."""
        return self.joint.excludes_zero

    @property
    def joint_confidence(self) -> float:
        """Of `joint`."""
        return 1.0 - (1.0 - CONFIDENCE) / self.readers


def drift(
    differences: Sequence[float],
    places: Sequence[float],
    indents: Sequence[Hashable],
    *,
    order: Order,
    readers: int = 1,
    least_sd: float = 0.0,
) -> Drift | None:
    """Least-squares drift; None when too few readings or places stand behind one.

    Repeats on an indent share its own offset, which is taken off: with repeats over trials every
    indent is its own yardstick, and an indent read once at one place says nothing. Over time or
    rows, where indents follow one another, the image is the yardstick and offsets are left in.

    Parameters
    ----------
    differences : sequence of float
        Reading less image.
    places : sequence of float
        Where each stands in the order.
    indents : sequence of hashable
        Which indent each belongs to.
    order : {"time", "trial", "row"}
        What the places are.
    readers : int
        How many are judged together. With each at 95 % one of twelve would be told to drift in
        every second class: the verdict shares the 5 % out among them (Bonferroni; Dunn, J. Am.
        Stat. Assoc. 56 (1961) 52).
    least_sd : float
        Scatter about the line that steps of the readings hide: taken where less is left.
    """
    y, x = np.asarray(differences, np.float64), np.asarray(places, np.float64)
    first, last = float(x.min()), float(x.max())
    offsets = 1
    y, x = y - y.mean(), x - x.mean()
    if order == "trial":
        labels = list(dict.fromkeys(indents))
        which = np.array([labels.index(i) for i in indents])
        counts = np.bincount(which)
        y = y - (np.bincount(which, y) / counts)[which]
        x = x - (np.bincount(which, x) / counts)[which]
        offsets = len(labels)
    dof, sxx = len(y) - offsets - 1, float(x @ x)
    if dof < 1 or sxx <= 1e-12 * max(last - first, 1e-300) ** 2:
        return None
    slope = float(x @ y) / sxx
    about_line = max(float(np.sum((y - slope * x) ** 2)) / dof, least_sd**2)
    total, u = slope * (last - first), math.sqrt(about_line / sxx) * (last - first)
    return Drift(
        total=_interval(total, u, dof, CONFIDENCE),
        joint=_interval(total, u, dof, 1.0 - (1.0 - CONFIDENCE) / readers),
        readers=readers,
        first=first,
        last=last,
        order=order,
    )


def _interval(value: float, u: float, dof: int, confidence: float) -> Estimate:
    half = student(dof, confidence) * u
    return Estimate(value, value - half, value + half, dof)
