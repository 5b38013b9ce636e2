"""Limits of agreement between a person and the image (Bland and Altman)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rimread.agreement.statistics import (
    Estimate,
    mean_with_interval,
    one_way,
    student,
)

__all__ = ["FACTOR", "Limits", "limits_of_agreement", "normalised_error"]

FACTOR = 1.96
"""Standard deviations to either side: Bland and Altman 1999; their paper of 1986 took 2."""

FEW = 40
"""Below so many indents the intervals of the limits, taken as a pair, are too narrow: Carkeet and
Goh 2018."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Between which differences 95 % of single readings are expected to lie.

    Parameters
    ----------
    sd : float
        Of the difference of a single reading.
    low, high : Estimate
        The limits, each with its interval.
    further : Estimate
        Mean difference, and between which one further reading is expected: the limits are where
        they would be if mean and scatter were known, which after few indents they are not.
    indents : int
        How many stand behind them.
    """

    sd: float
    low: Estimate
    high: Estimate
    further: Estimate
    indents: int


def limits_of_agreement(
    groups: Sequence[ArrayLike], *, factor: float = FACTOR, least_sd: float = 0.0
) -> Limits:
    """Limits of agreement from differences, one or more per indent.

    Bland and Altman, Lancet 327 (1986) 307, and, for repeats on the same indent, Stat. Methods
    Med. Res. 8 (1999) 135, sections 2 and 5 (from memory): with s_d̄ the standard deviation of
    the indents' mean differences and s_w that of repeats, the variance of a single difference is
    s_d̄² + (1 - mean(1/m)) s_w². The standard errors are theirs too. Their intervals are
    approximations: both limits taken together they are too narrow below 40 indents (Carkeet and
    Goh, Stat. Methods Med. Res. 27 (2018) 1559); each by itself holds the truth 94 times in 100
    at 10 indents (simulation in the tests).

    Parameters
    ----------
    groups : sequence of array_like
        The differences on each indent.
    factor : float
        Standard deviations to either side.
    least_sd : float
        Of a single reading, where its steps show less; for the further reading only.

    Raises
    ------
    ValueError
        If there are fewer than two indents.
    """
    n = len(groups)
    if n < 2:
        raise ValueError(f"limits of agreement need two or more indents (got {n})")
    arrays = [np.asarray(group, dtype=np.float64).reshape(-1) for group in groups]
    bias = mean_with_interval([float(a.mean()) for a in arrays])
    means = np.array([a.mean() for a in arrays])
    between = float(means.var(ddof=1))
    within = one_way(arrays).within
    share = 1.0 - float(np.mean([1.0 / len(a) for a in arrays]))
    repeats = share * within.ms if within.dof else 0.0
    variance = between + repeats
    # variance of the variance, then of its root (1999, section 5)
    spread = 2.0 * between**2 / (n - 1) + (2.0 * repeats**2 / within.dof if within.dof else 0.0)
    of_sd = spread / (4.0 * variance) if variance > 0.0 else 0.0
    half = student(n - 1) * math.sqrt(between / n + factor**2 * of_sd)
    sd = math.sqrt(variance)
    low, high = bias.value - factor * sd, bias.value + factor * sd
    return Limits(
        sd=sd,
        low=Estimate(low, low - half, low + half, n - 1),
        high=Estimate(high, high - half, high + half, n - 1),
        further=_further(arrays, between, repeats, least_sd),
        indents=n,
    )


def _further(
    groups: Sequence[NDArray[np.float64]], between: float, repeats: float, least_sd: float
) -> Estimate:
    """Prediction interval of one further reading, on an indent of its own.

    Without repeats it is x̄ ± t(0.975, n - 1) s √(1 + 1/n) (Hahn and Meeker, Statistical Intervals,
    1991, section 4.7, from memory). With repeats the variance is a sum of two mean squares, with
    the degrees of freedom of Welch and Satterthwaite (Biometrics Bull. 2 (1946) 110).
    """
    n = len(groups)
    mean = float(np.mean([group.mean() for group in groups]))
    of_means = (1.0 + 1.0 / n) * between
    variance, dof = of_means + repeats, float(n - 1)
    least = (1.0 + 1.0 / n) * least_sd**2
    if variance <= least:
        variance = least
    elif repeats > 0.0:
        within = sum(map(len, groups)) - n
        dof = variance**2 / (of_means**2 / (n - 1) + repeats**2 / within)
    half = student(dof) * math.sqrt(variance)
    return Estimate(mean, mean - half, mean + half, dof)


def normalised_error(value: float, reference: float, U_value: float, U_reference: float) -> float:
    """E_n = (x - X) / sqrt(U(x)² + U(X)²), both U expanded with k = 2.

    ISO 13528 (E_n scores) and ISO/IEC 17043 annex B, from memory: |E_n| ≤ 1 says that the
    difference is within what both sides claim.

    Raises
    ------
    ValueError
        If both uncertainties are zero, or one is negative or not finite.
    """
    both = math.hypot(U_value, U_reference)
    if not (min(U_value, U_reference) >= 0.0 and math.isfinite(both) and both > 0.0):
        msg = (
            f"a normalised error needs expanded uncertainties above 0 "
            f"(got {U_value:g} and {U_reference:g})"
        )
        raise ValueError(msg)
    return (value - reference) / both
