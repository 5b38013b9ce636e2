"""``rimread verify`` as a person or a program calls it."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from rimread.cli import app

PHOTO = Path(__file__).parents[2] / "sample_images" / "hall-plate-2.jpg"
# an invented block of an invented shop
BLOCK = (
    'serial = "B-17"\ncertified_hbw = 229.0\nU_hbw = 2.3\nk = 2\ntest = "10/3000"\n'
    "valid_until = 2027-01-31\n"
)
GOOD = ("3.99,4.00", "4.00,4.01", "3.98,4.00", "4.01,4.00", "4.00,4.00")


@pytest.fixture
def block(tmp_path: Path) -> str:
    path = tmp_path / "block.toml"
    path.write_text(BLOCK, encoding="utf-8")
    return str(path)


def _call(*words: str, stdin: str | None = None) -> Result:
    return CliRunner().invoke(app, ["verify", *words], input=stdin)


def _json(*words: str, stdin: str | None = None) -> dict[str, Any]:
    return dict(json.loads(_call(*words, "--json", stdin=stdin).stdout))


def test_a_good_machine(block: str) -> None:
    result = _call(block, *GOOD, "--on", "2026-03-02")
    assert result.exit_code == 0
    assert "passed; next due 2026-03-03" in result.stdout
    answer = _json(block, *GOOD, "--on", "2026-03-02")
    assert answer["status"] == "passed"
    assert answer["error_hbw"] == pytest.approx(-0.1, abs=0.05)
    assert len(answer["values_hbw"]) == 5
    assert answer["due_on"] == "2026-03-03"
    assert answer["chart"] is None


def test_a_bad_machine(block: str) -> None:
    result = _call(block, *["4.10,4.10"] * 5, "--on", "2026-03-02")
    assert result.exit_code == 1
    assert "fail  block-error" in result.stdout


def test_log_and_chart(block: str, tmp_path: Path) -> None:
    log = str(tmp_path / "daily.csv")
    for day in range(1, 13):
        d = "4.00,4.01" if day % 2 else "4.00,4.00"
        assert _call(block, *[d] * 5, "--log", log, "--on", f"2026-03-{day:02d}").exit_code == 0
    result = _call(block, *["4.02,4.03"] * 5, "--log", log, "--on", "2026-03-13")
    assert result.exit_code == 0  # a warning only: the block itself passed
    assert "warn  chart-limits" in result.stdout
    assert result.stdout.count("2026-03-") >= 13
    chart = _json(block, "--log", log)["chart"]
    assert len(chart["errors_rel"]) == 13
    assert len(chart["moving_ranges_rel"]) == 12
    assert (tmp_path / "daily.csv").read_text(encoding="utf-8").count("\n") == 14


def test_few_days_give_no_limits_and_one_gives_no_chart(block: str, tmp_path: Path) -> None:
    log = str(tmp_path / "daily.csv")
    for d in ("4.00,4.01", "4.40,4.40"):
        _call(block, *[d] * 5, "--log", log, "--on", "2026-03-02")
    assert "from fewer than two days: no chart yet" in _call(block, "--log", log).stderr
    _call(block, *["4.00,4.00"] * 5, "--log", log, "--on", "2026-03-03")
    shown = _call(block, "--log", log).stdout
    assert "no limits from so few days" in shown
    assert "2 days on the chart" in shown
    assert "chart-limits" not in shown
    rows = [line for line in shown.splitlines() if line.startswith("  2026-03-0")]
    assert [row.count("|") for row in rows] == [1, 1]  # the centre, no limits
    assert rows[0].index("o") < rows[0].index("|") < rows[1].index("o")
    assert rows[0].endswith("-18.24%")  # the last check of the day
    chart = _json(block, "--log", log)["chart"]
    assert (chart["days"], chart["sigma_rel"], chart["moving_range_limit_rel"]) == (2, None, None)


def test_equal_errors_lie_on_the_centre(block: str, tmp_path: Path) -> None:
    log = str(tmp_path / "daily.csv")
    for day in ("02", "03", "04"):
        _call(block, *["4.00,4.01"] * 5, "--log", log, "--on", f"2026-03-{day}")
    shown = _call(block, "--log", log).stdout
    rows = [line for line in shown.splitlines() if line.startswith("  2026-03-0")]
    assert len(rows) == 3
    assert all("|" not in row for row in rows)  # the sign is where the centre line would be


def test_the_chart_alone_adds_no_line(block: str, tmp_path: Path) -> None:
    log = tmp_path / "daily.csv"
    for day in ("2026-03-02", "2026-03-03"):
        _call(block, *GOOD, "--log", str(log), "--on", day)
    before = log.read_bytes()
    shown = _call(block, "--log", str(log), "--on", "2026-03-03")
    assert "pass  block-of-the-day" in shown.stdout
    assert "passed; next due 2026-03-04" in shown.stdout
    assert log.read_bytes() == before


def test_the_chart_alone_says_that_the_last_check_failed_or_counts_no_more(
    block: str, tmp_path: Path
) -> None:
    log = tmp_path / "daily.csv"
    for day in ("02", "03"):
        _call(block, *GOOD, "--log", str(log), "--on", f"2026-03-{day}")
    late = _call(block, "--log", str(log), "--on", "2026-03-04")
    assert "warn  block-of-the-day" in late.stdout
    assert "due since 2026-03-04; check again before anything is tested" in late.stdout
    assert "passed" not in late.stdout
    told = _json(block, "--log", str(log), "--on", "2026-03-04")
    assert (told["due"], told["due_on"]) == (True, "2026-03-04")
    assert _json(block, "--log", str(log), "--on", "2026-03-03")["due"] is False
    early = _json(block, "--log", str(log), "--on", "2026-03-01")
    assert (early["due"], early["due_on"]) == (True, "2026-03-01")
    assert early["chart"] is None
    before = _call(block, "--log", str(log), "--on", "2026-03-01").stdout
    assert "no chart yet on 2026-03-01: block B-17 was checked on fewer than two days" in before
    _call(block, *["4.40,4.40"] * 5, "--log", str(log), "--on", "2026-03-04")
    for day in ("04", "05"):
        failed = _call(block, "--log", str(log), "--on", f"2026-03-{day}")
        assert failed.exit_code == 1
        assert "fail  block-of-the-day: block B-17 on 2026-03-04" in failed.stdout
        assert "passed" not in failed.stdout
    other = tmp_path / "other.toml"
    other.write_text(Path(block).read_text(encoding="utf-8").replace("B-17", "B-18"), "utf-8")
    _call(str(other), *GOOD, "--log", str(log), "--on", "2026-03-05")
    again = _call(block, "--log", str(log), "--on", "2026-03-05")
    assert "pass  block-of-the-day: block B-18 on 2026-03-05" in again.stdout


def test_results_of_measure(block: str) -> None:
    record = {"photo": "p.jpg", "status": "measured", "d1_mm": 4.0, "d2_mm": 4.01, "mean_mm": 4.005}
    known = {"U_mean_mm": 0.01, "k": 2.0, "test": "10/3000"}
    lines = "\n".join(json.dumps(record | known) for _ in range(5))
    answer = _json(block, "-", "--on", "2026-03-02", stdin=lines)
    assert answer["status"] == "passed"
    lines += "\n" + json.dumps({"photo": "q.jpg", "status": "refused"})
    result = _call(block, "-", "--on", "2026-03-02", stdin=lines)
    assert result.exit_code == 1
    assert "q.jpg was refused" in result.stderr
    assert "passed; next due" in result.stdout  # as the log has it


def test_a_result_twice_counts_once_and_what_failed_fails(block: str, tmp_path: Path) -> None:
    late = {"code": "scale-in-date", "outcome": "fail", "message": "too late", "source": "file"}
    record = {"photo": "p.jpg", "sha256": "5" * 64, "status": "measured", "test": "10/3000"}
    record |= {"d1_mm": 4.0, "d2_mm": 4.01, "U_mean_mm": 0.01, "k": 2.0}
    copy = json.dumps(record | {"photo": "copy.jpg"})
    other = json.dumps(record | {"photo": "q,1.jpg", "sha256": "6" * 64, "checks": [late]})
    file = tmp_path / "results,1.jsonl"
    file.write_text("\n".join([json.dumps(record), copy, other]), encoding="utf-8")
    log = tmp_path / "daily.csv"
    result = _call(block, str(file), str(file), "--on", "2026-03-02", "--log", str(log))
    assert result.exit_code == 1
    assert result.stderr.count("the same picture as") == 4  # copy, and all of the second file
    assert "2 indents on the block" in result.stdout
    assert "fail  scale-in-date: q,1.jpg: too late" in result.stdout
    assert "check again before anything is tested" in result.stdout
    assert log.read_text(encoding="utf-8").rstrip().endswith(",no")


def test_results_under_another_test(block: str) -> None:
    record = {"photo": "p.jpg", "status": "measured", "d1_mm": 2.0, "d2_mm": 2.0, "test": "5/750"}
    line = json.dumps(record | {"U_mean_mm": 0.01, "k": 2.0})
    result = _call(block, "-", stdin=line)
    assert result.exit_code == 2
    assert "measured under 5/750, not under 10/3000" in result.stderr


def test_scope() -> None:
    good = ["1:1.001", "2:1.998", "3:3.002", "4:4.001", "5:5.004"]
    result = _call("--scope", *good, "--on", "2026-01-01")
    assert result.exit_code == 0
    assert "passed; next due 2026-07-02" in result.stdout
    result = _call("--scope", *good[:4], "5:5.03", "--on", "2026-01-01")
    assert result.exit_code == 1
    assert "+0.60%, limit ±0.50%" in result.stdout
    assert "check again before anything is tested" in result.stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["BLOCK"], "at least one indent"),
        (["none.toml", "4.0,4.0"], "none.toml"),
        (["BLOCK", str(PHOTO)], "a photo is measured first, with rimread measure --json"),
        (["BLOCK", "12.0,12.0"], "below the ball diameter"),
        (["BLOCK", "4.0,4.0", "--rules", "din"], "rules must be one of"),
        (["BLOCK", "4.0,4.0", "--log", "BLOCK"], "is no daily log"),
        (["BLOCK", "--log", "none.csv"], "none.csv"),
        (["BLOCK", "4.0,4.0", "--log", "none/daily.csv"], "daily.csv: no such folder"),
        (["BLOCK", "4.0,4.0", "--operator", "A"], "--operator needs --log"),
        (["--scope", "1:1", "--log", "new.csv"], "--scope writes none"),
        (["--scope", "1=1"], "an interval is TRUE:READ"),
        (["--scope", "1:0"], "above 0 mm"),
    ],
)
def test_bad_input_gets_one_sentence(block: str, words: list[str], says: str) -> None:
    result = _call(*(block if word == "BLOCK" else word for word in words))
    assert result.exit_code == 2
    assert says in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_mistyped_year_does_not_spoil_the_log(block: str, tmp_path: Path) -> None:
    log = tmp_path / "daily.csv"
    for year in ("2062", "9999"):
        mistyped = _call(block, *GOOD, "--log", str(log), "--on", f"{year}-12-31")
        assert mistyped.exit_code == 2
        assert "--on must not lie after today" in mistyped.stderr
        assert f"give the right day (got {year}-12-31)" in mistyped.stderr
        assert mistyped.stderr.count("\n") == 1
    assert not log.exists()
    assert _call(block, *GOOD, "--log", str(log), "--on", "2026-03-02").exit_code == 0


def test_a_day_ahead_may_be_the_time_zone_and_two_are_a_slip(block: str) -> None:
    today = date.today()  # noqa: DTZ011  (as the verb takes it)
    for ahead, code in ((0, 0), (1, 0), (3, 2)):  # 3: midnight may pass between
        day = (today + timedelta(days=ahead)).isoformat()
        assert _call("--scope", "1:1", "--on", day).exit_code == code
    late = (today + timedelta(days=3)).isoformat()
    assert "--on must not lie after today" in _call(block, "--log", "x.csv", "--on", late).stderr


def test_a_later_day_in_the_log_does_not_judge_today(block: str, tmp_path: Path) -> None:
    """Neither a year mistyped before such days were asked back, nor days after the one judged."""
    log = tmp_path / "daily.csv"
    for day in range(1, 13):
        d = "4.00,4.01" if day % 2 else "4.00,4.00"
        _call(block, *[d] * 5, "--log", str(log), "--on", f"2026-03-{day:02d}")
    lines = log.read_text(encoding="utf-8-sig").splitlines()
    slip = lines[-1].replace("2026-03-12", "2062-03-12")
    with log.open("a", encoding="utf-8") as file:
        file.write(slip + "\n")
    jump = _call(block, *["4.02,4.03"] * 5, "--log", str(log), "--on", "2026-03-13")
    assert "warn  chart-limits" in jump.stdout
    assert "2062" not in jump.stdout
    alone = _call(block, "--log", str(log), "--on", "2026-03-13")
    assert "warn  chart-limits" in alone.stdout
    dates = _json(block, "--log", str(log), "--on", "2026-03-11")["chart"]["dates"]
    assert dates == [f"2026-03-{day:02d}" for day in range(1, 12)]


def test_a_log_whose_figures_disagree_is_named(block: str, tmp_path: Path) -> None:
    log = tmp_path / "daily.csv"
    _call(block, *GOOD, "--log", str(log), "--on", "2026-03-02")
    with log.open("a", encoding="utf-8") as file:
        file.write("2026-03-03,B-17,10/3000,A,5,260.000,229,0.000100,0.005000,yes\n")
    result = _call(block, "--log", str(log), "--on", "2026-03-03")
    assert result.exit_code == 2
    assert "daily.csv line 3: error_rel must be that of 260.000" in result.stderr


def test_an_interval_read_five_times_is_one() -> None:
    result = _call("--scope", *["2:2"] * 5, "--on", "2026-01-01")
    assert "warn  scope-intervals: 5 intervals read, 1 different length" in result.stdout


def test_a_block_file_saved_with_a_byte_order_mark(block: str) -> None:
    path = Path(block)
    path.write_text(path.read_text(encoding="utf-8"), encoding="utf-8-sig")
    assert _call(block, *GOOD, "--on", "2026-03-02").exit_code == 0
