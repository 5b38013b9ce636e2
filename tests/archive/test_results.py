"""Old against new over a whole archive: counts, order, picture."""

import csv
import math
import statistics
from array import array
from dataclasses import asdict

import pytest
from tests.archive import pretend

from rimread.archive.differences import Difference
from rimread.archive.items import from_manifest
from rimread.archive.results import Comparison, _disagreement, draw, write_results
from rimread.archive.run import REPEATED, Archive, remeasure
from rimread.archive.work import Settings
from rimread.ledger import open_ledger


def test_drawn_as_all_figures_are():
    found = Comparison(array("d", [3.0, 3.5]), array("d", [0.01, -0.02]), array("d", [0.5, -2.0]))
    for axes in draw(found).axes:
        assert not axes.spines["top"].get_visible()
        assert not axes.spines["right"].get_visible()


def test_what_disagrees_is_drawn_as_that_and_nothing_falls_off_the_ends():
    old = array("d", [3.0, 3.5, 4.0, 4.5])
    apart = array("d", [0.01, -0.02, 0.03, -0.9])
    left, right = draw(Comparison(old, apart, array("d", [0.5, -2.0, 1.5, -70.0]))).axes
    drawn = {line.get_label(): line.get_xydata().tolist() for line in left.lines}
    assert drawn["within both uncertainties"] == [[3.0, 0.01]]
    assert drawn["beyond both uncertainties"] == [[3.5, -0.02], [4.0, 0.03], [4.5, -0.9]]
    bars = [(bar.get_x(), bar.get_height()) for bar in right.patches if bar.get_height()]
    assert sum(height for _, height in bars) == 4
    assert bars[0] == (-5.0, 1)


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
    assert found.old_mm.tolist() == [3.0, 3.0, 3.0]
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
    assert found.measured == 2


def compared_table(folder, lines, *, measured=None, before=None, **how):
    """Comparison and rows where 3.50 mm ± 0.006 mm is measured of the first so many photos.

    `before` are the lines as they were then; photos called refused are.
    """
    path = folder / "list.csv"

    def work(item, _settings):
        told = {"test": "10/3000", "path": item.path, "earlier": asdict(item.earlier)}
        if "refused" in item.photo:
            return pretend.record(item, "refused", "no-indent", "There is none.") | told
        return pretend.record(item) | told | {"mean_mm": 3.50, "U_mean_mm": 0.006, "hbw": 302.1}

    def from_first():
        return from_manifest(path)

    with open_ledger(folder / "book.db") as book:
        first = (before or lines)[: measured and measured + 1]
        path.write_text("".join(first), encoding="utf-8")
        with Archive(from_first, Settings(), run="r") as archive:
            remeasure(archive, book, pretend.Here(), work=work)
        path.write_text("".join(lines), encoding="utf-8")
        with Archive(from_first, Settings(), run="r") as archive:
            found = write_results(archive, book, folder / "out.csv", **how)
    with (folder / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        return found, list(csv.DictReader(file))


def test_photos_that_the_ledger_does_not_have_are_not_yet_in_the_table(tmp_path):
    lines = ["photo,mean\n", "a.jpg,3.5\n", "b.jpg,3.5\n", "c.jpg\n", "d.jpg,3.4\n"]
    found, rows = compared_table(tmp_path, lines, measured=1)
    assert (found.not_yet, found.rows) == (2, 2)
    assert [row["line"] for row in rows] == ["2", "4"]
    assert [row["path"] for row in rows] == [str(tmp_path / "a.jpg"), ""]
    assert [row["photo"] for row in rows] == ["a.jpg", "c.jpg"]  # a line that cannot be used counts
    assert rows[1]["why"]


@pytest.mark.parametrize("step_mm", [0.05, 0.2])
def test_old_against_new_knows_the_step_of_the_old_readings(tmp_path, step_mm):
    """E_n = (x - X) / √(U_x² + U_X²) (ISO 13528, from memory), with U of a reading by eye.

    The scope at its limit of 0.5 % and two readings in steps, rectangular (JCGM 100:2008, 4.3.7).
    """
    _, (row,) = compared_table(
        tmp_path, ["photo,d1,d2\n", "a.jpg,3.40,3.40\n"], resolution_mm=step_mm
    )
    scope, step = 0.005 * 3.40 / math.sqrt(3.0), step_mm / (2.0 * math.sqrt(3.0))
    U_old = 2.0 * math.hypot(scope, step)
    assert float(row["U_old_mm"]) == pytest.approx(U_old, rel=1e-6)
    assert float(row["new_minus_old_mm"]) == pytest.approx(0.10, abs=1e-9)
    error = 0.10 / math.hypot(U_old, 0.006)
    assert float(row["normalised_error"]) == pytest.approx(error, rel=1e-6)
    assert row["pull"] == ("disagrees" if error > 1 else "")


def test_what_the_manifest_says_now_counts_and_not_what_it_said_then(tmp_path):
    head, then, now = "photo,mean,U\n", "a.jpg,3.20,0.01\n", "a.jpg,3.49,0.02\n"
    _, (row,) = compared_table(tmp_path, [head, now], before=[head, then])
    assert (float(row["old_mm"]), float(row["U_old_mm"])) == (3.49, 0.02)
    assert row["pull"] == ""


def test_one_diameter_alone_is_counted_and_compared_with_nothing(tmp_path):
    lines = ["photo,d1,d2\n", "a.jpg,3.5,\n", "b.jpg,3.5,3.5\n", "c.jpg,,\n", "d.jpg,,3.4\n"]
    found, rows = compared_table(tmp_path, lines)
    assert (found.single, len(found.error)) == (2, 1)
    assert [row["old_mm"] for row in rows] == ["", "3.5", "", ""]


def test_figures_of_another_indent_are_told_with_line_and_figure(tmp_path):
    told = []
    lines = ["photo,mean,hbw\n", "a.jpg,3.0,\n", "b.jpg,,1030\n", "c.jpg,,5\n", "d.jpg,3.5,\n"]
    found, _ = compared_table(tmp_path, [*lines, "refused.jpg,12.0,\n"], tell=told.append)
    assert found.too_far_apart == 4
    assert told == [
        (
            "line 2: a.jpg: an earlier mean of 3.000 mm is 14% off the image's 3.500 mm: another "
            "indent, another unit or a slip of the pen"
        ),
        "line 3: b.jpg: 1030 HBW cannot have come from an indent of 3.500 mm",
        "line 4: c.jpg: no indent of 10/3000 gives an earlier 5 HBW",
        "line 6: refused.jpg: no indent of 10/3000 gives an earlier 12.000 mm",
    ]


def test_own_columns_named_as_the_table_has_them_stay_beside_them(tmp_path):
    own = ("status (own)", "status")
    lines = ["photo,status (own),status\n", "a.jpg,first,second\n"]
    _, (row,) = compared_table(tmp_path, lines, own=own)
    assert row["status"] == "measured"
    assert (row["status (own)"], row["status (own) (own)"]) == ("first", "second")
