"""A bowl shades, a flat face does not."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.rim.drawn import taken

from rimread.refusal import Refusal
from rimread.rim import Rim, find_rim
from rimread.rim.ellipse import Ellipse
from rimread.rim.flatness import FLAT, flat_face, spread_within

SIZE = 320


def within(light, *, grain=0.0, radius=110.0, outside=0.4):
    """A ring filled with light, a function of the share of the radius."""
    y, x = np.indices((SIZE, SIZE), dtype=float)
    share = np.hypot(x - 160.3, y - 158.6) / radius
    face = np.where(share < 1, light(np.minimum(share, 1.0)), outside)
    return taken(face + np.random.default_rng(5).normal(0, grain, face.shape))


RING = Ellipse(160.3, 158.6, 110.0)


@pytest.mark.parametrize("grain", [0.0, 0.02])
@pytest.mark.parametrize("level", [0.02, 0.3, 0.9])
def test_a_flat_face_is_refused(level, grain):
    spread = spread_within(within(lambda s: level + 0 * s, grain=grain * level), RING)
    assert spread < 0.5 * FLAT
    assert flat_face(spread).code == "flat-inside"


@given(st.floats(0.26, 0.6), st.floats(0.2, 1.0))
def test_a_matte_bowl_varies_by_the_cosine_of_its_slope(d_over_ball, brightness):
    """Lambert's law: light from above falls off as the cosine of the slope, sin = s d / D."""

    def light(share):
        return brightness * np.sqrt(1 - (share * d_over_ball) ** 2)

    spread = spread_within(within(light), RING)
    # equal areas: half of them lie within s^2 = 0.5 and all but a twentieth within 0.95, of 0.85 R
    low, middle, high = (light(0.85 * math.sqrt(share)) for share in (0.95, 0.5, 0.0))
    assert spread == pytest.approx((high - low) / middle, rel=0.15, abs=0.002)


def test_neither_the_size_nor_the_place_of_the_ring_matters():
    for radius in (40.0, 110.0, 150.0):
        photo = within(lambda s: 0.5 - 0.2 * s**2, radius=radius)
        spread = spread_within(photo, Ellipse(160.3, 158.6, radius))
        assert spread == pytest.approx(0.2 * 0.85**2 * 0.95 / (0.5 - 0.1 * 0.85**2), rel=0.06)


def test_a_glint_in_the_middle_of_a_dark_bowl_speaks_for_a_bowl():
    """As light along the axis shows it: what is not level throws it past the lens."""
    spread = spread_within(within(lambda s: np.where(s < 0.1, 0.9, 0.03)), RING)
    assert spread > 1.0


def test_black_within_is_flat():
    assert flat_face(spread_within(within(lambda s: 0 * s), RING)).code == "flat-inside"


@pytest.mark.parametrize(("tier", "seed"), [("clean", 1), ("shop", 4), ("clean", 5)])
def test_indents_are_no_flat_faces(simulated, tier, seed):
    photo = simulated(tier, seed).photo()
    rim = find_rim(photo)
    assert isinstance(rim, Rim)
    assert rim.bowl_spread == spread_within(photo, rim.ellipse) > 2 * FLAT


@pytest.mark.parametrize("level", [0.05, 0.25, 0.8])
def test_a_disc_with_a_sharp_edge_gets_no_number(level):
    result = find_rim(within(lambda s: level + 0 * s, grain=0.004))
    assert isinstance(result, Refusal)
