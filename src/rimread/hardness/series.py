"""Several indents that make one result: mean, scatter, policies, odd ones flagged."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

from rimread.budget import Budget
from rimread.check import Check, within
from rimread.hardness.condition import TestCondition
from rimread.hardness.formula import brinell, designation, rounded
from rimread.hardness.rules import RuleSet, rule_set

__all__ = [
    "Indent",
    "Policy",
    "Series",
    "grubbs_critical",
    "not_of_one_indent",
    "permissible_error",
    "repeatability_limit",
    "series_checks",
    "series_from_indents",
    "too_unequal",
]

Policy = Literal["all", "drop-extremes"]
"""`all`: the standard's way. `drop-extremes`: highest and lowest go, common practice, no source."""

_DROP_FROM: Final = 5  # "take five, drop the highest and the lowest"
_OUTLIER_LEVEL: Final = 0.05
_MOST_OVAL: Final = 1.5
"""No indent is so oval; a slip of the pen, a decimal comma or a second unit makes such pairs."""
_MOST_APART: Final = 0.1
"""A reading further from the image than this share of d belongs to another indent or unit:
10 % of d is 20 % of HBW. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Indent:
    """Two orthogonal diameters of one indent.

    Parameters
    ----------
    d1_mm, d2_mm : float
        Diameters.
    budget : Budget or None
        Of the mean diameter, in mm; None where nothing is known of the reading.
    name : str
        Photo or place, for people.
    scale : str
        Hash of the scale file it was read with, empty where that is not known or there is none.
    """

    d1_mm: float
    d2_mm: float
    budget: Budget | None = None
    name: str = ""
    scale: str = ""

    @property
    def mean_mm(self) -> float:
        """Mean diameter."""
        return (self.d1_mm + self.d2_mm) / 2.0


@dataclass(frozen=True, slots=True)
class Series:
    """One result from n indents, every value kept.

    Parameters
    ----------
    test : TestCondition
        The condition of all of them.
    indents : tuple of Indent
        In the order given.
    hbw : tuple of float
        One value per indent, unrounded.
    used : tuple of bool
        Whether the value goes into the mean.
    policy : {"all", "drop-extremes"}
        How `used` was chosen.
    outlier : int or None
        Index of the value that Grubbs' test finds odd at 5 %; it is flagged and stays in.
    """

    test: TestCondition
    indents: tuple[Indent, ...]
    hbw: tuple[float, ...]
    used: tuple[bool, ...]
    policy: Policy
    outlier: int | None

    @property
    def used_indents(self) -> tuple[Indent, ...]:
        """Indents that go into the mean."""
        return tuple(i for i, used in zip(self.indents, self.used, strict=True) if used)

    @property
    def has_budgets(self) -> bool:
        """Whether something is known of the reading of each indent in the mean."""
        return all(indent.budget is not None for indent in self.used_indents)

    @property
    def mean_hbw(self) -> float:
        """Mean of the used values."""
        return statistics.fmean(h for h, used in zip(self.hbw, self.used, strict=True) if used)

    @property
    def mean_mm(self) -> float:
        """Mean of the used mean diameters."""
        return statistics.fmean(i.mean_mm for i in self.used_indents)

    @property
    def sd_hbw(self) -> float | None:
        """Standard deviation of all values, dropped ones too; None for a single indent."""
        return statistics.stdev(self.hbw) if len(self.hbw) > 1 else None

    @property
    def range_hbw(self) -> float:
        """Highest less lowest of all values."""
        return max(self.hbw) - min(self.hbw)

    @property
    def range_rel_hbw(self) -> float:
        """Range of HBW over the mean of all HBW."""
        return self.range_hbw / statistics.fmean(self.hbw)

    @property
    def range_rel_d(self) -> float:
        """Range of the mean diameters over their mean (ASTM E10-08 3.2.2), about half as much."""
        d = [i.mean_mm for i in self.indents]
        return (max(d) - min(d)) / statistics.fmean(d)

    @property
    def designation(self) -> str:
        """The mean as a report writes it."""
        return designation(self.mean_hbw, self.test)


def too_unequal(d1_mm: float, d2_mm: float) -> bool:
    """Whether two diameters that were typed cannot be those of one indent."""
    return max(d1_mm, d2_mm) > _MOST_OVAL * min(d1_mm, d2_mm)


def not_of_one_indent(read_mm: float, image_mm: float) -> str:
    """Why a mean diameter that was read cannot be of the indent in the image, "" when it can."""
    apart = abs(read_mm / image_mm - 1.0)
    if apart <= _MOST_APART:
        return ""
    return (
        f"mean of {read_mm:.3f} mm is {apart:.0%} off the image's {image_mm:.3f} mm: another "
        "indent, another unit or a slip of the pen"
    )


def series_from_indents(
    indents: Sequence[Indent], test: TestCondition, *, policy: Policy = "all"
) -> Series:
    """Take n indents together.

    Raises
    ------
    ValueError
        If there are none, the policy is unknown, or there are too few to drop two.
    """
    if not indents:
        raise ValueError("a series needs at least one indent (got none)")
    if policy not in get_args(Policy):
        raise ValueError(f"policy must be one of {', '.join(get_args(Policy))} (got {policy!r})")
    if policy == "drop-extremes" and len(indents) < _DROP_FROM:
        raise ValueError(f"drop-extremes needs at least {_DROP_FROM} indents (got {len(indents)})")
    hbw = tuple(brinell(i.mean_mm, test) for i in indents)
    used = [True] * len(hbw)
    if policy == "drop-extremes":
        used[hbw.index(max(hbw))] = False
        used[len(hbw) - 1 - hbw[::-1].index(min(hbw))] = False
    return Series(test, tuple(indents), hbw, tuple(used), policy, _outlier(hbw))


def series_checks(series: Series, *, rules: str | RuleSet = "iso") -> tuple[Check, ...]:
    """Checks of the series as a whole: codes ``agreement``, ``outlier``."""
    chosen = rule_set(rules)
    return (_agreement(series, chosen), _outlier_check(series))


def repeatability_limit(hbw: float, rules: RuleSet) -> tuple[float, str]:
    """Permitted relative range of block indents at this hardness, and its source."""
    name = f"repeatability_rel_{_class_of(hbw, rules)}"
    return rules[name], rules.source(name)


def permissible_error(hbw: float, rules: RuleSet) -> tuple[float, str]:
    """Permitted relative error of the machine on a block of this hardness, and its source."""
    name = f"error_rel_{_class_of(hbw, rules)}"
    return rules[name], rules.source(name)


def grubbs_critical(n: int, level: float) -> float:
    """Two-sided critical value of Grubbs' test (Grubbs, Technometrics 11 (1969) 1-21).

    Parameters
    ----------
    n : int
        Number of values, at least 3.
    level : float
        Chance to flag one value of a normal sample.
    """
    from scipy.special import stdtrit  # noqa: PLC0415  (kept out of start-up)

    t = float(stdtrit(n - 2, 1.0 - level / (2.0 * n)))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def _class_of(hbw: float, rules: RuleSet) -> str:
    if hbw <= rules["class_low_hbw"]:
        return "low"
    return "mid" if hbw <= rules["class_high_hbw"] else "high"


def _outlier(values: Sequence[float]) -> int | None:
    if len(values) < 3:
        return None
    mean, sd = statistics.fmean(values), statistics.stdev(values)
    far = [abs(v - mean) for v in values]
    decimals = len(rounded(mean).partition(".")[2])
    if max(far) < 0.5 * 10.0**-decimals:  # less than a report tells apart
        return None
    if max(far) <= grubbs_critical(len(values), _OUTLIER_LEVEL) * sd:
        return None
    return far.index(max(far))


def _agreement(series: Series, rules: RuleSet) -> Check:
    limit, source = repeatability_limit(series.mean_hbw, rules)
    on_d = rules.repeatability_on == "d"
    spread = series.range_rel_d if on_d else series.range_rel_hbw
    message = (
        f"the {len(series.hbw)} indents range over {spread:.1%} of {'d' if on_d else 'HBW'}, "
        f"a block is allowed {limit:.1%}; more in a piece speaks of its material, its surface or "
        f"the reading"
    )
    source = f"common practice, no source: the block's limit as a mark ({source})"
    return Check("agreement", "pass" if within(spread, limit) else "warn", message, source)


def _outlier_check(series: Series) -> Check:
    source = "Grubbs, Technometrics 11 (1969) 1-21, two-sided at 5 %"
    if len(series.hbw) < 3:
        return Check("outlier", "pass", "too few indents to call one of them odd", source)
    if series.outlier is None:
        return Check("outlier", "pass", "no value is odd among the others", source)
    value = series.hbw[series.outlier]
    message = (
        f"value {series.outlier + 1} ({rounded(value)} HBW) is odd among the others; it is kept, "
        f"look at the indent and say in the report what was found"
    )
    return Check("outlier", "warn", message, source)
