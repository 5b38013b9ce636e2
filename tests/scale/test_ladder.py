"""What proves that the lines of a ladder are the finest ones."""

from __future__ import annotations

import numpy as np
import pytest
from tests.scale.rulings import Ruling, photo_of

from rimread.photo import linear_light
from rimread.scale.ladder import Ladder, find_ladders


def ladder(*, every: int, lines: int, first: int = 0) -> Ladder:
    return Ladder(
        angle_rad=0.0,
        frequency=(0.06, 0.08),
        phase=np.zeros(6),
        first=first,
        last=first + lines - 1,
        ends_seen=(False, False),
        v_px=(-40.0, 40.0),
        every=every,
    )


@pytest.mark.parametrize(
    ("every", "lines", "proved"),
    [
        (5, 11, True),
        (5, 101, True),
        (10, 30, False),  # numerals and dust look like one or two longer lines
        (10, 31, True),  # the first and three more agree
        (10, 101, True),
        (2, 101, False),  # the 5th and 10th lines alone, where the finest are blurred away
        (0, 101, False),
    ],
)
@pytest.mark.parametrize("first", [-7, 0, 12])
def test_fifth_lines_prove_the_finest_and_tenth_lines_only_when_several_agree(
    every, lines, proved, first
):
    one = ladder(every=every, lines=lines, first=first)
    assert one.lines == lines
    assert one.counted == proved


def test_the_pitch_is_the_distance_across_the_lines():
    assert ladder(every=5, lines=21).pitch_px == pytest.approx(10.0)  # 1 / √(0.06² + 0.08²)


@pytest.mark.parametrize(("lines", "proved"), [(24, False), (51, True)])
def test_a_drawn_scale_with_longer_tenth_lines_alone(lines, proved):
    ruling = Ruling(
        fifth=1.0,
        lines=lines,
        middle_line=(lines - 1) / 2,
        numerals=False,
        specks=0,
    )
    photo = photo_of(ruling, np.random.default_rng(1))
    (found, *_) = find_ladders(linear_light(photo, photo.grey))
    assert (found.every, found.counted) == (10, proved)
    assert found.lines == pytest.approx(lines, abs=2)
