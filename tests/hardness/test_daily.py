"""The daily log and its control chart."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from rimread.hardness import (
    Block,
    ControlChart,
    DailyCheck,
    Indent,
    TestCondition,
    append_daily,
    block_of_the_day,
    control_chart,
    diameter_for,
    due_on,
    last_that_counts,
    read_daily,
    series_from_indents,
    verify,
)
from rimread.hardness.daily import COLUMNS

SHOP = TestCondition(10, 3000)
BLOCK = Block("B-17", 229.0, 2.3, 2.0, SHOP, date(2027, 1, 31))
FIRST = date(2026, 3, 2)
LATER = date(2026, 11, 17)


def _log(errors: list[float], block: str = "B-17", test: str = "10/3000") -> list[DailyCheck]:
    return [
        DailyCheck(
            FIRST + timedelta(days=i), block, test, "", 5, 229.0, 229.0, e, 0.01, passed=True
        )
        for i, e in enumerate(errors)
    ]


def _chart(errors: list[float]) -> ControlChart:
    return control_chart(_log(errors), block="B-17", test="10/3000", on=LATER)


def _broken(errors: list[float]) -> set[str]:
    return {c.code for c in _chart(errors).checks if c.outcome == "warn"}


def test_what_is_written_is_read(tmp_path: Path) -> None:
    log = tmp_path / "daily.csv"
    series = series_from_indents(
        [Indent(d, d) for d in (diameter_for(h, SHOP) for h in (228.0, 229.0, 231.0))], SHOP
    )
    verification = verify(series, BLOCK, on=FIRST)
    for day in range(3):
        append_daily(log, verification, on=FIRST + timedelta(days=day), operator='Öz, "Jo"')
    entries = read_daily(log)
    assert len(entries) == 3
    assert entries[2].on == date(2026, 3, 4)
    assert entries[0].operator == 'Öz, "Jo"'
    assert entries[0].error_rel == pytest.approx(verification.error_rel, abs=1e-6)
    assert entries[0].passed
    assert log.read_text(encoding="utf-8").count("error_rel") == 1
    assert log.read_bytes().startswith(b"\xef\xbb\xbfdate,")  # the mark by which Excel knows UTF-8
    assert log.read_bytes().count(b"\xef\xbb\xbf") == 1


def test_a_log_saved_in_another_encoding_is_named(tmp_path: Path) -> None:
    log = tmp_path / "daily.csv"
    log.write_bytes("date,block,operator\n2026-03-02,B-17,Zoë\n".encode("cp1252"))
    with pytest.raises(ValueError, match=r"daily.csv is not in UTF-8: save it"):
        read_daily(log)


@pytest.mark.parametrize("end", ["", "\n", "\r\n", "\n\n", "\n,,,,,,,,,\n"])
def test_a_log_an_editor_saved_goes_on(tmp_path: Path, end: str) -> None:
    log = tmp_path / "daily.csv"
    series = series_from_indents([Indent(4.0, 4.0), Indent(4.0, 4.01)], SHOP)
    verification = verify(series, BLOCK, on=FIRST)
    append_daily(log, verification, on=FIRST)
    log.write_bytes(log.read_bytes().removesuffix(b"\n") + end.encode("ascii"))
    append_daily(log, verification, on=FIRST + timedelta(days=1))
    assert [entry.on for entry in read_daily(log)] == [FIRST, FIRST + timedelta(days=1)]


def test_the_line_that_is_spoilt_is_counted_with_the_empty_ones(tmp_path: Path) -> None:
    log = tmp_path / "daily.csv"
    head = "date,block,test,operator,n,mean_hbw,certified_hbw,error_rel,repeatability_rel,passed"
    log.write_text(f"{head}\n\nspoilt\n", encoding="utf-8")
    with pytest.raises(ValueError, match="line 3: must have 10 fields"):
        read_daily(log)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("2026-03-02,B-17", "must have 10 fields"),
        ("2.3.2026,B-17,10/3000,,5,229,229,0,0,yes", "line 2"),
        ("2026-03-02,B-17,10/3000,,5,229,229,x,0,yes", "line 2"),
        ("2026-03-02,B-17,10/3000,,5,229,229,0,0,maybe", "passed must be yes or no"),
    ],
)
def test_a_spoilt_line_is_named(tmp_path: Path, line: str, says: str) -> None:
    log = tmp_path / "daily.csv"
    head = "date,block,test,operator,n,mean_hbw,certified_hbw,error_rel,repeatability_rel,passed"
    log.write_text(f"{head}\n{line}\n", encoding="utf-8")
    with pytest.raises(ValueError, match=says):
        read_daily(log)


def test_another_file_is_not_written_to(tmp_path: Path) -> None:
    log = tmp_path / "notes.csv"
    log.write_text("a,b\n1,2\n", encoding="utf-8")
    series = series_from_indents([Indent(4.0, 4.0)], SHOP)
    with pytest.raises(ValueError, match="is no daily log"):
        append_daily(log, verify(series, BLOCK, on=FIRST), on=FIRST)
    assert log.read_text(encoding="utf-8") == "a,b\n1,2\n"


def test_limits_of_the_individuals_chart() -> None:
    # the arithmetic by hand: mean, mean moving range / 1.128 (d2), 3.267 times it (D4)
    chart = _chart([0.001, 0.003, 0.002, 0.004])
    assert chart.centre_rel == pytest.approx(0.0025)
    assert chart.moving_ranges_rel == pytest.approx([0.002, 0.001, 0.002])
    assert chart.sigma_rel == pytest.approx(0.005 / 3 / 1.128)
    assert chart.moving_range_limit_rel == pytest.approx(3.267 * 0.005 / 3)


def test_d2_and_d4_against_simulation() -> None:
    # d2 = mean range of two normal values, D4 = 1 + 3 d3/d2
    rng = np.random.default_rng(3)
    ranges = np.abs(np.diff(rng.normal(size=(1_000_000, 2)), axis=1))
    assert ranges.mean() == pytest.approx(1.128, abs=0.003)
    assert 1 + 3 * ranges.std() / ranges.mean() == pytest.approx(3.267, abs=0.01)


QUIET = [0.001, -0.001, 0.0005, -0.0008, 0.0009, -0.0003, 0.0006, -0.001, 0.0008, -0.0004]


def test_a_quiet_machine_breaks_no_rule() -> None:
    assert _broken(QUIET) == set()


def test_few_days_are_guesswork() -> None:
    assert "chart-baseline" in _broken(QUIET[:9])


def test_limits_from_few_days_are_none() -> None:
    few, enough = _chart(QUIET[:9]), _chart(QUIET)
    assert (few.has_limits, enough.has_limits) == (False, True)
    assert "none yet" in few.checks[0].message
    of_limits = {"chart-limits", "chart-moving-range", "chart-two-of-three", "chart-four-of-five"}
    assert {c.code for c in enough.checks} - {c.code for c in few.checks} == of_limits


def test_of_several_checks_on_a_day_the_last_counts() -> None:
    first = [replace(entry, error_rel=0.3) for entry in _log(QUIET)]
    both = control_chart([*first, *_log(QUIET)], block="B-17", test="10/3000", on=LATER)
    assert both == _chart(QUIET)
    two_days = [replace(e, on=FIRST + timedelta(days=i // 5)) for i, e in enumerate(_log(QUIET))]
    chart = control_chart(two_days, block="B-17", test="10/3000", on=LATER)
    assert (chart.days, chart.has_limits) == (2, False)
    assert chart.checks[0].outcome == "warn"


@pytest.mark.parametrize("value", ["nan", "inf"])
def test_a_log_holds_numbers(tmp_path: Path, value: str) -> None:
    log = tmp_path / "daily.csv"
    lines = ["2026-03-02,B-17,10/3000,,5,229,229,0.001,0.01,yes"]
    lines.append(lines[0].replace("0.001", value))
    log.write_text("\n".join([",".join(COLUMNS), *lines]), encoding="utf-8")
    with pytest.raises(ValueError, match=f"line 3: error_rel must be a number .got '{value}'"):
        read_daily(log)


def _line(mean: str, certified: str, error: str) -> str:
    return f"2026-03-02,B-17,10/3000,,5,{mean},{certified},{error},0.01,yes"


def _written(path: Path, *lines: str) -> Path:
    log = path / "daily.csv"
    log.write_text("\n".join([",".join(COLUMNS), *lines]), encoding="utf-8")
    return log


@pytest.mark.parametrize(
    ("mean", "certified", "error", "says"),
    [
        (
            "260.000",
            "229",
            "0.000100",
            "error_rel must be that of 260.000 against 229 HBW, 0.135371 .got '0.000100'",
        ),
        ("260.000", "229", "0", "error_rel must be that of"),
        ("229.000", "229", "-0.000006", "error_rel must be that of"),
        ("229.000", "229", "0.000006", "error_rel must be that of"),
        ("231.500", "229", "1.3E-02", "error_rel must be that of"),
        ("229.000", "0", "0.000000", "certified_hbw must be above 0 .got '0'"),
        ("-229.000", "229", "-2.000000", "mean_hbw must be above 0"),
    ],
)
def test_an_error_that_is_not_that_of_its_mean_is_named(
    tmp_path: Path, mean: str, certified: str, error: str, says: str
) -> None:
    log = _written(tmp_path, _line("229.000", "229", "0.000000"), _line(mean, certified, error))
    with pytest.raises(ValueError, match=f"daily.csv line 3: {says}"):
        read_daily(log)


@pytest.mark.parametrize(
    ("mean", "certified", "error"),
    [
        ("230.1", "229", "0.0048"),  # by hand, exactly 0.004803
        ("230", "229", "0.006"),  # by hand, of 230.4
        ("229", "229", "0"),  # zeros at the end, dropped by a spreadsheet
        ("229.002", "229", "9E-06"),  # and as it writes small numbers
        pytest.param("229.000", "229", "0e-" + "9" * 400, id="more digits than a float tells"),
    ],
)
def test_an_error_is_held_no_closer_than_the_written_digits(
    tmp_path: Path, mean: str, certified: str, error: str
) -> None:
    (entry,) = read_daily(_written(tmp_path, _line(mean, certified, error)))
    assert entry.error_rel == float(error)


def test_a_line_the_program_wrote_is_always_read(tmp_path: Path) -> None:
    """Rounding of mean, certified value and error together never speaks against a line."""
    rng = np.random.default_rng(7)
    lines = []
    for certified, error in zip(
        rng.uniform(3.0, 650.0, 2000), rng.normal(0, 0.02, 2000), strict=True
    ):
        mean = certified * (1.0 + error)
        lines.append(_line(f"{mean:.3f}", f"{certified:g}", f"{error:.6f}"))
    assert len(read_daily(_written(tmp_path, *lines))) == 2000


def test_a_chart_ends_with_the_day_that_is_judged() -> None:
    """A mistyped year, or days already checked after it, are not among what it is judged by."""
    slip = replace(_log([0.0])[0], on=date(2062, 11, 16))
    jump = [*QUIET, 0.012]
    with_slip = [slip, *_log(jump)]
    assert control_chart(with_slip, block="B-17", test="10/3000", on=LATER) == _chart(jump)
    tenth = FIRST + timedelta(days=9)
    assert control_chart(with_slip, block="B-17", test="10/3000", on=tenth) == _chart(QUIET)
    with pytest.raises(ValueError, match=r"two days at least \(got 1\)"):
        control_chart(with_slip, block="B-17", test="10/3000", on=FIRST)


def test_a_jump() -> None:
    assert {"chart-limits", "chart-moving-range"} <= _broken([*QUIET, 0.012])


def test_two_of_three() -> None:
    # Western Electric: two of three beyond two sigma on one side
    assert "chart-two-of-three" in _broken([*QUIET, *QUIET, 0.0042, 0.0, 0.0042])
    assert "chart-two-of-three" not in _broken([*QUIET, *QUIET, 0.0042, 0.0, -0.0042])


def test_four_of_five() -> None:
    assert "chart-four-of-five" in _broken([*QUIET, *QUIET, 0.003, 0.003, 0.0, 0.003, 0.003])


def test_a_run_on_one_side() -> None:
    assert "chart-run" in _broken([*QUIET, *QUIET, *[0.0007, 0.0005] * 4])
    assert "chart-run" not in _broken([*QUIET, *QUIET, *[0.0007, 0.0005] * 3, 0.0007])


def test_a_trend() -> None:
    rising = [0.0, 0.0002, 0.0004, 0.0006, 0.0008, 0.001]
    assert "chart-trend" in _broken([*QUIET, *rising])
    assert "chart-trend" in _broken([*QUIET, *(-r for r in rising)])
    assert "chart-trend" not in _broken([*QUIET, 0.002, *rising[1:]])


def test_a_machine_that_never_moves() -> None:
    assert _broken([0.001] * 20) == set()


def test_false_alarms_are_as_rare_as_they_should_be() -> None:
    # three sigma: 0.27 % per day with known sigma; with sigma from twenty days, below 2 %
    rng = np.random.default_rng(5)
    alarms = sum("chart-limits" in _broken(list(rng.normal(0, 0.003, 20))) for _ in range(500))
    assert alarms < 10


def test_other_blocks_are_left_aside_and_dates_put_in_order() -> None:
    entries = [*_log([0.5, 0.6], block="other"), *_log([0.5], test="5/750"), *_log(QUIET)[::-1]]
    chart = control_chart(entries, block="B-17", test="10/3000", on=LATER)
    assert [e.error_rel for e in chart.entries] == QUIET


def test_one_day_is_no_chart() -> None:
    with pytest.raises(ValueError, match="two days at least"):
        _chart([0.001])


def test_due() -> None:
    assert due_on(date(2026, 2, 28)) == date(2026, 3, 1)
    assert due_on(date(2026, 1, 1), every="scope_every_days") == date(2026, 7, 2)
    assert due_on(date(2026, 1, 1), every="machine_every_days") == date(2027, 1, 1)
    assert due_on(date.max) == date.max


def test_a_failed_block_of_the_day_fails_and_a_missing_one_warns() -> None:
    (entry,) = _log([0.01])
    failed = replace(entry, passed=False)
    outcomes = [block_of_the_day(each, on=FIRST).outcome for each in (entry, failed, None)]
    assert outcomes == ["pass", "fail", "warn"]


def test_of_several_checks_of_the_day_the_last_line_counts() -> None:
    (entry,) = _log([0.01])
    again = replace(entry, error_rel=0.02)
    for first, last in ((entry, again), (again, entry)):
        assert last_that_counts([first, last], test="10/3000", on=FIRST) is last


def test_a_rule_that_an_earlier_day_broke_is_kept_by_the_newest() -> None:
    """All rules judge the newest day: a step and a pair far out that lie behind it do not."""
    after_a_step = [*QUIET, 0.009, 0.0085]
    assert "chart-moving-range" in _broken(after_a_step[:-1])
    assert "chart-moving-range" not in _broken(after_a_step)
    two_far_out = [*QUIET, *QUIET, 0.004, 0.0041, 0.0005]
    assert "chart-two-of-three" in _broken(two_far_out[:-1])
    assert "chart-two-of-three" not in _broken(two_far_out)


def test_a_check_counts_on_its_day_and_not_on_the_next_nor_the_day_before() -> None:
    entries = _log([0.01])
    counts = [
        last_that_counts(entries, test="10/3000", on=FIRST + timedelta(days=k)) for k in (-1, 0, 1)
    ]
    assert counts == [None, entries[0], None]
    assert last_that_counts(entries, test="5/750", on=FIRST) is None


def test_a_check_that_failed_counts_until_one_passes() -> None:
    (passed,) = _log([0.01])
    failed = replace(passed, on=FIRST + timedelta(days=1), passed=False)
    mended = replace(passed, on=FIRST + timedelta(days=30))
    log, later = [passed, failed, mended], FIRST + timedelta(days=20)
    assert last_that_counts(log, test="10/3000", on=later) is failed
    assert last_that_counts(log, test="10/3000", on=mended.on) is mended
    assert last_that_counts(log, test="10/3000", on=FIRST + timedelta(days=40)) is None


def test_a_chart_is_of_one_block_under_one_test() -> None:
    others = [*_log([0.5] * 5, block="B-18"), *_log([0.5] * 5, test="5/750")]
    mixed = [*others, *_log(QUIET), *others]
    chart = control_chart(mixed, block="B-17", test="10/3000", on=LATER)
    assert [entry.error_rel for entry in chart.entries] == QUIET


@pytest.mark.parametrize(("sigmas", "broken"), [(2.9, False), (3.1, True)])
def test_three_sigma_of_the_centre_are_the_limit(sigmas: float, broken: bool) -> None:  # noqa: FBT001
    def apart(last: float) -> float:
        chart = _chart([*QUIET, last])
        return (last - chart.centre_rel) / chart.sigma_rel - sigmas

    last = brentq(apart, 0.0, 0.1)
    assert ("chart-limits" in _broken([*QUIET, last])) == broken
