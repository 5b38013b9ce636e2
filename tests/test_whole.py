"""Files written whole or not at all; what was there before stays when it cannot be done."""

import errno
import json
import os
import stat
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from rimread import whole
from rimread.ledger.export import writing

ROOT = Path(__file__).parents[1]
PLATE, OVERLAY = ROOT / "sample_images" / "hall-plate-2.jpg", "out/hall-plate-2-rim.jpg"
SCALE = ROOT / "calibration" / "hall-scope.toml"
STAGE = [ROOT / "calibration" / f"hall-{way}.jpg" for way in ("horizontal", "vertical")]
RESULT = {
    **dict.fromkeys(("d1_mm", "d2_mm", "mean_mm"), 3.9),
    "photo": "a.jpg",
    "status": "measured",
    "test": "10/3000",
    "angle_deg": 0.0,
    "U_mean_mm": 0.008,
    "k": 2.0,
}


def linked(folder, name):
    """A file with permissions of its own, and a link to it."""
    (folder / "shelf").mkdir()
    target, link = folder / "shelf" / name, folder / name
    target.write_bytes(b"old")
    target.chmod(0o640)
    link.symlink_to(target)
    return target, link


def there(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize("before", [{}, {"k.toml": b"old"}])
def test_a_full_disk_leaves_what_was_there_and_is_told_with_the_name(tmp_path, monkeypatch, before):
    for name, data in before.items():
        (tmp_path / name).write_bytes(data)

    def full(_handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space left") as told:
        whole.write(tmp_path / "k.toml", b"new" * 1000)
    assert told.value.filename == str(tmp_path / "k.toml")
    assert there(tmp_path) == before


def test_no_folder_of_that_name(tmp_path):
    path = tmp_path / "none" / "k.toml"
    for look in (whole.judge, lambda path: whole.write(path, b"new")):
        with pytest.raises(FileNotFoundError, match="no such folder") as told:
            look(path)
        assert told.value.filename == str(path)
    assert there(tmp_path) == {}


def test_what_can_be_written_is_judged_and_left_as_it_is(tmp_path):
    (tmp_path / "old.toml").write_bytes(b"old")
    for path in (tmp_path / "old.toml", tmp_path / "new.toml", Path(os.devnull)):
        whole.judge(path)
    assert there(tmp_path) == {"old.toml": b"old"}


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(IsADirectoryError) as told:
        whole.judge(tmp_path)
    assert told.value.filename == str(tmp_path)


def test_a_long_name(tmp_path):
    path = tmp_path / ("ü" * 120 + ".html")  # 245 bytes of the 255 that Linux takes
    whole.write(path, b"new")
    assert there(tmp_path) == {path.name: b"new"}


@pytest.mark.skipif(os.name != "posix", reason="as POSIX has them")
def test_links_permissions_and_what_is_no_file(tmp_path):
    target, link = linked(tmp_path, "k.toml")
    whole.write(link, b"new")
    assert link.is_symlink()
    assert target.read_bytes() == b"new"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    assert there(target.parent) == {"k.toml": b"new"}
    whole.write(Path(os.devnull), b"new")
    assert stat.S_ISCHR(Path(os.devnull).stat().st_mode)


def test_what_is_protected_stays(tmp_path, monkeypatch):
    path = tmp_path / "k.toml"
    path.write_bytes(b"old")
    monkeypatch.setattr("os.access", lambda *_: False)  # as for anybody but the superuser
    for look in (whole.judge, lambda path: whole.write(path, b"new")):
        with pytest.raises(PermissionError) as told:
            look(path)
        assert told.value.filename == str(path)
        assert str(told.value).endswith(f": {str(path)!r}")
    assert there(tmp_path) == {"k.toml": b"old"}


def full(*_):
    raise OSError(errno.ENOSPC, "No space left on device")


class Full:
    """Cannot be written."""

    __str__ = full


def put(path, value, error=None):
    with writing(path, {"a": str}) as write:
        write({"a": value})
        if error is not None:
            raise error


@pytest.mark.parametrize("at", ["a row", "the end"])
def test_a_table_is_named_too(tmp_path, monkeypatch, at):
    path = tmp_path / "out.csv"
    if at == "the end":
        monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space") as told:
        put(path, Full() if at == "a row" else "x")
    assert told.value.filename == str(path)
    assert there(tmp_path) == {}


@pytest.mark.parametrize("ending", ["csv", "jsonl", "parquet"])
def test_an_error_of_no_file_gets_no_name(tmp_path, ending):
    """The reader of standard output has gone while rows are made."""
    with pytest.raises(BrokenPipeError) as told:
        put(tmp_path / f"out.{ending}", "x", BrokenPipeError(errno.EPIPE, "Broken pipe"))
    assert told.value.filename is None
    assert there(tmp_path) == {}


def test_an_error_of_another_file_keeps_its_name(tmp_path):
    with pytest.raises(FileNotFoundError) as told, writing(tmp_path / "out.csv", {"a": str}):
        (tmp_path / "manifest.csv").read_bytes()
    assert told.value.filename == str(tmp_path / "manifest.csv")
    assert there(tmp_path) == {}


@pytest.mark.skipif(os.name != "posix", reason="as POSIX has them")
def test_a_table_is_put_where_the_link_leads(tmp_path):
    target, link = linked(tmp_path, "t.csv")
    with writing(link, {"a": str}) as write:
        write({"a": "x"})
        assert target.read_bytes() == b"old"
    assert link.is_symlink()
    assert target.read_text("utf-8-sig") == "a\nx\n"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


def test_a_protected_table_stays(tmp_path, monkeypatch):
    path = tmp_path / "t.csv"
    path.write_bytes(b"old")
    monkeypatch.setattr("os.access", lambda *_: False)  # as for anybody but the superuser
    with pytest.raises(PermissionError) as told, writing(path, {"a": str}):
        pytest.fail("nothing may be written")
    assert told.value.filename == str(path)
    assert there(tmp_path) == {"t.csv": b"old"}


AS_NOBODY = """
import os, pathlib, sys
from rimread import whole
if os.geteuid() == 0:
    os.setuid(65534)  # nobody
path = pathlib.Path(sys.argv[1])
try:
    whole.write(path, b"new")
except OSError as error:
    print(error.filename, type(error).__name__)
"""


@pytest.mark.skipif(os.name != "posix", reason="as POSIX has them")
@pytest.mark.parametrize(
    ("mode", "name", "written"),
    [
        (0o333, "new.html", True),  # files may be put in, but not listed
        (0o555, "old.html", True),  # the file may be written, but none put beside it
        (0o555, "new.html", False),
        (0o555, "kept.html", False),
        (0o555, "link.html", False),  # leads to where no file may be put
    ],
)
def test_folders_that_allow_only_some_of_it_in_a_real_process(mode, name, written):
    with tempfile.TemporaryDirectory() as made:
        top = Path(made).resolve()
        folder = top / "a"
        folder.mkdir()
        path = (top if name == "link.html" else folder) / name
        if name == "link.html":
            path.symlink_to(folder / "target.html")
        elif name != "new.html":
            path.write_bytes(b"old")
            path.chmod(0o666 if name == "old.html" else 0o444)
        top.chmod(0o777)
        folder.chmod(mode)
        words = [sys.executable, "-c", AS_NOBODY, path]
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        folder.chmod(0o777)
        left = there(folder)
    assert done.stderr == ""
    assert done.stdout == ("" if written else f"{path} PermissionError\n")
    kept = {"kept.html": b"old"} if name == "kept.html" else {}
    assert left == ({name: b"new"} if written else kept)


@pytest.mark.skipif(os.name != "posix", reason="no limit to files elsewhere")
@pytest.mark.parametrize(
    ("words", "name"),
    [
        (("measure", PLATE, "--scale", SCALE, "--test", "10/3000", "--overlay", "out"), OVERLAY),
        (("calibrate", *STAGE, "--division", "0.1", "--out", "out/k.toml"), "out/k.toml"),
        (("compare", "read.csv", "--image", "r.jsonl", "--page", "out/s.html"), "out/s.html"),
    ],
)
def test_a_file_that_cannot_get_large_enough_in_a_real_process(tmp_path, words, name):
    """A limit to the size of a file stops a write halfway, as a full disk does."""
    resource = pytest.importorskip("resource")
    (tmp_path / "read.csv").write_text("photo,operator,d1,d2\na.jpg,Ann,3.90,3.91\n", "utf-8")
    (tmp_path / "r.jsonl").write_text(json.dumps(RESULT), "utf-8")
    (tmp_path / "out").mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "rimread", *map(str, words)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (500, 500)),
    )
    assert done.returncode == 2
    assert f"{name}: " in done.stderr
    assert there(tmp_path / "out") == {}


@pytest.mark.parametrize(("tries", "enough"), [(3, True), (1000, False)])
def test_a_scanner_that_holds_a_new_file_is_waited_for(tmp_path, monkeypatch, tries, enough):
    """Stands for Windows, where a file that another program holds cannot be opened or moved."""
    refusals = iter([PermissionError(errno.EACCES, "held")] * tries)
    replace = Path.replace

    def held(own, place):
        for refusal in refusals:
            raise refusal
        return replace(own, place)

    monkeypatch.setattr(whole, "_WINDOWS", True)
    monkeypatch.setattr(whole.time, "sleep", lambda _: None)
    monkeypatch.setattr(Path, "replace", held)
    if enough:
        whole.write(tmp_path / "k.toml", b"new")
        assert there(tmp_path) == {"k.toml": b"new"}
    else:
        with pytest.raises(PermissionError) as told:
            whole.write(tmp_path / "k.toml", b"new")
        assert told.value.filename == str(tmp_path / "k.toml")
        assert there(tmp_path) == {}


def test_a_table_that_a_spreadsheet_holds_is_told_before_the_work(tmp_path, monkeypatch):
    table = tmp_path / "k.csv"
    table.write_bytes(b"old")
    opened = Path.open

    def held(path, mode="r", **more):
        if path == table and "+" in mode:
            raise PermissionError(errno.EACCES, "held", str(path))
        return opened(path, mode, **more)

    whole.judge(table)
    monkeypatch.setattr(whole, "_WINDOWS", True)
    monkeypatch.setattr(whole.time, "sleep", lambda _: None)
    monkeypatch.setattr(Path, "open", held)
    with pytest.raises(PermissionError) as told:
        whole.judge(table)
    assert told.value.filename == str(table)
    assert there(tmp_path) == {"k.csv": b"old"}
