"""Gates that whole photos seldom reach, called by themselves."""

from dataclasses import replace

import numpy as np
import pytest

from rimread.photo import Photo
from rimread.rim import gates
from rimread.rim.ellipse import Ellipse
from rimread.rim.model import Rim
from rimread.rim.seed import Seed
from rimread.rim.trace import Ring

ARCS = 96


def rim(coverage):
    return Rim(
        points_px=np.zeros((ARCS, 2)),
        weights=np.ones(ARCS),
        ellipse=Ellipse(x=200.0, y=200.0, m=150.0),
        blur_px=1.0,
        rounding_px=0.2,
        u_common_px=0.1,
        coverage=coverage,
        clipped=np.zeros(ARCS, bool),
        dark_foot=0.0,
        evidence=2.0,
    )


def spread(part):
    """That part of the arcs, evenly round the turn."""
    return np.diff(np.floor(np.arange(ARCS + 1) * part)) > 0


@pytest.mark.parametrize(("on", "code"), [(0.7, "rim-unclear"), (0.8, None), (1.0, None)])
def test_a_quarter_of_the_edges_elsewhere_is_too_many(on, code):
    refusal = gates.seen(rim(on), spread(on), speaking=np.ones(ARCS, bool), moved_px=0.1)
    assert getattr(refusal, "code", None) == code


def test_arcs_that_show_no_edge_are_silent():
    arcs = spread(0.7)
    assert gates.seen(rim(0.7), arcs, speaking=arcs, moved_px=0.1) is None


def test_clipped_arcs_off_the_ellipse_do_not_speak_against_it():
    unclipped = spread(0.6)
    assert gates.seen(rim(0.6), unclipped, speaking=unclipped, moved_px=0.1) is None
    assert gates.seen(rim(0.6), unclipped, speaking=np.ones(ARCS, bool), moved_px=0.1) is not None


def test_clipped_arcs_on_the_ellipse_do_not_speak_for_it():
    clipped = np.arange(ARCS) < 0.4 * ARCS
    on = clipped | spread(0.6)
    assert gates.seen(rim(0.9), on, speaking=~clipped, moved_px=0.1).code == "rim-unclear"
    assert gates.seen(rim(0.9), on, speaking=np.ones(ARCS, bool), moved_px=0.1) is None


def test_too_few_edges_in_all_are_an_incomplete_rim():
    refusal = gates.seen(rim(0.35), spread(0.35), speaking=spread(0.5), moved_px=0.1)
    assert refusal.code == "rim-incomplete"


@pytest.mark.parametrize(
    ("oval", "part", "code"),
    [(0.05, 0.75, "rim-incomplete"), (0.05, 0.85, None), (0.03, 0.75, None), (0.0, 0.6, None)],
)
def test_an_oval_rim_must_be_seen_on_more_of_its_turn(oval, part, code):
    stretched = replace(rim(part), ellipse=Ellipse(x=200.0, y=200.0, m=150.0, f=75.0 * oval))
    arcs = spread(part)
    refusal = gates.seen(stretched, arcs, speaking=arcs, moved_px=0.1)
    assert getattr(refusal, "code", None) == code


def test_an_ellipse_that_does_not_settle_is_unclear():
    refusal = gates.seen(rim(1.0), spread(1.0), speaking=spread(1.0), moved_px=3.0)
    assert refusal.code == "rim-unclear"


def ring(*, evidence, agreement=1.0, m=150.0, x=200.0):
    return Ring(ellipse=Ellipse(x=x, y=200.0, m=m), evidence=evidence, agreement=agreement)


@pytest.mark.parametrize(
    ("other", "rivals"),
    [
        (ring(evidence=1.7, m=120.0, agreement=0.75), True),  # as good
        (ring(evidence=1.1, m=120.0), True),  # sure
        (ring(evidence=1.1, m=120.0, agreement=0.85), False),
        (ring(evidence=1.7, m=145.0), False),  # the rim itself
        (ring(evidence=1.7, m=80.0), False),  # a glint
        (ring(evidence=1.7, m=120.0, x=240.0), False),  # beside it
    ],
)
def test_rivals_lie_about_the_same_centre_and_are_as_well_explained(other, rivals):
    found = gates.rivals(rim(1.0), [other])
    assert found == ([other] if rivals else [])


def test_both_rivals_are_named():
    refusal = gates.rivalled(rim(1.0).ellipse, ring(evidence=1.7, m=120.0).ellipse)
    assert refusal.evidence["rival_px"] == 240.0
    assert refusal.evidence["diameter_px"] == 2 * rim(1.0).ellipse.m
    assert " 240 and " in refusal.message or " and 240 " in refusal.message


@pytest.mark.parametrize(
    ("evidence", "blur_px", "may"),
    [(0.8, 1.2, True), (0.8, 7.0, False), (1.2, 7.0, True)],
)
def test_a_weak_rival_must_be_as_sharp_as_the_rim(evidence, blur_px, may):
    assert gates.may_rival(rim(1.0), ring(evidence=evidence, m=120.0), blur_px) == may


@pytest.mark.parametrize(("m", "touches"), [(20.0, False), (60.0, True)])
def test_a_small_spot_beside_the_rim_is_no_second_indent(m, touches):
    """Of another size it must carry the gain of a rim; of like size less does."""
    photo = Photo(grey=np.full((800, 800), 128, np.uint8), tone="srgb", name="", sha256="")
    rings = [ring(evidence=2.5), ring(evidence=2.4, m=m, x=500.0)]
    refusal = gates.first_failed(photo, (Seed(200.0, 200.0, 150.0, 3.0),), rings)
    assert (getattr(refusal, "code", None) == "several-indents") == touches
