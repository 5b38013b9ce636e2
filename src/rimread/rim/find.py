"""From a photo to traced rims, or to the reason why there is none."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rimread.colour import half_size_colour
from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim import gates
from rimread.rim.channel import clearest
from rimread.rim.contest import best_explained, inner_flank, outer_rival
from rimread.rim.ellipse import Ellipse
from rimread.rim.field import CUT_BY_FIELD, EMPTY_FIELD, black_surround, filled, reaches_into
from rimread.rim.flatness import flat_face, spread_within
from rimread.rim.locate import settle
from rimread.rim.marks import drawn_along, ink_along
from rimread.rim.model import Rim
from rimread.rim.placed import Placed, placed_on
from rimread.rim.rivals import may_rival, rivalled, rivals
from rimread.rim.seed import Seed, ring_seeds, texture_seeds
from rimread.rim.threads import one_thread
from rimread.rim.tone import tone_uncertainty_px
from rimread.rim.trace import Ring, rings_about, rings_near
from rimread.rim.twice import pressed_twice
from rimread.rim.white import with_white

__all__ = ["Sighted", "find_rim", "find_rims", "sight_indents"]

SEEDS = 5
"""Seeds looked at for one indent: the strongest and its rivals,"""
SEEDS_OF_SEVERAL = 24
"""and for all indents of a photo, or for one by its texture: eight with two rivals each."""
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
CLEAR_OF_INK = 0.15
"""A ring that lies on a line of ink on more of its turn may be the ink's, or hidden by it: a photo
refused with such rings is looked at without them. Own choice."""
OWN_RADII = (0.75, 1.35)
"""A later seed whose paths end at other radii, on a stronger ring about or inside its own, is
searched once more within these: seeds lie a fifteenth apart."""

Colour = NDArray[np.uint8] | None
"""A picture's `half_size_colour`."""
Hidden = NDArray[np.bool_] | None
"""What a field stop hides of it, and is filled in its grey values."""


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
    result = _only_rim(filled(photo, hidden), hidden)
    if isinstance(result, Refusal):
        empty = result.code == gates.NO_INDENT.code
        return replace(result, message=EMPTY_FIELD) if empty else result
    return CUT_BY_FIELD if reaches_into(result.ellipse, hidden) else result


def _only_rim(photo: Photo, hidden: Hidden = None) -> Rim | Refusal:
    lit = with_white(photo)
    refusal = gates.exposed(lit)
    if refusal is not None:
        return refusal
    seeds = ring_seeds(lit, most=SEEDS)
    rings = _rings(lit, seeds)
    by_texture = _rings_by_texture(lit) if gates.doubted(seeds, rings) else []
    rings = [*by_texture, *rings]
    if not rings:
        return gates.no_indent(lit)
    colour = half_size_colour(photo)
    lit = _in_clearest(photo, colour, rings[0], hidden) or lit
    result = _clear_of_ink(lit, seeds, rings, colour)
    return result if isinstance(result, Refusal) else replace(result, by_texture=bool(by_texture))


def _clear_of_ink(
    photo: Photo, seeds: tuple[Seed, ...], rings: list[Ring], colour: Colour
) -> Rim | Refusal:
    """The rim traced from the first of some rings; without those on ink where that is refused."""
    result = _rim_of(photo, seeds, rings, colour)
    if isinstance(result, Refusal):
        plain = [
            ring for ring in rings if ink_along(photo, ring.ellipse, colour=colour) < CLEAR_OF_INK
        ]
        if 0 < len(plain) < len(rings):
            return _rim_of(photo, seeds, plain, colour)
    return result


def _rim_of(
    photo: Photo, seeds: tuple[Seed, ...], rings: list[Ring], colour: Colour
) -> Rim | Refusal:
    """The rim traced from the first of some rings, if it passes all gates."""
    refusal = gates.first_failed(photo, seeds, rings)
    return _unrivalled(photo, rings[0], rings, colour) if refusal is None else refusal


def _on_ink(photo: Photo, ring: Ring, colour: Colour) -> bool:
    """Whether a ring may be that of ink, or be hidden by it."""
    return ink_along(photo, ring.ellipse, colour=colour) > CLEAR_OF_INK


def _in_clearest(photo: Photo, colour: Colour, ring: Ring, hidden: Hidden) -> Photo | None:
    """The photo in the channel that shows a ring best, what is hidden filled; None in luma."""
    clear = clearest(photo, colour, ring.ellipse)
    if clear is photo:
        return None
    return clear if hidden is None else filled(clear, hidden)


def _unrivalled(photo: Photo, ring: Ring, rings: Sequence[Ring], colour: Colour) -> Rim | Refusal:
    """The rim traced from a ring, unless something speaks against it.

    A rival, two indents in one, a flat face or a drawn line.
    """
    result = _traced(photo, ring, rings)
    if isinstance(result, Refusal):
        return result
    others = rivals(result, [*rings, *rings_about(photo, ring)])
    rival = next((other for other in others if _may_rival(photo, other, result, colour)), None)
    if rival is not None:
        return rivalled(result.ellipse, rival.ellipse)
    rim = replace(result, bowl_spread=spread_within(photo, result.ellipse))
    refusal = pressed_twice(rim)
    if refusal is None:
        refusal = flat_face(rim.bowl_spread)
    if refusal is None:
        refusal = drawn_along(photo, rim.ellipse, colour=colour)
    return rim if refusal is None else refusal


def _may_rival(photo: Photo, ring: Ring, rim: Rim, colour: Colour) -> bool:
    if _on_ink(photo, ring, colour):
        return False
    settled = settle(photo, ring.ellipse)
    return isinstance(settled, Refusal) or may_rival(rim, ring, settled.blur_px)


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
    sighted = _all_sighted(filled(photo, hidden), hidden)
    if isinstance(sighted, Refusal):
        return sighted
    return tuple(
        replace(one, result=CUT_BY_FIELD) if reaches_into(one.ellipse, hidden) else one
        for one in sighted
    )


def _all_sighted(photo: Photo, hidden: Hidden = None) -> tuple[Sighted, ...] | Refusal:
    lit = with_white(photo)
    refusal = gates.exposed(lit)
    if refusal is not None:
        return refusal
    seeds = ring_seeds(lit, most=SEEDS_OF_SEVERAL)
    near = [_rims_first(lit, rings_near(lit, seed)) for seed in seeds]
    rings = [ring for some in near for ring in some]
    apart = _apart(_ranked(some[0] for some in near if some and gates.convincing(some[0])))
    refusal = gates.none_overlap(apart)
    if refusal is not None:
        return refusal
    colour = half_size_colour(photo)
    if apart:
        lit = _in_clearest(photo, colour, apart[0], hidden) or lit
    sighted = [
        Sighted(
            ring.ellipse,
            _unrivalled(lit, ring, rings, colour) if refused is None else refused,
        )
        for ring in apart
        for refused in [gates.first_failed_of_several(lit, ring)]
    ]
    if not any(isinstance(one.result, Rim) for one in sighted):
        alone = _only_rim(photo, hidden)
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


def _rings_by_texture(photo: Photo) -> list[Ring]:
    """Rings beyond doubt where the texture changes, for metal whose grains outdo its rims."""
    seeds = texture_seeds(photo, most=SEEDS_OF_SEVERAL)
    rings = _ranked(ring for seed in seeds for ring in rings_near(photo, seed))
    return [one for one in rings if gates.convincing(one) and one.agreement > CLEAR_AGREEMENT]


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


def _traced(photo: Photo, ring: Ring, rings: Sequence[Ring]) -> Rim | Refusal:
    found = placed_on(photo, ring.ellipse)
    if isinstance(found, Placed):
        found = best_explained(photo, found, rings)
        rival = outer_rival(photo, found)
        found = inner_flank(photo, found) if rival is None else rival
    if isinstance(found, Refusal):
        return found
    located, weights = found.located, found.weights
    broken = gates.found(located)
    shown = broken & (weights > 0)
    rim = Rim(
        points_px=found.points_px,
        weights=weights,
        u_points_px=located.u_px,
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
        channel=photo.channel,
    )
    refusal = gates.seen(rim, shown, speaking=broken & ~located.clipped, moved_px=found.moved_px)
    return rim if refusal is None else refusal
