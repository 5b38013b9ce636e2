"""Bias, scatter, coverage and refusals of simulated photos, and what they are held against."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rimread.check import Check
from rimread.hardness.rules import rule_set
from rimread.validate.trial import Trial
from rimread.validate.working import Working

__all__ = ["CAUTION", "Cell", "Limits", "Validation", "summarised"]

CAUTION = (
    "These photos were simulated: they show what this program makes of such a scope, light and\n"
    "camera, not what your metal, ball, machine and people do. The test's own standard, a machine\n"
    "verified on a reference block and a qualified person decide what counts."
)

_CONFIDENCE = 0.95
_CELLS = 4
_SHARE_BEYOND = 0.05  # the largest error that is told leaves out this share
_GROSS_U = 2.0
_FEW = 100


@dataclass(frozen=True, slots=True)
class Limits:
    """What a validation is held against.

    Parameters
    ----------
    error_rel : float
        Largest error of the mean diameter, over the diameter, that 95 % of the photos may have.
    refused : float
        Largest share of refused photos.
    coverage, cell_coverage : float
        Least share of measured photos whose true value lies within U, over all and in a cell of
        the table. U claims 95.4 %; both limits are own choices, no source.
    """

    error_rel: float = rule_set("iso")["reading_rel"]
    refused: float = 0.2
    coverage: float = 0.93
    cell_coverage: float = 0.85

    def __post_init__(self) -> None:
        for name in ("refused", "coverage", "cell_coverage"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise ValueError(f"{name} is a share from 0 to 1 (got {getattr(self, name):g})")
        if not 0.0 < self.error_rel < 1.0:
            raise ValueError(
                f"error_rel is a share of the diameter above 0 (got {self.error_rel:g})"
            )


@dataclass(frozen=True, slots=True)
class Cell:
    """Figures of the photos in one range of diameters; None where there are too few for one.

    Parameters
    ----------
    low_mm, high_mm : float
        Range of the true mean diameter.
    photos, measured : int
        How many.
    bias_rel, u_bias_rel : float or None
        Mean error over the diameter, and its standard uncertainty.
    scatter_rel : float or None
        Standard deviation of the errors.
    error_95_rel : float or None
        Size of error that 95 % of the photos do not exceed.
    U_rel : float or None
        Median of the expanded uncertainties told.
    coverage, coverage_low, coverage_high : float or None
        Share whose true value lies within U, with its 95 % confidence interval (Clopper and
        Pearson, Biometrika 26 (1934) 404-413).
    gross : int
        Errors beyond twice U and beyond the limit.
    refused : mapping of str to int
        Refusals by code, the most frequent first.
    """

    low_mm: float
    high_mm: float
    photos: int
    measured: int
    bias_rel: float | None
    u_bias_rel: float | None
    scatter_rel: float | None
    error_95_rel: float | None
    U_rel: float | None
    coverage: float | None
    coverage_low: float | None
    coverage_high: float | None
    gross: int
    refused: Mapping[str, int]

    @property
    def refused_share(self) -> float:
        """Refused photos over all."""
        return 1.0 - self.measured / self.photos


@dataclass(frozen=True, slots=True)
class Validation:
    """What scope and program can do together, as far as simulation tells.

    Parameters
    ----------
    working : Working
        What was simulated.
    trials : tuple of Trial
        Every photo.
    whole : Cell
        Over the whole range.
    cells : tuple of Cell
        By diameter, rising.
    checks : tuple of Check
        Codes ``coverage``, ``cell-coverage``, ``error``, ``gross``, ``refusals``, ``count``.
    """

    working: Working
    trials: tuple[Trial, ...]
    whole: Cell
    cells: tuple[Cell, ...]
    checks: tuple[Check, ...]

    @property
    def failed(self) -> bool:
        """Whether a check failed."""
        return any(check.outcome == "fail" for check in self.checks)


def summarised(
    working: Working,
    trials: Sequence[Trial],
    *,
    limits: Limits = Limits(),
    cells: int = _CELLS,
) -> Validation:
    """Figures over the whole range and by diameter, held against the limits.

    Parameters
    ----------
    working : Working
    trials : sequence of Trial
        From `rimread.validate.trial.run`.
    limits : Limits
    cells : int
        Equal parts of the range of diameters.

    Raises
    ------
    ValueError
        If there are no trials or cells.
    """
    if not trials or cells < 1:
        raise ValueError(f"a validation needs trials and cells (got {len(trials)} and {cells})")
    width = (working.high_mm - working.low_mm) / cells
    bounds = [working.low_mm + width * i for i in range(cells)] + [working.high_mm]
    groups: list[list[Trial]] = [[] for _ in range(cells)]
    for trial in trials:
        groups[min(int((trial.true_mm - working.low_mm) / width), cells - 1)].append(trial)
    whole = _cell(working.low_mm, working.high_mm, trials, limits)
    parts = tuple(
        _cell(low, high, group, limits)
        for low, high, group in zip(bounds, bounds[1:], groups, strict=False)
        if group
    )
    return Validation(working, tuple(trials), whole, parts, _checks(whole, parts, trials, limits))


def _cell(low_mm: float, high_mm: float, trials: Sequence[Trial], limits: Limits) -> Cell:
    measured = [trial for trial in trials if trial.measured]
    errors = [trial.error_rel for trial in measured]
    n, several = len(measured), len(measured) > 1
    sd = statistics.stdev(errors) if several else None
    inside = sum(trial.covered for trial in measured)
    low, high = _interval(inside, n) if n else (None, None)
    refused = Counter(trial.code for trial in trials if not trial.measured)
    return Cell(
        low_mm=low_mm,
        high_mm=high_mm,
        photos=len(trials),
        measured=n,
        bias_rel=statistics.fmean(errors) if n else None,
        u_bias_rel=None if sd is None else sd / math.sqrt(n),
        scatter_rel=sd,
        error_95_rel=_exceeded_by(errors, _SHARE_BEYOND) if n else None,
        U_rel=statistics.median(trial.U_rel for trial in measured) if n else None,
        coverage=inside / n if n else None,
        coverage_low=low,
        coverage_high=high,
        gross=sum(_gross(trial, limits) for trial in measured),
        refused=dict(refused.most_common()),
    )


def _gross(trial: Trial, limits: Limits) -> bool:
    return abs(trial.error_rel) > max(_GROSS_U * trial.U_rel, limits.error_rel)


def _exceeded_by(errors: Sequence[float], share: float) -> float:
    """Size of error that at most this share of the photos exceeds."""
    sizes = sorted(map(abs, errors))
    return sizes[len(sizes) - 1 - int(share * len(sizes))]


def _interval(inside: int, n: int) -> tuple[float, float]:
    """Exact confidence interval of a share."""
    from scipy.special import betaincinv  # noqa: PLC0415  (kept out of start-up)

    tail = (1.0 - _CONFIDENCE) / 2.0
    low = float(betaincinv(inside, n - inside + 1, tail)) if inside else 0.0
    high = float(betaincinv(inside + 1, n - inside, 1.0 - tail)) if inside < n else 1.0
    return low, high


def _checks(
    whole: Cell, cells: Sequence[Cell], trials: Sequence[Trial], limits: Limits
) -> tuple[Check, ...]:
    if not whole.measured:
        message = f"none of {whole.photos} photos was measured: {_codes(whole)}"
        return (Check("refusals", "fail", message, "own limit"),)
    return (
        _coverage(whole, limits),
        _cell_coverage(cells, limits),
        _error(whole, limits),
        _no_gross(whole, trials, limits),
        _refusals(whole, limits),
        _count(whole),
    )


def _coverage(whole: Cell, limits: Limits) -> Check:
    assert whole.coverage is not None  # noqa: S101  (some were measured)
    assert whole.coverage_high is not None  # noqa: S101  (the same)
    message = (
        f"U holds the true diameter in {whole.coverage:.1%} of {whole.measured} photos "
        f"({whole.coverage_low:.1%} to {whole.coverage_high:.1%} with 95 % confidence), "
        f"at least {limits.coverage:.0%} asked"
    )
    good = whole.coverage_high >= limits.coverage
    return Check("coverage", "pass" if good else "fail", message, "own limit; U claims 95.4 %")


def _cell_coverage(cells: Sequence[Cell], limits: Limits) -> Check:
    found = [cell for cell in cells if cell.coverage is not None]
    worst = min(found, key=lambda cell: (cell.coverage_high or 0.0, cell.coverage or 0.0))
    message = (
        f"least coverage {worst.coverage:.1%} of {worst.measured} photos "
        f"({worst.coverage_low:.1%} to {worst.coverage_high:.1%} with 95 % confidence), "
        f"{worst.low_mm:.3g} mm to {worst.high_mm:.3g} mm, at least "
        f"{limits.cell_coverage:.0%} asked"
    )
    good = (worst.coverage_high or 0.0) >= limits.cell_coverage
    return Check("cell-coverage", "pass" if good else "fail", message, "own limit")


def _error(whole: Cell, limits: Limits) -> Check:
    assert whole.error_95_rel is not None  # noqa: S101  (some were measured)
    message = (
        f"95 % of the errors lie within {whole.error_95_rel:.2%} of d, limit {limits.error_rel:.2%}"
    )
    good = whole.error_95_rel <= limits.error_rel
    source = f"limit as given; without one {rule_set('iso').source('reading_rel')}"
    return Check("error", "pass" if good else "fail", message, source)


def _no_gross(whole: Cell, trials: Sequence[Trial], limits: Limits) -> Check:
    message = (
        f"errors beyond {_GROSS_U:g} U and beyond {limits.error_rel:.2%} of d: {whole.gross}, "
        f"none allowed"
    )
    if whole.gross:
        gross = [trial for trial in trials if trial.measured and _gross(trial, limits)]
        worst = max(gross, key=lambda t: abs(t.error_rel))
        message += (
            f"; the worst {worst.error_rel:+.1%} in photo {worst.index} ({worst.light} light, "
            f"{worst.finish}, {worst.true_mm:.3f} mm)"
        )
    return Check("gross", "fail" if whole.gross else "pass", message, "own limit")


def _refusals(whole: Cell, limits: Limits) -> Check:
    message = f"{whole.refused_share:.1%} refused, limit {limits.refused:.0%}"
    if whole.refused:
        message += f": {_codes(whole)}"
    good = whole.refused_share <= limits.refused
    return Check("refusals", "pass" if good else "fail", message, "own limit")


def _codes(cell: Cell) -> str:
    return ", ".join(f"{code} {count}" for code, count in cell.refused.items())


def _count(whole: Cell) -> Check:
    message = f"{whole.photos} photos, at least {_FEW} tell shares to a few per cent"
    good = whole.photos >= _FEW
    return Check("count", "pass" if good else "warn", message, "binomial scatter of a share")
