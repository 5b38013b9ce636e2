"""Who reports and on which machine: the laboratory's own TOML file, its logo made safe."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from PIL import Image

from rimread.photo import DAMAGED
from rimread.toml import from_toml, known_only

__all__ = ["Lab", "read_lab"]

_TEXTS: Final = ("name", "contact", "note", "machine", "machine_serial")
_LISTS: Final = ("address", "signatures")
_OTHERS: Final = ("logo", "machine_valid_until")
_MOST_SIGNATURES: Final = 4
_MOST_LOGO_BYTES: Final = 5_000_000
_MOST_LOGO_PIXELS: Final = 25_000_000
_LOGO_PX: Final = (900, 300)  # 300 dots per inch on 76 mm × 25 mm of paper


@dataclass(frozen=True, slots=True)
class Lab:
    """The laboratory.

    Parameters
    ----------
    name : str
        As it stands at the top of a report.
    address : tuple of str
        Lines.
    contact, note : str
        Telephone or mail; anything a report must say, such as an accreditation.
    machine, machine_serial : str
        The testing machine.
    machine_valid_until : datetime.date or None
        Last day its verification counts.
    signatures : tuple of str
        Who signs, in words.
    logo_png : bytes or None
        The picture, reduced and stripped of everything but its pixels.
    """

    name: str = ""
    address: tuple[str, ...] = ()
    contact: str = ""
    note: str = ""
    machine: str = ""
    machine_serial: str = ""
    machine_valid_until: date | None = None
    signatures: tuple[str, ...] = ("Tested by", "Approved by")
    logo_png: bytes | None = None


def read_lab(path: Path) -> Lab:
    """Laboratory from a TOML file; every key may be left out, none may be unknown.

    ::

        name = "Test room of our works"
        address = ["1 Mill Lane", "Ourtown"]
        contact = "tests@example.org"
        note = "..."
        logo = "logo.png"              # PNG or JPEG, beside this file
        machine = "Lever tester"
        machine_serial = "3"
        machine_valid_until = 2027-01-31
        signatures = ["Tested by", "Approved by"]

    Raises
    ------
    ValueError
        If it is no TOML, a key is unknown or of the wrong kind, or the logo is no PNG or JPEG of
        at most 5 MB and 25 million pixels; the file is named.
    OSError
        If a file cannot be read.
    """
    return from_toml(path, "laboratory file", lambda told: _lab(told, path.parent))


def _lab(told: dict[str, Any], folder: Path) -> Lab:
    known_only(told, (*_TEXTS, *_LISTS, *_OTHERS))
    values: dict[str, Any] = {key: _text(told[key], key) for key in _TEXTS if key in told}
    values |= {key: _lines(told[key], key) for key in _LISTS if key in told}
    if not 1 <= len(values.get("signatures", ("",))) <= _MOST_SIGNATURES:
        raise ValueError(f"signatures must name 1 to {_MOST_SIGNATURES} places to sign")
    if "machine_valid_until" in told:
        values["machine_valid_until"] = _day(told["machine_valid_until"])
    if "logo" in told:
        values["logo_png"] = _logo(folder / _text(told["logo"], "logo"))
    return Lab(**values)


def _text(value: object, key: str) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{key} must be text (got {value!r})")  # noqa: TRY004
    return value


def _lines(value: object, key: str) -> tuple[str, ...]:
    if not (isinstance(value, list) and all(isinstance(line, str) for line in value)):
        raise ValueError(f"{key} must be a list of texts (got {value!r})")
    return tuple(value)


def _day(value: object) -> date:
    if not isinstance(value, date) or isinstance(value, datetime):
        raise ValueError(  # noqa: TRY004  (a file's content, not a caller's type)
            f"machine_valid_until must be a date like 2027-01-31 (got {value!r})"
        )
    return value


def _logo(path: Path) -> bytes:
    """The pixels of a logo, written anew: nothing else of the file goes into a report."""
    if path.stat().st_size > _MOST_LOGO_BYTES:
        raise ValueError(f"logo {path} must have at most {_MOST_LOGO_BYTES / 1e6:g} MB")
    flat = _logo_pixels(path)
    white = Image.new("RGBA", flat.size, "white")
    white.alpha_composite(flat)  # paper is white; viewers disagree on transparency in print
    shown = white.convert("RGB")
    shown.thumbnail(_LOGO_PX, Image.Resampling.LANCZOS)
    data = io.BytesIO()
    shown.save(data, "PNG", optimize=True)
    return data.getvalue()


def _logo_pixels(path: Path) -> Image.Image:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its own limit follows
            with Image.open(path, formats=("PNG", "JPEG")) as image:
                if image.width * image.height <= _MOST_LOGO_PIXELS:
                    return image.convert("RGBA")
    except DAMAGED as error:
        raise ValueError(f"logo {path} must be a PNG or JPEG picture ({error})") from error
    except Image.DecompressionBombError:
        pass
    raise ValueError(f"logo {path} must have at most {_MOST_LOGO_PIXELS / 1e6:g} million pixels")
