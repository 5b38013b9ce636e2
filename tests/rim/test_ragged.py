"""A rim that is no ellipse: read all round, covered, and without a U out of proportion."""

from dataclasses import replace

import numpy as np
import pytest

from rimread.diameters import diameters
from rimread.rim import find_rim
from rimread.simulate import Camera, Indent, Light, Scene, Surface, simulate

D_PX = 300
SMOOTH = Scene(
    indents=(Indent(d1_mm=1.5, d2_mm=1.497, ball_mm=2.5, angle_deg=30, pile=0.1),),
    surface=Surface(finish_um=0.1),
    light=Light(kind="ring", elevation_deg=40),
    camera=Camera(width_px=480, height_px=440, px_per_mm=D_PX / 1.5, blur_px=0.9, exposure=0.3),
)


def read(ragged, seed):
    """Error, U and rim of one whose boundary strays by so much of the radius."""
    rng = np.random.default_rng(seed)
    waves = rng.standard_normal((15, 2))
    waves *= ragged / np.sqrt((waves**2).sum() / 2)
    indent = replace(SMOOTH.indents[0], waves=tuple(map(tuple, waves.tolist())))
    shot = simulate(replace(SMOOTH, indents=(indent,)), rng=rng)
    rim = find_rim(shot.photo())
    found, true_mm = diameters(rim, shot.scale), shot.truth[0].mean_mm
    return abs(found.mean_mm / true_mm - 1), found.budget.U / true_mm, rim


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("ragged", [0.003, 0.01])
def test_u_covers_the_ellipse_and_is_a_few_times_what_the_rim_strays(ragged, seed):
    error, U, _ = read(ragged, seed)
    assert error < U
    assert ragged < U < 5 * ragged


def test_traced_points_follow_what_is_ragged_and_say_how_sure_they_are():
    """A wave of ten lobes comes back in their distances from the ellipse."""
    waves = ((0.0, 0.0),) * 7 + ((0.01, 0.0),)
    shot = simulate(
        replace(SMOOTH, indents=(replace(SMOOTH.indents[0], waves=waves),)),
        rng=np.random.default_rng(1),
    )
    rim = find_rim(shot.photo())
    off = rim.ellipse.distance(rim.points_px)
    turn = rim.ellipse.parameter(rim.points_px)
    lobes = 2 * np.abs(np.mean(off * np.exp(-10j * turn)))
    assert lobes == pytest.approx(0.01 * D_PX / 2, rel=0.2)
    assert np.median(rim.u_points_px) < 0.5
