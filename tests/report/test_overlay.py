"""What is drawn lies where it was found, reads at any size, and tells used from left out."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.budget import Component, combine
from rimread.diameters import Diameters
from rimread.photo import Photo, read_photo
from rimread.report.colours import ORANGE, SKY_BLUE, STRIP, WHITE, YELLOW
from rimread.report.overlay import overlay
from rimread.report.overlay_file import name_key, save_overlay
from rimread.report.words import _drawable, _wrapped, strip
from rimread.rim import find_rim
from rimread.rim.ellipse import Ellipse
from rimread.scale.model import Scale

SAMPLE = Path(__file__).parents[2] / "sample_images" / "hall-plate-2.jpg"
TRACED = find_rim(read_photo(SAMPLE))
PX_PER_MM = 200.0
LINES = ["248 HBW 10/3000 ± 0.6", "d1 3.852 mm, d2 3.850 mm", "a.jpg"]


def scale(width: int = 1300, height: int = 1000, px_per_mm: float = PX_PER_MM) -> Scale:
    return Scale(
        px_per_mm_x=px_per_mm,
        px_per_mm_y=px_per_mm,
        k1_half_diagonal=0.0,
        covariance=((1e-4, 0.0, 0.0), (0.0, 1e-4, 0.0), (0.0, 0.0, 1e-8)),
        dof=50.0,
        width_px=width,
        height_px=height,
        label="scope",
        calibrated_on=date(2026, 1, 1),
        valid_until=date(2026, 12, 31),
        certificate=None,
        photos=(),
    )


def photo(width: int = 1300, height: int = 1000) -> Photo:
    return Photo(
        grey=np.full((height, width), 120, np.uint8), tone="srgb", name="a.jpg", sha256="0" * 64
    )


def found(s: Scale, d1_mm: float = 3.0, d2_mm: float = 2.8, angle_deg: float = 30.0):
    """A rim and diameters that agree, some of its points left out."""
    centre_mm = np.array([0.4, -0.3])
    turn = np.radians(angle_deg)
    t = np.linspace(0.0, 2 * np.pi, 360, endpoint=False)
    u, v = d1_mm / 2 * np.cos(t), d2_mm / 2 * np.sin(t)
    outline_mm = centre_mm + np.column_stack(
        [u * np.cos(turn) - v * np.sin(turn), u * np.sin(turn) + v * np.cos(turn)]
    )
    outline = s.px_from_mm(outline_mm)
    weights = np.ones(360)
    weights[:20] = 0.0
    points = outline.copy()
    points[weights == 0] += 15.0
    centre = s.px_from_mm(centre_mm)
    half, turn2 = (d1_mm - d2_mm) / 4, 2 * turn
    ellipse_mm = Ellipse(
        *centre_mm, (d1_mm + d2_mm) / 4, half * np.cos(turn2), half * np.sin(turn2)
    )
    k = s.px_per_mm_x
    rim = replace(
        TRACED,
        points_px=points,
        weights=weights,
        ellipse=Ellipse(*centre, ellipse_mm.m * k, ellipse_mm.e * k, ellipse_mm.f * k),
    )
    sizes = Diameters(
        d1_mm=d1_mm,
        d2_mm=d2_mm,
        mean_mm=(d1_mm + d2_mm) / 2,
        budget=combine([Component("edge", 0.001)]),
        U_d1_mm=0.003,
        U_d2_mm=0.003,
        width_mm=ellipse_mm.width,
        height_mm=ellipse_mm.height,
        centre_mm=tuple(centre_mm),
        centre_px=tuple(centre),
        angle_deg=angle_deg,
        ellipse_mm=ellipse_mm,
        outline_px=outline,
    )
    return rim, sizes


def close_to(picture: np.ndarray, colour: tuple[int, int, int], by: int = 12) -> np.ndarray:
    return np.all(np.abs(picture.astype(int) - colour) <= by, axis=2)


def test_photo_stays_and_a_strip_comes_below():
    s = scale()
    rim, sizes = found(s)
    picture = overlay(photo(), rim, sizes, s, LINES)
    assert picture.dtype == np.uint8
    assert picture.shape[1:] == (1300, 3)
    assert picture.shape[0] > 1000
    assert np.all(picture[:50, :50] == 120)
    assert np.all(picture[-3:] == STRIP)


def test_fitted_rim_is_drawn_on_the_outline():
    s = scale()
    _, sizes = found(s)
    picture = overlay(photo(), None, sizes, s, LINES)[:1000]
    y, x = np.nonzero(close_to(picture, YELLOW, 40))
    drawn = np.column_stack([x, y])
    gap = np.min(np.linalg.norm(drawn[:, None] - sizes.outline_px[None], axis=2), axis=1)
    assert gap.max() < 3.5  # half the spacing of the outline's points and half a line
    missed = np.min(np.linalg.norm(drawn[:, None] - sizes.outline_px[None], axis=2), axis=0)
    assert np.mean(missed < 2) > 0.95  # all around, but for the ends of the diameters


def test_diameters_end_on_the_rim_and_bear_their_names():
    s = scale()
    _, sizes = found(s, d1_mm=3.0, d2_mm=2.0, angle_deg=0.0)
    picture = overlay(photo(), None, sizes, s, LINES)[:1000]
    x0, y0 = (round(v) for v in sizes.centre_px)
    row = np.nonzero(close_to(picture, WHITE, 60)[y0])[0]
    assert abs(row.min() - (x0 - 300)) <= 2
    assert abs(row.max() - (x0 + 300)) <= 2
    column = np.nonzero(close_to(picture, WHITE, 60)[:900, x0])[0]
    assert abs(column.min() - (y0 - 200)) <= 2
    assert abs(column.max() - (y0 + 200)) <= 2


def test_used_and_left_out_differ_in_colour_and_shape():
    s = scale()
    rim, _ = found(s)
    picture = overlay(photo(), rim, None, s, LINES)[:1000]
    dots, crosses = close_to(picture, SKY_BLUE), close_to(picture, ORANGE, 60)

    def near(mask: np.ndarray, points: np.ndarray) -> np.ndarray:
        return cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5)[
            np.rint(points[:, 1]).astype(int), np.rint(points[:, 0]).astype(int)
        ]

    assert near(dots, rim.points_px[rim.used]).max() < 14  # thinned, the metal shows between
    assert near(dots, rim.points_px[~rim.used]).min() > 5
    assert near(crosses, rim.points_px[~rim.used]).max() < 2
    sizes = cv2.connectedComponentsWithStats(dots.astype(np.uint8))[2][1:]
    assert np.all(np.abs(sizes[:, 2] - sizes[:, 3]) <= 2)  # round


@pytest.mark.parametrize("px_per_mm", [40.0, 118.2, 221.4, 655.0, 3000.0])
def test_scale_bar_is_as_long_as_it_says(px_per_mm):
    s = scale(px_per_mm=px_per_mm)
    picture = overlay(photo(), None, None, s, LINES)
    white = close_to(picture[900:1000], WHITE, 0)
    length = max(white.sum(axis=1))
    told = length / px_per_mm
    steps = [f * 10.0**p for p in range(-4, 3) for f in (1, 2, 5)]
    nearest = min(steps, key=lambda step: abs(step - told))
    assert abs(length - nearest * px_per_mm) <= 1.5
    assert 0.07 < length / 1300 <= 0.21


def test_refused_photo_gets_a_picture_without_a_rim():
    picture = overlay(photo(), None, None, None, ["refused, no number", "focus again"])
    assert np.all(picture[:1000] == 120)
    assert not close_to(picture, YELLOW, 5).any()
    assert close_to(picture[1000:], WHITE, 5).any()


@pytest.mark.parametrize(("width", "zoom"), [(64, 4), (640, 2), (1200, 1), (4000, 1)])
def test_small_photos_are_enlarged(width, zoom):
    picture = overlay(photo(width, 100), None, None, None, LINES)
    assert picture.shape[1] == width * zoom


def test_enlarging_keeps_what_is_drawn_on_the_metal():
    small = scale(400, 300, px_per_mm=60.0)
    grey = np.full((300, 400), 200, np.uint8)
    _, sizes = found(small)
    cv2.fillPoly(grey, [np.rint(sizes.outline_px).astype(np.int32)], 60)
    picture = overlay(replace(photo(), grey=grey), None, sizes, None, LINES)[:900]
    inside = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.rint(sizes.outline_px * 3 + 1).astype(np.int32)], 255)
    seen = picture[:, :, 0] < 130
    assert np.mean(seen != (inside > 0)) < 0.02


def test_sixteen_linear_bits_are_shown():
    deep = Photo(
        grey=np.full((200, 1300), 65535 // 5, np.uint16), tone="linear", name="a", sha256=""
    )
    shown = overlay(deep, None, None, None, LINES)[:200]
    assert np.all(np.abs(shown.astype(int) - 123) < 4)  # a fifth of the light in sRGB


@given(text=st.text(max_size=60), width=st.integers(80, 900))
def test_any_words_fit_the_strip(text, width):
    plain = _drawable(text)
    assert all(char.isascii() or char in "±°" for char in plain)
    rows = _wrapped(plain, 20, width)
    assert "".join("".join(rows).split()) == "".join(plain.split())
    assert strip(width, [text], traced=False).shape[1] == width


def test_words_stay_readable_at_any_size():
    for width in (1200, 1920, 4000, 9000):
        rows = strip(width, ["H"], traced=False)
        tall = np.nonzero(close_to(rows, WHITE, 60).any(axis=1))[0]
        assert 0.012 < (tall.max() - tall.min() + 1) / width < 0.03


def test_overlay_names_do_not_collide_and_spare_the_photos(tmp_path):
    picture = np.zeros((8, 8, 3), np.uint8)
    photo_path = (tmp_path / "b-rim.jpg").resolve()
    taken = {name_key(photo_path)}
    names = [
        save_overlay(picture, tmp_path, Path(name), taken, sha256=name).name
        for name in ("x/a.jpg", "y/A.jpg", "y/a.png", "b.jpg")
    ]
    assert names == ["a-rim.jpg", "A-rim-2.jpg", "a-rim-3.jpg", "b-rim-2.jpg"]
    assert not photo_path.exists()


def test_overlay_folder_is_made_and_bears_any_letters(tmp_path):
    folder = tmp_path / "gesehen – ø" / "1"
    written = save_overlay(
        np.zeros((8, 8, 3), np.uint8), folder, Path("härte.jpg"), set(), sha256="1"
    )
    assert cv2.imdecode(np.fromfile(written, np.uint8), cv2.IMREAD_COLOR).shape == (8, 8, 3)


def test_the_overlay_of_another_photo_or_call_stays(tmp_path):
    def saved(sha256, shade):
        picture = np.full((16, 16, 3), shade, np.uint8)
        return save_overlay(picture, tmp_path, Path("1.jpg"), set(), sha256=sha256)

    (tmp_path / "1-rim-2.jpg").write_bytes(b"a person's own")
    first, again, other = saved("a", 10), saved("a", 60), saved("b", 200)
    assert [path.name for path in (first, again, other)] == [
        "1-rim.jpg",
        "1-rim.jpg",
        "1-rim-3.jpg",
    ]
    shades = [cv2.imread(str(path))[8, 8, 0] for path in (first, other)]
    assert np.allclose(shades, (60, 200), atol=2)
    assert (tmp_path / "1-rim-2.jpg").read_bytes() == b"a person's own"
    assert cv2.imread(str(first)).shape == (16, 16, 3)
