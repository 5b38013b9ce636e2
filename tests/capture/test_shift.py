"""How far a picture moved, in 8 and in 16 bits: pictures moved by a known way give it back."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.bench.conftest import ROOT

from rimread.capture.shift import (
    MOST_SMEAR_PX2,
    STILL_PX,
    change,
    halves,
    seen_shift_px,
    shift_px,
    small,
)
from rimread.photo import read_photo

PLATE = read_photo(ROOT / "sample_images/hall-plate-2.jpg").grey  # a rendering
STAGE = read_photo(ROOT / "calibration/hall-horizontal.jpg").grey  # a rendering


def in_bits(levels, bits):
    """8-bit grey levels, with fractions where there are 16 bits: full scale is 255 or 65535."""
    full = 2**bits - 1
    return np.rint(np.asarray(levels, float) * full / 255).astype(
        np.uint8 if bits == 8 else np.uint16
    )


def moved(grey, x, y):
    warp = np.array([[1, 0, x], [0, 1, y]], np.float32)
    size = grey.shape[::-1]
    return cv2.warpAffine(grey.astype(np.float32), warp, size, borderMode=cv2.BORDER_REFLECT)


@given(st.integers(0, 255), st.sampled_from([8, 16]))
def test_levels_are_those_of_8_bits_whatever_the_picture_has(level, bits):
    flat = in_bits(np.full((40, 60), level), bits)
    assert small(flat) == pytest.approx(np.full((10, 15), float(level)), abs=1e-3)


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("size", [1, 2], ids=["small enough to register", "to be halved first"])
def test_the_way_comes_back_along_x_and_along_y(bits, size):
    x, y = 5.0 * size, -3.0 * size
    grey = cv2.resize(PLATE, None, fx=size, fy=size, interpolation=cv2.INTER_CUBIC)
    found = shift_px(*(small(in_bits(one, bits)) for one in (grey, moved(grey, x, y))))
    assert found == pytest.approx((x, y), abs=0.25)


def under(lamp, grey):
    """A picture under light that stays where it is when the specimen moves."""
    y, x = np.indices(grey.shape)
    r2 = ((x - grey.shape[1] / 2) ** 2 + (y - grey.shape[0] / 2) ** 2) / (grey.shape[0] / 2) ** 2
    light = {
        "even": np.ones_like(r2),
        "fading to the corners": np.exp(-r2),
        "from one side": 0.2 + 0.8 * x / grey.shape[1],
        "a round field of view": np.where(r2 < 0.9, 1.0, 0.02),
    }
    return in_bits(light[lamp] * grey, 8)


@pytest.mark.parametrize(
    "lamp", ["even", "fading to the corners", "from one side", "a round field of view"]
)
@pytest.mark.parametrize("way", [(0.0, 0.0), (1.5, 0.0), (5.0, -3.0)])
def test_light_that_stays_does_not_hide_that_the_specimen_moves(lamp, way):
    before, now = (small(under(lamp, grey)) for grey in (PLATE, moved(PLATE, *way)))
    assert shift_px(before, now) == pytest.approx(way, abs=0.3)


def test_a_change_is_one_whichever_way_it_goes_and_noise_is_halved():
    """Of noise the mean of |x| is σ √(2/π) (half-normal); four pixels have half the σ of one."""
    one = np.zeros((60, 80), np.float32)
    other = np.where(np.arange(80) < 40, 8.0, -8.0).astype(np.float32) + one
    assert change(one, other) == pytest.approx(8.0)
    rng = np.random.default_rng(4)
    noisy = (rng.normal(90.0, 3.0, (120, 160)).astype(np.float32) for _ in range(2))
    assert change(*noisy) == pytest.approx(
        math.sqrt(2) * 3.0 / 2 * math.sqrt(2 / math.pi), rel=0.05
    )


@pytest.mark.parametrize(("share", "seen"), [(0.3, False), (0.8, True)])
def test_pictures_that_have_less_than_half_in_common_tell_no_movement(share, seen):
    rng = np.random.default_rng(3)
    common, *own = (cv2.GaussianBlur(rng.normal(0, 1, (120, 160)), None, 2) for _ in range(3))
    before, now = (
        (90 + 40 * (math.sqrt(share) * common + math.sqrt(1 - share) * one)).astype(np.float32)
        for one in own
    )
    assert (seen_shift_px(before, now) is not None) == seen


@pytest.mark.parametrize("bits", [8, 16])
def test_bare_metal_moves_only_where_its_light_changes(bits):
    """What shows nothing to register by is still as long as its levels, of 8 bits, stay."""
    rng = np.random.default_rng(1)
    before, same, brighter = (
        small(in_bits(90.0 + more + rng.normal(0.0, 2.0, (480, 640)), bits)) for more in (0, 0, 4)
    )
    assert seen_shift_px(before, same) is None
    assert shift_px(before, same) == (0.0, 0.0)
    assert change(before, brighter) == pytest.approx(4.0, abs=0.6)  # 8 bits are rounded
    assert shift_px(before, brighter) == (math.inf, math.inf)


def test_two_different_pictures_are_infinitely_far_apart():
    stage = small(STAGE[: PLATE.shape[0], : PLATE.shape[1]])
    assert shift_px(small(PLATE), stage) == (math.inf, math.inf)


def test_the_halves_have_no_row_in_common():
    rows = np.zeros((40, 60), np.uint8)
    rows[::2], rows[1::2] = 100, 50
    even, odd = halves(rows)
    assert (even == 100).all()
    assert (odd == 50).all()
    assert even.shape == odd.shape == small(rows).shape


def test_a_drift_too_small_to_count_smears_by_no_more_than_allowed():
    """A rectangular distribution's variance, drawn (JCGM 100:2008, 4.3.7: a²/3, a half the way)."""
    places = np.random.default_rng(2).uniform(0.0, STILL_PX, 200_000)
    assert places.var() == pytest.approx(MOST_SMEAR_PX2, rel=0.01)
    # past the end of a rim of 100 px: what an arc recedes by, on the average of the way
    off_px = 100.0 - np.sqrt(100.0**2 - (places - STILL_PX / 2) ** 2)
    assert off_px.mean() == pytest.approx(0.0005, abs=1e-5)
