"""Gates that whole photos seldom reach, called by themselves."""

import numpy as np
import pytest

from rimread.rim import gates
from rimread.rim.ellipse import Ellipse
from rimread.rim.model import Rim

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
        clipped=0.0,
        evidence=2.0,
    )


def spread(part):
    """That part of the arcs, evenly round the turn."""
    return np.diff(np.floor(np.arange(ARCS + 1) * part)) > 0


@pytest.mark.parametrize(("on", "code"), [(0.7, "rim-unclear"), (0.8, None), (1.0, None)])
def test_a_quarter_of_the_edges_elsewhere_is_too_many(on, code):
    refusal = gates.seen(rim(on), spread(on), broken=np.ones(ARCS, bool), moved_px=0.1)
    assert getattr(refusal, "code", None) == code


def test_arcs_that_show_no_edge_are_silent():
    arcs = spread(0.7)
    assert gates.seen(rim(0.7), arcs, broken=arcs, moved_px=0.1) is None


def test_too_few_edges_in_all_are_an_incomplete_rim():
    refusal = gates.seen(rim(0.35), spread(0.35), broken=spread(0.5), moved_px=0.1)
    assert refusal.code == "rim-incomplete"


def test_an_ellipse_that_does_not_settle_is_unclear():
    refusal = gates.seen(rim(1.0), spread(1.0), broken=spread(1.0), moved_px=3.0)
    assert refusal.code == "rim-unclear"
