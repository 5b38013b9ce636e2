"""Limits of agreement against the paper that brought them; the normalised error."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from tests.agreement.published import LARGE_FIRST, LARGE_SECOND, MINI_FIRST, MINI_SECOND

from rimread.agreement import limits_of_agreement, normalised_error
from rimread.agreement.statistics import mean_with_interval, one_way, step_sd

FIRST = [[a - b] for a, b in zip(LARGE_FIRST, MINI_FIRST, strict=True)]


def test_published_bias_and_limits():
    # Bland and Altman 1986: -2.1, SD 38.8, limits -79.7 to 75.5 with 2 SD, the limits made from
    # the rounded mean and SD
    found = limits_of_agreement(FIRST, factor=2.0)
    assert round(mean_with_interval(FIRST).value, 1) == -2.1
    assert round(found.sd, 1) == 38.8
    assert found.low.value == pytest.approx(-79.7, abs=0.11)
    assert found.high.value == pytest.approx(75.5, abs=0.11)


def test_published_intervals():
    # the same paper, from memory: bias -22.0 to 17.8; limits -114.3 to -45.1 and 40.9 to 110.1
    # with the standard error sqrt(3 s²/n) = 16.3. That rounds 1 + 2 n/(n - 1) down to 3, so that
    # the unrounded one is 2 % wider at n = 17; t times the rounding of 16.3 is 0.1.
    found, bias = limits_of_agreement(FIRST, factor=2.0), mean_with_interval(FIRST)
    assert (bias.low, bias.high) == pytest.approx((-22.0, 17.8), abs=0.06)
    printed = (110.1 - 40.9) / 2.0
    half = (found.high.high - found.high.low) / 2.0
    assert half == pytest.approx(printed * math.sqrt((1 + 2 * 17 / 16) / 3), abs=0.15)
    assert (found.low.low, found.low.high) == pytest.approx((-114.3, -45.1), abs=0.8)


def test_published_repeatability():
    # the same paper, from memory: coefficients of repeatability 43.2 and 56.4 l/min, twice the
    # standard deviation of the differences between repeats
    for pairs, printed in (
        (zip(LARGE_FIRST, LARGE_SECOND, strict=True), 43.2),
        (zip(MINI_FIRST, MINI_SECOND, strict=True), 56.4),
    ):
        within = one_way(list(pairs)).within
        # ours takes the mean difference between first and second readings as scatter as well
        assert 2.0 * math.sqrt(2.0 * within.ms) == pytest.approx(printed, rel=0.03)


def test_repeats_give_the_scatter_of_one_reading():
    # Bland and Altman 1999: equal to correcting the variance of means by (1 - 1/m) s_w²
    rng = np.random.default_rng(4)
    true = rng.normal(0.0, 0.01, size=(400, 1))
    found = limits_of_agreement(list(true + rng.normal(0.0, 0.02, size=(400, 3))))
    assert found.sd == pytest.approx(math.hypot(0.01, 0.02), rel=0.05)


@given(st.lists(st.floats(-0.25, 0.25, width=32), min_size=2, max_size=12))
def test_one_further_reading_is_the_prediction_interval(values):
    """Hahn and Meeker, Statistical Intervals: x̄ ± t(0.975, n - 1) s √(1 + 1/n)."""
    found = limits_of_agreement([[value] for value in values]).further
    n = len(values)
    half = stats.t(n - 1).ppf(0.975) * np.std(values, ddof=1) * math.sqrt(1 + 1 / n)
    assert found.value == pytest.approx(np.mean(values), abs=1e-9)
    assert found.high - found.low == pytest.approx(2 * half, rel=1e-9, abs=1e-12)


LONGER = [(7, 1), (7, 3), (20, 1)]


@pytest.mark.parametrize(
    ("indents", "repeats"),
    [(3, 1), (3, 3), (20, 3), *(pytest.param(*n, marks=pytest.mark.slow) for n in LONGER)],
)
def test_95_of_100_further_readings_lie_within(indents, repeats):
    rng = np.random.default_rng(100 * indents + repeats)
    runs, held = 2000, 0
    for _ in range(runs):
        own = 0.01 + 0.012 * rng.normal(size=(indents + 1, 1))
        read = own + 0.008 * rng.normal(size=(indents + 1, repeats))
        found = limits_of_agreement(list(read[1:])).further
        held += found.low <= read[0, 0] <= found.high
    # three standard errors of a share of 95 % in 2000 runs; repeats are an approximation besides
    spare = 0.0 if repeats == 1 else 0.01
    assert held / runs == pytest.approx(0.95, abs=0.015 + spare)


@pytest.mark.parametrize("scatter", [0.05, 0.2, 0.5])
@pytest.mark.parametrize("indents", [3, 7, 20])
def test_further_readings_in_coarse_steps_lie_within_too(indents, scatter):
    """Readings to whole steps, their scatter in steps; without the floor 3 alike foretell a 4th."""
    rng = np.random.default_rng(indents)
    runs, held = 1000, 0
    for _ in range(runs):
        true = rng.uniform(-0.5, 0.5) + scatter * rng.normal(size=indents + 1)
        first, *read = np.round(true)
        found = limits_of_agreement([[value] for value in read], least_sd=step_sd(1.0)).further
        held += found.low <= first <= found.high
    assert held / runs >= 0.95 - 0.021  # three standard errors of a share in 1000 runs


def test_alike_readings_do_not_foretell_the_next_one_exactly():
    found = limits_of_agreement([[0.01]] * 4, least_sd=0.003).further
    half = stats.t(3).ppf(0.975) * 0.003 * math.sqrt(1.25)
    assert (found.low, found.high) == pytest.approx((0.01 - half, 0.01 + half))


differences = st.lists(
    st.lists(st.floats(-0.25, 0.25, width=32), min_size=1, max_size=4), min_size=2, max_size=12
)


@given(differences, st.floats(-1.0, 1.0), st.floats(0.1, 1000.0))
def test_limits_move_with_offset_and_unit(groups, offset, factor):
    before = limits_of_agreement(groups)
    after = limits_of_agreement([[factor * (d + offset) for d in g] for g in groups])
    for one, other in ((before.low, after.low), (before.high, after.high)):
        for a, b in ((one.value, other.value), (one.low, other.low), (one.high, other.high)):
            assert b == pytest.approx(factor * (a + offset), rel=1e-5, abs=1e-6 * factor)


@given(differences)
def test_limits_lie_about_the_bias_and_swap_with_the_sign(groups):
    found = limits_of_agreement(groups)
    other = limits_of_agreement([[-d for d in g] for g in groups])
    bias = mean_with_interval([np.mean(group) for group in groups])
    assert found.low.value <= bias.value <= found.high.value
    assert other.low.value == pytest.approx(-found.high.value, abs=1e-12)


def test_one_indent_has_no_limits():
    with pytest.raises(ValueError, match="two or more indents"):
        limits_of_agreement([[0.01, 0.02]])


def test_normalised_error_by_hand():
    # 0.05 apart, claimed 0.03 and 0.04: exactly 1
    assert normalised_error(4.05, 4.00, 0.03, 0.04) == pytest.approx(1.0)
    assert normalised_error(4.00, 4.05, 0.03, 0.04) == pytest.approx(-1.0)


@pytest.mark.parametrize("pair", [(0.0, 0.0), (-0.01, 0.02), (math.nan, 0.1), (math.inf, 0.1)])
def test_unknown_uncertainty_is_misuse(pair):
    with pytest.raises(ValueError, match="uncertainties above 0"):
        normalised_error(4.0, 4.0, *pair)


@pytest.mark.slow
@pytest.mark.parametrize("indents", [10, 40, 160])
def test_how_often_the_intervals_of_the_limits_hold_the_truth(indents):
    """By simulation, three repeats on each indent; prints the table."""
    rng = np.random.default_rng(indents)
    runs, held = 2000, 0
    true = 0.01 + 1.96 * math.hypot(0.012, 0.008)
    for _ in range(runs):
        own = 0.01 + 0.012 * rng.normal(size=(indents, 1))
        found = limits_of_agreement(list(own + 0.008 * rng.normal(size=(indents, 3))))
        held += found.high.low <= true <= found.high.high
    print(f"{indents} indents: {held / runs:.1%} of the upper limit's intervals hold the truth")
    # three standard errors of a share in 2000 runs, and a hundredth for the approximation
    assert held / runs == pytest.approx(0.95, abs=0.025)
