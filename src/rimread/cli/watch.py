"""``rimread watch``: measure pictures as another program drops them into a folder."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from rimread.budget import in_step
from rimread.cli._book import Kept, Wishes, keeping
from rimread.cli._io import print_json, quiet, shown, speaking, told, until_stopped
from rimread.cli._job import Seen, job_of, measured
from rimread.cli._options import Json, Rules, ScaleFile, Test

_Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Where pictures arrive.")]
_Ledger = Annotated[
    str | None,
    typer.Option(metavar="FILE", help="Ledger to write every reading to, file or URL."),
]
_Operator = Annotated[str, typer.Option(help="Who tests, for the ledger.")]
_Existing = Annotated[
    bool, typer.Option("--existing", help="Measure what lies there already, too.")
]
_Settle = Annotated[
    float,
    typer.Option(metavar="S", min=0.0, help="A file is whole when unchanged for so long."),
]
_Idle = Annotated[
    float | None,
    typer.Option(metavar="S", min=0.0, help="Stop when nothing came for so long."),
]


def watch(
    folder: _Folder,
    scale: ScaleFile,
    test: Test,
    ledger: _Ledger = None,
    operator: _Operator = "",
    existing: _Existing = False,
    settle: _Settle = 1.0,
    idle: _Idle = None,
    rules: Rules = "iso",
    as_json: Json = False,
) -> None:
    """Measure each picture that arrives in a folder, until Ctrl-C.

    \b
      rimread watch incoming --scale scope.toml --test 10/3000 --ledger lab.db

    A file is left alone until it has stopped growing; one that stays empty for ten settling times
    is told as unreadable. A picture that is written anew is measured anew.

    Exit codes: 0 all measured and all checks passed or warned; 1 a picture was refused or failed a
    check; 2 wrong use or a picture that cannot be read. The others are still measured.
    """  # noqa: D301  (\b keeps the lines of the example)
    with speaking():
        from rimread.capture import arrivals  # noqa: PLC0415

        job = job_of(scale, test, rules, tone=None, on=None)
        coming = arrivals(folder, existing=existing, settle_s=settle, idle_s=idle)
        wishes = Wishes(ledger, (), operator, None, "")
        code = 0
        with (
            keeping(wishes, 1, job.test, job.scale, scale) as keeper,
            until_stopped("stopped watching"),
        ):
            if not as_json:
                with quiet(sys.stderr):
                    print(f"watching {folder} for pictures; Ctrl-C ends", file=sys.stderr)
            for path in coming:
                seen = measured(path, job)
                kept = keeper.keep(path, seen.sha256, seen.result)
                code = max(code, seen.exit_code)
                if not told(_print_record if as_json else _tell, seen, kept) and ledger is None:
                    break
    raise typer.Exit(code)


def _print_record(seen: Seen, kept: Kept) -> None:
    from rimread.reading import reading_json  # noqa: PLC0415

    print_json(reading_json(str(seen.path), seen.sha256, seen.result) | kept.json())


def _tell(seen: Seen, kept: Kept) -> None:
    from rimread.refusal import Refusal  # noqa: PLC0415
    from rimread.report import text  # noqa: PLC0415

    path, result = seen.path, seen.result
    if isinstance(result, Refusal):
        print(shown(f"{path.name}  refused ({result.code}): {result.message}"), flush=True)
        lines: tuple[str, ...] = ()
    else:
        mean = " ± ".join(in_step(result.diameters.mean_mm, result.diameters.budget.U))
        print(shown(f"{path.name}  {mean} mm  {text.result(result)}"), flush=True)
        lines = tuple(text.check_lines(result))
    for line in (*lines, *kept.lines()):
        print(f"    {line}", flush=True)
