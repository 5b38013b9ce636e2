"""The scale file of a photo: the right one, or a refusal."""

import hashlib
import shutil
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from rimread.archive.items import Item
from rimread.archive.scales import choose_scale, scales_in
from rimread.archive.work import Settings, _rules, measure_item
from rimread.photo import read_photo
from rimread.refusal import Refusal

ROOT = Path(__file__).parents[2]
SCALES = ROOT / "calibration"
PHOTOS = ROOT / "sample_images"


@pytest.fixture(scope="module")
def hall():
    return read_photo(PHOTOS / "hall-plate-1.jpg")


def put(folder: Path, name: str = "hall-scope.toml", **changes: str) -> Path:
    """A copy of a scale file with other values."""
    folder.mkdir(parents=True, exist_ok=True)
    text = (SCALES / "hall-scope.toml").read_text(encoding="utf-8")
    for key, value in changes.items():
        lines = text.splitlines()
        text = "\n".join(f"{key} = {value}" if ln.startswith(f"{key} =") else ln for ln in lines)
    (folder / name).write_text(text, encoding="utf-8")
    return folder / name


def choose(photo, path, **how):
    found = choose_scale(photo, path, **how)
    return found.code if isinstance(found, Refusal) else Path(found[0])


def test_by_size_among_all_scopes():
    """The folder holds three scopes, and certificates that are TOML as well."""
    assert len(scales_in(SCALES, below=True)) == 3
    for name in ("hall-plate-1", "bench-axle-1", "fine-sleeve-1"):
        photo = read_photo(PHOTOS / f"{name}.jpg")
        found = choose(photo, PHOTOS / f"{name}.jpg", shelf=SCALES)
        assert found.name == f"{name.split('-')[0]}-scope.toml"


def test_the_named_one_wins_and_must_be_there(hall, tmp_path):
    here = put(tmp_path / "here")
    other = put(tmp_path / "other", label='"other"')
    photo = tmp_path / "here/a.jpg"
    assert choose(hall, photo, root=tmp_path, named=str(other)) == other
    assert choose(hall, photo, root=tmp_path) == here
    assert choose(hall, photo, root=tmp_path, named=str(tmp_path / "no.toml")) == "scale-missing"
    (tmp_path / "bad.toml").write_text("nonsense", encoding="utf-8")
    named = str(tmp_path / "bad.toml")
    assert choose(hall, photo, root=tmp_path, named=named) == "scale-unreadable"


def test_the_nearest_folder_up_to_the_root(hall, tmp_path):
    top = put(tmp_path / "tree", label='"top"')
    near = put(tmp_path / "tree/2019", label='"near"')
    put(tmp_path, label='"outside"')
    shutil.copy(SCALES / "fine-scope.toml", put(tmp_path / "tree/2019/05").parent)
    put(tmp_path / "tree/2019/05").unlink()
    assert choose(hall, tmp_path / "tree/2019/05/a.jpg", root=tmp_path / "tree") == near
    assert choose(hall, tmp_path / "tree/2018/a.jpg", root=tmp_path / "tree") == top
    near.unlink()
    top.unlink()
    assert choose(hall, tmp_path / "tree/2019/05/a.jpg", root=tmp_path / "tree") == "scale-missing"


def test_the_own_folder_of_a_photo_that_lies_elsewhere(hall, tmp_path, monkeypatch):
    """A manifest may name photos anywhere; only folders below the root are looked into upwards."""
    put(tmp_path, label='"outside"')
    own = put(tmp_path / "nas/2019", label='"own"')
    (tmp_path / "nas/2018").mkdir()
    (tmp_path / "lists").mkdir()
    monkeypatch.chdir(tmp_path / "lists")
    for root in (Path(), tmp_path / "lists"):
        assert choose(hall, tmp_path / "nas/2019/a.jpg", root=root) == own
        assert choose(hall, Path("../nas/2019/a.jpg"), root=root) == own
        assert choose(hall, tmp_path / "nas/2018/a.jpg", root=root) == "scale-missing"
        assert choose(hall, Path("../nas/2018/a.jpg"), root=root) == "scale-missing"
    top = put(tmp_path / "lists", label='"top"')
    for path in (
        tmp_path / "lists/2020/a.jpg",
        Path("2020/../2021/a.jpg"),
        tmp_path / "nas/2018/../../lists/2020/a.jpg",
    ):
        assert choose(hall, path, root=Path(), since=1) == top


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right there")
def test_a_folder_that_is_a_link_counts_where_it_was_linked_to(hall, tmp_path):
    (tmp_path / "nas").mkdir()
    top = put(tmp_path / "tree", label='"top"')
    (tmp_path / "tree/2019").symlink_to(tmp_path / "nas")
    assert choose(hall, tmp_path / "tree/2019/a.jpg", root=tmp_path / "tree") == top


def test_several_that_fit_are_told_apart_by_label_file_name_and_day(hall, tmp_path):
    days = [("2018-01-01", "2018-12-31"), ("2019-01-01", "2019-12-31")]
    old, new = (
        put(tmp_path, f"{a[:4]}.toml", calibrated_on=a, valid_until=b, label='"Hall"')
        for a, b in days
    )
    other = put(tmp_path, "other.toml", label='"Bench"')
    photo = tmp_path / "a.jpg"
    assert choose(hall, photo, shelf=tmp_path) == "scale-ambiguous"
    assert choose(hall, photo, shelf=tmp_path, label=" bench ") == other
    assert choose(hall, photo, shelf=tmp_path, label="2018") == old
    assert choose(hall, photo, shelf=tmp_path, label="hall") == "scale-ambiguous"
    day = date(2019, 6, 1)
    assert choose(hall, photo, shelf=tmp_path, label="hall", taken_on=day) == new
    day = date(2024, 6, 1)
    assert choose(hall, photo, shelf=tmp_path, label="hall", taken_on=day) == "scale-ambiguous"
    assert choose(hall, photo, shelf=tmp_path, label="attic") == "scale-missing"


def test_a_scale_file_written_again_is_read_again(hall, tmp_path):
    """Processes of a cluster work for one run after the other."""
    path = put(tmp_path / "scopes")
    photo = tmp_path / "photos/a.jpg"
    ways = ({"named": str(path)}, {"root": tmp_path / "scopes"}, {"shelf": tmp_path / "scopes"})
    places = (photo, path.parent / "a.jpg", photo)
    before = [choose_scale(hall, at, **how)[1] for at, how in zip(places, ways, strict=True)]
    put(tmp_path / "scopes", px_per_mm_x=repr(before[0].px_per_mm_x * 1.02))
    after = [choose_scale(hall, at, **how)[1] for at, how in zip(places, ways, strict=True)]
    for old, new in zip(before, after, strict=True):
        assert new.px_per_mm_x == pytest.approx(old.px_per_mm_x * 1.02, rel=1e-12)
        assert new.sha256 != old.sha256
        assert new.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_scale_file_put_there_counts_from_the_next_run(tmp_path):
    shutil.copy(PHOTOS / "hall-plate-1.jpg", tmp_path)
    item = Item("hall-plate-1.jpg", str(tmp_path / "hall-plate-1.jpg"))
    settings = Settings(test="10/3000", root=str(tmp_path))
    assert measure_item(item, settings)["reasons"][0]["code"] == "scale-missing"
    put(tmp_path)
    next_run = replace(settings, begun_ns=settings.begun_ns + 1)
    assert measure_item(item, next_run)["status"] == "measured"


def test_copies_of_one_file_are_one(hall, tmp_path):
    put(tmp_path / "a")
    put(tmp_path / "b")
    assert choose(hall, tmp_path / "x.jpg", shelf=tmp_path).name == "hall-scope.toml"


def test_a_damaged_scale_file_is_not_passed_over(hall, tmp_path):
    put(tmp_path, "good.toml")
    put(tmp_path, "damaged.toml", px_per_mm_x="nan")
    assert choose(hall, tmp_path / "a.jpg", root=tmp_path) == "scale-unreadable"


def test_a_scale_file_in_a_locked_folder_is_not_passed_over(tmp_path, monkeypatch):
    (tmp_path / "hall.toml").write_text("x = 1", encoding="utf-8")

    def locked(path, *_how, **_more):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "open", locked)
    monkeypatch.setattr(Path, "is_file", locked)  # as Python 3.11 has it
    found = scales_in(tmp_path, below=False, since=7)
    assert isinstance(found, Refusal)
    assert found.code == "scale-unreadable"
    assert "Permission denied" in found.message


def test_the_refusal_names_what_was_seen(hall, tmp_path):
    shutil.copy(SCALES / "fine-scope.toml", tmp_path)
    why = choose_scale(hall, tmp_path / "a.jpg", root=tmp_path)
    assert "1024 × 768" in why.message
    assert "fine-scope.toml" in why.message
    assert "1920 × 1440" in why.message


def test_a_rules_file_written_again_is_read_again(tmp_path):
    path = tmp_path / "lab.toml"
    for most in (450, 4500):
        text = f'base = "iso"\nsource = "our copy"\n[limits]\nmost_hbw = {most}\n'
        path.write_text(text, encoding="utf-8")
        assert _rules(str(path))["most_hbw"] == most
