"""Series of indents: mean, policies, odd ones."""

from __future__ import annotations

import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from rimread.budget import Component, combine
from rimread.hardness import (
    Indent,
    TestCondition,
    brinell,
    diameter_for,
    series_checks,
    series_from_indents,
)
from rimread.hardness.rules import rule_set
from rimread.hardness.series import (
    grubbs_critical,
    not_of_one_indent,
    permissible_error,
    repeatability_limit,
    too_unequal,
)

SHOP = TestCondition(10, 3000)


def _series(*d: float, policy: str = "all", test: TestCondition = SHOP):
    return series_from_indents([Indent(v, v) for v in d], test, policy=policy)


def test_mean_is_that_of_the_hardnesses() -> None:
    # not the hardness of the mean diameter: each indent is a test of its own
    series = _series(3.5, 4.5)
    assert series.mean_hbw == pytest.approx((brinell(3.5, SHOP) + brinell(4.5, SHOP)) / 2)
    assert series.mean_hbw > brinell(4.0, SHOP) + 1
    assert series.sd_hbw == pytest.approx(statistics.stdev(series.hbw))
    assert series.range_hbw == pytest.approx(brinell(3.5, SHOP) - brinell(4.5, SHOP))


def test_one_indent_has_no_scatter() -> None:
    assert _series(4.0).sd_hbw is None
    assert _series(4.0).designation == "229 HBW 10/3000"


def test_drop_extremes_keeps_every_value() -> None:
    series = _series(4.0, 3.9, 4.3, 4.05, 4.1, policy="drop-extremes")
    assert series.used == (True, False, False, True, True)
    assert len(series.hbw) == 5
    assert series.mean_hbw == pytest.approx(
        statistics.fmean(brinell(d, SHOP) for d in (4.0, 4.05, 4.1))
    )
    assert series.sd_hbw == pytest.approx(statistics.stdev(series.hbw))


def test_drop_extremes_of_equal_values_drops_two() -> None:
    assert _series(4, 4, 4, 4, 4, policy="drop-extremes").used.count(False) == 2


@given(st.lists(st.floats(3.0, 5.0), min_size=5, max_size=9))
def test_drop_extremes_stays_inside_the_values_kept(d: list[float]) -> None:
    series = _series(*d, policy="drop-extremes")
    kept = sorted(series.hbw)[1:-1]
    assert series.mean_hbw == pytest.approx(statistics.fmean(kept))


def test_misuse() -> None:
    with pytest.raises(ValueError, match="at least one indent"):
        series_from_indents([], SHOP)
    with pytest.raises(ValueError, match="at least 5 indents"):
        _series(4, 4, 4, 4, policy="drop-extremes")
    with pytest.raises(ValueError, match="policy must be one of all, drop-extremes"):
        _series(4, policy="best")
    with pytest.raises(ValueError, match="below the ball diameter"):
        _series(4, 12)


# Grubbs 1950/1969 and DIN 32645, as tabulated in 'Grubbs test: finding outliers' (scribd
# 76685424), one-sided levels, printed to two decimals; two-sided takes twice the level.
GRUBBS = {
    0.10: {3: 1.15, 4: 1.42, 5: 1.60, 6: 1.73, 7: 1.83, 8: 1.91, 9: 1.98, 10: 2.03},
    0.05: {3: 1.15, 4: 1.46, 5: 1.67, 6: 1.82, 7: 1.94, 8: 2.03, 9: 2.11, 10: 2.18},
    0.025: {3: 1.15, 4: 1.48, 5: 1.71, 6: 1.89, 7: 2.02, 8: 2.13, 9: 2.21, 10: 2.29},
    0.01: {3: 1.15, 4: 1.49, 5: 1.75, 6: 1.94, 7: 2.10, 8: 2.22, 9: 2.32, 10: 2.41},
}


@pytest.mark.parametrize(
    ("one_sided", "n", "value"),
    [(level, n, value) for level, row in GRUBBS.items() for n, value in row.items()],
)
def test_grubbs_against_the_published_table(one_sided: float, n: int, value: float) -> None:
    # the table cuts some entries and rounds others
    assert grubbs_critical(n, 2 * one_sided) == pytest.approx(value, abs=0.0101)


def test_an_odd_value_is_flagged_and_stays() -> None:
    series = _series(4.0, 4.01, 3.99, 4.0, 4.3)
    assert series.outlier == 4
    assert all(series.used)
    check = {c.code: c for c in series_checks(series)}["outlier"]
    assert check.outcome == "warn"
    assert "value 5 (197 HBW)" in check.message
    assert "kept" in check.message


def test_values_that_a_report_writes_alike_are_not_odd() -> None:
    assert _series(4.0, 4.0, 4.0 + 1e-12).outlier is None
    assert _series(4.0, 4.0, 4.001).outlier is None  # 0.1 HBW
    assert _series(4.0, 4.0, 4.02).outlier == 2  # 2.4 HBW


def test_nothing_odd() -> None:
    assert _series(4.0, 4.01, 3.99, 4.0, 4.02).outlier is None
    assert _series(4.0, 4.0, 4.0).outlier is None
    assert _series(4.0, 5.0).outlier is None


@pytest.mark.parametrize(
    ("rules", "d", "outcome"),
    [
        ("iso", (4.0, 4.03), "pass"),  # 1.6 % of HBW
        ("iso", (4.0, 4.05), "warn"),  # 2.6 % of HBW against 2 %
        ("astm", (4.0, 4.05), "pass"),  # 1.2 % of d against 2 %
        ("astm", (4.0, 4.12), "warn"),
    ],
)
def test_agreement_on_hardness_or_on_diameter(
    rules: str, d: tuple[float, ...], outcome: str
) -> None:
    check = {c.code: c for c in series_checks(_series(*d), rules=rules)}["agreement"]
    assert check.outcome == outcome


@pytest.mark.parametrize(
    ("hbw", "error", "repeatability"),
    [(125, 0.03, 0.03), (125.1, 0.025, 0.025), (225, 0.025, 0.025), (225.1, 0.02, 0.02)],
)
def test_limits_of_the_classes_of_hardness(hbw: float, error: float, repeatability: float) -> None:
    """The 2005 edition of ISO 6506-2, Table 2 (up to 125, 125 to 225, above), from memory."""
    assert permissible_error(hbw, rule_set("iso"))[0] == error
    assert repeatability_limit(hbw, rule_set("iso"))[0] == repeatability


def test_pairs_too_unequal_to_be_one_indent() -> None:
    assert not too_unequal(4.0, 5.9)
    assert too_unequal(4.0, 6.1)
    assert too_unequal(6.1, 4.0)


def test_what_is_dropped_still_scatters_but_is_in_no_mean() -> None:
    """Values and diameters: the range of all five, the means of the three that are kept."""
    d = (4.0, 3.9, 4.3, 4.05, 4.1)
    series = _series(*d, policy="drop-extremes")
    hbw = [brinell(v, SHOP) for v in d]
    assert series.range_hbw == pytest.approx(max(hbw) - min(hbw))
    assert series.range_rel_hbw == pytest.approx((max(hbw) - min(hbw)) / statistics.fmean(hbw))
    assert series.range_rel_d == pytest.approx(0.4 / 4.07)
    assert series.mean_mm == pytest.approx(4.05)


def test_what_is_dropped_needs_no_budget() -> None:
    known = combine([Component("edge", 0.004)])
    d = (4.0, 3.9, 4.3, 4.05, 4.1)
    indents = [Indent(v, v, known if v in (4.0, 4.05, 4.1) else None) for v in d]
    assert series_from_indents(indents, SHOP, policy="drop-extremes").has_budgets
    assert not series_from_indents(indents, SHOP).has_budgets


@pytest.mark.parametrize(("ratio", "odd"), [(1.71, False), (1.72, True)])
def test_a_value_is_odd_from_the_five_percent_limit_on(ratio: float, odd: bool) -> None:  # noqa: FBT001
    """Of five, two-sided at 5 %: 1.715 (the table above has 1.71)."""

    def hbw(x: float) -> list[float]:
        return [228.0, 230.0, 227.0, 231.0, 229.0 + x]

    def apart(x: float) -> float:
        values = hbw(x)
        return (values[-1] - statistics.fmean(values)) / statistics.stdev(values) - ratio

    x = brentq(apart, 1.0, 100.0)
    series = _series(*(diameter_for(v, SHOP) for v in hbw(x)))
    assert series.outlier == (4 if odd else None)


@pytest.mark.parametrize(
    ("read_mm", "of_it"), [(4.39, True), (4.41, False), (3.61, True), (3.59, False)]
)
def test_a_reading_a_tenth_off_the_image_is_of_another_indent(read_mm: float, of_it: bool) -> None:  # noqa: FBT001
    """Common practice, no source."""
    assert (not_of_one_indent(read_mm, 4.0) == "") == of_it


@pytest.mark.parametrize(("ratio", "unequal"), [(1.49, False), (1.51, True)])
def test_half_as_large_again_is_too_unequal(ratio: float, unequal: bool) -> None:  # noqa: FBT001
    assert too_unequal(4.0, 4.0 * ratio) == unequal
