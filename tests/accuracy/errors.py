"""Errors of measured diameters against truth: what is kept of each photo, and its figures."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

GROSS = 0.005
"""An error of half a per cent of the diameter is gross."""


@dataclass(frozen=True)
class Outcome:
    """What came of one photo.

    Parameters
    ----------
    name, group : str
        The photo, and the group whose figures it counts for.
    readable : bool
        Whether a diameter can be read from it.
    true_mm : float
        Mean diameter, nan when not readable.
    code : str
        ``"measured"`` or the code of the refusal.
    mean_mm, U_mm : float
        Measured mean diameter and its expanded uncertainty, nan when refused.
    facts : dict
        Conditions the photo was made under, by name.
    """

    name: str
    group: str
    readable: bool
    true_mm: float
    code: str
    mean_mm: float = math.nan
    U_mm: float = math.nan
    facts: dict[str, float | str] = field(default_factory=dict)

    @property
    def measured(self) -> bool:
        """Whether it got a number."""
        return self.code == "measured"

    @property
    def error(self) -> float:
        """Relative error of the mean diameter."""
        return self.mean_mm / self.true_mm - 1.0

    @property
    def U(self) -> float:  # noqa: N802
        """Expanded uncertainty over the true diameter."""
        return self.U_mm / self.true_mm

    @property
    def covered(self) -> bool:
        """Whether the error lies within U."""
        return abs(self.error) <= self.U

    @property
    def gross(self) -> bool:
        """Whether a gross error left without a U that covers it."""
        return self.measured and self.readable and abs(self.error) > GROSS and not self.covered


@dataclass(frozen=True)
class Figures:
    """Figures of a group of readable photos; shares of 1, errors relative to the diameter."""

    photos: int
    measured: int
    bias: float
    scatter: float
    median: float
    p95: float
    worst: float
    covered: float
    median_U: float
    gross: int

    @property
    def share(self) -> float:
        """Share of the photos that got a number."""
        return self.measured / self.photos if self.photos else math.nan


def figures(outcomes: Iterable[Outcome]) -> Figures:
    """Figures of the readable photos among some."""
    readable = [o for o in outcomes if o.readable]
    told = [o for o in readable if o.measured]
    error = np.array([o.error for o in told])
    if not told:
        return Figures(len(readable), 0, *[math.nan] * 7, gross=0)
    return Figures(
        photos=len(readable),
        measured=len(told),
        bias=float(error.mean()),
        scatter=float(error.std()),
        median=float(np.median(np.abs(error))),
        p95=float(np.percentile(np.abs(error), 95)),
        worst=float(np.abs(error).max()),
        covered=float(np.mean([o.covered for o in told])),
        median_U=float(np.median([o.U for o in told])),
        gross=sum(o.gross for o in told),
    )


HEAD = (
    f"{'':22}{'photos':>7}{'measured':>9}{'bias':>8}{'sd':>8}{'median':>8}{'p95':>8}{'worst':>8}"
    f"{'covered':>9}{'U':>7}{'gross':>7}"
)
FOOT = (
    "photos: readable ones; measured, covered (error within U): share in %; bias, sd, median,\n"
    "p95, worst (of the absolute error) and U (median): in % of the mean diameter; gross: errors\n"
    f"above {GROSS:.1%} that U does not cover"
)


def line(label: str, of: Figures) -> str:
    """One row of the table under `HEAD`."""
    lengths = (of.bias, of.scatter, of.median, of.p95, of.worst)
    return (
        f"{label:22}{of.photos:7}{100 * of.share:9.1f}"
        + "".join(f"{100 * value:8.3f}" for value in lengths)
        + f"{100 * of.covered:9.1f}{100 * of.median_U:7.3f}{of.gross:7}"
    )


def refusals(outcomes: Sequence[Outcome]) -> list[str]:
    """One row a group of photos that must be refused: how many were, and with what codes."""
    rows = []
    spoiled = [o for o in outcomes if not o.readable]
    for group in dict.fromkeys(o.group for o in spoiled):
        some = [o for o in spoiled if o.group == group]
        codes = sorted({o.code for o in some if not o.measured})
        refused = sum(not o.measured for o in some)
        rows.append(f"{group:22}{refused:4} of {len(some):3} refused: {', '.join(codes)}")
    return rows


def reasons(outcomes: Iterable[Outcome], most: int | None = None) -> str:
    """Codes of those refused and how many had each, the most common first."""
    codes = Counter(o.code for o in outcomes if not o.measured)
    return ", ".join(f"{code} {count}" for code, count in codes.most_common(most))


def ordered(groups: Iterable[str]) -> list[str]:
    """Groups once each, the tiers from clean to hard first."""
    known = ("clean", "shop", "hard")
    return sorted(dict.fromkeys(groups), key=lambda g: known.index(g) if g in known else 3)


def each(outcomes: Sequence[Outcome]) -> list[str]:
    """One row a photo."""
    rows = [f"{'':26}{'error %':>9}{'U %':>8}"]
    for o in outcomes:
        told = f"{100 * o.error:9.3f}{100 * o.U:8.3f}" if o.measured else f"{o.code:>17}"
        fault = " gross" if o.gross else " not covered" if o.measured and not o.covered else ""
        if o.measured and not o.readable:
            told, fault = f"{o.mean_mm:9.4f} mm", " must be refused"
        elif o.readable and not o.measured:
            fault = " readable"
        rows.append(f"{o.name:26}{told}{fault}")
    return rows
