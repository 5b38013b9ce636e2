"""Gates and rivals that whole photos seldom reach, called by themselves."""

from dataclasses import replace

import numpy as np
import pytest

from rimread.photo import Photo
from rimread.rim import gates
from rimread.rim.ellipse import Ellipse
from rimread.rim.model import Rim
from rimread.rim.rivals import may_rival, rivalled, rivals
from rimread.rim.seed import Seed
from rimread.rim.trace import Ring

ARCS = 96


ELLIPSE = Ellipse(x=200.0, y=200.0, m=150.0)
TURN = np.arange(ARCS) * (2 * np.pi / ARCS)


def rim(coverage, *, ellipse=ELLIPSE, off=0.0):
    """A rim whose points lie `off` radii off its ellipse by turns, inside and outside."""
    middle = [ellipse.x, ellipse.y]
    aside = (1 + off * (-1) ** np.arange(ARCS))[:, None]
    return Rim(
        points_px=(ellipse.points(TURN) - middle) * aside + middle,
        weights=np.ones(ARCS),
        u_points_px=np.full(ARCS, 0.1),
        ellipse=ellipse,
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


@pytest.mark.parametrize(("off", "code"), [(0.016, "rim-unclear"), (0.014, None)])
def test_points_off_the_ellipse_beyond_their_doubt_are_no_rim(off, code):
    all_round, ragged = np.ones(ARCS, bool), rim(1.0, off=off)
    refusal = gates.seen(ragged, all_round, speaking=all_round, moved_px=0.1)
    assert getattr(refusal, "code", None) == code
    unsure = replace(ragged, u_points_px=np.full(ARCS, off * ELLIPSE.m))
    assert gates.seen(unsure, all_round, speaking=all_round, moved_px=0.1) is None


@pytest.mark.parametrize(("sides", "code"), [(6, "rim-unclear"), (8, "rim-unclear"), (14, None)])
def test_a_polygon_is_no_rim(sides, code):
    radius = 150 * np.cos(np.pi / sides) / np.cos(TURN % (2 * np.pi / sides) - np.pi / sides)
    grain = replace(
        rim(1.0),
        points_px=200 + radius[:, None] * np.stack([np.cos(TURN), np.sin(TURN)], axis=1),
        ellipse=Ellipse(x=200.0, y=200.0, m=float(radius.mean())),
    )
    all_round = np.ones(ARCS, bool)
    refusal = gates.seen(grain, all_round, speaking=all_round, moved_px=0.1)
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
    stretched = rim(part, ellipse=replace(ELLIPSE, f=75.0 * oval))
    arcs = spread(part)
    refusal = gates.seen(stretched, arcs, speaking=arcs, moved_px=0.1)
    assert getattr(refusal, "code", None) == code


def test_an_ellipse_that_does_not_settle_is_unclear():
    refusal = gates.seen(rim(1.0), spread(1.0), speaking=spread(1.0), moved_px=3.0)
    assert refusal.code == "rim-unclear"


def ring(*, evidence, agreement=1.0, m=150.0, x=200.0):
    return Ring(ellipse=Ellipse(x=x, y=200.0, m=m), evidence=evidence, agreement=agreement)


@pytest.mark.parametrize(
    ("other", "rival"),
    [
        (ring(evidence=1.7, m=120.0, agreement=0.75), True),  # as good
        (ring(evidence=1.1, m=120.0), True),  # sure
        (ring(evidence=1.1, m=120.0, agreement=0.85), False),
        (ring(evidence=1.7, m=145.0), False),  # the rim itself
        (ring(evidence=1.7, m=80.0), False),  # a glint
        (ring(evidence=1.7, m=120.0, x=240.0), False),  # beside it
    ],
)
def test_rivals_lie_about_the_same_centre_and_are_as_well_explained(other, rival):
    found = rivals(rim(1.0), [other])
    assert found == ([other] if rival else [])


def test_both_rivals_are_named():
    refusal = rivalled(rim(1.0).ellipse, ring(evidence=1.7, m=120.0).ellipse)
    assert refusal.evidence["rival_px"] == 240.0
    assert refusal.evidence["diameter_px"] == 2 * rim(1.0).ellipse.m
    assert " 240 and " in refusal.message or " and 240 " in refusal.message


@pytest.mark.parametrize(
    ("evidence", "blur_px", "may"),
    [(0.8, 1.2, True), (0.8, 7.0, False), (1.2, 7.0, True)],
)
def test_a_weak_rival_must_be_as_sharp_as_the_rim(evidence, blur_px, may):
    assert may_rival(rim(1.0), ring(evidence=evidence, m=120.0), blur_px) == may


@pytest.mark.parametrize(("m", "touches"), [(40.0, False), (59.0, False), (61.0, True)])
def test_a_small_spot_beside_the_rim_is_no_second_indent(m, touches):
    """It must carry the gain of a rim and be of a size that one ball makes: 0.4 of the other's."""
    photo = Photo(grey=np.full((800, 800), 128, np.uint8), tone="srgb", name="", sha256="")
    rings = [ring(evidence=2.5), ring(evidence=2.4, m=m, x=500.0)]
    refusal = gates.first_failed(photo, (Seed(200.0, 200.0, 150.0, 3.0),), rings)
    assert (getattr(refusal, "code", None) == "several-indents") == touches


def even(grey=128, height=800, width=800):
    return Photo(grey=np.full((height, width), grey, np.uint8), tone="srgb", name="", sha256="")


def disc(inside, outside, *, clipped_part=0.0, m=150.0):
    """A flat bowl in a flat face; the face is at full light on a part of the turn."""
    y, x = np.mgrid[:800, :800] - 400.0
    grey = np.where(np.hypot(x, y) < m, inside, outside)
    part = np.arctan2(y, x) < np.pi * (2 * clipped_part - 1)
    return replace(even(), grey=np.where(part & (np.hypot(x, y) >= m), 255, grey).astype(np.uint8))


def code_of(refusal):
    return getattr(refusal, "code", None)


@pytest.mark.parametrize(
    ("darkest", "share", "code"),
    [(252, 0.0, "overexposed"), (250, 0.0, None), (100, 0.04, "overexposed"), (100, 0.08, None)],
)
def test_a_photo_is_washed_out_when_nearly_all_of_it_is_white(darkest, share, code):
    """Own choice of 0.985 of full light for the darkest twentieth: 251 of 255 is not beyond it."""
    photo = even(255 if share else darkest, height=3200, width=3200)
    photo.grey[: round(3200 * share)] = darkest
    assert code_of(gates.exposed(photo)) == code


@pytest.mark.parametrize(
    ("bright", "share", "code"),
    [(30, 0.05, "no-indent"), (22, 0.05, "underexposed"), (255, 0.005, "underexposed")],
)
def test_no_ring_is_blamed_on_the_dark_where_hardly_a_spot_is_bright(bright, share, code):
    photo = even(5, height=3200, width=3200)
    photo.grey[: round(3200 * share)] = bright
    assert gates.no_indent(photo).code == code


@pytest.mark.parametrize(
    ("x", "y", "cut"),
    [
        (153.0, 200.0, False),
        (149.0, 200.0, True),
        (446.0, 200.0, False),
        (449.0, 200.0, True),
        (300.0, 153.0, False),
        (300.0, 149.0, True),
        (300.0, 246.0, False),
        (300.0, 249.0, True),
    ],
)
def test_a_ring_must_lie_in_the_picture_on_every_side(x, y, cut):
    refusal = gates.framed(even(height=400, width=600), Ellipse(x=x, y=y, m=150.0))
    assert code_of(refusal) == ("cut-by-frame" if cut else None)


@pytest.mark.parametrize(
    ("inside", "outside", "code"),
    [
        (10, 20, "underexposed"),
        (10, 30, None),
        (30, 10, None),
        (250, 254, "overexposed"),
        (254, 100, "overexposed"),
        (250, 240, None),
    ],
)
def test_the_brighter_side_of_the_rim_says_whether_there_is_light_enough(inside, outside, code):
    assert (
        code_of(gates.well_lit(disc(inside, outside), Ellipse(x=400.0, y=400.0, m=150.0))) == code
    )


@pytest.mark.parametrize(("part", "code"), [(0.75, None), (0.87, "overexposed")])
def test_a_rim_next_to_clipped_light_on_most_of_its_turn_is_refused(part, code):
    photo = disc(60, 120, clipped_part=part)
    assert code_of(gates.well_lit(photo, Ellipse(x=400.0, y=400.0, m=150.0))) == code


def judged(*rings, alignment=3.0, photo=None):
    seed = Seed(400.0, 400.0, rings[0].ellipse.m, alignment)
    return code_of(gates.first_failed(photo or disc(90, 130), (seed,), list(rings)))


def middle(**changes):
    first = ring(evidence=2.0, x=400.0)
    ellipse = replace(first.ellipse, **{"y": 400.0, **changes.pop("ellipse", {})})
    return replace(first, ellipse=ellipse, **changes)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({}, None),
        ({"evidence": 0.45, "agreement": 0.6}, None),
        ({"evidence": 0.35}, "rim-unclear"),
        ({"agreement": 0.6}, None),
        ({"agreement": 0.5}, "rim-unclear"),
        ({"ellipse": {"m": 31.0}, "evidence": 5.0}, None),
        ({"ellipse": {"m": 29.0}, "evidence": 5.0}, "too-few-pixels"),
        ({"ellipse": {"e": 8.5}}, None),  # axes apart by 2 e, here 0.113 of the mean
        ({"ellipse": {"e": 9.5}}, "no-indent"),
        ({"ellipse": {"x": 140.0}}, "cut-by-frame"),
    ],
)
def test_the_best_ring_passes_or_is_told_what_it_lacks(changes, code):
    """Each gate of one ring, a little on either side of its limit."""
    assert judged(middle(**changes)) == code


@pytest.mark.parametrize(
    ("alignment", "evidence", "agreement", "code"),
    [
        (0.95, 0.5, 0.6, None),
        (0.8, 0.5, 0.6, "no-indent"),  # neither a seed nor a ring that convinces
        (0.8, 1.2, 0.75, None),  # the ring alone: 0.9 m of gain on 150 px
        (0.8, 1.2, 0.65, "no-indent"),
        (0.8, 0.9, 0.75, "no-indent"),  # 0.675 m are 101 px, under 120
        (0.95, 0.15, 0.9, "no-indent"),
        (0.95, 0.25, 0.9, "rim-unclear"),
    ],
)
def test_a_seed_or_a_ring_must_convince(alignment, evidence, agreement, code):
    assert judged(middle(evidence=evidence, agreement=agreement), alignment=alignment) == code


@pytest.mark.parametrize(("alignment", "code"), [(0.8, "cut-by-frame"), (0.7, "no-indent")])
def test_a_ring_that_leaves_the_picture_needs_less_of_a_seed(alignment, code):
    outside = middle(ellipse={"x": 140.0}, evidence=0.6, agreement=0.6)
    assert judged(outside, alignment=alignment) == code


def beside(**changes):
    """Another ring, its centre as high as that of `middle`."""
    other = ring(**{"evidence": 1.9, "agreement": 1.0, **changes})
    return replace(other, ellipse=replace(other.ellipse, y=400.0))


@pytest.mark.parametrize(
    ("other", "evidence", "code"),
    [
        ({"x": 600.0, "m": 140.0}, 2.0, "overlapping-indents"),  # rims cross
        ({"x": 660.0, "m": 100.0}, 3.0, "several-indents"),  # of another size, 0.63 of the first's
        ({"x": 660.0, "m": 100.0}, 3.3, None),  # 0.58
        ({"x": 660.0, "m": 100.0, "agreement": 0.65}, 2.0, None),
        ({"x": 450.0, "m": 110.0}, 2.0, None),  # a mark in the bowl
        ({"x": 480.0, "m": 110.0}, 2.0, "overlapping-indents"),
    ],
)
def test_a_second_ring_is_an_indent_or_a_mark(other, evidence, code):
    assert judged(middle(evidence=evidence), beside(**other)) == code


@pytest.mark.parametrize(
    ("evidence", "m", "agreement", "code"),
    [
        (0.9, 125.0, 0.6, "overlapping-indents"),  # of like size: 0.4 of the first's is enough
        (0.7, 125.0, 0.6, None),
        (0.9, 125.0, 0.5, None),
        (0.9, 110.0, 0.9, None),  # a quarter smaller or more: 0.6
    ],
)
def test_two_that_overlap_have_each_lost_part_of_their_rims(evidence, m, agreement, code):
    second = beside(evidence=evidence, m=m, agreement=agreement, x=600.0)
    assert judged(middle(), second) == code


def test_a_second_ring_that_leaves_the_picture_does_not_count_unless_it_overlaps():
    outside = beside(m=140.0, x=720.0)
    assert judged(middle(), outside) is None
    assert judged(middle(ellipse={"x": 500.0}), outside) == "overlapping-indents"


@pytest.mark.parametrize(
    ("blur_px", "m", "code"),
    [
        (1.9, 60.0, None),
        (2.2, 60.0, "out-of-focus"),
        (3.6, 150.0, None),
        (3.9, 150.0, "out-of-focus"),
        (6.8, 400.0, None),
        (7.1, 400.0, "out-of-focus"),
    ],
)
def test_blur_is_held_against_the_diameter_but_never_under_two_pixels(blur_px, m, code):
    """0.0125 of the diameter, and no more than nine tenths of the widest blur tried (7.72 px)."""
    blurred = replace(rim(1.0, ellipse=replace(ELLIPSE, m=m)), blur_px=blur_px)
    all_round = np.ones(ARCS, bool)
    assert code_of(gates.seen(blurred, all_round, speaking=all_round, moved_px=0.1)) == code


@pytest.mark.parametrize(("missing", "code"), [(26, None), (27, "rim-incomplete")])
@pytest.mark.parametrize("start", [0, 30, 80])
def test_the_largest_gap_in_the_turn_counts_wherever_it_lies(missing, code, start):
    """26 of 96 arcs are 97.5 degrees, 27 are 101.25; the limit is 100."""
    arcs = np.roll(np.arange(ARCS) >= missing, start)
    refusal = gates.seen(rim(1 - missing / ARCS), arcs, speaking=arcs, moved_px=0.1)
    assert code_of(refusal) == code


@pytest.mark.parametrize(("part", "code"), [(0.58, None), (0.52, "rim-incomplete")])
def test_a_rim_must_be_seen_on_more_than_half_of_its_turn(part, code):
    arcs = spread(part)
    assert code_of(gates.seen(rim(part), arcs, speaking=arcs, moved_px=0.1)) == code


@pytest.mark.parametrize(("moved_px", "code"), [(1.9, None), (2.1, "rim-unclear")])
def test_two_pixels_on_the_last_pass_are_the_most(moved_px, code):
    all_round = np.ones(ARCS, bool)
    refusal = gates.seen(rim(1.0), all_round, speaking=all_round, moved_px=moved_px)
    assert code_of(refusal) == code


@pytest.mark.parametrize(
    ("other", "rival"),
    [
        (ring(evidence=1.7, m=138.5), False),  # nearer than 12 px it is the same rim
        (ring(evidence=1.7, m=137.0), True),
        (ring(evidence=1.7, m=92.0), True),  # 0.613 of its size
        (ring(evidence=1.7, m=88.0), False),
        (ring(evidence=1.7, m=120.0, x=221.0), True),  # 0.14 radii off
        (ring(evidence=1.7, m=120.0, x=224.0), False),
        (ring(evidence=1.55, m=120.0, agreement=0.85), False),  # under 0.8 of the rim's
        (ring(evidence=0.95, m=120.0), False),  # and not sure
        (ring(evidence=1.1, m=120.0, agreement=0.92), True),
    ],
)
def test_limits_of_a_rival(other, rival):
    assert rivals(rim(1.0), [other]) == ([other] if rival else [])


def test_a_wide_edge_has_its_rivals_further_off():
    wide = replace(rim(1.0), blur_px=10.0)
    assert rivals(wide, [ring(evidence=1.7, m=133.0)]) == []
    assert rivals(wide, [ring(evidence=1.7, m=125.0)]) != []


@pytest.mark.parametrize(
    ("evidence", "blur_px", "may"),
    [(0.95, 2.4, True), (0.95, 2.6, False), (1.05, 2.6, True)],
)
def test_limits_of_a_weak_rival(evidence, blur_px, may):
    assert may_rival(rim(1.0), ring(evidence=evidence, m=120.0), blur_px) == may


def test_the_best_ring_must_be_lit_as_well():
    assert judged(middle(), photo=disc(10, 20)) == "underexposed"
    assert judged(middle(), photo=disc(90, 254)) == "overexposed"
