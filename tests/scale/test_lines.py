"""Lines that cannot be followed give no marks, and no fault of the program."""

import numpy as np
import pytest
from tests.scale.rulings import Ruling, photo_of

from rimread.photo import linear_light
from rimread.scale.ladder import Ladder, find_ladders
from rimread.scale.lines import mark_lines


def ladder(lines=31, pitch_px=12.0):
    half = lines // 2
    return Ladder(0.0, (1 / pitch_px, 0.0), np.zeros(6), -half, half, (False, False), (-80, 80), 10)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("grain", [0.0, 0.001, 0.2])
def test_where_no_line_is_none_is_marked(seed, grain):
    light = 0.3 + np.random.default_rng(seed).normal(0, grain, (480, 640)).astype(np.float32)
    marks = mark_lines(light, ladder())
    assert marks is None or marks.swing < 0.5 * grain + 1e-6


def test_a_band_outside_the_picture_has_no_lines():
    beyond = Ladder(0.0, (1 / 12, 0.0), np.zeros(6), -9, 9, (False, False), (900.0, 990.0), 10)
    assert mark_lines(np.full((480, 640), 0.3, np.float32), beyond) is None


@pytest.mark.parametrize("off", [0.4, -0.33])
def test_lines_that_are_not_where_they_were_said_to_be_are_not_marked(off):
    """All pieces want to go farther than a piece may: none of them is kept."""
    x = (np.arange(640) - 319.5) / 40 - off
    line = 0.3 - 0.2 * (np.abs(x - np.rint(x)) < 0.05)
    light = np.tile(line.astype(np.float32), (480, 1))
    assert mark_lines(light, ladder(lines=13, pitch_px=40.0)) is None


def test_every_line_but_the_outer_ones_is_marked():
    photo = photo_of(Ruling(), np.random.default_rng(1))
    light = linear_light(photo, photo.grey)
    (finest, *_) = find_ladders(light)
    marks = mark_lines(light, finest)
    assert set(marks.line) == set(range(finest.first + 1, finest.last))
