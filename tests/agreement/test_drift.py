"""Drift against SciPy's regression and simulated people."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rimread.agreement.drift import drift


def test_over_rows_it_is_the_ordinary_regression():
    rng = np.random.default_rng(8)
    places = np.arange(1.0, 21.0)
    differences = 0.002 * places + 0.01 * rng.normal(size=20)
    found = drift(differences, places, range(20), order="row")
    oracle = stats.linregress(places, differences)
    half = stats.t(18).ppf(0.975) * oracle.stderr
    assert found.total.value == pytest.approx(19 * oracle.slope, rel=1e-9)
    assert found.total.high == pytest.approx(19 * (oracle.slope + half), rel=1e-9)
    assert (found.first, found.last, found.total.dof) == (1.0, 20.0, 18)


@pytest.mark.filterwarnings("ignore")  # of statsmodels and what it stands on
def test_over_trials_it_is_the_regression_with_an_offset_for_each_indent():
    import pandas as pd  # noqa: PLC0415
    from statsmodels.formula.api import ols  # noqa: PLC0415  (slow to import)

    rng = np.random.default_rng(9)
    trial = np.array([1, 2, 3, 1, 2, 3, 2, 3, 1], dtype=float)
    indent = list("aaabbbccd")
    y = 0.004 * trial + np.array([ord(i) for i in indent]) + 0.001 * rng.normal(size=9)
    found = drift(y, trial, indent, order="trial")
    fit = ols("y ~ trial + C(indent)", pd.DataFrame({"y": y, "trial": trial, "indent": indent}))
    oracle = fit.fit()
    low, high = oracle.conf_int().loc["trial"]
    assert found.total.value == pytest.approx(2 * oracle.params["trial"], rel=1e-6)
    assert (found.total.low, found.total.high) == pytest.approx((2 * low, 2 * high), rel=1e-6)


@given(
    st.lists(st.floats(-0.5, 0.5, width=32), min_size=4, max_size=12),
    st.floats(-0.1, 0.1),
)
def test_a_steady_change_is_added_whole(differences, slope):
    places = [float(k) for k in range(len(differences))]
    indents = ["one"] * len(places)
    before = drift(differences, places, indents, order="trial")
    after = drift(
        [d + slope * x for d, x in zip(differences, places, strict=True)],
        places,
        indents,
        order="trial",
    )
    change = after.total.value - before.total.value
    assert change == pytest.approx(slope * places[-1], abs=1e-9)


def test_indents_own_offsets_are_no_drift_over_trials():
    found = drift([0.0, 0.1, 5.0, 5.1], [1, 2, 1, 2], list("aabb"), order="trial")
    assert found.total.value == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("differences", "places", "indents"),
    [
        ([0.01, 0.02], [1, 2], ["a", "a"]),  # a line through two points is always perfect
        ([0.01, 0.02, 0.03], [1, 1, 1], ["a", "a", "a"]),
        ([0.01, 0.02, 0.03, 0.02], [1, 2, 1, 2], ["a", "b", "c", "d"]),  # nothing repeated
    ],
)
def test_no_drift_from_too_little(differences, places, indents):
    assert drift(differences, places, indents, order="trial") is None


def test_three_readings_on_a_line_leave_the_drift_open():
    found = drift([0.0, 0.01, 0.02], [1, 2, 3], "abc", order="row", least_sd=0.003)
    # u of the slope is sd / √Σ(x - x̄)², one degree of freedom is left
    half = 2 * stats.t(1).ppf(0.975) * 0.003 / np.sqrt(2)
    assert found.total.value == pytest.approx(0.02)
    assert (found.total.low, found.total.high) == pytest.approx((0.02 - half, 0.02 + half))
    assert not found.seen


def test_a_class_of_twelve_is_rarely_blamed_for_a_drift_there_is_not():
    """Bonferroni: at most 5 % of all classes, where each at 95 % makes it 1 - 0.95¹² = 46 %."""
    rng = np.random.default_rng(12)
    classes, joint, alone = 400, 0, 0
    for _ in range(classes):
        found = [
            drift(rng.normal(size=6), range(6), range(6), order="row", readers=12)
            for _ in range(12)
        ]
        joint += any(one.seen for one in found)
        alone += any(one.total.excludes_zero for one in found)
    assert alone / classes == pytest.approx(0.46, abs=0.08)
    assert joint / classes <= 0.05 + 0.033  # three standard errors of a share in 400


def test_one_reader_alone_is_judged_at_95_percent():
    found = drift(np.random.default_rng(1).normal(size=6), range(6), range(6), order="row")
    assert found.joint == found.total
    assert found.joint_confidence == pytest.approx(0.95)
