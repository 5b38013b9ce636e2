"""What the live view says about a picture."""

from datetime import UTC, datetime, timedelta

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.bench.conftest import ROOT

from rimread.capture import Frame, Look, Sight, Steady, hints, photo_of
from rimread.capture.shift import STILL_PX
from rimread.capture.sight import AS_SHARP, RECALL_S, sharpness
from rimread.photo import read_photo
from rimread.refusal import Refusal
from rimread.rim import find_rim

START = datetime(2026, 11, 25, tzinfo=UTC)
PLATE = read_photo(ROOT / "sample_images/hall-plate-2.jpg").grey  # a rendering
SMALLER = read_photo(ROOT / "sample_images/hall-plate-3.jpg").grey  # a rendering
STAGE = read_photo(ROOT / "calibration/hall-horizontal.jpg").grey  # a rendering


def frame(grey, number=1, *, seconds=None):
    at = START + timedelta(seconds=number / 10 if seconds is None else seconds)
    return Frame(np.clip(np.rint(grey), 0, 255).astype(np.uint8), at, number)


def moved(grey, px):
    """Picture moved towards x, by fractions of a pixel too; cut where nothing came into view."""
    warp = np.array([[1, 0, px], [0, 1, 0]], np.float32)
    size = grey.shape[::-1]
    linear = cv2.warpAffine(grey.astype(np.float32), warp, size, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(linear)


def noisy(grey, rng, *, levels=1.0):
    return grey + rng.normal(0.0, levels, grey.shape)


def blurred(grey, sigma):
    return cv2.GaussianBlur(grey, (0, 0), sigma) if sigma else grey


@pytest.mark.parametrize("grey", [PLATE, STAGE], ids=["indent", "stage micrometer"])
def test_sharpness_falls_as_focus_is_lost(grey):
    found = [sharpness(blurred(grey, sigma)) for sigma in (0, 0.7, 1.0, 1.5, 2.0, 4.0, 8.0)]
    assert found == sorted(found, reverse=True)
    assert found[2] < AS_SHARP * found[0], "a pixel of blur is told"


@given(gain=st.floats(0.6, 1.0))
def test_brightness_divides_out(gain):
    assert sharpness((PLATE * gain).astype(np.uint8)) == pytest.approx(sharpness(PLATE), rel=0.15)


def test_a_sharper_moment_is_remembered_for_a_while():
    look = Look()
    assert look.at(frame(PLATE, seconds=0)).sharp
    soft = look.at(frame(blurred(PLATE, 2.0), seconds=1))
    assert not soft.sharp
    assert soft.best == sharpness(PLATE)
    assert look.at(frame(blurred(PLATE, 2.0), seconds=RECALL_S + 0.5)).sharp


def test_something_else_in_view_starts_anew():
    look = Look()
    look.at(frame(STAGE, 1))
    moved = look.at(frame(STAGE.T[:, :768].repeat(2, axis=1)[:768, :1024] * 0.3, 2))
    assert moved.sharp
    look.at(frame(PLATE, 3))
    for number, sigma in enumerate((1.0, 2.0, 3.0), 4):  # through the focus, all else the same
        assert not look.at(frame(blurred(PLATE, sigma), number)).sharp


def test_movement_is_told_from_noise():
    look, rng = Look(), np.random.default_rng(1)
    noisy = [PLATE + rng.normal(0, 4.0, PLATE.shape) for _ in range(3)]
    assert not look.at(frame(noisy[0])).still, "one frame says nothing"
    assert look.at(frame(noisy[1], 2)).still
    assert not look.at(frame(np.roll(PLATE, 25, axis=1), 3)).still


@pytest.mark.parametrize("grey", [PLATE, STAGE], ids=["indent", "stage micrometer"])
@pytest.mark.parametrize("drift", [0.25, 0.5, 1.0, 4.0, 8.0, 16.0])
def test_way_is_told_to_a_fraction_of_a_pixel(grey, drift):
    """The picture is moved by a known way: registration must give it back."""
    look, rng = Look(), np.random.default_rng(7)
    look.at(frame(noisy(grey, rng)))
    sight = look.at(frame(noisy(moved(grey, drift), rng), 2))
    assert sight.moved_px == pytest.approx(drift, abs=0.25)
    assert sight.still == (drift <= 1.0)


@pytest.mark.parametrize("grey", [PLATE, STAGE], ids=["indent", "stage micrometer"])
def test_a_slow_drift_adds_up(grey):
    look, rng = Look(), np.random.default_rng(8)
    still = [look.at(frame(noisy(moved(grey, 0.3 * i), rng), i)).still for i in range(9)]
    assert still == [False, True, True, True, False, True, True, True, False]


@pytest.mark.parametrize("grey", [PLATE, STAGE], ids=["indent", "stage micrometer"])
def test_noise_of_a_dark_camera_is_no_movement(grey):
    """A seventh of the light, and noise of half of what is left of the rim's contrast."""
    look, rng = Look(), np.random.default_rng(9)
    look.at(frame(noisy(0.15 * grey, rng, levels=6.0)))
    ways = [look.at(frame(noisy(0.15 * grey, rng, levels=6.0), i)).moved_px for i in range(2, 32)]
    assert max(ways) <= STILL_PX


def test_noise_of_bare_metal_is_no_movement():
    look, rng = Look(), np.random.default_rng(10)
    bare = np.full((768, 1024), 90.0)
    look.at(frame(noisy(bare, rng, levels=6.0)))
    assert all(look.at(frame(noisy(bare, rng, levels=6.0), i)).still for i in range(2, 12))


def test_another_size_is_a_new_beginning():
    look = Look()
    assert look.at(frame(PLATE)).first
    again = look.at(frame(PLATE[:600], 2))
    assert again.first
    assert again.change == float("inf")


def states(sight, found, width=1024, height=768):
    return {h.code: h.state for h in hints(sight, found, width_px=width, height_px=height)}


GOOD = Sight(sharpness=1.0, best=1.0, clipped=0.0, bright=0.8, change=0.1)


def test_a_good_picture_gets_only_good_words():
    rim = find_rim(photo_of(frame(PLATE)))
    assert set(states(GOOD, rim).values()) == {"good"}


def test_each_fault_has_its_word():
    rim = find_rim(photo_of(frame(PLATE)))
    dark = Sight(1.0, 1.0, 0.0, 0.1, 0.1)
    white = Sight(1.0, 1.0, 0.3, 1.0, 0.1)
    moving = Sight(1.0, 1.0, 0.0, 0.8, 9.0)
    assert states(dark, rim)["light"] == "bad"
    assert states(white, rim)["light"] == "adjust"
    assert states(moving, rim)["still"] == "adjust"


def test_blur_of_the_rim_decides_on_focus():
    soft = find_rim(photo_of(frame(blurred(PLATE, 3.0))))
    assert not isinstance(soft, Refusal)
    assert states(GOOD, soft)["focus"] in {"adjust", "bad"}


def test_without_a_rim_focus_is_held_against_the_best_of_late():
    found = Refusal("no-indent", "bring one into the frame")
    worse = Sight(sharpness=0.4, best=1.0, clipped=0.0, bright=0.8, change=0.1)
    said = {h.code: h for h in hints(worse, found, width_px=1024, height_px=768)}
    assert said["focus"].state == "bad"
    assert "40%" in said["focus"].message
    assert said["frame"].message == found.message


@pytest.mark.parametrize("code", ["overexposed", "underexposed"])
@pytest.mark.parametrize(("clipped", "bright"), [(0.1, 1.0), (0.0, 0.2)])
def test_light_is_told_one_way_only(code, clipped, bright):
    """A rim in the dark beside a glint, say: the rim decides."""
    message = "The picture is too dark at the rim: more light or a longer exposure."
    sight = Sight(sharpness=1.0, best=1.0, clipped=clipped, bright=bright, change=0.1)
    said = hints(sight, Refusal(code, message), width_px=1024, height_px=768)
    assert [h.message for h in said if "light" in h.message and "this light" not in h.message] == [
        message
    ]
    assert {h.code: h.state for h in said}["light"] == "bad"


def test_no_framing_of_a_stage_micrometer():
    assert "frame" not in states(GOOD, None)


@pytest.mark.parametrize(
    ("shift", "words"),
    [
        ((-200, 0), "to the right"),
        ((240, 0), "to the left"),
        ((0, -175), "down"),
        ((-190, -120), "down and to the right"),
    ],
)
def test_the_way_to_the_middle(shift, words):
    """The indent of a rendering, moved within a larger picture of bare metal."""
    wide = cv2.copyMakeBorder(SMALLER, 300, 300, 300, 300, cv2.BORDER_REFLECT_101)
    wide = cv2.GaussianBlur(wide, (0, 0), 40)
    wide[300:-300, 300:-300] = SMALLER
    rim = find_rim(photo_of(frame(SMALLER)))
    x, y = rim.centre_px  # the frame is moved, so that the indent moves the other way
    left, top = round(x - 511.5 - shift[0]), round(y - 383.5 - shift[1])
    seen = wide[top + 300 : top + 300 + 768, left + 300 : left + 300 + 1024]
    found = find_rim(photo_of(frame(seen)))
    assert not isinstance(found, Refusal)
    said = next(h for h in hints(GOOD, found, width_px=1024, height_px=768) if h.code == "frame")
    assert words in said.message
    assert said.state == "adjust"


# -- taking the picture by itself -----------------------------------------------------------------


def test_steady_waits_for_rest_and_focus_and_an_indent():
    rng = np.random.default_rng(2)
    steady = Steady(frames=3)
    moving = [np.roll(PLATE, 20 * i, axis=1) for i in range(4)]
    soft = [blurred(PLATE, 3.0)] * 4
    good = [PLATE] * 6
    taken = [
        steady.at(frame(grey + rng.normal(0, 1.0, grey.shape), number))
        for number, grey in enumerate([*moving, *soft, *good], 1)
    ]
    assert taken.index(True) >= 8 + 2
    assert not any(taken[:10])


@pytest.mark.parametrize("drift", [0.25, 0.5, 1.0, 4.0, 8.0, 16.0])
def test_steady_waits_while_the_indent_drifts(drift):
    steady, rng = Steady(), np.random.default_rng(4)
    for number in range(24):
        assert not steady.at(frame(noisy(moved(PLATE, drift * number), rng), number + 1))
    assert steady.why == "the picture moves"


def test_steady_says_what_is_missing():
    steady = Steady(frames=2)
    steady.at(frame(PLATE))
    assert steady.why == "waiting for the next frame to compare with"
    steady = Steady(frames=2)
    bare = np.full((300, 400), 120.0)
    rng = np.random.default_rng(3)
    for number in range(1, 6):
        assert not steady.at(frame(bare + rng.normal(0, 2, bare.shape), number))
    assert "indent" in steady.why
    stage = Steady(frames=2, indent=False)
    assert [stage.at(frame(STAGE, number)) for number in (1, 2, 3)] == [False, False, True]


@pytest.mark.parametrize(
    "other", [PLATE, SMALLER, np.full((300, 400), 120.0)], ids=["indent", "another", "bare metal"]
)
def test_a_stage_micrometer_has_ruled_lines(other):
    stage, rng = Steady(frames=2, indent=False), np.random.default_rng(5)
    assert not any(stage.at(frame(noisy(other, rng), number)) for number in range(1, 5))
    assert "no ruled lines" in stage.why


def test_blocks_of_a_compressed_picture_are_no_ruled_lines():
    """A camera's JPEG (ITU-T T.81: blocks of 8 x 8), out of focus: its blocks are its sharpest."""
    _, data = cv2.imencode(".jpg", blurred(PLATE, 6.0), (cv2.IMWRITE_JPEG_QUALITY, 30))
    stage, seen = Steady(frames=2, indent=False), cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)
    assert not any(stage.at(frame(seen, number)) for number in range(1, 5))
    assert "lines" in stage.why


def test_one_frame_is_not_still():
    with pytest.raises(ValueError, match="2 frames"):
        Steady(frames=1)
