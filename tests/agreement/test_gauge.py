"""The gauge study against a published one, statsmodels and simulated people."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import stats
from tests.agreement.published import GAUGE_STUDY, GAUGE_SUMS_OF_SQUARES

from rimread.agreement import gauge_study


def names(values, axis: int) -> tuple[str, ...]:
    return tuple(f"{axis}-{k}" for k in range(values.shape[axis]))


def study(values):
    return gauge_study(values, names(values, 0), names(values, 1))


def study_in_steps(values, least_sd: float):
    return gauge_study(values, names(values, 0), names(values, 1), least_sd=least_sd)


def simulated(rng, shape, *, indent, operator, interaction, repeat):
    parts, people, trials = shape
    return (
        4.0
        + indent * rng.normal(size=(parts, 1, 1))
        + operator * rng.normal(size=(1, people, 1))
        + interaction * rng.normal(size=(parts, people, 1))
        + repeat * rng.normal(size=(parts, people, trials))
    )


def test_published_sums_of_squares():
    found = study(GAUGE_STUDY)
    assert [round(s.ss, 4) for s in found.table] == list(GAUGE_SUMS_OF_SQUARES)
    assert [s.dof for s in found.table] == [9, 2, 18, 60]


def test_published_study_has_no_interaction_and_says_so():
    found = study(GAUGE_STUDY)
    assert found.interaction.was_negative
    assert found.interaction.variance.value == 0.0
    assert found.reproducibility.variance.value == found.operator.variance.value
    assert found.people.variance.value == pytest.approx(
        found.repeatability.variance.value + found.operator.variance.value
    )


@pytest.mark.filterwarnings("ignore")  # of statsmodels and what it stands on
def test_components_are_those_of_restricted_maximum_likelihood():
    # in a balanced study without negative components REML and the analysis of variance agree
    from statsmodels.regression.mixed_linear_model import MixedLM  # noqa: PLC0415  (slow)

    rng = np.random.default_rng(11)
    values = simulated(rng, (8, 5, 3), indent=1.0, operator=0.7, interaction=0.8, repeat=0.5)
    found = study(values)
    assert not any(part.was_negative for part in found.components)
    part, person, _ = (axis.ravel() for axis in np.indices(values.shape))
    table = pd.DataFrame({"y": values.ravel(), "part": part, "person": person, "all": 1})
    model = MixedLM.from_formula(
        "y ~ 1",
        groups="all",
        vc_formula={
            "part": "0 + C(part)",
            "person": "0 + C(person)",
            "both": "0 + C(part):C(person)",
        },
        re_formula="0",
        data=table,
    )
    fit = model.fit(reml=True)
    oracle = dict(zip(model.exog_vc.names, fit.vcomp, strict=True)) | {"rest": fit.scale}
    for name, component in (
        ("part", found.indent),
        ("person", found.operator),
        ("both", found.interaction),
        ("rest", found.repeatability),
    ):
        assert component.variance.value == pytest.approx(oracle[name], rel=1e-3)


SUMS = {
    "indent": [1, 0, 0, 0],
    "operator": [0, 1, 0, 0],
    "interaction": [0, 0, 1, 0],
    "repeatability": [0, 0, 0, 1],
    "reproducibility": [0, 1, 1, 0],
    "people": [0, 1, 1, 1],
}
"""What each share is made of: indent, operator, interaction, repeatability."""


def from_mean_squares(squares, shape, members):
    """A sum of components with its interval, and the fewest degrees of freedom that it has.

    The weights by solving Montgomery's table of expected mean squares (from memory). The interval
    of a weighted sum as Graybill and Wang (1980) and Zou and Donner (2008) have it.
    """
    parts, people, trials = shape
    expected = np.array(  # rows: mean squares; columns: variances
        [
            [people * trials, 0, trials, 1],
            [0, parts * trials, trials, 1],
            [0, 0, trials, 1],
            [0, 0, 0, 1],
        ]
    )
    weights = np.linalg.solve(expected.T, members)
    dof = np.array(
        [parts - 1, people - 1, (parts - 1) * (people - 1), parts * people * (trials - 1)]
    )
    low, high = (dof * squares / stats.chi2.ppf(p, dof) for p in (0.975, 0.025))
    below, above = (
        np.hypot.reduce(weights * np.where(way * weights > 0, high - squares, low - squares))
        for way in (-1, 1)
    )
    value = weights @ squares
    return value, value - below, value + above, dof[np.abs(weights) > 1e-12].min()


@pytest.mark.parametrize("name", SUMS)
def test_every_share_and_its_interval_follow_from_the_expected_mean_squares(name):
    shape, rng = (8, 5, 3), np.random.default_rng(11)
    found = study(simulated(rng, shape, indent=1.0, operator=0.7, interaction=0.8, repeat=0.5))
    squares = np.array([source.ms for source in found.table])
    value, low, high, dof = from_mean_squares(squares, shape, SUMS[name])
    variance = getattr(found, name).variance
    assert variance.value == pytest.approx(value, rel=1e-9)
    assert variance.low == pytest.approx(max(low, 0.0), rel=1e-9)
    assert variance.high == pytest.approx(high, rel=1e-9)
    assert variance.dof == dof
    four = (getattr(found, one) for one, members in SUMS.items() if sum(members) == 1)
    assert found.total == pytest.approx(sum(one.variance.value for one in four), rel=1e-9)


def test_components_of_simulated_people_are_recovered():
    rng = np.random.default_rng(3)
    true = {"indent": 0.6, "operator": 0.012, "interaction": 0.006, "repeat": 0.008}
    found = [study(simulated(rng, (10, 4, 3), **true)) for _ in range(600)]

    def mean_variance(pick):
        return float(np.mean([pick(one).ms for one in found]))

    # unfloored estimates are unbiased: taken from the mean squares themselves
    indent, operator, both, rest = (mean_variance(lambda one, k=k: one.table[k]) for k in range(4))
    assert rest == pytest.approx(true["repeat"] ** 2, rel=0.02)
    assert (both - rest) / 3 == pytest.approx(true["interaction"] ** 2, rel=0.05)
    assert (operator - both) / 30 == pytest.approx(true["operator"] ** 2, rel=0.1)
    assert (indent - both) / 12 == pytest.approx(true["indent"] ** 2, rel=0.1)
    # and so are the floored ones where nothing comes near zero
    assert np.mean([one.people.variance.value for one in found]) == pytest.approx(
        true["operator"] ** 2 + true["interaction"] ** 2 + true["repeat"] ** 2, rel=0.1
    )


studies = hnp.arrays(
    np.float64,
    st.tuples(st.integers(2, 5), st.integers(2, 4), st.integers(2, 3)),
    elements=st.floats(-1.0, 1.0, width=32),
)


@given(studies, st.randoms(use_true_random=False))
def test_the_order_of_people_indents_and_trials_does_not_matter(values, random):
    shuffled = values
    for axis in range(3):
        order = list(range(values.shape[axis]))
        random.shuffle(order)
        shuffled = np.take(shuffled, order, axis=axis)
    before, after = study(values), study(shuffled)
    for one, other in zip(before.components, after.components, strict=True):
        assert other.variance.value == pytest.approx(one.variance.value, rel=1e-6, abs=1e-12)


@given(studies, st.floats(0.1, 100.0), st.floats(-10.0, 10.0))
def test_components_go_with_the_square_of_the_unit(values, factor, offset):
    before, after = study(values), study(factor * values + offset)
    for one, other in zip(before.components, after.components, strict=True):
        assert other.sd.value == pytest.approx(factor * one.sd.value, rel=1e-4, abs=1e-5)


@given(studies)
def test_nothing_is_negative_and_intervals_hold_their_values(values):
    for part in study(values).components:
        assert 0.0 <= part.variance.low <= part.variance.value <= part.variance.high


@given(studies, st.floats(0.01, 0.5))
def test_steps_only_widen_what_is_told(values, least):
    before, after = study(values), study_in_steps(values, least)
    for one, other in zip(before.components, after.components, strict=True):
        assert other.variance.low <= one.variance.low + 1e-12
        assert other.variance.high >= one.variance.high - 1e-12
        assert other.variance.low <= other.variance.value <= other.variance.high


def test_alike_readings_do_not_say_that_there_is_no_scatter():
    alike = np.broadcast_to(np.array([3.9, 4.0, 4.1])[:, None, None], (3, 2, 2))
    found = study_in_steps(alike, 0.003)
    assert found.repeatability.sd.value == pytest.approx(0.003)
    assert found.repeatability.hidden
    for part in (found.repeatability, found.reproducibility, found.people):
        assert part.sd.low == 0.0
        assert part.sd.high > 0.003
    for name in ("operator", "interaction", "reproducibility"):
        # as if rounding alone had made every mean square
        high = from_mean_squares(np.full(4, 0.003**2), (3, 2, 2), SUMS[name])[2]
        assert getattr(found, name).variance.high == pytest.approx(high, rel=1e-9)
    assert not found.indent.hidden


def test_repeats_that_are_alike_hide_nothing_of_people_who_are_not():
    alike = np.array([3.9, 4.0, 4.1])[:, None, None] + np.array([0.0, 0.1])[:, None]
    found = study_in_steps(np.repeat(alike, 2, axis=2), 0.003)
    assert found.repeatability.hidden
    for part in (found.reproducibility, found.people):
        assert not part.hidden
        assert part.sd.low > 0.003


@pytest.mark.parametrize("middle", [3.9, 4.0])  # the one leaves last bits, the other does not
def test_f_of_nothing_over_nothing_is_no_sign_of_anything(middle):
    sizes = np.array([middle, 4.0, 4.1])[:, None, None]
    offsets = np.array([0.0, 0.01])[:, None]
    alike = study(np.broadcast_to(sizes, (3, 2, 2)))
    (indent, p), *others = alike.f_and_p
    assert (indent, p) == (math.inf, 0.0)
    assert np.isnan(others).all()
    apart = study(np.broadcast_to(sizes + offsets, (3, 2, 2)))
    assert apart.f_and_p[:2] == ((math.inf, 0.0), (math.inf, 0.0))
    assert np.isnan(apart.f_and_p[2]).all()


def test_f_and_p_are_those_of_the_random_model():
    found = study(GAUGE_STUDY)
    indent, operator, both, rest = found.table
    expected = (
        (indent.ms / both.ms, 9, 18),
        (operator.ms / both.ms, 2, 18),
        (both.ms / rest.ms, 18, 60),
    )
    for (f, p), (ratio, upper, lower) in zip(found.f_and_p, expected, strict=True):
        assert f == pytest.approx(ratio)
        assert p == pytest.approx(stats.f.sf(ratio, upper, lower), rel=1e-9)


def test_names_must_fit():
    with pytest.raises(ValueError, match="a name for each"):
        gauge_study(GAUGE_STUDY, ("one",), ("A", "B", "C"))


@pytest.mark.slow
@pytest.mark.parametrize("people", [3, 6])
def test_intervals_hold_the_truth_95_times_in_100(people):
    """The modified large-sample intervals by simulation; prints the table."""
    rng = np.random.default_rng(people)
    true = {"indent": 0.6, "operator": 0.012, "interaction": 0.006, "repeat": 0.008}
    sums = {
        "repeatability": true["repeat"] ** 2,
        "reproducibility": true["operator"] ** 2 + true["interaction"] ** 2,
        "people": sum(true[k] ** 2 for k in ("operator", "interaction", "repeat")),
        "indent": true["indent"] ** 2,
    }
    runs = 4000
    held = dict.fromkeys(sums, 0)
    for _ in range(runs):
        found = study(simulated(rng, (10, people, 2), **true))
        for name, variance in sums.items():
            ends = getattr(found, name).variance
            held[name] += ends.low <= variance <= ends.high
    for name, count in held.items():
        print(f"{people} people, {name}: {count / runs:.1%} of intervals hold the truth")
        # three standard errors of a share at 95 % in 4000 runs, and one per cent for the method
        assert count / runs == pytest.approx(0.95, abs=0.01 + 3 * math.sqrt(0.95 * 0.05 / runs))
