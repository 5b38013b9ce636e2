"""All indents of a photo: simulated photos with truth, table, JSON, overlay, ledger, report."""

import csv
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from rimread.agreement.readings import read_results
from rimread.cli import app
from rimread.ledger import audit, open_ledger
from rimread.scale import ScalePhoto, write_scale
from rimread.simulate import Simulated, several_scene, simulate

CONTRACT = {
    *("photo", "sha256", "status", "d1_mm", "d2_mm", "mean_mm", "U_mean_mm", "k"),
    *("width_mm", "height_mm", "centre_x_px", "centre_y_px", "angle_deg", "coverage"),
    *("hbw", "U_hbw", "designation", "checks", "reasons"),
    *("indent", "indents", "spacing_mm", "rim_to_rim_mm"),
}
SIZE = {"width_px": 960, "height_px": 768}


def simulated(seed: int, count: int) -> Simulated:
    rng = np.random.default_rng(seed)
    scene = several_scene(rng, count, tier="clean", **SIZE)
    return simulate(scene, rng=rng)


def save(shot: Simulated, folder: Path, name: str = "plate") -> Path:
    """Photo and, beside it, the scale with uncertainties as a scope has them."""
    scale = replace(
        shot.scale,
        covariance=((1e-4, 9e-5, 0.0), (9e-5, 1e-4, 0.0), (0.0, 0.0, 1e-8)),
        dof=40.0,
        photos=(ScalePhoto("stage.png", "ab" * 32, 0.0, 11, 0.05),),
    )
    write_scale(scale, folder / f"{name}.toml")
    assert cv2.imwrite(str(folder / f"{name}.png"), shot.picture)
    return folder / f"{name}.png"


def measure(photo: Path, *options: object, test: str | None = None):
    words = [photo, "--scale", photo.with_suffix(".toml"), "--test", test or "10/3000", *options]
    return CliRunner().invoke(app, ["measure", *map(str, words)], catch_exceptions=False)


def records(done) -> list[dict]:
    return [json.loads(line) for line in done.stdout.splitlines()]


def spacing(record: dict) -> dict:
    return next(check for check in record["checks"] if check["code"] == "spacing")


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    """A photo of four indents, with its truth from left to right."""
    shot = simulated(4, 4)
    return save(shot, tmp_path_factory.mktemp("plate")), shot


@pytest.fixture(scope="module")
def lines(plate):
    done = measure(plate[0], "--all", "--json")
    return done, records(done)


def true_places(shot: Simulated) -> list[tuple[float, float, float]]:
    """Centre to nearest centre, rim to nearest rim, and the judged ratio of spacing to larger d."""
    found = []
    for one in shot.scene.indents:
        others = [o for o in shot.scene.indents if o is not one]
        apart = [math.dist((one.x_mm, one.y_mm), (o.x_mm, o.y_mm)) for o in others]
        rims = [a - (one.mean_mm + o.mean_mm) / 2 for a, o in zip(apart, others, strict=True)]
        ratio = min(a / max(one.mean_mm, o.mean_mm) for a, o in zip(apart, others, strict=True))
        found.append((min(apart), min(rims), ratio))
    return found


@pytest.mark.parametrize(("seed", "count"), [(6, 2), (10, 5), (2, 6)])
def test_against_the_truth(tmp_path, seed, count):
    shot = simulated(seed, count)
    found = records(measure(save(shot, tmp_path), "--all", "--json"))
    assert [(r["indent"], r["indents"]) for r in found] == [(n, count) for n in range(1, count + 1)]
    order = np.argsort([t.centre_x_px for t in shot.truth])
    places = true_places(shot)
    for record, index in zip(found, order, strict=True):
        true, (apart, rims, ratio) = shot.truth[index], places[index]
        assert record["status"] == "measured", record["reasons"]
        assert (record["centre_x_px"], record["centre_y_px"]) == pytest.approx(
            (true.centre_x_px, true.centre_y_px), abs=1.0
        )
        assert abs(record["mean_mm"] - true.mean_mm) <= record["U_mean_mm"]
        assert record["spacing_mm"] == pytest.approx(apart, rel=1e-3)
        # d1 and d2 differ by less than a per cent, and rims bring their own U
        within = 2 * record["U_mean_mm"] + abs(true.d1_mm - true.d2_mm) + 1e-3 * apart
        assert record["rim_to_rim_mm"] == pytest.approx(rims, abs=within)
        if abs(ratio - 3.0) > 0.05:
            assert spacing(record)["outcome"] == ("pass" if ratio > 3.0 else "fail")


def test_json_keeps_the_contract_and_one_indent_has_the_same_keys(plate, lines):
    done, found = lines
    assert done.stderr == ""
    assert {frozenset(record) for record in found} == {frozenset(found[0])}
    assert set(found[0]) >= CONTRACT
    assert {record["photo"] for record in found} == {str(plate[0])}
    assert len({record["sha256"] for record in found}) == 1
    assert all("edge" not in {c["code"] for c in record["checks"]} for record in found)
    assert all(spacing(record)["source"] for record in found)
    (alone,) = records(measure(plate[0], "--json"))
    assert set(alone) == set(found[0])
    assert (alone["indent"], alone["indents"], alone["spacing_mm"]) == (None, None, None)


def test_without_all_it_is_refused_and_says_what_can_be_done(plate):
    done = measure(plate[0], "--json")
    assert done.exit_code == 1
    (record,) = records(done)
    assert record["reasons"][0]["code"] == "several-indents"
    assert "all of them" in record["reasons"][0]["message"]


def test_exit_code_is_that_of_the_worst_indent(lines):
    done, found = lines
    failed = any(c["outcome"] == "fail" for record in found for c in record["checks"])
    assert failed  # they stand nearer than 3 d in this photo
    assert done.exit_code == 1


def test_all_is_well_where_indents_stand_apart(tmp_path):
    shot = simulated(6, 2)
    first, second = shot.scene.indents
    room = 0.4 * SIZE["height_px"] / shot.scene.camera.px_per_mm
    small = 2 * room / 3.3
    shrunk = small / first.d1_mm
    indents = tuple(
        replace(i, d1_mm=i.d1_mm * shrunk, d2_mm=i.d2_mm * shrunk, x_mm=x, y_mm=0.0)
        for i, x in ((first, -room), (second, room))
    )
    scene = replace(shot.scene, indents=indents)
    photo = save(simulate(scene, rng=np.random.default_rng(2)), tmp_path)
    force = 30 * (small / 0.4) ** 2  # d = 0.4 D
    test = f"{small / 0.4:.4f}/{force:.4f}"
    found = records(measure(photo, "--all", "--json", test=test))
    assert [spacing(record)["outcome"] for record in found] == ["pass", "pass"]
    assert [record["spacing_mm"] for record in found] == pytest.approx([2 * room] * 2, rel=1e-3)
    # what the user knows to lie nearer, outside of the picture, counts
    nearer = records(measure(photo, "--all", "--json", "--spacing", 2 * small, test=test))
    assert [spacing(record)["outcome"] for record in nearer] == ["fail", "fail"]
    assert [r["spacing_mm"] for r in nearer] == [r["spacing_mm"] for r in found]
    edged = records(measure(photo, "--all", "--json", "--edge", 2 * small, test=test))
    outcomes = [{c["code"]: c["outcome"] for c in record["checks"]}["edge"] for record in edged]
    assert outcomes == ["fail", "fail"]


def test_table_has_a_row_for_each_and_says_what_is_not_claimed(plate):
    words = measure(plate[0], "--all").stdout
    assert re.findall(r"plate\.png (#\d) .* HBW 10/3000 ±", words) == ["#1", "#2", "#3", "#4"]
    assert words.count("next centre") >= 4
    assert "not the edge of the piece" in words
    assert "--edge" in words
    assert "of the larger indent" in words


def test_one_overlay_for_all(plate, tmp_path):
    measure(plate[0], "--all", "--overlay", tmp_path)
    (file,) = tmp_path.iterdir()
    assert file.name == "plate-rim.jpg"
    drawn = cv2.imread(str(file))
    height, width = 2 * SIZE["height_px"], 2 * SIZE["width_px"]  # small photos are enlarged
    assert drawn.shape[1] == width
    for true in plate[1].truth:
        x, y = 2 * true.centre_x_px, 2 * true.centre_y_px
        radius = true.mean_mm * plate[1].scene.camera.px_per_mm
        turn = np.linspace(0, 2 * np.pi, 200)
        colour = [coloured(drawn, x, y, radius + off, turn) for off in range(-2, 3)]
        assert np.mean(np.any(colour, axis=0)) > 0.9  # yellow line, blue dots on a grey photo
        white = [
            drawn[max(0, round(y + r * np.sin(t))), max(0, round(x + r * np.cos(t)))].min() > 250
            for r in np.arange(radius + 12, radius + 70)
            for t in turn
            if x + r * np.cos(t) < width and y + r * np.sin(t) < height
        ]
        assert np.sum(white) > 20  # its number


def coloured(drawn, x, y, radius, turn):
    rows = np.rint(y + radius * np.sin(turn)).astype(int)
    ring = drawn[rows, np.rint(x + radius * np.cos(turn)).astype(int)].astype(int)
    return np.ptp(ring, axis=1) > 60


def test_average_takes_the_indents_of_a_photo(plate):
    *found, last = records(measure(plate[0], "--all", "--average", "all", "--json"))
    series = last["series"]
    assert series["n"] == 4
    assert [i["name"] for i in series["indents"]] == [f"{plate[0]} #{n}" for n in (1, 2, 3, 4)]
    assert series["mean_hbw"] == pytest.approx(np.mean([record["hbw"] for record in found]))
    few = measure(plate[0], "--all", "--average", "drop-extremes")
    assert few.exit_code == 1
    assert "at least 5 indents (got 4)" in few.stdout


def test_each_indent_is_an_entry_of_the_ledger(plate, tmp_path):
    book = tmp_path / "book.db"
    found = records(measure(plate[0], "--all", "--json", "--ledger", book))
    assert [record["ledger_entry"] for record in found] == [1, 2, 3, 4]
    with open_ledger(book) as opened:
        kept = [entry.record for entry in opened.entries()]
        assert list(audit(opened)) == []
    assert [record["indent"] for record in kept] == [1, 2, 3, 4]
    assert [record["mean_mm"] for record in kept] == [record["mean_mm"] for record in found]
    listed = CliRunner().invoke(app, ["ledger", "list", str(book)]).stdout
    assert [f"#{n}" in line for n, line in enumerate(listed.splitlines(), start=1)] == [True] * 4
    table = tmp_path / "book.csv"
    CliRunner().invoke(app, ["ledger", "export", str(book), str(table)])
    with table.open(encoding="utf-8-sig", newline="") as rows:
        assert [row["indent"] for row in csv.DictReader(rows)] == ["1", "2", "3", "4"]


@pytest.mark.parametrize(
    "options",
    [
        ("--human", "4.0,4.0", "--operator", "Zoë"),
        ("--replaces", "1", "--reason", "wrong scale"),
    ],
)
def test_what_belongs_to_one_indent_is_misuse_with_several(plate, tmp_path, options):
    book = tmp_path / "book.db"
    measure(plate[0], "--all", "--ledger", book)
    done = measure(plate[0], "--all", "--ledger", book, "--json", *options)
    assert done.exit_code == 2
    assert f"{options[0]} belongs to one indent (got 4" in done.stderr
    assert done.stdout == ""
    with open_ledger(book) as opened:
        assert opened.head()[0] == 4  # nothing was added


def test_results_of_one_photo_are_told_apart_by_those_who_read_them(plate, lines, tmp_path):
    file = tmp_path / "plate.jsonl"
    file.write_text(lines[0].stdout, encoding="utf-8")
    results, problems = read_results(file)
    assert problems == []
    assert [r.photo for r in results] == [f"{plate[0]} #{n}" for n in (1, 2, 3, 4)]
    out = tmp_path / "plate.html"
    words = ["report", file, "--out", out, "--scale", plate[0].with_suffix(".toml")]
    done = CliRunner().invoke(app, list(map(str, words)), catch_exceptions=False)
    assert out.is_file(), done.stderr
    page = out.read_text(encoding="utf-8")
    assert page.count("<img") == 4
    assert "plate.png #4" in page
    file.write_text(2 * lines[0].stdout, encoding="utf-8")
    again = CliRunner().invoke(app, list(map(str, words)), catch_exceptions=False)
    assert again.exit_code == 2
    assert "a photo counts once" in again.stderr


def test_a_photo_that_is_refused_is_one_line_without_a_number(plate, tmp_path):
    blank = tmp_path / "plate.png"
    cv2.imwrite(str(blank), np.full(plate[1].picture.shape, 120, np.uint8))
    (tmp_path / "plate.toml").write_bytes(plate[0].with_suffix(".toml").read_bytes())
    done = measure(blank, "--all", "--json", "--overlay", tmp_path / "seen")
    assert done.exit_code == 1
    (record,) = records(done)
    assert (record["status"], record["indent"], record["mean_mm"]) == ("refused", None, None)
    assert set(record) >= CONTRACT
    assert (tmp_path / "seen" / "plate-rim.jpg").is_file()
    blank.write_bytes(b"")
    assert measure(blank, "--all", "--json").exit_code == 2


def test_an_indent_that_cannot_be_read_keeps_its_number_and_counts_as_a_neighbour(plate, tmp_path):
    path, shot = plate
    left = int(np.argmin([t.centre_x_px for t in shot.truth]))
    true = shot.truth[left]
    radius = true.mean_mm / 2 * shot.scene.camera.px_per_mm
    # grease on two of five parts of one rim: still an indent, no longer a rim seen well enough
    picture = shot.picture.copy()
    y, x = np.indices(picture.shape)
    away = np.hypot(x - true.centre_x_px, y - true.centre_y_px)
    turn = np.degrees(np.arctan2(y - true.centre_y_px, x - true.centre_x_px))
    greased = (np.abs(away - radius) < 0.15 * radius) & (np.abs(turn) < 60)
    picture[greased] = int(np.median(picture))
    photo = save(replace(shot, picture=picture), tmp_path)
    found = records(measure(photo, "--all", "--json", "--overlay", tmp_path / "seen"))
    assert [(r["indent"], r["indents"]) for r in found] == [(n, 4) for n in (1, 2, 3, 4)]
    assert [r["status"] for r in found] == ["refused", "measured", "measured", "measured"]
    evidence = found[0]["reasons"][0]["evidence"]
    assert evidence["centre_x_px"] == pytest.approx(true.centre_x_px, abs=0.05 * radius)
    whole = records(measure(path, "--all", "--json"))
    for now, before in zip(found[1:], whole[1:], strict=True):
        assert now["spacing_mm"] == pytest.approx(before["spacing_mm"], rel=0.03)
    assert (tmp_path / "seen" / "plate-rim.jpg").is_file()
