"""Texture: as high as asked for, marks along the lay, flattened by the ball, never too dark."""

import math
from dataclasses import replace
from typing import get_args

import numpy as np
import pytest

from rimread.simulate import Camera, Indent, Scene, Surface
from rimread.simulate.finish import _texture, skin
from rimread.simulate.scene import Finish

CAMERA = Camera(width_px=300, height_px=260, px_per_mm=150)


@pytest.mark.parametrize("finish", get_args(Finish))
@pytest.mark.parametrize("finish_um", [0.1, 1.2])
def test_the_texture_is_as_high_as_asked_for(finish, finish_um):
    scene = Scene(surface=Surface(finish=finish, finish_um=finish_um), camera=CAMERA)
    height_mm = _texture(scene, np.random.default_rng(2))
    assert height_mm.shape == (260, 300)
    assert 1000 * height_mm.std() == pytest.approx(finish_um, rel=1e-4)


@pytest.mark.parametrize("finish", ["ground", "milled"])
@pytest.mark.parametrize("lay_deg", [0, 35, 90, 150])
def test_the_marks_run_along_the_lay(finish, lay_deg):
    scene = Scene(surface=Surface(finish=finish, lay_deg=lay_deg), camera=CAMERA)
    cover = skin(scene, rng=np.random.default_rng(4))
    moment = np.array(
        [
            [np.mean(cover.gx**2), np.mean(cover.gx * cover.gy)],
            [np.mean(cover.gx * cover.gy), np.mean(cover.gy**2)],
        ]
    )
    _, directions = np.linalg.eigh(moment)  # the steepest direction last: across the marks
    across = math.degrees(math.atan2(directions[1, 1], directions[0, 1]))
    assert (across - 90 - lay_deg + 90) % 180 - 90 == pytest.approx(0, abs=4)


def test_a_coarser_texture_of_the_same_height_is_less_steep():
    def steep(coarse):
        surface = Surface(finish="blasted", coarse=coarse)
        cover = skin(Scene(surface=surface, camera=CAMERA), rng=np.random.default_rng(1))
        return cover.gx.std()

    assert steep(2.0) == pytest.approx(steep(1.0) / 2, rel=0.1)


def test_the_texture_is_carried_outwards_inside_the_boundary_only():
    surface, indent = Surface(finish="blasted"), Indent(d1_mm=1.0, d2_mm=1.0, stretch=0.2)
    moved, still = (
        skin(
            Scene(indents=(replace(indent, stretch=s),), surface=surface, camera=CAMERA),
            rng=np.random.default_rng(1),
        ).gx
        for s in (0.2, 0.0)
    )
    y, x = np.mgrid[:260, :300]
    outside = np.hypot(x - 149.5, y - 129.5) > 77
    assert np.allclose(moved[outside], still[outside], atol=1e-4)
    assert np.abs(moved - still)[~outside].std() > 0.1 * still.std()


def test_stains_take_light_and_scratches_are_grooves():
    scene = Scene(surface=Surface(stains=6, scratches=4), camera=CAMERA)
    cover = skin(scene, rng=np.random.default_rng(9))
    assert 0 < cover.stain.min() < 0.9
    assert cover.stain.max() <= 1.0
    assert 0.02 < np.abs(cover.scratch_gx).max() < 0.6
