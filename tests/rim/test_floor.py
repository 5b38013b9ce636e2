"""The Cramér-Rao bound: no estimator beats it, and a good one comes close where noise dominates."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.special import ndtr
from simulated import floor_of, mean_diameter_px, noise_scene, radius_bound_px

from rimread.simulate import simulate

WINDOW_PX = 10.0


def step(q, *shape):
    place, inner, outer, slope, blur = shape
    return outer + (inner + slope * q - outer) * ndtr((place - q) / blur)


def pixels(shot):
    """Distance from the true circle and light of every pixel near it."""
    true = shot.truth[0]
    y, x = np.mgrid[: shot.picture.shape[0], : shot.picture.shape[1]]
    q = np.hypot(x - true.centre_x_px, y - true.centre_y_px) - true.axis1_px / 2
    near = np.abs(q) < WINDOW_PX
    return q[near], shot.picture[near] / 65535.0


def plain_fit(scene):
    """Mean diameter by least squares: a blurred step through every pixel near the true circle.

    Centre, blur and the bowl's shading are known (from a photo without noise); radius and the two
    levels are not. That costs 1 / sqrt(1 - 2 sqrt(pi) b / W) over the bound of a wide window.
    """
    quiet = replace(scene.camera, read_noise_e=0.0, full_well_e=1e12)
    still = simulate(replace(scene, camera=quiet), rng=np.random.default_rng(0))
    known, _ = curve_fit(step, *pixels(still), p0=(0.0, 0.6, 0.4, 0.0, 1.0))

    def estimate(shot):
        best, _ = curve_fit(
            lambda q, *free: step(q, *free, *known[3:]), *pixels(shot), p0=known[:3]
        )
        return shot.truth[0].axis1_px + 2 * best[0]

    return estimate


def least_ratio(repeats):
    """Three standard deviations below one, for the sd of so many repeats."""
    return 1 - 3 / math.sqrt(2 * (repeats - 1))


def test_bound_is_that_of_a_blurred_disc_by_fisher_information():
    """Sum over pixels of (dI/dR)² / s², the definition, against the closed form."""
    radius, blur, contrast, noise = 60.3, 1.4, 0.3, 0.02
    y, x = np.mgrid[:160, :160]
    away = np.hypot(x - 80.2, y - 79.7)
    whole = math.sqrt(blur**2 + 1 / 12)
    change = (
        contrast * np.exp(-0.5 * ((away - radius) / whole) ** 2) / (whole * math.sqrt(2 * math.pi))
    )
    fisher = np.sum(change**2) / noise**2
    told = radius_bound_px(step=contrast, noise=noise, blur_px=blur, radius_px=radius)
    assert told == pytest.approx(1 / math.sqrt(fisher), rel=0.002)


@pytest.mark.slow
def test_a_plain_fit_of_the_edge_reaches_the_bound():
    """So the bound is no empty one: least squares with the right model is efficient."""
    repeats = 60
    scene = noise_scene(blur_px=1.2, noise=0.05, elevation_deg=50.0)
    floor = floor_of(scene, repeats=repeats, estimate=plain_fit(scene))
    assert least_ratio(repeats) < floor.ratio < 1.5


def test_no_estimate_beats_the_bound():
    repeats = 20
    scene = noise_scene(blur_px=1.2, noise=0.05, elevation_deg=50.0)
    floor = floor_of(scene, repeats=repeats, estimate=mean_diameter_px)
    assert floor.ratio > least_ratio(repeats)


@pytest.mark.slow
@pytest.mark.parametrize(("blur", "noise"), [(1.2, 0.05), (2.0, 0.05), (1.2, 0.08)])
def test_scatter_stays_within_three_times_the_bound(blur, noise):
    repeats = 40
    scene = noise_scene(blur_px=blur, noise=noise, elevation_deg=50.0)
    floor = floor_of(scene, repeats=repeats, estimate=mean_diameter_px)
    assert least_ratio(repeats) < floor.ratio < 3.0


def test_photos_of_the_set_differ_in_their_noise_only():
    scene = noise_scene(blur_px=1.2, noise=0.05, elevation_deg=50.0)
    one, two = (
        simulate(scene, rng=np.random.default_rng([11, i])).picture / 65535.0 for i in range(2)
    )
    difference = one - two
    assert difference.std() / math.sqrt(2) == pytest.approx(0.05, rel=0.05)
    assert abs(difference.mean()) < 5 * 0.05 * math.sqrt(2) / math.sqrt(difference.size)
