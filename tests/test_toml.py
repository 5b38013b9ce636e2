"""Small TOML files: whatever is wrong with one is said in a sentence that names it."""

import pytest

from rimread.hardness import read_block, read_rules
from rimread.report.lab import read_lab

READERS = {"block file": read_block, "rules file": read_rules, "laboratory file": read_lab}


@pytest.mark.parametrize("what", READERS)
@pytest.mark.parametrize("content", [b"a = [", b"\xff\xfe", b"a = " + b"[" * 100_000])
def test_what_is_no_toml_is_named(tmp_path, what, content):
    path = tmp_path / "a.toml"
    path.write_bytes(content)
    with pytest.raises(ValueError, match=f"^{what} .*a.toml is not TOML: "):
        READERS[what](path)


@pytest.mark.parametrize("what", READERS)
def test_what_cannot_be_used_is_named(tmp_path, what):
    path = tmp_path / "a.toml"
    path.write_text("colour = 1", encoding="utf-8-sig")
    with pytest.raises(ValueError, match=f"^{what} .*a.toml: "):
        READERS[what](path)
