"""``rimread watch``: measure pictures as another program drops them into a folder."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimread.cli._indents import rules_from
from rimread.cli._io import MISUSE, REFUSED, print_json, say, speaking

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from collections.abc import Iterator

    from rimread.hardness import RuleSet, TestCondition
    from rimread.ledger import Ledger
    from rimread.reading import Reading
    from rimread.refusal import Refusal
    from rimread.scale import Scale


def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where pictures arrive.")],
    scale: Annotated[
        Path, typer.Option(metavar="FILE.toml", help="Scale file from rimread calibrate.")
    ],
    test: Annotated[
        str, typer.Option(metavar="BALL/FORCE", help="Ball mm / force kgf [/ dwell s]: 10/3000.")
    ],
    ledger: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Ledger to write every reading to, file or URL."),
    ] = None,
    operator: Annotated[str, typer.Option(help="Who tests, for the ledger.")] = "",
    existing: Annotated[
        bool, typer.Option("--existing", help="Measure what lies there already, too.")
    ] = False,
    settle: Annotated[
        float,
        typer.Option(metavar="S", min=0.0, help="A file is whole when unchanged for so long."),
    ] = 1.0,
    idle: Annotated[
        float | None,
        typer.Option(metavar="S", min=0.0, help="Stop when nothing came for so long."),
    ] = None,
    rules: Annotated[str, typer.Option(help="iso, astm or a rules file (TOML).")] = "iso",
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object per picture, nothing else.")
    ] = False,
) -> None:
    """Measure each picture that arrives in a folder, until Ctrl-C.

    \b
      rimread watch incoming --scale scope.toml --test 10/3000 --ledger lab.db

    A file is left alone until it has stopped growing. A picture that is written anew is measured
    anew.

    Exit codes: 0 all measured and all checks passed or warned; 1 a picture was refused or failed a
    check; 2 wrong use or a picture that cannot be read. The others are still measured.
    """  # noqa: D301  (\b keeps the lines of the example)
    with speaking():
        from rimread.capture import arrivals  # noqa: PLC0415
        from rimread.hardness import parse_test  # noqa: PLC0415
        from rimread.scale import read_scale  # noqa: PLC0415

        known, condition, chosen = read_scale(scale), parse_test(test), rules_from(rules)
        coming = arrivals(folder, existing=existing, settle_s=settle, idle_s=idle)
        if not as_json:
            print(f"watching {folder} for pictures; Ctrl-C ends", file=sys.stderr, flush=True)
        book = None if ledger is None else _open(ledger)
        code = 0
        try:
            for path in _until_stopped(coming):
                code = max(code, _one(path, known, condition, chosen, book, operator, as_json))
        finally:
            if book is not None:
                book.close()
    raise typer.Exit(code)


def _open(where: str) -> Ledger:
    from rimread.ledger import open_ledger  # noqa: PLC0415

    return open_ledger(where)


def _until_stopped(coming: Iterator[Path]) -> Iterator[Path]:
    try:
        yield from coming
    except KeyboardInterrupt:
        say("stopped watching")


def _one(
    path: Path,
    scale: Scale,
    test: TestCondition,
    rules: RuleSet,
    book: Ledger | None,
    operator: str,
    as_json: bool,
) -> int:
    from rimread.ledger import Draft  # noqa: PLC0415
    from rimread.photo import PhotoError, read_photo  # noqa: PLC0415
    from rimread.reading import measure_photo, reading_json  # noqa: PLC0415
    from rimread.refusal import Refusal  # noqa: PLC0415

    sha256, result = None, None
    try:
        photo = read_photo(path)
        sha256, result = photo.sha256, measure_photo(photo, scale, test, rules=rules)
    except PhotoError as error:
        say(str(error))
        result = Refusal("unreadable", str(error))
    record = reading_json(str(path), sha256, result)
    if book is not None:
        book.append([Draft("image", record, operator=operator)])
    if as_json:
        print_json(record)
    else:
        _tell(path, result)
    if sha256 is None:
        return MISUSE
    return REFUSED if isinstance(result, Refusal) or result.failed else 0


def _tell(path: Path, result: Reading | Refusal) -> None:
    from rimread.refusal import Refusal  # noqa: PLC0415
    from rimread.report import text  # noqa: PLC0415

    if isinstance(result, Refusal):
        print(f"{path.name}  refused ({result.code}): {result.message}", flush=True)
        return
    mean = " ± ".join(text.in_step(result.diameters.mean_mm, result.diameters.budget.U))
    print(f"{path.name}  {mean} mm  {text.result(result)}", flush=True)
    for line in text.check_lines(result):
        print(f"    {line}", flush=True)
