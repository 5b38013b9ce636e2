"""A pipe whose reader has gone (``| head -1``): the verdict is the same, and nothing is said."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.test_verify import BLOCK, GOOD

from rimread.ledger import Draft, open_ledger

BAD = ("4.10,4.10",) * 5


def _nobody_reads(*words: str) -> tuple[int, str]:
    """Exit code and what went to standard error."""
    reader, writer = os.pipe()
    os.close(reader)
    try:
        done = subprocess.run(
            [sys.executable, "-c", "from rimread.cli import app; app()", *words],
            stdout=writer,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    finally:
        os.close(writer)
    return done.returncode, done.stderr


@pytest.fixture
def files(tmp_path: Path) -> dict[str, str]:
    (tmp_path / "block.toml").write_text(BLOCK, encoding="utf-8")
    with open_ledger(tmp_path / "book.db") as book:
        book.append([Draft("image", {"photo": "a.jpg"})])
    return {"BLOCK": str(tmp_path / "block.toml"), "BOOK": str(tmp_path / "book.db")}


@pytest.mark.skipif(sys.platform == "win32", reason="a closed pipe is another error there")
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
