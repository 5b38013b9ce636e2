"""Shared tools: scenes without texture, and an edge fit that knows nothing of the library."""

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.special import erf

from rimread.simulate import Camera, Indent, Scene, Surface
from rimread.simulate.camera import blurred
from rimread.simulate.finish import Skin
from rimread.simulate.glow import Glow
from rimread.simulate.radiance import View, radiance

BARE = Skin(None, None, None, None, None, None)


@pytest.fixture
def plain_scene():
    """One sharp indent off the middle of a small picture, nothing else."""
    return Scene(
        indents=(Indent(d1_mm=2.0, d2_mm=2.0, x_mm=0.1, y_mm=-0.05, edge_round_mm=0.0),),
        surface=Surface(finish_um=0.0),
        camera=Camera(width_px=400, height_px=360, px_per_mm=120.0, blur_px=0.7),
    )


@pytest.fixture
def step_picture():
    """Light that is 1 in the bowl and 0 outside, through the optics of a scene."""

    def photograph(scene, *, oversample=2):
        tables = Glow(outside=np.zeros((9, 9), np.float32), inside=np.ones((9, 9), np.float32))
        fine = radiance(View(scene, tables, oversample), BARE)
        return blurred(fine, scene.camera, oversample=oversample).astype(float)

    return photograph


def _edge(q, place, spread, low, high):
    return low + (high - low) * 0.5 * (1 + erf((place - q) / (spread * math.sqrt(2))))


@pytest.fixture
def edge_radii():
    """Radius and spread of the edge along rays: an error function through the pixels near each."""

    def fit(picture, centre, radius, *, rays=48, reach=6.0, arc=0.5):
        y, x = np.mgrid[: picture.shape[0], : picture.shape[1]]
        dx, dy = x - centre[0], y - centre[1]
        r, turn = np.hypot(dx, dy), np.degrees(np.arctan2(dy, dx)) % 360
        near = np.abs(r - radius) < reach
        out = []
        for k in range(rays):
            off = (turn - k * 360 / rays + 180) % 360 - 180
            pick = near & (np.abs(off) < 180 / rays * arc * 2)
            p, _ = curve_fit(_edge, r[pick], picture[pick], p0=(radius, 1.0, 0.0, 1.0))
            out.append(p[:2])
        return np.array(out)

    return fit
