"""All indents of a photo, those without a rim too."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from rimread.refusal import Refusal
from rimread.rim import Rim, find_rim, find_rims, sight_indents
from rimread.simulate import several_scene, simulate

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
