"""The path-traced renderings: their truth, and one of them measured where the renderer is there."""

from dataclasses import replace

import numpy as np
import path_traced
import pytest
from heights import Oddities, relief

from rimread.simulate import Camera, Indent, Light, Scene, Surface

SMOOTH = Scene(
    indents=(Indent(d1_mm=1.2, d2_mm=1.2, ball_mm=2.5, recovery=1.2, pile=0.0, x_mm=0.1),),
    surface=Surface(finish="polished", finish_um=1e-6),
    light=Light(kind="ring"),
    camera=Camera(width_px=400, height_px=320, px_per_mm=200.0),
)
PLAIN = Oddities(arc=False, uneven=(0.0, 1.0, 0.0), wave=np.zeros((6, 2)), lamps_mm=10.0)


@pytest.mark.parametrize("arc", [False, True])
@pytest.mark.parametrize("round_mm", [0.0, 0.002, 0.006])
def test_the_sphere_of_the_bowl_meets_the_face_at_the_true_boundary(round_mm, arc):
    """Plain geometry: a sphere through the bowl, a plane through the face."""
    indent = replace(SMOOTH.indents[0], edge_round_mm=round_mm)
    scene = replace(SMOOTH, indents=(indent,))
    made = relief(scene, replace(PLAIN, arc=arc), np.random.default_rng(0))
    x, y, z = np.moveaxis(made.xyz, -1, 0)
    away = np.hypot(x - indent.x_mm, y - indent.y_mm)
    bowl = np.stack([x, y, z], axis=-1)[away < 0.5]
    rows = np.column_stack([2 * bowl, np.ones(len(bowl))])
    *centre, rest = np.linalg.lstsq(rows, (bowl**2).sum(axis=1), rcond=None)[0]
    radius2 = rest + np.dot(centre, centre)
    face = z[away > 0.65].mean()
    assert np.sqrt(radius2) == pytest.approx(indent.bowl_radius_mm, rel=1e-5)
    assert np.sqrt(radius2 - (centre[2] - face) ** 2) == pytest.approx(0.6, abs=1e-5)


def test_scenes_follow_from_seed_and_name():
    one, same, other = (path_traced.scene_of(3, name)[0] for name in ("wide-0", "wide-0", "wide-1"))
    assert one == same
    assert one != other


@pytest.mark.slow
def test_a_path_traced_rendering_is_measured():
    pytest.importorskip("mitsuba", reason="pip install mitsuba, and LLVM")
    found = path_traced.measured((1, "clean-0", None))
    assert found.measured
    assert found.covered
