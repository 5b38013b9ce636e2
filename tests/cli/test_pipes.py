"""A pipe whose reader has gone (``| head -1``): the verdict is the same, and nothing is said."""

from __future__ import annotations

import errno
import io
import os
import shutil
import subprocess
import sys
from contextlib import nullcontext
from pathlib import Path

import pytest
import typer
from tests.cli.test_verify import BLOCK, GOOD

from rimread.cli import _io
from rimread.ledger import Draft, open_ledger

ROOT = Path(__file__).parents[2]
SCALE = ROOT / "calibration" / "hall-scope.toml"
PLATE = ROOT / "sample_images" / "hall-plate-2.jpg"
PROGRAM = "from rimread.cli import app; app()"
BAD = ("4.10,4.10",) * 5


def _nobody_reads(*words: object, both: bool = False) -> tuple[int, str]:
    """Exit code and what went to standard error, if not it has lost its reader, too."""
    reader, writer = os.pipe()
    os.close(reader)
    try:
        done = subprocess.run(
            [sys.executable, "-c", PROGRAM, *map(str, words)],
            stdout=writer,
            stderr=writer if both else subprocess.PIPE,
            text=True,
            check=False,
        )
    finally:
        os.close(writer)
    return done.returncode, done.stderr or ""


@pytest.fixture
def files(tmp_path: Path) -> dict[str, str]:
    (tmp_path / "block.toml").write_text(BLOCK, encoding="utf-8")
    with open_ledger(tmp_path / "book.db") as book:
        book.append([Draft("image", {"photo": "a.jpg"})])
    return {"BLOCK": str(tmp_path / "block.toml"), "BOOK": str(tmp_path / "book.db")}


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("verify", "BLOCK", *GOOD, "--on", "2026-03-02"), 0),
        (("verify", "BLOCK", *GOOD, "--on", "2026-03-02", "--json"), 0),
        (("verify", "BLOCK", *BAD, "--on", "2026-03-02"), 1),
        (("plan", "--material", "steel", "--hardness", "200"), 0),
        (("hardness", "--test", "10/3000", "4.0", "4.0"), 0),
        (("hardness", "--test", "10/3000", "4.0", "4.3", "--rules", "astm", "--json"), 1),
        (("convert", "353", "--to", "hrc"), 0),
        (("ledger", "check", "BOOK"), 0),
    ],
)
def test_the_verdict_stands(files: dict[str, str], words: tuple[str, ...], code: int) -> None:
    found, said = _nobody_reads(*(files.get(word, word) for word in words))
    assert (found, said) == (code, "")


FULL = Path("/dev/full")


@pytest.mark.skipif(not FULL.exists(), reason="only Linux has a device that is always full")
@pytest.mark.parametrize(
    "words",
    [
        ("verify", "BLOCK", *GOOD, "--on", "2026-03-02"),
        ("verify", "BLOCK", *BAD, "--on", "2026-03-02", "--json"),
        ("measure", PLATE, "--scale", SCALE, "--test", "10/3000"),
        ("plan", "--material", "steel", "--hardness", "200"),
        ("hardness", "--test", "10/3000", "4.0", "4.0"),
        ("convert", "353", "--to", "hrc"),
        ("ledger", "check", "BOOK"),
        ("ledger", "list", "BOOK"),
        ("ledger", "list", "BOOK", "--json"),
        ("ledger", "show", "BOOK", "1"),
        ("ledger", "withdraw", "BOOK", "1", "--reason", "a", "--operator", "b"),
        ("--help",),
        ("--version",),
        ("convert", "--help"),
        ("ledger", "--help"),
        ("ledger", "show", "--help"),
    ],
    ids=lambda words: " ".join(map(str, words[:2])),
)
def test_a_full_disk_is_no_verdict(files: dict[str, str], words: tuple[str, ...]) -> None:
    with FULL.open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", PROGRAM, *(files.get(word, word) for word in map(str, words))],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    (said,) = done.stderr.splitlines()
    assert done.returncode == 2
    assert said == f"rimread: standard output: {os.strerror(errno.ENOSPC)}"


def three(folder: Path) -> list[Path]:
    """A photo, one that cannot be read, and the photo again."""
    good, bad, again = (folder / name for name in ("1.jpg", "2.jpg", "3.jpg"))
    shutil.copy(PLATE, good)
    bad.write_bytes(b"no picture")
    shutil.copy(PLATE, again)
    return [good, bad, again]


def entries(ledger: Path) -> list[str | None]:
    with open_ledger(ledger, create=False) as book:
        return [Path(str(entry.record["photo"])).name for entry in book.entries()]


@pytest.mark.parametrize("both", [False, True])
@pytest.mark.parametrize("words", [(), ("--json",), ("--average", "all")])
def test_what_is_kept_is_kept_to_the_end(
    tmp_path: Path,
    words: tuple[str, ...],
    both: bool,  # noqa: FBT001
) -> None:
    photos, ledger, seen = three(tmp_path), tmp_path / "book.db", tmp_path / "seen"
    options = ("--scale", SCALE, "--test", "10/3000", "--on", "2026-12-01", *words)
    keeping = ("--ledger", ledger, "--overlay", seen)
    code, said = _nobody_reads("measure", *photos, *options, *keeping, both=both)
    assert code == 2
    assert both or all("2.jpg" in line or "same picture" in line for line in said.splitlines())
    assert entries(ledger) == ["1.jpg", "2.jpg", "3.jpg"]
    assert sorted(path.name for path in seen.iterdir()) == ["1-rim.jpg", "3-rim.jpg"]


@pytest.mark.parametrize("words", [(), ("--json",), ("--average", "all")])
def test_where_nothing_is_kept_the_work_so_far_gives_the_code(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    good, bad, _ = three(tmp_path)
    options = ("--scale", SCALE, "--test", "10/3000", "--on", "2026-12-01", *words)
    assert _nobody_reads("measure", good, bad, *options) == (0, "")  # ends before the second
    assert _nobody_reads("measure", bad, good, *options)[0] == 2


def test_watch_goes_on_for_its_ledger(tmp_path: Path) -> None:
    inbox, ledger = tmp_path / "inbox", tmp_path / "book.db"
    inbox.mkdir()
    three(inbox)
    words = ("--scale", SCALE, "--test", "10/3000", "--existing", "--settle", "0", "--idle", "1")
    code, _ = _nobody_reads("watch", inbox, *words, "--ledger", ledger)
    assert code == 2
    assert sorted(filter(None, entries(ledger))) == ["1.jpg", "2.jpg", "3.jpg"]


def test_remeasure_goes_on_without_anybody(tmp_path: Path) -> None:
    three(tmp_path)
    ledger, out = tmp_path / "book.db", tmp_path / "out.csv"
    words = ("--scale", SCALE, "--test", "10/3000", "--workers", "1", "--out", out)
    code, _ = _nobody_reads("remeasure", tmp_path, "--ledger", ledger, *words, both=True)
    assert code == 2
    assert len(out.read_text(encoding="utf-8-sig").splitlines()) == 4


class Broken(io.StringIO):
    """A stream whose reader has gone, or whose disk is full."""

    def __init__(self, error: OSError, handle: int) -> None:
        super().__init__()
        self.error, self.handle = error, handle

    def flush(self) -> None:  # noqa: D102
        raise self.error

    def fileno(self) -> int:  # noqa: D102
        return self.handle


@pytest.mark.parametrize(
    ("windows", "error", "gone"),
    [
        (True, OSError(errno.EINVAL, "Invalid argument"), True),
        (False, OSError(errno.EINVAL, "Invalid argument"), False),
        (True, OSError(errno.EINVAL, "Invalid argument", "a?b.jpg"), False),
        (True, OSError(errno.ENOSPC, "No space left on device"), False),
        (False, BrokenPipeError(errno.EPIPE, "Broken pipe"), True),
        (False, BrokenPipeError(errno.EPIPE, "Broken pipe", "out.csv"), False),
    ],
)
def test_windows_calls_it_an_invalid_argument(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    windows: bool,  # noqa: FBT001
    error: OSError,
    gone: bool,  # noqa: FBT001
) -> None:
    monkeypatch.setattr(_io, "_WINDOWS", windows)
    with (
        (tmp_path / "out").open("w", encoding="utf-8") as file,
        nullcontext() if gone else pytest.raises(OSError, match=error.strerror),
        _io.quiet(Broken(error, file.fileno())),
    ):
        pass


def test_a_drive_that_went_away_is_not_taken_for_that(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(_io, "_WINDOWS", True)
    with pytest.raises(typer.Exit) as ended, _io.speaking():
        raise OSError(errno.EINVAL, "Invalid argument")
    assert ended.value.exit_code == _io.MISUSE
    assert "Invalid argument" in capsys.readouterr().err
