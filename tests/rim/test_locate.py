"""Where the break lies along each normal, and whether there is one."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from tests.rim.drawn import light_about, taken

from rimread.refusal import Refusal
from rimread.rim.ellipse import Ellipse
from rimread.rim.find import find_rim, find_rims
from rimread.rim.locate import Settled, locate, settle

SIZE, RADIUS = 400, 120.0
TRUE = Ellipse(x=200.3, y=199.6, m=RADIUS, e=1.2, f=-0.8)


def disc(*, inside=0.25, outside=0.5, blur_px=1.2, noise=0.004, seed=0):
    """A dark disc with a blurred edge, and the grain of the photo."""
    return light_about(
        TRUE,
        lambda q: outside + (inside - outside) * ndtr(-q / blur_px),
        size=SIZE,
        noise=noise,
        seed=seed,
    )


def greased(light, turn_deg, *, reach=0.12, noise=0.004):
    """The light with even grey over the rim within half of `turn_deg` on either side of x.

    As noisy as the rest: light without noise would count as clipped.
    """
    y, x = np.indices(light.shape)
    away = np.hypot(x - TRUE.x, y - TRUE.y)
    turn = np.degrees(np.arctan2(y - TRUE.y, x - TRUE.x))
    hidden = (np.abs(away - RADIUS) < reach * RADIUS) & (np.abs(turn) < turn_deg / 2)
    grease = np.median(light) + noise * np.random.default_rng(7).standard_normal(light.shape)
    return np.where(hidden, grease, light)


@pytest.mark.parametrize("inside", [0.05, 0.4, 0.6])
def test_a_break_is_likelier_than_none_all_round_a_disc(inside):
    located = locate(taken(disc(inside=inside)), Settled(TRUE, 1.2, 2.5))
    assert located.log_odds.min() > 5
    assert np.abs(located.q_px).max() < 0.5


@pytest.mark.parametrize("tilt", [0.0, 2e-4, 1e-3])
@pytest.mark.parametrize("seed", range(3))
def test_none_is_likelier_than_a_break_where_light_changes_evenly(tilt, seed):
    """Grain offers a best place to every arc; that it could have been any counts against it."""
    ramp = 0.3 + tilt * np.indices((SIZE, SIZE))[1]
    photo = taken(ramp + np.random.default_rng(seed).normal(0, 0.004, ramp.shape))
    located = locate(photo, Settled(TRUE, 1.2, 2.5))
    assert np.median(located.log_odds) < 0
    assert np.mean(located.log_odds > 0) < 0.2


def test_the_odds_do_not_change_with_the_exposure():
    one, other = (
        locate(taken(share * disc(noise=0.002)), Settled(TRUE, 1.2, 2.5)) for share in (1.0, 0.5)
    )
    np.testing.assert_allclose(one.log_odds, other.log_odds, atol=0.3)
    np.testing.assert_allclose(one.q_px, other.q_px, atol=0.01)


def test_a_picture_of_black_and_white_alone_is_read_or_refused():
    """Sharpened until nothing is left between: a side without any scatter beside one with it."""
    hard = np.where(disc(inside=0.2, outside=0.8, noise=0.3) > 0.5, 1.0, 0.0)
    located = locate(taken(hard), Settled(TRUE, 0.8, 2.5))
    assert np.isfinite(located.q_px).all()
    assert np.isfinite(located.u_px).all()
    flat = np.where(disc(inside=0.0, outside=0.8, noise=0.0, blur_px=0.01) > 0.4, 1.0, 0.0)
    assert np.isfinite(locate(taken(flat), Settled(TRUE, 0.8, 2.5)).log_odds).all()


def test_no_break_is_seen_under_grease():
    located = locate(taken(greased(disc(), 90.0)), Settled(TRUE, 1.2, 2.5))
    turn = np.degrees(np.abs((located.t + math.pi) % (2 * math.pi) - math.pi))
    assert located.log_odds[turn < 38].max() < 0
    assert located.log_odds[turn > 52].min() > 5


@pytest.mark.usefixtures("even_bowls")
@pytest.mark.parametrize("turn_deg", [40.0, 80.0])
def test_grease_does_not_bend_the_ellipse(turn_deg):
    """The grease ends along arcs of circles of its own, a good deal inside and outside the rim."""
    clean, spoiled = (find_rim(taken(light)) for light in (disc(), greased(disc(), turn_deg)))
    assert spoiled.coverage == pytest.approx(1 - turn_deg / 360, abs=0.06)
    assert spoiled.ellipse.m == pytest.approx(clean.ellipse.m, abs=0.15)
    assert spoiled.ellipse.x == pytest.approx(clean.ellipse.x, abs=0.4)


@pytest.mark.parametrize(
    ("size", "radius", "blur_px"), [(80, 38.8, 2.4), (120, 56.4, 4.0), (160, 72.0, 6.0)]
)
def test_a_rim_as_large_as_the_picture_is_refused(size, radius, blur_px):
    """No profile lies wholly in the picture: nothing to place a break by."""
    y, x = np.indices((size, size))
    away = np.hypot(x - (size - 1) / 2, y - (size - 1) / 2)
    light = 0.5 - 0.3 * ndtr((radius - away) / blur_px)
    photo = taken(light + np.random.default_rng(0).normal(0, 0.004, light.shape))
    for result in (find_rim(photo), find_rims(photo)):
        assert isinstance(result, Refusal)


@pytest.mark.parametrize("blur_px", [1.3, 2.4])
def test_clipped_arcs_do_not_make_the_rim_sharper(blur_px):
    """Of an overexposed half only the foot of the edge is seen, which looks sharp."""
    light = disc(inside=0.8, outside=0.3, blur_px=blur_px)
    over = np.where(np.arange(SIZE) < SIZE / 2, 1.0, 2.5) * light
    settled = [settle(taken(one), TRUE) for one in (light, over)]
    fair, half = (locate(taken(one), s) for one, s in zip((light, over), settled, strict=True))
    assert half.clipped.mean() > 0.4
    assert half.blur_px == pytest.approx(fair.blur_px, rel=0.15)


@pytest.mark.parametrize("off_px", [-4.0, 3.0])
def test_settling_ends_on_the_break(off_px):
    settled = settle(taken(disc()), replace(TRUE, m=RADIUS + off_px))
    assert settled.ellipse.m == pytest.approx(RADIUS, abs=0.3)
    assert settled.blur_px == pytest.approx(1.2, rel=0.4)
