"""What any picture obeys: size, kind, repeatability, and effects in the right direction."""

import doctest
import pickle
from dataclasses import replace
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rimread.simulate
from rimread.photo import linear_light
from rimread.simulate import (
    Camera,
    Indent,
    Light,
    Scene,
    Spoiled,
    Surface,
    Tier,
    random_scene,
    several_scene,
    simulate,
    spoiled_scene,
    truth_of,
)
from rimread.simulate.scene import Finish, LightKind

SMALL = {"width_px": 200, "height_px": 160}


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from(get_args(Tier)))
def test_the_same_rng_gives_the_same_picture_and_size_and_depth_are_those_asked_for(seed, tier):
    scene = random_scene(np.random.default_rng(seed), tier=tier, **SMALL)
    assert scene == random_scene(np.random.default_rng(seed), tier=tier, **SMALL)
    first, second = (simulate(scene, rng=np.random.default_rng(seed)) for _ in range(2))
    assert np.array_equal(first.picture, second.picture)
    assert first.picture.shape == (160, 200)
    assert first.picture.dtype == (np.uint8 if scene.camera.bits == 8 else np.uint16)
    other = simulate(scene, rng=np.random.default_rng(seed + 1))
    assert not np.array_equal(first.picture, other.picture)


def test_the_examples_in_the_docstring_hold():
    assert doctest.testmod(rimread.simulate).failed == 0


def test_a_scene_can_be_sent_to_a_worker():
    scene = random_scene(np.random.default_rng(3), tier="hard", **SMALL)
    assert pickle.loads(pickle.dumps(scene)) == scene  # noqa: S301


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from(get_args(Tier)))
def test_a_random_indent_is_whole_and_within_the_range_of_the_standard(seed, tier):
    scene = random_scene(np.random.default_rng(seed), tier=tier)
    (indent,) = scene.indents
    truth = truth_of(scene, indent)
    # ISO 6506-1: d between 0.24 D and 0.6 D
    assert 0.24 <= indent.d1_mm / indent.ball_mm <= 0.6
    for centre, side in ((truth.centre_x_px, 1280), (truth.centre_y_px, 1024)):
        assert truth.axis1_px / 2 < centre < side - 1 - truth.axis1_px / 2


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32), st.integers(2, 9), st.sampled_from(get_args(Tier)))
def test_several_indents_are_whole_and_apart(seed, count, tier):
    scene = several_scene(np.random.default_rng(seed), count, tier=tier)
    truths = [truth_of(scene, indent) for indent in scene.indents]
    assert len(truths) == count
    for k, one in enumerate(truths):
        for centre, side in ((one.centre_x_px, 1280), (one.centre_y_px, 1024)):
            assert one.axis1_px / 2 < centre < side - 1 - one.axis1_px / 2
        for other in truths[:k]:
            apart = np.hypot(
                one.centre_x_px - other.centre_x_px, one.centre_y_px - other.centre_y_px
            )
            assert apart > 1.4 * max(one.axis1_px, other.axis1_px)


def test_the_tiers_reach_over_the_conditions_they_stand_for():
    rng = np.random.default_rng(11)
    scenes = [random_scene(rng, tier=tier) for tier in get_args(Tier) for _ in range(250)]

    def span(value):
        values = [value(s) for s in scenes]
        return min(values), max(values)

    for value, low, high in (
        (lambda s: s.light.elevation_deg, 19, 65),
        (lambda s: s.indents[0].pile, -0.22, 0.33),
        (lambda s: s.indents[0].pile_width, 0.1, 0.5),
        (lambda s: s.indents[0].edge_round_mm, 0.0007, 0.02),
        (lambda s: s.surface.alpha_inside, 0.1, 0.45),
        (lambda s: s.surface.finish_um, 0.06, 1.4),
        (lambda s: s.surface.tilt_deg, 0.0, 1.8),
        (lambda s: s.surface.cylinder_mm or 60, 44, 75),
        (lambda s: s.camera.px_per_mm, 118, 655),
    ):
        least, most = span(value)
        assert least <= low
        assert most >= high
    assert {s.light.kind for s in scenes} == set(get_args(LightKind))
    assert {s.surface.finish for s in scenes} == set(get_args(Finish))
    assert {s.camera.bits for s in scenes} == {8, 16}
    assert {s.camera.tone for s in scenes} == {"srgb", "linear"}


@pytest.mark.parametrize("kind", get_args(Spoiled))
def test_spoiled_scenes_are_spoiled(kind):
    rng = np.random.default_rng(5)
    scene = spoiled_scene(rng, kind, **SMALL)
    shot = simulate(scene, rng=rng)
    light = linear_light(shot.photo(), shot.picture)
    truth = shot.truth
    if kind in {"blank", "scratched-blank"}:
        assert not truth
    elif kind in {"cut-by-frame", "crescent"}:
        inside = [0 < t.centre_x_px - s * t.axis1_px / 2 < 199 for t in truth for s in (-1, 1)]
        assert inside.count(False) == 1
    elif kind == "overlapping":
        apart = np.hypot(
            truth[0].centre_x_px - truth[1].centre_x_px, truth[0].centre_y_px - truth[1].centre_y_px
        )
        assert len(truth) == 2
        assert apart < truth[0].axis1_px
    elif kind == "smeared":
        assert scene.camera.motion_px > 0.14 * truth[0].axis1_px
    elif kind == "tiny":
        assert truth[0].axis1_px < 21
    elif kind == "black":
        assert np.quantile(light, 0.99) < 0.02
    else:
        assert np.mean(light > 0.99) > 0.95


@settings(max_examples=15, deadline=None)
@given(st.floats(0.5, 2.5), st.floats(0.3, 1.5))
def test_more_blur_makes_a_wider_edge(blur, more):
    def steepest(blur_px):
        scene = Scene(
            indents=(Indent(d1_mm=1.0, d2_mm=1.0, edge_round_mm=0.001),),
            surface=Surface(finish_um=0),
            light=Light(kind="ring"),
            camera=Camera(200, 160, px_per_mm=100, blur_px=blur_px, full_well_e=1e9, bits=16),
        )
        grey = simulate(scene, rng=np.random.default_rng(0)).picture.astype(float)
        return np.abs(np.diff(grey[80])).max()

    assert steepest(blur + more) < steepest(blur)


def test_a_smaller_full_well_makes_more_noise():
    def scatter(full_well_e):
        scene = Scene(
            surface=Surface(finish_um=0),
            camera=Camera(200, 160, full_well_e=full_well_e, vignetting=0, tone="linear", bits=16),
        )
        return simulate(scene, rng=np.random.default_rng(0)).picture.std() / 65535

    # shot noise of 0.35 full scale and read noise, in quadrature
    for full_well_e in (1_000, 10_000):
        expected = np.sqrt(0.35 / full_well_e + (8 / full_well_e) ** 2)
        assert scatter(full_well_e) == pytest.approx(expected, rel=0.02)


def test_uneven_light_is_brighter_towards_the_lamp_and_a_veil_lifts_the_dark():
    def light(gradient=0.0, veil=0.0):
        scene = Scene(
            indents=(Indent(d1_mm=1.0, d2_mm=1.0),),
            surface=Surface(finish_um=0),
            light=Light(kind="coaxial", azimuth_deg=0, gradient=gradient),
            camera=Camera(
                200,
                160,
                px_per_mm=100,
                vignetting=0,
                veil=veil,
                full_well_e=1e7,
                tone="linear",
                bits=16,
            ),
        )
        return simulate(scene, rng=np.random.default_rng(0)).picture.astype(float)

    lit = light(gradient=0.3)
    half = np.hypot(200, 160) / 2
    expected = (1 + 0.3 * 95 / half) / (1 - 0.3 * 95 / half)
    assert lit[:, 190:199].mean() / lit[:, 1:10].mean() == pytest.approx(expected, rel=0.02)
    plain, veiled = (np.ptp(p) / p.mean() for p in (light(), light(veil=0.5)))
    assert veiled == pytest.approx(plain / 1.5, rel=0.03)


def test_a_symmetrical_scene_gives_a_symmetrical_picture():
    scene = Scene(
        indents=(Indent(d1_mm=1.0, d2_mm=1.0, pile=0.2),),
        surface=Surface(finish_um=0),
        camera=Camera(201, 161, px_per_mm=100, full_well_e=1e12, read_noise_e=0, bits=16),
    )
    grey = simulate(scene, rng=np.random.default_rng(0)).picture.astype(int)
    for turned in (grey[::-1], grey[:, ::-1]):
        assert np.abs(grey - turned).max() <= 40  # of 65535: float32 and the lamps' spacing


@pytest.mark.parametrize("azimuth_deg", [0, 90, 180, 270])
def test_the_far_wall_faces_a_side_lamp(azimuth_deg):
    scene = Scene(
        indents=(Indent(d1_mm=1.0, d2_mm=1.0, ball_mm=2.5, pile=0.0),),
        surface=Surface(finish_um=0),
        light=Light(kind="side", elevation_deg=40, azimuth_deg=azimuth_deg, ambient=0.02),
        camera=Camera(201, 161, px_per_mm=100, bits=16, vignetting=0),
    )
    grey = simulate(scene, rng=np.random.default_rng(0)).picture.astype(float)
    walls = {0: grey[80, 140], 90: grey[120, 100], 180: grey[80, 60], 270: grey[40, 100]}
    # the wall away from the lamp looks towards it
    assert max(walls, key=walls.__getitem__) == (azimuth_deg + 180) % 360


def test_a_low_lamp_casts_the_shadow_of_the_boundary_into_a_deep_bowl():
    def darkest(elevation_deg):
        scene = Scene(
            indents=(Indent(d1_mm=1.4, d2_mm=1.4, ball_mm=2.5, pile=0.0, recovery=1.0),),
            surface=Surface(finish_um=0, alpha_outside=0.5, alpha_inside=0.5),
            light=Light(kind="side", elevation_deg=elevation_deg, azimuth_deg=0, ambient=0.0),
            camera=Camera(201, 161, px_per_mm=100, bits=16, tone="linear", vignetting=0),
        )
        grey = simulate(scene, rng=np.random.default_rng(0)).picture
        return grey[75:86, 150:165].mean()  # just inside the wall on the lamp's side

    assert darkest(12) < 100
    assert darkest(60) > 1000


def test_cylinder_and_tilt_change_the_picture_but_not_the_diameters():
    plain = Scene(indents=(Indent(d1_mm=2.0, d2_mm=1.9),), camera=Camera(200, 160, px_per_mm=50))
    curved = replace(plain, surface=Surface(cylinder_mm=40, tilt_deg=3))
    one, two = (simulate(s, rng=np.random.default_rng(1)) for s in (plain, curved))
    assert (one.truth[0].d1_mm, one.truth[0].d2_mm) == (two.truth[0].d1_mm, two.truth[0].d2_mm)
    assert two.truth[0].axis1_px < one.truth[0].axis1_px
    assert not np.array_equal(one.picture, two.picture)


@pytest.mark.parametrize(
    ("make", "rule"),
    [
        (lambda: Indent(d1_mm=1.0, d2_mm=1.1), "d2_mm <= d1_mm"),
        (lambda: Indent(d1_mm=9.9, d2_mm=9.0), "0.95 ball_mm"),
        (lambda: Surface(finish="shiny"), "finish is one of"),
        (lambda: Light(kind="sun"), "kind is one of"),
        (lambda: Camera(bits=16, jpeg_quality=90), "needs 8 bits"),
        (lambda: random_scene(np.random.default_rng(0), tier="easy"), "tier is one of"),
        (lambda: several_scene(np.random.default_rng(0), 1), "count is 2 to 9"),
        (lambda: spoiled_scene(np.random.default_rng(0), "fine"), "kind is one of"),
        (lambda: simulate(Scene(), rng=np.random.default_rng(0), oversample=9), "1 to 4"),
    ],
)
def test_misuse_names_the_rule(make, rule):
    with pytest.raises(ValueError, match=rule):
        make()
