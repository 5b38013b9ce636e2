"""``rimread report`` as a person calls it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from tests.report.records import record, refused, series
from typer.testing import CliRunner, Result

from rimread.cli import app

ROOT = Path(__file__).parents[2]
SAMPLES, CALIBRATION = ROOT / "sample_images", ROOT / "calibration"
BLOCK = 'serial = "B-17"\ncertified_hbw = 229.0\nU_hbw = 2.3\nk = 2\ntest = "10/3000"\n'


def call(*words: object, stdin: str | None = None) -> Result:
    return CliRunner().invoke(app, ["report", *map(str, words)], input=stdin)


def lines(path: Path, told: list[dict[str, Any]]) -> Path:
    path.write_text("\n".join(json.dumps(one) for one in told), encoding="utf-8")
    return path


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return lines(tmp_path / "job.jsonl", series(3))


def test_a_page_is_written(job: Path, tmp_path: Path):
    out = tmp_path / "job.html"
    result = call(job, "--out", out, "--part", "shaft 7", "--heat", "Żółć 热处理")
    assert result.exit_code == 0, result.output
    assert "229 HBW 10/3000, indents: 3" in result.stdout
    assert "qualified person" in result.stderr
    text = out.read_text(encoding="utf-8")
    assert "shaft 7" in text
    assert "Żółć 热处理" in text


def test_all_facts_reach_the_page(job: Path, tmp_path: Path):
    (tmp_path / "lab.toml").write_text('name = "Test room"\nmachine = "Lever"\n', encoding="utf-8")
    log = tmp_path / "daily.csv"
    log.write_text(
        "date,block,test,operator,n,mean_hbw,certified_hbw,error_rel,repeatability_rel,passed\n"
        "2026-11-25,B-17,10/3000,Ada,3,230.1,229,0.0048,0.004,yes\n",
        encoding="utf-8",
    )
    eyes = tmp_path / "eyes.csv"
    eyes.write_text("photo,operator,d1 (mm),d2 (mm)\nplate-1.jpg,Bo,4.01,4.02\n", encoding="utf-8")
    out = tmp_path / "job.html"
    options = {
        "--lab": tmp_path / "lab.toml", "--number": "26-118", "--location": "face A",
        "--order": "PO 7", "--customer": "Hythe Rail", "--grade": "42CrMo4", "--material": "steel",
        "--requirement": "220 to 260", "--edition": "ISO 6506-1:2014", "--on": "2026-11-25",
        "--operator": "Ada Sutter", "--temperature": "21", "--remarks": "ground",
        "--block-log": log, "--convert": "hv", "--human": eyes,
    }  # fmt: skip
    result = call(job, "--out", out, *(x for pair in options.items() for x in pair))
    assert result.exit_code == 0, result.output
    text = out.read_text(encoding="utf-8")
    for said in (
        "Test room", "Lever", "26-118", "face A", "PO 7", "Hythe Rail", "42CrMo4", "220 to 260",
        "ISO 6506-1:2014", "2026-11-25", "Ada Sutter", "21 °C", "ground", "block B-17", "HV",
        ">Bo<", "4.015",
    ):  # fmt: skip
        assert said in text


@pytest.mark.parametrize(
    ("passed", "code", "says"), [("yes", 0, "no check under this test that counts on"),
                                 ("no", 1, "block-of-the-day failed")]
)  # fmt: skip
def test_a_day_without_a_check_on_the_block_is_told(
    job: Path, tmp_path: Path, passed: str, code: int, says: str
):
    log = tmp_path / "daily.csv"
    log.write_text(
        "date,block,test,operator,n,mean_hbw,certified_hbw,error_rel,repeatability_rel,passed\n"
        f"2026-11-20,B-17,10/3000,Ada,3,230.1,229,0.0048,0.004,{passed}\n",
        encoding="utf-8",
    )
    words = ("--block-log", log, "--on", "2026-11-25")
    result = call(job, "--out", tmp_path / "job.html", *words)
    assert result.exit_code == code
    assert says in result.stderr


def test_a_pdf_is_written(job: Path, tmp_path: Path):
    pytest.importorskip("fpdf", reason="the extra rimread[report]")
    out = tmp_path / "job.PDF"
    assert call(job, "--out", out, "--paper", "letter").exit_code == 0
    assert out.read_bytes().startswith(b"%PDF-")
    assert call(job, "--out", out, "--font", tmp_path / "none.ttf").exit_code == 2


def test_without_fpdf2_the_extra_is_named(job: Path, tmp_path: Path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "fpdf", None)
    monkeypatch.delitem(__import__("sys").modules, "rimread.report.pdf", raising=False)
    result = call(job, "--out", tmp_path / "job.pdf")
    assert result.exit_code == 2
    assert 'pip install "rimread[report]"' in result.stderr
    assert not (tmp_path / "job.pdf").exists()


def test_from_standard_input(tmp_path: Path):
    told = "\n".join(json.dumps(one) for one in series(2))
    assert call("-", "--out", tmp_path / "x.html", stdin=told).exit_code == 0


def test_refused_photos_are_listed_and_exit_with_1(tmp_path: Path):
    job = lines(tmp_path / "job.jsonl", [*series(2), refused()])
    result = call(job, "--out", tmp_path / "x.html")
    assert result.exit_code == 1
    assert "double.jpg was refused" in result.stderr
    assert "Measure one that stands by itself." in (tmp_path / "x.html").read_text("utf-8")


def test_failed_checks_exit_with_1(tmp_path: Path):
    bad = {"code": "ovality", "outcome": "fail", "message": "oval", "source": "own"}
    job = lines(tmp_path / "job.jsonl", [record(4.0, 4.0, checks=[bad])])
    result = call(job, "--out", tmp_path / "x.html")
    assert result.exit_code == 1
    assert "the check ovality failed" in result.stderr
    assert "does not count" in (tmp_path / "x.html").read_text("utf-8")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--temperature", "-500"), "temperature must lie in -50 °C to 100 °C"),
        (("--out", "x.doc"), "ends in .html or .pdf"),
        (("--out", "none/x.html"), "x.html: no such folder"),
        (("--average", "drop-extremes"), "at least 5 indents"),
        (("--convert", "hv"), "say which group"),
        (("--convert", "hx", "--material", "steel"), "scale must be one of"),
        (("--photos", "nowhere"), "is no folder"),
        (("--scale", "nowhere.toml"), "nowhere.toml"),
        (("--lab", "nowhere.toml"), "nowhere.toml"),
        (("--way", "bias"), "needs the indents on the block"),
        (("--block", "block.toml"), "needs all three"),
        (("--entry", "1"), "choose from a ledger"),
        (("--rules", "none"), "rules must be one of"),
    ],
)
def test_misuse_writes_nothing(job: Path, tmp_path: Path, words: tuple[str, ...], says: str):
    out = tmp_path / "x.html"
    result = call(job, *(() if "--out" in words else ("--out", out)), *words)
    assert result.exit_code == 2
    assert says in result.stderr
    assert "Traceback" not in result.output
    assert not out.exists()


def test_two_tests_are_two_reports(tmp_path: Path):
    told = [record(4.0, 4.0), record(2.0, 2.0, photo="b.jpg", test="5/750")]
    result = call(lines(tmp_path / "job.jsonl", told), "--out", tmp_path / "x.html")
    assert result.exit_code == 2
    assert "one test, ball and force" in result.stderr


def test_files_of_another_kind(tmp_path: Path):
    bad = tmp_path / "x.jsonl"
    bad.write_bytes(b"\xff\xfe\x00")
    told = call(bad, "--out", tmp_path / "x.html").stderr
    assert "JSON lines in UTF-8; a photo is measured first, with rimread measure --json" in told
    assert call(tmp_path / "none", "--out", tmp_path / "x.html").exit_code == 2
    assert call(tmp_path, "--out", tmp_path / "x.html").exit_code == 2


def test_the_uncertainty_by_the_block(job: Path, tmp_path: Path):
    block = tmp_path / "block.toml"
    block.write_text(BLOCK, encoding="utf-8")
    others = [one | {"sha256": f"{n:064x}"} for n, one in enumerate(series(5))]
    indents = lines(tmp_path / "block.jsonl", others)
    words = ("--block", block, "--on-block", indents, "--on", "2026-11-25")
    for way, said in (("permissible-error", "within its permissible"), ("bias", "taken off")):
        out = tmp_path / f"{way}.html"
        assert call(job, "--out", out, *words, "--way", way).exit_code == 0
        assert said in out.read_text("utf-8")
    out = tmp_path / "unsaid.html"  # as with measure --block
    assert call(job, "--out", out, *words, "--on-block", "4.00,4.01").exit_code == 0
    assert "within its permissible" in out.read_text("utf-8")
    both = call(job, "--out", out, *words[:2], "--on-block", job, *words[4:])
    assert both.exit_code == 2
    assert "one is given as both" in both.stderr
    other = lines(tmp_path / "other.jsonl", [record(2.0, 2.0, test="5/750")])
    result = call(job, "--out", tmp_path / "x.html", *words[:2], "--on-block", other, *words[4:])
    assert result.exit_code == 2
    assert "measured under 5/750, not under 10/3000" in result.stderr


def test_from_photo_to_report(tmp_path: Path):
    scale = CALIBRATION / "bench-scope.toml"
    photos = [str(SAMPLES / f"bench-axle-{i}.jpg") for i in (1, 2)]
    measured = CliRunner().invoke(
        app, ["measure", *photos, "--scale", str(scale), "--test", "10/3000", "--json"]
    )
    job = tmp_path / "job.jsonl"
    job.write_text(measured.stdout, encoding="utf-8")
    out = tmp_path / "x.html"
    result = call(job, "--out", out, "--scale", scale, "--photos", SAMPLES)
    assert result.exit_code in (0, 1), result.output
    text = out.read_text("utf-8")
    assert text.count("data:image/jpeg;base64,") == measured.stdout.count('"measured"')
    assert "Quillmarsh Works (invented), bench scope" in text


def test_what_an_archive_read_before_stands_beside_it(tmp_path: Path):
    from rimread.ledger import Draft, open_ledger  # noqa: PLC0415

    book = tmp_path / "shop.ledger"
    told = record(4.0, 4.0, photo="old/plate-1.jpg", earlier={"d1_mm": 4.05, "d2_mm": 4.07})
    mean_only = record(4.0, 4.0, photo="new/plate-1.jpg", earlier={"mean_mm": 4.05})
    with open_ledger(book) as opened:
        opened.append([Draft(kind="image", record=one) for one in (told, mean_only)])
    out = tmp_path / "x.html"
    assert call(book, "--out", out).exit_code == 0
    text = out.read_text("utf-8")
    assert text.count("read before, by the list") == 1
    assert "+0.060" in text


def test_indents_on_a_block_are_not_of_the_piece(tmp_path: Path):
    from rimread.ledger import Draft, open_ledger  # noqa: PLC0415

    book = tmp_path / "shop.ledger"
    told = [
        record(4.0 + i / 100, 4.0, photo=f"plate-{i}.jpg", series={"id": "s", "purpose": purpose})
        for i, purpose in enumerate(("part", "block", "part"))
    ]
    with open_ledger(book) as opened:
        opened.append([Draft(kind="image", record=one) for one in told])
    done = call(book, "--out", tmp_path / "x.html")
    assert "indents: 2" in done.stdout
    assert "1 of a block check are left out" in done.stderr
    assert "plate-1.jpg" not in (tmp_path / "x.html").read_text("utf-8")


def test_from_a_ledger(tmp_path: Path):
    from rimread.hardness import parse_test  # noqa: PLC0415
    from rimread.ledger import Draft, open_ledger  # noqa: PLC0415
    from rimread.ledger.record import hand_record  # noqa: PLC0415

    book = tmp_path / "shop.ledger"
    by_hand = hand_record("plate-1.jpg", None, 4.01, 4.03, test=parse_test("10/3000"))
    other = hand_record("other.jpg", None, 4.01, 4.03, test=parse_test("10/3000"))
    with open_ledger(book) as opened:
        opened.append(
            [
                *(Draft(kind="image", record=one) for one in series(3)),
                Draft(kind="hand", record=by_hand, operator="Ada"),
                Draft(kind="hand", record=other, operator="Ada"),
            ]
        )
        opened.append([Draft(kind="withdrawal", record={}, replaces=2, reason="double hit")])
    out = tmp_path / "x.html"
    result = call(book, "--out", out)
    assert result.exit_code == 0, result.output
    text = out.read_text("utf-8")
    assert "plate-1.jpg (ledger entry 1, " in text
    assert "plate-3.jpg" in text
    assert "plate-2.jpg" not in text  # withdrawn
    assert ">Ada<" in text
    assert "the reading of other.jpg by eye is left out" in result.stderr
    assert "indents: 1" in call(book, "--out", out, "--entry", "3").stdout
    corrected = record(
        4.02, 4.0, photo="plate-3.jpg", correction={"how": "rim dragged"}, series={"id": "s1"}
    )
    with open_ledger(book) as opened:
        opened.append([Draft(kind="hand", record=corrected, replaces=3, reason="a scratch")])
    assert "indents: 2" in call(book, "--out", out).stdout
    assert "rim dragged; a scratch" in out.read_text("utf-8")
    assert "indents: 1" in call(book, "--out", out, "--series", "s1").stdout
    assert "indents: 1" in call(book, "--out", out, "--photo", "plate-3").stdout
    assert "has no entry 2 that" in call(book, "--out", out, "--entry", "2").stderr
    assert "at least one measured" in call(book, "--out", out, "--until", "2020-01-01").stderr
