"""Two circles side by side make an oval that is no ellipse."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimread.refusal import Refusal
from rimread.rim import Rim, find_rim
from rimread.rim.ellipse import Ellipse, fit_ellipse
from rimread.rim.twice import pressed_twice
from rimread.simulate import Camera, Indent, Light, Scene, Surface, simulate

T = np.arange(96) * (2 * np.pi / 96)


def traced(points):
    """A rim through points, as far as the outline is asked for."""
    start = Ellipse(*points.mean(axis=0), m=np.hypot(*(points - points.mean(axis=0)).T).mean())
    ellipse, _, weights = fit_ellipse(points, np.ones(len(points)), start, floor=0.1)
    return Rim(
        points_px=points,
        weights=weights,
        u_points_px=np.full(len(points), 0.1),
        ellipse=ellipse,
        blur_px=1.0,
        rounding_px=0.3,
        u_common_px=0.1,
        coverage=1.0,
        dark_foot=0.0,
        clipped=np.zeros(len(points), bool),
        evidence=2.0,
        u_tone_px=0.0,
    )


def outline(apart_px, radius_px, turn_deg):
    """Points on the outline of two circles whose centres lie so far apart, about (200, 190)."""
    half, turn = apart_px / 2, np.radians(turn_deg)
    along = half * np.abs(np.cos(T - turn))
    r = along + np.sqrt(radius_px**2 - (half * np.sin(T - turn)) ** 2)
    return np.array([200.0, 190.0]) + r[:, None] * np.column_stack([np.cos(T), np.sin(T)])


def scattered(points, seed, sd=0.1):
    return points + np.random.default_rng(seed).normal(0, sd, points.shape)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.025, 0.12), st.floats(70, 250), st.floats(0, 180), st.integers(0, 2**31))
def test_two_circles_are_told(share, radius_px, turn_deg, seed):
    apart_px = 2 * radius_px * share
    refusal = pressed_twice(traced(scattered(outline(apart_px, radius_px, turn_deg), seed)))
    if apart_px > 6:  # less is within the scatter
        assert refusal is not None
        assert refusal.code == "pressed-twice"
        assert refusal.evidence["apart_px"] == pytest.approx(apart_px, abs=1.0)


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 0.12), st.floats(70, 250), st.floats(0, 180), st.integers(0, 2**31))
def test_an_ellipse_is_one(oval, radius_px, turn_deg, seed):
    h, turn = radius_px * oval / 2, np.radians(2 * turn_deg)
    true = Ellipse(200.0, 190.0, radius_px, h * np.cos(turn), h * np.sin(turn))
    assert pressed_twice(traced(scattered(true.points(T), seed))) is None


@pytest.mark.parametrize("oval", [0.03, 0.05])
def test_corners_on_what_is_more_oval_are_no_two_circles(oval):
    """As lobes of a ridge make them on a round bar."""
    points = outline(8.0, 150.0, 0.0) - [200.0, 190.0]
    points = points * [1 + oval, 1.0] + [200.0, 190.0]
    assert pressed_twice(traced(scattered(points, 4, sd=0.05))) is None


def test_a_few_points_astray_change_nothing():
    points = scattered(outline(14.0, 120.0, 35.0), 3)
    points[10:16] += 25.0
    assert pressed_twice(traced(points)) is not None
    true = Ellipse(200.0, 190.0, 120.0, 3.0, 1.0)
    points = scattered(true.points(T), 3)
    points[10:16] += 25.0
    assert pressed_twice(traced(points)) is None


def left_out(points, which):
    """A rim whose ellipse was fitted to the other points."""
    rim = traced(points)
    weights = np.where(which, 0.0, 1.0)
    ellipse, _, weights = fit_ellipse(points, weights, rim.ellipse, floor=0.1)
    return replace(rim, ellipse=ellipse, weights=weights)


def test_corners_that_the_ellipse_left_out_are_held_against_it():
    corners = np.abs(np.cos(T - np.radians(35.0))) < 0.3
    rim = left_out(scattered(outline(8.0, 120.0, 35.0), 3), corners)
    assert not rim.used[corners].any()
    assert pressed_twice(rim) is not None


def test_a_stretch_far_off_that_the_ellipse_left_out_says_nothing():
    points, astray = scattered(outline(14.0, 120.0, 35.0), 3), (T > 0.3) & (T < 2.9)
    points[astray] += np.random.default_rng(1).uniform(20.0, 40.0, (astray.sum(), 2))
    refusal = pressed_twice(left_out(points, astray))
    assert refusal is not None
    assert refusal.evidence["apart_px"] == pytest.approx(14.0, abs=1.0)


@given(st.floats(0.005, 0.018), st.floats(70, 400), st.floats(0, 180), st.integers(0, 2**31))
def test_circles_nearer_than_a_fiftieth_of_their_diameter_are_not_told(share, radius, turn, seed):
    points = scattered(outline(2 * radius * share, radius, turn), seed, sd=0.02)
    assert pressed_twice(traced(points)) is None


def test_what_is_told_does_not_go_with_the_size_of_pixels():
    points = scattered(outline(12.0, 130.0, 20.0), 5, sd=0.2)
    one, fine = (pressed_twice(traced(factor * points)).evidence for factor in (1.0, 3.0))
    assert fine["apart_px"] == pytest.approx(3 * one["apart_px"], rel=1e-3)
    assert fine["log_likelihood_ratio"] == pytest.approx(one["log_likelihood_ratio"], rel=1e-3)


FIRST = Indent(d1_mm=2.0, d2_mm=2.0, ball_mm=5.0, edge_round_mm=0.002, lobes=0.0)
SCENE = Scene(
    indents=(FIRST,),
    surface=Surface(finish="ground", finish_um=0.2),
    light=Light(kind="ring", elevation_deg=40.0),
    camera=Camera(width_px=420, height_px=420, px_per_mm=120.0, blur_px=1.0, exposure=0.25),
)


@pytest.mark.parametrize("apart", [0.04, 0.07])
@pytest.mark.parametrize("turn_deg", [0.0, 50.0])
def test_a_photo_of_one_pressed_twice_gets_no_number(apart, turn_deg):
    away = (
        apart * FIRST.d1_mm * np.array([np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))])
    )
    again = replace(FIRST, x_mm=away[0], y_mm=away[1])
    shot = simulate(replace(SCENE, indents=(FIRST, again)), rng=np.random.default_rng(2))
    result = find_rim(shot.photo())
    assert isinstance(result, Refusal)
    assert result.code in {"pressed-twice", "rival-rings"}


@pytest.mark.parametrize("oval", [0.03, 0.06])
def test_a_photo_of_one_on_a_round_bar_gets_one(oval):
    indent = replace(FIRST, d2_mm=FIRST.d1_mm / (1 + oval), angle_deg=20.0)
    shot = simulate(replace(SCENE, indents=(indent,)), rng=np.random.default_rng(2))
    assert isinstance(find_rim(shot.photo()), Rim)
