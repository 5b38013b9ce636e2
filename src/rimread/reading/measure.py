"""From the picture, the scale and the test to readings, of one indent or of all in a photo."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from rimread.budget import Component, combine
from rimread.diameters import Diameters, diameters
from rimread.hardness import Piece, TestCondition, hardness_from_diameter, piece_checks
from rimread.hardness.rules import RuleSet, rule_set
from rimread.neighbours import Neighbour, about, beside, place
from rimread.photo import Photo
from rimread.reading.checks import (
    bowl_shading,
    channel_taken,
    compression,
    found_by_texture,
    of_indent,
    resolution,
    scale_certificate,
    scale_in_date,
    scale_square,
    tone_taken,
)
from rimread.reading.model import Reading
from rimread.refusal import Refusal
from rimread.rim import Rim, Sighted, find_rim, sight_indents
from rimread.scale.model import Scale

__all__ = ["measure_all", "measure_photo"]


def measure_photo(
    photo: Photo,
    scale: Scale,
    test: TestCondition,
    *,
    rules: str | RuleSet = "iso",
    on: date | None = None,
    beyond: Sequence[Component] = (),
    piece: Piece | None = None,
    lay_deg: float | None = None,
) -> Reading | Refusal:
    """Measure the indent in one photo.

    Parameters
    ----------
    photo : Photo
        The picture, holding one complete indent.
    scale : Scale
        Made with the same camera, objective and picture size.
    test : TestCondition
        Ball, force, dwell.
    rules : {"iso", "astm"} or RuleSet
        Whose limits the checks take.
    on : date, optional
        The day the photo was taken, for the scale's validity; today when left out.
    beyond : sequence of Component
        What is known beyond this one picture, like the scatter from frame to frame, in fractions
        of the mean diameter.
    piece : Piece, optional
        What is known of the piece, for the checks that need it.
    lay_deg : float, optional
        Direction of the grinding marks or of a cylinder's axis in the photo, from x towards y;
        a check of ovality that does not pass then says whether that explains it.

    Returns
    -------
    Reading or Refusal
        A refusal of `find_rim` is handed on as it is; the ones from here are ``photo-size`` (the
        scale was made with photos of another size) and ``larger-than-ball``.

    Raises
    ------
    ValueError
        If the lay is no direction, or the rules have no such name.
    """
    _judge_lay(lay_deg)
    if (photo.width_px, photo.height_px) != (scale.width_px, scale.height_px):
        return _other_size(photo, scale)
    rim = find_rim(photo)
    if isinstance(rim, Refusal):
        return _in_mm(rim, scale)
    found = _widened(diameters(rim, scale), beyond)
    return _reading(
        *(photo, scale, test, rim, found),
        rules=rule_set(rules),
        on=on,
        piece=piece or Piece(),
        lay_deg=lay_deg,
    )


def measure_all(
    photo: Photo,
    scale: Scale,
    test: TestCondition,
    *,
    rules: str | RuleSet = "iso",
    on: date | None = None,
    beyond: Sequence[Component] = (),
    piece: Piece | None = None,
    lay_deg: float | None = None,
) -> tuple[Reading | Refusal, ...] | Refusal:
    """Measure every whole indent in one photo.

    The spacing of each is judged by the other indents that are seen, also those that cannot be
    measured, and by ``piece.spacing_mm`` where that asks for more. The frame says nothing about
    the edge of the piece, nor about indents outside of it.

    Parameters
    ----------
    photo, scale, test, rules, on, beyond, piece, lay_deg
        As in `measure_photo`; one piece holds for all indents.

    Returns
    -------
    tuple of Reading or Refusal, or Refusal
        One for each whole indent from left to right: a reading with its `Place`, or why it cannot
        be read, with ``indent``, ``indents``, ``centre_x_px``, ``centre_y_px`` and
        ``about_diameter_px`` in its evidence. A single refusal where no indent can be read, two
        overlap, or the photo or the scale is not the right one.
    """
    _judge_lay(lay_deg)
    if (photo.width_px, photo.height_px) != (scale.width_px, scale.height_px):
        return _other_size(photo, scale)
    sighted = sight_indents(photo)
    if isinstance(sighted, Refusal):
        return _none_of_several(_in_mm(sighted, scale))
    known = [_known(one, scale, beyond) for one in sighted]
    whole = [i for i, one in enumerate(sighted) if _whole(one)]
    results: list[Reading | Refusal] = []
    for number, i in enumerate(whole, start=1):
        rim, (found, near) = sighted[i].result, known[i]
        if isinstance(rim, Refusal) or found is None:
            results.append(_numbered(sighted[i], number, len(whole)))
            continue
        others = [one for _, one in (*known[:i], *known[i + 1 :])]
        result = _reading(
            *(photo, scale, test, rim, found),
            rules=rule_set(rules),
            on=on,
            piece=beside(near, others, piece or Piece()),
            lay_deg=lay_deg,
        )
        if isinstance(result, Refusal):
            return result
        results.append(replace(result, place=place(number, len(whole), near, others)))
    return tuple(results)


def _whole(one: Sighted) -> bool:
    return isinstance(one.result, Rim) or one.result.code != "cut-by-frame"


def _known(
    one: Sighted, scale: Scale, beyond: Sequence[Component]
) -> tuple[Diameters | None, Neighbour]:
    """Diameters of an indent, None where it has no rim, and where it lies."""
    if isinstance(one.result, Refusal):
        return None, about(one.ellipse, scale)
    found = _widened(diameters(one.result, scale), beyond)
    return found, Neighbour(found.ellipse_mm)


def _numbered(one: Sighted, number: int, of: int) -> Refusal:
    """The refusal of one indent, with what tells it from the others of its photo."""
    assert isinstance(one.result, Refusal)  # noqa: S101  (the caller asked)
    where = {
        "indent": number,
        "indents": of,
        "centre_x_px": one.ellipse.x,
        "centre_y_px": one.ellipse.y,
        "about_diameter_px": 2.0 * one.ellipse.m,
    }
    return replace(one.result, evidence={**one.result.evidence, **where})


def _reading(
    photo: Photo,
    scale: Scale,
    test: TestCondition,
    rim: Rim,
    found: Diameters,
    *,
    rules: RuleSet,
    on: date | None,
    piece: Piece,
    lay_deg: float | None,
) -> Reading | Refusal:
    """What the diameters of one rim make, with the checks of indent, piece, photo and scale."""
    if found.mean_mm >= test.ball_mm:
        return _larger_than_ball(found, test)
    return Reading(
        photo=photo.name,
        scale_label=scale.label,
        scale_sha256=scale.sha256,
        test=test,
        rim=rim,
        diameters=found,
        hardness=hardness_from_diameter(found.mean_mm, found.budget, test),
        checks=(
            *of_indent(found, test, rules, lay_deg),
            *piece_checks(found.mean_mm, test, piece, rules=rules),
            resolution(found, scale, rules),
            bowl_shading(rim),
            compression(photo),
            *tone_taken(photo),
            *channel_taken(rim),
            *found_by_texture(rim),
            scale_in_date(scale, on or date.today()),  # noqa: DTZ011  (the lab's own calendar)
            scale_certificate(scale),
            *scale_square(scale),
        ),
        tone=photo.tone,
    )


def _judge_lay(lay_deg: float | None) -> None:
    if lay_deg is not None and not math.isfinite(lay_deg):
        raise ValueError(f"lay_deg is a direction in degrees (got {lay_deg})")


def _widened(found: Diameters, beyond: Sequence[Component]) -> Diameters:
    """Diameters with components in fractions of the mean diameter added to their budget."""
    if not beyond:
        return found
    more = [replace(part, u=part.u * found.mean_mm) for part in beyond]
    budget = combine([*found.budget.components, *more])
    added = math.hypot(*(part.u for part in more))
    U_d1, U_d2 = (
        budget.k * math.hypot(U / found.budget.k, added) for U in (found.U_d1_mm, found.U_d2_mm)
    )
    return replace(found, budget=budget, U_d1_mm=U_d1, U_d2_mm=U_d2)


def _in_mm(refusal: Refusal, scale: Scale) -> Refusal:
    """A refusal of the rim with rival diameters on the specimen beside those in pixels."""
    if refusal.code != "rival-rings":
        return refusal
    px_per_mm = (scale.px_per_mm_x + scale.px_per_mm_y) / 2.0
    told = refusal.evidence
    own, rival = (float(told[key]) / px_per_mm for key in ("diameter_px", "rival_px"))
    one, two = sorted((own, rival))
    return replace(
        refusal,
        message=f"Two rings could be the rim, {one:.3f} mm and {two:.3f} mm across: turn the "
        f"light and photograph again.",
        evidence={**told, "diameter_mm": own, "rival_mm": rival},
    )


def _none_of_several(refusal: Refusal) -> Refusal:
    """A refusal with a sentence that does not offer what was asked for."""
    if refusal.code != "several-indents":
        return refusal
    message = (
        "More than one indent is in the picture and no rim of them stands out: refocus and turn "
        "the light, or leave only one."
    )
    return replace(refusal, message=message)


def _other_size(photo: Photo, scale: Scale) -> Refusal:
    return Refusal(
        "photo-size",
        f"This photo has {photo.width_px} × {photo.height_px} pixels and the scale holds for "
        f"{scale.width_px} × {scale.height_px}: measure with the scale made with this camera, "
        f"objective and picture size, and never from a resized or cropped copy.",
        {
            "photo_width_px": photo.width_px,
            "photo_height_px": photo.height_px,
            "scale_width_px": scale.width_px,
            "scale_height_px": scale.height_px,
        },
    )


def _larger_than_ball(found: Diameters, test: TestCondition) -> Refusal:
    return Refusal(
        "larger-than-ball",
        f"The indent is {found.mean_mm:.3f} mm across and the ball of {test.name} only "
        f"{test.ball_mm:g} mm: check the test and that the scale belongs to this objective.",
        {"mean_mm": found.mean_mm, "ball_mm": test.ball_mm},
    )
