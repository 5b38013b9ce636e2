"""What is measured: folder trees and manifests."""

import errno
import os
import sys
from datetime import date
from pathlib import Path

import pytest

from rimread.archive.items import Earlier, Item, from_folder, from_manifest, own_columns, task_of
from rimread.table import Problem


def test_a_folder_tree_in_the_order_of_names(tmp_path):
    names = ["b/2.JPG", "b/10.tiff", "a ü/1.png", "c.bmp", "d.txt", ".hidden.jpg", ".git/x.jpg"]
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    items = list(from_folder(tmp_path))
    assert [i.photo for i in items] == ["c.bmp", "a ü/1.png", "b/10.tiff", "b/2.JPG"]
    assert all(Path(i.path) == tmp_path / i.photo for i in items)


def test_photos_and_folders_come_in_the_order_of_names_however_the_disk_keeps_them(tmp_path):
    names = [f"{folder}/{k:02}.jpg" for folder in "abcdefgh" for k in range(8)]
    for name in reversed(names):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    assert [item.photo for item in from_folder(tmp_path)] == names


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_links_to_folders_are_followed_once(tmp_path):
    root, far = tmp_path / "archive", tmp_path / "2019"
    for folder in (root, far):
        folder.mkdir()
        (folder / "a.jpg").touch()
    for name in ("year 2019", "year 2019 again"):
        (root / name).symlink_to(far, target_is_directory=True)
    (far / "up").symlink_to(root, target_is_directory=True)
    assert [item.photo for item in from_folder(root)] == ["a.jpg", "year 2019/a.jpg"]
    (root / "2020").mkdir()
    (root / "2020" / "b.jpg").touch()
    (root / "2018, as it is now").symlink_to(root / "2020", target_is_directory=True)
    (root / "all").symlink_to(tmp_path, target_is_directory=True)  # and the archive in it
    names = ["a.jpg", "2020/b.jpg", "all/2019/a.jpg"]  # what has a name of its own keeps it
    assert [item.photo for item in from_folder(root)] == names


def test_a_folder_that_cannot_be_looked_into_is_told(tmp_path, monkeypatch):
    for name in ("a/1.jpg", "b/2.jpg", "c/3.jpg"):
        (tmp_path / name).parent.mkdir()
        (tmp_path / name).touch()
    look = os.scandir

    def locked(folder):
        if Path(folder).name in ("b", "c"):
            raise PermissionError(errno.EACCES, "Permission denied", folder)
        return look(folder)

    monkeypatch.setattr("os.scandir", locked)
    first, *others = from_folder(tmp_path)
    assert first.photo == "a/1.jpg"
    assert [str(problem) for problem in others] == [
        f"{tmp_path / name}: cannot be looked into (Permission denied); may it be read?"
        for name in ("b", "c")
    ]


def test_a_manifest_with_everything(tmp_path):
    (tmp_path / "März 2019").mkdir()
    (tmp_path / "März 2019" / "a 1.jpg").touch()
    path = tmp_path / "list.csv"
    path.write_text(
        "Photo;Scale;Test;Label;Date;SHA256;D1 [µm];d2 (mm);HBW;U (mm);Heat No.;Note\n"
        "März 2019\\a 1.jpg;scopes/x.toml;10/3000;hall;2019-03-28;ABCD;3420;3,44;311;0,02;H1;good\n"
        "b.jpg;;;;;;;;;;;\n",
        encoding="cp1252",
    )
    first, second = from_manifest(path)
    assert first == Item(
        photo="März 2019\\a 1.jpg",
        path=str(tmp_path / "März 2019/a 1.jpg"),
        line=2,
        scale=str(tmp_path / "scopes/x.toml"),
        test="10/3000",
        label="hall",
        sha256="abcd",
        taken_on=date(2019, 3, 28),
        earlier=Earlier(d1_mm=3.42, d2_mm=3.44, hbw=311.0, U_mm=0.02),
        own={"Heat No.": "H1", "Note": "good"},
    )
    assert first.earlier.diameter_mm == pytest.approx(3.43)
    assert second == Item("b.jpg", str(tmp_path / "b.jpg"), 3, own={"Heat No.": "", "Note": ""})
    assert own_columns(path) == ("Heat No.", "Note")


@pytest.mark.parametrize(
    ("cells", "says"),
    [
        (",28/3/2019,3.4", "'photo' is empty"),
        ("a.jpg,28/3/2019,3.4", "'date' must be like 2026-11-27 or 27.11.2026"),
        ("a.jpg,28/3/2019,3.4", "(got '28/3/2019')"),
        ("a.jpg,31.2.2019,3.4", "(got '31.2.2019')"),
        ("a.jpg,,-3.4", "'mean' must be above 0 and below 100000 mm (got '-3.4')"),
        ("a.jpg,,0", "'mean' must be above 0 and below 100000 mm (got '0')"),
        ("a.jpg,,100000", "'mean' must be above 0 and below 100000 mm (got '100000')"),
        ("a.jpg,,113315", "'mean' must be above 0 and below 100000 mm (got '113315')"),
        ("a\0.jpg,,3.4", "no file has such a name"),
    ],
)
def test_lines_that_cannot_be_used(tmp_path, cells, says):
    path = tmp_path / "list.csv"
    path.write_text(f"photo,date,mean\n{cells}\nb.jpg,,3\n", encoding="utf-8")
    problem, good = from_manifest(path)
    assert isinstance(problem, Problem)
    assert problem.line == 2
    assert says in problem.message
    assert good.photo == "b.jpg"


@pytest.mark.skipif(os.sep == "\\", reason="a backslash parts folders here")
def test_a_backslash_is_one_where_a_file_has_it_in_its_name(tmp_path):
    (tmp_path / "a\\b.jpg").touch()
    path = tmp_path / "list.csv"
    path.write_text("photo\na\\b.jpg\na\\c.jpg\n", encoding="utf-8")
    has_it, has_not = from_manifest(path)
    assert Path(has_it.path) == tmp_path / "a\\b.jpg"
    assert Path(has_not.path) == tmp_path / "a" / "c.jpg"


def test_a_scale_that_no_file_can_be_costs_its_line(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("photo,scale\na.jpg,x\0.toml\nb.jpg,\n", encoding="utf-8")
    problem, good = from_manifest(path)
    assert "no file has such a name" in problem.message
    assert good.photo == "b.jpg"


@pytest.mark.parametrize("unit", ["HBW", "HB", "BHN"])
def test_hardness_is_in_its_own_unit_and_never_a_length(tmp_path, unit):
    path = tmp_path / "list.csv"
    path.write_text(f"photo,hbw ({unit}),U (µm)\na.jpg,311,20\nb.jpg,3 mm,\n", encoding="utf-8")
    item, problem = from_manifest(path)
    assert item.earlier.hbw == 311.0
    assert item.earlier.U_mm == pytest.approx(0.02)
    assert isinstance(problem, Problem)


@pytest.mark.parametrize("written", ["2019-03-28", "28.3.2019", "28.03.2019 9:10", "2019-03-28T09"])
def test_dates_are_those_that_compare_takes(tmp_path, written):
    path = tmp_path / "list.csv"
    path.write_text(f"photo,date\na.jpg,{written}\n", encoding="utf-8")
    (item,) = from_manifest(path)
    assert item.taken_on == date(2019, 3, 28)


def test_a_hardness_nobody_has_is_told_by_its_upper_limit(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("photo,hbw\na.jpg,113315\n", encoding="utf-8")
    (problem,) = from_manifest(path)
    assert "'hbw' must be above 0 and below 100000 HBW (got '113315')" in problem.message


def test_a_mean_from_what_there_is():
    assert Earlier(d1_mm=3.0, d2_mm=3.2).diameter_mm == pytest.approx(3.1)
    assert Earlier(d1_mm=3.0, mean_mm=3.3).diameter_mm == 3.3
    assert Earlier(d2_mm=3.2).diameter_mm is None  # the indent may be oval
    assert Earlier(hbw=200.0).diameter_mm is None


def test_what_makes_a_task():
    task = task_of("a.jpg", run="r")
    assert task == task_of("a.jpg", run="r")
    assert len({task, task_of("b.jpg", run="r"), task_of("a.jpg", run="s")}) == 3
