"""Closed paths of most gain."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimread.rim.path import closed_path, closed_paths

ROWS, COLUMNS = 64, 40


def planted(seed, *, reach=2, contrast=3.0):
    """Noise with a closed curve of higher gain, and that curve."""
    rng = np.random.default_rng(seed)
    t = np.arange(ROWS) * (2 * np.pi / ROWS)
    curve = 20 + 5 * np.cos(t + rng.uniform(0, 7)) + 2 * np.cos(2 * t + rng.uniform(0, 7))
    columns = np.round(curve).astype(int)
    assert np.abs(np.diff(np.append(columns, columns[0]))).max() <= reach
    gain = rng.uniform(0, 1, (ROWS, COLUMNS)).astype(np.float32)
    gain[np.arange(ROWS), columns] += contrast
    return gain, columns


def earned(gain, path, toll):
    steps = np.abs(np.diff(np.append(path, path[0])))
    return float(gain[np.arange(len(path)), path].sum() - toll * steps.sum())


@pytest.mark.parametrize("seed", range(20))
def test_a_planted_curve_is_found(seed):
    gain, columns = planted(seed)
    path = closed_path(gain, reach=2, toll=0.05)
    assert np.mean(path == columns) > 0.97


@settings(max_examples=50)
@given(st.integers(0, 10_000), st.integers(1, 3))
def test_steps_stay_within_reach(seed, reach):
    """Also in noise, where nothing holds the path together but the rule."""
    gain = np.random.default_rng(seed).uniform(0, 1, (48, 20)).astype(np.float32)
    path = closed_path(gain, reach=reach, toll=0.05)
    assert path.shape == (48,)
    assert ((path >= 0) & (path < 20)).all()
    assert np.abs(np.diff(path)).max() <= reach


@pytest.mark.parametrize("seed", range(20))
def test_a_clear_curve_closes_exactly(seed):
    gain, _ = planted(seed)
    path = closed_path(gain, reach=2, toll=0.05)
    assert abs(int(path[0]) - int(path[-1])) <= 2


@pytest.mark.parametrize("turn", [1, 7, 16, 31, 63])
def test_where_the_turn_starts_does_not_matter(turn):
    gain, _ = planted(5)
    path = closed_path(gain, reach=2, toll=0.05)
    turned = closed_path(np.roll(gain, turn, axis=0), reach=2, toll=0.05)
    np.testing.assert_array_equal(turned, np.roll(path, turn))


@pytest.mark.parametrize("shift", [-6, 3, 9])
def test_a_shifted_picture_shifts_the_path(shift):
    gain, _ = planted(8)
    wide = np.pad(gain, ((0, 0), (10, 10)))
    path = closed_path(wide, reach=2, toll=0.05)
    moved = closed_path(np.roll(wide, shift, axis=1), reach=2, toll=0.05)
    np.testing.assert_array_equal(moved, path + shift)


@pytest.mark.parametrize("seed", range(5))
def test_a_constant_added_to_every_cell_changes_nothing(seed):
    gain, _ = planted(seed)
    one, two = (
        closed_path(gain + add, reach=2, toll=0.05) for add in (np.float32(0), np.float32(2))
    )
    np.testing.assert_array_equal(one, two)


@pytest.mark.parametrize("seed", range(8))
def test_no_exact_closed_path_earns_more(seed):
    """Against the exact closed path: one dynamic programme for every start column.

    Appleton & Sun 2003 name this the brute-force solution. With a planted curve the heuristic
    must reach it.
    """
    gain, _ = planted(seed, contrast=1.5)
    best = exact_gain(gain, reach=2, toll=0.05)
    path = closed_path(gain, reach=2, toll=0.05)
    assert earned(gain, path, 0.05) == pytest.approx(best, abs=1e-3)


def exact_gain(gain, *, reach, toll):
    rows, columns = gain.shape
    best = -np.inf
    for start in range(columns):
        total = np.full(columns, -np.inf)
        total[start] = gain[0, start]
        for i in range(1, rows):
            offers = [
                np.roll(np.pad(total, reach, constant_values=-np.inf), k)[reach:-reach]
                - toll * abs(k)
                for k in range(-reach, reach + 1)
            ]
            total = np.max(offers, axis=0) + gain[i]
        ends = range(max(start - reach, 0), min(start + reach + 1, columns))
        best = max(best, *(total[end] - toll * abs(end - start) for end in ends))
    return best


def test_toll_keeps_a_path_straight_in_a_flat_picture():
    gain = np.zeros((32, 16), np.float32)
    gain[:, 9] = 0.01
    np.testing.assert_array_equal(closed_path(gain, reach=2, toll=0.05), 9)


def test_several_pictures_at_once_give_the_paths_of_each():
    gains = np.stack([planted(seed)[0] for seed in (1, 2, 3)])
    together = closed_paths(gains, reach=2, toll=0.05)
    assert len(together) == 3
    for path, gain in zip(together, gains, strict=True):
        np.testing.assert_array_equal(path, closed_path(gain, reach=2, toll=0.05))
