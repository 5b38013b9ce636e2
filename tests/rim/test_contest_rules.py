"""What is asked in the contest of two rings: from which starts, over which stretch of light."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import cauchy

from rimread.refusal import Refusal
from rimread.rim import contest, gates
from rimread.rim.contest import ROUND, best_explained, inner_flank, outer_rival
from rimread.rim.ellipse import Ellipse
from rimread.rim.locate import Settled
from rimread.rim.placed import Placed
from rimread.rim.profiles import half_px
from rimread.rim.trace import Ring

TURN = np.linspace(0, 2 * np.pi, 361)


def placed(ellipse, *, blur_px=1.0):
    """An ellipse at rest on some edge."""
    nothing = np.zeros(0)
    return Placed(SimpleNamespace(blur_px=blur_px), nothing, nothing, ellipse, 0.0)


def circle(m, *, x=200.0):
    return Ellipse(x, 200.0, m)


def oval(share, *, m=100.0):
    """Axes that differ by a share of the minor one."""
    return Ellipse(200.0, 200.0, m, m * share / (2 + share))


@pytest.fixture
def stage():
    """Stands in for the photo: what rests where, and what the light says; notes what is asked."""

    class Stage:
        def __init__(self, patch):
            self.patch, self.asked, self.starts = patch, [], []
            self.rests(lambda _: gates.LOST)
            self.light_says({})

        def rests(self, on):
            """Where each start comes to rest."""
            self.patch.setattr(
                contest, "placed_on", lambda _, start: self.starts.append(start) or on(start)
            )

        def light_says(self, likely):
            """Log likelihoods by mean semi-axis, 0 for others."""

            def told(_, ellipse, *, blur_px, span_px):
                self.asked.append((ellipse, blur_px, span_px))
                return likely.get(ellipse.m, 0.0)

            self.patch.setattr(contest, "log_likelihood", told)

        def edge(self, name, ellipse, settles=None):
            """An edge seen beside the rim, and where it settles."""
            settled = Settled(settles or ellipse, 1.0, 2.0) if ellipse else None
            self.patch.setattr(contest, name, lambda *_: ellipse)
            self.patch.setattr(contest, "settle", lambda *_: settled)

    with pytest.MonkeyPatch.context() as patch:
        yield Stage(patch)


def reach(one, other):
    """How far inside and outside one ellipse another runs, along the normals."""
    away = one.distance(other.points(TURN))
    return float(away.min()), float(away.max())


# Another start


def test_only_clear_rings_of_their_own_about_the_indent_are_started_from(stage):
    found = placed(circle(100.0))
    rings = [
        Ring(circle(101.0), evidence=3.0, agreement=0.95),  # the rim itself
        Ring(circle(108.0), evidence=3.0, agreement=0.95),
        Ring(circle(109.0), evidence=3.0, agreement=0.95),  # that ring again
        Ring(circle(92.0), evidence=3.0, agreement=0.05),  # not one curve
        Ring(circle(85.0, x=205.0), evidence=3.0, agreement=0.95),
        Ring(circle(130.0), evidence=3.0, agreement=0.95),  # another thing
        Ring(circle(50.0), evidence=3.0, agreement=0.95),
    ]
    assert best_explained(None, found, rings) is found
    assert stage.starts == [circle(108.0), circle(85.0, x=205.0)]


def test_an_oval_rim_is_held_against_circles_of_either_axis(stage):
    found = placed(oval(0.05))
    assert best_explained(None, found, []) is found
    assert sorted(one.m for one in stage.starts) == pytest.approx(
        sorted(found.ellipse.semi_axes), rel=1e-9
    )
    assert all((one.e, one.f) == (0, 0) for one in stage.starts)


@pytest.mark.parametrize(("share", "taken"), [(0.0, True), (0.02, True), (0.03, False)])
def test_a_round_start_must_end_rounder_by_half(stage, share, taken):
    other = placed(oval(share, m=95.0))
    stage.rests(lambda _: other)
    stage.light_says({95.0: 50.0})
    found = placed(oval(0.05))
    assert best_explained(None, found, []) is (other if taken else found)


def test_what_ends_on_the_rim_found_is_no_other(stage):
    stage.rests(lambda _: placed(circle(100.5)))
    stage.light_says({100.5: 50.0})
    found = placed(circle(100.0))
    ring = Ring(circle(106.0), evidence=3.0, agreement=0.95)
    assert best_explained(None, found, [ring]) is found


@pytest.mark.parametrize("share", [0.021, 0.03])
def test_a_rim_as_oval_as_rolled_sheet_stays_so_where_a_round_one_explains_no_more(stage, share):
    stage.rests(lambda _: placed(circle(98.0)))
    found = placed(oval(share))
    assert best_explained(None, found, []) is found
    assert stage.asked


@given(st.floats(0, 0.12), st.floats(0, 0.12))
def test_roundness_has_the_odds_of_its_cauchy_density(one, other):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(contest, "log_likelihood", lambda *_, **__: 0.0)
        odds = contest._log_odds(None, placed(oval(one)), placed(oval(other)))  # noqa: SLF001
    expected = cauchy.logpdf(one, scale=ROUND) - cauchy.logpdf(other, scale=ROUND)
    assert odds == pytest.approx(expected, abs=1e-6)


@given(st.floats(88, 112), st.floats(-8, 8), st.floats(0.7, 7.0), st.floats(0.7, 7.0))
def test_both_rings_lie_in_the_stretch_of_light_with_the_whole_of_either_edge(m, x, blur, other):
    """Each is asked with its own blur."""
    asked = []
    one, two = placed(circle(100.0), blur_px=blur), placed(circle(m, x=200 + x), blur_px=other)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            contest, "log_likelihood", lambda _, *of, **how: asked.append((*of, how)) or 0
        )
        contest._log_odds(None, two, one)  # noqa: SLF001
    for ring, rival in ((one, two), (two, one)):
        how = next(told for ellipse, told in asked if ellipse is ring.ellipse)
        nearest, farthest = reach(ring.ellipse, rival.ellipse)
        half = max(half_px(blur), half_px(other))
        assert how["span_px"][0] <= min(nearest, 0) - half + 1e-6
        assert how["span_px"][1] >= max(farthest, 0) + half - 1e-6
        assert how["blur_px"] == ring.located.blur_px


# An edge outside


GLOW, OUTSIDE = placed(circle(100.0), blur_px=2.4), placed(circle(109.0), blur_px=2.4)


@pytest.mark.parametrize(
    ("ahead", "facts", "refused"),
    [
        (3.1, {}, True),
        (2.9, {}, False),
        (50.0, {"blur_px": 2.0}, True),
        (50.0, {"blur_px": 3.4}, False),  # the foot of a ridge
        (50.0, {"settles": circle(101.0)}, False),  # slides back to the rim
        (50.0, {"rim_blur_px": 1.2, "blur_px": 1.2}, False),  # an edge in focus ends no glow
    ],
)
def test_an_edge_outside_is_a_rival_where_it_stays_as_sharp_and_far_likelier(
    stage, ahead, facts, refused
):
    found = placed(GLOW.ellipse, blur_px=facts.get("rim_blur_px", 2.4))
    stage.rests(lambda _: placed(OUTSIDE.ellipse, blur_px=facts.get("blur_px", 2.4)))
    stage.edge("edge_outside", circle(108.0), settles=facts.get("settles"))
    stage.light_says({109.0: ahead})
    refusal = outer_rival(None, found)
    if refused:
        assert refusal.code == "rival-rings"
        assert refusal.evidence == {"diameter_px": 200.0, "rival_px": 218.0}
    else:
        assert refusal is None


def test_without_an_edge_outside_there_is_no_rival(stage):
    stage.edge("edge_outside", None)
    assert outer_rival(None, GLOW) is None


def test_an_edge_outside_that_comes_to_rest_nowhere_is_no_rival(stage):
    stage.edge("edge_outside", OUTSIDE.ellipse)
    stage.light_says({109.0: 50.0})
    assert outer_rival(None, GLOW) is None
    assert stage.starts


# An edge inside


def flank(stage, *, ahead=0.0, inside=92.0, rests=92.0, blur_px=1.0):
    """The flank inside a rim of 100 px, `ahead` by its light."""
    found, other = placed(circle(100.0)), placed(circle(rests), blur_px=blur_px)
    stage.edge("edge_inside", circle(inside))
    stage.rests(lambda _: other)
    stage.light_says({rests: ahead})
    result = inner_flank(None, found)
    if isinstance(result, Refusal):
        assert result.code == "rival-rings"
        assert result.evidence == {"diameter_px": 200.0, "rival_px": 2 * rests}
        return "rivals"
    return "outer" if result is found else "inner" if result is other else None


@pytest.mark.parametrize(
    ("facts", "taken"),
    [
        ({"ahead": 3.1}, "inner"),
        ({"ahead": 3.1, "inside": 70.0}, "inner"),
        ({"ahead": 2.9}, "rivals"),
        ({"ahead": 0.1, "inside": 83.0}, "rivals"),
        ({"ahead": -0.1}, "rivals"),
        ({"ahead": -0.1, "inside": 85.0}, "rivals"),  # 7 px from where it seemed to be, of 8
        ({"ahead": -0.1, "inside": 83.0}, "outer"),  # 9 px
        ({"ahead": -2.9, "blur_px": 2.7}, "rivals"),
        ({"ahead": -3.1, "blur_px": 2.7}, "outer"),
        ({"ahead": -3.1, "blur_px": 2.3}, "rivals"),
        ({"ahead": 50.0, "rests": 99.0}, "outer"),  # the same edge
        ({"ahead": 50.0, "rests": 107.0}, "outer"),  # none inside
    ],
)
def test_the_inner_flank_is_taken_or_a_rival_by_light_place_and_sharpness(stage, facts, taken):
    assert flank(stage, **facts) == taken


def test_a_flank_that_comes_to_rest_nowhere_leaves_the_rim(stage):
    stage.edge("edge_inside", circle(92.0))
    found = placed(circle(100.0))
    assert inner_flank(None, found) is found
    assert stage.starts


@given(st.floats(80, 95.5), st.floats(0.7, 7.0), st.floats(0.7, 7.0))
def test_both_flanks_are_asked_of_the_same_light_which_holds_either_edge(m, blur, other):
    """To the pixel; another stretch would have other finish to explain."""
    asked = {}

    def told(_, ellipse, *, blur_px, span_px):
        asked[ellipse.m] = (blur_px, ellipse.m + np.array(span_px))
        return 0.0

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(contest, "edge_inside", lambda *_: circle(m))
        patch.setattr(contest, "placed_on", lambda *_: placed(circle(m), blur_px=other))
        patch.setattr(contest, "log_likelihood", told)
        inner_flank(None, placed(circle(100.0), blur_px=blur))
    half = max(half_px(blur), half_px(other))
    assert (asked[100.0][0], asked[m][0]) == (blur, other)
    for _, radii in asked.values():
        assert m - half - 1 <= radii[0] <= m - half + 1e-6
        assert 100 + half - 1e-6 <= radii[1] <= 100 + half + 1
