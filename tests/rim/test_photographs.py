"""Real photographs that ship with scikit-image: none shows an indent.

Opened from the package's own folder, so nothing is fetched. Those in which there is no round
outline must be refused; where there is one, a ring that is measured must be that outline.
"""

from pathlib import Path

import numpy as np
import pytest
import skimage

from rimread.photo import read_photo
from rimread.refusal import Refusal
from rimread.rim import Rim, find_rim

DATA = Path(skimage.__file__).parent / "data"

NO_INDENT = (
    *("astronaut.png", "brick.png", "camera.png", "cell.png", "chelsea.png", "clock_motion.png"),
    *("coins.png", "grass.png", "gravel.png", "hubble_deep_field.jpg", "ihc.png"),
    *("motorcycle_left.png", "motorcycle_right.png", "page.png", "rocket.jpg", "text.png"),
)


def photo(name):
    if not (DATA / name).exists():
        pytest.skip(f"this scikit-image has no {name}")
    return read_photo(DATA / name)


@pytest.mark.parametrize("name", NO_INDENT)
def test_no_indent_no_number(name):
    assert isinstance(find_rim(photo(name)), Refusal)


@pytest.mark.parametrize(
    ("name", "axes"),
    [
        # Our own trials with another method (an error function fitted along each ray):
        ("coffee.png", (236.4, 189.5)),  # outer edge of the cup
        ("moon.png", (50.9, 48.7)),  # a crater in slanting light
        ("retina.jpg", (1391.8, 1388.9)),  # edge of the field
    ],
)
def test_a_round_outline_is_refused_or_measured_as_it_is(name, axes):
    result = find_rim(photo(name))
    if isinstance(result, Rim):
        assert [2 * s for s in result.semi_axes_px] == pytest.approx(axes, rel=0.01)


@pytest.mark.parametrize("name", ["coffee.png", "moon.png", "retina.jpg"])
def test_turning_a_photograph_changes_nothing(name):
    shot = photo(name)
    turned = type(shot)(
        grey=np.ascontiguousarray(np.rot90(shot.grey)), tone=shot.tone, name="", sha256=""
    )
    one, two = find_rim(shot), find_rim(turned)
    if isinstance(one, Rim):
        assert isinstance(two, Rim)
        assert one.ellipse.m == pytest.approx(two.ellipse.m, abs=0.25)
    else:
        assert one.code == two.code
