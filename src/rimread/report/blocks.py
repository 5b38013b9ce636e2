"""The pieces a page is made of, without a word on how they look.

A page is a tuple of blocks. `rimread.report.page` makes HTML of it and `rimread.report.pdf` a PDF:
what is said, and in which order, is decided once.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from typing import Literal

__all__ = [
    "Block",
    "Column",
    "Fact",
    "Facts",
    "Heading",
    "Letterhead",
    "Page",
    "Picture",
    "Pictures",
    "Signatures",
    "Table",
    "Verdict",
    "Words",
    "printable",
    "texts",
]

_UNPRINTABLE = {"Cc", "Cf", "Cs", "Co", "Cn"}  # control, format (bidi tricks), surrogate, private


def printable(text: str) -> str:
    r"""Text that any page can show: what steers a terminal or turns the line around becomes �.

    >>> printable("heat\x00 7")
    'heat� 7'
    """
    return "".join(
        char if unicodedata.category(char) not in _UNPRINTABLE or char in "\n\u200d" else "�"
        for char in text.replace("\r\n", "\n").replace("\t", " ")
    )


@dataclass(frozen=True, slots=True)
class Letterhead:
    """Who reports: name, lines below it, a PNG picture or None."""

    name: str
    lines: tuple[str, ...]
    logo_png: bytes | None
    title: str
    beside: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Heading:
    """Title of a part; an annex starts a new page, and what is `whole` stays on one."""

    text: str
    annex: bool = False
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a reader looks for first: the result large, then lines; an alarm above all."""

    text: str
    lines: tuple[str, ...]
    alarm: str = ""


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that is known; None is a blank to be filled in by hand; wide takes a whole row."""

    label: str
    value: str | None
    wide: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """Facts in two columns, wide ones across both."""

    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """Head of a column, which way it is set, and its share of the width."""

    title: str
    share: float
    align: Literal["left", "right"] = "left"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under columns; `marked` are those that need an eye."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    marked: frozenset[int] = frozenset()
    small: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph."""

    text: str
    small: bool = False
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A JPEG picture with its caption."""

    caption: str
    jpeg: bytes
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class Pictures:
    """Pictures, two in a row."""

    pictures: tuple[Picture, ...]


@dataclass(frozen=True, slots=True)
class Signatures:
    """Places to sign: role and printed name, None for a blank."""

    places: tuple[Fact, ...]


Block = Letterhead | Heading | Verdict | Facts | Table | Words | Pictures | Signatures


@dataclass(frozen=True, slots=True)
class Page:
    """All of it: title for the window and file, what stands at the foot, the blocks."""

    title: str
    foot: str
    blocks: tuple[Block, ...]


def texts(value: object) -> Iterator[str]:
    """All text in blocks, however deep."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for part in value:
            yield from texts(part)
    elif is_dataclass(value):
        for field in fields(value):
            yield from texts(getattr(value, field.name))
