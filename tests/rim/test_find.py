"""From photo to rim: simulated photos against their truth, refusals, several indents."""

from dataclasses import replace
from typing import get_args

import numpy as np
import pytest

from rimread.diameters import diameters
from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim import Rim, find_rim, find_rims
from rimread.simulate import Spoiled, several_scene, simulate

CLEAN = (1, 3, 4, 5, 8, 9, 12, 14)

CODES: dict[Spoiled, set[str]] = {
    "blank": {"no-indent", "rim-unclear"},
    "scratched-blank": {"no-indent", "rim-unclear"},
    "cut-by-frame": {"cut-by-frame"},
    "crescent": {"cut-by-frame", "no-indent"},
    # one of two crescents may run out of the frame
    "overlapping": {"overlapping-indents", "cut-by-frame", "rim-incomplete", "rim-unclear"},
    # two edges a smear apart look like two indents, or like a rim with two gaps
    "smeared": {
        *("out-of-focus", "no-indent", "rim-unclear", "rim-incomplete"),
        *("overlapping-indents", "cut-by-frame"),
    },
    "tiny": {"too-few-pixels", "no-indent"},
    "black": {"underexposed", "no-indent", "rim-unclear"},
    "blown-out": {"overexposed"},
}


@pytest.mark.parametrize("seed", CLEAN)
def test_clean_photos_are_right_within_their_uncertainty(simulated, seed):
    shot = simulated("clean", seed)
    rim = find_rim(shot.photo())
    assert isinstance(rim, Rim), rim
    found, true = diameters(rim, shot.scale), shot.truth[0]
    assert abs(found.mean_mm - true.mean_mm) <= found.budget.U
    assert found.budget.U / true.mean_mm < 0.01
    assert abs(found.d1_mm - true.d1_mm) <= found.U_d1_mm
    assert abs(found.d2_mm - true.d2_mm) <= found.U_d2_mm
    assert abs(found.width_mm - true.width_mm) <= found.U_d1_mm
    assert abs(found.height_mm - true.height_mm) <= found.U_d1_mm
    assert rim.centre_px == pytest.approx((true.centre_x_px, true.centre_y_px), abs=0.4)
    indent = shot.scene.indents[0]
    near = 0.4 / shot.scale.px_per_mm_x
    assert found.centre_mm == pytest.approx((indent.x_mm, indent.y_mm), abs=near)
    assert rim.coverage > 0.85


@pytest.mark.parametrize("seed", CLEAN[:3])
def test_a_rim_is_what_its_fields_say(simulated, seed):
    rim = find_rim(simulated("clean", seed).photo())
    assert rim.points_px.shape == (len(rim.weights), 2)
    away = rim.ellipse.distance(rim.points_px[rim.used])
    assert np.sqrt(np.mean(away**2)) < 1.0
    turn = np.sort(rim.ellipse.parameter(rim.points_px) % (2 * np.pi))
    assert np.diff(np.append(turn, turn[0] + 2 * np.pi)).max() < 3 * 2 * np.pi / len(turn)
    assert rim.semi_axes_px[0] >= rim.semi_axes_px[1] > 0
    assert rim.blur_px > 0
    assert rim.u_common_px > 0


@pytest.mark.parametrize("kind", get_args(Spoiled))
@pytest.mark.parametrize("seed", range(3))
def test_what_cannot_be_read_is_refused(spoiled, kind, seed):
    result = find_rim(spoiled(kind, seed).photo())
    assert isinstance(result, Refusal)
    assert result.code in CODES[kind]
    assert result.message.endswith(".")


def test_same_picture_same_digits(simulated):
    photo = simulated("clean", 3).photo()
    one, two = find_rim(photo), find_rim(photo)
    np.testing.assert_array_equal(one.points_px, two.points_px)
    assert one.ellipse == two.ellipse


def flat(value, dtype=np.uint8, shape=(256, 320)):
    return Photo(grey=np.full(shape, value, dtype), tone="srgb", name="", sha256="")


@pytest.mark.parametrize("value", [0, 1, 100, 254, 255])
def test_flat_pictures_are_refused(value):
    assert isinstance(find_rim(flat(value)), Refusal)
    assert isinstance(find_rims(flat(value)), Refusal)


@pytest.mark.parametrize("shape", [(64, 64), (65, 101), (64, 500), (64, 2000), (2000, 64)])
def test_odd_shapes_are_refused_without_complaint(shape):
    rng = np.random.default_rng(0)
    grey = rng.integers(0, 255, shape, dtype=np.uint8)
    assert isinstance(find_rim(Photo(grey=grey, tone="srgb", name="", sha256="")), Refusal)


def test_pure_noise_is_refused():
    for seed in range(5):
        grey = np.random.default_rng(seed).normal(128, 30, (512, 640)).clip(0, 255).astype(np.uint8)
        assert isinstance(find_rim(replace(flat(0), grey=grey)), Refusal)


@pytest.fixture(scope="module")
def three():
    scene = several_scene(np.random.default_rng(4), 3, tier="clean", width_px=960, height_px=768)
    return simulate(scene, rng=np.random.default_rng(5))


def test_several_indents_are_refused_by_one_and_found_by_all(three):
    alone = find_rim(three.photo())
    assert isinstance(alone, Refusal)
    assert alone.code == "several-indents"
    rims = find_rims(three.photo())
    assert len(rims) == 3
    truth = sorted(three.truth, key=lambda t: t.centre_x_px)
    for rim, true in zip(rims, truth, strict=True):
        assert rim.centre_px == pytest.approx((true.centre_x_px, true.centre_y_px), abs=1.0)
        found = diameters(rim, three.scale)
        assert abs(found.mean_mm - true.mean_mm) <= max(found.budget.U, 0.003 * true.mean_mm)
