"""Options of ``rimread report`` in words of its own, in the order of its help.

Those it shares with other verbs are in `_options`.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

import typer

from rimread.cli import _options as shared

Results = Annotated[
    str,
    typer.Argument(
        metavar="RESULTS.jsonl|LEDGER",
        help="Results of rimread measure --json (- for standard input), or a ledger: a file or "
        "postgresql://user@host/database.",
        show_default=False,
    ),
]
Out = Annotated[
    Path, typer.Option(metavar="FILE", help="What to write, .html or .pdf; is replaced.")
]
Lab = Annotated[
    Path | None,
    typer.Option(metavar="LAB.toml", help="Name, address, logo, machine of the laboratory."),
]

# -- what no photo tells --------------------------------------------------------------------------

Number = Annotated[str, typer.Option(help="Number of the report.")]
Part = Annotated[str, typer.Option(help="What was tested.")]
Heat = Annotated[str, typer.Option(help="Heat or lot.")]
Location = Annotated[str, typer.Option(help="Where on the part the indents are.")]
Order = Annotated[str, typer.Option(help="Order.")]
Customer = Annotated[str, typer.Option(help="Who asked for the test.")]
Grade = Annotated[str, typer.Option(help="Material as the customer names it.")]
Material = Annotated[
    str | None, typer.Option(help="Material group, see rimread plan; conversions need it.")
]
Requirement = Annotated[str, typer.Option(help="What the hardness must be; printed, not judged.")]
Edition = Annotated[
    str, typer.Option(help='Standard and edition in force, like "ISO 6506-1:2014".')
]
On = Annotated[datetime | None, shared.day("Day of the test.")]
Operator = Annotated[str, typer.Option(help="Who made and read the indents.")]
Temperature = Annotated[float | None, typer.Option(metavar="°C", help="During the test.")]
Machine = Annotated[str, typer.Option(help="Machine, where it is not the laboratory's.")]
Remarks = Annotated[
    str, typer.Option(help="Deviations, optional operations, what may have affected it.")
]

# -- what the result rests on besides -------------------------------------------------------------

Scale = Annotated[
    list[Path] | None,
    typer.Option(metavar="FILE.toml", help="Scale file of the photos, repeated if several."),
]
Photos = Annotated[
    Path | None,
    typer.Option(metavar="FOLDER", help="Where the photos are. [default: where they were]"),
]
Overlays = Annotated[
    Path | None,
    typer.Option(metavar="FOLDER", help="Take pictures of measure --overlay instead."),
]
BlockLog = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE.csv",
        help="Daily log of rimread verify; needs --on. By --way bias its days up to that day on "
        "which the block passed enter U.",
    ),
]
Block = Annotated[
    Path | None,
    typer.Option(metavar="BLOCK.toml", help="Block for the uncertainty, see --way."),
]
OnBlock = Annotated[
    list[str] | None,
    typer.Option(
        metavar="D1,D2", help="Indent on that block: D1,D2 or results of measure --json; repeated."
    ),
]
Way = Annotated[
    shared.Way | None,
    typer.Option(
        help="How the machine gets into U: by force and ball, by its permissible error as the "
        "block passed, or with the block's error taken off. [default: permissible-error with "
        "--block, else parts]"
    ),
]
Convert = Annotated[list[str] | None, typer.Option(help="hv, hrc, hrb or rm (MPa), repeated.")]
Table = Annotated[str, typer.Option(help="Table to convert by, see rimread convert.")]
Human = Annotated[
    Path | None,
    typer.Option(metavar="READINGS.csv", help="Readings by eye: columns photo, operator, d1, d2."),
]

# -- of a ledger ----------------------------------------------------------------------------------

Entry = Annotated[
    list[int] | None, typer.Option(metavar="N", help="Of a ledger: these entries, repeated.")
]
Photo = Annotated[
    str | None, typer.Option(metavar="PART", help="Of a ledger: part of the photos' path.")
]
Written = Annotated[datetime | None, shared.day("Of a ledger: written (UTC).")]
Series = Annotated[
    str | None, typer.Option(metavar="ID", help="Of a ledger: this series of the bench page.")
]

# -- how the result is made and written -----------------------------------------------------------

Average = Annotated[
    shared.Average,
    typer.Option(help="Which indents go into the mean; to drop two is no rule of a standard."),
]
Paper = Annotated[Literal["a4", "letter"], typer.Option(help="Of a PDF.")]
Font = Annotated[
    Path | None,
    typer.Option(metavar="FILE.ttf", help="Font for letters of a PDF that the built-in one lacks."),
]
