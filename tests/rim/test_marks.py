"""Pictures with something drawn into them: along the rim nothing is measured, elsewhere it is."""

import cv2
import numpy as np
import pytest
from altered import circle, fringed, inked, lines
from tests.rim.drawn import light_about, taken

from rimread.colour import half_size_colour
from rimread.diameters import diameters
from rimread.photo import read_photo
from rimread.refusal import Refusal
from rimread.rim import find_rim
from rimread.rim.ellipse import Ellipse
from rimread.rim.marks import CHROMA, drawn_along, ink_along

ELLIPSE = Ellipse(255.3, 254.8, 159.0)
FULL = [(0, 0, 255), (0, 255, 0), (255, 0, 0), (0, 255, 255), (255, 255, 0), (255, 0, 255)]
SHOTS = [("clean", 1), ("shop", 4), ("clean", 5)]


def read_back(picture, path, quality=90):
    jpeg = [cv2.IMWRITE_JPEG_QUALITY, quality] if path.suffix == ".jpg" else []
    cv2.imwrite(str(path), picture, jpeg)
    return read_photo(path)


@pytest.fixture
def coloured(simulated):
    def shot(tier, seed):
        shot = simulated(tier, seed)
        return cv2.cvtColor(shot.picture, cv2.COLOR_GRAY2BGR), shot

    return shot


@pytest.mark.parametrize("colour", FULL)
@pytest.mark.parametrize(("suffix", "quality"), [(".jpg", 75), (".jpg", 95), (".png", 0)])
def test_a_fine_circle_on_the_rim_is_no_rim(coloured, tmp_path, colour, suffix, quality):
    picture, shot = coloured("clean", 1)
    circle(picture, shot.truth[0], colour, off=0.01)
    result = find_rim(read_back(picture, tmp_path / f"drawn{suffix}", quality))
    assert isinstance(result, Refusal)
    assert result.code == "drawn-on"


@pytest.mark.parametrize("level", [0, 255])
@pytest.mark.parametrize("suffix", [".jpg", ".png"])
@pytest.mark.parametrize("width", [1, 2])
def test_nor_is_one_in_black_or_white(simulated, tmp_path, level, suffix, width):
    shot = simulated("clean", 1)
    picture = shot.picture.copy()
    circle(picture, shot.truth[0], level, off=0.01, width=width)
    photo, rim = read_back(picture, tmp_path / f"drawn{suffix}"), find_rim(shot.photo())
    assert isinstance(find_rim(photo), Refusal)  # as drawn on, or as a rival of the rim
    assert drawn_along(shot.photo(), rim.ellipse, colour=None) is None
    assert drawn_along(photo, rim.ellipse, colour=None).code == "drawn-on"


@pytest.mark.parametrize("height", [0.05, 0.2, 0.3])
@pytest.mark.parametrize("blur_px", [0.3, 1.0])
@pytest.mark.parametrize("sign", [-1, 1])
def test_a_line_is_drawn_when_it_is_finer_than_a_lens_shows(height, blur_px, sign):
    """A line of 1 px behind a lens with 1 px of blur has an area of 2.7 px for its height."""
    ellipse = Ellipse(255.3, 254.8, 159.0, 1.0, 0.5)

    def light(away):
        line = np.exp(-0.5 * (away / np.hypot(blur_px, 12**-0.5)) ** 2)
        return 0.5 + sign * height * line

    photo = taken(light_about(ellipse, light, size=512, noise=0.01, seed=3))
    found = drawn_along(photo, ellipse, colour=None)
    assert (found is not None) == (height > 0.05 and blur_px < 1.0)


@pytest.mark.parametrize(("tier", "seed"), SHOTS)
@pytest.mark.parametrize("drawn", [{"off": 0.0}, {"off": -0.01}, {"width": 3}, {"dash_deg": 6}])
def test_no_circle_near_the_rim_gives_a_number(coloured, tmp_path, tier, seed, drawn):
    picture, shot = coloured(tier, seed)
    circle(picture, shot.truth[0], (0, 255, 0), **drawn)
    assert isinstance(find_rim(read_back(picture, tmp_path / "drawn.jpg")), Refusal)


@pytest.mark.parametrize(("tier", "seed"), SHOTS)
@pytest.mark.parametrize("colour", [*FULL[:2], (0, 0, 0), (255, 255, 255)])
def test_lines_across_the_rim_do_not_matter(coloured, tmp_path, tier, seed, colour):
    picture, shot = coloured(tier, seed)
    lines(picture, shot.truth[0], colour, places=(0.0,))
    rim = find_rim(read_back(picture, tmp_path / "lines.jpg"))
    assert not isinstance(rim, Refusal), rim
    found = diameters(rim, shot.scale)
    assert abs(found.mean_mm - shot.truth[0].mean_mm) <= found.budget.U


@pytest.mark.parametrize(("tier", "seed"), SHOTS)
@pytest.mark.parametrize("colour", [*FULL[:2], (0, 0, 0), (255, 255, 255)])
def test_lines_that_touch_the_rim_do_no_harm(coloured, tmp_path, tier, seed, colour):
    picture, shot = coloured(tier, seed)
    lines(picture, shot.truth[0], colour, places=(-1.0, 1.0))
    rim = find_rim(read_back(picture, tmp_path / "lines.jpg"))
    if not isinstance(rim, Refusal):
        found = diameters(rim, shot.scale)
        assert abs(found.mean_mm - shot.truth[0].mean_mm) <= found.budget.U


@pytest.mark.parametrize("shot", SHOTS)
@pytest.mark.parametrize("by", [0.0, 0.005])
@pytest.mark.parametrize("light", [(1.0, 1.0, 1.0), (0.5, 0.9, 1.0)])
def test_coloured_light_and_fringes_are_not_drawn(coloured, tmp_path, shot, by, light):
    picture, taken = coloured(*shot)
    picture = (picture * np.array(light)).astype(np.uint8)
    fringed(picture, taken.truth[0], by=by)
    assert not isinstance(find_rim(read_back(picture, tmp_path / "fringed.jpg")), Refusal)


def test_chroma_is_that_of_the_standard():
    bgr = np.eye(3, dtype=np.float32)  # full blue, green, red; OpenCV rounds its factors
    ycrcb = cv2.cvtColor(bgr[None], cv2.COLOR_BGR2YCrCb)[0]
    assert np.allclose(bgr @ CHROMA, ycrcb[:, :0:-1] - 0.5, atol=1e-3)


@pytest.mark.parametrize("shot", SHOTS)
@pytest.mark.parametrize("size", [{"ratio": 1.5, "width": 0.06}, {"ratio": 2.0, "width": 0.15}])
@pytest.mark.parametrize("left", [(0.45, 0.45, 0.45), (0.5, 0.77, 0.45)])  # black, green
def test_a_ring_of_ink_about_the_indent_is_passed_over(coloured, tmp_path, shot, size, left):
    picture, taken = coloured(*shot)
    inked(picture, taken.truth[0], **size, left=left)
    rim = find_rim(read_back(picture, tmp_path / "ink.jpg"))
    assert not isinstance(rim, Refusal), rim
    found = diameters(rim, taken.scale)
    assert abs(found.mean_mm - taken.truth[0].mean_mm) <= found.budget.U


@pytest.mark.parametrize("height", [0.6, 0.8])
@pytest.mark.parametrize("turn", [0.8, 0.9])
@pytest.mark.parametrize("inside", [1.0, 0.15])
def test_a_line_is_ink_where_it_is_far_darker_than_both_sides(height, turn, inside):
    """Light falls to 1 - height; along a dark bowl it does not stand out."""
    ellipse = Ellipse(255.3, 254.8, 159.0)
    y, x = np.indices((512, 512))
    part = np.arctan2(y - ellipse.y, x - ellipse.x) < np.pi * (2 * turn - 1)

    def light(away):
        line = height * np.exp(-0.5 * (away / 4) ** 2)
        return 0.5 * np.where(away < -12, inside, 1 - part * line)

    photo = taken(light_about(ellipse, light, size=512, noise=0.005, seed=3))
    found = drawn_along(photo, ellipse, colour=None)
    ink = height > 0.7 and turn > 0.85 and inside > 0.5
    assert (found is not None and "ink" in found.message) == ink


@pytest.mark.parametrize("left", [(1.0, 1.0, 1.0), (0.5, 0.77, 0.45), (0.4, 0.4, 0.95)])
def test_ink_of_a_colour_is_dark_in_one_channel(tmp_path, left):
    picture = np.full((512, 512, 3), 150.0)
    away = light_about(ELLIPSE, lambda away: away, size=512, noise=0.0, seed=0)
    picture *= np.where((abs(away) < 4)[..., None], left, 1.0)
    photo = read_back(picture.astype(np.uint8), tmp_path / "ink.png")
    colour = half_size_colour(photo)
    assert (ink_along(photo, ELLIPSE, colour=colour) > 0.99) == (min(left) < 0.6)
    if left[1] != left[2]:
        assert ink_along(photo, ELLIPSE, colour=None) < 0.01  # in the luma it is not dark enough


def test_a_ring_of_ink_alone_is_refused():
    """What it goes round does not show: the ink, or one of its edges, is not taken for a rim."""
    ellipse = Ellipse(255.3, 254.8, 159.0, 2.0, 1.0)
    light = light_about(
        ellipse,
        lambda away: 0.4 - 0.35 * np.exp(-0.5 * (away / 6) ** 4),
        size=512,
        noise=0.01,
        seed=3,
    )
    refused = find_rim(taken(light))
    assert isinstance(refused, Refusal)
    assert refused.code in {"drawn-on", "rival-rings"}
