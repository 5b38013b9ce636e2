"""An ellipse near a rim brought to rest on it, and the places along the rim it goes through."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim import gates
from rimread.rim.ellipse import Ellipse, largest_move, moved_by_offsets
from rimread.rim.locate import Located, Settled, locate, settle
from rimread.rim.shapes import nearest_blur

__all__ = ["SETTLED_PX", "Placed", "placed_on"]

PASSES = 4
NEARLY_SETTLED_PX, SETTLED_PX = 2.0, 1.0
"""Profiles are taken anew along the moved ellipse until it moves by less, at first and at last, and
at last until the blur stays too; the places searched stay those of the first blur."""
LOST_FACTOR = 2.0
"""An ellipse that one pass makes half or twice as large has lost its rim."""
CONSENSUS_PX = 1.0
"""Reach within which places agree on an ellipse, a few times the uncertainty of one on a sharp rim:
a stain has an edge of its own, and a fit to all places would bend towards it."""
FIT_FLOOR_PX = 0.1
"""Scatter below a tenth of a pixel is not believed when points are rejected."""
PLACE_FLOOR_PX = 0.3
"""Added to a place's own uncertainty when points are weighted: rims are never better circles."""
CLIPPED_BLURS = 2.0
"""Added instead, in blurs, where an arc is clipped: its edge may lie anywhere in its blur, on
either side, and farther off in a glint that covers the rim. Own choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Places along a rim and the ellipse through them.

    Parameters
    ----------
    located : Located
    points_px : ndarray, shape (A, 2)
        The places in the photo.
    weights : ndarray, shape (A,)
        Of the fit, 0 for places rejected.
    ellipse : Ellipse
    moved_px : float
        How far the last fit moved the ellipse.
    """

    located: Located
    points_px: NDArray[np.floating]
    weights: NDArray[np.floating]
    ellipse: Ellipse
    moved_px: float


def placed_on(photo: Photo, ellipse: Ellipse) -> Placed | Refusal:
    """Bring an ellipse that lies within a few pixels of a rim onto it.

    Parameters
    ----------
    photo : Photo
    ellipse : Ellipse

    Returns
    -------
    Placed or Refusal
        A refusal where it does not stay with one ring, or lies too near the frame.
    """
    settled = _settled_on(photo, ellipse)
    if isinstance(settled, Refusal):
        return settled
    for _ in range(PASSES):
        found = _placed(photo, settled)
        if isinstance(found, Refusal):
            return found
        if _lost(found.ellipse, settled.ellipse):
            return gates.LOST
        before, blur = settled.blur_px, nearest_blur(found.located.blur_px)
        settled = replace(settled, ellipse=found.ellipse, blur_px=blur)
        if found.moved_px < SETTLED_PX and blur == before:
            break
    return found


def _settled_on(photo: Photo, ellipse: Ellipse) -> Settled | Refusal:
    for _ in range(PASSES):
        settled = settle(photo, ellipse)
        if isinstance(settled, Refusal):
            return settled
        if _lost(settled.ellipse, ellipse):
            return gates.LOST
        step, ellipse = largest_move(settled.ellipse, ellipse), settled.ellipse
        if step < NEARLY_SETTLED_PX:
            break
    return settled


def _lost(moved: Ellipse, ellipse: Ellipse) -> bool:
    """Whether what was followed is no longer the same ring: chance places may turn one over."""
    return not 1 / LOST_FACTOR < moved.m / ellipse.m < LOST_FACTOR


def _placed(photo: Photo, settled: Settled) -> Placed | Refusal:
    located, ellipse = locate(photo, settled), settled.ellipse
    if isinstance(located, Refusal):
        return located
    moved, _, weights = moved_by_offsets(
        ellipse,
        located.t,
        located.q_px,
        _prior_weights(located),
        floor=FIT_FLOOR_PX,
        consensus=CONSENSUS_PX,
    )
    return Placed(
        located=located,
        points_px=ellipse.points(located.t) + located.q_px[:, None] * ellipse.normals(located.t),
        weights=weights,
        ellipse=moved,
        moved_px=largest_move(moved, ellipse),
    )


def _prior_weights(located: Located) -> NDArray[np.floating]:
    """Weights of the places before any is rejected.

    Where no break is seen a place says only where the search was, and gets no weight as long as
    half of the turn is seen.
    """
    floor = np.where(located.clipped, CLIPPED_BLURS * located.blur_px, PLACE_FLOOR_PX)
    weights = located.inside / (located.u_px**2 + floor**2)
    seen = gates.found(located)
    return np.asarray(np.where(seen, weights, 0.0) if seen.mean() > 0.5 else weights)
