"""From a photo to a traced rim, or to the reason why there is none."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim import gates
from rimread.rim.ellipse import Ellipse, moved_by_offsets
from rimread.rim.locate import Located, locate, settle
from rimread.rim.model import Rim
from rimread.rim.seed import Seed, ring_seeds
from rimread.rim.trace import Ring, rings_near

__all__ = ["find_rim"]

SEEDS = 3
"""Seeds looked at: the strongest and its rivals."""
CLEAR_AGREEMENT = 0.8
"""A ring that most of the turn agrees on needs no rival looked at."""
OUTWARD = (2.6, 3.2, 3.8)
"""Radii of the seeds laid around what may be a glint, in its own: 1.2 to 6.5 are searched."""
WELL_SEEN = 0.75
"""Part of the turn on which a rim found only on second thought must be seen."""
ENCLOSING = 1.4
"""A ring counts as enclosing another when it is this much larger."""
PASSES = 4
SETTLED_PX = 1.0
"""Profiles are taken anew along the moved ellipse until it moves by less, well inside the places
searched."""
FIT_FLOOR_PX = 0.1
"""Scatter below a tenth of a pixel is not believed when points are rejected."""
PLACE_FLOOR_PX = 0.2
"""Added to a place's own uncertainty when points are weighted: rims are never better circles."""


def find_rim(photo: Photo) -> Rim | Refusal:
    """Trace the rim of the one indent in a photo.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    Rim or Refusal
        A refusal whenever the photo does not show one whole rim well enough.
    """
    refusal = gates.exposed(photo)
    if refusal is not None:
        return refusal
    seeds = ring_seeds(photo, most=SEEDS)
    rings = _rings(photo, seeds)
    if not rings:
        return gates.NO_INDENT
    refusal = gates.first_failed(photo, seeds, rings)
    result = _traced(photo, rings[0]) if refusal is None else refusal
    if isinstance(result, Refusal) and result.code in gates.MAY_BE_A_GLINT:
        return _around(photo, rings[0]) or result
    return result


def _around(photo: Photo, ring: Ring) -> Rim | None:
    """A rim that encloses a ring which failed as a rim: the glint in a bowl is a ring too."""
    middle = ring.ellipse
    outer = [
        found
        for factor in OUTWARD
        for found in rings_near(photo, Seed(middle.x, middle.y, factor * middle.m, alignment=0.0))
        if found.ellipse.m > ENCLOSING * middle.m
    ]
    if not outer:
        return None
    best = max(outer, key=_weight)
    if gates.lit_and_framed(photo, best) is not None:
        return None
    rim = _traced(photo, best)
    return rim if isinstance(rim, Rim) and rim.coverage > WELL_SEEN else None


def _traced(photo: Photo, ring: Ring) -> Rim | Refusal:
    located, ellipse, weights, points, step = _settled(photo, ring.ellipse)
    shown = gates.shown(located, weights)
    rim = Rim(
        points_px=points,
        weights=weights,
        ellipse=ellipse,
        blur_px=located.blur_px,
        rounding_px=located.rounding_px,
        u_common_px=located.u_common_px,
        coverage=float(shown.mean()),
        clipped=float(weights[located.clipped].sum() / max(weights.sum(), 1e-12)),
        evidence=ring.evidence,
    )
    refusal = gates.seen(rim, shown, moved_px=step)
    return rim if refusal is None else refusal


def _rings(photo: Photo, seeds: tuple[Seed, ...]) -> list[Ring]:
    """The best ring of each seed looked at, the best explained first.

    Seeds after the first are looked at when the first gives no clear ring, or when they are
    strong enough to be an indent of their own.
    """
    rings: list[Ring] = []
    for seed in seeds:
        if (
            rings
            and rings[0].agreement > CLEAR_AGREEMENT
            and seed.alignment < gates.LEAST_ALIGNMENT
        ):
            break
        rings.extend(rings_near(photo, seed)[:1])
        rings.sort(key=_weight, reverse=True)
    return rings


def _weight(ring: Ring) -> float:
    """Evidence in a ring: gain where the path agrees, over its length against chance."""
    return ring.evidence * ring.agreement * float(np.sqrt(ring.ellipse.m))


def _settled(
    photo: Photo, ellipse: Ellipse
) -> tuple[Located, Ellipse, NDArray[np.floating], NDArray[np.floating], float]:
    """Profiles along the rim, the ellipse, the points' weights, the points, the last move in px."""
    for _ in range(PASSES):
        moved, blur = settle(photo, ellipse)
        step, ellipse = _moved_px(moved, ellipse), moved
        if step < SETTLED_PX:
            break
    step = np.inf
    for _ in range(PASSES):
        located = locate(photo, ellipse, blur_px=blur)
        points = ellipse.points(located.t) + located.q_px[:, None] * ellipse.normals(located.t)
        moved, _, weights = moved_by_offsets(
            ellipse, located.t, located.q_px, _prior_weights(located), floor=FIT_FLOOR_PX
        )
        step, ellipse = _moved_px(moved, ellipse), moved
        if step < SETTLED_PX:
            break
    return located, ellipse, weights, points, step


def _moved_px(new: Ellipse, old: Ellipse) -> float:
    """Largest distance between two nearby ellipses."""
    t = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    return float(np.abs(old.distance(new.points(t))).max())


def _prior_weights(located: Located) -> NDArray[np.floating]:
    """Weights of the places before any is rejected.

    A clipped edge may lie anywhere in its blur. Places hardly better than the span searched say
    only where the search was, and get no weight as long as half of the turn is seen.
    """
    floor = np.where(located.clipped, 0.5 * located.blur_px, PLACE_FLOOR_PX)
    weights = located.inside / (located.u_px**2 + floor**2)
    seen = located.u_px < gates.FOUND_PX
    return np.where(seen, weights, 0.0) if seen.mean() > 0.5 else weights
