"""Distances between the indents of a photo, against plain geometry and brute force."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import KDTree

from rimread.hardness import Piece
from rimread.neighbours import Neighbour, Place, about, beside, place
from rimread.rim.ellipse import Ellipse, fit_ellipse
from rimread.simulate import Camera
from rimread.simulate.photograph import scale_of


def circle(x: float, y: float, d: float) -> Neighbour:
    return Neighbour(Ellipse(x, y, d / 2))


@given(x=st.floats(-20, 20), y=st.floats(-20, 20), d1=st.floats(1, 6), d2=st.floats(1, 6))
def test_circles(x, y, d1, d2):
    one, two = circle(1.5, -0.5, d1), circle(1.5 + x, -0.5 + y, d2)
    apart = math.hypot(x, y)
    assert one.spacing_mm(two) == pytest.approx(apart)
    if apart > 1.1 * (d1 + d2) / 2:
        gap = apart - (d1 + d2) / 2
        assert one.rim_to_rim_mm(two) == pytest.approx(gap, abs=1e-4)
        assert two.rim_to_rim_mm(one) == pytest.approx(gap, abs=1e-4)


@given(
    turn=st.floats(0, 2 * math.pi),
    away=st.floats(1.4, 6.0),
    oval=st.tuples(*[st.floats(-0.06, 0.06)] * 4),
)
def test_ovals_against_every_pair_of_points(turn, away, oval):
    one = Ellipse(0.3, -0.2, 2.0, 2 * oval[0], 2 * oval[1])
    m = 1.9
    two = Ellipse(
        0.3 + 4 * away * math.cos(turn),
        -0.2 + 4 * away * math.sin(turn),
        m,
        m * oval[2],
        m * oval[3],
    )
    t = np.linspace(0, 2 * np.pi, 1000)
    brute = KDTree(one.points(t)).query(two.points(t))[0].min()
    assert Neighbour(one).rim_to_rim_mm(Neighbour(two)) == pytest.approx(brute, abs=3e-4)


def test_the_one_that_asks_for_most_room_is_judged():
    one = circle(0, 0, 3.0)
    small, large = circle(9.1, 0, 3.0), circle(0, 9.2, 4.0)
    piece = beside(one, [small, large], Piece(material="steel"))
    assert piece == Piece(material="steel", spacing_mm=9.2, neighbour_mm=4.0)
    assert beside(one, [small], Piece(spacing_mm=9.0)) == Piece(spacing_mm=9.0)
    assert beside(one, [small], Piece(spacing_mm=9.5)) == Piece(spacing_mm=9.1, neighbour_mm=3.0)
    less, alike = circle(8.0, 0, 2.0), circle(0, 8.5, 3.0)  # the larger of two counts
    assert beside(one, [alike, less], Piece()) == Piece(spacing_mm=8.0, neighbour_mm=2.0)
    assert beside(one, [], Piece(edge_mm=4.0)) == Piece(edge_mm=4.0)


def test_place_takes_the_nearest_centre_and_the_nearest_rim():
    one = circle(0, 0, 3.0)
    near, wide = circle(8.0, 0, 2.0), circle(0, 8.5, 5.0)
    found = place(2, 3, one, [near, wide])
    assert (found.indent, found.indents, found.spacing_mm) == (2, 3, 8.0)
    assert found.rim_to_rim_mm == pytest.approx(8.5 - 4.0, abs=1e-5)  # of the wide one
    assert place(1, 1, one, []) == Place(1, 1, None, None)


def test_an_ellipse_in_a_distorted_photo_lies_where_it_was_on_the_specimen():
    scale = scale_of(Camera(px_per_mm=100.0, k1_half_diagonal=-0.02, aspect=1.02))
    true = Ellipse(4.0, -2.5, 1.5, 0.03, -0.02)
    points = scale.px_from_mm(true.points(np.linspace(0, 2 * np.pi, 200, endpoint=False)))
    start = Ellipse(*points.mean(axis=0), 150.0)
    seen, _, _ = fit_ellipse(points, np.ones(len(points)), start, floor=1.0)
    found = about(seen, scale).ellipse_mm
    for key in ("x", "y", "m", "e", "f"):
        assert getattr(found, key) == pytest.approx(getattr(true, key), abs=0.001 * true.m)
