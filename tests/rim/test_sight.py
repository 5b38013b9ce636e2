"""All indents of a photo, those without a rim too."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from rimread.diameters import diameters
from rimread.refusal import Refusal
from rimread.rim import Rim, find_rim, find_rims, sight_indents
from rimread.simulate import random_scene, several_scene, simulate

SIZE = {"width_px": 960, "height_px": 768}


@pytest.fixture(scope="module")
def three():
    scene = several_scene(np.random.default_rng(4), 3, tier="clean", **SIZE)
    return simulate(scene, rng=np.random.default_rng(5))


def test_all_are_traced_from_left_to_right(three):
    sighted = sight_indents(three.photo())
    assert all(isinstance(one.result, Rim) for one in sighted)
    found = [(one.ellipse.x, one.ellipse.y) for one in sighted]
    true = sorted((t.centre_x_px, t.centre_y_px) for t in three.truth)
    np.testing.assert_allclose(found, true, atol=2.0)


def test_one_cut_by_the_frame_is_told(three):
    last = max(three.truth, key=lambda t: t.centre_x_px)
    radius = last.mean_mm / 2 * three.scale.px_per_mm_x
    photo = three.photo()
    seen = np.ascontiguousarray(photo.grey[:, : round(last.centre_x_px + 0.8 * radius)])
    photo = replace(photo, grey=seen)
    *others, cut = sight_indents(photo)
    assert isinstance(cut.result, Refusal)
    assert cut.result.code == "cut-by-frame"
    assert (cut.ellipse.x, cut.ellipse.y) == pytest.approx(
        (last.centre_x_px, last.centre_y_px), abs=0.05 * radius
    )
    assert len(find_rims(photo)) == len(others) == 2


@pytest.mark.parametrize("ratio", [0.75, 1.25])
def test_a_circle_drawn_about_one_of_them_costs_only_that_one(three, ratio):
    marked = min(three.truth, key=lambda t: t.centre_x_px)
    radius = ratio * marked.mean_mm / 2 * three.scale.px_per_mm_x
    photo = three.photo()
    grey = photo.grey.copy()
    centre = (round(marked.centre_x_px), round(marked.centre_y_px))
    cv2.circle(grey, centre, round(radius), 0, thickness=6, lineType=cv2.LINE_AA)
    first, *others = sight_indents(replace(photo, grey=grey))
    assert isinstance(first.result, Refusal)
    assert first.result.code == "rival-rings"
    assert all(isinstance(one.result, Rim) for one in others)
    assert len(others) == 2


def test_where_none_can_be_traced_the_reason_is_theirs():
    rng = np.random.default_rng(28)
    scene = several_scene(rng, int(rng.integers(2, 7)), tier="clean")  # metal in glaring light
    photo = simulate(scene, rng=np.random.default_rng(1028)).photo()
    assert find_rim(photo).code == "several-indents"
    answer = sight_indents(photo)
    assert isinstance(answer, Refusal)
    assert answer.code == "overexposed"


@pytest.fixture(scope="module")
def dusty():
    """One indent; a shadow of dust beside it, another on its rim: a quarter of its size."""
    rng = np.random.default_rng(15)
    shot = simulate(random_scene(rng, tier="clean", **SIZE), rng=rng)
    true = shot.truth[0]
    radius = true.mean_mm / 2 * shot.scale.px_per_mm_x
    light = np.ones(shot.picture.shape, np.float32)
    for away, turn in ((1.5, 0.7), (1.05, 3.6)):
        x = true.centre_x_px + away * radius * np.cos(turn)
        y = true.centre_y_px + away * radius * np.sin(turn)
        cv2.circle(light, (round(x), round(y)), round(radius / 4), 0.6, -1)
    shadowed = cv2.GaussianBlur(light, (0, 0), 1.0)
    photo = shot.photo()
    return replace(photo, grey=(photo.grey * shadowed).astype(photo.grey.dtype)), shot


def test_shadows_of_dust_leave_no_doubt_about_the_indent(dusty):
    photo, shot = dusty
    rim = find_rim(photo)
    assert isinstance(rim, Rim)
    found = diameters(rim, shot.scale)
    assert abs(found.mean_mm - shot.truth[0].mean_mm) < found.budget.U


def test_a_shadow_on_the_rim_does_not_overlap_it_as_an_indent_does(dusty):
    photo, shot = dusty
    small, middling, large = sorted(sight_indents(photo), key=lambda one: one.ellipse.m)
    assert isinstance(large.result, Rim)
    found = diameters(large.result, shot.scale)
    assert abs(found.mean_mm - shot.truth[0].mean_mm) < found.budget.U
    assert small.ellipse.m < middling.ellipse.m < large.ellipse.m / 3
