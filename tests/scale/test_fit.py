"""The fit on line marks drawn from formulas: truth, coverage, what the lines cannot tell."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from rimread.scale.fit import U_ASPECT, U_K1, fit_marks
from rimread.scale.lines import Marks

WIDTH, HEIGHT = 1200, 900
CENTRE = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
HALF_DIAGONAL = math.hypot(WIDTH, HEIGHT) / 2


def marks(
    rng: np.random.Generator,
    *,
    angle_deg: float = 0.0,
    px_per_mm: tuple[float, float] = (150.0, 150.0),
    k1: float = 0.0,
    lines: int = 61,
    pieces: int = 8,
    noise: float = 0.02,
    ruling: float = 0.0,
    alike: float = 0.0,
    offset_mm: float = 0.3,
) -> Marks:
    """Pieces of lines 0.1 mm apart, by the convention of the scale, with normal errors in px.

    The errors of neighbouring lines correlate by `alike` (autoregressive of first order).
    """
    line = np.repeat(np.arange(lines), pieces)
    along = (line - (lines - 1) / 2 + 0.3) * 0.1
    ruled = rng.normal(0, ruling, lines)
    for k in range(1, lines):
        ruled[k] = alike * ruled[k - 1] + math.sqrt(1 - alike**2) * ruled[k]
    error = np.repeat(ruled, pieces) + rng.normal(0, noise, line.size)
    along = along + error / math.sqrt(px_per_mm[0] * px_per_mm[1])
    across = np.tile(np.linspace(-0.3, 0.3, pieces), lines) + offset_mm
    turn = math.radians(angle_deg)
    x = along * math.cos(turn) - across * math.sin(turn)
    y = along * math.sin(turn) + across * math.cos(turn)
    u = np.stack([x * px_per_mm[0], y * px_per_mm[1]], axis=-1)
    r2 = np.sum(u * u, axis=-1, keepdims=True) / HALF_DIAGONAL**2
    return Marks(
        points_px=CENTRE + u * (1 + k1 * r2),
        line=line + 7,
        information=np.full(line.size, 1.0 / noise**2),
        level=0.2,
        swing=0.1,
    )


def fit(*given: Marks):
    return fit_marks(given, division_mm=0.1, width_px=WIDTH, height_px=HEIGHT)


def u_aspect(result) -> float:
    """Standard uncertainty of ln(px_per_mm_y / px_per_mm_x)."""
    to_log = np.array([-1.0, 1.0]) / result.values[:2]
    return math.sqrt(to_log @ result.covariance[:2, :2] @ to_log)


@pytest.mark.parametrize("angle", [0.0, 0.4, 20.0, 45.0, 89.5, 90.0, 130.0])
@pytest.mark.parametrize("k1", [-0.01, 0.0, 0.004])
def test_without_noise_truth_comes_back(angle, k1):
    rng = np.random.default_rng(1)
    one = marks(rng, angle_deg=angle, k1=k1, lines=75, noise=1e-5)
    result = fit(one)
    assert np.allclose(result.values[:2], 150.0, rtol=1e-6)
    assert result.values[2] == pytest.approx(k1, abs=1e-5)
    assert result.angles_deg[0] == pytest.approx(angle, abs=1e-3)
    assert result.residual_rms_px[0] < 3e-5
    assert not result.aspect_measured


def test_two_directions_tell_x_from_y():
    rng = np.random.default_rng(2)
    scale = (150.0, 141.0)
    result = fit(
        marks(rng, angle_deg=1.0, px_per_mm=scale, k1=0.002),
        marks(rng, angle_deg=91.0, px_per_mm=scale, k1=0.002),
    )
    assert result.aspect_measured
    assert np.allclose(result.values[:2], scale, rtol=2e-5)
    assert np.sqrt(np.diag(result.covariance)[:2] / result.values[:2] ** 2).max() < 2e-5


def test_one_direction_carries_the_aspect():
    result = fit(marks(np.random.default_rng(3), angle_deg=0.0))
    relative = np.sqrt(np.diag(result.covariance)[:2]) / result.values[:2]
    assert relative[0] < 3e-5
    assert relative[1] == pytest.approx(U_ASPECT, rel=0.02)


@pytest.mark.parametrize(
    ("apart_deg", "measured"),
    [(3, False), (10, False), (44, False), (46, True), (134, True), (136, False)],
)
def test_x_is_told_from_y_only_by_lines_across_each_other(apart_deg, measured):
    rng = np.random.default_rng(7)
    result = fit(marks(rng), marks(rng, angle_deg=apart_deg))
    assert result.aspect_measured == measured
    assert u_aspect(result) <= U_ASPECT


def test_lines_that_tell_x_from_y_are_not_pulled_towards_square():
    rng = np.random.default_rng(7)
    few = {"px_per_mm": (150.0, 141.0), "lines": 21, "ruling": 0.1}
    result = fit(marks(rng, angle_deg=0.0, **few), marks(rng, angle_deg=90.0, **few))
    assert result.aspect_measured
    assert 0.5 * U_ASPECT < u_aspect(result) < U_ASPECT  # nearly as unsure as the assumption
    error = math.log(result.values[1] / result.values[0] / (141.0 / 150.0))
    assert abs(error) < 2.5 * u_aspect(result)


def test_where_lines_tell_little_of_x_and_y_they_and_the_assumption_are_weighted():
    """By their inverse variances, as a normal prior and normal errors are (closed form)."""
    rng, true = np.random.default_rng(7), -8 * U_ASPECT
    oblong = (150.0, 150.0 * math.exp(true))
    result = fit(*(marks(rng, angle_deg=angle, px_per_mm=oblong) for angle in (0.0, 5.0)))
    share = 1 - (u_aspect(result) / U_ASPECT) ** 2
    assert 0.2 < share < 0.5
    found = math.log(result.values[1] / result.values[0])
    assert found == pytest.approx(share * true, abs=2.5 * math.sqrt(share) * U_ASPECT)


def test_mirrored_diagonals_do_not_tell_x_from_y():
    # lines at +45° and -45° weigh x and y alike; only the angle between them hints at the aspect
    rng = np.random.default_rng(4)
    result = fit(marks(rng, angle_deg=45.0), marks(rng, angle_deg=135.0))
    assert not result.aspect_measured


def test_short_scale_leaves_distortion_to_prior_knowledge():
    # 11 lines on 150 px near the middle: local scale changes by 3 k1 r², 5e-5 of k1 here
    result = fit(marks(np.random.default_rng(5), lines=11, noise=0.1, offset_mm=0.0))
    assert math.sqrt(result.covariance[2, 2]) == pytest.approx(U_K1, rel=0.05)
    assert abs(result.values[2]) < U_K1


def test_outliers_do_not_pull():
    rng = np.random.default_rng(6)
    clean = marks(rng, k1=0.001)
    bad = clean.points_px.copy()
    hit = rng.choice(len(bad), 40, replace=False)
    bad[hit, 0] += rng.uniform(0.3, 2.0, hit.size)
    dusty = Marks(
        points_px=bad,
        line=clean.line,
        information=clean.information,
        level=clean.level,
        swing=clean.swing,
    )
    result = fit(dusty)
    assert result.values[0] == pytest.approx(150.0, rel=3e-5)
    assert result.residual_rms_px[0] < 0.03  # of what is in use


def pitch_uncertainty(seeds, lines, *, noise, ruling, alike=0.0):
    """What is told over u(P) = s sqrt(12 / (n (n² - 1))) for n lines in equal steps, each time.

    Derived in many books, e.g. as the variance of a regression slope. k1 is held by a scale of no
    extent across and a tiny span.
    """
    facts = {"noise": noise, "ruling": ruling, "alike": alike, "offset_mm": 0.0}
    told = [fit(marks(np.random.default_rng(k), lines=lines, pieces=4, **facts)) for k in seeds]
    assert {result.dof for result in told} == {lines - 4}
    s = math.hypot(ruling, noise / 2)
    expected = s * math.sqrt(12 / (lines * (lines**2 - 1))) / 15.0
    return np.sqrt([result.scatter[0, 0] for result in told]) / 150.0 / expected


@pytest.mark.parametrize("lines", [11, 21])  # with few the degrees of freedom count
def test_pitch_uncertainty_is_the_textbook_one(lines):
    ratio = pitch_uncertainty(range(40), lines, noise=0.02, ruling=0.05)
    assert math.sqrt(np.mean(ratio**2)) == pytest.approx(1.0, rel=0.15)


def test_noise_of_the_pieces_counts_once_and_no_scale_has_less():
    ratio = pitch_uncertainty(range(15), 21, noise=0.1, ruling=0.0)
    assert ratio.min() > 0.97
    assert math.sqrt(np.mean(ratio**2)) < 1.3


def test_errors_that_turn_from_line_to_line_make_no_scale_surer():
    ratio = pitch_uncertainty(range(15), 21, noise=0.005, ruling=0.05, alike=-0.6)
    assert np.median(ratio) > 0.9


def test_errors_that_neighbouring_lines_share_are_covered():
    """Twice what independent lines would tell: √((1 + ρ) / (1 - ρ)) at ρ = 0.6."""
    told = [
        fit(marks(np.random.default_rng(k), noise=0.005, ruling=0.05, alike=0.6, offset_mm=0.0))
        for k in range(25)
    ]
    score = [(t.values[0] - 150.0) / math.sqrt(t.covariance[0, 0]) for t in told]
    assert 0.6 < np.sqrt(np.mean(np.square(score))) < 1.5


def test_lines_seen_ten_times_as_sharply_tell_the_pitch_ten_times_as_well():
    fine, coarse = (
        fit(marks(np.random.default_rng(8), noise=noise)).scatter[0, 0] for noise in (0.002, 0.02)
    )
    assert math.sqrt(coarse / fine) == pytest.approx(10.0, rel=0.05)


def test_lines_that_dust_has_moved_do_not_count():
    clean = marks(np.random.default_rng(9), lines=21)
    moved = np.isin(clean.line - clean.line[0], (4, 15))
    result = fit(replace(clean, points_px=clean.points_px + np.outer(moved, [1.5, 0.0])))
    assert result.lines_used == (19,)
    assert result.dof == 19 - 4
    assert result.values[0] == pytest.approx(150.0, rel=1e-4)


@pytest.mark.parametrize(
    ("ruling", "lines"),
    [
        pytest.param(0.0, 61, marks=pytest.mark.slow),
        pytest.param(0.05, 21, marks=pytest.mark.slow),
        (0.05, 61),
        (0.2, 15),
    ],
)
def test_coverage(ruling, lines):
    # 200 scales: 95.4 % expected inside k u; below 90 % or none outside would not be chance
    inside_p, inside_k = 0, 0
    rng = np.random.default_rng(int(1000 * ruling) + lines)
    for _ in range(200):
        k1 = rng.normal(0, U_K1)
        angle = rng.uniform(-45, 135)
        result = fit(marks(rng, angle_deg=angle, k1=k1, lines=lines, ruling=ruling))
        g = np.array([math.cos(math.radians(angle)) ** 2, math.sin(math.radians(angle)) ** 2])
        error = float(g @ (result.values[:2] - 150.0))
        u = math.sqrt(float(g @ result.covariance[:2, :2] @ g))
        inside_p += abs(error) < 2 * u
        inside_k += abs(result.values[2] - k1) < 2 * math.sqrt(result.covariance[2, 2])
    assert 180 <= inside_p < 200
    assert 180 <= inside_k < 200
