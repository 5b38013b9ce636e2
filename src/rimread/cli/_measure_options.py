"""Options of ``rimread measure`` in words of its own, in the order of its help.

Those it shares with other verbs are in `_options`.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from rimread.cli import _options as shared

Photos = Annotated[
    list[str],
    typer.Argument(
        metavar="PHOTO",
        help="Photos, each of one indent (of several: --all); patterns like *.jpg work.",
    ),
]
Every = Annotated[bool, typer.Option("--all", help="Measure every whole indent of each photo.")]
Overlay = Annotated[
    Path | None,
    typer.Option(metavar="FOLDER", help="Write each photo with the rim drawn over it here."),
]
On = Annotated[
    datetime | None,
    shared.day("Day the photos were taken, for the scale's validity. [default: today]"),
]
Budget = Annotated[bool, typer.Option("--budget", help="Show what makes up U.")]
Lay = Annotated[
    float | None,
    typer.Option(
        metavar="DEG",
        help="Direction of grinding marks or a cylinder's axis in the photo, from right "
        "downwards: does it explain an oval indent?",
    ),
]
Average = Annotated[
    shared.Average | None,
    typer.Option(
        help="Make one result of all indents: all, or drop-extremes (highest and lowest of "
        "five or more go). The same picture again counts once, and is named."
    ),
]
Block = Annotated[
    Path | None,
    typer.Option(metavar="FILE.toml", help="Reference block: its machine's part goes into U."),
]
OnBlock = Annotated[
    list[str] | None,
    typer.Option(metavar="PHOTO", help="Indent on that block: photo, D1,D2 or results; repeated."),
]
Way = Annotated[
    shared.Way | None,
    typer.Option(
        help="How force and ball get into U. [default: permissible-error with --block, else parts]"
    ),
]
Human = Annotated[
    list[str] | None,
    typer.Option(
        metavar="D1,D2", help="Diameters a person read in mm; repeated for further trials."
    ),
]
Operator = Annotated[str, typer.Option(metavar="NAME", help="Who reads or measures.")]
Ledger = Annotated[
    str | None,
    typer.Option(metavar="LEDGER", help="Keep it in a file or postgresql://user@host/name."),
]
Replaces = Annotated[
    int | None, typer.Option(metavar="N", help="Entry of the ledger that this one corrects.")
]
Reason = Annotated[str, typer.Option(metavar="TEXT", help="Why it is corrected.")]
