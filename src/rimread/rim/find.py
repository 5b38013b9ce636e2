"""From a photo to traced rims, or to the reason why there is none."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim import gates
from rimread.rim.ellipse import Ellipse, largest_move, moved_by_offsets
from rimread.rim.field import CUT_BY_FIELD, black_surround, filled, reaches_into
from rimread.rim.flatness import flat_face, spread_within
from rimread.rim.locate import Located, Settled, locate, log_likelihood, settle
from rimread.rim.marks import drawn_along
from rimread.rim.model import Rim
from rimread.rim.profiles import half_px
from rimread.rim.seed import Seed, ring_seeds
from rimread.rim.shapes import nearest_blur
from rimread.rim.threads import one_thread
from rimread.rim.tone import tone_uncertainty_px
from rimread.rim.trace import FLANK_APART_PX, Ring, edge_inside, rings_about, rings_near

__all__ = ["Sighted", "find_rim", "find_rims", "sight_indents"]

SEEDS = 5
"""Seeds looked at for one indent: the strongest and its rivals,"""
SEEDS_OF_SEVERAL = 24
"""and for all indents of a photo: eight of them with two rivals each."""
ALIKE_ALIGNMENT = 0.5 * gates.LEAST_ALIGNMENT
"""A seed of the size of the first one, as two indents of one ball and force are, needs no more:
where they overlap up to half of one rim is gone."""
AS_GOOD = 0.8
"""A seed with this share of the first one's alignment may be the rim, and the first a glint."""
CLEAR_AGREEMENT = 0.8
"""A ring that most of the turn agrees on needs no rival looked at."""
GLINT = 1.2
"""A ring this much smaller than one about it is not the same rim."""
BOWL = 2.6
"""A glint's rim is sought about 2.6 of its radii away, that is from 1.2 to 4.4."""
OWN_RADII = (0.75, 1.35)
"""A later seed whose paths end at other radii, on a stronger ring about or inside its own, is
searched once more within these: seeds lie a fifteenth apart."""
PASSES = 4
NEARLY_SETTLED_PX, SETTLED_PX = 2.0, 1.0
"""Profiles are taken anew along the moved ellipse until it moves by less, at first and at last, and
at last until the blur stays too; the places searched stay those of the first blur."""
STRONG = 3.0
"""Logarithm of how much likelier one of two edges must be: 20 to 1, from where on evidence is
called strong (Kass & Raftery 1995, see `rimread.rim.locate`)."""
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


@one_thread
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
    hidden = black_surround(photo)
    if hidden is None:
        return _only_rim(photo)
    result = _only_rim(filled(photo, hidden))
    cut = isinstance(result, Rim) and reaches_into(result.ellipse, hidden)
    return CUT_BY_FIELD if cut else result


def _only_rim(photo: Photo) -> Rim | Refusal:
    refusal = gates.exposed(photo)
    if refusal is not None:
        return refusal
    seeds = ring_seeds(photo, most=SEEDS)
    rings = _rings(photo, seeds)
    if not rings:
        return gates.no_indent(photo)
    refusal = gates.first_failed(photo, seeds, rings)
    return _unrivalled(photo, rings[0], rings) if refusal is None else refusal


def _unrivalled(photo: Photo, ring: Ring, rings: Sequence[Ring]) -> Rim | Refusal:
    """The rim traced from a ring, unless a rival, a flat face or a drawn line speaks against it."""
    result = _traced(photo, ring)
    if isinstance(result, Refusal):
        return result
    others = gates.rivals(result, [*rings, *rings_about(photo, ring)])
    rival = next((other for other in others if _may_rival(photo, other, result)), None)
    if rival is not None:
        return gates.rivalled(result.ellipse, rival.ellipse)
    rim = replace(result, bowl_spread=spread_within(photo, result.ellipse))
    flat = flat_face(rim.bowl_spread)
    refusal = drawn_along(photo, rim.ellipse) if flat is None else flat
    return rim if refusal is None else refusal


def _may_rival(photo: Photo, ring: Ring, rim: Rim) -> bool:
    settled = settle(photo, ring.ellipse)
    return isinstance(settled, Refusal) or gates.may_rival(rim, ring, settled.blur_px)


@dataclass(frozen=True, slots=True, eq=False)
class Sighted:
    """One of the indents of a photo: about where its rim lies, and the rim or why there is none."""

    ellipse: Ellipse
    result: Rim | Refusal


def find_rims(photo: Photo) -> tuple[Rim, ...] | Refusal:
    """Trace the rims of all whole indents in a photo.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    tuple of Rim or Refusal
        From left to right, without those that cannot be traced; a refusal when there is none, or
        when two of them overlap.
    """
    sighted = sight_indents(photo)
    if isinstance(sighted, Refusal):
        return sighted
    return tuple(one.result for one in sighted if isinstance(one.result, Rim))


@one_thread
def sight_indents(photo: Photo) -> tuple[Sighted, ...] | Refusal:
    """Trace the rims of all indents in a photo, and tell of those that cannot be traced.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    tuple of Sighted or Refusal
        From left to right, at least one of them traced, the others with a refusal, among them
        those cut by the frame; a refusal when none can be traced, or when two of them overlap.
    """
    hidden = black_surround(photo)
    if hidden is None:
        return _all_sighted(photo)
    sighted = _all_sighted(filled(photo, hidden))
    if isinstance(sighted, Refusal):
        return sighted
    return tuple(
        replace(one, result=CUT_BY_FIELD) if reaches_into(one.ellipse, hidden) else one
        for one in sighted
    )


def _all_sighted(photo: Photo) -> tuple[Sighted, ...] | Refusal:
    refusal = gates.exposed(photo)
    if refusal is not None:
        return refusal
    seeds = ring_seeds(photo, most=SEEDS_OF_SEVERAL)
    rings = [ring for seed in seeds for ring in _rims_first(photo, rings_near(photo, seed))[:1]]
    rings = [ring for ring in rings if gates.convincing(ring)]
    apart = _apart(_ranked(rings))
    refusal = gates.none_overlap(apart)
    if refusal is not None:
        return refusal
    sighted = [
        Sighted(ring.ellipse, _unrivalled(photo, ring, ()) if refused is None else refused)
        for ring in apart
        for refused in [gates.first_failed_of_several(photo, ring)]
    ]
    if not any(isinstance(one.result, Rim) for one in sighted):
        alone = _only_rim(photo)
        if isinstance(alone, Rim):
            return (Sighted(alone.ellipse, alone),)
        several = alone.code == "several-indents" and sighted
        best = sighted[0].result if several else alone  # of several: why the first has no rim
        return best if isinstance(best, Refusal) else alone
    return tuple(sorted(sighted, key=lambda one: (one.ellipse.x, one.ellipse.y)))


def _apart(rings: list[Ring]) -> list[Ring]:
    """Of rings about or inside one another only the first, which is the best explained."""
    kept: list[Ring] = []
    for ring in rings:
        if not any(gates.about_the_same(ring, other) for other in kept):
            kept.append(ring)
    return kept


def _rings(photo: Photo, seeds: tuple[Seed, ...]) -> list[Ring]:
    """The rings of the seeds looked at, the best explained first.

    Seeds after the first are looked at when the first gives no clear ring, or when they may be
    an indent of their own; one that leads only to rings elsewhere once more near its own radius.
    """
    rings: list[Ring] = []
    for seed in seeds:
        clear = bool(rings) and rings[0].agreement > CLEAR_AGREEMENT
        if clear and not _may_be_another(seed, seeds[0]):
            continue
        near = rings_near(photo, seed)
        if rings and all(_elsewhere(ring, seed) for ring in near):
            near = (*near, *rings_near(photo, seed, radii=OWN_RADII))
        rings = _ranked([*rings, *near])
    return _rims_first(photo, rings)


def _elsewhere(ring: Ring, seed: Seed) -> bool:
    """Whether a ring lies away from the seed it was found from."""
    return not OWN_RADII[0] < ring.ellipse.m / seed.radius_px < OWN_RADII[1]


def _rims_first(photo: Photo, rings: Sequence[Ring]) -> list[Ring]:
    """Ranked rings; where the first is about a glint in a bowl, the rim about both before it."""
    if not rings or not gates.about_a_glint(photo, rings[0]):
        return list(rings)
    glint = rings[0].ellipse
    bowl = Seed(x_px=glint.x, y_px=glint.y, radius_px=BOWL * glint.m, alignment=0.0)
    around = [
        ring
        for ring in rings_near(photo, bowl)
        if gates.clear(ring) is None and _encloses(ring, rings[0])
    ]
    return [*around[:1], *rings]


def _ranked(rings: Iterable[Ring]) -> list[Ring]:
    """The best explained first."""
    return sorted(rings, key=_weight, reverse=True)


def _encloses(ring: Ring, other: Ring) -> bool:
    """Whether all of another ring lies well inside a ring."""
    apart = np.hypot(ring.ellipse.x - other.ellipse.x, ring.ellipse.y - other.ellipse.y)
    return bool(GLINT * (apart + other.ellipse.m) < ring.ellipse.m)


def _may_be_another(seed: Seed, first: Seed) -> bool:
    alike = gates.alike_in_size(seed.radius_px, first.radius_px)
    least = ALIKE_ALIGNMENT if alike else gates.LEAST_ALIGNMENT
    return seed.alignment > min(least, AS_GOOD * first.alignment)


def _weight(ring: Ring) -> float:
    """Evidence in a ring: gain where the path agrees, over its length against chance."""
    return ring.evidence * ring.agreement * float(np.sqrt(ring.ellipse.m))


@dataclass(frozen=True, slots=True, eq=False)
class _Placed:
    """Places along a rim and the ellipse through them."""

    located: Located
    points_px: NDArray[np.floating]
    weights: NDArray[np.floating]
    ellipse: Ellipse
    moved_px: float


def _traced(photo: Photo, ring: Ring) -> Rim | Refusal:
    found = _placed_on(photo, ring.ellipse)
    if isinstance(found, _Placed):
        found = _inner_flank(photo, found)
    if isinstance(found, Refusal):
        return found
    located, weights = found.located, found.weights
    broken = gates.found(located)
    shown = broken & (weights > 0)
    rim = Rim(
        points_px=found.points_px,
        weights=weights,
        ellipse=found.ellipse,
        blur_px=located.blur_px,
        rounding_px=located.rounding_px,
        u_common_px=located.u_common_px,
        coverage=float(shown.mean()),
        dark_foot=float(located.dark.mean()),
        clipped=located.clipped,
        evidence=ring.evidence,
        u_tone_px=tone_uncertainty_px(
            photo, found.ellipse, blur_px=located.blur_px, t=located.t, weights=weights
        ),
    )
    refusal = gates.seen(rim, shown, speaking=broken & ~located.clipped, moved_px=found.moved_px)
    return rim if refusal is None else refusal


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


def _placed_on(photo: Photo, ellipse: Ellipse) -> _Placed | Refusal:
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


def _lost(moved: Ellipse, ellipse: Ellipse) -> bool:
    """Whether what was followed is no longer the same ring: chance places may turn one over."""
    return not 1 / LOST_FACTOR < moved.m / ellipse.m < LOST_FACTOR


def _inner_flank(photo: Photo, found: _Placed) -> _Placed | Refusal:
    """The same, or the places on an edge inside where these explain the light of both far better.

    Otherwise they are a rival, unless they explain it worse and lie away from where the edge was
    seen, or far worse and are far less sharp: an outer edge's bowl explains the inner one, too.
    """
    inside = edge_inside(photo, found.ellipse)
    if inside is None:
        return found
    other = _placed_on(photo, inside)
    if isinstance(other, Refusal):
        return found
    apart = float(np.ceil(found.ellipse.m - other.ellipse.m))
    if apart <= FLANK_APART_PX:
        return found
    blurs = (found.located.blur_px, other.located.blur_px)
    half = half_px(max(blurs))
    now, then = (
        log_likelihood(photo, one.ellipse, blur_px=one.located.blur_px, span_px=span)
        for one, span in ((found, (-apart - half, half)), (other, (-half, apart + half)))
    )
    if then > now + STRONG:
        return other
    seen = then > now or abs(other.ellipse.m - inside.m) <= apart  # where an edge seemed to be
    rival = seen and (then > now - STRONG or blurs[1] < gates.AS_SHARP * blurs[0])
    return gates.rivalled(found.ellipse, other.ellipse) if rival else found


def _placed(photo: Photo, settled: Settled) -> _Placed | Refusal:
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
    return _Placed(
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
