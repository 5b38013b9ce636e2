"""An ellipse brought to rest on a rim, and which of the places along it have a say."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import ndtr
from tests.rim.drawn import light_about, taken

from rimread.rim import gates, placed
from rimread.rim.ellipse import Ellipse, largest_move
from rimread.rim.locate import NEAR_THE_FRAME, Located, Settled
from rimread.rim.placed import Placed, placed_on

SIZE = 300
TRUE = Ellipse(x=150.2, y=149.7, m=90.0, e=1.0, f=-0.6)


def disc(*, blur_px=1.2, ellipse=TRUE, noise=0.003):
    """A dark disc with a blurred edge."""
    return light_about(
        ellipse, lambda q: 0.5 - 0.25 * ndtr(-q / blur_px), size=SIZE, noise=noise, seed=0
    )


def off(**moves):
    """The true ellipse moved."""
    return replace(TRUE, **{name: getattr(TRUE, name) + by for name, by in moves.items()})


@pytest.mark.parametrize(
    "start", [off(), off(m=4.0), off(m=-4.0), off(x=3.0, y=-3.0), off(e=2.0, f=2.0)]
)
def test_an_ellipse_beside_a_rim_comes_to_rest_on_it(start):
    found = placed_on(taken(disc()), start)
    assert isinstance(found, Placed)
    assert largest_move(found.ellipse, TRUE) < 0.15
    assert found.moved_px < 0.5
    assert np.abs(TRUE.distance(found.points_px)).max() < 0.4
    assert found.weights.min() > 0


def test_an_ellipse_farther_off_than_a_profile_reaches_is_brought_nearer_step_by_step():
    found = placed_on(taken(disc()), off(x=6.0, y=5.0))
    assert isinstance(found, Placed)
    assert largest_move(found.ellipse, TRUE) < 0.15


def test_each_settling_begins_where_the_last_one_ended(monkeypatch):
    """Here by at most 5 px at a time, from 14 px outside."""

    def settle(_, ellipse):
        step = np.clip(TRUE.m - ellipse.m, -5.0, 5.0)
        return Settled(replace(ellipse, m=ellipse.m + step), 1.28, 3.5)

    monkeypatch.setattr(placed, "settle", settle)
    found = placed_on(taken(disc()), off(m=14.0))
    assert largest_move(found.ellipse, TRUE) < 0.15


@pytest.mark.parametrize("stage", ["settle", "locate"])
def test_why_no_place_was_found_is_handed_on(monkeypatch, stage):
    monkeypatch.setattr(placed, stage, lambda *_: NEAR_THE_FRAME)
    assert placed_on(taken(disc()), TRUE) is NEAR_THE_FRAME


def test_a_rim_too_near_the_frame_is_refused():
    """In the picture on a tenth of its turn, in the corners."""
    cut = replace(TRUE, x=SIZE / 2, y=SIZE / 2, m=1.25 * SIZE / 2)
    assert placed_on(taken(disc(ellipse=cut)), cut).code == "cut-by-frame"


@pytest.fixture
def settled_as(monkeypatch):
    """Lets every ellipse settle as told."""

    def settle(ellipse, *, blur_px=1.28, reach_px=4.0):
        told = Settled(ellipse, blur_px, reach_px)
        monkeypatch.setattr(placed, "settle", lambda *_: told)

    return settle


@pytest.mark.parametrize("start", [off(m=2.4), off(m=-2.4), off(x=2.4)])
def test_profiles_are_taken_anew_until_the_ellipse_stays(settled_as, start):
    settled_as(start)
    found = placed_on(taken(disc()), TRUE)
    assert found.moved_px < 0.5
    assert np.median(np.abs(found.located.q_px)) < 0.3
    assert largest_move(found.ellipse, TRUE) < 0.15


def test_how_far_the_last_fit_moved_is_told(settled_as, monkeypatch):
    settled_as(off(m=2.4))
    monkeypatch.setattr(placed, "PASSES", 1)
    assert placed_on(taken(disc()), TRUE).moved_px == pytest.approx(2.4, abs=0.2)


@pytest.mark.parametrize(("blur_px", "first_px"), [(0.9, 3.13), (3.0, 0.95)])
def test_a_blur_taken_wrongly_at_first_is_found_on_the_rim(settled_as, blur_px, first_px):
    settled_as(TRUE, blur_px=first_px)
    found = placed_on(taken(disc(blur_px=blur_px)), TRUE)
    assert found.located.blur_px == pytest.approx(blur_px, rel=0.2)


@pytest.mark.parametrize(("ratio", "lost"), [(0.45, True), (0.6, False), (1.8, False), (2.2, True)])
def test_an_ellipse_that_settles_at_half_or_twice_its_size_is_lost(settled_as, ratio, lost):
    settled_as(TRUE)
    found = placed_on(taken(disc()), replace(TRUE, m=TRUE.m / ratio))
    assert (found is gates.LOST) == lost
    assert isinstance(found, Placed) != lost


def located(**facts):
    """What `locate` tells of 96 arcs: all on the ellipse, all seen, but for some facts."""
    arcs = 96
    told = {
        "t": np.arange(arcs) * (2 * np.pi / arcs),
        "q_px": np.zeros(arcs),
        "u_px": np.full(arcs, 0.05),
        "log_odds": np.full(arcs, 20.0),
        "u_common_px": 0.1,
        "blur_px": 1.28,
        "rounding_px": 0.2,
        "inside": np.ones(arcs, bool),
        "clipped": np.zeros(arcs, bool),
        "dark": np.zeros(arcs),
    }
    return Located(**told | facts)


@pytest.fixture
def placed_at(settled_as, monkeypatch):
    """Places as told, the ellipse moved onto them once."""

    def place(**facts):
        settled_as(TRUE)
        monkeypatch.setattr(placed, "PASSES", 1)
        monkeypatch.setattr(placed, "locate", lambda *_: located(**facts))
        return placed_on(SimpleNamespace(), TRUE)

    return place


EVEN = np.arange(96) % 2 == 0


@pytest.mark.parametrize(("ratio", "lost"), [(0.4, True), (0.7, False), (1.6, False), (2.5, True)])
def test_a_rim_whose_places_make_it_half_or_twice_as_large_is_lost(placed_at, ratio, lost):
    found = placed_at(q_px=np.full(96, (ratio - 1) * TRUE.m))
    assert (found is gates.LOST) == lost


def test_a_place_outside_the_ellipse_lies_outside_it(placed_at):
    found = placed_at(q_px=np.where(EVEN, 0.7, -0.4))
    assert TRUE.distance(found.points_px) == pytest.approx(np.where(EVEN, 0.7, -0.4), abs=1e-6)
    assert found.ellipse.m == pytest.approx(TRUE.m + 0.15, abs=0.02)


def test_places_ten_times_less_sure_hardly_count(placed_at):
    """By the inverse of their variance: about one in a hundred."""
    found = placed_at(q_px=np.where(EVEN, 0.3, 0.0), u_px=np.where(EVEN, 4.0, 0.4))
    assert found.ellipse.m - TRUE.m < 0.3 * 0.02


def test_places_much_surer_than_rims_are_round_count_alike(placed_at):
    """A place sure to 0.01 px on a rim with lobes says no more than one sure to 0.05 px."""
    found = placed_at(u_px=np.where(EVEN, 0.01, 0.05))
    assert np.ptp(found.weights) < 0.05 * found.weights.max()


@pytest.mark.parametrize("blur_px", [0.95, 2.0])
def test_clipped_arcs_count_by_the_width_of_their_blur(placed_at, blur_px):
    """Their edge may lie anywhere in it: the variance grows with the square of the blur."""
    says = []
    for blur in (blur_px, 2 * blur_px):
        found = placed_at(clipped=EVEN, blur_px=blur, u_px=np.zeros(96))
        says.append((found.weights[EVEN] / found.weights[~EVEN]).mean())
    assert says[1] == pytest.approx(says[0] / 4, rel=1e-6)
    assert says[0] < 0.1


def test_arcs_cut_by_the_frame_have_no_say(placed_at):
    found = placed_at(inside=~EVEN, q_px=np.where(EVEN, 0.3, 0.0))
    assert (found.weights > 0).tolist() == (~EVEN).tolist()
    assert found.ellipse.m == pytest.approx(TRUE.m, abs=1e-6)


@pytest.mark.parametrize("unseen", [0.1, 0.4])
def test_arcs_without_a_break_have_no_say_beside_more_that_have_one(placed_at, unseen):
    hidden = np.arange(96) < 96 * unseen
    found = placed_at(log_odds=np.where(hidden, -1.0, 5.0))
    assert (found.weights == 0).tolist() == hidden.tolist()


@pytest.mark.parametrize("unseen", [0.6, 0.8])
def test_where_most_arcs_show_no_break_all_count(placed_at, unseen):
    """A few arcs on one side would let the ellipse go astray on the other."""
    hidden = np.arange(96) < 96 * unseen
    assert placed_at(log_odds=np.where(hidden, -1.0, 5.0)).weights.min() > 0


@pytest.mark.parametrize(("edge_px", "turn_deg"), [(-2.5, 45), (1.5, 45), (2.5, 45), (4.0, 60)])
def test_a_stain_with_an_edge_of_its_own_does_not_bend_the_ellipse(placed_at, edge_px, turn_deg):
    """The ellipse is that on which most places agree."""
    stained = np.arange(96) < 96 * turn_deg / 360
    grain = np.random.default_rng(0).normal(0, 0.05, 96)
    found = placed_at(q_px=np.where(stained, edge_px, 0.0) + grain)
    assert (found.weights[stained] == 0).all()
    assert found.weights[~stained].min() > 0
    assert largest_move(found.ellipse, TRUE) < 0.2


def test_a_rim_that_waves_by_half_a_pixel_keeps_all_its_places(placed_at):
    wave = 0.5 * np.cos(5 * np.arange(96) * (2 * np.pi / 96))
    found = placed_at(q_px=wave)
    assert found.weights.min() > 0
    assert largest_move(found.ellipse, TRUE) < 0.02
