"""The laboratory's file and its logo."""

from __future__ import annotations

import io
import struct
import zlib
from datetime import date
from pathlib import Path

import pytest
from PIL import Image, PngImagePlugin

from rimread.report.lab import Lab, read_lab


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "lab.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_all_of_it(tmp_path: Path):
    tags = PngImagePlugin.PngInfo()
    tags.add_text("Comment", "<script>steal()</script>")
    Image.new("RGBA", (2000, 100), (10, 20, 30, 0)).save(tmp_path / "logo.png", pnginfo=tags)
    lab = read_lab(
        write(
            tmp_path,
            'name = "Prüfraum Łódź"\naddress = ["1 Mill Lane", "Ourtown"]\n'
            'contact = "x@example.org"\n'
            'note = "n"\nlogo = "logo.png"\nmachine = "Lever tester"\nmachine_serial = "3"\n'
            'machine_valid_until = 2027-01-31\nsignatures = ["Tested by"]\n',
        )
    )
    assert (lab.name, lab.address) == ("Prüfraum Łódź", ("1 Mill Lane", "Ourtown"))
    assert lab.machine_valid_until == date(2027, 1, 31)
    assert lab.logo_png is not None
    with Image.open(io.BytesIO(lab.logo_png)) as logo:
        assert logo.size == (900, 45)  # reduced
        assert logo.getpixel((5, 5)) == (255, 255, 255)  # what was clear is white as paper
        assert not logo.info.get("Comment")
    assert b"script" not in lab.logo_png


def test_nothing_is_needed(tmp_path: Path):
    assert read_lab(write(tmp_path, "")) == Lab()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = ", "is not TOML"),
        ("nmae = 'x'", "unknown key 'nmae'"),
        ("name = 7", "name must be text"),
        ("address = 'x'", "address must be a list"),
        ("signatures = []", "1 to 4 places"),
        ("machine_valid_until = 2027-01-31T10:00:00", "must be a date"),
        ("machine_valid_until = 'soon'", "must be a date"),
    ],
)
def test_what_a_file_must_not_hold(tmp_path: Path, text: str, says: str):
    with pytest.raises(ValueError, match=says) as caught:
        read_lab(write(tmp_path, text))
    assert "lab.toml" in str(caught.value)


def test_a_logo_must_be_a_picture(tmp_path: Path):
    path = write(tmp_path, "logo = 'logo.png'")
    with pytest.raises(OSError, match="logo"):
        read_lab(path)
    for bad in (b"", b"<svg onload='x()'/>", b"\x89PNG\r\n\x1a\n" + b"\0" * 40):
        (tmp_path / "logo.png").write_bytes(bad)
        with pytest.raises(ValueError, match="must be a PNG or JPEG"):
            read_lab(path)
    Image.new("L", (8, 8)).save(tmp_path / "logo.png", "GIF")
    with pytest.raises(ValueError, match="must be a PNG or JPEG"):
        read_lab(path)


def test_a_logo_has_limits(tmp_path: Path):
    path = write(tmp_path, "logo = 'logo.png'")
    Image.new("1", (6000, 6000)).save(tmp_path / "logo.png")
    with pytest.raises(ValueError, match="25 million pixels"):
        read_lab(path)
    data = bytearray((tmp_path / "logo.png").read_bytes())
    data[16:24] = struct.pack(">II", 20_000, 10_000)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    (tmp_path / "logo.png").write_bytes(bytes(data))
    with pytest.raises(ValueError, match="25 million pixels"):
        read_lab(path)
    (tmp_path / "logo.png").write_bytes(b"\0" * 5_000_001)
    with pytest.raises(ValueError, match="at most 5 MB"):
        read_lab(path)
