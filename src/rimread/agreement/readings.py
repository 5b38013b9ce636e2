"""People's readings from a table, the image's from ``rimread measure --json``."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from rimread.agreement.naming import indent_of, same_trial, whole_names
from rimread.dates import moment
from rimread.hardness import TestCondition, too_unequal
from rimread.names import Parts, folded, path_parts
from rimread.report.results import no_result, read_text, result_from, told_by_lines
from rimread.table import Problem, Row, open_table

__all__ = [
    "HumanReading",
    "ImageResult",
    "image_result",
    "read_human",
    "read_results",
    "resolution_of",
]

_REQUIRED = ("photo", "operator", "d1", "d2")
_OPTIONAL = ("angle", "trial", "date", "time", "U", "sha256")
_NUMERIC = {"d1": "mm", "d2": "mm", "angle": "deg", "U": "mm"}
_MANY = 8
"""Of readings to 0.05 mm so many end in 0 by chance in one of 250 cases."""


@dataclass(frozen=True, slots=True)
class HumanReading:
    """One indent read once by one person.

    Parameters
    ----------
    line : int
        Of the table.
    photo, operator : str
        As written.
    d1_mm, d2_mm : float
        Diameters read at `angle_deg` and at right angles to it.
    angle_deg : float
        Direction of d1 from the photo's x towards y; 0 when the table does not say.
    trial : str
        As written, "" when the table does not say.
    when : datetime or None
        Date and time, None when the table does not say or not in a form that is understood.
    U_mm : float or None
        Expanded uncertainty (k = 2) the person states for the mean, None when none is stated.
    undated : str
        Date and time as written, where they are not understood.
    sha256 : str
        Hash of the photo's file, "" when the table does not say.
    """

    line: int
    photo: str
    operator: str
    d1_mm: float
    d2_mm: float
    angle_deg: float = 0.0
    trial: str = ""
    when: datetime | None = None
    U_mm: float | None = None
    undated: str = field(default="", compare=False)
    sha256: str = ""

    @property
    def mean_mm(self) -> float:
        """Mean of the two diameters."""
        return (self.d1_mm + self.d2_mm) / 2.0


@dataclass(frozen=True, slots=True)
class ImageResult:
    """What the image said of one indent, refusals too.

    Parameters
    ----------
    photo : str
        As it was called when it was measured; ``plate.jpg #2`` for the second of its indents.
    refused : str
        Why there is no number; "" when there is one.
    d1_mm, d2_mm, angle_deg : float
        Axes of the rim ellipse and the direction of d1 from x towards y.
    U_mm : float
        Expanded uncertainty of the mean diameter.
    test : TestCondition or None
        None when the record does not say.
    failed : tuple of str
        Codes of the checks that failed when it was measured.
    sha256 : str
        Hash of the photo's file, "" when the record does not say.
    """

    photo: str
    refused: str
    d1_mm: float = math.nan
    d2_mm: float = math.nan
    angle_deg: float = math.nan
    U_mm: float = math.nan
    test: TestCondition | None = None
    failed: tuple[str, ...] = ()
    sha256: str = ""

    def at_angle(self, angle_deg: float) -> float:
        """Caliper width in mm along a direction, 2 sqrt(a² cos² + b² sin²)."""
        t = math.radians(angle_deg - self.angle_deg)
        return math.hypot(self.d1_mm * math.cos(t), self.d2_mm * math.sin(t))


def read_human(path: Path) -> tuple[list[HumanReading], list[Problem]]:
    """Readings of a table, and the lines that cannot be used.

    Columns: photo, operator, d1, d2, and if known angle, trial, date, time, U, sha256. A row
    repeated with the same photo, operator and trial is taken once, however they are spelt.

    Raises
    ------
    ValueError
        If a column is missing or there is not one line that can be used.
    OSError
        If the file cannot be read.
    """
    table = open_table(path, required=_REQUIRED, optional=_OPTIONAL, numeric=_NUMERIC)
    found = [_human(row) if isinstance(row, Row) else row for row in table.rows()]
    readings: list[HumanReading] = []
    problems = [one for one in found if isinstance(one, Problem)]
    for one in _first_of_each([one for one in found if isinstance(one, HumanReading)]):
        if isinstance(one, HumanReading):
            readings.append(one)
        else:
            problems.append(one)
    problems.sort(key=lambda problem: problem.line)
    if not readings:
        raise _nothing(path, "reading", problems)
    return readings, problems


def read_results(path: Path) -> tuple[list[ImageResult], list[Problem]]:
    """Results of a file of JSON lines, and the lines that are none.

    Raises
    ------
    ValueError
        If there is not one line that can be used.
    OSError
        If the file cannot be read.
    """
    results: list[ImageResult] = []
    problems: list[Problem] = []
    for line, told in told_by_lines(read_text(path, errors="replace")):
        if isinstance(told, Problem):
            problems.append(told)
            continue
        try:
            results.append(image_result(told))
        except (ValueError, OverflowError) as error:  # a number of hundreds of digits
            problems.append(no_result(line, str(error)))
    if not results:
        raise _nothing(path, "result", problems)
    return results, problems


def _nothing(path: Path, what: str, problems: list[Problem]) -> ValueError:
    why = f"; {problems[0]}" if problems else ""
    return ValueError(f"{path} holds no {what} that can be used{why}")


def image_result(record: object) -> ImageResult:
    """Result from one record of ``rimread measure --json``, proved as other verbs prove it.

    Raises
    ------
    ValueError
        If it is no such record, or its figures contradict each other.
    """
    if not isinstance(record, dict) or record.get("status") not in ("measured", "refused"):
        raise ValueError("status must be measured or refused")
    photo = str(record.get("photo") or "")
    several = record.get("indents")
    if isinstance(several, int) and several > 1:  # measure --all
        photo += f" #{record.get('indent')}"
    reasons = [str(r.get("message", r.get("code"))) for r in _objects(record, "reasons")]
    checks = _objects(record, "checks")
    proved = result_from(record, photo or "a photo without a name")
    sha256 = proved.sha256.casefold()
    if proved.indent is None:
        return ImageResult(photo, "; ".join(reasons) or "no reason given", sha256=sha256)
    angle, U = _number(record, "angle_deg"), _number(record, "U_mean_mm")
    if U <= 0.0:
        raise ValueError("U_mean_mm must be above 0")
    return ImageResult(
        photo=photo,
        refused="",
        d1_mm=proved.indent.d1_mm,
        d2_mm=proved.indent.d2_mm,
        angle_deg=angle,
        U_mm=U,
        test=proved.test,
        failed=tuple(str(check.get("code")) for check in checks if check.get("outcome") == "fail"),
        sha256=sha256,
    )


def _objects(record: dict[str, Any], key: str) -> list[dict[str, Any]]:
    """A list of JSON objects, empty where nothing is told."""
    found = record.get(key) or []
    if not (isinstance(found, list) and all(isinstance(one, dict) for one in found)):
        raise ValueError(f"{key} must be a list of objects (got {found!r})")
    return found


def _human(row: Row) -> HumanReading | Problem:
    d1, d2 = row.numbers["d1"], row.numbers["d2"]
    angle, U = row.numbers["angle"], row.numbers["U"]
    assert d1 is not None and d2 is not None  # noqa: S101, PT018  (both columns are required)
    if min(d1, d2) <= 0.0:
        return Problem(row.line, f"diameters must be above 0 mm (got {d1:g} and {d2:g})")
    if too_unequal(d1, d2):
        return Problem(
            row.line, f"d1 and d2 of an indent are nearly equal (got {d1:g} mm and {d2:g} mm)"
        )
    if U is not None and U <= 0.0:
        return Problem(row.line, f"U must be above 0 mm, or left empty (got {U:g} mm)")
    written = f"{row.texts['date']} {row.texts['time']}".strip()
    when = moment(written)
    return HumanReading(
        line=row.line,
        photo=row.texts["photo"],
        operator=" ".join(row.texts["operator"].split()),
        d1_mm=d1,
        d2_mm=d2,
        angle_deg=0.0 if angle is None else angle,
        trial=row.texts["trial"],
        when=when,
        U_mm=U,
        undated=written if when is None else "",
        sha256=row.texts["sha256"].casefold(),
    )


def _first_of_each(readings: Sequence[HumanReading]) -> Iterator[HumanReading | Problem]:
    """Readings as they come, a `Problem` in place of one whose photo, person and trial were read.

    Spellings are folded as where results are matched: what is one photo there is one photo here.
    """
    names = whole_names((reading.operator, reading.photo) for reading in readings)
    seen: dict[tuple[object, str, str], HumanReading] = {}
    for reading in readings:
        if not reading.trial:
            yield reading
            continue
        photo: tuple[str, str] | tuple[Parts, ...] = names[reading.operator, reading.photo]
        if reading.sha256:
            photo = (reading.sha256, indent_of(reading.photo))
        key = (photo, folded(reading.operator), same_trial(reading.trial))
        first = seen.setdefault(key, reading)
        yield reading if first is reading else _repeated(reading, first)


def _repeated(again: HumanReading, first: HumanReading) -> Problem:
    same = (again.d1_mm, again.d2_mm, again.angle_deg) == (
        first.d1_mm,
        first.d2_mm,
        first.angle_deg,
    )
    what = "repeats" if same else "contradicts"
    spelt = (
        ""
        if path_parts(again.photo) == path_parts(first.photo)
        else f", its photo is {first.photo!r}: write the folder of both if they are two photos"
    )
    return Problem(
        again.line,
        f"{what} line {first.line}, same photo, operator and trial {again.trial}; the first counts"
        f"{spelt}",
    )


def _number(record: Mapping[str, Any], key: str) -> float:
    value = record.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key} must be a number, not {value!r}")
    return float(value)


def resolution_of(readings: Iterable[HumanReading]) -> float:
    """Largest usual step in mm that all diameters are whole multiples of, at least 0.001 mm.

    A scope divided into 0.1 mm is estimated to half of that (ASTM A370, as quoted in a shop's
    procedure), and a few readings may end in 0 by chance: 0.1 mm is believed of `_MANY` diameters.
    """
    values = [d for r in readings for d in (r.d1_mm, r.d2_mm)]
    for step in (0.1, 0.05, 0.02, 0.01, 0.005, 0.002)[len(values) < _MANY :]:
        if all(abs(v / step - round(v / step)) < 1e-6 / step for v in values):
            return step
    return 0.001
