"""The rules that a photo, its scale and its one indent must keep."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import date

from rimread.check import Check, Outcome
from rimread.diameters import RAGGED_RIM, Diameters
from rimread.hardness import TestCondition, explained_by_lay, indent_checks
from rimread.hardness.rules import RuleSet
from rimread.photo import Photo
from rimread.rim import Rim
from rimread.scale.model import Scale, not_square

__all__ = [
    "bowl_shading",
    "channel_taken",
    "compression",
    "found_by_texture",
    "of_indent",
    "resolution",
    "scale_certificate",
    "scale_in_date",
    "scale_square",
    "taken_twice",
    "tone_taken",
]

LEAST_JPEG_QUALITY = 60
"""Below it JPEG moves edges by hundredths of a pixel and adds scatter (own trials: quality 40
moves a rim by 0.016 px and adds a third to its scatter, 70 does nothing)."""
NEARLY_FLAT = 0.1
"""A face as even as this within its rim is looked at by a person: of 4195 simulated indents five
are, and of round things drawn on bare metal some more than are refused as flat
(tests/accuracy/other_things.py). Own choice."""
SHARPER_ADVICE = (
    "; light that leaves the rim neither black nor white, a sharper focus or a stronger objective "
    "makes it smaller"
)
RAGGED_ADVICE = (
    "; the rim is ragged: where stains or light do not make it so but coarse grains do, a larger "
    "ball makes it smaller"
)
"""A larger ball on coarse grains: common practice, no source."""
SAME_PLACE_PX, SAME_SIZE = 3.0, 5e-4
"""Two pictures of one indent that was not moved differ by less; two indents hardly ever do."""


def of_indent(
    found: Diameters, test: TestCondition, rules: RuleSet, lay_deg: float | None
) -> Iterator[Check]:
    """Of the indent itself; an oval one with what the lay says to it."""
    checks = indent_checks(found.d1_mm, found.d2_mm, test, rules=rules, U_mean_mm=found.budget.U)
    for check in checks:
        explained = lay_deg is not None and check.code == "ovality"
        yield explained_by_lay(check, found.angle_deg, lay_deg or 0.0) if explained else check


def resolution(found: Diameters, scale: Scale, rules: RuleSet) -> Check:
    """Whether the picture is fine enough for the diameter."""
    limit = rules["reading_rel"]
    share = found.budget.U / found.mean_mm
    across_px = found.mean_mm * (scale.px_per_mm_x + scale.px_per_mm_y) / 2.0
    message = (
        f"U of the mean diameter is {share:.2%} of d, limit {limit:.1%}; "
        f"the indent is {across_px:.0f} px across"
    )
    outcome: Outcome = "pass" if share <= limit else "warn"
    if outcome == "warn":
        ragged = max(found.budget.components, key=lambda part: part.u).name == RAGGED_RIM
        message += RAGGED_ADVICE if ragged else SHARPER_ADVICE
    return Check("resolution", outcome, message, rules.source("reading_rel"))


def compression(photo: Photo) -> Check:
    """Whether JPEG has left the edges where they were."""
    quality = photo.jpeg_quality
    source = "trials with simulated edges"
    if quality is None:
        return Check("compression", "pass", "the photo is not JPEG-compressed", source)
    message = f"JPEG quality is about {quality}, at least {LEAST_JPEG_QUALITY} is asked"
    if quality >= LEAST_JPEG_QUALITY:
        return Check("compression", "pass", message, source)
    return Check("compression", "warn", f"{message}; set the camera to a finer quality", source)


def bowl_shading(rim: Rim) -> Check:
    """Whether what lies within the rim is shaded as a bowl is."""
    source = "own trials (rimread.rim.flatness)"
    if rim.bowl_spread >= NEARLY_FLAT:
        return Check("bowl-shading", "pass", "the light within the rim varies as a bowl's", source)
    message = (
        f"the light within the rim varies by {rim.bowl_spread:.0%} only, nearly as that of a flat "
        "face: look at the overlay whether it is an indent, and wiped clean"
    )
    return Check("bowl-shading", "warn", message, source)


def tone_taken(photo: Photo) -> Iterator[Check]:
    """A warning where 16-bit values are taken for those of a sensor, because they end early."""
    if photo.white is not None and not photo.tone_stated:
        message = (
            f"no 16-bit value is above {photo.white}: taken for linear values of a sensor of "
            f"{photo.white.bit_length()} bits; if so, state it with the tone linear, else the "
            "photo is too dark"
        )
        yield Check("tone-taken", "warn", message, "common practice, no source")


def channel_taken(rim: Rim) -> Iterator[Check]:
    """A warning where one colour shows the rim better than the luma does."""
    if rim.channel is not None:
        message = (
            f"read in the {rim.channel} values: the light is coloured, and in the luma the rim is "
            "dark or a channel that clips does not show; set the exposure by that channel, or take "
            "white light, and make the scale in the same light"
        )
        yield Check("channel-taken", "warn", message, "own trials (tests/accuracy/altered.py)")


def found_by_texture(rim: Rim) -> Iterator[Check]:
    """A warning where the light of the metal varies more than it does at the rim."""
    if rim.by_texture:
        message = (
            "the metal's grains or stains outdo the rim, which was found by its texture: look at "
            "the overlay whether the traced points lie on it; a finer ground surface reads better"
        )
        yield Check("found-by-texture", "warn", message, "own trials (tests/accuracy/grained.py)")


def scale_in_date(scale: Scale, on: date) -> Check:
    """Whether the scale counted on the day."""
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


def scale_square(scale: Scale) -> Iterator[Check]:
    """A warning where x and y are not of one magnification, which U does not know of."""
    told = not_square(scale.px_per_mm_x, scale.px_per_mm_y)
    if told is not None:
        yield Check("scale-square", "warn", f"of the scale: {told}", "common practice, no source")


def scale_certificate(scale: Scale) -> Check:
    """Whether the scale goes back to a certificate."""
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


def taken_twice(seen: Mapping[int, tuple[float, float, float]]) -> Iterator[Check]:
    """Pairs that look like two pictures of one indent: the same place and size in the picture.

    Parameters
    ----------
    seen : mapping of int to (float, float, float)
        Centre x and y in px and mean diameter in mm, by the number people know the indent by.
    """
    for number, (x, y, mean_mm) in seen.items():
        for other, (other_x, other_y, other_mm) in seen.items():
            away_px = math.hypot(x - other_x, y - other_y)
            size = abs(mean_mm / other_mm - 1.0)
            if other < number and away_px < SAME_PLACE_PX and size < SAME_SIZE:
                message = (
                    f"indents {other} and {number} lie at the same place of the picture and have "
                    f"the same size: if it is one indent, let only one of them count"
                )
                yield Check("taken-twice", "warn", message, "common practice, no source")
