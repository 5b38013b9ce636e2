"""Which shapes of an edge are tried, and how likely each is."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.rim.shapes import (
    BLURS_PX,
    OUTER_SLOPES,
    STRAIGHT,
    TEMPER,
    all_turns,
    blur_and_rounding,
    blurs_about,
    coarse_turns,
    log_weights,
    nearest_blur,
)

SLOPES = (*OUTER_SLOPES, None)
BLURS = BLURS_PX[2:5]
COUNT = len(BLURS) * len(all_turns(1.0))


@given(st.floats(0.5, 10.0))
def test_three_neighbouring_blurs_hold_the_nearest(blur_px):
    three = blurs_about(blur_px)
    first = BLURS_PX.index(three[0])
    assert three == BLURS_PX[first : first + 3]
    assert nearest_blur(blur_px) in three


def test_roundings_go_with_the_diameter():
    for turns in (all_turns, coarse_turns):
        small, large = (np.array([t.rounding_px for t in turns(d)]) for d in (100.0, 300.0))
        np.testing.assert_allclose(large, 3 * small)


def test_shapes_come_blur_by_blur_rounding_by_rounding_slope_by_slope():
    turns = all_turns(400.0)
    assert [t.outer_slope for t in turns[: len(SLOPES)]] == list(SLOPES)
    assert len({t.rounding_px for t in turns[: len(SLOPES)]}) == 1
    told = [(b, t.rounding_px) for b, t in product(BLURS, turns)]
    np.testing.assert_array_equal(blur_and_rounding(BLURS, turns), told)


def by_slope(weights):
    """Share of all weight of each outer slope, the last for none."""
    share = np.exp(weights - weights.max()).reshape(-1, len(SLOPES)).sum(axis=0)
    return share / share.sum()


@given(st.lists(st.floats(0, 3), min_size=len(OUTER_SLOPES), max_size=len(OUTER_SLOPES)))
def test_the_odds_of_a_straight_turn_are_those_against_all_slopes(sloped):
    """What is seen of the outer slope speaks for none of the two."""
    share = by_slope(log_weights(np.zeros(COUNT), np.array(sloped)))
    assert share[-1] / share[:-1].sum() == pytest.approx(np.exp(STRAIGHT))


@pytest.mark.parametrize("shape", [0, 17, COUNT - 1])
def test_a_misfit_counts_as_often_as_there_is_evidence(shape):
    misfit = np.zeros(COUNT)
    misfit[shape] = 0.25
    told = log_weights(np.zeros(COUNT)) - log_weights(misfit)
    assert told[shape] == pytest.approx(TEMPER * 0.25)
    assert np.abs(np.delete(told, shape)).max() == 0


def test_a_slope_that_the_light_outside_rules_out_gets_no_weight():
    sloped = np.full(len(OUTER_SLOPES), 5.0)
    sloped[1] = 0.0
    share = by_slope(log_weights(np.zeros(COUNT), sloped))
    assert share[1] > 0.85
