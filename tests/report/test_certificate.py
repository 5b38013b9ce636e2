"""The facts of a report and what they are held against."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.report.records import SCALE_SHA256, record, refused, series

from rimread.hardness import (
    Block,
    Conversion,
    DailyCheck,
    Indent,
    brinell,
    parse_test,
    series_from_indents,
    verify,
)
from rimread.refusal import Refusal
from rimread.report.certificate import report_from
from rimread.report.lab import Lab
from rimread.report.model import ByEye, Job, TestReport
from rimread.report.results import Result, result_from
from rimread.scale import read_scale

ROOT = Path(__file__).parents[2]
DAY = date(2026, 11, 25)
TEST = parse_test("10/3000")


def results(told: Sequence[dict[str, Any]]) -> list[Result]:
    return [result_from(one, one["photo"]) for one in told]


def made(told: Sequence[dict[str, Any]], job: Job | None = None, **more: Any) -> TestReport:
    return report_from(results(told), job or Job(), made_on=DAY, **more)


def daily(on: date, *, passed: bool = True, test: str = "10/3000") -> DailyCheck:
    return DailyCheck(on, "B-17", test, "Ada", 3, 230.1, 229.0, 0.0048, 0.004, passed=passed)


def test_the_series_is_that_of_the_diameters():
    report = made([*series(4), refused()])
    hbw = [brinell((r["d1_mm"] + r["d2_mm"]) / 2, TEST) for r in series(4)]
    assert report.series.mean_hbw == pytest.approx(statistics.fmean(hbw))
    assert report.series.sd_hbw == pytest.approx(statistics.stdev(hbw))
    assert len(report.refused) == 1
    assert report.statement is not None
    assert report.statement.hbw == report.series.mean_hbw
    assert {"agreement", "outlier"} <= {c.code for c in report.checks}
    assert not report.failed


def test_one_test_only():
    told = [record(4.0, 4.0), record(2.0, 2.0, photo="b.jpg", test="5/750")]
    with pytest.raises(ValueError, match=r"of one test, ball and force \(got 10/3000, 5/750\)"):
        made(told)


def test_a_photo_counts_once():
    twice = [record(4.0, 4.0), record(4.0, 4.0) | {"photo": "copy.jpg"}]
    with pytest.raises(ValueError, match=r"copy\.jpg is the same picture as indent-1\.jpg"):
        made(twice)


def test_a_photo_twice_in_a_ledger_is_told_by_its_entries():
    twice = [
        result_from(record(4.0, 4.0), place, entry=f"{place}, 0123456789ab")
        for place in ("ledger entry 3", "ledger entry 8")
    ]
    told = r"\(ledger entry 8\) is the same .* \(ledger entry 3\): withdraw one entry, or choose"
    with pytest.raises(ValueError, match=told):
        report_from(twice, Job(), made_on=DAY)


def test_nothing_measured():
    with pytest.raises(ValueError, match="at least one measured indent"):
        made([refused()])


def test_extremes_are_dropped_when_asked():
    report = made(series(5), policy="drop-extremes")
    assert sum(report.series.used) == 3
    with pytest.raises(ValueError, match="at least 5 indents"):
        made(series(4), policy="drop-extremes")


def test_without_uncertainty_there_is_no_statement():
    told = record(4.0, 4.0)
    for key in ("U_mean_mm", "U_hbw", "k", "budget_mm"):
        del told[key]
    assert made([told, *series(2)]).statement is None


def test_a_failed_check_of_one_indent_fails_the_report():
    bad = {"code": "scale-in-date", "outcome": "fail", "message": "too late", "source": "file"}
    assert made([record(4.0, 4.0, checks=[bad]), *series(2)]).failed


def test_temperature_and_material_are_checked():
    report = made(series(2), Job(temperature_c=41.0, material="cast-iron"))
    outcomes = {c.code: c.outcome for c in report.checks}
    assert outcomes["temperature"] == "warn"
    assert outcomes["material-index"] == "pass"


def test_the_machine_must_be_in_date():
    lab = Lab(machine="tester", machine_valid_until=date(2026, 11, 24))
    assert made(series(2), Job(on=DAY), lab=lab).failed
    assert not made(series(2), Job(on=date(2026, 11, 24)), lab=lab).failed
    assert not made(series(2), Job(on=DAY, machine="another"), lab=lab).failed
    assert not made(series(2), Job(), lab=lab).failed  # no day, nothing to hold it against


def test_the_block_of_the_day():
    log = [
        daily(date(2026, 11, 24)),
        daily(DAY, passed=False),
        daily(DAY),
        daily(DAY, test="5/750"),
    ]
    report = made(series(2), Job(on=DAY), daily=log)
    assert report.block_check == log[2]  # the last of the day under this test
    assert not report.failed
    assert made(series(2), Job(on=DAY), daily=log[:2]).failed


def test_no_block_that_day_asks_for_an_eye():
    report = made(series(2), Job(on=DAY), daily=[daily(date(2026, 11, 24))])
    assert report.block_check is None
    found = [c for c in report.checks if c.code == "block-of-the-day"]
    assert [c.outcome for c in found] == ["warn"]
    with pytest.raises(ValueError, match="needs the day of the test"):
        made(series(2), Job(), daily=[])


def test_conversions_need_the_material():
    with pytest.raises(ValueError, match="say which group"):
        made(series(2), convert_to=["hv"])
    report = made(series(2), Job(material="steel"), convert_to=["hv", "hrc"])
    (to, hv), (_, hrc) = report.conversions
    assert to == "hv"
    assert isinstance(hv, Conversion)
    # ISO 18265 table A.1 as printed in a Siemens handbook: 228 HBW is 240 HV
    assert hv.value == pytest.approx(240.0, abs=4.0)
    assert isinstance(hrc, Conversion)
    copper = made(series(2), Job(material="copper"), convert_to=["hv"])
    assert isinstance(copper.conversions[0][1], Refusal)


def test_readings_by_eye_find_their_photo():
    told = [record(4.0, 4.0, photo=r"C:\shop\a.jpg"), record(4.1, 4.1, photo="/shop/b.jpg")]
    eyes = [ByEye("b.jpg", "Ada", 4.1, 4.12), ByEye("shop/a.jpg", "Bo", 4.0, 4.0)]
    assert [i for i, _ in made(told, by_eye=eyes).by_eye] == [0, 1]
    with pytest.raises(ValueError, match=r"no measured photo has 'c\.jpg'"):
        made(told, by_eye=[ByEye("c.jpg", "", 4.0, 4.0)])
    told = [record(4.0, 4.0, photo="1/a.jpg"), record(4.1, 4.1, photo="2/a.jpg")]
    with pytest.raises(ValueError, match="several measured photos have"):
        made(told, by_eye=[ByEye("a.jpg", "", 4.0, 4.0)])
    with pytest.raises(ValueError, match=r"no measured photo has '3/a\.jpg'"):
        made(told, by_eye=[ByEye("3/a.jpg", "", 4.0, 4.0)])
    with pytest.raises(ValueError, match=r"2/a.jpg, read by Bo: mean of 3.100 mm is 24% off"):
        made(told, by_eye=[ByEye("2/a.jpg", "Bo", 3.1, 3.1)])


@pytest.mark.parametrize(("away_px", "warned"), [(0.0, True), (40.0, False)])
def test_two_pictures_of_one_indent_are_told(away_px: float, *, warned: bool):
    told = [
        record(4.0, 4.0, photo="a.jpg", centre_x_px=500.0, centre_y_px=400.0),
        record(4.1, 4.1, photo="b.jpg", centre_x_px=300.0, centre_y_px=400.0),
        record(4.0, 4.0, photo="c.png", centre_x_px=500.0 + away_px, centre_y_px=400.0),
    ]
    twice = [check for check in made(told).checks if check.code == "taken-twice"]
    assert bool(twice) == warned
    assert all("indents 1 and 3 " in check.message for check in twice)


def test_the_scale_is_held_against_the_day_of_the_test():
    label = replace(read_scale(ROOT / "calibration" / "hall-scope.toml"), sha256=SCALE_SHA256)
    for day, outcome in (
        (label.calibrated_on, "pass"),
        (label.valid_until, "pass"),
        (label.calibrated_on - timedelta(days=1), "warn"),
        (label.valid_until + timedelta(days=1), "fail"),
    ):
        report = made(series(2), Job(on=day), scales=[label])
        assert {c.code: c.outcome for c in report.checks}["scale-in-date"] == outcome


def test_a_test_after_the_report_is_warned_of():
    for day, codes in ((DAY, set()), (DAY + timedelta(days=1), {"test-date"})):
        report = made(series(2), Job(on=day))
        assert {c.code for c in report.checks if c.outcome == "warn"} == codes


def test_a_test_on_another_day_than_its_photos_is_warned_of():
    told = [{**record, "taken_on": "2023-11-14"} for record in series(2)]
    for day, codes in ((date(2023, 11, 14), set()), (DAY, {"photo-date"})):
        report = made(told, Job(on=day))
        assert {c.code for c in report.checks if c.outcome == "warn"} == codes


def test_the_ways_to_the_uncertainty():
    block = Block("B-17", 229.0, 2.3, 2.0, TEST)
    indents = [Indent(d, d) for d in (3.99, 4.0, 4.01, 4.0, 3.995)]
    verification = verify(series_from_indents(indents, TEST), block, on=DAY)
    ways = {
        way: made(series(3), verification=verification, way=way).statement
        for way in ("parts", "permissible-error", "bias")
    }
    for way, statement in ways.items():
        assert statement is not None
        assert statement.way == way
    assert ways["bias"] is not None
    assert ways["bias"].hbw != made(series(3)).series.mean_hbw
    with pytest.raises(ValueError, match="needs the indents on the block"):
        made(series(3), way="bias")


def test_what_is_converted_is_the_value_its_uncertainty_belongs_to():
    block = Block("B-17", 226.0, 2.3, 2.0, TEST)
    indents = [Indent(d, d) for d in (3.99, 4.0, 4.01, 4.0, 3.995)]
    verification = verify(series_from_indents(indents, TEST), block, on=DAY)
    report = made(
        series(3),
        Job(material="steel"),
        verification=verification,
        way="bias",
        convert_to=["hv"],
    )
    ((_, hv),) = report.conversions
    assert isinstance(hv, Conversion)
    assert report.statement is not None
    assert hv.hbw == report.statement.hbw != report.series.mean_hbw


def test_what_failed_on_the_block_fails_the_report():
    block = Block("B-17", 200.0, 2.3, 2.0, TEST)
    indents = [Indent(d, d) for d in (2.2, 2.2, 2.2)]
    verification = verify(series_from_indents(indents, TEST), block, on=DAY)
    for way in ("parts", "bias"):
        report = made(series(3), verification=verification, way=way)
        found = {c.code: c for c in report.checks if c.message.startswith("block B-17: ")}
        assert found["block-error"].outcome == "fail"
        assert found["diameter-range"].outcome == "warn"
        assert found["block-repeatability"].outcome == "pass"
        assert report.failed


def test_the_log_tells_how_the_bias_changes_from_day_to_day():
    block = Block("B-17", 229.0, 2.3, 2.0, TEST)
    indents = [Indent(d, d) for d in (3.98, 4.0, 4.01)]
    verification = verify(series_from_indents(indents, TEST), block, on=DAY)
    log = [
        replace(daily(date(2026, 11, day)), error_rel=error)
        for day, error in ((21, 0.009), (22, 0.001), (22, 0.004), (23, 0.007), (24, 0.001))
    ]
    other = [
        replace(daily(date(2026, 11, 20)), block="B-18", error_rel=0.5),
        replace(daily(date(2026, 11, 20), passed=False), error_rel=0.5),
        replace(daily(DAY + timedelta(days=1)), error_rel=0.5),
    ]
    report = made(
        series(3), Job(on=DAY), verification=verification, way="bias", daily=[*other, *log]
    )
    statement = report.statement
    assert statement is not None
    part = {c.name: c for c in statement.budget.components}["bias, day to day"]
    assert part.u == pytest.approx(statement.hbw * statistics.stdev([0.009, 0.004, 0.007, 0.001]))
    assert part.dof == 3
    assert "day to day" not in statement.covers


def test_a_scale_that_was_not_used_is_not_listed(scale):
    assert made(series(2), scales=[scale]).scales == (scale,)
    with pytest.raises(ValueError, match="no photo was measured with this file"):
        made(series(2), scales=[replace(scale, sha256="6" * 64)])
