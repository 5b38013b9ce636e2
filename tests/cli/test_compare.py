"""The verb as a person or a program meets it."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import rimread.reading
from rimread.cli import app
from rimread.hardness import parse_test
from rimread.ledger import Draft, open_ledger
from rimread.ledger.record import hand_record

ROOT = Path(__file__).parents[2]
SAMPLES, SCALE = ROOT / "sample_images", ROOT / "calibration" / "hall-scope.toml"


def run(*words: object):
    return CliRunner().invoke(app, ["compare", *map(str, words)], catch_exceptions=False)


def record(photo: str, d: float) -> dict:
    return {
        "photo": photo,
        "status": "measured",
        "d1_mm": d,
        "d2_mm": d,
        "angle_deg": 0.0,
        "mean_mm": d,
        "U_mean_mm": 0.008,
        "k": 2.0,
        "test": "10/3000",
    }


@pytest.fixture
def results(tmp_path):
    path = tmp_path / "r.jsonl"
    records = [record("a.jpg", 3.9), record("b.jpg", 4.1)]
    records.append({"photo": "c.jpg", "status": "refused", "reasons": [{"message": "too dark"}]})
    path.write_text("\n".join(map(json.dumps, records)), encoding="utf-8")
    return path


@pytest.fixture
def table(tmp_path):
    def write(*rows: str, head: str = "photo;operator;d1 mm;d2 mm") -> Path:
        path = tmp_path / "Lesungen von März.csv"
        path.write_text("\n".join([head, *rows]), encoding="utf-8-sig")
        return path

    return write


GOOD = ("a.jpg;Anna;3,90;3,91", "b.jpg;Anna;4,10;4,09", "a.jpg;Ben;3,91;3,90")


def test_all_well(table, results):
    done = run(table(*GOOD), "--image", results)
    assert done.exit_code == 0
    assert "Anna reads as the image does" in done.stdout
    assert "qualified person" in done.stdout
    assert done.stderr == ""


def test_json_only_on_standard_output(table, results):
    done = run(table(*GOOD), "--image", results, "--json")
    (line,) = done.stdout.splitlines()
    told = json.loads(line)
    assert told["status"] == "passed"
    assert [person["operator"] for person in told["operators"]] == ["Anna", "Ben"]
    assert told["readings"][0]["difference_mm"] == pytest.approx(0.005)
    assert told["unmatched"] == told["unreadable"] == []
    assert {c["outcome"] for c in told["checks"]} == {"pass"}


def test_a_person_beyond_both_uncertainties_is_one(table, results):
    done = run(table("a.jpg;Ben;4,00;4,00", "b.jpg;Ben;4,20;4,20"), "--image", results)
    assert done.exit_code == 1
    assert "\n  fail  operator-mean-error: " in done.stdout  # as the other verbs print a check


def test_a_reading_of_a_refused_photo_is_one(table, results):
    done = run(table(*GOOD, "c.jpg;Anna;4,0;4,0"), "--image", results)
    assert done.exit_code == 1
    assert "line 5" in done.stderr
    assert "too dark" in done.stderr


def test_a_reading_of_a_photo_in_another_folder_is_one(table, results):
    results.write_text(json.dumps(record("mon/IMG_1.jpg", 4.41)), encoding="utf-8")
    both = table("mon/IMG_1.jpg;Ann;4,42;4,40", "tue/IMG_1.jpg;Ann;4,43;4,42")
    done = run(both, "--image", results)
    assert done.exit_code == 1
    assert "1 reading of 1 indent" in done.stdout
    assert "line 3: no result for 'tue/IMG_1.jpg', the nearest is mon/IMG_1.jpg" in done.stderr


def test_a_result_that_somebody_changed_is_two_and_the_rest_is_done(table, results):
    with results.open("a", encoding="utf-8") as file:
        file.write("\n" + json.dumps(record("d.jpg", 4.0) | {"mean_mm": 4.2}))
    done = run(table(*GOOD, "d.jpg;Anna;4,20;4,20"), "--image", results)
    assert done.exit_code == 2
    assert "line 4: is no result of rimread measure --json (d.jpg: mean_mm is 4.2" in done.stderr
    assert "line 5: no result for 'd.jpg'" in done.stderr
    assert "Anna reads" in done.stdout


def test_a_doubled_line_in_another_spelling_is_two(table, results):
    head = "photo;operator;d1 mm;d2 mm;trial"
    rows = ("a.jpg;Anna;3,90;3,91;1", "x/A.JPG;ANNA;3,90;3,91;01", "b.jpg;Anna;4,10;4,09;1")
    done = run(table(*rows, head=head), "--image", results)
    assert done.exit_code == 2
    assert "line 3: repeats line 2" in done.stderr
    assert "its photo is 'a.jpg': write the folder of both if they are two photos" in done.stderr
    assert "2 readings of 2 indents" in done.stdout


def test_a_line_that_cannot_be_read_is_two_and_the_rest_is_done(table, results):
    done = run(table(*GOOD, "a.jpg;Anna;x;4,0"), "--image", results, "--json")
    assert done.exit_code == 2
    told = json.loads(done.stdout)
    assert len(told["readings"]) == 3
    assert told["unreadable"][0]["line"] == 5
    assert "line 5" in done.stderr


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ((), "--image"),
        (("--image", "RESULTS", "--scale", SCALE), "either"),
        (("--scale", SCALE), "--test"),
        (("--image", "RESULTS", "--resolution", "0"), "above 0"),
        *((("--image", "RESULTS", "--scope", bad), "in % of d") for bad in ("nan", "0.005", "5")),
        (("--image", "RESULTS", "--test", "10:3000"), "a test is"),
        (("--image", "RESULTS", "--test", "5/750"), "not one reading"),
        (("--image", "missing.jsonl"), "missing.jsonl"),
        (("--image", SAMPLES / "truth.csv"), "no result that can be used; line 1: is no result of"),
    ],
)
def test_misuse(table, results, options, why):
    words = [results if word == "RESULTS" else word for word in options]
    done = run(table(*GOOD), *words)
    assert done.exit_code == 2
    assert why in done.stderr
    assert done.stdout == ""


def test_the_scope_is_in_percent_as_in_the_other_verbs(table, results):
    """U of a reading by eye: ±0.5 % of d, rectangular, as `hand_reading` has it."""
    words = (table(*GOOD), "--image", results, "--json")
    by_default, same, twice = (
        json.loads(run(*words, *more).stdout)["readings"][0]["U_human_mm"]
        for more in ((), ("--scope", "0.5"), ("--scope", "1"))
    )
    assert same == by_default
    assert 1.5 * same < twice < 2.0 * same


def test_a_missing_column_is_misuse(table, results):
    done = run(table("a.jpg;Anna;3,9", head="photo;operator;d1"), "--image", results)
    assert done.exit_code == 2
    assert "'d2'" in done.stderr


def test_results_and_table_in_the_wrong_order(table, results):
    done = run(results, "--image", table(*GOOD))
    assert done.exit_code == 2
    assert f"{results} looks like results of rimread measure --json, not like a" in done.stderr
    assert len(done.stderr) < 300


def test_page_and_figures(table, results, tmp_path):
    page, folder = tmp_path / "Seite.html", tmp_path / "Bilder"
    done = run(table(*GOOD), "--image", results, "--page", page, "--figures", folder)
    assert done.exit_code == 0
    assert "Lesungen von März.csv" in page.read_text(encoding="utf-8")
    assert (folder / "offsets.png").exists()
    assert (folder / "offsets.svg").exists()


def test_photos_are_measured_on_the_way(tmp_path):
    with (SAMPLES / "truth.csv").open(encoding="utf-8", newline="") as file:
        truth = {row["photo"]: row for row in csv.DictReader(file)}
    name = "hall-plate-2.jpg"
    (tmp_path / name).write_bytes((SAMPLES / name).read_bytes())
    width, height = (truth[name][key] for key in ("width_mm", "height_mm"))
    path = tmp_path / "readings.csv"
    path.write_text(f"photo,operator,d1,d2\n{name},Anna,{width},{height}\ngone.jpg,Anna,4.0,4.0\n")
    done = run(path, "--scale", SCALE, "--test", "10/3000", "--json")
    assert done.exit_code == 1
    (reading,) = json.loads(done.stdout)["readings"]
    assert abs(reading["difference_mm"]) < reading["U_image_mm"]
    assert abs(reading["image_d1_mm"] - float(width)) < 2 * reading["U_image_mm"]
    assert "gone.jpg" in done.stderr


def test_a_fault_of_the_program_on_one_photo_stops_no_other(tmp_path, monkeypatch):
    plain = rimread.reading.measure_photo

    def faulty(photo, *rest, **more):
        if photo.name == "hall-plate-1.jpg":
            raise np.linalg.LinAlgError("Singular matrix")
        return plain(photo, *rest, **more)

    monkeypatch.setattr(rimread.reading, "measure_photo", faulty)
    path = tmp_path / "readings.csv"
    rows = "".join(f"{SAMPLES / f'hall-plate-{n}.jpg'},Anna,4.0,4.0\n" for n in (1, 2))
    path.write_text(f"photo,operator,d1,d2\n{rows}", encoding="utf-8")
    done = run(path, "--scale", SCALE, "--test", "10/3000", "--json")
    assert done.exit_code == 1
    assert len(json.loads(done.stdout)["readings"]) == 1
    assert "line 2" in done.stderr
    assert "Singular matrix" in done.stderr


@pytest.mark.parametrize("written", ["27/11/2026", "gestern", "9.10"])
def test_a_date_that_is_not_understood_is_told(table, results, written):
    dated = [
        f"{row};{date}" for row, date in zip(GOOD, ("2.11.2026", written, written), strict=True)
    ]
    path = table(*dated, head="photo;operator;d1 mm;d2 mm;date")
    done = run(path, "--image", results)
    assert done.exit_code == 0
    assert f"line 3 and 1 more cannot be dated, the date '{written}' is not" in done.stdout
    assert "taken are 2026-11-27 or 27.11.2026" in done.stdout
    assert "order of the lines" in done.stdout
    assert json.loads(run(path, "--image", results, "--json").stdout)["undated"] == [3, 4]


def test_dates_that_are_understood_need_no_word(table, results):
    dated = [f"{row};2026-11-27;{9 + k}:10" for k, row in enumerate(GOOD)]
    done = run(table(*dated, head="photo;operator;d1 mm;d2 mm;date;time"), "--image", results)
    assert "cannot be dated" not in done.stdout


def test_readings_kept_in_a_ledger_are_compared(results, tmp_path):
    book, out = tmp_path / "book.db", tmp_path / "hand.csv"
    condition = parse_test("10/3000")
    with open_ledger(book) as ledger:
        for photo, d1, d2 in (("a.jpg", 3.9, 3.91), ("b.jpg", 4.1, 4.09)):
            hand = hand_record(photo, None, d1, d2, test=condition)
            ledger.append([Draft("hand", hand, operator="Anna")])
    words = ("ledger", "export", str(book), str(out), "--kind", "hand")
    assert CliRunner().invoke(app, words).exit_code == 0
    done = run(out, "--image", results)
    assert done.exit_code == 0
    assert done.stderr == ""
    assert "2 readings of 2 indents" in done.stdout


def test_the_page_is_never_written_over_a_photo(table, results, tmp_path):
    photo = tmp_path / "indent.jpg"
    photo.write_bytes(b"a photo")
    done = run(table(*GOOD), "--image", results, "--page", photo)
    assert done.exit_code == 2
    assert "--page takes a file that ends in .html" in done.stderr
    assert photo.read_bytes() == b"a photo"


def test_the_page_is_never_written_over_what_is_read(table, results):
    told, readings = results.read_bytes(), table(*GOOD)
    for page in (results, readings):
        done = run(readings, "--image", results, "--page", page)
        assert done.exit_code == 2
        assert "--page" in done.stderr
    assert results.read_bytes() == told


def test_a_page_that_cannot_be_made_is_told_before_the_table(table, results, tmp_path):
    done = run(table(*GOOD), "--image", results, "--page", tmp_path / "none" / "s.html")
    assert done.exit_code == 2
    assert "s.html: no such folder" in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("spoilt", ["[" * 100_000, "1" * 5000, '{"status": ', "7"])
def test_a_result_that_is_none_is_one_bad_line(table, results, spoilt):
    with results.open("a", encoding="utf-8") as file:
        file.write(f"\n{spoilt}")
    done = run(table(*GOOD), "--image", results)
    assert done.exit_code == 2
    assert "line 4" in done.stderr
    assert "Anna reads" in done.stdout
