"""Where along each normal the slope breaks, under every plausible shape of the edge.

Each arc's grey profile is held against the profiles predicted from the bowl (`shading`), shifted
along the normal, for a grid of edge shapes. The finish speaks too: inside and outside differ in
scatter, and the place where one scatter gives way to the other is where the surface changes. The
log likelihoods are pooled over a few neighbouring arcs; the shapes are then weighted by how well
they explain the whole turn, so that what is not known about the edge ends as a spread of places
common to all arcs: the uncertainty of the rim's definition.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from rimread.photo import Photo, linear_light
from rimread.rim.ellipse import Ellipse
from rimread.rim.sampling import band_along, rays_from, reduced
from rimread.rim.shading import EdgeShape, bowl_chart, predicted

__all__ = ["Located", "locate"]

Array = NDArray[np.float32]

ARCS = 120
"""Arcs of 3°: a rim of 300 px still has 8 px of arc in each."""
RAYS = 5
"""Normals in each arc."""
CHART_RADIUS_PX = 96
"""Radius of the bowl in the reduced picture that the chart is read from."""
STEP_PX = 0.5
"""Grid of places; a parabola through three of them interpolates."""
SHIFT_PX = 3.0
"""Places searched on either side of the ellipse."""
LEAST_HALF_PX = 7.0
HALF_BLURS = 5.0
"""Half-width of the compared profile: 7 px or 5 blurs + 1 px, past which shading rules."""
GUARD_BLURS = 3.0
GUARD_PX = 1.5
"""Closer to the rim than 3 blurs + 1.5 px the light is a mixture of both sides."""
BLURS_PX = tuple(0.7 * 1.35**k for k in range(9))
"""0.7 px (an edge within one pixel) to 7.7 px (the gate refuses)."""
ROUNDINGS = tuple(1.5e-4 * 1.9**k for k in range(5))
"""Rounding of the edge in diameters: 0.015 % to 0.2 %."""
OUTER_SLOPES = (-0.35, -0.2, -0.05, 0.1)
"""From a steep ridge to a slight dish, in slopes of the bowl at the rim."""
TYPICAL_ROUNDING, ROUNDING_FACTOR = 5e-4, 2.0
"""Prior of the rounding in diameters, log-normal. Indents are geometrically similar, so that the
rounding goes with the diameter; its size is our assumption, no source."""
TYPICAL_SLOPE, SLOPE_SPREAD = -0.1, 0.2
"""Prior of the outer slope: ridges are commoner than dishes; our assumption, no source."""
TEMPER = 50.0
"""Independent pieces of evidence in one turn of profiles, each of about a dozen samples: misfit
comes from the finish and is shared by neighbouring arcs. Set by coverage on simulated photos."""
POOLED_ARCS = 2.0
"""Standard deviation in arcs over which likelihoods are pooled: lobes of the rim are longer."""
CONTRAST_RANGE = (0.5, 2.0)
"""A predicted contrast is taken as right within this factor."""
FINISH_WEIGHT = 0.1
"""The scatter's evidence counts little: at a steep edge the lie of the finish adds to it."""
LEAST_SCATTER = 1e-3
"""Scatter below 0.1 % of the light is quantisation."""
CLIPPED = 0.985
"""Grey values within 4 of 255 steps of full scale say only "at least this much"."""
CLIPPED_WEIGHT = 1e-3
_NOT_FOUND_PX = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """The break along each normal.

    Parameters
    ----------
    t : ndarray, shape (A,)
        Ellipse parameter of each arc.
    q_px : ndarray, shape (A,)
        Place of the break along the outward normal.
    u_px : ndarray, shape (A,)
        Standard uncertainty of each place by itself.
    u_common_px : float
        Standard uncertainty that all places share: the shape of the edge is not known.
    blur_px, rounding_px, outer_slope : float
        Mean shape of the edge.
    inside : ndarray, shape (A,), bool
        Arcs that lie wholly in the picture.
    light_in, light_out : ndarray, shape (A,)
        Linear light on either side of the rim.
    """

    t: NDArray[np.float64]
    q_px: NDArray[np.float64]
    u_px: NDArray[np.float64]
    u_common_px: float
    blur_px: float
    rounding_px: float
    outer_slope: float
    inside: NDArray[np.bool_]
    light_in: Array
    light_out: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Scene:
    """Profiles round the rim and what they are compared with."""

    t: NDArray[np.float64]
    q_px: NDArray[np.float64]
    light: Array  # (A, Q) mean over the rays of an arc
    scatter: Array  # (A, Q) variance over the rays of an arc
    seen: Array  # (A, Q) weight of a sample, small where the exposure is clipped
    chart: Array
    outside: Array
    scatter_in: Array
    scatter_out: Array
    inside: NDArray[np.bool_]


def locate(photo: Photo, ellipse: Ellipse) -> Located:
    """Find the break along the normals of `ellipse`, which must lie within 3 px of it."""
    diameter = 2 * ellipse.m
    scene = _scene(photo, ellipse, blur_px=BLURS_PX[2])
    first = [EdgeShape(b, TYPICAL_ROUNDING * diameter, TYPICAL_SLOPE) for b in BLURS_PX]
    best = int(np.argmin(_score(_misfits(scene, first), scene)))
    scene = _scene(photo, ellipse, blur_px=BLURS_PX[best])
    shapes = [
        EdgeShape(blur, rounding * diameter, slope)
        for blur in BLURS_PX[max(best - 1, 0) : best + 2]
        for rounding in ROUNDINGS
        for slope in OUTER_SLOPES
    ]
    misfits = _misfits(scene, shapes)
    weights = _shape_weights(shapes, _score(misfits, scene), diameter)
    places, u_places = _places(misfits, len(scene.q_px))
    return _located(scene, shapes, weights, places, u_places)


def _scene(photo: Photo, ellipse: Ellipse, *, blur_px: float) -> _Scene:
    half = max(LEAST_HALF_PX, np.ceil(HALF_BLURS * blur_px + 1))
    guard = GUARD_BLURS * blur_px + GUARD_PX
    band = band_along(photo, ellipse, half_px=half + 6, arcs=ARCS * RAYS, rays=1)
    light = linear_light(photo, band.grey * photo.full_scale).reshape(ARCS, RAYS, -1)
    mean, scatter = light.mean(axis=1), light.var(axis=1, ddof=1)
    t = band.t.reshape(ARCS, RAYS).mean(axis=1)
    q = band.q_px
    small = reduced(photo, ellipse.m / CHART_RADIUS_PX)
    u = np.linspace(0, 1, 65)
    rays, _ = rays_from(small.grey, small.shrink(ellipse), t, u)
    rays = linear_light(photo, rays * photo.full_scale)
    near_out = (q > guard) & (q < guard + 5)
    window = np.abs(q) <= half
    return _Scene(
        t=t,
        q_px=q[window],
        light=mean[:, window],
        scatter=scatter[:, window],
        seen=_seen(band.grey.reshape(ARCS, RAYS, -1)[:, :, window]),
        chart=bowl_chart(rays, u, known_to=1 - guard / ellipse.m),
        outside=mean[:, near_out].mean(axis=1),
        scatter_in=_typical_scatter(mean, scatter, q < -guard),
        scatter_out=_typical_scatter(mean, scatter, q > guard),
        inside=band.inside.reshape(ARCS, -1).all(axis=1),
    )


def _seen(grey: Array) -> Array:
    """1 where no ray of an arc is clipped, `CLIPPED_WEIGHT` elsewhere."""
    return np.where(grey.max(axis=1) < CLIPPED, 1.0, CLIPPED_WEIGHT).astype(np.float32)


def _typical_scatter(mean: Array, scatter: Array, side: NDArray[np.bool_]) -> Array:
    """Usual variance on one side, smoothed round the turn, in units of the light squared."""
    usual = np.median(scatter[:, side], axis=1) + (LEAST_SCATTER * mean[:, side].mean(axis=1)) ** 2
    return np.exp(_pool(np.log(usual)[None]))[0].astype(np.float32)


def _misfits(scene: _Scene, shapes: list[EdgeShape]) -> Array:
    """-2 log likelihood per sample, shape (len(shapes), shifts, A), pooled over arcs."""
    q = scene.q_px
    per = round(1 / STEP_PX)
    shifts = _shifts()
    fine = np.arange(q[0] - SHIFT_PX, q[-1] + SHIFT_PX + STEP_PX / 2, STEP_PX)
    profiles = predicted(scene.chart, scene.outside, tuple(shapes), fine.tobytes())
    blur = shapes[len(shapes) // 2].blur_px
    misfit = np.empty((len(shapes), len(shifts), len(scene.light)), np.float32)
    for i, shift in enumerate(shifts):
        start = len(shifts) - 1 - i
        profile = profiles[:, :, start : start + per * (len(q) - 1) + 1 : per]
        share = ndtr((shift - q) / blur).astype(np.float32)
        variance = scene.scatter_in[:, None] * share + scene.scatter_out[:, None] * (1 - share)
        misfit[:, i] = _light_misfit(scene, profile, variance)
        misfit[:, i] += _finish_misfit(scene, variance)
    return _pool(misfit)


def _light_misfit(scene: _Scene, profile: Array, variance: Array) -> Array:
    """Weighted misfit (shapes, A) of profiles with free level and bounded contrast."""
    weight = scene.seen / variance
    typical = scene.seen.sum(axis=1) / weight.sum(axis=1)
    weight /= weight.sum(axis=1, keepdims=True)
    mean = (weight * scene.light).sum(axis=1, keepdims=True)
    centred = scene.light - mean
    total = (weight * centred**2).sum(axis=1)
    level = np.einsum("saq,aq->sa", profile, weight)
    cross = np.einsum("saq,aq->sa", profile, weight * centred)
    power = np.einsum("saq,saq,aq->sa", profile, profile, weight) - level**2 + 1e-12
    contrast = np.clip(cross / power, *CONTRAST_RANGE)
    rest = total - 2 * contrast * cross + contrast**2 * power
    floor = LEAST_SCATTER * total + (LEAST_SCATTER * mean[:, 0]) ** 2
    spread = (scene.seen * np.log(variance)).sum(axis=1) / scene.seen.sum(axis=1)
    return np.log((np.maximum(rest, 0) + floor) / typical) + spread


def _finish_misfit(scene: _Scene, variance: Array) -> Array:
    """-2 log likelihood per sample (A,) of the scatter between rays."""
    ratio = np.minimum(scene.scatter / variance, 10.0)
    misfit = scene.seen * (ratio + np.log(variance))
    return FINISH_WEIGHT * (RAYS - 1) * misfit.sum(axis=1) / scene.seen.sum(axis=1)


def _pool(values: NDArray[np.floating]) -> Array:
    """Gaussian mean over neighbouring arcs, the last axis, which closes on itself."""
    k = np.fft.rfftfreq(values.shape[-1]) * 2 * np.pi * POOLED_ARCS
    spectrum = np.fft.rfft(values, axis=-1) * np.exp(-0.5 * k * k)
    return np.fft.irfft(spectrum, n=values.shape[-1], axis=-1).astype(np.float32)


def _shifts() -> NDArray[np.float64]:
    return np.arange(-SHIFT_PX, SHIFT_PX + STEP_PX / 2, STEP_PX)


def _score(misfits: Array, scene: _Scene) -> NDArray[np.float64]:
    """Mean over the turn of the least misfit of each shape."""
    return np.asarray(misfits.min(axis=1)[:, scene.inside].mean(axis=1), np.float64)


def _places(misfits: Array, samples: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Place of the least misfit and its uncertainty, both (shapes, A)."""
    shifts = _shifts()
    best = misfits.argmin(axis=1)
    inner = np.clip(best, 1, len(shifts) - 2)
    before, here, after = (
        np.take_along_axis(misfits, (inner + k)[:, None], axis=1)[:, 0].astype(np.float64)
        for k in (-1, 0, 1)
    )
    bend = np.maximum(before - 2 * here + after, 1e-9)
    place = shifts[inner] + np.clip(STEP_PX * 0.5 * (before - after) / bend, -STEP_PX, STEP_PX)
    u = np.minimum(STEP_PX / np.sqrt(bend * samples / 2), _NOT_FOUND_PX)
    return place, np.where(best == inner, u, _NOT_FOUND_PX)


def _shape_weights(
    shapes: list[EdgeShape], score: NDArray[np.float64], diameter: float
) -> NDArray[np.float64]:
    """Posterior weights of the shapes."""
    rounding = np.array([s.rounding_px for s in shapes]) / diameter / TYPICAL_ROUNDING
    slope = np.array([s.outer_slope for s in shapes])
    log_prior = -0.5 * (np.log(rounding) / np.log(ROUNDING_FACTOR)) ** 2
    log_prior -= 0.5 * ((slope - TYPICAL_SLOPE) / SLOPE_SPREAD) ** 2
    log_weight = log_prior - TEMPER * score
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _located(
    scene: _Scene,
    shapes: list[EdgeShape],
    weights: NDArray[np.float64],
    places: NDArray[np.float64],
    u_places: NDArray[np.float64],
) -> Located:
    q = weights @ places
    u = np.sqrt(weights @ u_places**2)
    firm = scene.inside / (u**2 + STEP_PX**2)
    common = (places @ firm) / firm.sum()
    edge = np.array([[s.blur_px, s.rounding_px, s.outer_slope] for s in shapes])
    blur, rounding, slope = (float(v) for v in weights @ edge)
    quarter = len(scene.q_px) // 4
    return Located(
        t=scene.t,
        q_px=q,
        u_px=u,
        u_common_px=float(np.sqrt(weights @ (common - weights @ common) ** 2)),
        blur_px=blur,
        rounding_px=rounding,
        outer_slope=slope,
        inside=scene.inside,
        light_in=scene.light[:, :quarter].mean(axis=1),
        light_out=scene.light[:, -quarter:].mean(axis=1),
    )
