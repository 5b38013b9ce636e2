"""``rimread report``: a test report to be signed, as HTML or PDF."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import typer

from rimread import whole
from rimread.cli import _report_options as own
from rimread.cli._indents import held_against, indents_from, results_from, rules_from
from rimread.cli._io import REFUSED, say, speaking, telling, writable
from rimread.cli._options import Average, Rules, Way, date_of
from rimread.cli._series import way_by

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.hardness import RuleSet, Verification
    from rimread.refusal import Refusal
    from rimread.report.blocks import Picture
    from rimread.report.model import ByEye, Job, TestReport
    from rimread.report.results import Result
    from rimread.scale.model import Scale

_SQLITE = b"SQLite format 3\0"


def report(
    results: own.Results,
    out: own.Out,
    lab: own.Lab = None,
    number: own.Number = "",
    part: own.Part = "",
    heat: own.Heat = "",
    location: own.Location = "",
    order: own.Order = "",
    customer: own.Customer = "",
    grade: own.Grade = "",
    material: own.Material = None,
    requirement: own.Requirement = "",
    edition: own.Edition = "",
    on: own.On = None,
    operator: own.Operator = "",
    temperature: own.Temperature = None,
    machine: own.Machine = "",
    remarks: own.Remarks = "",
    scale: own.Scale = None,
    photos: own.Photos = None,
    overlays: own.Overlays = None,
    block_log: own.BlockLog = None,
    block: own.Block = None,
    on_block: own.OnBlock = None,
    way: own.Way = None,
    convert: own.Convert = None,
    table: own.Table = "iso-18265-a1",
    human: own.Human = None,
    entry: own.Entry = None,
    photo: own.Photo = None,
    since: own.Written = None,
    until: own.Written = None,
    series: own.Series = None,
    average: own.Average = "all",
    rules: Rules = "iso",
    paper: own.Paper = "a4",
    font: own.Font = None,
) -> None:
    """Write a test report to be looked through, completed and signed.

    \b
      rimread measure job-17/*.jpg --scale scope.toml --test 10/3000 --json > job-17.jsonl
      rimread report job-17.jsonl --scale scope.toml --out job-17.html --lab lab.toml \\
          --part "shaft 7" --heat K4711 --edition "ISO 6506-1:2014" --on 2026-11-25

    All results are indents of one test; their mean is the result. What is not given stays a blank
    line to be filled in by hand. From a ledger come the entries that still count, people's readings
    with them. A PDF needs the extra: pip install "rimread[report]".

    The report says what was measured. A qualified person decides, and signs.

    Exit codes: 0 written; 1 written, but a photo was refused or a check failed; 2 wrong use,
    nothing written.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        from rimread.report.model import Job  # noqa: PLC0415

        job = Job(
            number=number, part=part, heat=heat, location=location, order=order, customer=customer,
            grade=grade, requirement=requirement, edition=edition, operator=operator,
            machine=machine, remarks=remarks, material=material, on=date_of(on),
            temperature_c=temperature,
        )  # fmt: skip
        asked = _Asked(frozenset(entry or ()), photo, series, date_of(since), date_of(until))
        files = _Files(
            lab=lab, scales=scale or (), photos=photos, overlays=overlays, block_log=block_log,
            block=block, on_block=on_block or (), human=human,
        )  # fmt: skip
        writable("--out", out, ".html", ".pdf")
        made = _made(results, asked, job, files, _How(rules, average, way, convert or (), table))
        _write(made, out, paper, font)
        _closing(made, out)
    if made.failed or made.refused:
        raise typer.Exit(REFUSED)


_OF_DAYS = frozenset({"block-of-the-day", "photo-date", "test-date"})
"""Checks that warn of a slip in the words of the call, rather than of the test."""


@dataclass(frozen=True, slots=True)
class _Files:
    """What is read beside the results."""

    lab: Path | None
    scales: Sequence[Path]
    photos: Path | None
    overlays: Path | None
    block_log: Path | None
    block: Path | None
    on_block: Sequence[str]
    human: Path | None


@dataclass(frozen=True, slots=True)
class _How:
    """How the result is made of the indents."""

    rules: str
    average: Average
    way: Way | None
    convert_to: Sequence[str]
    table: str


def _made(word: str, asked: _Asked, job: Job, files: _Files, how: _How) -> TestReport:
    from rimread.hardness import read_daily  # noqa: PLC0415
    from rimread.report.certificate import report_from  # noqa: PLC0415
    from rimread.report.lab import Lab, read_lab  # noqa: PLC0415
    from rimread.scale import read_scale  # noqa: PLC0415

    rules = rules_from(how.rules)
    results, eyes = _read(word, asked)
    scales = tuple(read_scale(path) for path in files.scales)
    return report_from(
        results,
        job,
        lab=Lab() if files.lab is None else read_lab(files.lab),
        rules=rules,
        policy=how.average,
        scales=scales,
        daily=None if files.block_log is None else read_daily(files.block_log),
        verification=_verification(files.block, files.on_block, job.on, rules, results),
        way=way_by(how.way, block=files.block is not None),
        convert_to=how.convert_to,
        table=how.table,
        by_eye=(*eyes, *(() if files.human is None else _by_eye(files.human))),
        pictures=_pictures(results, scales, files.photos, files.overlays),
        made_on=date.today(),  # noqa: DTZ011  (the lab's own calendar)
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    """Which entries of a ledger."""

    numbers: frozenset[int]
    photo: str | None
    series: str | None
    since: date | None
    until: date | None

    def has(self, number: int, record: Mapping[str, Any]) -> bool:
        """Whether an entry is of the numbers and the series."""
        from rimread.ledger.record import series_of  # noqa: PLC0415

        meant = not self.numbers or number in self.numbers
        return meant and self.series in (None, series_of(record))


_ALL = _Asked(frozenset(), None, None, None, None)
_Read = tuple[tuple["Result", ...], tuple["ByEye", ...]]


def _read(word: str, asked: _Asked) -> _Read:
    """Results, and readings by eye where a ledger has them."""
    if "://" in word or _is_sqlite(word):
        return _from_ledger(word, asked)
    if asked != _ALL:
        raise ValueError(
            "--entry, --photo, --series, --since and --until choose from a ledger, not a file"
        )
    return results_from(word), ()


def _is_sqlite(word: str) -> bool:
    path = Path(word)
    if word == "-" or not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(len(_SQLITE)) == _SQLITE


def _from_ledger(where: str, asked: _Asked) -> _Read:
    """Entries that count, none that was corrected or withdrawn since."""
    from rimread.ledger import Filter, open_ledger  # noqa: PLC0415
    from rimread.report.model import ByEye  # noqa: PLC0415
    from rimread.report.results import result_from  # noqa: PLC0415

    which = Filter(photo=asked.photo, since=asked.since, until=asked.until, current=True)
    results: list[Result] = []
    eyes: list[ByEye] = []
    met: set[int] = set()
    on_block = 0
    with open_ledger(where, create=False) as book:
        for one in book.entries(which):
            if not asked.has(one.number, one.record):
                continue
            met.add(one.number)
            if _is_on_block(one.record):
                on_block += 1
                continue
            place = f"ledger entry {one.number}"
            result = result_from(
                one.record, place, entry=f"{place}, {one.hash[:12]}", reason=one.draft.reason
            )
            if one.draft.kind == "image" or result.by_hand is not None:
                results.append(result)
                eyes.extend(_read_before(one.record, result))
            elif result.indent is not None:
                d1, d2 = result.indent.d1_mm, result.indent.d2_mm
                eyes.append(ByEye(result.photo, one.draft.operator, d1, d2))
    if on_block:
        say(f"{on_block} of a block check are left out: those indents are not on the piece")
    if asked.numbers - met:
        lost = ", ".join(map(str, sorted(asked.numbers - met)))
        raise ValueError(f"{where} has no entry {lost} that was asked for and still counts")
    measured = {result.photo for result in results if result.indent is not None}
    for eye in eyes:
        if eye.photo not in measured:
            say(f"the reading of {eye.photo} by eye is left out: no entry measured that photo")
    return tuple(results), tuple(eye for eye in eyes if eye.photo in measured)


def _is_on_block(record: Mapping[str, Any]) -> bool:
    """Whether the bench kept it in a check on a reference block."""
    series = record.get("series")
    return isinstance(series, dict) and series.get("purpose") == "block"


def _read_before(record: Mapping[str, Any], result: Result) -> Iterator[ByEye]:
    """What an archive's list told of the photo."""
    from rimread.report.model import ByEye  # noqa: PLC0415

    told = record.get("earlier") or {}
    d1, d2 = (told.get(key) for key in ("d1_mm", "d2_mm"))
    if result.indent is not None and d1 and d2:
        yield ByEye(result.photo, "read before, by the list", d1, d2)


def _verification(
    block: Path | None,
    words: Sequence[str],
    day: date | None,
    rules: RuleSet,
    results: Sequence[Result],
) -> Verification | None:
    if block is None and not words:
        return None
    if block is None or not words or day is None:
        raise ValueError("a block needs all three: --block, --on-block and --on")
    from rimread.hardness import read_block  # noqa: PLC0415

    told = read_block(block)
    given = indents_from(words, told.test)
    of_piece = frozenset(result.sha256 for result in results if result.sha256)
    return held_against(told, given, told.test, day=day, rules=rules, of_piece=of_piece)


def _by_eye(path: Path) -> tuple[ByEye, ...]:
    from rimread.report.model import ByEye  # noqa: PLC0415
    from rimread.table import Problem, open_table  # noqa: PLC0415

    readings = []
    numeric = {"d1": "mm", "d2": "mm"}
    table = open_table(path, required=("photo", *numeric), optional=("operator",), numeric=numeric)
    for row in table.rows():
        if isinstance(row, Problem):
            raise ValueError(f"{path} {row}")  # noqa: TRY004  (a line of a file)
        d1, d2 = row.numbers["d1"], row.numbers["d2"]
        if d1 is None or d2 is None or min(d1, d2) <= 0.0:
            raise ValueError(f"{path} line {row.line}: diameters must be above 0 mm")
        readings.append(ByEye(row.texts["photo"], row.texts["operator"], d1, d2))
    return tuple(readings)


def _pictures(
    results: Sequence[Result], scales: Sequence[Scale], photos: Path | None, overlays: Path | None
) -> tuple[Picture | Refusal, ...]:
    from rimread.report.pictures import pictures_from_files, pictures_from_photos  # noqa: PLC0415

    for folder in (photos, overlays):
        if folder is not None and not folder.is_dir():
            raise ValueError(f"{folder} is no folder")
    if overlays is not None:
        return pictures_from_files(results, overlays)
    return pictures_from_photos(results, scales, photos)


def _write(made: TestReport, out: Path, paper: Literal["a4", "letter"], font: Path | None) -> None:
    from rimread.report.layout import page_of  # noqa: PLC0415

    page = page_of(made)
    if out.suffix.lower() == ".html":
        from rimread.report.page import html_of  # noqa: PLC0415

        whole.write(out, html_of(page).encode())
        return
    try:
        from rimread.report.pdf import pdf_of  # noqa: PLC0415
    except ModuleNotFoundError as error:
        msg = f'a PDF needs {error.name}: pip install "rimread[report]"; HTML needs nothing more'
        raise ValueError(msg) from error
    data, lacking = pdf_of(page, on=made.made_on, paper=paper, font=font)
    whole.write(out, data)
    if lacking:
        say(
            f"no font at hand has {' '.join(lacking)}: written as numbers like "
            f"[U+{ord(lacking[0]):04X}]; give a font with --font, or write HTML"
        )


def _closing(made: TestReport, out: Path) -> None:
    """On standard error what the person must look at before signing."""
    from rimread.report.layout import missing_pictures  # noqa: PLC0415
    from rimread.report.text import CAUTION  # noqa: PLC0415

    with telling():
        print(f"{out}: {made.series.designation}, indents: {len(made.results)}")
    for refused in made.refused:
        say(f"{refused.name} was refused when it was measured and is listed without a number")
    for code in sorted({c.code for _, c in made.all_checks if c.outcome == "fail"}):
        say(f"the check {code} failed: under that rule the result does not count")
    for check in made.checks:
        if check.code in _OF_DAYS and check.outcome == "warn":
            say(check.message)
    for reason, indents in missing_pictures(made).items():
        say(f"no picture of {indents}: {reason}")
    say(CAUTION)
