"""``rimread report``: a test report to be signed, as HTML or PDF."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from rimread.cli._io import REFUSED, say, speaking
from rimread.cli._options import Average, Rules, Way, day

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.hardness import RuleSet, TestCondition, Verification
    from rimread.refusal import Refusal
    from rimread.report.blocks import Picture
    from rimread.report.certificate import ByEye, TestReport
    from rimread.report.results import Result
    from rimread.scale.model import Scale

_KINDS = (".html", ".pdf")
_SQLITE = b"SQLite format 3\0"


def report(
    results: Annotated[
        str,
        typer.Argument(
            metavar="RESULTS.jsonl|LEDGER",
            help="Results of rimread measure --json (- for standard input), or a ledger: a file or "
            "postgresql://user@host/database.",
            show_default=False,
        ),
    ],
    out: Annotated[
        Path, typer.Option(metavar="FILE", help="What to write, .html or .pdf; is replaced.")
    ],
    lab: Annotated[
        Path | None,
        typer.Option(metavar="LAB.toml", help="Name, address, logo, machine of the laboratory."),
    ] = None,
    number: Annotated[str, typer.Option(help="Number of the report.")] = "",
    part: Annotated[str, typer.Option(help="What was tested.")] = "",
    heat: Annotated[str, typer.Option(help="Heat or lot.")] = "",
    location: Annotated[str, typer.Option(help="Where on the part the indents are.")] = "",
    order: Annotated[str, typer.Option(help="Order.")] = "",
    customer: Annotated[str, typer.Option(help="Who asked for the test.")] = "",
    grade: Annotated[str, typer.Option(help="Material as the customer names it.")] = "",
    material: Annotated[
        str | None, typer.Option(help="Material group, see rimread plan; conversions need it.")
    ] = None,
    requirement: Annotated[
        str, typer.Option(help="What the hardness must be; printed, not judged.")
    ] = "",
    edition: Annotated[
        str, typer.Option(help='Standard and edition in force, like "ISO 6506-1:2014".')
    ] = "",
    on: Annotated[datetime | None, day("Day of the test.")] = None,
    operator: Annotated[str, typer.Option(help="Who made and read the indents.")] = "",
    temperature: Annotated[
        float | None, typer.Option(metavar="°C", help="During the test.")
    ] = None,
    machine: Annotated[str, typer.Option(help="Machine, where it is not the laboratory's.")] = "",
    remarks: Annotated[
        str, typer.Option(help="Deviations, optional operations, what may have affected it.")
    ] = "",
    scale: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE.toml", help="Scale file of the photos, repeated if several."),
    ] = None,
    photos: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Where the photos are. [default: where they were]"),
    ] = None,
    overlays: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Take pictures of measure --overlay instead."),
    ] = None,
    block_log: Annotated[
        Path | None,
        typer.Option(metavar="FILE.csv", help="Daily log of rimread verify; needs --on."),
    ] = None,
    block: Annotated[
        Path | None,
        typer.Option(metavar="BLOCK.toml", help="Block for the uncertainty, see --way."),
    ] = None,
    block_results: Annotated[
        Path | None,
        typer.Option(metavar="RESULTS.jsonl", help="Results of the indents on that block."),
    ] = None,
    way: Annotated[
        Way,
        typer.Option(
            help="How the machine gets into U: by force and ball, by its permissible error as the "
            "block passed, or with the block's error taken off."
        ),
    ] = "parts",
    convert: Annotated[
        list[str] | None, typer.Option(help="hv, hrc, hrb or rm (MPa), repeated.")
    ] = None,
    table: Annotated[
        str, typer.Option(help="Table to convert by, see rimread convert.")
    ] = "iso-18265-a1",
    human: Annotated[
        Path | None,
        typer.Option(
            metavar="READINGS.csv", help="Readings by eye: columns photo, operator, d1, d2."
        ),
    ] = None,
    entry: Annotated[
        list[int] | None, typer.Option(metavar="N", help="Of a ledger: these entries, repeated.")
    ] = None,
    photo: Annotated[
        str | None, typer.Option(metavar="PART", help="Of a ledger: part of the photos' path.")
    ] = None,
    since: Annotated[datetime | None, day("Of a ledger: written (UTC).")] = None,
    until: Annotated[datetime | None, day("Of a ledger: written (UTC).")] = None,
    series: Annotated[
        str | None, typer.Option(metavar="ID", help="Of a ledger: this series of the bench page.")
    ] = None,
    policy: Annotated[
        Average,
        typer.Option(help="Which indents go into the mean; to drop two is no rule of a standard."),
    ] = "all",
    rules: Rules = "iso",
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="Of a PDF.")] = "a4",
    font: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.ttf", help="Font for letters of a PDF that the built-in one lacks."
        ),
    ] = None,
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
    job_words = {
        "number": number, "part": part, "heat": heat, "location": location, "order": order,
        "customer": customer, "grade": grade, "requirement": requirement, "edition": edition,
        "operator": operator, "machine": machine, "remarks": remarks,
    }  # fmt: skip
    with speaking():
        from rimread.cli._indents import rules_from  # noqa: PLC0415
        from rimread.hardness import read_daily  # noqa: PLC0415
        from rimread.report.certificate import Job, report_from  # noqa: PLC0415
        from rimread.report.lab import Lab, read_lab  # noqa: PLC0415
        from rimread.scale import read_scale  # noqa: PLC0415

        if out.suffix.lower() not in _KINDS:
            raise ValueError(f"a report is written as .html or .pdf (got {str(out)!r})")
        day = None if on is None else on.date()
        chosen = rules_from(rules)
        asked = _Asked(
            frozenset(entry or ()),
            photo,
            series,
            None if since is None else since.date(),
            None if until is None else until.date(),
        )
        read, eyes = _read(results, asked)
        scales = tuple(read_scale(path) for path in scale or ())
        made = report_from(
            read,
            Job(**job_words, material=material, on=day, temperature_c=temperature),
            lab=Lab() if lab is None else read_lab(lab),
            rules=chosen,
            policy=policy,
            scales=scales,
            daily=None if block_log is None else read_daily(block_log),
            verification=_verification(block, block_results, day, chosen),
            way=way,
            convert_to=convert or (),
            table=table,
            by_eye=(*eyes, *(() if human is None else _by_eye(human))),
            pictures=_pictures(read, scales, photos, overlays),
            made_on=date.today(),  # noqa: DTZ011  (the lab's own calendar)
        )
        _write(made, out, paper, font)
    _closing(made, out)
    if made.failed or made.refused:
        raise typer.Exit(REFUSED)


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
        told = record.get("series")
        of = told.get("id") if isinstance(told, dict) else None
        return (not self.numbers or number in self.numbers) and self.series in (None, of)


_ALL = _Asked(frozenset(), None, None, None, None)
_Read = tuple[tuple["Result", ...], tuple["ByEye", ...]]


def _read(word: str, asked: _Asked) -> _Read:
    """Results, and readings by eye where a ledger has them."""
    from rimread.report.results import read_text, results_from_lines  # noqa: PLC0415

    if "://" in word or _is_sqlite(word):
        return _from_ledger(word, asked)
    if asked != _ALL:
        raise ValueError(
            "--entry, --photo, --series, --since and --until choose from a ledger, not a file"
        )
    text = sys.stdin.read() if word == "-" else read_text(Path(word))
    return results_from_lines(text, "standard input" if word == "-" else word), ()


def _is_sqlite(word: str) -> bool:
    path = Path(word)
    if word == "-" or not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(len(_SQLITE)) == _SQLITE


def _from_ledger(where: str, asked: _Asked) -> _Read:
    """Entries that count, none that was corrected or withdrawn since."""
    from rimread.ledger import Filter, open_ledger  # noqa: PLC0415
    from rimread.report.certificate import ByEye  # noqa: PLC0415
    from rimread.report.results import result_from  # noqa: PLC0415

    which = Filter(photo=asked.photo, since=asked.since, until=asked.until, current=True)
    results: list[Result] = []
    eyes: list[ByEye] = []
    met: set[int] = set()
    with open_ledger(where, create=False) as book:
        for one in book.entries(which):
            if not asked.has(one.number, one.record):
                continue
            met.add(one.number)
            place = f"ledger entry {one.number}"
            result = result_from(
                one.record, place, entry=f"{place}, {one.hash[:12]}", reason=one.draft.reason
            )
            if one.draft.kind == "image" or result.by_hand is not None:
                results.append(result)
            elif result.indent is not None:
                d1, d2 = result.indent.d1_mm, result.indent.d2_mm
                eyes.append(ByEye(result.photo, one.draft.operator, d1, d2))
    if asked.numbers - met:
        lost = ", ".join(map(str, sorted(asked.numbers - met)))
        raise ValueError(f"{where} has no entry {lost} that was asked for and still counts")
    measured = {result.photo for result in results if result.indent is not None}
    for eye in eyes:
        if eye.photo not in measured:
            say(f"the reading of {eye.photo} by eye is left out: no entry measured that photo")
    return tuple(results), tuple(eye for eye in eyes if eye.photo in measured)


def _verification(
    block: Path | None, results: Path | None, day: date | None, rules: RuleSet
) -> Verification | None:
    if block is None and results is None:
        return None
    if block is None or results is None or day is None:
        raise ValueError("a block needs all three: --block, --block-results and --on")
    from rimread.hardness import read_block, series_from_indents, verify  # noqa: PLC0415
    from rimread.report.results import read_text, results_from_lines  # noqa: PLC0415

    told = read_block(block)
    indents = []
    for result in results_from_lines(read_text(results), str(results)):
        if result.indent is not None:
            _same_test(result, told.test)
            indents.append(result.indent)
    return verify(series_from_indents(indents, told.test), told, on=day, rules=rules)


def _same_test(result: Result, test: TestCondition) -> None:
    if result.test is not None and result.test.name != test.name:
        raise ValueError(
            f"{result.photo} was measured under {result.test.name}, the block holds for {test.name}"
        )


def _by_eye(path: Path) -> tuple[ByEye, ...]:
    from rimread.report.certificate import ByEye  # noqa: PLC0415
    from rimread.table import Problem, read_rows  # noqa: PLC0415

    readings = []
    for row in read_rows(
        path,
        required=("photo", "d1", "d2"),
        optional=("operator",),
        numeric={"d1": "mm", "d2": "mm"},
    ):
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

        out.write_text(html_of(page), encoding="utf-8", newline="\n")
        return
    try:
        from rimread.report.pdf import pdf_of  # noqa: PLC0415
    except ModuleNotFoundError as error:
        msg = f'a PDF needs {error.name}: pip install "rimread[report]"; HTML needs nothing more'
        raise ValueError(msg) from error
    data, lacking = pdf_of(page, on=made.made_on, paper=paper, font=font)
    out.write_bytes(data)
    if lacking:
        say(
            f"no font at hand has {' '.join(lacking)}: written as numbers like "
            f"[U+{ord(lacking[0]):04X}]; give a font with --font, or write HTML"
        )


def _closing(made: TestReport, out: Path) -> None:
    """On standard error what the person must look at before signing."""
    from rimread.report.layout import missing_pictures  # noqa: PLC0415
    from rimread.report.text import CAUTION  # noqa: PLC0415

    print(f"{out}: {made.series.designation}, indents: {len(made.results)}")
    for refused in made.refused:
        say(f"{refused.name} was refused when it was measured and is listed without a number")
    for code in sorted({c.code for _, c in made.all_checks if c.outcome == "fail"}):
        say(f"the check {code} failed: under that rule the result does not count")
    for reason, indents in missing_pictures(made).items():
        say(f"no picture of {indents}: {reason}")
    say(CAUTION)
