"""Light of one colour: the channel it drives, or one that it does not clip."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from rimread.diameters import diameters
from rimread.photo import read_photo
from rimread.refusal import Refusal
from rimread.rim import Rim, channel, find_rim, sight_indents
from rimread.rim.ellipse import Ellipse

SHOTS = [("clean", 1), ("shop", 4), ("clean", 5)]
WHITE, WARM, BLUE = (1.0, 1.0, 1.0), (0.65, 0.87, 1.0), (1.0, 0.05, 0.01)


@pytest.fixture
def lit(simulated, tmp_path):
    """A simulated photo in light of a colour: coded values times gains, at 1 half of full light."""

    def take(shot, gains, suffix=".jpg"):
        grey = simulated(*shot).picture
        picture = grey[..., None] * (np.array(gains) * 128 / np.median(grey))
        path = tmp_path / f"lit{suffix}"
        cv2.imwrite(str(path), np.clip(picture, 0, 255).astype(np.uint8))
        return read_photo(path), simulated(*shot)

    return take


@pytest.mark.parametrize("shot", SHOTS)
@pytest.mark.parametrize("suffix", [".jpg", ".png"])
@pytest.mark.parametrize(
    ("gains", "channels"),
    [
        (WHITE, {None}),
        (WARM, {None}),
        (BLUE, {"blue"}),
        ((0.5, 2.2, 0.9), {"red"}),  # green clips and the luma does not
        ((0.7, 0.4, 2.2), {"blue"}),
    ],
)
def test_the_rim_is_read_in_the_channel_that_shows_it(lit, shot, suffix, gains, channels):
    photo, shot = lit(shot, gains, suffix)
    rim = find_rim(photo)
    assert isinstance(rim, Rim), rim
    assert rim.channel in channels
    found = diameters(rim, shot.scale)
    assert abs(found.mean_mm - shot.truth[0].mean_mm) <= found.budget.U


def test_in_the_luma_alone_a_blue_picture_would_be_too_dark(lit, monkeypatch):
    photo, _ = lit(("clean", 1), BLUE)
    monkeypatch.setattr("rimread.rim.find.clearest", lambda photo, *_: photo)
    refused = find_rim(photo)
    assert isinstance(refused, Refusal)
    assert refused.code == "underexposed"


def test_all_indents_are_read_in_it_too(lit):
    photo, _ = lit(("clean", 1), BLUE)
    (one,) = sight_indents(photo)
    assert one.result.channel == "blue"


def test_what_a_field_stop_hides_is_filled_in_the_channel_too(lit, tmp_path):
    photo, shot = lit(("clean", 1), BLUE, ".png")
    true = shot.truth[0]
    y, x = np.indices(photo.grey.shape)
    seen = np.hypot(x - true.centre_x_px, y - true.centre_y_px) < 0.75 * true.axis1_px
    picture = cv2.imread(str(tmp_path / "lit.png")) * seen[..., None]
    cv2.imwrite(str(tmp_path / "field.png"), picture.astype(np.uint8))
    rim = find_rim(read_photo(tmp_path / "field.png"))
    assert isinstance(rim, Rim), rim
    assert rim.channel == "blue"
    found = diameters(rim, shot.scale)
    assert abs(found.mean_mm - true.mean_mm) <= found.budget.U


RING = Ellipse(x=120.0, y=110.0, m=70.0)


def disc(inside, outside, *, turn=1.0, also=(0, 0, 0)):
    """Half-size colour: a disc in a face; that part of the turn `also` brighter."""
    y, x = np.indices((110, 120))
    away = np.hypot(2 * x + 0.5 - RING.x, 2 * y + 0.5 - RING.y) - RING.m
    colour = np.where((away < 0)[..., None], inside, outside)
    part = np.arctan2(2 * y + 0.5 - RING.y, 2 * x + 0.5 - RING.x) < np.pi * (2 * turn - 1)
    return (colour + part[..., None] * np.array(also)).clip(0, 255).astype(np.uint8)


@pytest.fixture
def asked(monkeypatch):
    """Which channel is asked for, without a file behind the photo."""
    monkeypatch.setattr(channel, "in_channel", lambda photo, one: replace(photo, channel=one))

    def ask(photo, colour):
        return channel.clearest(photo, colour, RING).channel

    return ask


@pytest.mark.parametrize(
    ("inside", "outside", "chosen"),
    [
        ((90, 90, 90), (140, 140, 140), None),
        ((20, 20, 20), (25, 25, 25), None),  # dark in every channel
        ((120, 8, 3), (160, 8, 3), "blue"),
        ((5, 5, 50), (6, 6, 60), "red"),
        ((60, 200, 150), (80, 255, 190), "red"),
        ((60, 200, 150), (230, 255, 190), "blue"),  # the brightest that does not clip
        ((200, 200, 200), (255, 255, 255), None),  # all clip, and the luma shows it
        ((180, 184, 188), (240, 248, 255), None),  # light as good as white
        ((200, 100, 200), (255, 120, 255), "green"),
    ],
)
def test_the_brightest_channel_that_does_not_clip(asked, simulated, inside, outside, chosen):
    assert asked(simulated("clean", 1).photo(), disc(inside, outside)) == chosen


@pytest.mark.parametrize(("turn", "chosen"), [(0.03, None), (0.1, "green")])
def test_a_channel_may_clip_on_a_few_arcs(asked, simulated, turn, chosen):
    colour = disc((60, 70, 90), (90, 130, 150), turn=turn, also=(0, 0, 200))
    assert asked(simulated("clean", 1).photo(), colour) == chosen


def test_a_picture_without_colour_stays_as_it_is(simulated):
    photo = simulated("clean", 1).photo()
    assert channel.clearest(photo, None, RING) is photo
