"""What an unstated tone curve may do to the rim."""

from dataclasses import replace
from functools import lru_cache
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.diameters import diameters
from rimread.photo import Photo
from rimread.rim import find_rim
from rimread.rim.ellipse import Ellipse
from rimread.rim.tone import CANCELLED, READ_OTHERWISE, edge_moves, tone_uncertainty_px
from rimread.simulate import Camera, Indent, Light, Scene, Surface, simulate

PHOTO = Photo(grey=np.zeros((400, 400), np.uint8), tone="srgb", name="a", sha256="")
TURN = np.linspace(0, 2 * np.pi, 120, endpoint=False)
EVEN = np.ones(120)
RING = Ellipse(200.0, 200.0, 120.0)


def coded(light):
    """Grey values of light: IEC 61966-2-1."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def disc(inside, outside, half=None):
    """A photo of a disc between two grey levels; `half` is outside the right half."""
    y, x = np.mgrid[:400, :400]
    grey = np.full((400, 400), outside)
    if half is not None:
        grey[x > 200] = half
    grey[np.hypot(x - 200, y - 200) < 120] = inside
    return replace(PHOTO, grey=np.round(255 * grey).astype(np.uint8))


def bound(photo, blur_px=1.5):
    return tone_uncertainty_px(photo, RING, blur_px=blur_px, t=TURN, weights=EVEN)


@pytest.mark.parametrize(
    ("dark", "bright", "shift"),
    # where a blurred edge is found in sRGB values that were not decoded, in standard deviations
    # of the blur towards the dark side; own trials with a fitted error function (field notes)
    [(0.02, 0.2, 0.38), (0.05, 0.5, 0.38), (0.1, 0.8, 0.35), (0.3, 0.6, 0.12), (0.4, 0.5, 0.04)],
)
def test_moves_are_those_of_fitted_edges(dark, bright, shift):
    # the levels are linear light; a linear picture decoded as sRGB has the same contrast of codes
    low, high = coded(np.array([dark])), coded(np.array([bright]))
    (move,) = edge_moves(PHOTO, high, low)
    assert move < 0  # decoding what was linear makes the bright disc smaller
    assert abs(move) == pytest.approx(shift, rel=0.35, abs=0.03)


@given(inner=st.floats(0, 1), outer=st.floats(0, 1))
def test_moves_turn_with_the_polarity_and_are_bounded(inner, outer):
    there, back = (
        edge_moves(PHOTO, np.array([a]), np.array([b]))[0]
        for a, b in ((inner, outer), (outer, inner))
    )
    assert there == pytest.approx(-back, abs=1e-5)
    assert abs(there) < 0.8
    assert (there <= 1e-6) if inner > outer else (there >= -1e-6)


@given(inner=st.floats(0, 1), outer=st.floats(0, 1))
def test_moves_do_not_depend_on_the_bits_of_the_picture_or_on_the_curve_assumed(inner, outer):
    fine = replace(PHOTO, grey=PHOTO.grey.astype(np.uint16))
    levels = np.array([inner]), np.array([outer])
    expected = pytest.approx(edge_moves(PHOTO, *levels), abs=1e-4)
    assert edge_moves(fine, *levels) == expected
    assert edge_moves(replace(PHOTO, tone="linear"), *levels) == expected


@pytest.mark.parametrize("blur_px", [1.0, 2.5])
def test_between_the_curves_any_is_as_likely_so_that_u_is_the_move_over_root_three(blur_px):
    """Rectangular: JCGM 100:2008, 4.3.7. All arcs alike: the mean and the mean size are one."""
    (move,) = np.abs(edge_moves(PHOTO, np.array([204 / 255]), np.array([76 / 255])))
    photo = disc(204 / 255, 76 / 255)
    expected = READ_OTHERWISE * blur_px * move * np.hypot(1, CANCELLED) / np.sqrt(3)
    assert bound(photo, blur_px=blur_px) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(("side", "half"), [(np.cos(TURN) < -0.1, 0.2), (np.cos(TURN) > 0.1, 0.8)])
def test_only_arcs_that_carry_the_fit_have_a_say(side, half):
    two_sided = disc(0.5, 0.2, half=0.8)
    by_side = tone_uncertainty_px(two_sided, RING, blur_px=1.5, t=TURN, weights=1.0 * side)
    assert by_side == pytest.approx(bound(disc(0.5, half)), rel=0.02)
    by_none = tone_uncertainty_px(two_sided, RING, blur_px=1.5, t=TURN, weights=0.0 * EVEN)
    assert by_none == pytest.approx(bound(two_sided), rel=1e-6)


def test_a_stated_curve_costs_nothing():
    assert bound(replace(disc(0.8, 0.3), tone_stated=True)) == 0.0
    assert bound(disc(0.8, 0.3)) > 0.05


def test_it_grows_with_the_blur_and_the_contrast():
    assert bound(disc(0.8, 0.3), blur_px=3.0) == pytest.approx(2 * bound(disc(0.8, 0.3)))
    assert bound(disc(0.8, 0.3)) > 3 * bound(disc(0.6, 0.5))
    assert bound(disc(0.5, 0.5)) == 0.0


def test_arcs_of_either_polarity_cancel_for_the_most_part():
    one_sided, two_sided = bound(disc(0.5, 0.2)), bound(disc(0.5, 0.2, half=0.8))
    assert 0.1 * one_sided < two_sided < 0.7 * one_sided


def test_what_cancels_round_the_turn_leaves_a_part_of_the_mean_size_of_the_moves():
    """Two halves of opposite moves: the mean, and `CANCELLED` of the mean size, which stays."""
    levels = [round(255 * grey) / 255 for grey in (0.5, 0.2, 0.8)]
    left, right = (
        edge_moves(PHOTO, np.array(levels[:1]), np.array([grey]))[0] for grey in levels[1:]
    )
    assert left * right < 0
    mean, size = (left + right) / 2, (abs(left) + abs(right)) / 2
    expected = READ_OTHERWISE * 1.5 * np.hypot(mean, CANCELLED * size) / np.sqrt(3)
    assert bound(disc(0.5, 0.2, half=0.8)) == pytest.approx(expected, rel=0.03)


@lru_cache(maxsize=12)
def read_both_ways(tone, kind, seed):
    """Scale, and the rim through the right curve, which is stated, and through the other."""
    scene = Scene(
        indents=(Indent(d1_mm=3.0, d2_mm=2.99),),
        surface=Surface(finish="blasted", finish_um=0.15),
        light=Light(kind=kind, elevation_deg=40.0),
        camera=Camera(width_px=480, height_px=440, px_per_mm=110.0, blur_px=1.4, tone=tone),
    )
    shot = simulate(scene, rng=np.random.default_rng(seed))
    other = "linear" if tone == "srgb" else "srgb"
    wrong = find_rim(replace(shot.photo(), tone=other, tone_stated=False))
    return shot.scale, find_rim(shot.photo()), wrong


def moved_and_part(tone, kind, seed):
    """How far the other curve moves the mean diameter, that diameter, and the tone's part in U."""
    by, right, wrong = read_both_ways(tone, kind, seed)
    stated, assumed = diameters(right, by), diameters(wrong, by)
    part = next(part for part in assumed.budget.components if part.name == "tone curve")
    return abs(assumed.mean_mm - stated.mean_mm), assumed.mean_mm, part


CASES = list(product(("srgb", "linear"), ("ring", "arcs", "side"), (5, 6)))
WIDER = {
    0.3: {
        *product(("linear",), ("ring", "arcs"), (5, 6)),
    },
    0.4: set(product(("linear",), ("ring",), (5, 6))),
}
"""Open: these move by more of tone and definition together than was asked when both were wider."""


def tone_and_definition(tone, kind, seed):
    """What tone curve and rim's definition together let the mean diameter move by, at k = 2."""
    by, _, wrong = read_both_ways(tone, kind, seed)
    parts = {part.name: part.u for part in diameters(wrong, by).budget.components}
    return 2 * np.hypot(parts["tone curve"], parts["rim definition"])


@pytest.mark.parametrize(
    ("share", "tone", "kind", "seed"),
    [
        pytest.param(
            share, *case, marks=[pytest.mark.xfail(raises=AssertionError)] if case in open_ else []
        )
        for share, open_ in WIDER.items()
        for case in CASES
    ],
)
def test_the_other_curve_moves_the_rim_by_a_share_of_the_bound_at_most(share, tone, kind, seed):
    moved, mean_mm, _ = moved_and_part(tone, kind, seed)
    bound = tone_and_definition(tone, kind, seed)
    assert bound < 0.005 * mean_mm
    assert moved <= share * bound


@pytest.mark.parametrize(("tone", "kind", "seed"), CASES)
def test_the_other_curve_moves_the_rim_by_no_more_than_its_part_in_the_budget(tone, kind, seed):
    """At k = 2 and by itself, without the rim's definition, whose part has other causes.

    Under light from one side the moves of lit and shaded arcs cancel.
    """
    moved, mean_mm, part = moved_and_part(tone, kind, seed)
    _, right, wrong = read_both_ways(tone, kind, seed)
    assert moved <= 2 * part.u
    assert kind == "side" or moved > 0.2 * 2 * part.u  # and it is no blank cheque
    assert 2 * part.u < 0.0025 * mean_mm
    assert right.u_tone_px == 0.0
    assert part.u == pytest.approx(2 * wrong.u_tone_px / 110.0, rel=1e-3)
    assert part.common
    assert "assumed" in part.how


OVER_A_TENTH = {("linear", "side", 5)}
"""Open: by 0.03 % of a tenth of the blur with OpenCV 5, since the lit arcs of this one weigh a
little more; with 4.13 it holds."""


@pytest.mark.parametrize(
    ("tone", "kind", "seed"),
    [
        pytest.param(
            *case,
            marks=[pytest.mark.xfail(raises=AssertionError, strict=False)]
            if case in OVER_A_TENTH
            else [],
        )
        for case in CASES
    ],
)
def test_the_other_curve_moves_the_rim_by_less_than_a_tenth_of_the_blur(tone, kind, seed):
    _, _, wrong = read_both_ways(tone, kind, seed)
    assert wrong.u_tone_px < 0.1 * wrong.blur_px
