"""The picture shows the boundary where the truth says, to a hundredth of a pixel."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimread.simulate import Camera, Indent, Light, Scene, Surface
from rimread.simulate.camera import blurred
from rimread.simulate.finish import Skin
from rimread.simulate.glow import glow
from rimread.simulate.photograph import truth_of
from rimread.simulate.radiance import View, radiance
from rimread.simulate.relief import Sight, ground, scale_of, tilt_matrix

BARE = Skin(None, None, None, None, None, None)

SCENES = st.builds(
    Scene,
    surface=st.builds(
        Surface, tilt_deg=st.floats(0, 5), tilt_toward_deg=st.floats(0, 360), finish_um=st.just(0.0)
    ),
    camera=st.builds(
        Camera,
        width_px=st.integers(64, 2000),
        height_px=st.integers(64, 2000),
        px_per_mm=st.floats(20, 900),
        aspect=st.floats(0.98, 1.02),
        k1_half_diagonal=st.floats(-0.08, 0.08),
    ),
)


@st.composite
def indents(draw):
    d1 = draw(st.floats(0.5, 6.0))
    return Indent(
        d1_mm=d1,
        d2_mm=d1 * draw(st.floats(0.85, 1.0)),
        angle_deg=draw(st.floats(0, 180)),
        x_mm=draw(st.floats(-1, 1)),
        y_mm=draw(st.floats(-1, 1)),
        edge_round_mm=draw(st.floats(0, 0.02)),
        pile=draw(st.floats(-0.3, 0.4)),
        lobes=draw(st.floats(0, 0.6)),
        lobe_count=draw(st.integers(1, 4)),
    )


def _outline(indent, turn):
    a, b, t = indent.d1_mm / 2, indent.d2_mm / 2, math.radians(indent.angle_deg)
    u, v = a * np.cos(turn), b * np.sin(turn)
    x = indent.x_mm + u * math.cos(t) - v * math.sin(t)
    y = indent.y_mm + u * math.sin(t) + v * math.cos(t)
    return np.stack([x, y], axis=-1)


@pytest.mark.parametrize("blur_px", [0.5, 0.7, 1.2, 2.5])
@pytest.mark.parametrize("edge_round_mm", [0.0, 0.004, 0.02])
def test_a_step_at_the_boundary_is_found_at_the_true_radius(
    plain_scene, step_picture, edge_radii, blur_px, edge_round_mm
):
    scene = replace(
        plain_scene,
        camera=replace(plain_scene.camera, blur_px=blur_px),
        indents=(replace(plain_scene.indents[0], edge_round_mm=edge_round_mm),),
    )
    truth = truth_of(scene, scene.indents[0])
    radius = truth.axis1_px / 2
    found = edge_radii(
        step_picture(scene),
        (truth.centre_x_px, truth.centre_y_px),
        radius,
        reach=5 + 4 * blur_px + 400 * edge_round_mm,
    )
    optics2 = blur_px**2 + 1 / 12
    # a blurred disc looks smaller by spread² / 2R: Verbeek & van Vliet, PAMI 16 (1994) 726;
    # the rounding runs along the distance to the boundary and shifts nothing
    expected = radius - optics2 / (2 * radius)
    assert found[:, 0].mean() == pytest.approx(expected, abs=0.005)
    assert np.abs(found[:, 0] - expected).max() < 0.03
    assert found[:, 1].mean() == pytest.approx(
        math.hypot(math.sqrt(optics2), 120 * edge_round_mm), rel=0.02
    )


def test_finer_sampling_moves_the_edge_by_less_than_a_hundredth(
    plain_scene, step_picture, edge_radii
):
    truth = truth_of(plain_scene, plain_scene.indents[0])
    centre, radius = (truth.centre_x_px, truth.centre_y_px), truth.axis1_px / 2
    coarse, fine = (
        edge_radii(step_picture(plain_scene, oversample=n), centre, radius)[:, 0].mean()
        for n in (1, 4)
    )
    assert coarse == pytest.approx(fine, abs=0.01)


@pytest.mark.parametrize("kind", ["coaxial", "ring", "side"])
@pytest.mark.parametrize("edge_round_px", [0.0, 0.3, 1.5, 3.0])
def test_the_light_at_the_boundary_is_sampled_finely_enough(kind, edge_round_px):
    scene = Scene(
        indents=(Indent(d1_mm=1.6, d2_mm=1.6, pile=0.2, edge_round_mm=edge_round_px / 100),),
        surface=Surface(finish_um=0, alpha_outside=0.12, alpha_inside=0.08),
        light=Light(kind=kind),
        camera=Camera(width_px=240, height_px=240, px_per_mm=100, blur_px=0.6),
    )
    two, four = (
        blurred(radiance(View(scene, glow(scene), n), BARE), scene.camera, oversample=n)
        for n in (2, 4)
    )
    y, x = np.mgrid[:240, :240]
    band = np.abs(np.hypot(x - 119.5, y - 119.5) - 80) < 5
    error = (two - four)[band] / np.ptp(four[band])
    assert np.sqrt(np.mean(error**2)) < 0.003
    assert abs(error.mean()) < 2e-4


def test_a_distorted_tilted_oval_lies_where_the_truth_says(step_picture):
    scene = Scene(
        indents=(Indent(d1_mm=1.9, d2_mm=1.7, x_mm=0.4, y_mm=0.3, angle_deg=35, edge_round_mm=0),),
        surface=Surface(tilt_deg=4, tilt_toward_deg=110, finish_um=0),
        camera=Camera(400, 360, px_per_mm=120, aspect=1.01, k1_half_diagonal=-0.05, blur_px=0.6),
    )
    truth = truth_of(scene, scene.indents[0])
    moments = cv2.moments(step_picture(scene))
    assert moments["m10"] / moments["m00"] == pytest.approx(truth.centre_x_px, abs=0.02)
    assert moments["m01"] / moments["m00"] == pytest.approx(truth.centre_y_px, abs=0.02)
    area = math.pi / 4 * truth.axis1_px * truth.axis2_px
    assert moments["m00"] == pytest.approx(area, rel=2e-4)
    turn = math.degrees(0.5 * math.atan2(2 * moments["mu11"], moments["mu20"] - moments["mu02"]))
    assert turn == pytest.approx(truth.angle_deg, abs=0.1)


@settings(max_examples=40, deadline=None)
@given(SCENES, st.floats(0, 1), st.floats(0, 1))
def test_sight_undoes_the_scale(scene, across, down):
    x, y = across * (scene.camera.width_px - 1), down * (scene.camera.height_px - 1)
    mm = np.stack(Sight(scene).mm(np.array([x]), np.array([y])), axis=-1).astype(float)
    seen = scale_of(scene.camera).px_from_mm(mm @ tilt_matrix(scene.surface).T)
    assert seen[0] == pytest.approx([x, y], abs=2e-3)


@settings(max_examples=40, deadline=None)
@given(indents(), st.floats(0, 2 * math.pi))
def test_half_the_bowl_is_left_on_the_boundary(indent, turn):
    p = _outline(indent, np.array([turn])).astype(np.float32)
    relief = ground(Scene(indents=(indent,)), p[:, 0], p[:, 1])
    assert abs(float(relief.distance_mm[0])) < 2e-6
    if indent.edge_round_mm > 1e-4:
        assert float(relief.inside[0]) == pytest.approx(0.5, abs=0.01)


@settings(max_examples=60, deadline=None)
@given(indents())
def test_caliper_widths_are_those_of_the_outline(indent):
    truth = truth_of(Scene(indents=(indent,)), indent)
    points = _outline(indent, np.linspace(0, 2 * math.pi, 20_001))
    width, height = np.ptp(points, axis=0)
    assert truth.width_mm == pytest.approx(width, rel=1e-7)
    assert truth.height_mm == pytest.approx(height, rel=1e-7)
    # the sum of the squares of two orthogonal caliper widths does not depend on the angle
    assert truth.width_mm**2 + truth.height_mm**2 == pytest.approx(
        indent.d1_mm**2 + indent.d2_mm**2
    )


@settings(max_examples=30, deadline=None)
@given(indents(), SCENES)
def test_the_ellipse_in_the_picture_agrees_with_opencv(indent, scene):
    whole = replace(scene, indents=(indent,), camera=replace(scene.camera, k1_half_diagonal=0.0))
    truth = truth_of(whole, indent)
    outline = _outline(indent, np.arange(0, 2 * math.pi, 0.02)) @ tilt_matrix(whole.surface).T
    seen = scale_of(whole.camera).px_from_mm(outline)
    middle = seen.mean(axis=0)
    centre, axes, _ = cv2.fitEllipse((seen - middle).astype(np.float32))
    assert truth.axis1_px == pytest.approx(max(axes), rel=1e-4)
    assert truth.axis2_px == pytest.approx(min(axes), rel=1e-4)
    assert [truth.centre_x_px, truth.centre_y_px] == pytest.approx(
        list(middle + centre), abs=1e-4 * truth.axis1_px
    )
