"""Fonts for a PDF: what is built in, and what the machine has for the letters it lacks.

Built in is DejaVu Sans, cut down to Latin, Greek and Cyrillic letters. Letters beyond, Chinese ones
say, come from a font the user names or else from one installed on the machine that makes the
report; the PDF holds what it uses of it, so that every reader shows it. Letters that no font at
hand has are written as ``[U+4E2D]``: ugly, and never lost.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib.resources import files
from itertools import islice
from pathlib import Path
from typing import Final

from fontTools.ttLib import TTCollection, TTFont, TTLibError

__all__ = ["Face", "Fonts", "built_in", "fonts_for"]

_FIRST: Final = (
    "noto",
    "sourcehan",
    "msyh",
    "yahei",
    "simsun",
    "pingfang",
    "hiragino",
    "arial uni",
)
"""Parts of the names of fonts that have many letters, looked at before others."""

_MOST_LOOKED_AT: Final = 400
_ENDINGS: Final = {".ttf", ".otf", ".ttc", ".otc"}
_DRAWN_BY_NONE: Final = frozenset(map(ord, "\n\u200d"))


@dataclass(frozen=True, slots=True)
class Face:
    """A font file and, in a collection, which of its fonts."""

    path: Path
    number: int = 0


@dataclass(frozen=True, slots=True)
class Fonts:
    """Faces beside the built-in ones, and letters that none has."""

    others: tuple[Face, ...]
    lacking: tuple[str, ...]

    def written(self, text: str) -> str:
        """Text with the lacking letters as numbers."""
        if not self.lacking:
            return text
        return "".join(f"[U+{ord(c):04X}]" if c in self.lacking else c for c in text)


def built_in(*, bold: bool) -> Path:
    """The font that comes with the program."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return Path(str(files("rimread.report").joinpath("fonts", name)))


def fonts_for(texts: Iterable[str], *, font: Path | None = None) -> Fonts:
    """Faces that together have all letters.

    Parameters
    ----------
    texts : iterable of str
        All that will be written.
    font : Path, optional
        Font to be asked first.

    Raises
    ------
    ValueError
        If `font` is no TrueType or OpenType font.
    OSError
        If it cannot be read.
    """
    missing = {ord(c) for text in texts for c in text} - _DRAWN_BY_NONE - _letters(built_in_face())
    others: list[Face] = []
    if font is not None:
        if not font.is_file():
            raise ValueError(f"font {font} is no file")
        faces = list(_faces(font))
        if not faces:
            raise ValueError(f"font {font} must be a TrueType or OpenType font")
        missing -= _take(faces, missing, others)
    for path in islice(_installed(), _MOST_LOOKED_AT) if missing else ():
        if not missing:
            break
        missing -= _take(_faces(path), missing, others)
    return Fonts(tuple(others), tuple(chr(code) for code in sorted(missing)))


def built_in_face() -> Face:
    """The regular built-in font; the bold one has the same letters."""
    return Face(built_in(bold=False))


def _take(faces: Iterable[Face], missing: set[int], others: list[Face]) -> set[int]:
    """Note the first face that has some of what is missing, and tell what it has."""
    for face in faces:
        has = _letters(face) & missing
        if has:
            others.append(face)
            return has
    return set()


def _letters(face: Face) -> set[int]:
    try:
        with face.path.open("rb") as file:  # a damaged font would leave a path's file open
            return set(TTFont(file, fontNumber=face.number, lazy=True).getBestCmap() or {})
    except (TTLibError, OSError, ValueError, KeyError, AssertionError):  # damaged files exist
        return set()


def _faces(path: Path) -> Iterator[Face]:
    """Faces with outlines; pictures of letters (colour emoji) cannot be taken."""
    try:
        with path.open("rb") as file:
            many = path.suffix.lower() in (".ttc", ".otc")
            read = TTCollection(file, lazy=True).fonts if many else [TTFont(file, lazy=True)]
            fonts = [set(font.keys()) for font in read]
    except (TTLibError, OSError, ValueError, KeyError, AssertionError):
        return
    for number, tables in enumerate(fonts):
        if tables & {"glyf", "CFF "} and not tables & {"CBDT", "sbix", "COLR"}:
            yield Face(path, number)


def _installed() -> Iterator[Path]:
    """Font files of this machine, those that promise many letters first."""
    found = sorted(
        path
        for folder in _folders()
        for path in folder.rglob("*")
        if path.suffix.lower() in _ENDINGS
    )

    def rank(path: Path) -> int:
        name = path.name.lower()
        return next((i for i, part in enumerate(_FIRST) if part in name), len(_FIRST))

    yield from sorted(found, key=rank)


def _folders() -> Iterator[Path]:
    home = Path.home()
    if sys.platform == "win32":
        places = [Path(os.environ.get("WINDIR", r"C:\Windows"), "Fonts")]
        places.append(Path(os.environ.get("LOCALAPPDATA", home), "Microsoft", "Windows", "Fonts"))
    elif sys.platform == "darwin":
        places = [Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts"]
    else:
        places = [Path("/usr/share/fonts"), Path("/usr/local/share/fonts")]
        places += [home / ".local/share/fonts", home / ".fonts"]
    yield from (place for place in places if place.is_dir())
