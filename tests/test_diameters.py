"""Diameters: geometry on the specimen plane, propagation of the scale, coverage of the scatter."""

import math
from dataclasses import replace
from datetime import date

import GTC
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm
from scipy.stats import t as student_t

from rimread.diameters import (
    CLIPPED_SHARE,
    CONTINUED_SHARE,
    DARK_FOOT_SHARE,
    RAGGED_RIM,
    RAGGED_SHARE,
    ROUNDING_SHARE,
    SCATTER_SHARE,
    SHAPE_SHARE,
    SHARP_BLUR_PX,
    SMEAR_SHARE,
    USUAL_SCATTER,
    diameters,
)
from rimread.rim import Rim
from rimread.rim.ellipse import Ellipse, fit_ellipse
from rimread.rim.misfit import CLIPPED_CONTRAST
from rimread.scale import Scale

WIDTH, HEIGHT = 1280, 1024
POINTS = 120
HALF = np.arange(POINTS) % 2 == 0


def scale(*, x=200.0, y=200.0, k1=0.0, covariance=None, dof=math.inf):
    return Scale(
        px_per_mm_x=x,
        px_per_mm_y=y,
        k1_half_diagonal=k1,
        covariance=covariance or ((1e-16, 0, 0), (0, 1e-16, 0), (0, 0, 1e-20)),
        dof=dof,
        width_px=WIDTH,
        height_px=HEIGHT,
        label="",
        calibrated_on=date(2026, 1, 1),
        valid_until=date(2027, 1, 1),
        certificate=None,
        photos=(),
    )


def specimen(*, d1=3.0, d2=2.98, angle=30.0, x=0.0, y=0.0):
    """An ellipse on the specimen in mm."""
    h, double = (d1 - d2) / 4, math.radians(2 * angle)
    return Ellipse(x, y, (d1 + d2) / 4, h * math.cos(double), h * math.sin(double))


def rim(ellipse, by, *, offsets_px=0.0, missing_deg=0.0, n=POINTS, **facts):
    """A rim whose points lie on an ellipse of the specimen, `offsets_px` outside it."""
    t = (np.arange(n) + 0.5) * (2 * np.pi / n)
    points = by.px_from_mm(ellipse.points(t)) + np.reshape(offsets_px, (-1, 1)) * ellipse.normals(t)
    weights = np.where(np.degrees(t) < missing_deg, 0.0, 1.0)
    middle = by.px_from_mm(np.array([ellipse.x, ellipse.y]))
    start = Ellipse(*(float(v) for v in middle), ellipse.m * by.px_per_mm_x)
    fitted, _, _ = fit_ellipse(points, weights, start, floor=0.1)
    told = {"blur_px": 1.0, "rounding_px": 0.1, "u_common_px": 0.05} | facts
    told = {"clipped": np.zeros(n, bool), "dark_foot": 0.0, "u_points_px": np.ones(n)} | told
    return Rim(
        points_px=points,
        weights=weights,
        ellipse=fitted,
        coverage=float(np.mean(weights > 0)),
        evidence=2.0,
        **told,
    )


def component(found, name):
    return next(part for part in found.budget.components if part.name == name)


# Geometry


@settings(max_examples=60)
@given(
    st.floats(-0.03, 0.03),
    st.floats(0.98, 1.02),
    st.floats(0, 0.03),
    st.floats(0, 180),
    st.tuples(st.floats(-1, 1), st.floats(-0.8, 0.8)),
)
def test_a_distorted_ellipse_gives_its_axes_back(k1, aspect, oval, angle, middle):
    x, y = middle
    by = scale(k1=k1, y=200.0 * aspect)
    true = specimen(d1=3.0, d2=3.0 * (1 - oval), angle=angle, x=x, y=y)
    found = diameters(rim(true, by), by)
    assert found.d1_mm == pytest.approx(2 * true.semi_axes[0], rel=1e-6)
    assert found.d2_mm == pytest.approx(2 * true.semi_axes[1], rel=1e-6)
    assert found.mean_mm == pytest.approx(2 * true.m, rel=1e-6)
    assert found.width_mm == pytest.approx(true.width, rel=1e-6)
    assert found.height_mm == pytest.approx(true.height, rel=1e-6)
    assert found.centre_mm == pytest.approx((x, y), abs=1e-6)
    if oval > 1e-3:
        apart = (found.angle_deg - angle + 90) % 180 - 90
        assert abs(apart) < 0.01


def test_a_wrong_aspect_would_show():
    """The check above can fail: a scale that ignores the aspect is off by half of it."""
    by = scale(y=204.0)
    found = diameters(rim(specimen(d2=3.0), by), scale())
    assert found.mean_mm == pytest.approx(3.0 * 1.01, rel=1e-4)


@given(st.floats(0, 180), st.floats(0, 180))
def test_calipers_at_any_angle(angle, turn):
    by = scale()
    true = specimen(d1=3.0, d2=2.9, angle=turn)
    found = diameters(rim(true, by), by)
    t = np.linspace(0, 2 * np.pi, 20_000)
    along = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    assert found.at_angle(angle) == pytest.approx(float(np.ptp(true.points(t) @ along)), rel=1e-6)
    assert found.at_angle(0) == pytest.approx(found.width_mm, rel=1e-9)
    assert found.at_angle(90) == pytest.approx(found.height_mm, rel=1e-9)
    assert found.at_angle(found.angle_deg) == pytest.approx(found.d1_mm, rel=1e-9)
    assert found.at_angle(found.angle_deg + 90) == pytest.approx(found.d2_mm, rel=1e-9)


@given(
    st.floats(-0.02, 0.02),
    st.tuples(st.floats(-1, 1), st.floats(-0.8, 0.8)),
    st.floats(0, 0.05),
    st.floats(0, 180),
)
def test_centre_and_outline_are_brought_back_to_the_photo(k1, middle, oval, angle):
    """By the convention of the scale: centre of the picture + u (1 + k1 r²)."""
    by = scale(k1=k1, x=200.0, y=196.0)
    true = specimen(d2=3.0 * (1 - oval), angle=angle, x=middle[0], y=middle[1])
    found = diameters(rim(true, by), by)
    u = np.array([200.0 * middle[0], 196.0 * middle[1]])
    bent = 1 + k1 * (u @ u) / (math.hypot(WIDTH, HEIGHT) / 2) ** 2
    expected = [(WIDTH - 1) / 2, (HEIGHT - 1) / 2] + u * bent
    assert found.centre_px == pytest.approx(tuple(expected), abs=1e-3)
    turned = np.unwrap(np.arctan2(*(found.outline_px - found.centre_px).T[::-1]))
    assert abs(turned[-1] - turned[0]) == pytest.approx(2 * math.pi, abs=1e-6)


def test_ovality_and_outline():
    by = scale(k1=0.02)
    found = diameters(rim(specimen(d1=3.0, d2=2.9), by), by)
    assert found.ovality == pytest.approx(0.1 / 2.95, rel=1e-4)
    on = found.ellipse_mm.distance(by.mm_from_px(found.outline_px))
    assert np.abs(on).max() < 1e-6


@pytest.mark.parametrize("d_mm", [0.6, 4.6])
def test_an_outline_drawn_point_to_point_stays_on_the_rim(d_mm):
    by = scale()
    found = diameters(rim(specimen(d1=d_mm, d2=0.97 * d_mm), by), by)
    middles = (found.outline_px[1:] + found.outline_px[:-1]) / 2
    assert np.abs(found.ellipse_mm.distance(by.mm_from_px(middles))).max() * 200 < 0.1


# Propagation of the scale

COVARIANCES = {
    "independent": ((0.02**2, 0, 0), (0, 0.03**2, 0), (0, 0, 0.002**2)),
    "common": ((4e-4, 3.9e-4, 0), (3.9e-4, 4e-4, 0), (0, 0, 1e-6)),
    "with distortion": ((4e-4, 2e-4, -1e-5), (2e-4, 5e-4, -1.2e-5), (-1e-5, -1.2e-5, 1e-6)),
    "opposed": ((4e-4, -3e-4, 0), (-3e-4, 4e-4, 0), (0, 0, 1e-8)),
}


def u_scale(found):
    return math.hypot(*(component(found, n).u for n in ("pixel scale", "aspect", "distortion")))


def gradient(shot, by):
    """Central differences of the mean diameter over the scale's parameters."""
    out = []
    for i, step in enumerate((1e-3, 1e-3, 1e-5)):
        ahead, back = (diameters(shot, by.shifted(i, s)).mean_mm for s in (step, -step))
        out.append((ahead - back) / (2 * step))
    return np.array(out)


@pytest.mark.parametrize("name", COVARIANCES)
@pytest.mark.parametrize(("x", "y", "missing"), [(0, 0, 0), (0.8, -0.5, 0), (0.4, 0.3, 70)])
def test_scale_is_propagated_as_finite_differences_say(name, x, y, missing):
    by = scale(k1=0.01, covariance=COVARIANCES[name])
    shot = rim(specimen(d2=2.95, x=x, y=y), by, missing_deg=missing)
    g = gradient(shot, by)
    whole = math.sqrt(g @ np.array(by.covariance) @ g)
    assert u_scale(diameters(shot, by)) == pytest.approx(whole, rel=1e-3)


@pytest.mark.parametrize("name", COVARIANCES)
def test_scale_is_propagated_as_an_independent_gum_library_says(name):
    """GTC on a circle of 600 px about the middle of the picture.

    There the mean is (600 / px_x + 600 / px_y) / 2 times 1 - k1 r², r the radius in half diagonals.
    """
    by = scale(covariance=COVARIANCES[name])
    found = diameters(rim(specimen(d1=3.0, d2=3.0), by), by)
    c = np.array(by.covariance)
    u = np.sqrt(np.diag(c))
    values = [
        GTC.ureal(value, size, independent=False)
        for value, size in zip((200.0, 200.0, 0.0), u, strict=True)
    ]
    for i, j in ((0, 1), (0, 2), (1, 2)):
        if c[i, j]:
            GTC.set_correlation(c[i, j] / (u[i] * u[j]), values[i], values[j])
    px_x, px_y, k1 = values
    r = 300 / (math.hypot(WIDTH, HEIGHT) / 2)
    mean = (600.0 / px_x + 600.0 / px_y) / 2 * (1 - k1 * r**2)
    assert found.mean_mm == pytest.approx(mean.x, rel=1e-9)
    assert u_scale(found) == pytest.approx(mean.u, rel=1e-3)


@given(st.floats(1e-6, 1e-2))
def test_a_common_relative_error_of_the_scale_goes_one_to_one_into_the_mean(rel):
    u = (200 * rel) ** 2
    c = u * (1 - 1e-8)
    by = scale(covariance=((u, c, 0), (c, u, 0), (0, 0, 1e-20)))
    found = diameters(rim(specimen(), by), by)
    assert component(found, "pixel scale").u / found.mean_mm == pytest.approx(rel, rel=1e-3)
    assert component(found, "aspect").u < 1e-3 * component(found, "pixel scale").u + 1e-12


def test_px_per_mm_the_same_along_both_axes_for_certain():
    by = scale(covariance=((0.04, 0.04, 0), (0.04, 0.04, 0), (0, 0, 0)))
    found = diameters(rim(specimen(), by), by)
    assert component(found, "pixel scale").u / found.mean_mm == pytest.approx(1e-3, rel=1e-3)
    assert component(found, "aspect").u == pytest.approx(0, abs=1e-7)


@pytest.mark.parametrize(("x", "y", "missing"), [(0.7, -0.4, 0), (0.4, 0.3, 70)])
def test_mean_px_per_mm_aspect_and_distortion_have_the_part_that_each_moves(x, y, missing):
    """Independent of each other: each part is the change of the diameter by its own u."""
    u_mean, u_aspect, u_k1 = 0.05, 0.4, 0.002
    to_xy = np.array([[1, 0.5, 0], [1, -0.5, 0], [0, 0, 1]])
    covariance = to_xy @ np.diag([u_mean**2, u_aspect**2, u_k1**2]) @ to_xy.T
    by = scale(x=200.0, y=190.0, k1=0.01, covariance=tuple(map(tuple, covariance)))
    shot = rim(specimen(d2=2.8, x=x, y=y), by, missing_deg=missing)
    found = diameters(shot, by)

    def moved(mean=0.0, aspect=0.0, k1=0.0):
        ahead, back = (
            by.shifted(0, s * (mean + aspect / 2)).shifted(1, s * (mean - aspect / 2))
            for s in (0.01, -0.01)
        )
        ahead, back = ahead.shifted(2, 0.01 * k1), back.shifted(2, -0.01 * k1)
        return abs(diameters(shot, ahead).mean_mm - diameters(shot, back).mean_mm) / 0.02

    assert component(found, "pixel scale").u == pytest.approx(moved(mean=u_mean), rel=0.01)
    assert component(found, "aspect").u == pytest.approx(moved(aspect=u_aspect), rel=0.01)
    assert component(found, "distortion").u == pytest.approx(moved(k1=u_k1), rel=0.01)


# Scatter


def smooth(rng, length, n=POINTS):
    """Unit scatter round a closed turn, correlated over `length` points."""
    k = np.fft.rfftfreq(n) * n
    filtered = np.fft.rfft(rng.standard_normal(n)) * np.exp(
        -0.5 * (2 * np.pi * k * length / n) ** 2
    )
    if not length:
        return rng.standard_normal(n)
    power = np.exp(-((2 * np.pi * np.fft.fftfreq(n) * length) ** 2)).mean()
    return np.fft.irfft(filtered, n) / math.sqrt(power)


@pytest.mark.parametrize("length", [0.0, 1.5, 3.0])
def test_scatter_of_the_points_covers_the_mean_diameter(length):
    """Errors that neighbouring points share: what s/sqrt(N) misses by a factor of 3 to 4.

    300 repeats: a true share of 95 % shows as 91.5 to 98 % (three standard deviations).
    """
    by, true, rng = scale(), specimen(), np.random.default_rng(3)
    hits, naive = [], []
    for _ in range(300):
        offsets = 0.3 * smooth(rng, length)
        found = diameters(rim(true, by, offsets_px=offsets), by)
        edge = component(found, "edge scatter")
        k = GTC.reporting.k_factor(edge.dof, 95.45)
        hits.append(abs(found.mean_mm - 2 * true.m) <= k * edge.u)
        naive.append(abs(found.mean_mm - 2 * true.m) <= 2 * 2 * 0.3 / math.sqrt(POINTS) / 200)
    assert 0.915 <= np.mean(hits) <= 0.995
    if length >= 1.5:
        assert np.mean(naive) < 0.75  # the trap is there


def test_scatter_is_no_larger_than_it_must_be():
    """White scatter: u of the mean diameter is 2 s/sqrt(N); the estimate has about 6 dof."""
    by, true, rng = scale(), specimen(), np.random.default_rng(4)
    told = [
        component(
            diameters(rim(true, by, offsets_px=rng.normal(0, 0.3, POINTS)), by), "edge scatter"
        ).u
        for _ in range(150)
    ]
    assert np.median(told) == pytest.approx(2 * 0.3 / math.sqrt(POINTS) / 200, rel=0.3)


def test_gaps_make_it_less_certain():
    by, true = scale(), specimen()
    offsets = 0.2 * np.random.default_rng(5).standard_normal(POINTS)
    told = [
        component(
            diameters(rim(true, by, offsets_px=offsets, missing_deg=gap), by), "edge scatter"
        ).u
        for gap in (0, 60, 120, 180)
    ]
    assert told[1] > told[0]
    assert told[2] > 1.5 * told[1]
    assert told[3] > 2 * told[2]


def test_missing_arcs_are_covered():
    by, true, rng = scale(), specimen(), np.random.default_rng(6)
    hits = []
    for _ in range(200):
        found = diameters(rim(true, by, offsets_px=rng.normal(0, 0.3, POINTS), missing_deg=90), by)
        hits.append(abs(found.mean_mm - 2 * true.m) <= 2.52 * component(found, "edge scatter").u)
    assert np.mean(hits) > 0.9


@pytest.mark.parametrize("missing_deg", [0.0, 120.0, 180.0])
def test_scatter_is_told_as_large_as_it_is(missing_deg):
    """Of the mean diameter and, by what U of an axis has more than it, of the axes; drawn."""
    by, true, rng = scale(), specimen(d2=2.8), np.random.default_rng(9)
    bare = {"u_common_px": 0.0, "rounding_px": 0.0, "missing_deg": missing_deg}
    found = [
        diameters(rim(true, by, offsets_px=rng.normal(0, 0.3, POINTS), **bare), by)
        for _ in range(250)
    ]
    told = np.sqrt(np.mean([component(f, "edge scatter").u ** 2 for f in found]))
    assert told == pytest.approx(np.std([f.mean_mm for f in found]), rel=0.2)
    of_axes = np.std([f.d1_mm for f in found]), np.std([f.d2_mm for f in found])
    for name, drawn in zip(("U_d1_mm", "U_d2_mm"), of_axes, strict=True):
        u2 = np.mean([(getattr(f, name) / f.budget.k) ** 2 - f.budget.u**2 for f in found])
        more = np.mean([component(f, "tilt").u ** 2 for f in found]) / 2  # √(3/8) instead of 1/2
        assert math.sqrt(u2 - more + told**2) == pytest.approx(drawn, rel=0.2)


BARE = {"u_common_px": 0.0, "blur_px": 0.0, "rounding_px": 0.0}


def lobes(amplitude_px, count):
    return amplitude_px * np.cos(count * (np.arange(POINTS) + 0.5) * 2 * np.pi / POINTS)


@pytest.mark.parametrize(
    ("count", "share"),
    [
        (2, 0.0),  # an oval, which the ellipse takes up
        *((n, 1 / 3) for n in (3, 4, 5)),
        *((n, 1 / 10) for n in (6, 9, 12)),  # of the wider ten, the larger of the two means
        (13, 0.0),
    ],
)
def test_lobes_count_by_their_share_of_the_harmonics_next_to_the_diameter(count, share):
    """Each harmonic of amplitude a has power a²; a radius gets the mean power per component."""
    by = scale()
    off = lobes(0.05, count)
    found = diameters(rim(specimen(d2=3.0), by, offsets_px=off, **BARE), by)
    part = component(found, "edge scatter")
    radius_px = math.sqrt(share * 0.05**2 / 4)
    assert part.u == pytest.approx(2 * radius_px / 200, rel=0.01, abs=1e-7)
    assert part.dof == 6  # three harmonics of two components each


@pytest.mark.parametrize("lobe_px", [0.0, 0.1, 0.5])
def test_an_axis_has_thrice_the_scatter_variance_and_more_of_the_tilt(lobe_px):
    """An axis of an evenly seen circle is the mean and harmonic 2, of twice the mean's variance.

    Shortened by a tilt in any direction is an axis by 3/8 on the average (cos⁴), the mean by 1/4
    (squares of either). Expanded with the k of the mean.
    """
    by = scale()
    off = lobes(lobe_px, 3)
    found = diameters(rim(specimen(d2=3.0), by, offsets_px=off, **BARE | {"blur_px": 1.2}), by)
    scatter, tilt = (component(found, name).u for name in ("edge scatter", "tilt"))
    u_axis = math.sqrt(found.budget.u**2 + 2 * scatter**2 + tilt**2 / 2)
    assert found.U_d1_mm == pytest.approx(found.budget.k * u_axis, rel=2e-3)
    assert found.U_d2_mm == pytest.approx(found.budget.k * u_axis, rel=2e-3)


@pytest.mark.parametrize("dof", [3.0, 20.0, math.inf])
def test_axes_are_expanded_with_the_few_degrees_of_freedom_of_the_scale(dof):
    """Student's t at 95.45 % (JCGM 100:2008, table G.2); the scale is all but all of u."""
    by = scale(dof=dof, covariance=((1.0, 0.9999, 0), (0.9999, 1.0, 0), (0, 0, 1e-20)))
    found = diameters(rim(specimen(d2=2.9), by, **BARE), by)
    k = student_t.ppf(0.5 + 0.9545 / 2, dof)
    assert found.budget.k == pytest.approx(k, rel=0.01)
    for U, d in ((found.U_d1_mm, found.d1_mm), (found.U_d2_mm, found.d2_mm)):
        assert pytest.approx(k * d / 200, rel=0.02) == U
    parts = {part.name: part.dof for part in found.budget.components}
    of_scale = {"pixel scale", "aspect", "distortion"}
    assert {parts[name] for name in of_scale} == {dof}
    assert all(math.isinf(parts[name]) for name in parts.keys() - of_scale - {"edge scatter"})


def test_what_is_the_same_in_every_reading_of_a_series_is_said():
    """Scatter and focus are made anew with each picture; the rest does not average out."""
    by = scale(covariance=COVARIANCES["common"])
    budget = diameters(rim(specimen(), by, clipped=HALF, u_tone_px=0.1, dark_foot=0.9), by).budget
    assert {part.name for part in budget.components if not part.common} == {"edge scatter", "focus"}


def test_k_follows_the_degrees_of_freedom():
    """Welch-Satterthwaite and Student's t at 95.45 % (GUM G.4.1, table G.2) over the components."""
    true, by = specimen(d1=2.0, d2=1.98), scale()
    lobes = 0.1 * np.cos(3 * (np.arange(POINTS) + 0.5) * 2 * np.pi / POINTS)
    bare = {"u_common_px": 0.0, "blur_px": 0.0, "rounding_px": 0.0}
    waved = diameters(rim(true, by, offsets_px=lobes, **bare), by).budget
    assert waved.k > 2.01
    scatter = next(c for c in waved.components if c.name == "edge scatter")
    assert scatter.dof == 6
    dof = waved.u**4 / sum(c.u**4 / c.dof for c in waved.components)
    assert waved.k == pytest.approx(student_t.ppf(0.5 + 0.9545 / 2, dof), rel=2e-4)
    sure = diameters(rim(true, by, u_common_px=0.5), by)
    assert sure.budget.k == pytest.approx(2.0, abs=0.01)
    loose = scale(dof=3, covariance=((1.0, 0.9999, 0), (0.9999, 1.0, 0), (0, 0, 1e-20)))
    assert diameters(rim(true, loose), loose).budget.k == pytest.approx(3.31, abs=0.2)


# What the fit does with its points


@pytest.mark.parametrize("weight", [0.1, 0.5])
def test_points_count_by_their_weights(weight):
    """Every second one 0.05 px outside: the radius grows by their share of all the weight."""
    by, off = scale(), np.where(HALF, 0.05, 0.0)
    weights = np.where(HALF, weight, 1.0)
    found = diameters(replace(rim(specimen(), by, offsets_px=off), weights=weights), by)
    grown_px = (found.mean_mm - 2.99) * 200 / 2
    assert grown_px == pytest.approx(0.05 * weight / (1 + weight), rel=0.05)


@settings(max_examples=20)
@given(st.floats(1e-3, 1e3))
def test_only_the_ratios_of_weights_count(factor):
    """Places of smooth metal weigh more than those of rough metal, all of them alike."""
    by = scale(covariance=COVARIANCES["with distortion"])
    off = lobes(0.2, 4) + lobes(0.2, 9)
    one = rim(specimen(), by, offsets_px=off, missing_deg=50, clipped=HALF)
    weights = one.weights * np.linspace(0.2, 1, POINTS)
    plain, scaled = (diameters(replace(one, weights=k * weights), by) for k in (1.0, factor))
    for name in ("mean_mm", "U_d1_mm", "U_d2_mm"):
        assert getattr(scaled, name) == pytest.approx(getattr(plain, name), rel=1e-9)
    for part in plain.budget.components:
        assert component(scaled, part.name).u == pytest.approx(part.u, rel=1e-6)


def chipped(off_px):
    """Points of a rim, a sixth of which in two pieces lies `off_px` outside it."""
    t = np.arange(POINTS) % (POINTS // 2)
    return np.where(t < POINTS // 12, off_px, 0.0)


@pytest.mark.parametrize("off_px", [0.8, 1.5, 4.0])
def test_a_chip_in_a_sharp_rim_does_not_move_the_mean(off_px):
    by = scale()
    found = diameters(rim(specimen(), by, offsets_px=chipped(off_px)), by)
    assert found.mean_mm == pytest.approx(2.99, abs=2 * 0.02 / 200)


def test_arcs_that_are_rejected_are_as_good_as_not_seen():
    """They say nothing of the rest, which is as unsure as if they were missing."""
    by = scale(covariance=COVARIANCES["with distortion"])
    off, start_deg = lobes(0.15, 8), 60
    chip = np.where(np.arange(POINTS) < POINTS * start_deg / 360, 6.0, 0.0)
    rejected = diameters(rim(specimen(d2=3.0), by, offsets_px=off + chip), by)
    missing = diameters(rim(specimen(d2=3.0), by, offsets_px=off, missing_deg=start_deg), by)
    for part in missing.budget.components:
        assert component(rejected, part.name).u == pytest.approx(part.u, rel=0.01), part.name
    assert rejected.U_d1_mm == pytest.approx(missing.U_d1_mm, rel=0.01)


# What is common to all points


def test_each_cause_shows_in_its_component():
    by, true = scale(), specimen()
    plain = diameters(rim(true, by), by)

    def grown(name, **facts):
        return component(diameters(rim(true, by, **facts), by), name).u - component(plain, name).u

    assert grown("rim definition", u_common_px=0.3) > 0
    assert grown("rim definition", blur_px=3.0) > 0
    assert grown("rim definition", rounding_px=2.0) > 0
    assert grown("exposure", clipped=HALF) > 0
    assert component(plain, "exposure").u == 0
    assert grown("focus", blur_px=4.0) > 0
    assert grown("tone curve", u_tone_px=0.2) > 0


def test_the_budget_says_what_was_assumed_and_what_is_hidden():
    by, clipped = scale(), np.arange(POINTS) % 4 == 0
    weights = np.where(clipped, 0.1, 1.0)  # a quarter of the arcs with 1/31 of the say
    told, untold = (
        diameters(
            replace(
                rim(specimen(d2=3.0), by, u_tone_px=u, clipped=clipped, dark_foot=0.4),
                weights=weights,
            ),
            by,
        )
        for u in (0.0, 0.1)
    )
    assert component(told, "tone curve").how == "stated"
    assert component(untold, "tone curve").how.startswith("assumed")
    assert (
        "25% of the rim next to clipped light, with 3% of the say"
        in component(told, "exposure").how
    )
    assert "40%" in component(told, "dark bowl").how


def test_a_defocus_that_nobody_notices_counts_with_every_rim():
    """Half a pixel at most, as in JCGM 100:2008, 4.3.7, at the end of the field's diagonal."""
    by, true = scale(), specimen()
    found = diameters(rim(true, by, blur_px=0.8), by)
    share = 0.5 / math.sqrt(3) / math.hypot(WIDTH, HEIGHT)
    assert component(found, "focus").u == pytest.approx(share * found.mean_mm, rel=1e-6)
    assert not next(c for c in found.budget.components if c.name == "focus").common


@pytest.mark.parametrize("blur_px", [1.0, SHARP_BLUR_PX, 3.0, 5.0])
def test_defocus_beyond_a_sharp_picture_changes_the_magnification(blur_px):
    """Blur beyond that of pixels and objective, at the field's corner, as a share of its width."""
    by = scale()
    found = diameters(rim(specimen(), by, blur_px=blur_px), by)
    beyond_px = math.hypot(max(blur_px - SHARP_BLUR_PX, 0.0), 0.5 / math.sqrt(3))
    share = beyond_px / math.hypot(WIDTH, HEIGHT)
    assert component(found, "focus").u == pytest.approx(share * found.mean_mm, rel=1e-6)


def test_what_moves_the_rim_by_pixels_counts_twice_and_by_the_mean_scale():
    by = scale(x=190.0, y=210.0)  # 200 px/mm in the mean
    facts = {"blur_px": 1.2, "rounding_px": 0.5, "u_tone_px": 0.2, "dark_foot": 1.0}
    one = rim(specimen(d2=3.0), by, **BARE | facts)
    found = diameters(one, by)
    transition_px = math.hypot(1.2, 0.5 * math.pi / math.sqrt(3))  # of blur and logistic rounding
    assert component(found, "tone curve").u == pytest.approx(2 * 0.2 / 200, rel=1e-9)
    assert component(found, "dark bowl").u == pytest.approx(
        2 * DARK_FOOT_SHARE * transition_px / 200, rel=1e-9
    )
    definition_px = math.hypot(ROUNDING_SHARE * 0.5, continued_px(1.2, one.ellipse.m))
    assert component(found, "rim definition").u == pytest.approx(2 * definition_px / 200, rel=1e-3)


def test_a_clipped_edge_is_as_wide_as_blur_and_rounding_together():
    by = scale()
    clipped = np.ones(POINTS, bool)  # all of them: what they say is all the say there is
    facts = {"clipped": clipped, "blur_px": 1.2, "rounding_px": 0.5}
    found = diameters(rim(specimen(d2=3.0), by, **BARE | facts), by)
    transition_px = math.hypot(1.2, 0.5 * math.pi / math.sqrt(3))
    assert component(found, "exposure").u == pytest.approx(
        2 * CLIPPED_SHARE * transition_px / 200, rel=1e-6
    )


def test_rim_definition_of_a_radius_counts_twice_in_a_diameter():
    by = scale()
    bare = {"u_common_px": 0.4, "blur_px": 0.0, "rounding_px": 0.0}
    found = diameters(rim(specimen(d2=3.0), by, **bare), by)
    assert component(found, "rim definition").u == pytest.approx(
        2 * SHAPE_SHARE * 0.4 / 200, rel=1e-6
    )


def continued_px(blur_px, radius_px=300.0):
    """Part in the radius of the light continued over 3 blurs + 1.5 px before the rim."""
    return CONTINUED_SHARE * blur_px * (3 * blur_px + 1.5) / radius_px


@pytest.mark.parametrize(
    ("facts", "radius_px"),
    [
        ({"rounding_px": 2.0}, ROUNDING_SHARE * 2.0),
        ({"blur_px": SHARP_BLUR_PX}, continued_px(SHARP_BLUR_PX)),
        (
            {"blur_px": 3.0},
            math.hypot(SMEAR_SHARE * math.sqrt(3.0**2 - SHARP_BLUR_PX**2), continued_px(3.0)),
        ),
    ],
)
def test_rim_definition_has_its_share_of_rounding_and_of_smear(facts, radius_px):
    by = scale()
    bare = {"u_common_px": 0.0, "blur_px": 0.0, "rounding_px": 0.0} | facts
    found = component(diameters(rim(specimen(d2=3.0), by, **bare), by), "rim definition")
    assert found.u == pytest.approx(2 * radius_px / 200, abs=1e-9)


@given(st.floats(0.5, 2.0), st.floats(0.4, 1.4))
def test_a_small_rim_has_less_bowl_to_tell_its_light_from(d_mm, blur_px):
    """In diameters of the rim, with the square of how much smaller it is."""
    by = scale()
    bare = {"u_common_px": 0.0, "blur_px": blur_px, "rounding_px": 0.0}
    small, large = (
        component(diameters(rim(specimen(d1=d, d2=d), by, **bare), by), "rim definition").u / d
        for d in (d_mm, 2 * d_mm)
    )
    assert small == pytest.approx(4 * large, rel=1e-3)
    assert small == pytest.approx(2 * continued_px(blur_px, 100 * d_mm) / (200 * d_mm), rel=1e-3)


@pytest.mark.parametrize("amplitude_px", [0.1, 0.5, 4.0])
@pytest.mark.parametrize("doubt_px", [0.0, 0.2, 5.0])
def test_rim_definition_and_ragged_rim_share_the_scatter(amplitude_px, doubt_px):
    """A wave of five lobes of amplitude a scatters by a / √2, and the fit leaves it alone.

    Of what the arcs' own doubt explains, the usual on a rim 598 px across counts for half, less
    than that for less; what it does not explain has a smaller share.
    """
    by = scale()
    wave = amplitude_px * np.cos(5 * (np.arange(POINTS) + 0.5) * 2 * np.pi / POINTS)
    bare = {"u_common_px": 0.0, "blur_px": 0.0, "rounding_px": 0.0}
    bare["u_points_px"] = np.full(POINTS, doubt_px)
    found = diameters(rim(specimen(), by, offsets_px=wave, **bare), by)
    scatter_px = amplitude_px / math.sqrt(2)
    explained_px = min(scatter_px, doubt_px)
    counts = explained_px / (explained_px + USUAL_SCATTER * 598)
    definition, ragged = (component(found, name) for name in ("rim definition", RAGGED_RIM))
    assert definition.u == pytest.approx(2 * SCATTER_SHARE * counts * explained_px / 200, rel=0.02)
    surely_px = math.sqrt(scatter_px**2 - explained_px**2)
    assert ragged.u == pytest.approx(2 * RAGGED_SHARE * surely_px / 200, rel=0.02)


def test_doubt_of_clipped_arcs_explains_no_scatter():
    by = scale()
    wave = 4.0 * np.cos(5 * (np.arange(POINTS) + 0.5) * 2 * np.pi / POINTS)
    clipped = np.arange(POINTS) < POINTS // 4
    doubts = np.where(clipped, 50.0, 0.0), np.zeros(POINTS)
    found = [
        diameters(rim(specimen(), by, offsets_px=wave, clipped=clipped, u_points_px=doubt), by)
        for doubt in doubts
    ]
    assert found[0].budget.U == found[1].budget.U


@pytest.mark.parametrize("missing_deg", [12.0, 36.0, 90.0])
def test_rim_definition_grows_with_what_is_not_seen(missing_deg):
    """As the standard uncertainty of the constant in harmonics 0 to 2 fitted to the arcs seen."""
    by, circle = scale(), specimen(d2=3.0)
    whole, part = (
        component(
            diameters(rim(circle, by, missing_deg=missing, blur_px=0.0), by), "rim definition"
        ).u
        for missing in (0.0, missing_deg)
    )
    t = (np.arange(POINTS) + 0.5) * (2 * np.pi / POINTS)
    t = t[np.degrees(t) >= missing_deg]
    waves = np.stack([np.ones_like(t), np.cos(t), np.sin(t), np.cos(2 * t), np.sin(2 * t)], axis=1)
    factor = np.linalg.inv(waves.T @ waves)[0, 0] * len(t)
    assert factor > 1
    assert part == pytest.approx(whole * math.sqrt(factor), rel=1e-4)  # without smear


@settings(max_examples=40)
@given(st.lists(st.floats(0.01, 1), min_size=12, max_size=12), st.floats(0, 0.1))
def test_no_weights_make_a_rim_surer_than_an_even_turn(by_sector, share):
    """Of all weights with one sum even ones leave least variance of the mean and of an axis."""
    by = scale()
    even = rim(specimen(d2=3.0 * (1 - share)), by, offsets_px=lobes(0.2, 5), u_common_px=0.5)
    uneven = replace(even, weights=np.repeat(by_sector, POINTS // 12))
    least, found = diameters(even, by), diameters(uneven, by)
    for name in ("rim definition", "edge scatter"):
        assert component(found, name).u >= component(least, name).u * (1 - 0.02)


@pytest.mark.parametrize("of", ["shape", "rounding", "scatter", "smear", "light continued"])
def test_what_differs_from_side_to_side_grows_with_gaps_and_what_does_not_stays(of):
    """Smear and a bowl hidden by blur are alike all round.

    At most by 2.5, as a third of the turn missing does.
    """
    by, circle = scale(), specimen(d2=3.0)
    facts = {
        "shape": {"u_common_px": 0.4},
        "rounding": {"rounding_px": 2.0},
        "scatter": {"offsets_px": lobes(0.5, 20)},
        "smear": {"blur_px": 3.0},
        "light continued": {"blur_px": SHARP_BLUR_PX},
    }[of]
    whole, third, two_thirds = (
        component(
            diameters(rim(circle, by, missing_deg=missing, **BARE | facts), by), "rim definition"
        ).u
        for missing in (0.0, 120.0, 240.0)
    )
    grown = [third / whole, two_thirds / whole]
    alike = of in {"smear", "light continued"}
    assert grown == pytest.approx([1.0, 1.0] if alike else [2.5, 2.5], rel=0.06)


@pytest.mark.parametrize("dark", [0.0, 0.5, 1.0])
def test_a_bowl_dark_up_to_its_rim_hides_the_foot_of_the_edge(dark):
    by = scale()
    hidden = rim(specimen(), by, dark_foot=dark, blur_px=1.2, rounding_px=0.0)
    found = component(diameters(hidden, by), "dark bowl")
    assert found.u == pytest.approx(2 * DARK_FOOT_SHARE * dark * 1.2 / 200, abs=1e-12)


def test_a_rim_that_was_not_seen_has_no_diameters():
    with pytest.raises(ValueError, match="coverage is 0"):
        diameters(replace(rim(specimen(), scale()), coverage=0.0), scale())


def test_clipped_arcs_off_the_ellipse_are_no_scatter():
    by = scale()
    off = np.where(HALF, 0.5 * np.cos(10 * np.pi * np.arange(POINTS) / POINTS), 0.0)
    bare = {"u_common_px": 0.0, "blur_px": 0.0, "rounding_px": 0.0}
    scattered, clipped = (
        component(diameters(rim(specimen(), by, offsets_px=off, **facts), by), "rim definition").u
        for facts in (bare, bare | {"clipped": HALF})
    )
    assert scattered > 0
    assert clipped < 0.1 * scattered


@pytest.mark.parametrize("weight", [1.0, 0.01])
def test_clipped_arcs_move_the_mean_by_their_say_whatever_their_weight(weight):
    """Where two short stretches alone are not clipped, the others hold the ellipse all the same."""
    by = scale()
    clipped = np.abs(np.cos(np.pi * 2 * (np.arange(POINTS) + 0.5) / POINTS)) < 0.97
    bare = {"clipped": clipped, "blur_px": 1.2, "rounding_px": 0.0}
    one = rim(specimen(), by, **bare)
    weights = np.where(clipped, weight, 1.0)
    still, moved = (
        diameters(replace(rim(specimen(), by, offsets_px=off, **bare), weights=weights), by)
        for off in (np.zeros(POINTS), np.where(clipped, 0.01, 0.0))
    )
    say = (moved.mean_mm - still.mean_mm) / (2 * 0.01 / 200)
    assert say > 0.3
    assert component(still, "exposure").u == pytest.approx(
        2 * CLIPPED_SHARE * say * one.transition_px / 200, rel=1e-3
    )


@pytest.mark.parametrize("of", ["one side", "both signs"])
def test_clipped_arcs_pull_the_mean_either_way_and_may_cancel(of):
    """Seen on a half turn, arcs in its middle pull the mean one way and those beside the other."""
    by = scale()
    t = (np.arange(POINTS) + 0.5) * 360 / POINTS
    away = np.abs(t - 270)  # of the half that is seen
    clipped = {"one side": np.abs(away - 45) < 15, "both signs": away < 60}[of]
    facts = BARE | {"blur_px": 1.2, "clipped": clipped, "missing_deg": 180.0}
    still, moved = (
        diameters(rim(specimen(d2=3.0), by, offsets_px=off, **facts), by)
        for off in (np.zeros(POINTS), np.where(clipped, 0.01, 0.0))
    )
    say = (moved.mean_mm - still.mean_mm) / (2 * 0.01 / 200)
    assert component(still, "exposure").u == pytest.approx(
        2 * CLIPPED_SHARE * abs(say) * 1.2 / 200, rel=0.01
    )


def test_a_clipped_edge_may_lie_where_the_foot_of_the_highest_step_would_be():
    highest = 1 - 1 / CLIPPED_CONTRAST
    assert math.sqrt(3) * CLIPPED_SHARE == pytest.approx(norm.ppf(highest), abs=0.002)


def test_tilt_is_the_shortening_of_one_axis():
    """Within 2° one axis is shortened by up to 1 - cos 2°, the mean by half; rectangular."""
    by = scale()
    found = diameters(rim(specimen(d2=3.0), by), by)
    assert component(found, "tilt").u * math.sqrt(3) == pytest.approx(
        3.0 * (1 - math.cos(math.radians(2))) / 2, rel=1e-6
    )


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0])
def test_a_scale_unsure_along_y_shows_in_the_axis_along_y(angle):
    true, step = specimen(d2=2.8, angle=angle), 0.01
    by = scale(covariance=((1e-16, 0, 0), (0, step**2, 0), (0, 0, 1e-20)))
    shot = rim(true, by)
    found, moved = diameters(shot, by), diameters(shot, by.shifted(1, step))
    sure = diameters(rim(true, scale()), scale())
    for axis in ("d1_mm", "d2_mm"):
        U, U_sure = (getattr(one, f"U_{axis}") / one.budget.k for one in (found, sure))
        change = getattr(moved, axis) - getattr(found, axis)
        assert math.sqrt(max(U**2 - U_sure**2, 0)) == pytest.approx(abs(change), rel=0.02, abs=1e-7)


def test_axes_are_less_certain_than_their_mean():
    by = scale()
    offsets = 0.3 * np.random.default_rng(8).standard_normal(POINTS)
    found = diameters(rim(specimen(), by, offsets_px=offsets), by)
    assert found.U_d1_mm > found.budget.U
    assert found.U_d2_mm > found.budget.U


def test_every_component_is_there_and_adds_up():
    by = scale(covariance=COVARIANCES["with distortion"], dof=20)
    found = diameters(rim(specimen(), by), by)
    parts = found.budget.components
    assert len({part.name for part in parts}) == len(parts)
    assert all(part.how for part in parts)
    assert found.budget.u == pytest.approx(math.sqrt(sum(part.u**2 for part in parts)), rel=1e-12)


def test_outliers_do_not_move_the_diameters():
    by, true = scale(), specimen()
    offsets = 0.1 * np.random.default_rng(9).standard_normal(POINTS)
    calm = diameters(rim(true, by, offsets_px=offsets), by)
    offsets[:20] += 5.0
    wild = diameters(replace(rim(true, by, offsets_px=offsets)), by)
    assert wild.mean_mm == pytest.approx(calm.mean_mm, abs=0.1 / 200)
