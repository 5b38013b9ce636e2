"""The scale as a mapping: there and back, and the distortion convention."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.scale import Certificate, Scale
from rimread.scale.model import MOST_K1


def scale(**changes: object) -> Scale:
    told: dict[str, object] = {
        "px_per_mm_x": 120.0,
        "px_per_mm_y": 119.0,
        "k1_half_diagonal": 0.002,
        "covariance": ((1e-4, 9e-5, 0.0), (9e-5, 1e-4, 0.0), (0.0, 0.0, 1e-8)),
        "dof": 50.0,
        "width_px": 1000,
        "height_px": 800,
        "label": "",
        "calibrated_on": date(2026, 1, 1),
        "valid_until": date(2026, 12, 31),
        "certificate": None,
        "photos": (),
    }
    return Scale(**{**told, **changes})  # type: ignore[arg-type]


@given(
    k1=st.floats(-MOST_K1, MOST_K1),
    x=st.floats(0, 999),
    y=st.floats(0, 799),
    aspect=st.floats(0.9, 1.1),
)
def test_px_to_mm_and_back(k1, x, y, aspect):
    s = scale(k1_half_diagonal=k1, px_per_mm_y=120.0 * aspect)
    point = np.array([x, y])
    assert np.allclose(s.px_from_mm(s.mm_from_px(point)), point, atol=1e-8)


def test_distortion_convention():
    # r' = r (1 + k1 r²), r in half diagonals: an undistorted corner lands at 1 + k1
    s = scale(px_per_mm_x=100.0, px_per_mm_y=100.0, k1_half_diagonal=0.01)
    centre = np.array([499.5, 399.5])
    corner_mm = np.array([5.0, 4.0])  # half of 1000 × 800 px: one half diagonal
    assert np.allclose(s.px_from_mm(corner_mm) - centre, np.array([500.0, 400.0]) * 1.01)


@given(x=st.floats(0, 999), y=st.floats(0, 799))
def test_without_distortion_px_along_each_axis_are_divided_by_its_own_px_per_mm(x, y):
    s = scale(k1_half_diagonal=0.0, px_per_mm_x=120.0, px_per_mm_y=100.0)
    expected = [(x - 499.5) / 120.0, (y - 399.5) / 100.0]  # the middle of pixels 0 to 999, 0 to 799
    assert np.allclose(s.mm_from_px(np.array([x, y])), expected, atol=1e-12)
    assert np.allclose(s.px_from_mm(np.array(expected)), [x, y], atol=1e-9)


@pytest.mark.parametrize("step", [0.25, -0.0625])
@pytest.mark.parametrize("parameter", [0, 1, 2])
def test_one_parameter_is_moved_and_the_others_stay(parameter, step):
    s = scale(k1_half_diagonal=0.0, px_per_mm_x=120.0, px_per_mm_y=100.0)
    moved = s.shifted(parameter, step)
    found = np.array([moved.px_per_mm_x, moved.px_per_mm_y, moved.k1_half_diagonal])
    assert np.array_equal(found, np.array([120.0, 100.0, 0.0]) + step * np.eye(3)[parameter])


def test_any_shape_of_points():
    s = scale()
    grid = np.random.default_rng(1).uniform(0, 700, (3, 4, 2))
    assert s.mm_from_px(grid).shape == (3, 4, 2)
    assert np.allclose(s.mm_from_px(grid)[1, 2], s.mm_from_px(grid[1, 2]))


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"nominal_mm": 0.0}, "lengths"),
        ({"certified_mm": float("nan")}, "lengths"),
        ({"certified_mm": 99.98}, "agree within 2 %"),
        ({"U_mm": 0.0}, "U of the certified length"),
        ({"U_mm": -0.001}, "U of the certified length"),
        ({"U_mm": float("nan")}, "U of the certified length"),
        ({"U_mm": 1.0}, "U of the certified length"),
        ({"k": 0.5}, "coverage factor"),
    ],
)
def test_certificate_refuses_nonsense(changes, word):
    told = {"nominal_mm": 10.0, "certified_mm": 9.9987, "U_mm": 0.001, "k": 2.0, **changes}
    with pytest.raises(ValueError, match=word):
        Certificate(**told)


@pytest.mark.parametrize(
    "changes",
    [
        {"certified_mm": 10.2},  # 10.2 / 10 - 1 is 0.02 and a last bit
        {"certified_mm": 9.8},
        {"U_mm": 0.199},  # 2 % of it
        {"k": 1.0},
        {"k": 20.0},
        {"nominal_mm": 1e-4, "certified_mm": 1e-4, "U_mm": 1e-7},
        {"nominal_mm": 1e5, "certified_mm": 1e5},
    ],
)
def test_certificate_takes_what_its_limits_allow(changes):
    told = {"nominal_mm": 10.0, "certified_mm": 9.9987, "U_mm": 0.001, "k": 2.0, **changes}
    assert Certificate(**told).U_mm == told["U_mm"]


@pytest.mark.parametrize(
    "changes", [{"certified_mm": 10.21}, {"certified_mm": 9.79}, {"U_mm": 0.21}, {"k": 20.1}]
)
def test_certificate_refuses_what_lies_just_beyond(changes):
    told = {"nominal_mm": 10.0, "certified_mm": 9.9987, "U_mm": 0.001, "k": 2.0, **changes}
    with pytest.raises(ValueError, match="got nominal"):
        Certificate(**told)


def test_a_certificate_that_names_no_k_expands_by_two():
    """Common practice where a certificate says no more than 95 %: JCGM 100:2008, 6.3.3."""
    assert Certificate(10.0, 10.0, 0.001).k == 2.0
