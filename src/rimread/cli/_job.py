"""What holds for all photos of a call, and what came of one of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from rimread.cli._indents import rules_from
from rimread.cli._io import MISUSE, REFUSED, say

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.hardness import Indent, Piece, RuleSet, TestCondition
    from rimread.photo import Photo
    from rimread.reading import Reading
    from rimread.refusal import Refusal
    from rimread.scale.model import Scale

__all__ = ["Job", "Seen", "job_of", "measured", "piece_of"]


@dataclass(frozen=True, slots=True)
class Job:
    """What holds for all photos of a call."""

    scale: Scale
    test: TestCondition
    rules: RuleSet
    tone: Literal["srgb", "linear"] | None
    on: date | None
    piece: Piece | None = None
    lay_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """What came of one photo; `photo` is None when it could not be read."""

    path: Path
    photo: Photo | None
    result: Reading | Refusal

    @property
    def exit_code(self) -> int:
        from rimread.refusal import Refusal  # noqa: PLC0415

        if self.photo is None:
            return MISUSE
        return REFUSED if isinstance(self.result, Refusal) or self.result.failed else 0

    @property
    def code(self) -> str:
        """Of the refusal, empty when it was measured."""
        from rimread.refusal import Refusal  # noqa: PLC0415

        return self.result.code if isinstance(self.result, Refusal) else ""

    @property
    def indent(self) -> Indent | None:
        """For a series; None without diameters."""
        from rimread.reading import indent_of  # noqa: PLC0415
        from rimread.refusal import Refusal  # noqa: PLC0415

        if isinstance(self.result, Refusal):
            return None
        return replace(indent_of(self.result), name=str(self.path))


def job_of(
    scale: Path,
    test: str,
    rules: str,
    tone: Literal["srgb", "linear"] | None,
    on: datetime | None,
) -> Job:
    from rimread.hardness import parse_test  # noqa: PLC0415
    from rimread.scale import read_scale  # noqa: PLC0415

    return Job(
        scale=read_scale(scale),
        test=parse_test(test),
        rules=rules_from(rules),
        tone=tone,
        on=None if on is None else on.date(),
    )


def piece_of(
    material: str | None,
    thickness: float | None,
    edge: float | None,
    spacing: float | None,
    radius: float | None,
) -> Piece:
    from rimread.hardness import Piece  # noqa: PLC0415

    return Piece(
        material=material,
        thickness_mm=thickness,
        edge_mm=edge,
        spacing_mm=spacing,
        radius_mm=radius,
    )


def measured(path: Path, job: Job) -> Seen:
    from rimread.photo import PhotoError, read_photo  # noqa: PLC0415
    from rimread.reading import measure_photo  # noqa: PLC0415
    from rimread.refusal import Refusal  # noqa: PLC0415

    try:
        photo = read_photo(path, tone=job.tone)
    except PhotoError as error:
        say(str(error))
        return Seen(path, None, Refusal("unreadable", str(error)))
    result = measure_photo(
        photo,
        job.scale,
        job.test,
        rules=job.rules,
        on=job.on,
        piece=job.piece,
        lay_deg=job.lay_deg,
    )
    return Seen(path, photo, result)
