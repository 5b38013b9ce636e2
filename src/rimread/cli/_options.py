"""Options that several verbs have: the same name, the same words, the same meaning."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

__all__ = [
    "Average",
    "Edge",
    "Json",
    "Material",
    "PictureSize",
    "Radius",
    "Rules",
    "ScaleFile",
    "Spacing",
    "Test",
    "Thickness",
    "Tone",
    "ToneCurve",
    "Way",
    "date_of",
    "day",
]

Way = Literal["parts", "permissible-error", "bias"]
Average = Literal["all", "drop-extremes"]
ToneCurve = Literal["srgb", "linear"]

ScaleFile = Annotated[
    Path, typer.Option(metavar="FILE.toml", help="Scale file from rimread calibrate.")
]
Test = Annotated[
    str, typer.Option(metavar="BALL/FORCE", help="Ball mm / force kgf [/ dwell s]: 10/3000.")
]
Rules = Annotated[str, typer.Option(help="Whose limits: iso, astm or a rules file (TOML).")]
Tone = Annotated[
    ToneCurve | None,
    typer.Option(
        help="Tone curve of the camera. [default: what the file says, else srgb; see README]"
    ),
]
PictureSize = Annotated[
    str | None, typer.Option(metavar="WxH", help="Picture size to ask of the camera.")
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON, one object a line, nothing else.")]

# -- what is known of the piece -------------------------------------------------------------------

Material = Annotated[
    str | None, typer.Option(metavar="GROUP", help="Of the piece, see rimread plan.")
]
Thickness = Annotated[float | None, typer.Option(metavar="MM", help="Of the piece at the indent.")]
Edge = Annotated[
    float | None, typer.Option(metavar="MM", help="Indent centre to the nearest edge.")
]
Spacing = Annotated[
    float | None, typer.Option(metavar="MM", help="Centre to the nearest other centre.")
]
Radius = Annotated[float | None, typer.Option(metavar="MM", help="Of a curved surface.")]


def day(words: str) -> Any:  # noqa: ANN401  (what typer.Option is said to give)
    """Option that takes a day."""
    return typer.Option(metavar="YYYY-MM-DD", formats=["%Y-%m-%d", "%d.%m.%Y"], help=words)


def date_of(given: datetime | None) -> date | None:
    """Day such an option names, None where it was left out."""
    return None if given is None else given.date()
