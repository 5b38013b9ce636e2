"""Results read back from the lines that ``rimread measure --json`` wrote, proved before use."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final, Literal, get_args

from rimread.budget import COVERAGE, Budget, Component, combine, coverage_factor
from rimread.check import Check, Outcome
from rimread.hardness import Hardness, Indent, TestCondition, hardness_from_diameter, parse_test
from rimread.photo import Tone
from rimread.refusal import Refusal
from rimread.table import Problem

__all__ = [
    "ByHand",
    "Result",
    "budget_from",
    "file_name",
    "read_text",
    "result_from",
    "results_from_lines",
]

_SAME: Final = 1e-6
"""Relative; how far figures of one line may be apart before somebody must have changed one."""

Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ByHand:
    """A rim that a person set, and what the program had found.

    Parameters
    ----------
    how : str
        What the person did.
    reason : str
        Why.
    image_mean_mm, image_hbw : float or None
        The program's own reading, None where the record does not say.
    """

    how: str
    reason: str
    image_mean_mm: float | None
    image_hbw: float | None


@dataclass(frozen=True, slots=True)
class Result:
    """One photo's line.

    Parameters
    ----------
    photo : str
        As the user named it.
    sha256 : str
        Hash of the photo, empty when it is not known.
    indent : Indent or None
        The diameters; None when the photo was refused.
    hardness : Hardness or None
        With the uncertainty that the reading brings; None without an uncertainty or when refused.
    test : TestCondition or None
        None when refused.
    checks : tuple of Check
        Of this indent and photo.
    reasons : tuple of Refusal
        Why there is no number; empty for a measured photo.
    scale_label, scale_sha256, version : str
        What it rests on, empty where the line does not say.
    tone : {"srgb", "linear"} or None
        Tone curve of the photo, None where the line does not say.
    entry : str
        Where a ledger keeps it, in words; empty for a plain file.
    by_hand : ByHand or None
        Where a person set the rim.
    number : int
        Of the indent where all of a photo were measured, 0 elsewhere.
    taken_on, centre_px : datetime.date or None, (float, float) or None
        Day of the photo, centre of the indent in it; None where the line does not say.
    """

    photo: str
    sha256: str
    indent: Indent | None
    hardness: Hardness | None
    test: TestCondition | None
    checks: tuple[Check, ...]
    reasons: tuple[Refusal, ...]
    scale_label: str = ""
    scale_sha256: str = ""
    version: str = ""
    tone: Tone | None = None
    entry: str = ""
    by_hand: ByHand | None = None
    number: int = 0
    taken_on: date | None = None
    centre_px: tuple[float, float] | None = None

    @property
    def name(self) -> str:
        """Photo, and number of the indent if it has one."""
        return f"{self.photo} #{self.number}" if self.number else self.photo


def read_text(path: Path, *, errors: Literal["strict", "replace"] = "strict") -> str:
    """Text of a file of results.

    Raises
    ------
    ValueError
        If it is no text.
    OSError
        If it cannot be read.
    """
    return text_of(path.read_bytes(), str(path), errors=errors)


def text_of(data: bytes, name: str, *, errors: Literal["strict", "replace"] = "strict") -> str:
    """Text of results, be they a redirect in Windows PowerShell 5, which is UTF-16.

    Raises
    ------
    ValueError
        If it is no text.
    """
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        return data.decode("utf-16" if wide else "utf-8-sig", errors)
    except UnicodeDecodeError:
        raise ValueError(
            f"{name} is no JSON lines in UTF-8; a photo is measured first, with "
            "rimread measure --json"
        ) from None


def told_by_lines(text: str) -> Iterator[tuple[int, object]]:
    """Number of each line of JSON and what it holds, a `Problem` where it is none.

    Passed over are empty lines and the series that ``measure --average`` adds.
    """
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        told: object
        try:
            told = json.loads(line)
        except json.JSONDecodeError as error:
            told = no_result(number, error.msg)
        except (ValueError, RecursionError) as error:  # a number of thousands of digits
            told = no_result(number, str(error))
        if not (isinstance(told, dict) and set(told) == {"series"}):
            yield number, told


def no_result(line: int, why: str) -> Problem:
    """Say of a line that it is no result."""
    return Problem(line, f"is no result of rimread measure --json ({why})")


def results_from_lines(text: str, name: str) -> tuple[Result, ...]:
    """Results of a file of JSON lines.

    Parameters
    ----------
    text : str
        Its content.
    name : str
        Of the file, for messages.

    Raises
    ------
    ValueError
        If a line is no result, or its figures contradict each other; the line is named.
    """
    results = []
    for number, told in told_by_lines(text):
        place = f"{name} line {number}"
        if not isinstance(told, dict):
            msg = f"{place} is no result of rimread measure --json"
            raise ValueError(msg)  # noqa: TRY004  (a file's content, not a caller's type)
        results.append(result_from(told, place))
    return tuple(results)


def result_from(record: Record, place: str, *, entry: str = "", reason: str = "") -> Result:
    """One result from its record.

    Parameters
    ----------
    record : mapping
        What `rimread.reading.reading_json` gives; more keys are passed over.
    place : str
        Where it stands, for messages.
    entry : str
        Where a ledger keeps it.
    reason : str
        Why a person set the rim, if one did.

    Raises
    ------
    ValueError
        If it is no such record, or its mean or hardness does not follow from its diameters.
    """
    try:
        return _result(record, place, entry, reason)
    except ValueError as error:
        raise ValueError(f"{place}: {error}") from error


def _result(record: Record, place: str, entry: str, reason: str) -> Result:
    status = record.get("status")
    if status not in ("measured", "refused"):
        raise ValueError(f"status must be measured or refused (got {status!r})")
    told: dict[str, Any] = {
        "photo": _text(record, "photo") or place,
        "sha256": _text(record, "sha256"),
        "checks": tuple(_check(c) for c in _list(record, "checks")),
        "reasons": tuple(_reason(r) for r in _list(record, "reasons")),
        "scale_label": _text(record, "scale_label"),
        "scale_sha256": _text(record, "scale_sha256"),
        "version": _text(record, "version"),
        "tone": _tone(record),
        "entry": entry,
        "by_hand": _by_hand(record, reason),
        "number": _whole(record, "indent"),
        "taken_on": _day(record, "taken_on"),
        "centre_px": _centre(record),
    }
    if status == "refused":
        return Result(indent=None, hardness=None, test=None, **told)
    test = _test(record)
    indent = _indent(record, told["photo"])
    hardness = None
    if indent.budget is not None:
        hardness = hardness_from_diameter(indent.mean_mm, indent.budget, test)
        _agrees(record, "hbw", hardness.hbw)
        _agrees(record, "U_hbw", hardness.budget.U)
    return Result(indent=indent, hardness=hardness, test=test, **told)


def _indent(record: Record, name: str) -> Indent:
    d1, d2 = (_positive(record, key) for key in ("d1_mm", "d2_mm"))
    indent = Indent(d1, d2, budget_from(record), name, _text(record, "scale_sha256"))
    _agrees(record, "mean_mm", indent.mean_mm)
    if indent.budget is not None:
        _agrees(record, "U_mean_mm", indent.budget.U)
    return indent


def _centre(record: Record) -> tuple[float, float] | None:
    x, y = (record.get(f"centre_{axis}_px") for axis in "xy")
    return (x, y) if isinstance(x, float) and isinstance(y, float) else None


def _by_hand(record: Record, reason: str) -> ByHand | None:
    told = record.get("correction")
    if told is None:
        return None
    if not isinstance(told, dict):
        raise ValueError(f"correction must be an object (got {told!r})")  # noqa: TRY004
    image = told.get("image")
    image = image if isinstance(image, dict) else {}
    mean, hbw = (
        None if image.get(key) is None else _positive(image, key) for key in ("mean_mm", "hbw")
    )
    return ByHand(_text(told, "how"), reason, mean, hbw)


def _tone(record: Record) -> Tone | None:
    tone = record.get("tone")
    if tone is not None and tone not in get_args(Tone):
        raise ValueError(f"tone must be one of {', '.join(get_args(Tone))} (got {tone!r})")
    return tone


def _whole(record: Record, key: str) -> int:
    value = record.get(key)
    if value is None:
        return 0
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise ValueError(f"{key} must be a whole number from 1 on (got {value!r})")
    return value


def _test(record: Record) -> TestCondition:
    name = record.get("test")
    if not isinstance(name, str):
        raise ValueError(f"test is missing (got {name!r})")  # noqa: TRY004
    return parse_test(name)


def budget_from(record: Record) -> Budget | None:
    """Budget of the mean diameter.

    What is not said to differ from indent to indent is common to all. None where nothing is told.
    """
    parts = _list(record, "budget_mm")
    if parts:
        return combine(_component(part) for part in parts)
    if record.get("U_mean_mm") is None:
        return None
    U, k = _positive(record, "U_mean_mm"), _positive(record, "k")
    return combine(
        [Component("reading", U / k, dof=_dof_of(k), how="U of the result", common=True)]
    )


def _dof_of(k: float) -> float:
    """Degrees of freedom behind a coverage factor: `coverage_factor` the other way round."""
    if k <= coverage_factor(math.inf):
        return math.inf
    from scipy.special import stdtridf  # noqa: PLC0415  (kept out of start-up)

    return float(stdtridf(0.5 + COVERAGE / 2.0, k))


def _component(part: object) -> Component:
    if not isinstance(part, dict):
        raise ValueError(f"budget_mm must be a list of objects (got {part!r})")  # noqa: TRY004
    u = _number(part, "u_mm")
    dof = math.inf if part.get("dof") is None else _positive(part, "dof")
    name, how = _text(part, "name"), _text(part, "how")
    return Component(name, u, dof, how, common=part.get("common", True) is not False)


def _check(told: object) -> Check:
    if not (isinstance(told, dict) and told.get("outcome") in get_args(Outcome)):
        raise ValueError(f"a check has an outcome pass, warn or fail (got {told!r})")
    code, message, source = (_text(told, key) for key in ("code", "message", "source"))
    return Check(code, told["outcome"], message, source)


def _reason(told: object) -> Refusal:
    if not isinstance(told, dict):
        raise ValueError(f"reasons must be a list of objects (got {told!r})")  # noqa: TRY004
    return Refusal(_text(told, "code"), _text(told, "message"))


def _agrees(record: Record, key: str, value: float) -> None:
    """A figure that follows from others must be the one that is written down."""
    if record.get(key) is None:
        return
    written = _number(record, key)
    if not math.isclose(written, value, rel_tol=_SAME):
        raise ValueError(
            f"{key} is {written:.7g}, but {value:.7g} follows from the rest of the line; "
            f"measure the photo again"
        )


def _positive(record: Record, key: str) -> float:
    value = _number(record, key)
    if value <= 0.0:
        raise ValueError(f"{key} must be above 0 (got {value!r})")
    return value


def _number(record: Record, key: str) -> float:
    value = record.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key} must be a number (got {value!r})")
    return float(value)


def _day(record: Record, key: str) -> date | None:
    value = record.get(key)
    if value is None:
        return None
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError(f"{key} must be a day like 2026-05-01 (got {value!r})") from None


def _list(record: Record, key: str) -> Iterable[object]:
    value = record.get(key)
    if value is None:
        return ()
    if not isinstance(value, list):
        raise ValueError(f"{key} must be a list (got {value!r})")  # noqa: TRY004
    return value


def _text(record: Record, key: str) -> str:
    value = record.get(key)
    return value if isinstance(value, str) else ""


def file_name(photo: str) -> str:
    """Last part of a path of any system: results travel from Windows to Linux and back."""
    return photo.replace("\\", "/").rsplit("/", 1)[-1]
