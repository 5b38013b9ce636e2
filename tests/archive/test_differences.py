"""Old against new: by hand, by formula, and by what must hold for any figures."""

import math
from dataclasses import asdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.archive.differences import Difference, difference
from rimread.archive.items import Earlier
from rimread.hardness import TestCondition, brinell, diameter_for

TEST = TestCondition(10.0, 3000.0)


def record(earlier, mean_mm=3.50, U_mm=0.006, **more):
    told = {k: v for k, v in asdict(earlier).items() if v is not None}
    return {
        "status": "measured",
        "test": "10/3000",
        "mean_mm": mean_mm,
        "U_mean_mm": U_mm,
        "hbw": brinell(mean_mm, TEST),
        "checks": [],
        "earlier": told,
        **more,
    }


def test_worked_by_hand():
    """E_n = (x - X) / √(U_x² + U_X²) (ISO 13528, from memory): 0.03 / √(0.008² + 0.006²) = 3."""
    found = difference(record(Earlier(mean_mm=3.47, U_mm=0.008)))
    assert found.normalised_error == pytest.approx(3.0, rel=1e-9)
    assert found.new_minus_old_mm == pytest.approx(0.03)
    assert found.old_hbw == pytest.approx(brinell(3.47, TEST))
    assert found.new_minus_old_hbw == pytest.approx(brinell(3.50, TEST) - brinell(3.47, TEST))
    assert found.why == "disagrees"


def test_hardness_only():
    """HBW 10/3000 at d = 3.50 mm is 302 in the printed tables (ISO 6506-4, ASTM E10)."""
    found = difference(record(Earlier(hbw=302.0)))
    assert found.old_mm == pytest.approx(3.50, abs=0.003)
    assert abs(found.normalised_error) < 0.2
    assert found.why == ""
    with_U = difference(record(Earlier(hbw=302.0, U_mm=0.01)))
    assert with_U.U_old_mm == 0.01


def test_an_unknown_uncertainty_is_that_of_a_reading_by_eye_and_grows_with_its_step():
    fine, coarse = (
        difference(record(Earlier(d1_mm=3.5, d2_mm=3.52)), resolution_mm=step).U_old_mm
        for step in (0.01, 0.1)
    )
    scope = 2.0 * 0.005 * 3.51 / math.sqrt(3.0)
    assert fine == pytest.approx(math.hypot(scope, 2.0 * 0.01 / (2.0 * math.sqrt(3.0))))
    assert coarse > 2.0 * fine


@pytest.mark.parametrize(("hbw", "half_step"), [(302.0, 0.5), (144.0, 0.5), (97.0, 0.05)])
@pytest.mark.parametrize("step", [0.01, 0.001])
def test_a_hardness_was_rounded_to_three_figures_and_that_adds_to_the_reading(hbw, half_step, step):
    """Rounding is rectangular (JCGM 100:2008, 4.3.7): its half in mm is that of HBW over dHBW/dd.

    The scope at its limit, 0.5 % of d (ISO 6506-2, from memory), and two readings in steps.
    """
    d = diameter_for(hbw, TEST)
    found = difference(record(Earlier(hbw=hbw), d), resolution_mm=step)
    per_mm = (brinell(d + 1e-4, TEST) - brinell(d - 1e-4, TEST)) / 2e-4
    parts = (0.005 * d, step / 2.0, half_step / per_mm)
    assert found.U_old_mm == pytest.approx(2.0 * math.hypot(*parts) / math.sqrt(3.0), rel=1e-3)


def test_the_hardness_that_was_written_counts_and_not_what_it_should_have_been():
    found = difference(record(Earlier(mean_mm=3.49, hbw=299.0)))
    assert found.old_hbw == 299.0
    assert found.new_minus_old_hbw == pytest.approx(brinell(3.50, TEST) - 299.0)


@pytest.mark.parametrize(
    ("earlier", "more", "why"),
    [
        (Earlier(mean_mm=3.5, hbw=302.0), {}, ""),
        (Earlier(d1_mm=3.5, d2_mm=3.51, mean_mm=3.5), {}, ""),  # rounded, as a person does
        (Earlier(d1_mm=3.5, d2_mm=3.51, mean_mm=3.51), {}, ""),
        (Earlier(d1_mm=3.5, d2_mm=3.51, mean_mm=3.52), {}, "arithmetic"),
        (Earlier(d1_mm=3.5, d2_mm=3.5, mean_mm=3.7), {}, "arithmetic"),
        (Earlier(mean_mm=3.5, hbw=300.0), {}, "arithmetic"),
        (Earlier(mean_mm=3.5, hbw=304.0), {}, "arithmetic"),
        (Earlier(mean_mm=3.5, hbw=203.0), {}, "arithmetic"),
        (Earlier(mean_mm=3.5), {"status": "refused"}, "refused-now"),
        (Earlier(mean_mm=12.0), {}, "too-far-apart"),
        (Earlier(mean_mm=35.0, hbw=302.0), {}, "too-far-apart"),
        (Earlier(mean_mm=12.0), {"status": "refused"}, "no-number"),
        (Earlier(mean_mm=10.1), {"mean_mm": 9.6}, "no-number"),
        (Earlier(hbw=5.0), {}, "no-number"),
        (Earlier(mean_mm=0.0035), {}, "too-far-apart"),
        (Earlier(mean_mm=0.0035, hbw=302.0), {}, "too-far-apart"),
        (Earlier(mean_mm=3.14), {}, "too-far-apart"),
        (Earlier(mean_mm=3.16), {}, "disagrees"),
        (Earlier(hbw=402.0), {}, "too-far-apart"),
        (Earlier(mean_mm=0.0035), {"status": "refused"}, "refused-now"),
        (Earlier(mean_mm=3.5), {"checks": [{"outcome": "fail"}]}, "failed-check"),
        (Earlier(mean_mm=3.5), {"checks": [{"outcome": "warn"}, {"outcome": "pass"}]}, ""),
        (
            Earlier(mean_mm=3.5),
            {"checks": [{"outcome": "warn"}, {"outcome": "fail"}]},
            "failed-check",
        ),
    ],
)
def test_what_is_worth_pulling(earlier, more, why):
    assert difference(record(earlier, **more)).why == why


@pytest.mark.parametrize(
    "lacking", [{"earlier": None}, {"earlier": {"U_mm": 0.01}}, {"test": None}]
)
def test_nothing_to_compare(lacking):
    assert difference(record(Earlier(mean_mm=3.5)) | lacking) is None


@given(
    old=st.floats(2.5, 5.9),
    new=st.floats(2.5, 5.9),
    U_old=st.floats(0.001, 0.1),
    U_new=st.floats(0.001, 0.1),
)
def test_for_any_figures(old, new, U_old, U_new):
    found = difference(record(Earlier(mean_mm=old, U_mm=U_old), new, U_new))
    if abs(old / new - 1.0) > 0.1:  # as `rimread compare` has it
        assert found == Difference(old, None, U_old, why="too-far-apart")
        return
    back = difference(record(Earlier(mean_mm=new, U_mm=U_new), old, U_old))
    if back.normalised_error is not None:  # a tenth less is not a tenth more
        assert found.normalised_error == pytest.approx(-back.normalised_error, abs=1e-9)
    assert (found.why == "disagrees") == (abs(new - old) > math.hypot(U_old, U_new))
    if new != old:  # a larger indent is a softer piece
        assert (found.new_minus_old_mm > 0) == (found.new_minus_old_hbw < 0)


@given(st.integers(250, 590), st.integers(0, 9), st.integers(-3, 3))
def test_a_mean_rounded_either_way_to_hundredths_is_no_slip_and_a_step_further_is(d1, more, off):
    """Counted in whole half steps of 0.01 mm, in which the mean of two readings is exact."""
    twice, written = 2 * d1 + more, d1 + more // 2 + off
    earlier = Earlier(d1_mm=d1 / 100, d2_mm=(d1 + more) / 100, mean_mm=written / 100)
    slip = abs(2 * written - twice) > 1
    assert difference(record(earlier, twice / 200)).why == ("arithmetic" if slip else "")


@given(st.floats(2.5, 5.9))
def test_a_hardness_that_follows_from_the_printed_table_is_no_slip(diameter):
    """The printed tables go in steps of 0.01 mm and round to three figures."""
    value = brinell(round(diameter, 2), TEST)
    hbw = float(round(value)) if value >= 100 else round(value, 1)
    found = difference(record(Earlier(mean_mm=diameter, hbw=hbw), diameter))
    assert found.why == ""


@given(st.floats(2.5, 5.9))
def test_a_hardness_cut_off_after_its_last_figure_is_no_slip(diameter):
    """Common practice, no source: digits are dropped instead of rounded, from the printed table."""
    value = brinell(round(diameter, 2), TEST)
    hbw = float(math.floor(value)) if value >= 100 else math.floor(10 * value) / 10
    assert difference(record(Earlier(mean_mm=diameter, hbw=hbw), diameter)).why == ""


@pytest.mark.parametrize("one", [{"d1_mm": 3.5}, {"d2_mm": 3.5}])
def test_one_diameter_alone_is_no_mean(one):
    alone = Earlier(**one)
    assert alone.single
    assert difference(record(alone)) is None
    by_hbw = difference(record(Earlier(**one, hbw=302.0)))
    assert by_hbw.old_mm == pytest.approx(diameter_for(302.0, TEST))
    assert not any(
        told.single
        for told in (
            Earlier(),
            Earlier(d1_mm=3.5, d2_mm=3.5),
            Earlier(mean_mm=3.5),
            Earlier(**one, hbw=302.0),
        )
    )
