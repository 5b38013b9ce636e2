"""How far the indents of one photo stand from one another, in mm on the specimen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rimread.hardness import Piece
from rimread.rim.ellipse import Ellipse, fit_ellipse
from rimread.scale.model import Scale

__all__ = ["Neighbour", "Place", "about", "beside", "place"]

RIM_POINTS = 1440
"""Points of one rim whose distance to another is taken: at a quarter of a degree the nearest of
them is within 1e-5 of the radius of the nearest there is."""


@dataclass(frozen=True, slots=True)
class Place:
    """An indent among those of its photo.

    Parameters
    ----------
    indent, indents : int
        Its number, from 1 on from left to right, and how many whole ones there are.
    spacing_mm, rim_to_rim_mm : float or None
        From its centre to the nearest other centre, and from its rim to the nearest other rim;
        None for one alone. An indent that is cut by the frame counts when it is recognised; one
        outside of it is not seen.
    """

    indent: int
    indents: int
    spacing_mm: float | None = None
    rim_to_rim_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Neighbour:
    """The rim of an indent on the specimen, as far as its neighbours need to know it."""

    ellipse_mm: Ellipse

    @property
    def mean_mm(self) -> float:
        """Mean diameter."""
        return 2.0 * self.ellipse_mm.m

    def spacing_mm(self, other: Neighbour) -> float:
        """From centre to centre."""
        one, two = self.ellipse_mm, other.ellipse_mm
        return math.hypot(one.x - two.x, one.y - two.y)

    def rim_to_rim_mm(self, other: Neighbour) -> float:
        """Shortest way from rim to rim."""
        turn = np.linspace(0.0, 2.0 * math.pi, RIM_POINTS, endpoint=False)
        return float(self.ellipse_mm.distance(other.ellipse_mm.points(turn)).min())


def about(ellipse_px: Ellipse, scale: Scale) -> Neighbour:
    """An indent of which only the ellipse in the photo is known."""
    turn = np.linspace(0.0, 2.0 * math.pi, 90, endpoint=False)
    points = scale.mm_from_px(ellipse_px.points(turn))
    middle = points.mean(axis=0)
    size = float(np.hypot(*(points - middle).T).mean())
    start = Ellipse(x=float(middle[0]), y=float(middle[1]), m=size)
    return Neighbour(fit_ellipse(points, np.ones(len(points)), start, floor=1e-3 * size)[0])


def beside(one: Neighbour, others: Sequence[Neighbour], piece: Piece) -> Piece:
    """The piece with the other indent that asks for the most room: distance over larger d."""
    known = [] if piece.spacing_mm is None else [(piece.spacing_mm, piece.neighbour_mm)]
    known += [(one.spacing_mm(other), other.mean_mm) for other in others]
    if not known:
        return piece
    spacing_mm, neighbour_mm = min(known, key=lambda far: far[0] / max(one.mean_mm, far[1] or 0.0))
    return replace(piece, spacing_mm=spacing_mm, neighbour_mm=neighbour_mm)


def place(indent: int, indents: int, one: Neighbour, others: Sequence[Neighbour]) -> Place:
    """The place of an indent among others, those not counted in `indents` too."""
    return Place(
        indent,
        indents,
        spacing_mm=min((one.spacing_mm(other) for other in others), default=None),
        rim_to_rim_mm=min((one.rim_to_rim_mm(other) for other in others), default=None),
    )
