"""A validation as a picture, drawn with matplotlib (extra ``rimread[figures]``)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rimread import plot
from rimread.validate.summary import Cell, Limits, Validation
from rimread.validate.trial import Trial

if TYPE_CHECKING:  # an extra: imported when something is drawn
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw"]

_INSIDE, _OUTSIDE, _GREY = "#0072B2", "#D55E00", "#808080"
"""Two of Okabe and Ito, "Color Universal Design" (2008)."""
_REACH = 2.0
"""Half height of the axis of errors, in limits."""


def draw(found: Validation, limits: Limits) -> Figure:
    """Errors with their U over the diameter; below, coverage and refusals cell by cell.

    Raises
    ------
    ValueError
        If matplotlib is not installed.
    """
    plot.needed()
    from matplotlib import rc_context  # noqa: PLC0415  (an extra)
    from matplotlib.figure import Figure  # noqa: PLC0415  (an extra)

    with rc_context(plot.STYLE):
        figure = Figure(figsize=(7.6, 6.4), layout="constrained")
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        _errors(above, found, limits)
        _shares(below, found, limits)
        figure.suptitle(
            f"{found.whole.photos} simulated photos, {found.working.scale.label}, "
            f"HBW {found.working.test.name}",
            fontsize="medium",
            x=0.01,
            ha="left",
        )
    return figure


def _errors(axes: Axes, found: Validation, limits: Limits) -> None:
    axes.axhline(0.0, color=_GREY, linewidth=0.8)
    for sign in (-1.0, 1.0):
        axes.axhline(sign * 100 * limits.error_rel, color=_GREY, linestyle=":", linewidth=1.0)
    measured = [trial for trial in found.trials if trial.measured]
    for trials, colour, label in (
        ([t for t in measured if t.covered], _INSIDE, "true value within U"),
        ([t for t in measured if not t.covered], _OUTSIDE, "true value beyond U"),
    ):
        _points(axes, trials, colour, label)
    for cell in found.cells:
        _bias(axes, cell)
    _far_off(axes, measured, _REACH * 100 * limits.error_rel)
    axes.set_ylabel("error in % of d, bars: U")
    _key(axes)


def _points(axes: Axes, trials: list[Trial], colour: str, label: str) -> None:
    if trials:
        axes.errorbar(
            [t.true_mm for t in trials],
            [100 * t.error_rel for t in trials],
            [100 * t.U_rel for t in trials],
            fmt=".",
            color=colour,
            elinewidth=0.5,
            markersize=4,
            alpha=0.7,
            label=f"{label} ({len(trials)})",
        )


def _far_off(axes: Axes, trials: list[Trial], reach: float) -> None:
    """Errors beyond the axis as arrows at its end, so that one does not flatten all others."""
    axes.set_ylim(-reach, reach)
    for trial in trials:
        error = 100 * trial.error_rel
        if abs(error) <= reach:
            continue
        edge, mark = (reach, "^") if error > 0 else (-reach, "v")
        axes.plot(trial.true_mm, 0.96 * edge, mark, color=_OUTSIDE, markersize=6)
        axes.annotate(
            f"{error:+.1f}",
            (trial.true_mm, 0.96 * edge),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            fontsize="small",
        )


def _bias(axes: Axes, cell: Cell) -> None:
    if cell.bias_rel is None:
        return
    span = [cell.low_mm, cell.high_mm]
    axes.plot(span, [100 * cell.bias_rel] * 2, color="black", linewidth=1.8)
    if cell.scatter_rel is not None:
        low, high = (100 * (cell.bias_rel + s * cell.scatter_rel) for s in (-1.0, 1.0))
        axes.fill_between(span, low, high, color="black", alpha=0.12, linewidth=0.0)


def _shares(axes: Axes, found: Validation, limits: Limits) -> None:
    for index, cell in enumerate(found.cells):
        middle, width = (cell.low_mm + cell.high_mm) / 2, cell.high_mm - cell.low_mm
        axes.bar(
            middle,
            100 * cell.refused_share,
            0.9 * width,
            color=_OUTSIDE,
            alpha=0.5,
            label="" if index else "refused",
        )
        if cell.coverage is None or cell.coverage_low is None or cell.coverage_high is None:
            continue
        axes.errorbar(
            middle,
            100 * cell.coverage,
            [
                [100 * (cell.coverage - cell.coverage_low)],
                [100 * (cell.coverage_high - cell.coverage)],
            ],
            fmt="o",
            color=_INSIDE,
            capsize=3,
        )
    axes.axhline(100 * limits.cell_coverage, color=_GREY, linestyle=":", linewidth=1.0)
    axes.set_ylim(0, 103)
    axes.set_xlabel("mean diameter in mm")
    axes.set_ylabel("% of photos")
    axes.plot([], [], "o", color=_INSIDE, label="true value within U, 95 % confidence")
    _key(axes)


def _key(axes: Axes) -> None:
    if not axes.get_legend_handles_labels()[1]:
        return
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False, borderpad=0)
