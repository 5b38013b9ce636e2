"""The command line: one file per verb, thin over the library."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from rimread import __version__
from rimread.cli import (
    bench,
    calibrate,
    capture,
    compare,
    convert,
    hardness,
    ledger,
    measure,
    plan,
    remeasure,
    report,
    validate,
    verify,
    watch,
)
from rimread.cli._io import line_safe
from rimread.cli._verb import Verb, Verbs

__all__ = ["app"]

app = typer.Typer(
    name="rimread",
    cls=Verbs,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

for _verb in (
    calibrate.calibrate,
    measure.measure,
    remeasure.remeasure,
    compare.compare,
    hardness.hardness,
    plan.plan,
    validate.validate,
    verify.verify,
    convert.convert,
    report.report,
    capture.capture,
    watch.watch,
    bench.bench,
):
    app.command()(_verb)
app.add_typer(ledger.ledger)
for _known in (*app.registered_commands, *ledger.ledger.registered_commands):
    _known.cls = Verb


def _version(asked: bool) -> None:
    if asked:
        print(f"rimread {__version__}", flush=True)
        raise typer.Exit


@app.callback()
def rimread(
    _show: Annotated[
        bool,
        typer.Option(
            "--version", callback=_version, is_eager=True, help="Print the version and stop."
        ),
    ] = False,
) -> None:
    """Read the rim of Brinell indents in photos.

    A photo of a stage micrometer gives the scale, a photo of the indent through the same
    objective gives two diameters and the hardness, each with its uncertainty.

    \b
      rimread calibrate stage.jpg --division 0.1 --out scope.toml
      rimread measure indent.jpg --scale scope.toml --test 10/3000

    Exit codes: 0 all well; 1 something was refused or failed a check; 2 wrong use or a file that
    cannot be read.

    A hardness can decide whether a part holds. The standard in force, a verified machine and a
    qualified person decide that, not this program.
    """  # noqa: D301  (\b keeps the lines of the example)
    line_safe(sys.stdout)
    line_safe(sys.stderr)
