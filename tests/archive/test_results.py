"""Old against new over a whole archive: counts, order, picture."""

import statistics
from array import array

import pytest

from rimread.archive.differences import Difference
from rimread.archive.results import Comparison, _disagreement, draw
from rimread.archive.run import REPEATED


def test_drawn_as_all_figures_are():
    found = Comparison(array("d", [3.0, 3.5]), array("d", [0.01, -0.02]), array("d", [0.5, -2.0]))
    for axes in draw(found).axes:
        assert not axes.spines["top"].get_visible()
        assert not axes.spines["right"].get_visible()


def compared(old_mm, new_mm, error, why=""):
    return Difference(old_mm, 200.0, 0.02, new_mm - old_mm, 0.0, error, why)


def test_what_is_counted_of_a_comparison():
    found = Comparison()
    for difference in (
        compared(3.0, 3.01, 0.3),
        compared(3.0, 2.97, -1.2, "disagrees"),
        compared(3.0, 3.05, 1.4, "disagrees"),
        Difference(3.0, None, None, why="too-far-apart"),
        Difference(12.0, None, None, why="no-number"),
        Difference(3.0, 200.0, 0.02, why="refused-now"),
    ):
        found.add(difference, {"pull": difference.why})
    assert len(found.error) == 3
    assert found.disagreeing == 2
    assert found.too_far_apart == 2
    assert [row["pull"] for row in found.pulled] == [
        *("disagrees", "disagrees", "too-far-apart", "no-number", "refused-now")
    ]
    apart = [0.01, -0.03, 0.05]
    assert found.mean_mm == pytest.approx(statistics.fmean(apart))
    assert found.sd_mm == pytest.approx(statistics.stdev(apart))


def test_the_list_begins_with_what_is_furthest_apart():
    rows = [
        {"pull": "disagrees", "normalised_error": 1.4},
        {"pull": "refused-now", "normalised_error": None},
        {"pull": "disagrees", "normalised_error": -3.0},
        {"pull": "no-number", "normalised_error": None},
    ]
    told = sorted(rows, key=_disagreement, reverse=True)
    assert [row["normalised_error"] for row in told] == [None, -3.0, 1.4, None]
    assert told[0]["pull"] == "no-number"


def test_a_photo_counts_as_refused_or_as_unreadable():
    found = Comparison()
    for status, sha256, refusal, failed in (
        ("measured", "a", "", ""),
        ("measured", "b", "", "ovality"),
        ("refused", "c", "no-indent", ""),
        ("refused", None, "unreadable", ""),
        ("refused", None, REPEATED, ""),
    ):
        found.count({"status": status, "sha256": sha256, "refusal": refusal, "failed": failed})
    assert (found.rows, found.refused, found.unreadable, found.failed) == (5, 1, 1, 1)
