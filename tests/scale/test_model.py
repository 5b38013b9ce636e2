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
