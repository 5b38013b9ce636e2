"""Rings near a seed, and whole traces of painted ellipses whose outline is known exactly."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from rimread.photo import Photo
from rimread.rim import Rim, find_rim, trace
from rimread.rim.ellipse import Ellipse
from rimread.rim.seed import Seed
from rimread.rim.trace import rings_near

WIDTH, HEIGHT = 480, 400
TRUE = Ellipse(231.3, 208.6, 92.4, 0.5, -0.3)


def coded(light):
    """8-bit grey values of light through the sRGB curve (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    grey = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return (255 * grey + 0.5).astype(np.uint8)


def painted(ellipse=TRUE, *, inner=0.35, outer=0.2, blur=1.2, noise=0.004, seed=0):
    """A bowl of even light with a blurred outline on even ground, in a little noise.

    `inner` may be a function of the place, (x, y) from the centre in semi-axes.
    """
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    points = np.stack([x.ravel(), y.ravel()], axis=1).astype(float)
    away = ellipse.distance(points + 1e-9).reshape(x.shape)
    if callable(inner):
        inner = inner((x - ellipse.x) / ellipse.m, (y - ellipse.y) / ellipse.m)
    light = outer + (inner - outer) * ndtr(-away / blur)
    grain = np.random.default_rng(seed).standard_normal(x.shape)
    return Photo(
        grey=coded(light + noise * grain), tone="srgb", name="", sha256="", tone_stated=True
    )


def seed_off(dx, dy, factor):
    return Seed(TRUE.x + dx, TRUE.y + dy, TRUE.m * factor, alignment=2.0)


@pytest.mark.parametrize("inner", [0.35, 0.1, lambda x, y: 0.2 + 0.08 * x + 0.09 * y])
@pytest.mark.parametrize(
    ("dx", "dy", "factor"), [(0, 0, 1.0), (6, -4, 1.1), (-7, 5, 0.88), (0, 8, 1.15)]
)
def test_the_best_ring_lies_on_the_outline(inner, dx, dy, factor):
    best = rings_near(painted(inner=inner), seed_off(dx, dy, factor))[0]
    apart = TRUE.distance(best.ellipse.points(np.linspace(0, 2 * np.pi, 32)))
    assert np.abs(apart).max() < 1.5
    assert best.agreement > 0.8


def test_rings_come_the_best_explained_first():
    rings = rings_near(painted(), seed_off(3, 2, 1.05))
    evidence = [ring.evidence for ring in rings]
    assert evidence == sorted(evidence, reverse=True)


def test_texture_makes_a_poor_ring():
    """Chance paths do not lie on ellipses as rims do."""
    rng = np.random.default_rng(2)
    marks = cv2.GaussianBlur(rng.standard_normal((HEIGHT, WIDTH)), (0, 0), 1.0)
    texture = Photo(grey=coded(0.25 + 0.06 * marks / marks.std()), tone="srgb", name="", sha256="")
    real = rings_near(painted(noise=0.02), seed_off(0, 0, 1.0))[0]
    for ring in rings_near(texture, seed_off(0, 0, 1.0)):
        assert ring.evidence * ring.agreement < 0.5 * real.evidence * real.agreement


def rings_from_about(photo, x, y, m, *, seed):
    """Rings sharpened from twenty circles up to 4 px off, in centre and radius together."""
    rng = np.random.default_rng(seed)
    rings = []
    for off in np.repeat([0.0, 1.0, 2.0, 3.0, 4.0], 4):
        turn, wider = rng.uniform(0, 2 * np.pi), (4 - off) * rng.uniform(-1, 1)
        start = Ellipse(x + off * np.cos(turn), y + off * np.sin(turn), m + wider)
        rings.append(trace._sharpened(photo, start))  # noqa: SLF001  (no seed starts so near)
    assert None not in rings
    return [ring.ellipse for ring in rings]


@pytest.mark.parametrize(
    ("tier", "seed"),
    [*(("clean", n) for n in (1, 3, 5, 9, 14)), *(("shop", n) for n in (3, 4, 8, 10, 13))],
)
def test_a_ring_is_the_same_whatever_it_started_from(simulated, tier, seed):
    """Paths run on whole pixels: half of one in radius and one in place is all they differ by."""
    shot = simulated(tier, seed)
    true = shot.truth[0]
    m = (true.axis1_px + true.axis2_px) / 4
    found = rings_from_about(shot.photo(), true.centre_x_px, true.centre_y_px, m, seed=seed)
    radii, centres = np.array([e.m for e in found]), np.array([(e.x, e.y) for e in found])
    assert np.abs(radii - np.median(radii)).max() < 0.5
    assert np.hypot(*(centres - np.median(centres, axis=0)).T).max() < 1.0


@pytest.mark.parametrize("slope", [0.005, 0.01, 0.015])
@pytest.mark.parametrize("step", [0.08, -0.08, 0.12])
def test_a_faint_rim_on_a_steep_flank_is_found_from_about_it(slope, step):
    """The light falls outwards by up to a fifth of the step a pixel, as on a glint's flank.

    With bands cut off at their ends, where shading is not known, the ring is lost: it ends 7 px
    and more away, on the band's own border.
    """
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    away = np.hypot(x - TRUE.x, y - TRUE.y) - TRUE.m
    grey = 0.5 - slope * 30 * np.tanh(away / 30) + step * ndtr(away / 1.2)
    grey += 0.01 * np.random.default_rng(0).standard_normal(grey.shape)
    photo = Photo(
        grey=(255 * grey).clip(0, 255).round().astype(np.uint8), tone="srgb", name="", sha256=""
    )
    for ellipse in rings_from_about(photo, TRUE.x, TRUE.y, TRUE.m, seed=1):
        assert pytest.approx(TRUE.m, abs=0.5) == ellipse.m
        assert (ellipse.x, ellipse.y) == pytest.approx((TRUE.x, TRUE.y), abs=0.7)


def traced(photo):
    rim = find_rim(photo)
    assert isinstance(rim, Rim), rim
    return rim


@pytest.mark.usefixtures("even_bowls")
@pytest.mark.parametrize("blur", [0.8, 1.2, 2.0])
@pytest.mark.parametrize("inner", [0.45, 0.08])
def test_a_painted_outline_is_traced_to_a_twentieth_of_a_pixel(inner, blur):
    """Even bowls have no shading to be misread: only the blur is between the trace and truth."""
    rim = traced(painted(inner=inner, blur=blur))
    assert rim.ellipse.m == pytest.approx(TRUE.m, abs=0.05)
    assert (rim.ellipse.e, rim.ellipse.f) == pytest.approx((TRUE.e, TRUE.f), abs=0.08)
    assert rim.centre_px == pytest.approx((TRUE.x, TRUE.y), abs=0.08)
    assert rim.blur_px == pytest.approx(np.hypot(blur, 1e-9), rel=0.35)


@pytest.mark.usefixtures("even_bowls")
@settings(max_examples=8)
@given(
    st.floats(180, 300),
    st.floats(160, 240),
    st.floats(60, 130),
    st.floats(0, 0.03),
    st.floats(0, 6),
)
def test_wherever_and_however_oval_it_lies(x, y, m, oval, double):
    true = Ellipse(x, y, m, oval * m * np.cos(double) / 2, oval * m * np.sin(double) / 2)
    rim = traced(painted(true))
    assert rim.ellipse.m == pytest.approx(m, abs=0.06)
    assert rim.semi_axes_px == pytest.approx(true.semi_axes, abs=0.12)


def test_a_bowl_lit_from_one_side_is_traced():
    """As dull metal is: the contrast changes sign round the turn and vanishes at two places."""
    rim = traced(painted(inner=lambda x, y: 0.25 + 0.12 * x + 0.1 * y, outer=0.25))
    assert rim.ellipse.m == pytest.approx(TRUE.m, abs=0.25)
    assert rim.coverage > 0.7


@pytest.mark.usefixtures("even_bowls")
def test_the_wrong_tone_curve_moves_the_rim_and_an_assumed_one_says_so():
    """Why grey values are decoded: blurred edges move to the darker side by up to 0.4 blurs."""
    shot = painted(inner=0.6, outer=0.05, blur=2.0)
    right = traced(shot)
    wrong = traced(Photo(grey=shot.grey, tone="linear", name="", sha256="", tone_stated=True))
    assert right.ellipse.m == pytest.approx(TRUE.m, abs=0.05)
    assert wrong.ellipse.m - TRUE.m > 0.2  # outwards: the ground is the darker side
    assumed = traced(Photo(grey=shot.grey, tone="srgb", name="", sha256=""))
    assert right.u_tone_px == 0
    assert assumed.u_tone_px > 0.1
