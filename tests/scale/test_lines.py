"""Lines that cannot be followed give no marks, and no fault of the program."""

import math

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


@pytest.mark.parametrize(
    ("angle_deg", "askew_deg", "pitch_px", "contrast"),
    [(0.0, 8.0, 12.0, -0.2), (30.0, -8.0, 12.0, 0.2), (-20, 0, 25.0, -0.2), (100.0, 0, 9.3, 0.1)],
)
def test_pieces_lie_on_the_lines_and_scatter_as_they_are_said_to(
    angle_deg, askew_deg, pitch_px, contrast
):
    """Bars of Gaussian profile in white noise, the ladder told a twentieth of a division off."""
    width, height, sigma, turn = 640, 480, 1.5, math.radians(angle_deg)
    x, y = np.meshgrid(np.arange(width) - (width - 1) / 2, np.arange(height) - (height - 1) / 2)
    index = (x * math.cos(turn) + y * math.sin(turn)) / pitch_px
    off_px = (index - np.rint(index)) * pitch_px
    light = 0.3 + contrast * np.exp(-(off_px**2) / (2 * sigma**2))
    light += np.random.default_rng(0).normal(0, 0.01, light.shape)
    half, off = int(200 / pitch_px), np.array([0.05, 0, 0.1, 0, 0, 0])
    askew = math.radians(askew_deg)
    frequency = (math.cos(askew) / pitch_px, math.sin(askew) / pitch_px)
    told = Ladder(turn - askew, frequency, off, -half, half, (False, False), (-80, 80), 10)
    found = mark_lines(light.astype(np.float32), told)
    seen = found.points_px - [(width - 1) / 2, (height - 1) / 2]
    error_px = seen @ [math.cos(turn), math.sin(turn)] - found.line * pitch_px
    assert np.mean(error_px) == pytest.approx(0.0, abs=0.005)
    assert np.std(error_px * np.sqrt(found.information)) == pytest.approx(1.0, abs=0.12)
    # first coefficient of the Fourier series of the profile, from top to bottom
    wave = (
        sigma * math.sqrt(2 * math.pi) / pitch_px * math.exp(-2 * (math.pi * sigma / pitch_px) ** 2)
    )
    assert found.swing == pytest.approx(4 * abs(contrast) * wave, rel=0.02)
    assert found.level == pytest.approx(np.median(light), rel=0.01)
