"""A round field of view: the indent in it is read as without it, its edge never."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import distance_transform_edt
from scipy.special import ndtr

from rimread.diameters import diameters
from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim import Rim, find_rim, find_rims, sight_indents
from rimread.rim.ellipse import Ellipse
from rimread.rim.field import CORNERS, CUT_PX, black_surround, filled, reaches_into
from rimread.simulate import several_scene, simulate

MIDDLE = (319.5, 255.5)
"""Of the photos of conftest.py."""
RADIUS = 250.0
STRAY = 2.0
"""Stray light and coding in the surround: up to two of 255 steps, if no more is said."""
SOFT = (2.0, 3.0, 5.0)
"""Blur of a field stop that is not in focus."""


def through_stop(photo, centre=MIDDLE, radius=RADIUS, *, blur=1.0, stray=STRAY, seed=0):
    """The photo as an eyepiece or a scope's field stop shows it, its edge blurred by `blur` px."""
    y, x = np.mgrid[: photo.height_px, : photo.width_px]
    seen = ndtr((radius - np.hypot(x - centre[0], y - centre[1])) / blur)
    noise = np.random.default_rng(seed).uniform(-STRAY, 0, seen.shape)
    grey = seen * photo.grey + (1 - seen) * (stray + noise) * photo.full_scale / 255
    return replace(photo, grey=grey.round().astype(photo.grey.dtype))


def painted(bits=8, *, inside=0.55, outside=0.4, radius=90.0, size=(320, 400), white=None):
    """A disc of even light on even ground, 2 px wide at its edge, in a little noise."""
    y, x = np.mgrid[: size[0], : size[1]]
    away = np.hypot(x - (size[1] - 1) / 2, y - (size[0] - 1) / 2) - radius
    grey = outside + (inside - outside) * ndtr(-away / 1.0)
    grey += 0.004 * np.random.default_rng(3).standard_normal(grey.shape)
    full = white or 2**bits - 1
    kind = np.uint8 if bits == 8 else np.uint16
    coded = (grey * full).clip(0, full).round().astype(kind)
    return Photo(grey=coded, tone="srgb", name="", sha256="", tone_stated=True, white=white)


@pytest.mark.parametrize("blur", [0.6, *SOFT[:-1]])
@pytest.mark.parametrize(
    ("tier", "seed"), [("clean", 5), ("clean", 8), ("shop", 8), ("shop", 10), ("shop", 11)]
)
def test_a_whole_indent_is_read_as_without_the_stop(simulated, tier, seed, blur):
    shot = simulated(tier, seed)
    photo = through_stop(shot.photo(), blur=blur)
    assert black_surround(photo) is not None
    free, seen = find_rim(shot.photo()), find_rim(photo)
    assert isinstance(seen, Rim), seen
    whole, found = diameters(free, shot.scale), diameters(seen, shot.scale)
    assert abs(found.mean_mm - whole.mean_mm) <= 0.1 * whole.budget.U


@pytest.mark.parametrize("share", [0.95, 0.9, 0.7, 0.5])
@pytest.mark.parametrize("seed", [5, 8])
def test_an_indent_that_the_edge_cuts_is_refused(simulated, seed, share):
    """The field ends `share` radii from the indent's centre, down to the right."""
    shot = simulated("clean", seed)
    true = shot.truth[0]
    back = share * true.axis1_px / 2 - RADIUS
    centre = (true.centre_x_px + 0.8 * back, true.centre_y_px + 0.6 * back)
    photo = through_stop(shot.photo(), centre)
    assert black_surround(photo) is not None
    result = find_rim(photo)
    assert isinstance(result, Refusal)
    # with a quarter of the turn gone and more, there may be no ring to be called cut
    others = set() if share > 0.8 else {"rim-incomplete", "rim-unclear", "no-indent"}
    assert result.code in {"cut-by-frame", *others}


@pytest.mark.parametrize("blur", [0.6, *SOFT])
@pytest.mark.parametrize("kind", ["blank", "scratched-blank"])
@pytest.mark.parametrize("seed", [0, 1, 5])
def test_an_empty_field_is_no_indent(spoiled, kind, seed, blur):
    """However soft the edge of the stop: it is as clear a ring as any rim."""
    photo = through_stop(spoiled(kind, seed).photo(), blur=blur)
    assert isinstance(find_rim(photo), Refusal)
    assert isinstance(find_rims(photo), Refusal)
    assert isinstance(sight_indents(photo), Refusal)


def test_a_photo_with_lit_corners_is_left_alone(simulated, monkeypatch):
    photo = simulated("clean", 5).photo()
    assert black_surround(photo) is None

    def never(*_):
        raise AssertionError("nothing is hidden, nothing may be filled")

    monkeypatch.setattr("rimread.rim.find.filled", never)
    assert isinstance(find_rim(photo), Rim)
    assert len(find_rims(photo)) == 1


@pytest.mark.parametrize("stray", [STRAY, 8.0, 14.0])
@pytest.mark.parametrize("across", [-1, 1])
@pytest.mark.parametrize("down", [-0.7, 0, 0.7])
def test_a_field_out_of_the_middle_and_not_quite_black_is_one(simulated, across, down, stray):
    """A camera held to an eyepiece: some corners are lit, and stray light in the others."""
    shot = simulated("shop", 8)
    true = shot.truth[0]
    radius = 2.3 * true.axis1_px / 2
    centre = (true.centre_x_px + across * 0.42 * radius, true.centre_y_px + down * 0.15 * radius)
    photo = through_stop(shot.photo(), centre, radius, stray=stray)
    assert any(np.median(photo.grey[corner]) > 40 for corner in CORNERS)
    hidden = black_surround(photo)
    assert hidden is not None
    y, x = np.mgrid[: photo.height_px, : photo.width_px]
    away = np.hypot(x - centre[0], y - centre[1])
    assert hidden[away > radius + 3].all()
    assert not hidden[away < 0.93 * radius].any()
    free, seen = find_rim(shot.photo()), find_rim(photo)
    assert isinstance(seen, Rim), seen
    whole, found = diameters(free, shot.scale), diameters(seen, shot.scale)
    assert abs(found.mean_mm - whole.mean_mm) <= 0.1 * whole.budget.U


@pytest.mark.parametrize("kind", ["blank", "scratched-blank"])
@pytest.mark.parametrize("seed", [0, 1, 5])
def test_an_empty_field_not_quite_black_around_is_no_indent(spoiled, kind, seed):
    photo = through_stop(spoiled(kind, seed).photo(), (300.0, 250.0), 240.0, stray=10.0)
    assert isinstance(find_rim(photo), Refusal)


def test_writing_in_the_surround_is_hidden_with_it(simulated):
    photo = through_stop(simulated("clean", 5).photo())
    hidden = black_surround(photo)
    grey = photo.grey.copy()
    cv2.putText(grey, "17 x", (5, 505), cv2.FONT_HERSHEY_PLAIN, 1.0, 255, 1)
    np.testing.assert_array_equal(black_surround(replace(photo, grey=grey)), hidden)


@pytest.mark.parametrize("angle", [0, 20, 45, 90, 200, 315])
@pytest.mark.parametrize("width", [40, 120])
def test_a_straight_edge_of_the_piece_ends_no_field(angle, width):
    photo = painted()
    y, x = np.mgrid[: photo.height_px, : photo.width_px]
    along = x * np.cos(np.deg2rad(angle)) + y * np.sin(np.deg2rad(angle))
    grey = np.where(along > along.max() - width, 3, photo.grey).astype(np.uint8)
    assert black_surround(replace(photo, grey=grey)) is None


@pytest.mark.parametrize("radius", [100, 160, 250])
@pytest.mark.parametrize("centre", [(0, 0), (390, 20), (-20, 319), (380, 300)])
def test_a_dark_bowl_across_a_corner_is_no_surround(centre, radius):
    photo = painted()
    grey = photo.grey.copy()
    cv2.circle(grey, centre, radius, 3, -1)
    assert min(np.median(grey[corner]) for corner in CORNERS) == 3
    assert black_surround(replace(photo, grey=grey)) is None


@pytest.mark.parametrize("outside", [0.05, 0.15])
def test_a_large_bright_bowl_on_dark_metal_is_told_what_it_was_taken_for(outside):
    """An empty field looks the same, and must never get a number."""
    refused = find_rim(painted(inside=0.7, outside=outside, radius=140.0))
    assert isinstance(refused, Refusal)
    assert refused.code == "no-indent"
    assert "light the metal around it" in refused.message


@pytest.mark.usefixtures("even_bowls")
@pytest.mark.parametrize("radius", [60.0, 90.0, 110.0])
def test_a_small_bright_bowl_on_black_metal_is_no_field(radius):
    """The field of view covers two fifths of a picture and more; a bowl may look like one."""
    photo = painted(inside=0.5, outside=0.004, radius=radius)
    assert (photo.grey > 64).mean() < 0.4
    assert black_surround(photo) is None
    rim = find_rim(photo)
    assert isinstance(rim, Rim)
    assert rim.ellipse.m == pytest.approx(radius, abs=2.0)  # its light is no sRGB edge


@pytest.mark.parametrize(("bits", "white"), [(8, None), (16, None), (16, 4095)])
def test_what_is_seen_is_left_alone_at_any_depth(bits, white):
    photo = through_stop(painted(bits, white=white), (200.0, 160.0), 150.0)
    hidden = black_surround(photo)
    full = filled(photo, hidden)
    assert full.grey.dtype == photo.grey.dtype
    assert (full.full_scale, full.tone) == (photo.full_scale, photo.tone)
    np.testing.assert_array_equal(full.grey[~hidden], photo.grey[~hidden])
    assert 0.4 < (~hidden).mean() < np.pi * 153**2 / (320 * 400)


@pytest.mark.parametrize("blur", [0.6, *SOFT[:-1]])
def test_no_shade_of_the_edge_is_left(blur):
    """Even ground ends in even ground: what is filled is as bright as the rest."""
    photo = through_stop(painted(inside=0.4), (199.5, 159.5), 150.0, blur=blur)
    full = filled(photo, black_surround(photo))
    light = cv2.blur(full.grey.astype(float), (5, 5)) / full.full_scale
    np.testing.assert_allclose(light, 0.4, atol=0.02)


@given(st.integers(0, 500), st.floats(20, 45), st.floats(40, 80), st.floats(30, 60))
def test_what_is_hidden_gets_the_light_next_to_it(seed, radius, x0, y0):
    """Each pixel of the picture has its own value, which tells where a filled one is from."""
    shape = (90, 120)
    values = np.random.default_rng(seed).permutation(shape[0] * shape[1]).astype(np.uint16)
    photo = Photo(grey=values.reshape(shape), tone="linear", name="", sha256="")
    y, x = np.mgrid[: shape[0], : shape[1]]
    hidden = np.hypot(x - x0, y - y0) > radius
    came = np.empty((len(values), 2))
    came[values] = np.stack([x.ravel(), y.ravel()], axis=1)
    taken = came[filled(photo, hidden).grey]
    away = np.hypot(taken[..., 0] - x, taken[..., 1] - y)
    nearest = distance_transform_edt(hidden)
    assert (away[~hidden] == 0).all()
    # a 5 x 5 chamfer mask is within 2 per cent of the Euclidean distance (Borgefors 1986)
    assert (away <= 1.05 * nearest + 1e-9).all()


@given(st.floats(30, 60), st.floats(-40, 40), st.floats(-30, 30), st.floats(60, 90))
def test_an_ellipse_reaches_into_what_is_hidden_when_it_comes_near_it(m, dx, dy, radius):
    y, x = np.mgrid[:200, :200]
    hidden = np.hypot(x - 100, y - 100) > radius
    left = radius - np.hypot(dx, dy) - m
    if abs(left - CUT_PX) > 1.5:  # rings run between pixels, the field does not
        assert reaches_into(Ellipse(100 + dx, 100 + dy, m), hidden) == (left < CUT_PX)


@pytest.fixture(scope="module")
def three():
    scene = several_scene(np.random.default_rng(4), 3, tier="clean", width_px=960, height_px=768)
    return simulate(scene, rng=np.random.default_rng(5))


def test_several_in_one_field_are_sighted_and_the_cut_one_told(three):
    """The field ends 0.75 radii from the middle of the one farthest to the right."""
    *whole, last = sorted(three.truth, key=lambda t: t.centre_x_px)
    middle = (479.5, 383.5)
    radius = np.hypot(last.centre_x_px - middle[0], last.centre_y_px - middle[1])
    photo = through_stop(three.photo(), middle, radius + 0.75 * last.axis1_px / 2)
    assert black_surround(photo) is not None
    *others, cut = sight_indents(photo)
    assert isinstance(cut.result, Refusal)
    assert cut.result.code == "cut-by-frame"
    assert (cut.ellipse.x, cut.ellipse.y) == pytest.approx(
        (last.centre_x_px, last.centre_y_px), abs=0.05 * last.axis1_px
    )
    rims = find_rims(photo)
    assert len(rims) == len(others) == 2
    for rim, true in zip(rims, whole, strict=True):
        mean_mm = diameters(rim, three.scale).mean_mm
        assert mean_mm == pytest.approx(true.mean_mm, rel=0.003)


def test_the_surround_is_one_piece_with_the_corners(simulated):
    """Black pits within the field are part of the picture."""
    photo = through_stop(simulated("clean", 5).photo())
    grey = photo.grey.copy()
    cv2.circle(grey, (200, 120), 15, 0, -1)
    hidden = black_surround(replace(photo, grey=grey))
    np.testing.assert_array_equal(hidden, black_surround(photo))
    assert not hidden[120, 200]


def test_noise_in_a_corner_hides_no_surround(simulated):
    photo = through_stop(simulated("clean", 5).photo())
    grey = photo.grey.copy()
    grey[0, 0], grey[-1, -1] = 9, 12
    assert black_surround(replace(photo, grey=grey)) is not None
