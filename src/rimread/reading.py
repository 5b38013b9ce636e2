"""One measured photo: from the picture, the scale and the test to a hardness with its checks."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass, replace
from datetime import date
from typing import Any

from rimread import __version__
from rimread.budget import Budget, Component, combine
from rimread.check import Check, Outcome
from rimread.diameters import Diameters, diameters
from rimread.hardness import (
    Hardness,
    Indent,
    Piece,
    TestCondition,
    explained_by_lay,
    hardness_from_diameter,
    indent_checks,
    piece_checks,
)
from rimread.hardness.rules import RuleSet, rule_set
from rimread.neighbours import Neighbour, Place, about, beside, place
from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim import Rim, Sighted, find_rim, sight_indents
from rimread.scale.model import Scale

__all__ = ["Reading", "indent_of", "measure_all", "measure_photo", "reading_json"]

LEAST_JPEG_QUALITY = 60
"""Below it JPEG moves edges by hundredths of a pixel and adds scatter (own trials: quality 40
moves a rim by 0.016 px and adds a third to its scatter, 70 does nothing)."""


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What one photo says, with everything it rests on.

    Parameters
    ----------
    photo, photo_sha256 : str
        File name and hash of the photo.
    scale_label, scale_sha256 : str
        Camera and objective, and hash of the scale file.
    test : TestCondition
        Ball, force, dwell.
    rim : Rim
        Traced points and what they say about the picture.
    diameters : Diameters
        On the specimen, in mm, with their budget.
    hardness : Hardness
        HBW and its budget; only the diameter's uncertainty is in it.
    checks : tuple of Check
        The rules that belong to one indent and to its photo.
    version : str
        Of this program.
    place : Place or None
        Among the indents of the photo; None when only one was looked for.
    """

    photo: str
    photo_sha256: str
    scale_label: str
    scale_sha256: str
    test: TestCondition
    rim: Rim
    diameters: Diameters
    hardness: Hardness
    checks: tuple[Check, ...]
    version: str = __version__
    place: Place | None = None

    @property
    def hbw(self) -> float:
        """Unrounded hardness."""
        return self.hardness.hbw

    @property
    def U_hbw(self) -> float:  # noqa: N802
        """Expanded uncertainty of `hbw` from the reading of the diameter alone."""
        return self.hardness.budget.U

    @property
    def designation(self) -> str:
        """Value, symbol and condition, e.g. ``229 HBW 10/3000``."""
        return self.hardness.designation

    @property
    def failed(self) -> bool:
        """Whether a check says that the result does not count."""
        return any(check.outcome == "fail" for check in self.checks)


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
    """
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
        photo_sha256=photo.sha256,
        scale_label=scale.label,
        scale_sha256=scale.sha256,
        test=test,
        rim=rim,
        diameters=found,
        hardness=hardness_from_diameter(found.mean_mm, found.budget, test),
        checks=(
            *_of_indent(found, test, rules, lay_deg),
            *piece_checks(found.mean_mm, test, piece, rules=rules),
            _resolution(found, scale, rules),
            _compression(photo),
            _scale_in_date(scale, on or date.today()),  # noqa: DTZ011  (the lab's own calendar)
            _scale_certificate(scale),
        ),
    )


def indent_of(reading: Reading) -> Indent:
    """The reading as one indent of a series, its budget with it."""
    found = reading.diameters
    return Indent(found.d1_mm, found.d2_mm, found.budget, reading.photo)


def reading_json(name: str, sha256: str | None, result: Reading | Refusal) -> dict[str, Any]:
    """Record of one photo as plain values; the keys are the same for a refusal, absent ones None.

    Parameters
    ----------
    name : str
        The photo as the user named it.
    sha256 : str or None
        Hash of its bytes, None when it could not be read.
    result : Reading or Refusal
        What came of it.
    """
    record: dict[str, Any] = {"photo": name, "sha256": sha256}
    if isinstance(result, Refusal):
        record |= dict.fromkeys(_KEYS) | {
            "status": "refused",
            "checks": [],
            "reasons": [
                {
                    "code": result.code,
                    "message": result.message,
                    "evidence": {key: _plain(value) for key, value in result.evidence.items()},
                }
            ],
            "indent": result.evidence.get("indent"),
            "indents": result.evidence.get("indents"),
        }
        return record
    return record | _measured(result)


def _measured(reading: Reading) -> dict[str, Any]:
    found, hardness = reading.diameters, reading.hardness
    x_px, y_px = found.centre_px
    values: tuple[object, ...] = (
        *("measured", found.d1_mm, found.d2_mm, found.mean_mm, found.budget.U, found.budget.k),
        *(found.width_mm, found.height_mm, x_px, y_px, found.angle_deg, reading.rim.coverage),
        *(hardness.hbw, hardness.budget.U, hardness.designation),
        [_check_json(check) for check in reading.checks],
        [],
        *(found.U_d1_mm, found.U_d2_mm, hardness.budget.k, hardness.covers),
        *(reading.test.name, _budget_json(found.budget)),
        *(reading.scale_label, reading.scale_sha256, reading.version),
        *((None,) * 4 if reading.place is None else astuple(reading.place)),
    )
    return dict(zip(_KEYS, map(_plain, values), strict=True))


_KEYS = (
    *("status", "d1_mm", "d2_mm", "mean_mm", "U_mean_mm", "k"),
    *("width_mm", "height_mm", "centre_x_px", "centre_y_px", "angle_deg", "coverage"),
    *("hbw", "U_hbw", "designation", "checks", "reasons"),
    *("U_d1_mm", "U_d2_mm", "k_hbw", "U_hbw_covers", "test", "budget_mm"),
    *("scale_label", "scale_sha256", "version"),
    *("indent", "indents", "spacing_mm", "rim_to_rim_mm"),
)


def _check_json(check: Check) -> Mapping[str, str]:
    return {
        "code": check.code,
        "outcome": check.outcome,
        "message": check.message,
        "source": check.source,
    }


def _budget_json(budget: Budget) -> list[dict[str, Any]]:
    return [
        {
            "name": part.name,
            "u_mm": part.u,
            "dof": _plain(part.dof),
            "how": part.how,
            "common": part.common,
        }
        for part in budget.components
    ]


def _plain(value: object) -> object:
    """Numbers as JSON has them: numpy scalars made plain, what is not finite made None."""
    if isinstance(value, bool | str | list | dict) or value is None:
        return value
    if isinstance(value, int):
        return value
    number = float(value)  # type: ignore[arg-type]  # every other field is a number
    return number if math.isfinite(number) else None


def _of_indent(
    found: Diameters, test: TestCondition, rules: RuleSet, lay_deg: float | None
) -> Iterator[Check]:
    checks = indent_checks(found.d1_mm, found.d2_mm, test, rules=rules, U_mean_mm=found.budget.U)
    for check in checks:
        explained = lay_deg is not None and check.code == "ovality"
        yield explained_by_lay(check, found.angle_deg, lay_deg or 0.0) if explained else check


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


def _resolution(found: Diameters, scale: Scale, rules: RuleSet) -> Check:
    limit = rules["reading_rel"]
    share = found.budget.U / found.mean_mm
    across_px = found.mean_mm * (scale.px_per_mm_x + scale.px_per_mm_y) / 2.0
    message = (
        f"U of the mean diameter is {share:.2%} of d, limit {limit:.1%}; "
        f"the indent is {across_px:.0f} px across"
    )
    outcome: Outcome = "pass" if share <= limit else "warn"
    if outcome == "warn":
        message += "; more light, a sharper focus or a stronger objective makes it smaller"
    return Check("resolution", outcome, message, rules.source("reading_rel"))


def _compression(photo: Photo) -> Check:
    quality = photo.jpeg_quality
    source = "trials with simulated edges"
    if quality is None:
        return Check("compression", "pass", "the photo is not JPEG-compressed", source)
    message = f"JPEG quality is about {quality}, at least {LEAST_JPEG_QUALITY} is asked"
    if quality >= LEAST_JPEG_QUALITY:
        return Check("compression", "pass", message, source)
    return Check("compression", "warn", f"{message}; set the camera to a finer quality", source)


def _scale_in_date(scale: Scale, on: date) -> Check:
    span = f"the scale counts from {scale.calibrated_on} to {scale.valid_until}"
    source = "the scale file"
    if on > scale.valid_until:
        return Check(
            "scale-in-date", "fail", f"{span}, this is {on}: calibrate the scope again", source
        )
    if on < scale.calibrated_on:
        return Check(
            "scale-in-date",
            "warn",
            f"{span}, this is {on}: a person must know that the scope was the same then",
            source,
        )
    return Check("scale-in-date", "pass", f"{span}, this is {on}", source)


def _scale_certificate(scale: Scale) -> Check:
    source = "traceability: ISO 6506-2, measuring system, from memory"
    if scale.certificate is None:
        return Check(
            "scale-certificate",
            "warn",
            "the scale was made without the stage micrometer's certificate; "
            "a generous share for that is in U",
            source,
        )
    return Check(
        "scale-certificate", "pass", "the stage micrometer's certificate is in the scale", source
    )
