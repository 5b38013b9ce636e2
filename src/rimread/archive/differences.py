"""Old results against new: how far apart, and whether that is more than both could be wrong by."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from rimread.archive.items import Earlier
from rimread.budget import Component, combine
from rimread.hardness import (
    RESOLUTION_MM,
    TestCondition,
    brinell,
    diameter_for,
    hand_reading,
    not_of_one_indent,
    parse_test,
    rounded,
)

__all__ = ["Difference", "difference"]

Why = Literal[
    "", "disagrees", "arithmetic", "failed-check", "refused-now", "no-number", "too-far-apart"
]


@dataclass(frozen=True, slots=True)
class Difference:
    """One earlier result and what the photo says now.

    Parameters
    ----------
    old_mm, old_hbw : float or None
        Mean diameter and hardness as they were; one from the other when only that was kept.
    U_old_mm : float or None
        Expanded uncertainty of `old_mm`: the manifest's, else that of a reading by eye.
    new_minus_old_mm, new_minus_old_hbw : float or None
        None when the photo is refused now.
    normalised_error : float or None
        New less old over the root of the sum of squares of both expanded uncertainties (ISO 13528,
        E_n, from memory): beyond ±1 they disagree.
    why : str
        Why the piece is worth pulling from the drawer: ``disagrees``; ``arithmetic``, the earlier
        hardness does not follow from the earlier diameter, or a mean not from its two;
        ``failed-check``; ``refused-now``; ``no-number``, the earlier figures cannot be those of
        this test; ``too-far-apart``, they cannot be those of this indent, and nothing is computed
        from them. Empty when it is not.
    """

    old_mm: float | None
    old_hbw: float | None
    U_old_mm: float | None
    new_minus_old_mm: float | None = None
    new_minus_old_hbw: float | None = None
    normalised_error: float | None = None
    why: Why = ""


def difference(
    record: Mapping[str, Any], *, resolution_mm: float = RESOLUTION_MM
) -> Difference | None:
    """Compare a record with what its manifest says was read before, None when it says nothing.

    Parameters
    ----------
    record : mapping
        Of an image entry made by `rimread.archive`.
    resolution_mm : float
        Step of earlier readings whose U is not given; their scope is taken at the limit of the
        standard (0.5 % of d).
    """
    earlier = Earlier(**(record.get("earlier") or {}))
    raw = Difference(earlier.diameter_mm, earlier.hbw, earlier.U_mm)
    if not record.get("test") or (raw.old_mm is None and raw.old_hbw is None):
        return None
    test, measured = parse_test(record["test"]), record["status"] == "measured"
    if measured and raw.old_mm and not_of_one_indent(raw.old_mm, record["mean_mm"]):
        return replace(raw, why="too-far-apart")  # wider than the ball, maybe: no hardness of it
    try:
        old_mm, old_hbw, U_old_mm = _old(earlier, test, resolution_mm)
    except ValueError:  # an indent wider than the ball, a hardness no indent gives
        return replace(raw, why="no-number")
    if not measured:
        return Difference(old_mm, old_hbw, U_old_mm, why="refused-now")
    if not_of_one_indent(old_mm, record["mean_mm"]):
        return replace(raw, why="too-far-apart")
    apart_mm = record["mean_mm"] - old_mm
    error = apart_mm / math.hypot(U_old_mm, record["U_mean_mm"])
    return Difference(
        old_mm=old_mm,
        old_hbw=old_hbw,
        U_old_mm=U_old_mm,
        new_minus_old_mm=apart_mm,
        new_minus_old_hbw=record["hbw"] - old_hbw,
        normalised_error=error,
        why=_why(record, earlier, test, error),
    )


def _old(earlier: Earlier, test: TestCondition, resolution_mm: float) -> tuple[float, float, float]:
    """Mean diameter, hardness and U of the diameter as they were."""
    old_mm, old_hbw = earlier.diameter_mm, earlier.hbw
    if old_mm is not None:
        by_formula = brinell(old_mm, test)
        U_mm = earlier.U_mm or hand_reading(old_mm, resolution_mm=resolution_mm).U
        return old_mm, by_formula if old_hbw is None else old_hbw, U_mm
    assert old_hbw is not None  # noqa: S101  (the caller has seen to it)
    old_mm = diameter_for(old_hbw, test)
    if earlier.U_mm:
        return old_mm, old_hbw, earlier.U_mm
    half_mm = (diameter_for(old_hbw - _half_step(old_hbw), test) - old_mm) / math.sqrt(3.0)
    parts = hand_reading(old_mm, resolution_mm=resolution_mm).components
    return old_mm, old_hbw, combine((*parts, Component("rounding of HBW", half_mm))).U


def _why(record: Mapping[str, Any], earlier: Earlier, test: TestCondition, error: float) -> Why:
    if abs(error) > 1.0:
        return "disagrees"
    if earlier.diameter_mm is not None and earlier.hbw is not None:
        by_formula = brinell(earlier.diameter_mm, test)
        slack = 2.0 * _half_step(earlier.hbw) + abs(
            by_formula - brinell(earlier.diameter_mm + _TABLE_STEP_MM / 2.0, test)
        )
        if abs(by_formula - earlier.hbw) > slack:
            return "arithmetic"
    written, of_two = earlier.mean_mm, earlier.diameter_mm
    apart_mm = 0.0 if written is None or of_two is None else abs(written - of_two)
    if apart_mm > _TABLE_STEP_MM / 2.0 + _LAST_BITS_MM:
        return "arithmetic"
    if any(check["outcome"] == "fail" for check in record["checks"]):
        return "failed-check"
    return ""


_LAST_BITS_MM = 1e-9  # of a mean of two decimals
_TABLE_STEP_MM = 0.01  # step of the printed d-to-HBW tables that people read hardness from


def _half_step(hbw: float) -> float:
    """Half the last digit of a hardness as reports print it."""
    return 0.5 * 10.0 ** -len(rounded(hbw).partition(".")[2])
