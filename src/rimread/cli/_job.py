"""What holds for all photos of a call, and what came of one of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from rimread.cli._indents import rules_from
from rimread.cli._io import MISUSE, REFUSED, say
from rimread.cli._options import ToneCurve, date_of

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.check import Check
    from rimread.hardness import Indent, Piece, RuleSet, TestCondition
    from rimread.photo import Photo
    from rimread.reading import Reading
    from rimread.refusal import Refusal
    from rimread.scale.model import Scale

_T = TypeVar("_T")

__all__ = [
    "Job",
    "Seen",
    "job_of",
    "measured",
    "measured_all",
    "piece_of",
    "taken_twice",
    "told_once",
]


@dataclass(frozen=True, slots=True)
class Job:
    """What holds for all photos of a call."""

    scale: Scale
    test: TestCondition
    rules: RuleSet
    tone: ToneCurve | None
    on: date | None
    piece: Piece | None = None
    lay_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """What came of one photo, or of one of its indents; `photo` is None when it is unreadable.

    `number` is that of the indent where all of a photo are measured, 0 elsewhere.
    """

    path: Path
    photo: Photo | None
    result: Reading | Refusal
    number: int = 0

    @property
    def name(self) -> str:
        """What a table calls it."""
        return f"{self.path} #{self.number}" if self.number else str(self.path)

    @property
    def sha256(self) -> str | None:
        """Hash of the photo, None when it is unreadable."""
        return None if self.photo is None else self.photo.sha256

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
        return replace(indent_of(self.result), name=self.name)


def job_of(
    scale: Path,
    test: str,
    rules: str,
    tone: ToneCurve | None,
    on: datetime | None,
) -> Job:
    from rimread.hardness import parse_test  # noqa: PLC0415
    from rimread.scale import read_scale  # noqa: PLC0415

    return Job(
        scale=read_scale(scale),
        test=parse_test(test),
        rules=rules_from(rules),
        tone=tone,
        on=date_of(on),
    )


def piece_of(
    material: str | None,
    thickness: float | None,
    edge: float | None,
    spacing: float | None,
    radius: float | None,
    temperature: float | None = None,
) -> Piece:
    from rimread.hardness import Piece  # noqa: PLC0415

    return Piece(
        material=material,
        thickness_mm=thickness,
        edge_mm=edge,
        spacing_mm=spacing,
        radius_mm=radius,
        temperature_c=temperature,
    )


def measured(path: Path, job: Job) -> Seen:
    """The one indent of a photo."""
    from rimread.reading import measure_photo  # noqa: PLC0415

    photo = _opened(path, job)
    if isinstance(photo, Seen):
        return photo
    return Seen(path, photo, _tried(measure_photo, photo, job))


def measured_all(path: Path, job: Job) -> list[Seen]:
    """Every whole indent of a photo; one without a number where the photo is refused."""
    from rimread.reading import measure_all  # noqa: PLC0415
    from rimread.refusal import Refusal  # noqa: PLC0415

    photo = _opened(path, job)
    if isinstance(photo, Seen):
        return [photo]
    results = _tried(measure_all, photo, job)
    if isinstance(results, Refusal):
        return [Seen(path, photo, results)]
    return [Seen(path, photo, result, number) for number, result in enumerate(results, start=1)]


def told_once(all_seen: Sequence[Seen]) -> tuple[list[Seen], list[str]]:
    """Every picture once, and the names of those that came before; people are told of them."""
    first: dict[tuple[str | None, int], Seen] = {}
    twice = []
    for seen in all_seen:
        before = first.setdefault((seen.sha256, seen.number), seen)
        if before is not seen:
            say(f"{seen.name}: the same picture as {before.name}; a photo counts once")
            twice.append(seen.name)
    return list(first.values()), twice


def taken_twice(once: Sequence[Seen]) -> Iterator[Check]:
    """Pairs among photos of one piece or block that look like two pictures of one indent."""
    from rimread.reading import checks  # noqa: PLC0415
    from rimread.refusal import Refusal  # noqa: PLC0415

    found = (seen.result.diameters for seen in once if not isinstance(seen.result, Refusal))
    return checks.taken_twice({n: (*d.centre_px, d.mean_mm) for n, d in enumerate(found, start=1)})


def _tried(measure: Callable[..., _T], photo: Photo, job: Job) -> _T | Refusal:
    """What `measure` makes of a photo; a fault there stops no other photo.

    The job was judged before, so that a ValueError from here (numpy's LinAlgError is one) tells of
    no misuse.
    """
    from rimread.refusal import program_fault  # noqa: PLC0415

    try:
        return measure(photo, job.scale, job.test, **_known(job))
    except (ValueError, ArithmeticError) as error:
        return program_fault(error)


def _known(job: Job) -> dict[str, Any]:
    return {"rules": job.rules, "on": job.on, "piece": job.piece, "lay_deg": job.lay_deg}


def _opened(path: Path, job: Job) -> Photo | Seen:
    from rimread.photo import PhotoError, read_photo  # noqa: PLC0415
    from rimread.refusal import Refusal  # noqa: PLC0415

    try:
        return read_photo(path, tone=job.tone)
    except PhotoError as error:
        say(str(error))
        return Seen(path, None, Refusal("unreadable", str(error)))
