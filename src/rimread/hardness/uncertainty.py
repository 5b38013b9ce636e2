"""The uncertainty of HBW by the GUM: from the parts, or through the reference block.

Three ways to one statement, never mixed:

- `from_parts`: force, ball and reading, each known by itself (direct verification);
- `from_permissible_error`: the block passed, so the machine is taken to be anywhere within its
  permissible error (ISO 6506-1 annex C, first method);
- `from_bias`: the block's error is taken off and its uncertainty stays (second method).

The annex could not be read; its structure is from memory. It widens s/√n by Student's t at 68 %
and then uses k = 2; here the degrees of freedom are kept instead and k comes from
Welch-Satterthwaite (GUM G.4), which serves small numbers more strictly.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from rimread.budget import Budget, Component, combine, in_step
from rimread.hardness.block import Verification
from rimread.hardness.condition import TestCondition
from rimread.hardness.formula import designation, sensitivities
from rimread.hardness.readings import mean_on_block, reading_and_scatter
from rimread.hardness.rules import RuleSet, rule_set
from rimread.hardness.series import Series, permissible_error

__all__ = [
    "Statement",
    "ball_tolerance_mm",
    "from_bias",
    "from_parts",
    "from_permissible_error",
    "statement_by",
]

_E_DIVISOR: Final = 2.8  # u of a permissible error, ISO 6506-1 annex C, from memory
_TELLING: Final = 4
"""Fewer indents hardly tell the scatter: where it makes up most of U beside force and ball,
Welch-Satterthwaite's U holds for two in 87 to 90 and for three in 92 to 94 of 100 trials
(tests/hardness/test_uncertainty.py draws them)."""

Way = Literal["parts", "permissible-error", "bias"]


@dataclass(frozen=True, slots=True)
class Statement:
    """A hardness and its uncertainty, ready to be written down.

    Parameters
    ----------
    way : {"parts", "permissible-error", "bias"}
        How the machine got into it.
    hbw : float
        The value the uncertainty belongs to; under `bias` with the block's error taken off.
    budget : Budget
        In HBW.
    bias_hbw : float
        What was taken off, 0 under the other ways.
    test : TestCondition
        Ball, force, dwell.
    covers : str
        What is in the uncertainty and what is not, in words.
    """

    way: Way
    hbw: float
    budget: Budget
    bias_hbw: float
    test: TestCondition
    covers: str

    @property
    def U_uncorrected(self) -> float:  # noqa: N802
        """U for the value as measured, with the block's error left in: U + |b|."""
        return self.budget.U + abs(self.bias_hbw)

    @property
    def designation(self) -> str:
        """The value as a report writes it."""
        return designation(self.hbw, self.test)

    @property
    def text(self) -> str:
        """E.g. ``229 HBW 10/3000, U = 4.1 HBW (1.8 %), k = 2.00``."""
        U = self.budget.U
        return (
            f"{self.designation}, U = {in_step(self.hbw, U)[1]} HBW "
            f"({U / self.hbw:.1%}), k = {self.budget.k:.2f}"
        )


def statement_by(
    way: Way,
    series: Series,
    verification: Verification | None = None,
    *,
    rules: str | RuleSet = "iso",
    daily_errors_rel: Sequence[float] = (),
) -> Statement | None:
    """Uncertainty by one of the three ways; None where an indent in the mean has no budget.

    Parameters
    ----------
    way : {"parts", "permissible-error", "bias"}
        Which; all but the first need `verification`.
    series, verification, rules, daily_errors_rel
        As in `from_parts`, `from_permissible_error` and `from_bias`.

    Raises
    ------
    ValueError
        If the indents on the block are missing, or by the rules of the way.
    """
    if way != "parts" and verification is None:
        raise ValueError(f"the way {way!r} to the uncertainty needs the indents on the block")
    if not series.has_budgets:
        return None
    if way == "parts" or verification is None:
        return from_parts(series, rules=rules)
    if way == "bias":
        return from_bias(series, verification, daily_errors_rel=daily_errors_rel)
    return from_permissible_error(series, verification, rules=rules)


def from_parts(series: Series, *, rules: str | RuleSet = "iso") -> Statement:
    """Uncertainty from force, ball, reading and scatter.

    Parameters
    ----------
    series : Series
        The indents, each with a budget of its mean diameter.
    rules : {"iso", "astm"} or RuleSet
        Permitted deviations of force and ball, each rectangular.

    Raises
    ------
    ValueError
        If an indent has no budget.
    """
    chosen = rule_set(rules)
    force, ball = chosen["force_rel"], ball_tolerance_mm(series.test, chosen)
    H, slope = series.mean_hbw, sensitivities(series.mean_mm, series.test)
    machine = (
        Component(
            "force", H * force / math.sqrt(3.0), how=f"±{force:.2%}, rectangular", common=True
        ),
        Component(
            "ball diameter",
            H * slope.ball * ball / series.test.ball_mm / math.sqrt(3.0),
            how=f"±{ball:g} mm, rectangular",
            common=True,
        ),
    )
    parts = (*machine, *reading_and_scatter(series))
    covers = f"force, ball, reading{_material(series)}; no block was taken into account"
    return Statement("parts", H, combine(parts), 0.0, series.test, covers)


def from_permissible_error(
    series: Series, verification: Verification, *, rules: str | RuleSet = "iso"
) -> Statement:
    """Uncertainty with the machine's permissible error, the block having passed.

    U = k sqrt(u_E² + u_CRM² + u_H² + u_x² + u_ms²) with u_E = |E|/2.8.

    Raises
    ------
    ValueError
        If the block failed or was measured under another test, or an indent has no budget.
    """
    _matches(series, verification)
    if not verification.passed:
        raise ValueError(
            f"block {verification.block.serial} did not pass, so the permissible error says "
            f"nothing about this machine"
        )
    H = series.mean_hbw
    certified = verification.block.certified_hbw
    limit, source = permissible_error(certified, rule_set(rules))
    machine = Component(
        "permissible error",
        _carried(verification, H) * limit / _E_DIVISOR,
        how=f"±{limit:.1%} / 2.8; {source}",
        common=True,
    )
    parts = (machine, *_block_parts(verification, series, H), *reading_and_scatter(series))
    covers = f"machine within its permissible error, block, reading{_material(series)}"
    return Statement("permissible-error", H, combine(parts), 0.0, series.test, covers)


def from_bias(
    series: Series, verification: Verification, *, daily_errors_rel: Sequence[float] = ()
) -> Statement:
    """Uncertainty with the block's error taken off.

    The error is carried over in proportion, x' = x H_CRM / H, which is x - b where the piece is
    as hard as the block. U = k sqrt(u_CRM² + u_H² + u_x² + u_ms² + u_b²).

    Parameters
    ----------
    series : Series
        Indents on the piece.
    verification : Verification
        Indents on the block.
    daily_errors_rel : sequence of float
        Relative errors on earlier days; from two on their standard deviation is u_b.

    Raises
    ------
    ValueError
        If the block was measured under another test, or an indent has no budget.
    """
    _matches(series, verification)
    H = series.mean_hbw / (1.0 + verification.error_rel)
    scale = H / series.mean_hbw
    parts = list(_block_parts(verification, series, H))
    parts += [replace(part, u=part.u * scale) for part in reading_and_scatter(series)]
    left_out = "; not the machine's change from day to day"
    if len(daily_errors_rel) >= 2:
        sd = statistics.stdev(daily_errors_rel)
        parts.append(
            Component(
                "bias, day to day",
                H * sd,
                dof=len(daily_errors_rel) - 1,
                how=f"standard deviation over {len(daily_errors_rel)} days",
            )
        )
        left_out = ""
    covers = f"block, reading{_material(series)}, the block's error taken off{left_out}"
    return Statement("bias", H, combine(parts), series.mean_hbw - H, series.test, covers)


def ball_tolerance_mm(test: TestCondition, rules: RuleSet) -> float:
    """Permitted deviation of the ball's diameter."""
    if test.ball_mm >= 10.0:
        return rules["ball_tolerance_10_mm"]
    return rules["ball_tolerance_5_mm" if test.ball_mm >= 5.0 else "ball_tolerance_small_mm"]


def _carried(verification: Verification, hbw: float) -> float:
    """The hardness at which the block's relative figures are taken: the higher of the two.

    The annex carries them over in HBW, nature rather in proportion; this way neither is undercut.
    """
    return max(hbw, verification.block.certified_hbw)


def _block_parts(verification: Verification, piece: Series, hbw: float) -> tuple[Component, ...]:
    block, at = verification.block, _carried(verification, hbw)
    mean = mean_on_block(verification.series, piece)
    return (
        Component(
            "reference block",
            at * block.u_rel,
            how=f"certificate {block.serial}: U = {block.U_hbw:g} HBW, k = {block.k:g}",
            common=True,
        ),
        replace(mean, u=mean.u * at / block.certified_hbw),
    )


def _matches(series: Series, verification: Verification) -> None:
    if series.test.name != verification.block.test.name:
        raise ValueError(
            f"block {verification.block.serial} is certified for HBW "
            f"{verification.block.test.name} and says nothing about {series.test.name}"
        )


def _material(series: Series) -> str:
    n = len(series.hbw)
    if n == 1:
        return ", not the piece's scatter"
    little = f", of which {n} indents tell little: it may be more" if n < _TELLING else ""
    return f" and scatter of the piece{little}"
