"""HBW to other scales by named published tables; always approximate."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from rimread.hardness.condition import TestCondition
from rimread.hardness.conversion_tables import ASM_A3_4, ISO_18265_A1, SAE_J417, Table
from rimread.hardness.formula import designation
from rimread.hardness.materials import material as material_group
from rimread.refusal import Refusal

__all__ = ["SCALES", "TABLES", "Conversion", "convert"]

TABLES: Final[Mapping[str, Table]] = MappingProxyType(
    {table.name: table for table in (ISO_18265_A1, SAE_J417, ASM_A3_4)}
)
"""Tables by name."""

SCALES: Final[Mapping[str, str]] = MappingProxyType(
    {"hv": "HV", "hrc": "HRC", "hrb": "HRB", "rm": "MPa tensile strength"}
)
"""Scales by name, and how they are written."""

_STEP: Final = {"hv": 1.0, "hrc": 1.0, "hrb": 1.0, "rm": 5.0}
# Rockwell numbers to whole ones: ASTM E140-02 1.10; HV and Rm as finely as the tables print.
_INDEX: Final = 30.0


@dataclass(frozen=True, slots=True)
class Conversion:
    """An approximate value on another scale.

    Parameters
    ----------
    hbw : float
        Measured.
    test : TestCondition
        Its condition.
    to : str
        Scale, a key of `SCALES`.
    value : float
        Interpolated, unrounded.
    bracketed : bool
        True where the table brackets its figures: beyond the normal range, for information.
    low, high : float or None
        What HBW less and plus U comes to; None where U was not given or runs off the table.
    table : Table
        Where it comes from.
    """

    hbw: float
    test: TestCondition
    to: str
    value: float
    bracketed: bool
    low: float | None
    high: float | None
    table: Table

    @property
    def converted(self) -> str:
        """Rounded value with its scale, bracketed like its table: ``38 HRC``, ``[55 HRC]``."""
        step = _STEP[self.to]
        text = f"{round(self.value / step) * step:.0f} {SCALES[self.to]}"
        return f"[{text}]" if self.bracketed else text

    @property
    def text(self) -> str:
        """Measured first, converted in brackets (ASTM A370-03a 15.2), the table named."""
        return (
            f"{designation(self.hbw, self.test)} ({self.converted}), approximate, "
            f"by {self.table.title}"
        )


def convert(
    hbw: float,
    test: TestCondition,
    *,
    to: str,
    table: str = "iso-18265-a1",
    material: str = "steel",
    U_hbw: float | None = None,
) -> Conversion | Refusal:
    """Convert by linear interpolation between the lines of a table.

    Parameters
    ----------
    hbw : float
        Measured value.
    test : TestCondition
        Its condition; the tables hold for 0.102 F/D² = 30.
    to : {"hv", "hrc", "hrb", "rm"}
        Scale.
    table : str
        A key of `TABLES`.
    material : str
        Material group; the tables here hold for steel.
    U_hbw : float, optional
        Expanded uncertainty of `hbw`. The conversion's own error comes on top and is unknown.

    Returns
    -------
    Conversion or Refusal
        Refused with ``scale-not-covered``, ``material-not-covered``, ``test-not-covered`` or
        ``outside-table``: no table, no number.

    Raises
    ------
    ValueError
        If a name is unknown or a hardness is no positive number.
    """
    chosen, group = _table(table), material_group(material)
    if to not in SCALES:
        raise ValueError(f"scale must be one of {', '.join(SCALES)} (got {to!r})")
    if not (math.isfinite(hbw) and hbw > 0.0):
        raise ValueError(f"a hardness must be above 0 HBW (got {hbw:g})")
    if U_hbw is not None and not (math.isfinite(U_hbw) and U_hbw >= 0.0):
        raise ValueError(f"U of the measured value must be 0 HBW or more (got {U_hbw:g})")
    refusal = _not_covered(chosen, to, group.name, test)
    if refusal is None:
        refusal = _outside(chosen, to, hbw)
    if refusal is not None:
        return refusal
    value, bracketed = _interpolated(chosen, to, hbw)
    low = high = None
    if U_hbw is not None:
        low, high = (_or_none(chosen, to, hbw + sign * U_hbw) for sign in (-1.0, 1.0))
    return Conversion(hbw, test, to, value, bracketed, low, high, chosen)


def _table(name: str) -> Table:
    if name not in TABLES:
        raise ValueError(f"table must be one of {', '.join(TABLES)} (got {name!r})")
    return TABLES[name]


def _not_covered(table: Table, to: str, material: str, test: TestCondition) -> Refusal | None:
    if not table.lines(to):
        return Refusal("scale-not-covered", f"{table.title} does not give {SCALES[to]}")
    if material != "steel":
        return Refusal("material-not-covered", f"{table.title} holds for {table.holds_for} only")
    if not test.has_index(_INDEX):
        return Refusal(
            "test-not-covered",
            f"{table.title} holds for an index 0.102 F/D² of 30, such as 10/3000, "
            f"not for {test.name} with {test.index:.3g}",
        )
    return None


def _outside(table: Table, to: str, hbw: float) -> Refusal | None:
    lines = table.lines(to)
    if lines[0].hbw <= hbw <= lines[-1].hbw:
        return None
    return Refusal(
        "outside-table",
        f"{table.title} gives {SCALES[to]} from {lines[0].hbw:g} HBW to {lines[-1].hbw:g} HBW, "
        f"{hbw:g} HBW is outside",
    )


def _interpolated(table: Table, to: str, hbw: float) -> tuple[float, bool]:
    lines = table.lines(to)
    upper = next(i for i, line in enumerate(lines) if hbw <= line.hbw)
    b = lines[upper]
    if hbw == b.hbw:
        return b.value, b.bracketed
    a = lines[upper - 1]
    value = a.value + (b.value - a.value) * (hbw - a.hbw) / (b.hbw - a.hbw)
    return value, a.bracketed or b.bracketed


def _or_none(table: Table, to: str, hbw: float) -> float | None:
    return None if _outside(table, to, hbw) is not None else _interpolated(table, to, hbw)[0]
