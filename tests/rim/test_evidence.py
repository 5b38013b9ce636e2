"""Evidence of a break: polarity, gain and offset, texture, lines, the rim of the picture."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimread.rim.evidence import MARGIN, break_evidence

ROWS, COLUMNS, BREAK = 60, 41, 20
INSIDE = np.ones((ROWS, COLUMNS), bool)


def band(*, low=0.3, high=0.5, noise=0.01, noise_out=None, seed=0):
    rng = np.random.default_rng(seed)
    outside = np.arange(COLUMNS) > BREAK
    scatter = np.where(outside, noise if noise_out is None else noise_out, noise)
    grey = np.where(outside, high, low) + scatter * rng.standard_normal((ROWS, COLUMNS))
    grey[:, BREAK] = (low + high) / 2
    return grey.astype(np.float32)


def found(gain):
    return gain.mean(axis=0).argmax()


@pytest.mark.parametrize("shading", [True, False])
@pytest.mark.parametrize(("low", "high"), [(0.3, 0.5), (0.5, 0.3), (0.3, 0.34), (0.7, 0.66)])
def test_the_break_is_where_the_step_is(low, high, shading):
    gain = break_evidence(band(low=low, high=high), inside=INSIDE, shading=shading)
    assert abs(found(gain) - BREAK) <= 1


@pytest.mark.parametrize("shading", [True, False])
def test_polarity_does_not_matter(shading):
    grey = band()
    one = break_evidence(grey, inside=INSIDE, shading=shading)
    other = break_evidence(1 - grey, inside=INSIDE, shading=shading)
    np.testing.assert_allclose(one, other, atol=0.05)


@pytest.mark.parametrize("shading", [True, False])
def test_a_step_that_changes_sign_round_the_turn_counts_all_round(shading):
    """Lit on one side, in shade on the other, as bowls are under one lamp."""
    grey = band()
    grey[ROWS // 2 :] = (0.8 - grey)[ROWS // 2 :]
    gain = break_evidence(grey, inside=INSIDE, shading=shading)
    here = gain[:, BREAK - 1 : BREAK + 2].max(axis=1)
    away = np.arange(ROWS)
    steady = (away > 4) & (away < ROWS - 5) & (np.abs(away - ROWS // 2) > 4)
    assert here[steady].min() > 2


@settings(max_examples=30)
@given(st.floats(0.4, 2.0), st.floats(-0.1, 0.3))
def test_gain_and_offset_hardly_matter_above_the_grey_step(factor, offset):
    """The evidence is a log likelihood ratio: scale-free where variances exceed the grey step."""
    grey = band(noise=0.03)
    one = break_evidence(grey, inside=INSIDE, shading=True)
    other = break_evidence(
        grey * np.float32(factor) + np.float32(offset), inside=INSIDE, shading=True
    )
    assert found(other) == found(one)
    np.testing.assert_allclose(other.mean(axis=0), one.mean(axis=0), atol=0.2)


def test_a_change_of_texture_at_equal_brightness_is_a_break():
    grey = band(low=0.4, high=0.4, noise=0.01, noise_out=0.05)
    gain = break_evidence(grey, inside=INSIDE, shading=False)
    assert abs(found(gain) - BREAK) <= 3
    plain = break_evidence(band(low=0.4, high=0.4, noise=0.03), inside=INSIDE, shading=False)
    assert gain.mean(axis=0).max() > 2 * plain.mean(axis=0).max()


@pytest.mark.parametrize("bright", [0.15, -0.15])
def test_a_line_between_equal_sides_is_a_break(bright):
    grey = band(low=0.4, high=0.4)
    grey[:, BREAK - 1 : BREAK + 2] += np.float32(bright)
    gain = break_evidence(grey, inside=INSIDE, shading=False)
    assert abs(found(gain) - BREAK) <= 1


def test_slow_shading_counts_only_when_asked():
    slope = np.linspace(0.2, 0.6, COLUMNS, dtype=np.float32) + np.zeros((ROWS, 1), np.float32)
    grey = slope + 0.005 * np.random.default_rng(1).standard_normal((ROWS, COLUMNS)).astype("f4")
    middle = slice(10, -10)
    with_it = break_evidence(grey, inside=INSIDE, shading=True)[:, middle].mean()
    without = break_evidence(grey, inside=INSIDE, shading=False)[:, middle].mean()
    assert with_it > 5 * without


def test_nothing_counts_outside_the_picture():
    inside = INSIDE.copy()
    inside[10:20] = False
    gain = break_evidence(band(), inside=inside, shading=True)
    assert (gain[10:20] == 0).all()
    assert gain[30].max() > 0


def test_one_glaring_arc_does_not_outvote_a_rim():
    """Six times the contrast on a tenth of the turn elsewhere earns less than the whole rim."""
    grey = band(low=0.3, high=0.36)
    grey[:6, 30:] += 0.4
    gain = break_evidence(grey, inside=INSIDE, shading=True)
    assert abs(found(gain) - BREAK) <= 1


WIDE = 61
SLOPES = st.floats(-1 / WIDE, 1 / WIDE)
"""Grey values per sample along the rows: up to full scale from end to end."""
WINDOWS = 6
"""Columns that a gain looks at to either side: half a window of 5, the gap of 1, a window."""
CHANCE = 0.3
"""Mean gain of a path that follows the marks of texture (rimread.rim.gates)."""


def ramp(slopes, start=0.5):
    """Rows that rise evenly, each with its own slope."""
    return (start + np.outer(slopes, np.arange(WIDE) - WIDE // 2)).astype(np.float32)


@given(SLOPES, SLOPES, st.floats(0.2, 0.8))
def test_a_straight_ramp_is_no_break_inside_the_margin(slope, other, start):
    """A mean run twice takes a straight line off; at the ends it cannot.

    There is no gain at all where no window reaches into the margin, and next to it less than by
    chance. Slopes may change round the turn, as lamps on one side make them.
    """
    turn = np.cos(2 * np.pi * np.arange(ROWS) / ROWS)
    grey = ramp(slope + (other - slope) * (turn + 1) / 2, start)
    gain = break_evidence(grey, inside=np.ones(grey.shape, bool), shading=False)
    deep = MARGIN + WINDOWS
    assert np.abs(gain[:, deep:-deep]).max() < 1e-3
    assert gain[:, MARGIN:-MARGIN].max() < 0.4 * CHANCE


@pytest.mark.parametrize("slope", [-1 / WIDE, 1 / WIDE])
def test_the_margin_is_where_a_ramp_looks_like_a_break(slope):
    """So it is no wider than it must be."""
    grey = ramp(np.full(ROWS, slope))
    whole = np.ones(grey.shape, bool)
    gain = break_evidence(grey, inside=whole, shading=False)
    assert gain[:, :MARGIN].max() > 1
    assert gain[:, -MARGIN:].max() > 1
    assert break_evidence(grey, inside=whole, shading=True)[:, MARGIN:-MARGIN].min() > 1


@given(
    SLOPES,
    st.floats(0.05, 0.3),
    st.booleans(),
    st.integers(MARGIN + 4, WIDE - MARGIN - 5),
    st.integers(0, 50),
)
def test_a_step_on_a_ramp_is_found_where_it_is(slope, step, down, place, seed):
    """On steep ramps, where the ends of the rows would gain more than the step does."""
    rng = np.random.default_rng(seed)
    grey = ramp(np.full(ROWS, slope)) + 0.01 * rng.standard_normal((ROWS, WIDE))
    grey[:, place] += (-step if down else step) / 2
    grey[:, place + 1 :] += -step if down else step
    gain = break_evidence(grey.astype(np.float32), inside=np.ones(grey.shape, bool), shading=False)[
        :, MARGIN:-MARGIN
    ]
    assert abs(found(gain) + MARGIN - place) <= 1
