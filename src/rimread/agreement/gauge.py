"""The crossed gauge study: how much of the scatter is repeats, people, and the indents."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimread.agreement.statistics import (
    Estimate,
    Source,
    combination,
    crossed,
    sd_with_interval,
)

__all__ = ["Component", "Gauge", "gauge_study"]

_NOTHING = 1e-24
"""Mean square in mm² that is no more than what the arithmetic leaves of readings that are alike."""


@dataclass(frozen=True, slots=True)
class Component:
    """One share of the variance.

    Parameters
    ----------
    name : str
        ``"repeatability"``, ``"reproducibility"``, ...
    variance : Estimate
        In mm², set to zero where the estimate came out negative; so are the ends.
    was_negative : bool
        Whether it did: the data then show nothing of it.
    hidden : bool
        Whether it is less than the steps of the readings can show. Repeatability is set to that
        least then; of all shares the interval allows for it.
    """

    name: str
    variance: Estimate
    was_negative: bool
    hidden: bool = False

    @property
    def sd(self) -> Estimate:
        """Standard deviation in mm."""
        v = self.variance
        return Estimate(math.sqrt(v.value), math.sqrt(v.low), math.sqrt(v.high), v.dof)


@dataclass(frozen=True, slots=True)
class Gauge:
    """A balanced crossed study of diameters in mm.

    Parameters
    ----------
    indents, operators : tuple of str
        Who and what took part.
    trials : int
        Readings of each by each.
    table : tuple of Source
        Indent, operator, operator × indent, repeatability.
    repeatability : Component
        One person on one indent again and again.
    operator, interaction : Component
        People's own offsets, and their offsets that change from indent to indent.
    reproducibility : Component
        Both together: one person against another.
    people : Component
        Repeatability and reproducibility together: all that is not the indent.
    indent : Component
        The indents' own sizes.
    left_out : int
        Readings that balance did not allow in.
    """

    indents: tuple[str, ...]
    operators: tuple[str, ...]
    trials: int
    table: tuple[Source, Source, Source, Source]
    repeatability: Component
    operator: Component
    interaction: Component
    reproducibility: Component
    people: Component
    indent: Component
    left_out: int = 0

    @property
    def components(self) -> tuple[Component, ...]:
        """All shares, sums included, in the order they are told."""
        return (
            *(self.repeatability, self.reproducibility, self.operator, self.interaction),
            *(self.people, self.indent),
        )

    @property
    def total(self) -> float:
        """Sum of people and indent in mm²."""
        return self.people.variance.value + self.indent.variance.value

    @property
    def f_and_p(self) -> tuple[tuple[float, float], ...]:
        """F and its probability for indent, operator (both over the interaction), interaction.

        NaN where neither the one nor what it is held against varies: nothing over nothing.
        """
        from scipy.special import fdtrc  # noqa: PLC0415  (kept out of start-up)

        indent, operator, both, rest = self.table
        found = []
        for upper, lower in ((indent, both), (operator, both), (both, rest)):
            if lower.ms > _NOTHING:
                f = upper.ms / lower.ms
            else:
                f = math.inf if upper.ms > _NOTHING else math.nan
            found.append((f, float(fdtrc(upper.dof, lower.dof, f))))
        return tuple(found)


def gauge_study(
    values: NDArray[np.float64],
    indents: tuple[str, ...],
    operators: tuple[str, ...],
    *,
    left_out: int = 0,
    least_sd: float = 0.0,
) -> Gauge:
    """Variance components of the random model operator × indent, by the analysis of variance.

    Expected mean squares of the balanced two-way random model (Montgomery, Design and Analysis of
    Experiments; Burdick, Borror and Montgomery, J. Qual. Technol. 35 (2003) 342; from memory).
    The interaction is always kept. Components that come out negative are set to zero, and sums
    are made of what is left.

    Parameters
    ----------
    values : ndarray, shape (indents, operators, trials)
        Diameters in mm.
    indents, operators : tuple of str
        Their names.
    left_out : int
        Readings that balance did not allow in, for the record.
    least_sd : float
        Of a single reading: what its steps can hide (`rimread.agreement.statistics.step_sd`).

    Raises
    ------
    ValueError
        If there are fewer than two of anything or the names do not fit.
    """
    table = crossed(values)
    parts, people, trials = values.shape
    if (parts, people) != (len(indents), len(operators)):
        msg = (
            f"a name for each indent and operator is needed (got {len(indents)}, {len(operators)})"
        )
        raise ValueError(msg)
    indent, operator, both, rest = table
    least = least_sd**2
    repeatability = _repeats(rest, least)
    interaction = _component("operator × indent", [(1 / trials, both), (-1 / trials, rest)], least)
    cell = parts * trials
    by_operator = _component("operator", [(1 / cell, operator), (-1 / cell, both)], least)
    size = people * trials
    by_indent = _component("indent", [(1 / size, indent), (-1 / size, both)], least)
    between = [(1 / cell, operator), ((parts - 1) / cell, both)]
    between_people = _sum(
        "reproducibility", [*between, (-1 / trials, rest)], [by_operator, interaction], least
    )
    everything = _sum(
        "repeatability and reproducibility",
        [*between, (1 - 1 / trials, rest)],
        [repeatability, between_people],
        least,
    )
    return Gauge(
        indents=indents,
        operators=operators,
        trials=trials,
        table=table,
        repeatability=repeatability,
        operator=by_operator,
        interaction=interaction,
        reproducibility=between_people,
        people=everything,
        indent=by_indent,
        left_out=left_out,
    )


def _repeats(rest: Source, least: float) -> Component:
    """Repeatability, at least what the steps of the readings hide."""
    sd = sd_with_interval(rest.ms, rest.dof, least_sd=math.sqrt(least))
    variance = Estimate(sd.value**2, sd.low**2, sd.high**2, rest.dof)
    return Component("repeatability", variance, was_negative=False, hidden=rest.ms < least)


def _component(name: str, terms: list[tuple[float, Source]], least: float) -> Component:
    found, most = combination(terms), _upper_end(terms, least)
    floored = Estimate(max(found.value, 0.0), max(found.low, 0.0), max(most, 0.0), found.dof)
    return Component(name, floored, found.value < 0.0, hidden=floored.value < least)


def _sum(
    name: str, terms: list[tuple[float, Source]], members: list[Component], least: float
) -> Component:
    """Sum of components with the interval of the unfloored sum, widened to hold the value.

    The value is never the smaller one: what was set to zero had been below.
    """
    found, most = combination(terms), _upper_end(terms, least)
    value = sum(member.variance.value for member in members)
    low = max(found.low, 0.0)
    hidden = all(member.hidden for member in members)
    return Component(
        name,
        Estimate(value, 0.0 if hidden else low, max(most, value), found.dof),
        was_negative=False,
        hidden=hidden,
    )


def _upper_end(terms: list[tuple[float, Source]], least: float) -> float:
    """Of the interval, with mean squares that are no smaller than the steps of readings can tell.

    A reading's rounding alone gives every mean square this expectation.
    """
    at_least = [(w, Source(s.name, max(s.ss, least * s.dof), s.dof)) for w, s in terms]
    return max(combination(terms).high, combination(at_least).high)
