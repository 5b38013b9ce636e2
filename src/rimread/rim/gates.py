"""When a photo gets no number: the gates a rim must pass, each with what to do at the scope."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim.channel import DARK, brighter_side
from rimread.rim.ellipse import Ellipse
from rimread.rim.locate import Located
from rimread.rim.model import Rim
from rimread.rim.profiles import CLIPPED
from rimread.rim.sampling import band_along, rays_from
from rimread.rim.seed import Seed
from rimread.rim.shapes import BLURS_PX
from rimread.rim.trace import Ring

__all__ = [
    "LOST",
    "about_a_glint",
    "about_the_same",
    "clear",
    "convincing",
    "doubted",
    "exposed",
    "first_failed",
    "first_failed_of_several",
    "found",
    "no_indent",
    "none_overlap",
    "seen",
]

LEAST_ALIGNMENT = 0.9
"""Of 100 simulated blanks, half of them scratched, 99 stay below."""
CUT_ALIGNMENT = 0.73
"""A ring that leaves the picture has lost part of its alignment, here a fifth. Own choice."""
CLEAR_AGREEMENT, CLEAR_GAIN_PX = 0.7, 120.0
"""A ring that most of the turn agrees on, with so much gain along a radius' length of rim, is an
indent whatever its seed: chance paths do not lie on ellipses, and what they gain does not grow with
the ring. Of 400 simulated blanks as dirty and scratched as indents are, none reached 0.7 of it."""
LEAST_EVIDENCE = 0.4
"""Mean gain along a ring; a chance path through texture reaches 0.3 on its ellipse."""
LEAST_AGREEMENT = 0.55
"""Part of the turn that must lie on the ellipse; chance paths reach half."""
ALIKE, ALIKE_RIVAL = 1.25, 0.4
"""Indents of one ball and force differ by less than a quarter in size; such a ring needs this much
less evidence to be one: where two overlap, the first has lost part of its rim."""
OTHER_BALL = 0.24 / 0.6
"""Indents of one ball have 0.24 to 0.6 of its diameter (sources: `hardness.rules`), so what has
less than 0.4 of another's is of another ball, or none: a shadow of dust on the sensor, a pit, a
bubble. No doubt then which is to be read: were it the small one, the other would be too large."""
LEAST_RIVAL = 0.6
"""Evidence of a second ring, relative to the first, that makes it an indent too."""
INSIDE = 1.15
"""A ring within 1.15 radii of the first one's centre is a mark in its bowl or on its ridge."""
MOST_OVAL = 0.12
"""Difference of the axes over their mean; cylinders and rolled metal give a few per cent."""
LEAST_DIAMETER_PX = 60.0
"""Below 60 px a tenth of a pixel is 0.2 % of the diameter."""
WASHED_OUT, DARKEST_PART = 0.985, 5
"""Grey value of the darkest 5 % of a photo that shows nothing any more;"""
BRIGHTEST_PART = 99
"""where less than 1 % is brighter than `DARK`, that is why no rim is seen."""
MOST_CLIPPED = 0.8
"""Part of the rim next to clipped light: the clipped side says only where light exceeds it."""
UNSETTLED_PX = 2.0
"""An ellipse that still moves by more on its last pass hangs on places that were not seen."""
LEAST_COVERAGE, OVAL, LEAST_OF_OVAL = 0.55, 0.04, 0.8
"""Part of the turn on which the rim must be seen, and more of it where the ellipse is over 4 %
oval, as few indents are: that may come from what was taken for the rim elsewhere. Own choice."""
LEAST_ON_ELLIPSE = 0.75
"""Of the arcs that show a break three of four must show it on the ellipse, or that may follow the
edge of a stain: an arc without a break is silent, as is a clipped one; one with a break elsewhere
speaks against it. Not asked where nearly half of the turn is silent. Own choice."""
LARGEST_GAP_DEG = 100.0
"""Missing arc beyond which an ellipse's mean axis is worth less than a third of a full turn's."""
MOST_BLUR_PX = BLURS_PX[-1] * 0.9
"""A wider one may be wider than any tried. Own choice."""
MOST_BLUR = 0.0125
"""Blur in diameters whose share of U alone (2 blurs, see `diameters`) is 5 % of the
hardness. Own choice: twice what the 2005 edition of ISO 6506-2, from memory, lets a machine err at
125 to 225 HBW; a number less certain decides nothing."""
MOST_RAGGED = 0.015
"""Scatter, beyond what their light leaves unsure, of traced points off the ellipse in radii: its
share of U alone is 4.5 % of d then, 9 % of the hardness, which decides nothing. A grain with
straight borders has more: 1.5 % is that of a polygon of ten sides. Own choice."""


def exposed(photo: Photo) -> Refusal | None:
    """Whether the photo as a whole shows anything."""
    some = photo.grey[::16, ::16].reshape(-1)
    rank = len(some) * DARKEST_PART // 100
    level = float(np.partition(some, rank)[rank]) / photo.full_scale  # np.percentile is slower
    if level > WASHED_OUT:
        return Refusal(
            "overexposed",
            "The picture is washed out: less light or a shorter exposure, then photograph again.",
            {"darkest_grey": level},
        )
    return None


def no_indent(photo: Photo, **figures: float) -> Refusal:
    """Why a photo shows no ring, or none that is a rim: there is none, or hardly any light."""
    bright = float(np.percentile(photo.grey[::16, ::16], BRIGHTEST_PART)) / photo.full_scale
    return replace(NO_INDENT if bright > DARK else TOO_DARK, evidence=figures)


NO_INDENT = Refusal(
    "no-indent",
    "No indent was found: bring one into the frame, large enough to fill a third of it, clean the "
    "surface and focus on its rim.",
)
TOO_DARK = Refusal("underexposed", "The picture is too dark: more light or a longer exposure.")
LOST = Refusal(
    "rim-unclear",
    "The trace of the rim does not settle: refocus, clean the surface or turn the light.",
)


def first_failed(photo: Photo, seeds: tuple[Seed, ...], rings: Sequence[Ring]) -> Refusal | None:
    """The first gate that the best ring (the first of `rings`) does not pass."""
    ring = rings[0]
    alignment = max(seed.alignment for seed in seeds)
    cut = framed(photo, ring.ellipse)
    if cut is not None and alignment > CUT_ALIGNMENT and ring.evidence > LEAST_EVIDENCE:
        return cut
    if doubted(seeds, rings):
        return no_indent(photo, alignment=alignment, evidence=ring.evidence)
    if _oval(ring):
        a, b = ring.ellipse.semi_axes
        return no_indent(photo, axes_ratio=b / a)
    for failed in (
        _large_enough(ring),
        framed(photo, ring.ellipse),
        _alone(photo, rings),
        clear(ring),
        well_lit(photo, ring.ellipse),
    ):
        if failed is not None:
            return failed
    return None


def doubted(seeds: Sequence[Seed], rings: Sequence[Ring]) -> bool:
    """Whether the best ring (the first of `rings`), if there is any, may be chance."""
    if not rings:
        return True
    faint = max(seed.alignment for seed in seeds) < LEAST_ALIGNMENT
    return not convincing(rings[0]) and (faint or rings[0].evidence < LEAST_EVIDENCE / 2)


def convincing(ring: Ring) -> bool:
    """Whether a ring is an indent's rim whatever its seed."""
    gain_px = ring.evidence * ring.agreement * ring.ellipse.m
    return (
        ring.evidence > LEAST_EVIDENCE
        and ring.agreement > CLEAR_AGREEMENT
        and gain_px > CLEAR_GAIN_PX
        and not _oval(ring)
    )


def _oval(ring: Ring) -> bool:
    a, b = ring.ellipse.semi_axes
    return a - b > MOST_OVAL * ring.ellipse.m


def lit_and_framed(photo: Photo, ring: Ring) -> Refusal | None:
    """The gates of exposure and frame for one ring."""
    failed = framed(photo, ring.ellipse)
    return well_lit(photo, ring.ellipse) if failed is None else failed


def first_failed_of_several(photo: Photo, ring: Ring) -> Refusal | None:
    """The first gate that one ring among several, a convincing one, does not pass."""
    failed = _large_enough(ring)
    return lit_and_framed(photo, ring) if failed is None else failed


def _large_enough(ring: Ring) -> Refusal | None:
    diameter = 2 * ring.ellipse.m
    if diameter >= LEAST_DIAMETER_PX:
        return None
    return Refusal(
        "too-few-pixels",
        f"The indent covers only {diameter:.0f} pixels: use a stronger objective.",
        {"diameter_px": diameter},
    )


def about_the_same(ring: Ring, other: Ring) -> bool:
    """Whether one of two rings lies about or inside the other: the same rim, a mark in a bowl."""
    apart = _apart_px(ring, other)
    larger, smaller = sorted((ring.ellipse.m, other.ellipse.m), reverse=True)
    return apart + smaller < INSIDE * larger


def about_a_glint(photo: Photo, ring: Ring) -> bool:
    """Whether most of what a ring encloses is clipped, as the light a bowl's middle throws back."""
    t = np.arange(24) * (2 * np.pi / 24)
    equal_areas = np.sqrt((np.arange(8) + 0.5) / 8)
    grey, _ = rays_from(photo.grey, ring.ellipse, t, equal_areas)
    return bool(np.median(grey) > CLIPPED * photo.full_scale)


def none_overlap(rings: list[Ring]) -> Refusal | None:
    """Whether all of the rings of one ball, none about the same as another, stand apart."""
    for i, ring in enumerate(rings):
        for other in rings[:i]:
            apart = _apart_px(ring, other)
            if _of_another_ball(ring, other) or _of_another_ball(other, ring):
                continue
            if apart < ring.ellipse.m + other.ellipse.m:
                return Refusal(
                    "overlapping-indents",
                    "Two indents overlap, or one was smeared while the picture was taken: measure "
                    "one that stands by itself, with the scope at rest.",
                    {"apart_px": apart, "diameter_px": 2 * other.ellipse.m},
                )
    return None


def _apart_px(ring: Ring, other: Ring) -> float:
    return float(np.hypot(other.ellipse.x - ring.ellipse.x, other.ellipse.y - ring.ellipse.y))


def _alone(photo: Photo, rings: Sequence[Ring]) -> Refusal | None:
    """Whether no second indent touches the first or stands beside it in the picture."""
    first = rings[0]
    for other in rings[1:]:
        if about_the_same(first, other) or not _an_indent_too(other, first):
            continue
        if _of_another_ball(other, first):
            continue
        failed = none_overlap([first, other])
        clear = other.agreement > CLEAR_AGREEMENT
        if failed is None and clear and framed(photo, other.ellipse) is None:
            failed = Refusal(
                "several-indents",
                "More than one indent is in the picture: leave only the one to be measured, or "
                "have all of them measured.",
                {"apart_px": _apart_px(first, other), "diameter_px": 2 * other.ellipse.m},
            )
        if failed is not None:
            return failed
    return None


def _of_another_ball(small: Ring, large: Ring) -> bool:
    return small.ellipse.m < OTHER_BALL * large.ellipse.m


def _an_indent_too(other: Ring, first: Ring) -> bool:
    """Whether a second ring is as good as the first, less so if of the same ball and force."""
    if alike_in_size(other.ellipse.m, first.ellipse.m):
        as_good = other.evidence > ALIKE_RIVAL * first.evidence
        return as_good and other.agreement > LEAST_AGREEMENT
    return other.evidence > LEAST_RIVAL * first.evidence and convincing(other)


def alike_in_size(one: float, two: float) -> bool:
    """Whether two radii may be of indents made with one ball and force in one piece."""
    return bool(abs(np.log(one / two)) < np.log(ALIKE))


def clear(ring: Ring) -> Refusal | None:
    """Whether the ring is one clear curve."""
    if ring.evidence >= LEAST_EVIDENCE and ring.agreement >= LEAST_AGREEMENT:
        return None
    return Refusal(
        "rim-unclear",
        "The rim does not stand out: refocus, hold the scope still and turn the light.",
        {"evidence": ring.evidence, "agreement": ring.agreement},
    )


def framed(photo: Photo, ellipse: Ellipse) -> Refusal | None:
    """Whether the whole ring lies in the picture."""
    x0, x1 = ellipse.x - ellipse.width / 2, ellipse.x + ellipse.width / 2
    y0, y1 = ellipse.y - ellipse.height / 2, ellipse.y + ellipse.height / 2
    margin = min(x0, y0, photo.width_px - 1 - x1, photo.height_px - 1 - y1)
    if margin < 1.0:
        return Refusal(
            "cut-by-frame",
            "The indent is cut by the edge of the picture: move it into the frame.",
            {"margin_px": float(margin)},
        )
    return None


def well_lit(photo: Photo, ellipse: Ellipse) -> Refusal | None:
    """Whether the grey values on the two sides of the rim can be told apart and are not clipped."""
    band = band_along(photo, ellipse, half_px=10, arcs=120, rays=1)
    brighter = brighter_side(band.grey, band.q_px)
    if float(np.median(brighter)) < DARK:
        return Refusal(
            "underexposed",
            "The picture is too dark at the rim: more light or a longer exposure.",
            {"rim_grey": float(np.median(brighter))},
        )
    clipped = float(np.mean(brighter > CLIPPED))
    if clipped > MOST_CLIPPED:
        return Refusal(
            "overexposed",
            f"The exposure is clipped along {clipped:.0%} of the rim: "
            "less light or a shorter exposure.",
            {"clipped": clipped},
        )
    return None


def found(located: Located) -> NDArray[np.bool_]:
    """At which arcs the light is likelier with a break than without, shape (A,)."""
    return np.asarray((located.log_odds > 0) & located.inside)


def seen(
    rim: Rim, arcs: NDArray[np.bool_], *, speaking: NDArray[np.bool_], moved_px: float
) -> Refusal | None:
    """Whether the rim is sharp enough, one ellipse, and seen on enough of its turn.

    Parameters
    ----------
    rim : Rim
    arcs, speaking : ndarray, shape (A,), bool
        Which arcs show the rim, and which show any break and are not clipped.
    moved_px : float
        How far the ellipse moved at last.
    """
    diameter = 2 * rim.ellipse.m
    if rim.blur_px > min(MOST_BLUR_PX, max(MOST_BLUR * diameter, 2.0)):
        return Refusal(
            "out-of-focus",
            f"The rim is blurred over {rim.blur_px:.1f} pixels: refocus and hold the scope still.",
            {"blur_px": rim.blur_px},
        )
    if moved_px > UNSETTLED_PX:
        return Refusal(LOST.code, LOST.message, {"moved_px": moved_px})
    on_ellipse = float((arcs & speaking).sum() / max(speaking.sum(), 1))
    if speaking.mean() > LEAST_COVERAGE and on_ellipse < LEAST_ON_ELLIPSE:
        return Refusal(
            "rim-unclear",
            f"Only {on_ellipse:.0%} of the edges seen lie on one ellipse: "
            "clean the surface or turn the light.",
            {"on_ellipse": on_ellipse},
        )
    gap = _largest_gap_deg(arcs)
    oval = float(np.ptp(rim.semi_axes_px)) / rim.ellipse.m
    least = LEAST_OF_OVAL if oval > OVAL else LEAST_COVERAGE
    if rim.coverage < least or gap > LARGEST_GAP_DEG:
        return Refusal(
            "rim-incomplete",
            f"The rim is seen on only {rim.coverage:.0%} of its turn (largest gap {gap:.0f} "
            f"degrees; {oval:.0%} oval): clean the surface or turn the light.",
            {"coverage": rim.coverage, "gap_deg": gap, "oval": oval},
        )
    return _one_ellipse(rim)


def _one_ellipse(rim: Rim) -> Refusal | None:
    """Whether the traced points lie on one ellipse, up to what their light leaves unsure."""
    _, ragged_px = rim.scatter_px(rim.ellipse.distance(rim.points_px), rim.used)
    if ragged_px > MOST_RAGGED * rim.ellipse.m:
        return Refusal(
            "rim-unclear",
            f"What was traced is no ellipse: it strays by {ragged_px / rim.ellipse.m:.1%} of its "
            "radius, as the border of a grain or a stain does. Grind or clean the surface.",
            {"ragged": ragged_px / rim.ellipse.m},
        )
    return None


def _largest_gap_deg(shown: NDArray[np.bool_]) -> float:
    """Longest run of arcs that do not show the rim, in degrees."""
    if not shown.any():
        return 360.0
    at = np.flatnonzero(shown)
    runs = np.diff(np.concatenate([at, at[:1] + len(shown)])) - 1
    return float(runs.max() * 360.0 / len(shown))
