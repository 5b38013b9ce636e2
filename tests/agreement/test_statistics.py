"""Sums of squares and intervals against NIST's certified values, SciPy and statsmodels."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import stats
from tests.agreement.published import NIST_EMBEDDED, NIST_FOLDER, NIST_NAMES, nist_file

from rimread.agreement.statistics import (
    Estimate,
    Source,
    combination,
    crossed,
    mean_with_interval,
    one_way,
    sd_with_interval,
    step_sd,
)

# The share by which the sets may be off: those with 7 and 13 leading digits that all values share
# lose that much when the decimal text becomes a binary double, before any sum is made.
NIST_TOLERANCE = {
    **dict.fromkeys(("SiRstv", "SmLs01", "SmLs02", "SmLs03"), 1e-12),
    **dict.fromkeys(("AtmWtAg", "SmLs04", "SmLs05", "SmLs06"), 2e-10),
    **dict.fromkeys(("SmLs07", "SmLs08", "SmLs09"), 2e-4),
}


@pytest.mark.parametrize("name", NIST_NAMES)
def test_certified_analysis_of_variance(name):
    if not NIST_FOLDER.is_dir():
        pytest.skip("this build of SciPy leaves out its tests and with them NIST's files")
    groups, certified = nist_file(name)
    found = one_way(groups)
    rel = NIST_TOLERANCE[name]
    assert found.between.ss == pytest.approx(certified["between"], rel=rel)
    assert found.within.ss == pytest.approx(certified["within"], rel=rel)
    assert found.between.ms / found.within.ms == pytest.approx(certified["f"], rel=rel)
    assert sd_with_interval(found.within.ms, found.within.dof).value == pytest.approx(
        certified["sd"], rel=rel
    )


@pytest.mark.parametrize("name", NIST_EMBEDDED)
def test_certified_sets_held_here(name):
    groups, (between, within, f, sd) = NIST_EMBEDDED[name]
    found = one_way(groups)
    rel = NIST_TOLERANCE[name]
    assert found.between.ss == pytest.approx(between, rel=rel)
    assert found.within.ss == pytest.approx(within, rel=rel)
    assert found.between.ms / found.within.ms == pytest.approx(f, rel=rel)
    assert math.sqrt(found.within.ms) == pytest.approx(sd, rel=rel)


def test_mean_interval_is_scipys():
    values = [0.011, 0.004, 0.019, -0.002, 0.008]
    found = mean_with_interval(values)
    low, high = stats.ttest_1samp(values, 0.0).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-12)
    assert found.excludes_zero == (stats.ttest_1samp(values, 0.0).pvalue < 0.05)


@given(st.lists(st.floats(-1.0, 1.0, width=16), min_size=2, max_size=6, unique=True))
def test_mean_interval_is_that_of_the_t_test_for_any_values(values):
    found = mean_with_interval(values)
    test = stats.ttest_1samp(values, 0.0)
    low, high = test.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-9, abs=1e-12)
    assert found.dof == test.df
    if abs(test.pvalue - 0.05) > 1e-9:
        assert found.excludes_zero == (test.pvalue < 0.05)


@given(st.floats(-1.0, 1.0), st.floats(0.0, 1.0), st.floats(0.1, 10.0), st.sampled_from([1, -1]))
def test_in_another_unit_the_ends_stay_in_order_about_the_value(value, half, size, sign):
    found = Estimate(value, value - half, value + 2 * half, 7).scaled(sign * size)
    assert found.value == pytest.approx(sign * size * value)
    below, above = (half, 2 * half) if sign > 0 else (2 * half, half)
    assert found.value - found.low == pytest.approx(size * below, abs=1e-12)
    assert found.high - found.value == pytest.approx(size * above, abs=1e-12)
    assert found.dof == 7


@pytest.mark.parametrize(("low", "high"), [(math.nan, 1.0), (0.0, math.inf), (-math.inf, 1.0)])
def test_an_interval_without_an_end_is_none(low, high):
    open_one = Estimate(0.5, low, high, 1)
    assert not open_one.known
    assert not open_one.excludes_zero


def test_one_value_has_no_interval():
    found = mean_with_interval([0.02])
    assert found.value == 0.02
    assert not found.known
    assert not found.excludes_zero
    assert not found.scaled(-2.0).known


def test_sd_interval_is_the_chi_square_one():
    found = sd_with_interval(4.0, 10)
    chi2 = stats.chi2(10)
    assert found.low == pytest.approx(2.0 * math.sqrt(10 / chi2.ppf(0.975)), rel=1e-12)
    assert found.high == pytest.approx(2.0 * math.sqrt(10 / chi2.ppf(0.025)), rel=1e-12)


def test_steps_hide_a_rectangular_scatter():
    # GUM, JCGM 100:2008, F.2.2.1: u = 0.29 of the step
    rounding = np.random.default_rng(1).uniform(-0.025, 0.025, size=100_000)
    assert step_sd(0.05) == pytest.approx(rounding.std(), rel=0.01)


def test_alike_values_are_not_known_exactly():
    mean, sd = (
        mean_with_interval([0.01] * 3, least_sd=0.002),
        sd_with_interval(0.0, 6, least_sd=2.0),
    )
    assert mean.high - mean.low == pytest.approx(2 * stats.t(2).ppf(0.975) * 0.002 / math.sqrt(3))
    assert (sd.value, sd.low) == (2.0, 0.0)
    assert sd.high == pytest.approx(2.0 * math.sqrt(6 / stats.chi2(6).ppf(0.025)))
    assert sd_with_interval(9.0, 6, least_sd=2.0) == sd_with_interval(9.0, 6)


@pytest.mark.filterwarnings("ignore")  # of statsmodels and what it stands on
@pytest.mark.parametrize("shape", [(2, 2, 2), (5, 3, 2), (7, 4, 3)])
def test_crossed_sums_are_those_of_statsmodels(shape):
    from statsmodels.formula.api import ols  # noqa: PLC0415  (slow to import)
    from statsmodels.stats.anova import anova_lm  # noqa: PLC0415

    values = np.random.default_rng(sum(shape)).normal(size=shape)
    part, person, _ = (axis.ravel() for axis in np.indices(shape))
    table = pd.DataFrame({"y": values.ravel(), "part": part, "person": person})
    oracle = anova_lm(ols("y ~ C(part) * C(person)", table).fit(), typ=2)
    for found, name in zip(
        crossed(values), ("C(part)", "C(person)", "C(part):C(person)", "Residual"), strict=True
    ):
        assert found.ss == pytest.approx(oracle["sum_sq"][name], rel=1e-9)
        assert found.dof == oracle["df"][name]


studies = hnp.arrays(
    np.float64,
    st.tuples(st.integers(2, 5), st.integers(2, 4), st.integers(2, 3)),
    elements=st.floats(-1.0, 1.0, width=32),
)


@given(studies)
def test_crossed_sums_add_up_to_the_total(values):
    table = crossed(values)
    total = float(np.sum((values - values.mean()) ** 2))
    assert sum(s.ss for s in table) == pytest.approx(total, rel=1e-9, abs=1e-12)
    assert sum(s.dof for s in table) == values.size - 1


@given(studies, st.floats(-100.0, 100.0), st.floats(0.1, 10.0))
def test_crossed_sums_move_with_unit_and_not_with_offset(values, offset, factor):
    before = [s.ss for s in crossed(values)]
    after = [s.ss for s in crossed(factor * values + offset)]
    assert after == pytest.approx([factor**2 * ss for ss in before], rel=1e-6, abs=1e-9)


def test_a_single_mean_square_has_the_chi_square_interval():
    found = combination([(1.0, Source("repeatability", 40.0, 10))])
    alone = sd_with_interval(4.0, 10)
    assert (found.low, found.high) == pytest.approx((alone.low**2, alone.high**2), rel=1e-12)


mean_squares = st.tuples(st.floats(0.1, 10.0), st.integers(1, 60))


@given(
    st.lists(st.tuples(st.floats(0.05, 2.0), mean_squares), min_size=1, max_size=3), mean_squares
)
def test_a_sum_of_mean_squares_has_the_modified_large_sample_interval(more, less):
    """Each part's own distance to its chi-square end, those of a negative part exchanged.

    Graybill and Wang 1980; Zou and Donner 2008, for differences; both from memory.
    """
    terms = [(w, ms, dof) for w, (ms, dof) in more] + [(-0.5, *less)]
    found = combination([(w, Source("", ms * dof, dof)) for w, ms, dof in terms])
    down, up = [], []
    for w, ms, dof in terms:
        ends = [w * dof * ms / stats.chi2.ppf(tail, dof) for tail in (0.975, 0.025)]
        down.append(w * ms - min(ends))
        up.append(max(ends) - w * ms)
    value = sum(w * ms for w, ms, _ in terms)
    assert found.value == pytest.approx(value, abs=1e-9)
    assert found.low == pytest.approx(value - math.hypot(*down), rel=1e-9, abs=1e-9)
    assert found.high == pytest.approx(value + math.hypot(*up), rel=1e-9, abs=1e-9)
    assert found.dof == min(dof for _, _, dof in terms)


def test_intervals_of_a_difference_hold_it_95_times_in_100():
    """Two mean squares drawn as chi-square has it; three standard errors and 2 % for the method."""
    rng, held, runs = np.random.default_rng(4), 0, 3000
    for _ in range(runs):
        one, other = 3.0 * rng.chisquare(9), 1.0 * rng.chisquare(18)
        found = combination([(1.0, Source("", one, 9)), (-1.0, Source("", other, 18))])
        held += found.low <= 2.0 <= found.high
    assert held / runs == pytest.approx(0.95, abs=0.02 + 3 * math.sqrt(0.95 * 0.05 / runs))


@pytest.mark.parametrize("shape", [(1, 3, 2), (3, 1, 2), (3, 3, 1), (3, 3)])
def test_too_little_is_said(shape):
    with pytest.raises(ValueError, match="two or more indents, operators and trials"):
        crossed(np.zeros(shape))


def test_values_that_are_none_are_said():
    with pytest.raises(ValueError, match="finite"):
        one_way([[1.0, math.nan]])
    with pytest.raises(ValueError, match="finite"):
        one_way([[1.0], []])
