"""``rimread plan``: which ball and force for which piece."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from rimread.cli._indents import rules_from
from rimread.cli._io import REFUSED, print_json, speaking, telling
from rimread.cli._options import Json, Rules

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.hardness import Option, Plan

_Material = Annotated[
    str,
    typer.Option(help="steel, nickel, titanium, cast-iron, copper, light-metal or lead-tin."),
]
_Hardness = Annotated[
    str, typer.Option(metavar="HBW", help="Expected, one figure or a range like 180-260.")
]
_Thickness = Annotated[float | None, typer.Option(metavar="MM", help="Thickness of the piece.")]
_Radius = Annotated[float | None, typer.Option(metavar="MM", help="Radius of a curved surface.")]
_Edge = Annotated[
    float | None, typer.Option(metavar="MM", help="Room from the indent's centre to the edge.")
]
_Spacing = Annotated[
    float | None, typer.Option(metavar="MM", help="Room from centre to next centre.")
]
_Ball = Annotated[
    list[float] | None, typer.Option(metavar="MM", help="A ball at hand, repeated. [all]")
]
_Force = Annotated[
    list[float] | None,
    typer.Option(metavar="KGF", help="A force the machine has, repeated. [all]"),
]


def plan(
    material: _Material,
    hardness: _Hardness,
    thickness: _Thickness = None,
    radius: _Radius = None,
    edge: _Edge = None,
    spacing: _Spacing = None,
    ball: _Ball = None,
    force: _Force = None,
    rules: Rules = "iso",
    as_json: Json = False,
) -> None:
    """Choose ball and force for a piece, the largest ball that fits first.

    \b
      rimread plan --material steel --hardness 180-260 --thickness 4
      rimread plan --material copper --hardness 60 --ball 5 --ball 2.5 --force 62.5

    Exit codes: 0 something fits; 1 nothing does; 2 wrong use.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        from rimread.hardness import Piece  # noqa: PLC0415
        from rimread.hardness import plan as plan_for  # noqa: PLC0415

        low, high = _range(hardness)
        piece = Piece(thickness_mm=thickness, radius_mm=radius, edge_mm=edge, spacing_mm=spacing)
        made = plan_for(
            material, low, high, piece=piece, pairs=_pairs(ball, force), rules=rules_from(rules)
        )
        with telling():
            if as_json:
                print_json(_record(made))
            else:
                _print(made)
    if not made.options:
        raise typer.Exit(REFUSED)


def _range(text: str) -> tuple[float, float]:
    ends = text.split("-")
    try:
        values = [float(end) for end in ends]
    except ValueError:
        values = []
    if len(values) not in (1, 2):
        msg = f"expected hardness is a figure or a range in HBW, like 220 or 180-260 (got {text!r})"
        raise ValueError(msg)
    return values[0], values[-1]


def _pairs(balls: list[float] | None, forces: list[float] | None) -> list[tuple[float, float]]:
    """Standard pairs the machine can make."""
    from rimread.hardness import STANDARD_PAIRS  # noqa: PLC0415

    pairs = [
        (ball, force)
        for ball, force in STANDARD_PAIRS
        if (not balls or ball in balls) and (not forces or force in forces)
    ]
    if not pairs:
        raise ValueError("these balls and forces (mm, kgf) make none of the standard's 21 pairs")
    return pairs


def _record(made: Plan) -> dict[str, Any]:
    return {
        "material": made.material.name,
        "hbw_low": made.hbw_low,
        "hbw_high": made.hbw_high,
        "rules": made.rules.name,
        "options": [
            {
                "test": option.test.name,
                "d_min_mm": option.d_min_mm,
                "d_max_mm": option.d_max_mm,
                "thickness_mm": option.thickness_mm,
                "edge_mm": option.edge_mm,
                "spacing_mm": option.spacing_mm,
            }
            for option in made.options
        ],
        "excluded": [{"test": e.test.name, "why": e.why} for e in made.excluded],
        "conduct": [{"message": says, "source": source} for says, source in made.conduct],
    }


def _print(made: Plan) -> None:
    print(
        f"{made.material.title}, {made.hbw_low:g} to {made.hbw_high:g} HBW, "
        f"by {made.rules.title}; mm"
    )
    if made.options:
        print("  test         indent d      thickness  to edge  between centres  (at least)")
        for option in made.options:
            print(_line(option))
        print("  The first is preferred: the largest ball averages over the most metal.")
    else:
        print("  no pair of ball and force fits")
    print("left out:")
    for excluded in made.excluded:
        print(f"  {excluded.test.name:11} {excluded.why}")
    print("how to test:")
    for says, source in made.conduct:
        print(f"  {says}  ({source})")


def _line(option: Option) -> str:
    d = f"{option.d_min_mm:.2f}-{option.d_max_mm:.2f}"
    return (
        f"  {option.test.name:11}  {d:12}  {option.thickness_mm:9.2f}  {option.edge_mm:7.2f}  "
        f"{option.spacing_mm:15.2f}"
    )
