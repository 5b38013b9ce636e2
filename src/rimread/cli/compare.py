"""``rimread compare``: people's readings held against the image."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimread import whole
from rimread.cli._indents import print_checks, rules_from
from rimread.cli._io import MISUSE, REFUSED, apart, print_json, say, speaking, telling, writable
from rimread.cli._job import Job, measured
from rimread.cli._options import Json, Rules

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.agreement import Comparison, HumanReading, ImageResult
    from rimread.hardness import TestCondition
    from rimread.table import Problem

_Readings = Annotated[
    Path,
    typer.Argument(
        metavar="READINGS.csv",
        help="Table with the columns photo, operator, d1, d2, and if known angle, trial, "
        "date, time, U, sha256.",
    ),
]
_Image = Annotated[
    Path | None,
    typer.Option(metavar="RESULTS.jsonl", help="Results of rimread measure --json."),
]
_Scale = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE.toml",
        help="Measure the photos now with this scale file, instead of --image.",
    ),
]
_Test = Annotated[
    str | None,
    typer.Option(
        metavar="BALL/FORCE",
        help="Ball mm / force kgf [/ dwell s]: 10/3000. [default: as in the results]",
    ),
]
_Resolution = Annotated[
    float | None,
    typer.Option(
        metavar="MM",
        help="Smallest step a person tells apart. [default: the step of the readings]",
    ),
]
_Scope = Annotated[
    float | None,
    typer.Option(
        metavar="PERCENT",
        help="Permitted error of the scope in % of d. [default: 0.5, ISO 6506-2]",
    ),
]
_Page = Annotated[
    Path | None,
    typer.Option(metavar="FILE.html", help="Write a page to read, print or send."),
]
_Figures = Annotated[
    Path | None, typer.Option(metavar="FOLDER", help="Write the figures as SVG and PNG here.")
]

_SCOPE_PERCENT = (0.02, 2.0)  # what a scope for this can be: own choice, the standard asks for 0.5


def compare(
    readings: _Readings,
    image: _Image = None,
    scale: _Scale = None,
    test: _Test = None,
    resolution: _Resolution = None,
    scope: _Scope = None,
    rules: Rules = "iso",
    page: _Page = None,
    figures: _Figures = None,
    as_json: Json = False,
) -> None:
    """Hold people's readings against the image and each other.

    \b
      rimread measure study/*.jpg --scale scope.toml --test 10/3000 --json > results.jsonl
      rimread compare readings.csv --image results.jsonl --page study.html
      rimread compare readings.csv --scale scope.toml --test 10/3000

    Tells for each person the mean difference, how repeats scatter and whether readings drift, in
    mm and in HBW. The image is taken at the angle the person read: d1 along the angle from the
    photo's x towards y, along x itself when there is no such column, and d2 at right angles.

    When everybody reads the same indents twice or more, a gauge study parts repeats, people and
    indents.

    Exit codes: 0 all lines used, no check failed; 1 a reading had no result to be held against or
    a person's mean normalised error is beyond 1; 2 wrong use or a line that cannot be read. The
    other lines are still used.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        from rimread.agreement import compare as hold  # noqa: PLC0415
        from rimread.agreement import read_human  # noqa: PLC0415
        from rimread.complaints import summed  # noqa: PLC0415
        from rimread.hardness import parse_test  # noqa: PLC0415

        _positive("--resolution", resolution)
        scope_rel = _scope_rel(scope)
        apart("--page", page, readings, image, scale)
        writable("--page", page, ".html")
        condition = None if test is None else parse_test(test)
        people, spoilt = read_human(readings)
        results, broken = _results(image, scale, condition, readings, people)
        study = hold(
            people,
            results,
            test=condition,
            resolution_mm=resolution,
            scope_rel=scope_rel,
            rules=rules_from(rules),
        )
        for path, problems in ((readings, spoilt), (image, broken), (readings, study.unmatched)):
            for sentence in summed(problems):
                say(f"{path}: {sentence}")
        with telling():
            if as_json:
                _print_json(study, spoilt)
            else:
                _print(study)
        _write(study, page, figures, readings.name)
    if spoilt or broken:
        raise typer.Exit(MISUSE)
    if study.failed or study.unmatched:
        raise typer.Exit(REFUSED)


def _positive(option: str, value: float | None) -> None:
    if value is not None and not 0.0 < value < float("inf"):
        raise ValueError(f"{option} must be above 0 (got {value:g})")


def _scope_rel(percent: float | None) -> float | None:
    """Share of d; a share given for percent, or percent of something else, is none of a scope."""
    low, high = _SCOPE_PERCENT
    if percent is None:
        return None
    if not low <= percent <= high:
        raise ValueError(
            f"--scope is in % of d and lies in {low:g} to {high:g}: write 0.5 for 0.5 %, a share "
            f"of 0.005 (got {percent:g})"
        )
    return percent / 100.0


# -- the image's side -----------------------------------------------------------------------------


def _results(
    image: Path | None,
    scale: Path | None,
    test: TestCondition | None,
    readings: Path,
    people: list[HumanReading],
) -> tuple[list[ImageResult], list[Problem]]:
    from rimread.agreement import read_results  # noqa: PLC0415

    if (image is None) == (scale is None):
        raise ValueError("say either --image RESULTS.jsonl or --scale FILE.toml")
    if image is not None:
        return read_results(image)
    if test is None:
        raise ValueError("measuring the photos needs --test, like 10/3000")
    assert scale is not None  # noqa: S101  (one of the two is given)
    return list(_measured(readings.parent, people, scale, test)), []


def _measured(
    folder: Path, people: list[HumanReading], scale_file: Path, test: TestCondition
) -> Iterator[ImageResult]:
    """Each photo of the table measured once; paths count from the table's folder."""
    from rimread.agreement import image_result  # noqa: PLC0415
    from rimread.reading import reading_json  # noqa: PLC0415
    from rimread.scale import read_scale  # noqa: PLC0415

    job = Job(read_scale(scale_file), test, rules_from("iso"), tone=None, on=None)
    for name in dict.fromkeys(reading.photo for reading in people):
        seen = measured(folder / name, job)
        yield image_result(reading_json(name, seen.sha256, seen.result))


# -- what people see ------------------------------------------------------------------------------


def _print(study: Comparison) -> None:
    from rimread.agreement import words  # noqa: PLC0415
    from rimread.report.text import CAUTION  # noqa: PLC0415

    for line in words.about_study(study):
        print(line)
    _print_people(study)
    for person in study.operators:
        print(f"\n{person.name}")
        for line in words.about_operator(person, study):
            print(f"  {line}")
    print()
    for line in words.about_gauge(study):
        print(line)
    told = [check for check in study.all_checks if check.outcome != "pass"]
    if told:
        print()
    print_checks(told)
    print(f"\n{words.NOT_A_JUDGE}\n{CAUTION}")


def _print_people(study: Comparison) -> None:
    wide = max(8, *(len(person.name) for person in study.operators))
    print(
        f"\n{'operator':{wide}}  {'readings':>8}  {'mean difference mm':>18}  "
        f"{'repeats s mm':>12}  {'mean E_n':>8}  {'beyond 1':>8}"
    )
    for person in study.operators:
        repeats = "-" if person.repeatability is None else f"{person.repeatability.value:.4f}"
        print(
            f"{person.name:{wide}}  {len(person.pairs):8}  {person.bias.value:+18.4f}  "
            f"{repeats:>12}  {person.mean_e_n:+8.2f}  {person.beyond:8}"
        )


def _print_json(study: Comparison, spoilt: list[Problem]) -> None:
    from rimread.agreement.record import comparison_json  # noqa: PLC0415

    lines = [{"line": problem.line, "message": problem.message} for problem in spoilt]
    print_json(comparison_json(study) | {"unreadable": lines})


def _write(study: Comparison, page: Path | None, figures: Path | None, title: str) -> None:
    if figures is not None:
        from rimread.agreement.figures import save_figures  # noqa: PLC0415

        save_figures(study, figures)
    if page is not None:
        from rimread.agreement.page import page_html  # noqa: PLC0415

        whole.write(page, page_html(study, title).encode())
