"""Simulated photos and the sample renderings, each made and measured once."""

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from rimread.diameters import diameters
from rimread.photo import read_photo
from rimread.rim import find_rim
from rimread.scale import read_scale
from rimread.simulate import random_scene, simulate, spoiled_scene

ROOT = Path(__file__).parents[2]
WIDTH, HEIGHT = 640, 512  # a quarter of the time of a full picture


@pytest.fixture(autouse=True, scope="session")
def _one_thread():
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    yield
    cv2.setNumThreads(before)


@pytest.fixture(scope="module")
def even_bowls():
    """Painted bowls may be as even as a flat face: here the trace is asked and not that gate."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("rimread.rim.find.flat_face", lambda _: None)
        yield


@lru_cache(maxsize=64)
def _simulated(tier, seed):
    scene = random_scene(
        np.random.default_rng([77, seed]), tier=tier, width_px=WIDTH, height_px=HEIGHT
    )
    return simulate(scene, rng=np.random.default_rng([77, seed, 1]))


@pytest.fixture(scope="session")
def simulated():
    """A small simulated photo by tier and seed."""
    return _simulated


@pytest.fixture(scope="session")
def spoiled():
    """A small simulated photo that must be refused, by kind and seed."""

    def photograph(kind, seed):
        rng = np.random.default_rng([77, seed])
        scene = spoiled_scene(rng, kind, width_px=WIDTH, height_px=HEIGHT)
        return simulate(scene, rng=np.random.default_rng([77, seed, 1]))

    return photograph


@lru_cache(maxsize=16)
def _sample(name):
    photo = read_photo(ROOT / "sample_images" / f"{name}.jpg")
    scale = read_scale(ROOT / "calibration" / f"{name.split('-')[0]}-scope.toml")
    rim = find_rim(photo)
    return photo, rim, diameters(rim, scale).budget.U * scale.px_per_mm_x


@pytest.fixture(scope="session")
def sample():
    """A sample rendering by name: the photo, its rim, U of the mean diameter in px."""
    return _sample
