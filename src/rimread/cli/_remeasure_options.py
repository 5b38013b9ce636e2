"""Options of ``rimread remeasure`` in words of its own, in the order of its help.

Those it shares with other verbs are in `_options`.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from rimread.cli._options import day

Source = Annotated[
    Path,
    typer.Argument(
        metavar="FOLDER|MANIFEST.csv",
        help="All photos in and below a folder, or those a CSV file names in its column photo.",
    ),
]
Ledger = Annotated[
    str,
    typer.Option(metavar="LEDGER", help="File or postgresql://user@host/database; made anew."),
]
Out = Annotated[
    Path, typer.Option(metavar="FILE", help="Table of results: .csv, .jsonl or .parquet.")
]
Test = Annotated[
    str, typer.Option(metavar="BALL/FORCE", help="Where the manifest names none: 10/3000.")
]
Scale = Annotated[
    Path | None, typer.Option(metavar="FILE.toml", help="One scale file for all photos.")
]
Scales = Annotated[
    Path | None,
    typer.Option(metavar="FOLDER", help="Scale files, chosen by the photo's size and the label."),
]
Run = Annotated[
    str,
    typer.Option(
        metavar="NAME",
        help="Start again under the same name to go on, under a new one to measure all anew. "
        "[default: the path of the source]",
        show_default=False,
    ),
]
Search = Annotated[
    list[Path] | None,
    typer.Option(
        metavar="FOLDER",
        help="Where photos that moved are found by their hash, repeated. [the source's folder]",
        show_default=False,
    ),
]
Pull = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="List of pieces worth pulling from the drawer."),
]
Plot = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Old against new, .png, .svg or .pdf.")
]
OldStep = Annotated[
    float,
    typer.Option(metavar="MM", min=1e-6, help="Step of earlier readings that have no U."),
]
On = Annotated[
    datetime | None,
    day("Day of photos that neither the manifest nor the camera dates. [default: today]"),
]
Rules = Annotated[str, typer.Option(help="iso, astm or a rules file (TOML).")]
Workers = Annotated[
    int | None, typer.Option(metavar="N", min=1, help="Processes. [default: all cores]")
]
Scheduler = Annotated[
    str | None,
    typer.Option(metavar="ADDRESS", help="Work on a Dask cluster that sees the same files."),
]
Json = Annotated[bool, typer.Option("--json", help="Print the counts as JSON.")]
