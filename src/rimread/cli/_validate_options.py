"""Options of ``rimread validate`` in words of its own, in the order of its help.

Those it shares with other verbs are in `_options`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from rimread.cli._options import ToneCurve

Diameter = Annotated[
    str | None,
    typer.Option(
        metavar="LOW-HIGH",
        help="Diameters you meet, mm. [default: what the test allows and the photo holds]",
    ),
]
Hardness = Annotated[
    str | None, typer.Option(metavar="LOW-HIGH", help="The same as hardness, HBW.")
]
Like = Annotated[
    Path | None,
    typer.Option(
        metavar="PHOTO", help="One of your photos: noise, blur, light, file format as in it."
    ),
]
Tone = Annotated[
    ToneCurve | None,
    typer.Option(
        help="Tone curve of that photo. [default: what the file says, else srgb; see README]"
    ),
]
Light = Annotated[
    list[str] | None,
    typer.Option(
        metavar="KIND",
        help="Your light: ring, side, coaxial or arcs; may be repeated. [default: all of the "
        "conditions]",
    ),
]
Finish = Annotated[
    list[str] | None,
    typer.Option(
        metavar="KIND",
        help="Your surfaces: ground, milled, blasted or polished; may be repeated. [default: "
        "all of the conditions]",
    ),
]
Conditions = Annotated[
    Literal["clean", "shop", "hard"], typer.Option(help="How rough everything else is.")
]
Count = Annotated[int, typer.Option(min=1, help="Photos to simulate.")]
Cells = Annotated[int, typer.Option(min=1, help="Lines of the table.")]
MostError = Annotated[
    float | None,
    typer.Option(
        metavar="PERCENT",
        help="Error in % of d that 95 % of the photos must keep. [default: 0.5]",
    ),
]
MostRefused = Annotated[
    float | None,
    typer.Option(metavar="PERCENT", help="Photos that may be refused. [default: 20]"),
]
Plot = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Draw it: .png, .svg or .pdf; needs rimread[figures]."),
]
Show = Annotated[
    Path | None,
    typer.Option(
        metavar="FOLDER", help="Write the photos here that were refused or beyond U, as PNG."
    ),
]
Seed = Annotated[int, typer.Option(min=0, help="The same seed gives the same photos.")]
Jobs = Annotated[
    int, typer.Option(min=0, help="Processes. [default: as many as cores]", show_default=False)
]
