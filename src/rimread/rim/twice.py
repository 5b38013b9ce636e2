"""A rim oval because the ball was pressed twice: the outline of two circles, not an ellipse.

Two circles of radius R whose centres lie s apart enclose an outline that is about as oval as
``s / 2R``, but not an ellipse: its distance from its middle has, along the line of centres, a
fourth harmonic of -1/5 of its second one (the Fourier series of ``|cos|``), and two corners. The
outline has as many parameters as an ellipse, so that how well the two go through the places traced
is compared as it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimread.refusal import Refusal
from rimread.rim.ellipse import Ellipse
from rimread.rim.model import Rim

__all__ = ["pressed_twice"]

LEAST_APART = 0.02
"""Circles nearer to each other than this share of their diameter are not told from lobes."""
OVAL = 4 / (3 * np.pi) * 2
"""How oval an ellipse through such an outline is, over ``s / 2R``, from its second harmonic:"""
MOST_OVAL = 0.95
"""one more oval than this follows something else, too. Own choice; fits that leave the corners out
are less oval."""
LIKELIER = 22.0
"""Logarithm of how much likelier the places traced must be on two circles than on an ellipse, each
scattering as a Cauchy distribution does. Neighbouring places go together over some 20° (`pool` in
`rimread.rim.profiles`), which is five or six of them: fifty to one. Of 4195 simulated rims two are
refused, as oval as their lobes make them. Own choice."""
LEAST_SCATTER_PX = 0.1
"""No smaller scatter of the places is believed, as in `rimread.rim.placed`."""


def pressed_twice(rim: Rim) -> Refusal | None:
    """Refuse a rim that is the outline of two round indents side by side.

    Parameters
    ----------
    rim : Rim
    """
    a, b = rim.ellipse.semi_axes
    oval = a / b - 1
    if oval < OVAL * LEAST_APART:
        return None
    off = rim.ellipse.distance(rim.points_px)
    near = rim.used | (np.abs(off) <= a - b)  # corners carry no fit
    scatter = max(1.4826 * float(np.median(np.abs(off[near]))), LEAST_SCATTER_PX)
    circles = _two_circles(rim.points_px[near], rim.ellipse, scatter)
    likelier = _log_likelihood(circles.left_px, scatter) - _log_likelihood(off[near], scatter)
    if likelier < LIKELIER or oval > MOST_OVAL * circles.apart_px / (2 * circles.radius_px):
        return None
    return Refusal(
        "pressed-twice",
        "The rim is that of two round indents side by side rather than an oval one: pressed twice, "
        "or the piece moved under the ball? Measure another indent.",
        {"apart_px": circles.apart_px, "log_likelihood_ratio": likelier},
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Circles:
    """Two equal circles: how far apart, and how far the points lie from their outline, (N,)."""

    apart_px: float
    radius_px: float
    left_px: NDArray[np.floating]


def _two_circles(points: NDArray[np.floating], start: Ellipse, scatter: float) -> _Circles:
    """The outline nearest to points, robustly, from circles that touch an ellipse on its axes."""
    from scipy.optimize import least_squares  # noqa: PLC0415  (takes half a second, seldom asked)

    a, b = start.semi_axes
    turn = np.radians(start.angle_deg)
    apart = (a - b) * np.array([np.cos(turn), np.sin(turn)])

    def left(parameters: NDArray[np.floating]) -> NDArray[np.floating]:
        middle, half, radius = parameters[:2], parameters[2:4], parameters[4]
        distances = [np.hypot(*(points - middle - way * half).T) for way in (1, -1)]
        return np.asarray(np.minimum(*distances) - radius)

    first = np.array([start.x, start.y, *apart, b])
    fitted = least_squares(left, first, loss="cauchy", f_scale=scatter)
    apart_px = 2 * float(np.hypot(*fitted.x[2:4]))
    return _Circles(apart_px, radius_px=float(fitted.x[4]), left_px=left(fitted.x))


def _log_likelihood(residuals: NDArray[np.floating], scatter: float) -> float:
    """Of residuals that scatter as a Cauchy distribution does, up to a constant."""
    return -float(np.log1p((residuals / scatter) ** 2).sum())
