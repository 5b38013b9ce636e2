"""The formula against published tables, its inverse, its sensitivities."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.hardness.published import HBW_10_3000, MINIMUM_THICKNESS_ROWS

from rimread.budget import Component, combine
from rimread.hardness import (
    STANDARD_PAIRS,
    TestCondition,
    brinell,
    depth_mm,
    designation,
    diameter_for,
    hardness_from_diameter,
    rounded,
    sensitivities,
)

SHOP = TestCondition(10, 3000)
tests = st.sampled_from(STANDARD_PAIRS).map(lambda pair: TestCondition(*pair))
ratios = st.floats(0.01, 0.95)


def test_there_are_65_published_pairs() -> None:
    assert len(HBW_10_3000) == 65
    assert HBW_10_3000[0] == (2.05, 899)
    assert HBW_10_3000[-1] == (5.25, 128)


@pytest.mark.parametrize(("d", "hbw"), HBW_10_3000)
def test_published_pair(d: float, hbw: int) -> None:
    assert rounded(brinell(d, SHOP)) == str(hbw)


def test_the_printed_0_102_would_miss_eight_of_them() -> None:
    # why the formula works in kgf: 0.102 times 29 420 N is 3000.84 kgf
    misread = TestCondition(10, 0.102 * 29420)
    missed = [d for d, hbw in HBW_10_3000 if rounded(brinell(d, misread)) != str(hbw)]
    assert missed == [2.05, 2.10, 2.30, 2.40, 2.50, 2.80, 2.90, 4.25]


@pytest.mark.parametrize(("ball", "d", "thickness"), MINIMUM_THICKNESS_ROWS)
def test_eight_depths_are_the_published_thickness(ball: float, d: float, thickness: float) -> None:
    # GB/T 231.1 prints to 0.01 mm; it cuts some and rounds others
    assert 8 * depth_mm(d, TestCondition(ball, 1)) == pytest.approx(thickness, abs=0.01)


@pytest.mark.parametrize("d", [0.0, -1.0, 10.0, 12.0, math.nan, math.inf])
def test_impossible_diameter(d: float) -> None:
    with pytest.raises(ValueError, match="below the ball diameter 10 mm"):
        brinell(d, SHOP)


@pytest.mark.parametrize("hbw", [0.0, -3.0, 19.0, math.nan, math.inf])
def test_impossible_hardness(hbw: float) -> None:
    with pytest.raises(ValueError, match=r"HBW 10/3000 must be above 19\.1"):
        diameter_for(hbw, SHOP)


@given(tests, ratios)
def test_inverse_round_trip(test: TestCondition, ratio: float) -> None:
    d = ratio * test.ball_mm
    assert diameter_for(brinell(d, test), test) == pytest.approx(d, rel=1e-12)


@given(tests, st.floats(1.05, 1e4))
def test_inverse_round_trip_from_hardness(test: TestCondition, over: float) -> None:
    hbw = over * 2 * test.index / math.pi
    assert brinell(diameter_for(hbw, test), test) == pytest.approx(hbw, rel=1e-12)


@given(tests, ratios, st.floats(1e-6, 0.04))
def test_a_larger_indent_is_softer(test: TestCondition, ratio: float, more: float) -> None:
    d = ratio * test.ball_mm
    assert brinell(d + more * test.ball_mm, test) < brinell(d, test)


@given(ratios, st.floats(1, 3000), st.floats(1.001, 3))
def test_more_force_for_the_same_indent_is_harder(r: float, force: float, times: float) -> None:
    assert brinell(10 * r, TestCondition(10, force * times)) > brinell(
        10 * r, TestCondition(10, force)
    )


@given(ratios, st.sampled_from([1.0, 2.5, 5.0, 10.0]), st.sampled_from([1.0, 2.5, 5, 10, 15, 30]))
def test_geometric_similarity(r: float, ball: float, index: float) -> None:
    # HBW depends on F/D² and d/D only: 10/3000 at d is 5/750 at d/2
    small = TestCondition(ball, index * ball**2)
    large = TestCondition(10, index * 100)
    assert brinell(r * ball, small) == pytest.approx(brinell(r * 10, large), rel=1e-12)


@given(tests, ratios)
def test_agrees_with_the_formula_as_printed(test: TestCondition, ratio: float) -> None:
    # ASTM E10-08 eq. 1, written out; it loses digits where d is small against D
    D, d = test.ball_mm, ratio * test.ball_mm
    printed = 2 * test.force_kgf / (math.pi * D * (D - math.sqrt(D * D - d * d)))
    assert brinell(d, test) == pytest.approx(printed, rel=1e-11)


@pytest.mark.parametrize(
    ("r", "to_d"),
    [
        (0.24, -2.030),
        (0.30, -2.048),
        (0.35, -2.068),
        (0.40, -2.091),
        (0.45, -2.120),
        (0.50, -2.155),
        (0.55, -2.197),
        (0.60, -2.250),
    ],
)
def test_sensitivity_by_hand(r: float, to_d: float) -> None:
    # -r²/(s(1-s)) worked out by hand from the formula
    assert sensitivities(10 * r, SHOP).diameter == pytest.approx(to_d, abs=6e-4)


@given(tests, st.floats(0.1, 0.8))
def test_sensitivities_are_the_slopes(test: TestCondition, ratio: float) -> None:
    d, e = ratio * test.ball_mm, 1e-5
    slope = sensitivities(d, test)

    def log_ratio(up: float, down: float) -> float:
        return math.log(up / down) / math.log((1 + e) / (1 - e))

    to_d = log_ratio(brinell(d * (1 + e), test), brinell(d * (1 - e), test))
    balls = [TestCondition(test.ball_mm * f, test.force_kgf) for f in (1 + e, 1 - e)]
    forces = [TestCondition(test.ball_mm, test.force_kgf * f) for f in (1 + e, 1 - e)]
    assert slope.diameter == pytest.approx(to_d, rel=1e-6)
    assert slope.ball == pytest.approx(
        log_ratio(brinell(d, balls[0]), brinell(d, balls[1])), abs=1e-6
    )
    to_force = log_ratio(brinell(d, forces[0]), brinell(d, forces[1]))
    assert to_force == pytest.approx(1.0, abs=1e-6)
    assert slope.diameter + 2 + slope.ball == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("hbw", "text"),
    [
        (228.8, "229"),
        (100.0, "100"),
        (99.97, "100"),
        (99.6, "99.6"),
        (95.49, "95.5"),
        (10.0, "10.0"),
        (9.996, "10.0"),
        (9.94, "9.94"),
        (3.0, "3.00"),
    ],
)
def test_rounding(hbw: float, text: str) -> None:
    # ASTM E10, from memory
    assert rounded(hbw) == text


def test_designation() -> None:
    assert designation(228.8, SHOP) == "229 HBW 10/3000"
    assert designation(72.34, TestCondition(10, 500, 30)) == "72.3 HBW 10/500/30"


def test_uncertainty_goes_through_the_slope() -> None:
    # 0.5 % of d is 1.02 % to 1.13 % of HBW over the allowed range
    for d, low, high in ((2.4, 0.0101, 0.0102), (6.0, 0.0112, 0.0113)):
        budget = combine([Component("reading", 0.003 * d), Component("scale", 0.004 * d, dof=12)])
        result = hardness_from_diameter(d, budget, SHOP)
        assert low < result.budget.u / result.hbw < high
        assert [c.name for c in result.budget.components] == ["reading", "scale"]
        assert result.budget.dof == pytest.approx(budget.dof)
        assert result.budget.k == pytest.approx(budget.k)
    assert "not force" in result.covers


def test_uncertainty_against_monte_carlo() -> None:
    rng = np.random.default_rng(20250101)
    u = 0.01
    d = rng.normal(4.0, u, 400_000)
    draws = 2.0 * 3000.0 / (np.pi * 10.0 * (10.0 - np.sqrt(10.0**2 - d**2)))
    result = hardness_from_diameter(4.0, combine([Component("reading", u)]), SHOP)
    assert result.budget.u == pytest.approx(draws.std(), rel=0.01)
    assert pytest.approx(2 * result.budget.u) == result.budget.U
