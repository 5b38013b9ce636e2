"""Whether a person's readings drift."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rimread.agreement.statistics import Estimate, student

__all__ = ["Drift", "Order", "drift"]

Order = Literal["time", "trial", "row"]


@dataclass(frozen=True, slots=True)
class Drift:
    """Straight line through differences against their order.

    Parameters
    ----------
    total : Estimate
        Change from the first to the last place, in the unit of the differences.
    first, last : float
        The places it runs between.
    order : {"time", "trial", "row"}
        What the places are: days or seconds, trial numbers, or lines of the file.
    """

    total: Estimate
    first: float
    last: float
    order: Order


def drift(
    differences: Sequence[float],
    places: Sequence[float],
    indents: Sequence[Hashable],
    *,
    order: Order,
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
    u_slope = math.sqrt(float(np.sum((y - slope * x) ** 2)) / dof / sxx)
    half = student(dof) * u_slope
    span = last - first
    return Drift(
        Estimate(slope * span, (slope - half) * span, (slope + half) * span, dof),
        first,
        last,
        order,
    )
