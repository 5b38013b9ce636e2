"""Means, scatters and sums of squares with their confidence intervals."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "CONFIDENCE",
    "Estimate",
    "OneWay",
    "Source",
    "combination",
    "crossed",
    "mean_with_interval",
    "one_way",
    "sd_with_interval",
    "step_sd",
    "student",
]

Array = NDArray[np.float64]

CONFIDENCE = 0.95
"""Of every interval in this package."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with the ends of its confidence interval, in the unit of the value.

    Parameters
    ----------
    value : float
        The estimate.
    low, high : float
        Ends of the interval; NaN when too few readings stand behind it.
    dof : float
        Degrees of freedom, 0 when the interval is unknown.
    """

    value: float
    low: float
    high: float
    dof: float

    @property
    def known(self) -> bool:
        """Whether there is an interval."""
        return math.isfinite(self.low) and math.isfinite(self.high)

    @property
    def excludes_zero(self) -> bool:
        """Whether zero lies outside the interval; False when there is none."""
        return self.known and (self.low > 0.0 or self.high < 0.0)

    def scaled(self, factor: float) -> Estimate:
        """The estimate in another unit; a negative factor swaps the ends."""
        ends = sorted((factor * self.low, factor * self.high)) if self.known else (math.nan,) * 2
        return Estimate(factor * self.value, ends[0], ends[1], self.dof)


@dataclass(frozen=True, slots=True)
class Source:
    """One line of an analysis of variance."""

    name: str
    ss: float
    dof: int

    @property
    def ms(self) -> float:
        """Mean square; NaN without degrees of freedom."""
        return self.ss / self.dof if self.dof else math.nan


@dataclass(frozen=True, slots=True)
class OneWay:
    """Analysis of variance with one factor."""

    between: Source
    within: Source


def student(dof: float, confidence: float = CONFIDENCE) -> float:
    """Student's t for a two-sided interval."""
    from scipy.special import stdtrit  # noqa: PLC0415  (kept out of start-up)

    return float(stdtrit(dof, 0.5 + confidence / 2.0))


def step_sd(step: float) -> float:
    """Least standard deviation that readings in steps can show, step / √12.

    A value rounded to steps lies anywhere within half a step of what is written, rectangular (GUM,
    JCGM 100:2008, F.2.2.1): repeats that come out alike do not show that there is less.
    """
    return step / math.sqrt(12.0)


def mean_with_interval(values: ArrayLike, *, least_sd: float = 0.0) -> Estimate:
    """Mean of independent values and its Student interval; no interval for a single value.

    Parameters
    ----------
    values : array_like
    least_sd : float
        Taken where the values scatter less, see `step_sd`.

    Raises
    ------
    ValueError
        If there is no value, or one is not finite.
    """
    x = _finite(values)
    mean = float(x.mean())
    if len(x) < 2:
        return Estimate(mean, math.nan, math.nan, 0)
    sd = max(float(x.std(ddof=1)), least_sd)
    half = student(len(x) - 1) * sd / math.sqrt(len(x))
    return Estimate(mean, mean - half, mean + half, len(x) - 1)


def sd_with_interval(variance: float, dof: int, *, least_sd: float = 0.0) -> Estimate:
    """Standard deviation with its chi-square interval.

    A scatter below `least_sd` (see `step_sd`) is not seen: that is given then, the interval starts
    at zero and ends where it does for `least_sd`.
    """
    if variance < least_sd**2:
        return Estimate(least_sd, 0.0, math.sqrt(_variance_ends(least_sd**2, dof)[1]), dof)
    low, high = _variance_ends(variance, dof)
    return Estimate(math.sqrt(variance), math.sqrt(low), math.sqrt(high), dof)


def one_way(groups: Iterable[ArrayLike]) -> OneWay:
    """Sums of squares between and within groups.

    The grand mean is taken off first, so that leading digits all values share do no harm (NIST
    StRD, the sets with 7 and 13 constant leading digits).

    Raises
    ------
    ValueError
        If a group is empty or holds values that are not finite.
    """
    arrays = [_finite(group) for group in groups]
    every = np.concatenate(arrays)
    centre = every[0] + (every - every[0]).mean()
    shifted = [array - centre for array in arrays]
    means = [float(array.mean()) for array in shifted]
    grand = float(np.concatenate(shifted).mean())
    between = sum(len(a) * (m - grand) ** 2 for a, m in zip(shifted, means, strict=True))
    within = sum(float(np.sum((a - m) ** 2)) for a, m in zip(shifted, means, strict=True))
    return OneWay(
        Source("between", between, len(arrays) - 1),
        Source("within", within, len(every) - len(arrays)),
    )


def crossed(values: Array) -> tuple[Source, Source, Source, Source]:
    """Sums of squares of a balanced crossed study.

    Parameters
    ----------
    values : ndarray, shape (indents, operators, trials)
        At least two of each.

    Returns
    -------
    tuple of Source
        Indent, operator, operator × indent, repeatability.

    Raises
    ------
    ValueError
        If the shape is another one or a value is not finite.
    """
    if values.ndim != 3 or min(values.shape) < 2:
        msg = (
            f"a crossed study needs two or more indents, operators and trials (got {values.shape})"
        )
        raise ValueError(msg)
    _finite(values.ravel())
    y = values - values.mean()
    y = y - y.mean()  # what rounding left of the mean
    parts, people, trials = y.shape
    cell = y.mean(axis=2)
    part, person = cell.mean(axis=1), cell.mean(axis=0)
    rest = cell - part[:, None] - person[None, :]
    return (
        Source("indent", people * trials * float(np.sum(part**2)), parts - 1),
        Source("operator", parts * trials * float(np.sum(person**2)), people - 1),
        Source("operator × indent", trials * float(np.sum(rest**2)), (parts - 1) * (people - 1)),
        Source(
            "repeatability",
            float(np.sum((y - cell[:, :, None]) ** 2)),
            parts * people * (trials - 1),
        ),
    )


def combination(terms: Sequence[tuple[float, Source]]) -> Estimate:
    """A weighted sum of mean squares and its interval, as variance components are.

    The interval joins the chi-square intervals of the mean squares (modified large-sample method:
    Graybill and Wang 1980, J. Am. Stat. Assoc. 75:869; for negative weights as in Zou and Donner
    2008, Stat. Med. 27:1693; both from memory, coverage by simulation in the tests).

    Parameters
    ----------
    terms : sequence of (float, Source)
        Weight and mean square. The sum may come out negative.
    """
    value = sum(weight * source.ms for weight, source in terms)
    down = up = 0.0
    for weight, source in terms:
        low, high = _variance_ends(source.ms, source.dof)
        under, over = weight * (source.ms - low), weight * (high - source.ms)
        down += under**2 if weight > 0.0 else over**2
        up += over**2 if weight > 0.0 else under**2
    return Estimate(
        value, value - math.sqrt(down), value + math.sqrt(up), min(s.dof for _, s in terms)
    )


def _variance_ends(variance: float, dof: int) -> tuple[float, float]:
    if dof < 1:
        return math.nan, math.nan
    from scipy.special import chdtri  # noqa: PLC0415  (kept out of start-up)

    tail = (1.0 - CONFIDENCE) / 2.0
    return dof * variance / float(chdtri(dof, tail)), dof * variance / float(
        chdtri(dof, 1.0 - tail)
    )


def _finite(values: ArrayLike) -> Array:
    x = np.asarray(values, dtype=np.float64).reshape(-1)
    if not (len(x) and np.all(np.isfinite(x))):
        raise ValueError(f"statistics need one or more finite values (got {x.tolist()})")
    return x
