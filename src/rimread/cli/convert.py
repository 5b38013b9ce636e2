"""``rimread convert``: a Brinell value on another scale, by a named table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from rimread.cli._io import REFUSED, print_json, say, speaking, telling
from rimread.cli._options import Json

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.hardness import Conversion
    from rimread.refusal import Refusal

_Hbw = Annotated[float, typer.Argument(metavar="HBW", help="Measured value.")]
_To = Annotated[
    list[str] | None,
    typer.Option(help="hv, hrc, hrb or rm (MPa), repeated. [all the table gives]"),
]
_Table = Annotated[str, typer.Option(help="iso-18265-a1, sae-j417 or asm-a3-4.")]
_Test = Annotated[str, typer.Option(metavar="BALL/FORCE", help="What it was measured with.")]
_Material = Annotated[str, typer.Option(help="Material group, see rimread plan.")]
_UHbw = Annotated[
    float | None, typer.Option("--U", metavar="HBW", help="Expanded uncertainty of HBW.")
]


def convert(
    hbw: _Hbw,
    to: _To = None,
    table: _Table = "iso-18265-a1",
    test: _Test = "10/3000",
    material: _Material = "steel",
    u_hbw: _UHbw = None,
    as_json: Json = False,
) -> None:
    """Convert HBW approximately to another scale by one named published table.

    \b
      rimread convert 353 --to hrc
      rimread convert 229 --table asm-a3-4

    A conversion never replaces a test on the other scale. The measured value comes first, the
    converted one in round brackets behind it, as ASTM A370 writes them: 353 HBW 10/3000 (38 HRC).
    Square brackets within these, as in ([589 HV]), mean beyond the table's normal range, for
    information only.

    Exit codes: 0 all well; 1 the table gives no such value; 2 wrong use.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        from rimread.hardness import SCALES, parse_test  # noqa: PLC0415
        from rimread.hardness import convert as convert_to  # noqa: PLC0415

        condition = parse_test(test)
        results = [
            (
                scale,
                convert_to(hbw, condition, to=scale, table=table, material=material, U_hbw=u_hbw),
            )
            for scale in to or SCALES
        ]
        asked = [(scale, result) for scale, result in results if to or result]
        with telling():
            for scale, result in results if as_json else asked or results[:1]:
                if as_json:
                    _print_record(scale, result)
                else:
                    _print(result, u_hbw)
    if not asked or not all(result for _, result in asked):
        raise typer.Exit(REFUSED)


def _print_record(scale: str, result: Conversion | Refusal) -> None:
    from rimread.refusal import Refusal  # noqa: PLC0415

    refused = isinstance(result, Refusal)
    record: dict[str, Any] = {
        "to": scale,
        "status": "refused" if refused else "converted",
        "reasons": [],
        "approximate": True,
    }
    if isinstance(result, Refusal):
        record["reasons"] = [{"code": result.code, "message": result.message}]
    else:
        record |= {
            "value": result.value,
            "bracketed": result.bracketed,
            "low": result.low,
            "high": result.high,
            "converted": result.converted,
            "text": result.text,
            "table": result.table.title,
            "source": result.table.source,
        }
    print_json(record)


def _print(result: Conversion | Refusal, u_hbw: float | None) -> None:
    from rimread.refusal import Refusal  # noqa: PLC0415

    if isinstance(result, Refusal):
        say(result.message)
        return
    print(result.text)
    if result.bracketed:
        print("  in square brackets: beyond the table's normal range, for information only")
    if u_hbw is not None:
        low = "below the table" if result.low is None else f"{result.low:.1f}"
        high = "beyond the table" if result.high is None else f"{result.high:.1f}"
        leaves = ": its interval leaves the table" if None in (result.low, result.high) else ""
        print(f"  U of the measured value alone takes it from {low} to {high}{leaves}")
    print(f"  table read in: {result.table.source}")
