"""The speed table measures what it says; no test looks at a clock."""

import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from tests.benchmarks import speed

from rimread.simulate import random_scene, simulate


@pytest.fixture(scope="module")
def photo(tmp_path_factory):
    rng = np.random.default_rng([77, 3])
    scene = random_scene(rng, tier="clean", width_px=640, height_px=512)
    path = tmp_path_factory.mktemp("photos") / "one.png"
    picture = simulate(scene, rng=rng).picture
    cv2.imwrite(str(path), picture)
    return path


def test_both_ways_find_the_indent(photo):
    assert speed.ours(photo) == "measured"
    assert speed.general(photo, hough_px=speed.SMALL_PX)


def test_the_general_way_finds_nothing_in_a_flat_picture(tmp_path):
    cv2.imwrite(str(tmp_path / "flat.png"), np.full((200, 300), 90, np.uint8))
    assert not speed.general(tmp_path / "flat.png", hough_px=math.inf)


def test_shares_of_the_time_are_whole(photo):
    modules, functions = speed.profile([photo])
    assert sum(modules.values()) == pytest.approx(1, abs=1e-6)
    assert sum(share for _, share in functions) == pytest.approx(1, abs=1e-6)
    assert any(name.startswith("rim.") for name in modules)
    assert "photo" in modules
    assert modules.get("rest", 0) < 0.2


def test_ratios_are_ours_over_theirs():
    rows = [
        speed.Timed(Path("a"), 1.3, "measured", circle=True, imread=1, ours=2, full=4, small=8),
        speed.Timed(Path("b"), 1.3, "measured", circle=True, imread=1, ours=4, full=4, small=8),
    ]
    assert speed.ratios(rows).split() == [
        *("2.00", "3.00", "4.00", "0.50", "0.75", "1.00", "0.25", "0.38", "0.50")
    ]


@pytest.mark.slow
def test_memory_of_the_whole_program_is_told(photo, tmp_path):
    told = speed.peak_mb(photo, tmp_path)
    assert told is None or 30 < told < 400
