"""What the reading of diameters brings to the uncertainty of a mean hardness, and their scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from rimread.budget import Budget, Component, combine
from rimread.hardness.condition import TestCondition
from rimread.hardness.formula import hbw_per_mm
from rimread.hardness.rules import rule_set
from rimread.hardness.series import Indent, Series

__all__ = [
    "RESOLUTION_MM",
    "hand_reading",
    "mean_on_block",
    "reading_and_scatter",
    "reading_components",
]

RESOLUTION_MM: Final = 0.01
"""Step of a reading by eye of which nothing else is known: common practice with reading
microscopes, no source."""

_ROUNDING: Final = "resolution"
_OF_SCOPE: Final = frozenset({"scope", "pixel scale", "aspect", "distortion"})
"""Parts that are one error in all that is read through a scope, as `hand_reading` and
`rimread.diameters` name them. What the light tells wrongly of a rim is another on another metal."""


def hand_reading(mean_mm: float, *, resolution_mm: float, scope_rel: float | None = None) -> Budget:
    """Budget in mm of a mean diameter read by eye.

    Equal diameters are rounded equally, so that the resolution does not average out over a series:
    the annex has it beside s/√n, undivided.

    Parameters
    ----------
    mean_mm : float
        Mean of two orthogonal readings.
    resolution_mm : float
        Smallest step a person tells apart, each reading having two edges; taken as rectangular,
        u = resolution / (2 √3) (ISO 6506-1 annex C, from memory).
    scope_rel : float, optional
        Permitted relative error of the scope, rectangular and the same for every reading; the
        ISO limit of 0.5 % of d where not given.

    Raises
    ------
    ValueError
        If the resolution is not a positive number.
    """
    if not (math.isfinite(resolution_mm) and resolution_mm > 0.0):
        raise ValueError(f"the resolution of a reading must be above 0 mm (got {resolution_mm:g})")
    rules = rule_set("iso")
    limit = rules["reading_rel"] if scope_rel is None else scope_rel
    return combine(
        (
            _rounding(resolution_mm),
            Component(
                "scope",
                limit * mean_mm / math.sqrt(3.0),
                how=f"±{limit:.2%} of d, rectangular; {rules.source('reading_rel')}",
                common=True,
            ),
        )
    )


def _rounding(resolution_mm: float) -> Component:
    u = resolution_mm / (2.0 * math.sqrt(3.0))
    return Component(_ROUNDING, u, how=f"{resolution_mm:g} mm, rectangular", common=True)


def reading_components(series: Series) -> tuple[Component, ...]:
    """What the reading of the diameters brings to the mean, in HBW.

    Components marked `common` are the same error in every indent and add up linearly (GUM 5.2.2
    note 1); the others are independent and shrink with √n.

    Raises
    ------
    ValueError
        If some of the used indents lack a budget.
    """
    indents = series.used_indents
    if not series.has_budgets:
        raise ValueError("every indent needs a budget of its mean diameter (some have none)")
    groups: dict[tuple[str, bool], list[Component]] = {}
    for indent in indents:
        for part in _in_hbw(indent, series.test):
            groups.setdefault((part.name, part.common), []).append(part)
    n = len(indents)
    return tuple(_of_mean(parts, n) for parts in groups.values())


def reading_and_scatter(series: Series) -> tuple[Component, ...]:
    """Common reading parts as they are; independent ones and the scatter are one and the same."""
    reading = reading_components(series)
    common = [p for p in reading if p.common]
    independent = [p for p in reading if not p.common]
    if series.sd_hbw is None:
        return (*common, *independent)
    return (*common, _scatter(series, series.sd_hbw, combine(independent).u))


def mean_on_block(block: Series, piece: Series) -> Component:
    """What the mean of the indents on a block is unsure by, in HBW, as a component of the piece's.

    Scatter, rounding, and what all readings on the block share, unless it is an error of the scope
    that those on the piece share: that cancels, where both were read with the same scale as far as
    is known. Of diameters without a budget it is known that they
    were read by eye.

    Raises
    ------
    ValueError
        If the block has one indent, or an indent of the piece lacks a budget.
    """
    sd = block.sd_hbw
    if sd is None:
        raise ValueError("a block needs at least two indents to tell its scatter (got 1)")
    block = replace(block, indents=tuple(_read_by_eye(indent) for indent in block.indents))
    scales = {indent.scale for indent in (*block.indents, *piece.indents)} - {""}
    shared = _OF_SCOPE if len(scales) < 2 else frozenset[str]()
    cancels = shared & {p.name for p in reading_components(piece)}
    reading = reading_components(block)
    scatter = _scatter(block, sd, combine(p for p in reading if not p.common).u)
    left = [p for p in reading if p.common and p.name not in cancels]
    whole = combine((scatter, *left))
    how = "; ".join((scatter.how, *(f"{p.name}: {p.how}" for p in left if p.how and p.u > 0)))
    return Component("mean on the block", whole.u, whole.dof, how, common=True)


def _read_by_eye(indent: Indent) -> Indent:
    """The indent, with the budget of a reading by eye where it has none."""
    if indent.budget is not None:
        return indent
    return replace(indent, budget=hand_reading(indent.mean_mm, resolution_mm=RESOLUTION_MM))


def _scatter(series: Series, sd: float, reading: float) -> Component:
    """Scatter of the mean, no less than what the `reading` alone gives it.

    A few values that lie close by luck tell no more of the piece than others: the degrees of
    freedom stay those of their standard deviation.
    """
    n = len(series.used_indents)
    u = sd / math.sqrt(n)
    what = "reading repeatability is in it"
    if reading > u:
        what = f"taken as {reading:.3g} HBW, which the reading alone gives"
    return Component(
        "scatter of the indents",
        max(u, reading),
        dof=len(series.hbw) - 1,
        how=f"s = {sd:.3g} HBW of {len(series.hbw)}, over √{n}; {what}",
    )


def _in_hbw(indent: Indent, test: TestCondition) -> list[Component]:
    assert indent.budget is not None  # noqa: S101  (asked for before)
    return [_scaled(part, indent.mean_mm, test) for part in indent.budget.components]


def _scaled(part: Component, mean_mm: float, test: TestCondition) -> Component:
    """A component in mm of a mean diameter as one in HBW."""
    return replace(part, u=part.u * abs(hbw_per_mm(mean_mm, test)))


def _of_mean(parts: Sequence[Component], n: int) -> Component:
    first = parts[0]
    if first.common:
        u, dof = sum(p.u for p in parts) / n, min(p.dof for p in parts)
    else:
        whole = combine(parts)
        u, dof = whole.u / n, whole.dof
    how = first.how
    if any(part.how != how for part in parts):
        how = f"largest of {len(parts)}: {max(parts, key=lambda part: part.u).how}"
    return Component(first.name, u, dof, how, first.common)
