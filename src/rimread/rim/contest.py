"""Whether another edge near the one found is the rim: both explain the same light, one better."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim import gates
from rimread.rim.ellipse import Ellipse, largest_move
from rimread.rim.locate import log_likelihood, settle
from rimread.rim.placed import SETTLED_PX, Placed, placed_on
from rimread.rim.profiles import half_px
from rimread.rim.rivals import AS_SHARP, rivalled
from rimread.rim.trace import FLANK_APART_PX, Ring, edge_inside, edge_outside

__all__ = ["best_explained", "inner_flank", "outer_rival"]

STRONG = 3.0
"""Logarithm of how much likelier one of two edges must be: 20 to 1, from where on evidence is
called strong (Kass & Raftery 1995, see `rimread.rim.locate`)."""
SAME_INDENT = 0.25
"""A ring within a quarter of the radius may be another reading of one indent. Own choice."""
OVAL = 1.02
"""A rim whose axes differ by more may have followed something else on a side: 7 of 100 simulated
ones, most of them pressed into round bars."""
ROUND = 0.01
"""How oval a rim is likely to be (the scale of a Cauchy distribution): flat metal gives way alike
all round or nearly so, rolled sheet less, a round bar not at all. Own choice."""
GLOW_BLUR_PX = 1.5
"""What is less blurred is as a rule an edge in focus and not the end of a glow, and not worth the
time of a look outside. Own choice."""
AS_BLURRED = 1.35
"""An edge outside that is as blurred, within a step of `BLURS_PX`, may be the rim of a bowl whose
glow ends before it. One more blurred, such as the foot of a ridge, is none, likely as it may be: an
outer edge's bowl explains the inner one, too."""
HALF_AS_OVAL = 0.5
"""A round start that ends less round than this does not speak for a round rim."""


def best_explained(photo: Photo, found: Placed, rings: Iterable[Ring]) -> Placed:
    """The same, or the places reached from another start where they are far likelier.

    A ring that breaks well may be the edge of a bowl's glow, or bulge out to a shadow where the
    bowl is as bright as the metal outside. Another ring about the same indent, or where the rim
    looks oval a circle about its narrow or its wide axis, then ends on the rim. What is oval indeed
    is reached again from there, or explains the light far better.

    Parameters
    ----------
    photo : Photo
    found : Placed
    rings : iterable of Ring
        All that were seen; those that are not clear or lie far off do not count.

    Returns
    -------
    Placed
    """
    others = [*_from_rings(photo, found, rings), *_from_circles(photo, found)]
    odds = [_log_odds(photo, other, found) for other in others]
    best = int(np.argmax([STRONG, *odds]))
    return others[best - 1] if best else found


def _from_rings(photo: Photo, found: Placed, rings: Iterable[Ring]) -> list[Placed]:
    starts = [found.ellipse]
    for ring in rings:
        near = largest_move(ring.ellipse, found.ellipse) < SAME_INDENT * found.ellipse.m
        new = min(largest_move(ring.ellipse, start) for start in starts) > FLANK_APART_PX
        if near and new and gates.clear(ring) is None:
            starts.append(ring.ellipse)
    return _elsewhere(photo, found, starts[1:])


def _from_circles(photo: Photo, found: Placed) -> list[Placed]:
    a, b = found.ellipse.semi_axes
    if a < OVAL * b:
        return []
    circles = [replace(found.ellipse, m=m, e=0.0, f=0.0) for m in (b, a)]
    half = HALF_AS_OVAL * _oval(found.ellipse)
    return [one for one in _elsewhere(photo, found, circles) if _oval(one.ellipse) < half]


def _elsewhere(photo: Photo, found: Placed, starts: Iterable[Ellipse]) -> list[Placed]:
    """What is reached from some starts, and is not what was found."""
    others = (placed_on(photo, start) for start in starts)
    return [
        other
        for other in others
        if isinstance(other, Placed) and largest_move(other.ellipse, found.ellipse) > SETTLED_PX
    ]


def _oval(ellipse: Ellipse) -> float:
    a, b = ellipse.semi_axes
    return a / b - 1


def _log_odds(photo: Photo, other: Placed, found: Placed) -> float:
    """Logarithm of how much likelier another rim is by its light and its roundness."""
    apart = float(np.ceil(largest_move(other.ellipse, found.ellipse)))
    half = apart + half_px(max(other.located.blur_px, found.located.blur_px))
    there, here = (
        log_likelihood(photo, one.ellipse, blur_px=one.located.blur_px, span_px=(-half, half))
        - float(np.log1p((_oval(one.ellipse) / ROUND) ** 2))
        for one in (other, found)
    )
    return there - here


def outer_rival(photo: Photo, found: Placed) -> Refusal | None:
    """Refuse where an edge outside is as sharp and far likelier.

    The glow of a bowl may end before its rim, in an edge that breaks better where the bowl is as
    bright at the rim as the metal outside. Where just the rim is, does not show then.

    Parameters
    ----------
    photo : Photo
    found : Placed

    Returns
    -------
    Refusal or None
        Names the diameters of both.
    """
    if found.located.blur_px < GLOW_BLUR_PX:
        return None
    outside = edge_outside(photo, found.ellipse)
    if outside is None or not _stays(photo, outside):
        return None
    for other in _elsewhere(photo, found, [outside]):
        as_sharp = other.located.blur_px < AS_BLURRED * found.located.blur_px
        if as_sharp and _log_odds(photo, other, found) > STRONG:
            return rivalled(found.ellipse, other.ellipse)
    return None


def _stays(photo: Photo, edge: Ellipse) -> bool:
    """Whether an edge is about where it was seen: that beside a strong one slides back to it."""
    settled = settle(photo, edge)
    return not isinstance(settled, Refusal) and (
        largest_move(settled.ellipse, edge) < FLANK_APART_PX
    )


def inner_flank(photo: Photo, found: Placed) -> Placed | Refusal:
    """The same, or the places on an edge inside where these explain the light of both far better.

    Otherwise they are a rival, unless they explain it worse and lie away from where the edge was
    seen, or far worse and are far less sharp: an outer edge's bowl explains the inner one, too.

    Parameters
    ----------
    photo : Photo
    found : Placed

    Returns
    -------
    Placed or Refusal
        A refusal that names the diameters of both where they are rivals.
    """
    inside = edge_inside(photo, found.ellipse)
    if inside is None:
        return found
    other = placed_on(photo, inside)
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
    rival = seen and (then > now - STRONG or blurs[1] < AS_SHARP * blurs[0])
    return rivalled(found.ellipse, other.ellipse) if rival else found
