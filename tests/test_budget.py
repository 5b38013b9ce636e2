"""Budgets against an independent GUM library (GTC) and the GUM's own table of coverage factors."""

import json
import math

import GTC
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.budget import COVERAGE, Component, budget_json, combine, coverage_factor, in_step

SIZES = st.floats(1e-6, 1e3)
DOFS = st.one_of(st.just(math.inf), st.floats(1, 500))
PARTS = st.lists(st.tuples(SIZES, DOFS), min_size=1, max_size=8)


def components(parts):
    return [Component(name=f"part {i}", u=u, dof=dof) for i, (u, dof) in enumerate(parts)]


@given(PARTS)
def test_combination_is_that_of_an_independent_gum_library(parts):
    budget = combine(components(parts))
    theirs = sum(GTC.ureal(0, u, df=dof) for u, dof in parts)
    assert budget.u == pytest.approx(theirs.u, rel=1e-12)
    if math.isinf(theirs.df) or theirs.df > 1e6:
        assert budget.dof > 1e5
    else:
        assert budget.dof == pytest.approx(theirs.df, rel=1e-9)


@given(PARTS)
def test_expanded_uncertainty_is_k_times_u(parts):
    budget = combine(components(parts))
    assert budget.k * budget.u == budget.U
    assert budget.k >= 2
    assert budget.k == coverage_factor(budget.dof)


@given(PARTS, st.booleans(), st.sampled_from(["mm", "hbw"]))
def test_from_a_record_comes_the_same_budget(parts, common, unit):
    """Written and read as JSON, which has no infinity."""
    budget = combine(
        Component(f"part {i}", u, dof, how=f"way {i}", common=common != bool(i))
        for i, (u, dof) in enumerate(parts)
    )
    record = json.loads(json.dumps(budget_json(budget, unit), allow_nan=False))
    for part in record:
        part["u"] = part.pop(f"u_{unit}")
        part["dof"] = math.inf if part["dof"] is None else part["dof"]
    assert combine(Component(**part) for part in record) == budget


@given(PARTS, SIZES)
def test_one_more_component_never_makes_it_smaller(parts, more):
    assert combine(components([*parts, (more, math.inf)])).u >= combine(components(parts)).u


@given(PARTS, st.one_of(st.floats(0.01, 100), st.sampled_from([1e-150, 1e150])))
def test_another_unit_changes_neither_dof_nor_k(parts, factor):
    one = combine(components(parts))
    other = combine(components([(factor * u, dof) for u, dof in parts]))
    assert other.u == pytest.approx(factor * one.u, rel=1e-9)
    assert other.k == pytest.approx(one.k, rel=1e-6)


@given(PARTS)
def test_effective_dof_lie_between_the_least_and_the_sum(parts):
    """GUM G.4.1: never more than the sum of the dof."""
    budget = combine(components(parts))
    assert budget.dof >= min(dof for _, dof in parts) * (1 - 1e-9)
    assert budget.dof <= sum(dof for _, dof in parts) * (1 + 1e-9)


@pytest.mark.parametrize(
    ("dof", "k"),
    # JCGM 100:2008, table G.2, column 95.45 %, from memory
    [
        *((1, 13.97), (2, 4.53), (3, 3.31), (4, 2.87), (5, 2.65), (6, 2.52), (7, 2.43), (8, 2.37)),
        *((9, 2.32), (10, 2.28), (15, 2.18), (20, 2.13), (30, 2.09), (50, 2.05), (100, 2.025)),
    ],
)
def test_coverage_factors_are_those_of_the_gum(dof, k):
    assert coverage_factor(dof) == pytest.approx(k, abs=0.006)


def test_coverage_factor_is_two_at_infinite_dof():
    assert coverage_factor(math.inf) == 2
    assert coverage_factor(1e9) == pytest.approx(2, abs=1e-6)
    assert pytest.approx(math.erf(math.sqrt(2))) == COVERAGE


@given(st.floats(1, 1e4), st.floats(1.01, 10))
def test_more_dof_ask_for_less(dof, factor):
    assert coverage_factor(dof) > coverage_factor(dof * factor) >= 2


@pytest.mark.parametrize(
    ("u", "dof"), [(-1e-9, 5), (math.nan, 5), (math.inf, 5), (1, 0), (1, -3), (1, math.nan)]
)
def test_what_is_not_known_is_not_zero(u, dof):
    with pytest.raises(ValueError, match="'odd'"):
        combine([Component(name="odd", u=u, dof=dof)])


def test_a_component_of_zero_counts_nothing():
    one = combine([Component("a", 2.0, 5.0)])
    two = combine([Component("a", 2.0, 5.0), Component("b", 0.0, 1.0)])
    assert (one.u, one.dof, one.k) == (two.u, two.dof, two.k)


@pytest.mark.parametrize(
    ("value", "U", "said"),
    [
        (3.85094, 0.00421, ("3.8509", "0.0042")),
        (229.0, 9.94, ("229.0", "9.9")),
        (229.0, 9.97, ("229", "10")),  # rounding carries, and two digits stay two
        (4.0123, 0.0997, ("4.01", "0.10")),
        (229.4, 12.6, ("229", "13")),
        (1234.5, 123.4, ("1234", "123")),
    ],
)
def test_two_digits_of_the_uncertainty_and_the_value_in_step(value, U, said):
    """GUM 7.2.6: at most two significant digits, the result rounded to be consistent with them."""
    assert in_step(value, U) == said


@given(st.floats(1e-4, 99.4))
def test_what_is_told_of_an_uncertainty_has_two_digits(U):
    _, said = in_step(0.0, U)
    assert len(said.replace(".", "").lstrip("0")) == 2
    assert float(said) == pytest.approx(U, rel=0.0501)
