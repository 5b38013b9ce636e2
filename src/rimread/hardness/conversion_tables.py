"""Conversion tables as printed, each with where it was read.

A line in brackets is one the table prints in brackets: beyond the normal range, for information.
The tables disagree among themselves at high hardness, so that the table is always named.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["ASM_A3_4", "ISO_18265_A1", "SAE_J417", "Line", "Table"]


@dataclass(frozen=True, slots=True)
class Line:
    """HBW and the value beside it."""

    hbw: float
    value: float
    bracketed: bool


@dataclass(frozen=True, slots=True)
class Table:
    """A table as text: a header of scales with ``hbw`` among them, then its lines.

    Parameters
    ----------
    name, title : str
        For options, and for people.
    holds_for : str
        Materials it covers.
    source : str
        Where it was read.
    body : str
        Columns by blanks, ``-`` where the table is empty, brackets as printed.
    """

    name: str
    title: str
    holds_for: str
    source: str
    body: str

    def lines(self, to: str) -> tuple[Line, ...]:
        """Lines that hold both HBW and `to`, softest first; empty if it is not in the table."""
        head, *rows = (row.split() for row in self.body.split("\n") if row.strip())
        if to not in head:
            return ()
        at_hbw, at = head.index("hbw"), head.index(to)
        pairs = [(row[at_hbw], row[at]) for row in rows if "-" not in (row[at_hbw], row[at])]
        return tuple(
            sorted(
                (Line(float(h.strip("()")), float(v.strip("()")), "(" in h + v) for h, v in pairs),
                key=lambda line: line.hbw,
            )
        )


ISO_18265_A1: Final = Table(
    name="iso-18265-a1",
    title="ISO 18265 table A.1",
    holds_for="unalloyed and low-alloy steel and cast steel",
    source=(
        "DIN EN ISO 18265 in a Siemens technical handbook; DIN 50150 prints the same figures. "
        "The annex had too few data for a regression"
    ),
    body="""
    rm      hv     hbw     hrc
    255     80     76.0    -
    320     100    95.0    -
    385     120    114     -
    480     150    143     -
    545     170    162     -
    640     200    190     -
    705     220    209     -
    770     240    228     20.3
    800     250    238     22.2
    850     265    252     24.8
    900     280    266     27.1
    965     300    285     29.8
    1030    320    304     32.2
    1095    340    323     34.4
    1155    360    342     36.6
    1220    380    361     38.8
    1290    400    380     40.8
    1350    420    399     42.7
    1420    440    418     44.5
    1485    460    437     46.1
    1520    470    447     46.9
    (1630)  (500)  (475)   (49.1)
    (1810)  (550)  (523)   (52.3)
    (1995)  (600)  (570)   (55.2)
    (2180)  (650)  (618)   (57.8)
    """,
)

SAE_J417: Final = Table(
    name="sae-j417",
    title="SAE J417 (HRC, HV, HBW 3000 kgf)",
    holds_for="steel",
    source=(
        "SAE J417 at ace-tech.jp; 52 HRC from encoremetals.com. At 50 HRC another print of the "
        "table has 482 in place of 481"
    ),
    body="""
    hrc  hv   hbw
    65   832  (739)
    62   746  (688)
    60   697  (654)
    58   653  615
    55   595  560
    52   544  512
    50   513  481
    48   484  455
    45   446  421
    42   412  390
    40   392  371
    38   372  353
    35   345  327
    32   318  301
    30   302  286
    28   286  271
    25   266  253
    22   248  237
    20   238  226
    """,
)

ASM_A3_4: Final = Table(
    name="asm-a3-4",
    title="ASM table A3.4 and its continuation",
    holds_for="steel",
    source=(
        "Canale, Mesquita, Totten, Failure Analysis of Heat Treated Steel Components (ASM), table "
        "A3.4, down to 363 HBW; below: HRC and HRB from Chicago Tube & Iron, HV from Wallwork"
    ),
    body="""
    hbw  hv   hrc   hrb
    601  640  57.3  -
    555  591  54.7  -
    514  547  52.1  -
    477  508  49.6  -
    444  472  47.1  -
    415  440  44.5  -
    388  410  41.8  -
    363  383  39.1  -
    341  360  36.6  -
    321  339  34.3  -
    302  319  32.1  -
    285  301  29.9  -
    269  284  27.6  -
    255  269  25.4  -
    241  253  22.8  100
    229  241  20.5  98.2
    207  218  -     94.6
    187  197  -     90.7
    179  189  -     89.0
    163  172  -     85.0
    """,
)
