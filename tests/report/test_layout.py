"""What a report says: everything that is known, blanks for the rest, nothing made up."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import pytest
from tests.report.records import SCALE_SHA256, record, refused, series

from rimread.hardness import DailyCheck
from rimread.refusal import Refusal
from rimread.report.blocks import (
    Fact,
    Facts,
    Letterhead,
    Page,
    Picture,
    Signatures,
    Table,
    Verdict,
    texts,
)
from rimread.report.certificate import report_from
from rimread.report.lab import Lab
from rimread.report.layout import page_of
from rimread.report.model import ByEye, Job
from rimread.report.results import Result, result_from

DAY = date(2026, 11, 25)
FULL = Job(
    number="26-118", order="PO 7", customer="Hythe Rail", part="shaft 7", heat="K4711",
    location="face A, 20 mm from the edge", edition="ISO 6506-1:2014", grade="42CrMo4",
    material="steel", requirement="220 to 260 HBW", operator="Ada Sutter", on=DAY,
    temperature_c=21.5, machine="portable tester 2", remarks="ground, not polished",
)  # fmt: skip


def page(told: Sequence[dict[str, Any]], job: Job | None = None, **more: Any) -> Page:
    results = [result_from(one, one["photo"]) for one in told]
    return page_of(report_from(results, job or Job(), made_on=DAY, **more))


def said(page: Page) -> str:
    return "\n".join(texts(page.blocks))


def facts(page: Page) -> dict[str, str | None]:
    found: list[Fact] = []
    for block in page.blocks:
        if isinstance(block, Facts):
            found += block.facts
        if isinstance(block, Letterhead):
            found += block.beside
    return {fact.label: fact.value for fact in found}


def table(page: Page, caption: str) -> Table:
    return next(b for b in page.blocks if isinstance(b, Table) and caption in b.caption)


def test_what_is_known_is_said():
    told = facts(page(series(2), FULL))
    assert told["Part"] == "shaft 7"
    assert told["Heat or lot"] == "K4711"
    assert told["Location of indents"] == "face A, 20 mm from the edge"
    assert told["Material"] == "42CrMo4"
    assert told["Order"] == "PO 7"
    assert told["Customer"] == "Hythe Rail"
    assert told["Standard and edition"] == "ISO 6506-1:2014"
    assert told["Test"] == (
        "HBW 10/3000: ball 10 mm, force 3000 kgf (29.42 kN), dwell 10 s to 15 s by designation"
    )
    assert told["Temperature"] == "21.5 °C"
    assert told["Operator"] == "Ada Sutter"
    assert told["Machine"] == "portable tester 2"
    assert told["Scope and scale"] == "hall scope"
    assert told["Required (not judged)"] == "220 to 260 HBW"
    assert told["Deviations, remarks"] == "ground, not polished"
    assert told["Date of test"] == "2026-11-25"
    assert told["Report no."] == "26-118"


def test_what_is_not_known_is_blank():
    told = facts(page(series(2)))
    blank = {label for label, value in told.items() if value is None}
    assert blank == {
        "Report no.", "Date of test", "Part", "Heat or lot", "Location of indents", "Material",
        "Order", "Customer", "Standard and edition", "Temperature", "Operator", "Machine",
        "Machine verified until", "Block check of the day", "Deviations, remarks",
    }  # fmt: skip
    signs = [b for b in page(series(2)).blocks if isinstance(b, Signatures)]
    assert [place.value for place in signs[0].places] == [None, None]


def test_a_dwell_out_of_the_usual_is_told():
    told = [record(4.0, 4.0, test="10/1000/30")]
    assert "dwell 30 s" in (facts(page(told))["Test"] or "")
    assert "HBW 10/1000/30" in said(page(told))


def test_each_indent_stands_in_the_table():
    rows = table(page([record(4.01, 3.99)]), "Diameters in mm").rows
    # 4.00 mm: 229 HBW 10/3000, ASM table A3.4; d/D = 0.4
    number, photo, d1, d2, mean, U, ratio, hbw, U_hbw, k = rows[0]
    assert (number, photo, ratio, hbw) == ("1", "indent-1.jpg", "0.400", "229")
    assert [float(x) for x in (d1, d2, mean)] == [4.01, 3.99, 4.0]
    assert float(U) == pytest.approx(0.0048, abs=1e-4)
    assert float(U_hbw) == pytest.approx(229 * 2.09 * 0.0048 / 4.0, rel=0.05)
    assert float(k) > 2.0


def test_the_result_is_the_mean_with_its_spread():
    verdict = next(b for b in page(series(4)).blocks if isinstance(b, Verdict))
    assert verdict.text == "229 HBW 10/3000"
    assert verdict.lines[0].startswith("mean of 4 indents, U = ")
    assert "standard deviation" in verdict.lines[1]
    assert not verdict.alarm
    one = next(b for b in page(series(1)).blocks if isinstance(b, Verdict))
    assert one.lines[0].startswith("one indent, U = ")
    assert len(one.lines) == 1


def test_left_out_indents_are_marked():
    made = page(series(5), policy="drop-extremes")
    rows = table(made, "Diameters in mm")
    assert sum("*" in row[0] for row in rows.rows) == 2
    assert len(rows.marked) == 2
    assert "the highest and the lowest left out (common practice, no source" in said(made)


def test_an_unknown_uncertainty_is_said_and_no_zero():
    told = record(4.0, 4.0)
    for key in ("U_mean_mm", "U_hbw", "k", "budget_mm"):
        del told[key]
    made = page([told, *series(1)])
    row = table(made, "Diameters in mm").rows[0]
    assert (row[5], row[8], row[9]) == ("not known", "not known", "")
    assert "the uncertainty is not known" in said(made)


def test_what_the_uncertainty_covers_is_said():
    words = said(page(series(3)))
    assert "It covers: force, ball, reading and scatter of the piece" in words
    assert "cover the reading of the diameter only, not force, ball, machine or material" in words
    parts = [row[0] for row in table(page(series(3)), "Standard uncertainties").rows]
    assert {"force", "ball diameter", "pixel scale"} <= set(parts)


def test_a_failed_check_is_told_above_the_result():
    bad = {"code": "scale-in-date", "outcome": "fail", "message": "too late", "source": "file"}
    told = [record(4.0, 4.0, photo=f"{i}.jpg", checks=[bad] if i != 1 else []) for i in range(4)]
    made = page(told)
    verdict = next(b for b in made.blocks if isinstance(b, Verdict))
    assert "scale-in-date" in verdict.alarm
    assert "does not count" in verdict.alarm
    rows = table(made, "These did not pass").rows
    assert ("scale-in-date", "FAIL", "indent 1, 3–4: too late", "file") in rows


def test_checks_that_passed_take_one_line_each():
    rows = table(page(series(12)), "Each rule with what was found").rows
    ovality = [row for row in rows if row[0] == "ovality"]
    assert ovality == [("ovality", "pass", "all, the first: plate-1.jpg is round", "own")]


def test_refused_photos_are_listed_with_their_reason():
    made = page([*series(2), refused()])
    rows = table(made, "gave no number").rows
    assert rows == (("double.jpg", "overlapping-indents", "Measure one that stands by itself."),)
    assert "gave no number" not in said(page(series(2)))


def test_conversions_come_after_what_was_measured():
    words = said(page(series(2), FULL, convert_to=["hv", "hrb"]))
    assert "229 HBW 10/3000 (241 HV), approximate, by ISO 18265 table A.1" in words
    assert "hrb: no value." in words
    assert "never replaces a test" in words


def test_the_block_of_the_day_is_told():
    log = [DailyCheck(DAY, "B-17", "10/3000", "Ada", 3, 230.14, 229.0, 0.005, 0.004, passed=True)]
    told = facts(page(series(2), FULL, daily=log))["Block check of the day"]
    assert told == ("block B-17, 2026-11-25: 230.1 HBW, certified 229, error +0.50%, passed (Ada)")


def test_readings_by_eye_stand_beside_the_image():
    eyes = [ByEye("plate-1.jpg", "Ada", 4.01, 4.03)]
    row = table(page(series(2), by_eye=eyes), "read by a person").rows[0]
    assert row == (
        "1",
        "Ada",
        "4.010",
        "4.030",
        "4.020",
        "226",
        "+0.025",
        "-3.0",
    )  # 229 × 2.09 × 0.025 / 4.00 = 3.0


def test_hashes_scales_and_versions_are_there(scale):
    made = page([*series(2), refused()], scales=[scale])
    rows = dict(table(made, "They prove").rows)
    assert rows["scale file: hall scope"] == SCALE_SHA256
    assert rows["stage photo: along.jpg"] == "7" * 64
    assert len(rows["plate-1.jpg"]) == len(rows["double.jpg"]) == 64
    told = facts(made)
    assert told["Counts"] == "from 2026-11-02 to 2027-11-01"
    assert "9.9975 mm for 10 mm nominal" in (told["Stage micrometer certificate"] or "")
    assert "Measured with rimread 0.1.0, report made with rimread" in said(made)


def test_cautions_are_always_there():
    words = said(page(series(2)))
    assert "qualified person" in words
    assert "fitted rim lies on the edge" in words
    assert "“from memory”" in words


def test_pictures_and_laboratory():
    lab = Lab(
        name="Test room", address=("1 Mill Lane",), signatures=("Inspector",), note="Of our own."
    )
    made = page(series(1), lab=lab, pictures=[Picture("1: the picture", b"x", 4, 3)])
    head = made.blocks[0]
    assert isinstance(head, Letterhead)
    assert (head.name, head.lines) == ("Test room", ("1 Mill Lane",))
    assert "1: the picture" in said(made)
    assert "Inspector" in said(made)
    assert "Of our own." in said(made)


def test_missing_pictures_are_told_with_the_reason():
    lost = Refusal("no-photo", "no photo with this hash was found")
    shown = Picture("2: the picture", b"x", 4, 3)
    made = page(series(4), pictures=[lost, shown, lost, lost])
    assert "No picture of indent 1, 3–4: no photo with this hash was found." in said(made)
    with pytest.raises(ValueError, match="one picture for each of 4"):
        page(series(4), pictures=[shown])


def test_a_rim_set_by_hand_keeps_both_values():
    told = record(
        4.0,
        4.0,
        correction={"how": "rim dragged", "image": {"mean_mm": 4.1234, "hbw": 215.0}},
    )
    results = [result_from(told, "here", reason="a scratch"), *map_results(series(1))]
    made = page_of(report_from(results, Job(), made_on=DAY))
    rows = table(made, "set these rims anew").rows
    assert rows == (("1", "4.1234", "215", "4.0000", "229", "rim dragged; a scratch"),)
    assert [row[0] for row in table(made, "Diameters in mm").rows] == ["1 †", "2"]
    assert "† rim set by a person" in said(made)


def map_results(told: Sequence[dict[str, Any]]) -> list[Result]:
    return [result_from(one, "here") for one in told]


def test_small_contributions_are_no_zeros():
    told = record(4.0, 4.0)
    told["budget_mm"].append({"name": "tiny", "u_mm": 1e-9, "dof": None, "how": ""})
    rows = {row[0]: row[1] for row in table(page([told]), "Standard uncertainties").rows}
    assert rows["tiny"] == "< 0.01"
    assert rows["force"] == "1.32"  # 229 × 1 % / √3
