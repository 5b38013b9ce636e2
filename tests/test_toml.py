"""Small TOML files: whatever is wrong with one is said in a sentence that names it."""

import pytest

from rimread.hardness import read_block, read_rules
from rimread.report.lab import read_lab
from rimread.scale import read_scale

READERS = {"block file": read_block, "rules file": read_rules, "laboratory file": read_lab}


BLOCK = 'colour = 1\nserial = "B"\ncertified_hbw = 229.0\nU_hbw = 2.3\nk = 2\ntest = "10/3000"'


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


@pytest.mark.parametrize("read", [*READERS.values(), read_scale])
@pytest.mark.parametrize(
    ("content", "says"),
    [
        ('a = 1\nname = "Prüfraum"'.encode("cp1252"), "line 2 is no text in UTF-8"),
        ("name = 'x'".encode("utf-16"), "save the file as UTF-8"),
        (b"certified_hbw = 229,5", "numbers are written with a point"),
        (b"serial = B-17", "texts in quotation marks"),
    ],
)
def test_what_people_write_otherwise_is_told(tmp_path, read, content, says):
    path = tmp_path / "a.toml"
    path.write_bytes(content)
    with pytest.raises(ValueError, match=says):
        read(path)


@pytest.mark.parametrize("what", READERS)
def test_what_a_file_may_hold_is_listed(tmp_path, what):
    path = tmp_path / "a.toml"
    path.write_text(BLOCK if what == "block file" else "colour = 1", encoding="utf-8")
    with pytest.raises(ValueError, match=r"unknown key 'colour'; known are \w+, \w+, "):
        READERS[what](path)
