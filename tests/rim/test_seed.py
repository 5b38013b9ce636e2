"""Seeds: rings of any polarity found, texture passed over."""

import cv2
import numpy as np
import pytest
from grained import grains
from scipy.special import ive

from rimread.photo import Photo
from rimread.rim.seed import _maps, ring_seeds, texture_seeds


def photo(grey):
    return Photo(grey=np.clip(255 * grey, 0, 255).astype(np.uint8), tone="srgb", name="", sha256="")


def disc(*, width=640, height=512, x=300.0, y=240.0, r=110.0, seed=0, turn=None, step=0.2):
    """A disc in noise; with `turn` its contrast goes with the cosine of the direction."""
    rng = np.random.default_rng(seed)
    yy, xx = np.mgrid[:height, :width]
    away = np.hypot(xx - x, yy - y)
    share = 0.5 - 0.5 * np.tanh((away - r) / 1.5)
    light = step * share
    if turn is not None:
        light = light * np.cos(np.arctan2(yy - y, xx - x) - turn)
    return 0.5 + light + 0.03 * rng.standard_normal((height, width))


def close(seed, x, y, r):
    return (
        np.hypot(seed.x_px - x, seed.y_px - y) < 0.12 * r and abs(np.log(seed.radius_px / r)) < 0.12
    )


@pytest.mark.parametrize("step", [0.2, -0.2])
@pytest.mark.parametrize("r", [45, 80, 130, 200])
def test_bright_and_dark_discs_are_found(r, step):
    first = ring_seeds(photo(disc(r=r, step=step)), most=3)[0]
    assert close(first, 300, 240, r)


@pytest.mark.parametrize("turn", [0.0, 1.0, 2.5, 4.0])
def test_a_ring_lit_on_one_side_and_shaded_on_the_other_is_found(turn):
    first = ring_seeds(photo(disc(turn=turn)), most=3)[0]
    assert close(first, 300, 240, 110)


@pytest.mark.parametrize("glow", [0.3, -0.3])
def test_neither_the_glow_of_a_bowl_nor_stains_hide_a_rim(glow):
    """A slow change within the ring and blots of ten times its contrast beside it."""
    y, x = np.mgrid[:512, :640]
    blots = cv2.GaussianBlur(np.random.default_rng(4).standard_normal((512, 640)), (0, 0), 9) > 0.03
    stained = np.hypot(x - 530, y - 420) < 80
    light = disc(step=0.04, r=130, x=220, y=200)
    light += glow * np.exp(-0.5 * ((x - 220) ** 2 + (y - 200) ** 2) / 60**2)
    first = ring_seeds(photo(light - 0.4 * (blots & stained)), most=3)[0]
    assert close(first, 220, 200, 130)


def test_polarity_gives_the_same_seed():
    grey = disc()
    one, other = (ring_seeds(photo(g), most=1)[0] for g in (grey, 1 - grey))
    assert (one.x_px, one.y_px) == pytest.approx((other.x_px, other.y_px), abs=5)
    assert one.alignment == pytest.approx(other.alignment, rel=0.05)


@pytest.mark.parametrize(("x", "y"), [(130, 130), (520, 390), (320, 130)])
def test_rings_are_found_anywhere_in_the_frame(x, y):
    assert close(ring_seeds(photo(disc(x=x, y=y)), most=3)[0], x, y, 110)


@pytest.mark.parametrize("size", [(320, 256), (640, 512), (1600, 1280)])
def test_position_and_radius_are_those_of_the_full_picture(size):
    k = size[0] / 640
    shot = photo(disc(width=size[0], height=size[1], x=300 * k, y=240 * k, r=110 * k))
    assert close(ring_seeds(shot, most=1)[0], 300 * k, 240 * k, 110 * k)


def test_two_rings_give_two_seeds_strongest_first():
    grey = disc(x=180, y=250, r=90) + disc(x=460, y=260, r=90, seed=1, step=0.1) - 0.5
    seeds = ring_seeds(photo(grey), most=4)
    assert any(close(s, 180, 250, 90) for s in seeds)
    assert any(close(s, 460, 260, 90) for s in seeds)
    values = [s.alignment for s in seeds]
    assert values == sorted(values, reverse=True)


def test_a_ring_aligns_better_than_texture():
    rng = np.random.default_rng(3)
    marks = cv2.GaussianBlur(rng.standard_normal((512, 640)), (0, 0), sigmaX=12, sigmaY=0.8)
    texture = 0.5 + 0.05 * marks / marks.std()
    alone = ring_seeds(photo(texture), most=1)
    both = ring_seeds(photo(texture + disc(seed=4) - 0.5), most=1)
    assert close(both[0], 300, 240, 110)
    assert not alone or both[0].alignment > 1.5 * alone[0].alignment


def test_a_flat_picture_has_no_seed_worth_the_name():
    seeds = ring_seeds(photo(np.full((256, 320), 0.5)), most=3)
    assert all(s.alignment < 0.1 for s in seeds)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turned_pictures_turn_the_seed(turns):
    grey = disc(width=512, height=512, x=200, y=290)
    one = ring_seeds(photo(grey), most=1)[0]
    two = ring_seeds(photo(np.rot90(grey, turns).copy()), most=1)[0]
    x, y = one.x_px, one.y_px
    for _ in range(turns):
        x, y = y, 511 - x
    assert (two.x_px, two.y_px) == pytest.approx((x, y), abs=2)
    assert two.radius_px == pytest.approx(one.radius_px)


@pytest.mark.parametrize("order", [1, 2])
@pytest.mark.parametrize(("pixel", "radius"), [(1, 6.0), (1, 17.0), (2, 24.0), (2, 44.0)])
def test_a_map_is_the_sum_round_the_ring(pixel, radius, order):
    """The spectra of the rings against sums over pixels.

    A line along a circle with exp(niθ) on it, blurred by σ, is exp(niθ) times
    exp(-(d² + r²) / 2σ²) In(d r / σ²) / 2πσ² at the distance d from its centre, and n the order.
    """
    noise = np.random.default_rng(6).normal(size=(2, 80 // pixel, 100 // pixel)).astype(np.float32)
    field = np.stack([cv2.GaussianBlur(part, (0, 0), 1.0) for part in noise])
    (found,) = _maps(field, np.array([radius]), pixel=pixel, order=order)
    variance = max(0.7, 0.05 * radius) ** 2 - 0.25 * (pixel - 1)
    y, x = pixel * (np.mgrid[: field.shape[1], : field.shape[2]] + 0.5) - 0.5
    values = found.alignment[::9, ::11]
    told = np.empty_like(values)
    for i, j in np.ndindex(told.shape):
        dx, dy = x - found.x[11 * j], y - found.y[9 * i]
        away = np.maximum(np.hypot(dx, dy), 1e-9)
        ring = ive(order, away * radius / variance) * np.exp(-((away - radius) ** 2) / 2 / variance)
        turned = ((dx + 1j * dy) / away) ** order
        told[i, j] = (ring * (turned.real * field[0] + turned.imag * field[1])).sum()
    told *= np.sqrt(2 * np.pi * radius) * pixel**2 / (2 * np.pi * variance)
    expected = np.abs(told) if order == 1 else told
    assert np.abs(values - expected).max() < 0.05 * told.std()


def grained(*, smoother, seed=0, x=300.0, y=240.0, r=110.0):
    """Grains of many shades, whose differences are smaller or larger within a disc."""
    yy, xx = np.mgrid[:512, :640]
    shade = 0.2 * grains(xx.shape, 21, np.random.default_rng(seed))
    within = np.hypot(xx - x, yy - y) < r
    return 0.5 + np.clip(shade, -0.4, 0.4) * np.where(within == smoother, 0.4, 1.0)


@pytest.mark.parametrize("smoother", [True, False])
def test_a_disc_of_other_texture_among_grains_is_a_seed(smoother):
    seeds = [texture_seeds(photo(grained(smoother=smoother, seed=i)), most=3) for i in range(6)]
    assert sum(any(close(one, 300, 240, 110) for one in some) for some in seeds) >= 5


def test_texture_has_seeds_where_the_shade_does_not_tell():
    """Fine noise, weaker within a disc of the same mean."""
    yy, xx = np.mgrid[:512, :640]
    within = np.hypot(xx - 200, yy - 260) < 120
    noise = np.random.default_rng(2).standard_normal((512, 640))
    grey = photo(0.5 + noise * np.where(within, 0.04, 0.1))
    assert close(texture_seeds(grey, most=1)[0], 200, 260, 120)
    assert not any(close(seed, 200, 260, 120) for seed in ring_seeds(grey, most=3))
