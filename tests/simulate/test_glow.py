"""The reflection keeps energy, mirrors, and its tables follow the formula."""

import math

import numpy as np
import pytest

from rimread.simulate import Indent, Light, Scene, Surface
from rimread.simulate.glow import _lamps, _surroundings, glow, microfacet


def _sky(rings=1500, turns=8):
    """Directions of an even sky and the solid angle of each."""
    z = (np.arange(rings) + 0.5) / rings
    sines, azimuth = np.meshgrid(z, (np.arange(turns) + 0.5) * 2 * math.pi / turns)
    flat = np.sqrt(1 - sines**2)
    d = np.stack([flat * np.cos(azimuth), flat * np.sin(azimuth), sines], axis=-1)
    return d.reshape(-1, 3), np.full(d.size // 3, 2 * math.pi / (rings * turns))


@pytest.mark.parametrize("alpha", [0.1, 0.2, 0.4])
def test_an_even_sky_comes_back_with_the_reflectivity_of_the_metal(alpha):
    # Seen from above, the facets' projected area is 1 (B. Walter et al. 2007, eq. 4), so the sky
    # comes back with the mean reflectivity of the facets, less what they hide from each other and
    # what they send below the horizon. Facets drawn by their own distribution (eq. 35) say how
    # much that is, without the distribution's formula.
    flat = np.zeros(1, dtype=np.float32)
    light = float(microfacet(flat, flat, _sky(), alpha)[0])
    u = (np.arange(100_000) + 0.5) / 100_000
    facet = np.arctan(alpha * np.sqrt(u / (1 - u)))
    leaves = np.maximum(np.cos(2 * facet), 0)
    seen = 2 * leaves / (leaves + np.sqrt(alpha**2 + (1 - alpha**2) * leaves**2))
    reflectivity = 0.6 + 0.4 * (1 - np.cos(facet)) ** 5
    assert light == pytest.approx(np.mean(seen * reflectivity), rel=0.005)


@pytest.mark.parametrize("elevation_deg", [20, 45, 70])
@pytest.mark.parametrize("azimuth_deg", [0, 130])
def test_the_brightest_facet_mirrors_the_lamp_into_the_camera(elevation_deg, azimuth_deg):
    e, a = math.radians(elevation_deg), math.radians(azimuth_deg)
    lamp = np.array([[math.cos(e) * math.cos(a), math.cos(e) * math.sin(a), math.sin(e)]])
    axis = np.linspace(-1, 1, 401, dtype=np.float32)
    gx, gy = np.meshgrid(axis, axis)
    light = microfacet(gx, gy, (lamp, np.ones(1)), 0.06)
    row, col = np.unravel_index(light.argmax(), light.shape)
    # the normal halves the angle between lamp and camera; a normal leaning to +x is a slope down
    steep = math.tan((math.pi / 2 - e) / 2)
    assert axis[col] == pytest.approx(-steep * math.cos(a), abs=0.03)
    assert axis[row] == pytest.approx(-steep * math.sin(a), abs=0.03)


@pytest.mark.parametrize("kind", ["ring", "side", "coaxial", "arcs"])
@pytest.mark.parametrize("lamps", [0, 6])
def test_the_table_follows_the_formula(kind, lamps):
    light = Light(kind=kind, lamps=lamps, elevation_deg=40, azimuth_deg=25)
    scene = Scene(surface=Surface(alpha_outside=0.12), light=light)
    rng = np.random.default_rng(3)
    gx, gy = rng.uniform(-0.7, 0.7, (2, 20, 20)).astype(np.float32)
    read = glow(scene).look_up(gx, gy, np.zeros_like(gx))
    exact = microfacet(gx, gy, _lamps(light), 0.12)
    exact = exact + microfacet(gx, gy, _surroundings(light), 0.12)
    assert np.abs(read - exact).max() < 0.01 * exact.max()


def test_a_ring_looks_the_same_from_all_sides_and_separate_lamps_do_not():
    t = np.arange(0, 2 * math.pi, 0.1)
    gx, gy = (0.35 * np.stack([[np.cos(t)], [np.sin(t)]])).astype(np.float32)

    def spread(lamps):
        surface = Surface(alpha_outside=0.08)
        scene = Scene(surface=surface, light=Light(lamps=lamps, elevation_deg=50, spread_deg=3))
        light = glow(scene).look_up(gx, gy, np.zeros_like(gx))
        return np.ptp(light) / light.mean()

    assert spread(0) < 0.01
    assert spread(6) > 0.3


def test_ambient_is_a_share_of_the_lamp_on_a_flat_specimen():
    directions, weights = _surroundings(Light(ambient=0.3))
    assert np.sum(weights * directions[:, 2]) == pytest.approx(0.3)
    _, shares = _lamps(Light(kind="arcs"))
    assert shares.sum() == pytest.approx(1.0)


def test_the_shadow_in_the_bowl_ends_where_the_ray_over_the_boundary_lands():
    # ball 10, d 5.5: the wall by the lamp stands at 33°, the lamp at 20°
    bowl = Indent(d1_mm=5.5, d2_mm=5.5, recovery=1.0, pile=0.0)
    light = Light(kind="side", elevation_deg=20, azimuth_deg=0, spread_deg=0.2, ambient=0)
    scene = Scene(indents=(bowl,), surface=Surface(alpha_inside=0.6), light=light)
    x = np.linspace(-2.7, 2.7, 2001)
    gx = (x / np.sqrt(25 - x**2)).astype(np.float32)[None]
    lit = glow(scene).look_up(gx, np.zeros_like(gx), np.ones_like(gx))[0] > 1e-5
    # the chord from the boundary at (2.75, 0) down at 20° meets the sphere again: the central
    # angle of a chord that falls 20° under a wall of 33° reaches from +33.37° to 33.37° - 2·13.37°
    wall = math.degrees(math.asin(2.75 / 5))
    lands = 5 * math.sin(math.radians(wall - 2 * (wall - 20)))
    assert x[lit].max() == pytest.approx(lands, abs=0.08)
    assert lit[x < lands - 0.1].all()
