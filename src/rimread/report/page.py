"""A page as one HTML file: pictures inside, nothing from outside, fit to be printed.

The text is built as a tree and written by the standard library, so that whatever a file or a
person put into a name stays text.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable
from functools import singledispatch
from importlib.resources import files
from xml.etree.ElementTree import Element, SubElement, tostring

from rimread.report.blocks import (
    Fact,
    Facts,
    Heading,
    Letterhead,
    Page,
    Picture,
    Pictures,
    Signatures,
    Table,
    Verdict,
    Words,
    printable,
)

__all__ = ["html_of"]

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'"
_BLANK = "to be filled in by hand"


def html_of(page: Page) -> str:
    """The page as a complete HTML document.

    Parameters
    ----------
    page : Page
        What to write.
    """
    root = Element("html", lang="en")
    head = SubElement(root, "head")
    SubElement(head, "meta", charset="utf-8")
    SubElement(head, "meta", {"http-equiv": "Content-Security-Policy", "content": _POLICY})
    SubElement(head, "meta", name="viewport", content="width=device-width, initial-scale=1")
    SubElement(head, "meta", name="color-scheme", content="light")
    _with(head, "title", page.title)
    style = SubElement(head, "style")
    style.text = _style(page.foot)
    main = SubElement(SubElement(root, "body"), "main")
    into = main
    for block in page.blocks:
        if isinstance(block, Heading):
            css = " ".join(name for name in ("annex", "whole") if getattr(block, name))
            into = SubElement(main, "section", _class(css))
        _put(block, into)
    return "<!DOCTYPE html>\n" + tostring(root, encoding="unicode", method="html") + "\n"


def _style(foot: str) -> str:
    """The style sheet with the foot of printed pages; a style element takes no escapes.

    CSS strings can be written in hexadecimal, which leaves nothing that could end them.
    """
    text = files("rimread.report").joinpath("page.css").read_text(encoding="utf-8")
    coded = "".join(f"\\{ord(char):06x}" for char in printable(foot))
    return text.replace("/* foot */", f'content: "{coded}";')


def _class(name: str) -> dict[str, str]:
    return {"class": name} if name else {}


def _with(parent: Element, tag: str, text: str, css: str = "", **attributes: str) -> Element:
    """A child with text, line breaks kept."""
    child = SubElement(parent, tag, {**_class(css), **attributes})
    first, *others = printable(text).split("\n")
    child.text = first
    for line in others:
        SubElement(child, "br").tail = line
    return child


def _picture(parent: Element, data: bytes, kind: str, alt: str) -> None:
    coded = base64.b64encode(data).decode("ascii")
    SubElement(parent, "img", src=f"data:image/{kind};base64,{coded}", alt=printable(alt))


def _fact(parent: Element, fact: Fact) -> None:
    row = SubElement(parent, "div", _class("fact wide" if fact.wide else "fact"))
    _with(row, "dt", fact.label)
    if fact.value is None:
        blank = SubElement(row, "dd", _class("blank"))
        _with(blank, "span", _BLANK, "unseen")
    else:
        _with(row, "dd", fact.value)


def _facts(parent: Element, facts: Iterable[Fact], css: str) -> None:
    listed = SubElement(parent, "dl", _class(css))
    for fact in facts:
        _fact(listed, fact)


@singledispatch
def _put(block: object, _into: Element) -> None:
    raise TypeError(f"no such block (got {block!r})")


@_put.register
def _(block: Letterhead, into: Element) -> None:
    header = SubElement(into, "header")
    who = SubElement(header, "div", _class("who"))
    if block.logo_png is not None:
        _picture(who, block.logo_png, "png", f"logo of {block.name}")
    words = SubElement(who, "div")
    if block.name:
        _with(words, "p", block.name, "lab")
    for line in block.lines:
        _with(words, "p", line)
    _facts(header, block.beside, "beside")
    _with(into, "h1", block.title)


@_put.register
def _(block: Heading, into: Element) -> None:
    _with(into, "h2", block.text)


@_put.register
def _(block: Verdict, into: Element) -> None:
    box = SubElement(into, "div", _class("verdict"))
    if block.alarm:
        _with(box, "p", block.alarm, "alarm")
    _with(box, "p", block.text, "result")
    for line in block.lines:
        _with(box, "p", line)


@_put.register
def _(block: Facts, into: Element) -> None:
    _facts(into, block.facts, "facts")


@_put.register
def _(block: Table, into: Element) -> None:
    frame = SubElement(into, "div", {"class": "frame", "tabindex": "0"})  # scrolls by keyboard
    table = SubElement(frame, "table", _class("small" if block.small else ""))
    _with(table, "caption", block.caption)
    widths = SubElement(table, "colgroup")
    whole = sum(column.share for column in block.columns)
    for column in block.columns:
        SubElement(widths, "col", style=f"width: {column.share / whole:.1%}")
    head = SubElement(SubElement(table, "thead"), "tr")
    for column in block.columns:
        _with(head, "th", column.title, column.align, scope="col")
    body = SubElement(table, "tbody")
    for i, cells in enumerate(block.rows):
        row = SubElement(body, "tr", _class("marked" if i in block.marked else ""))
        for column, cell in zip(block.columns, cells, strict=True):
            _with(row, "td", cell, column.align)


@_put.register
def _(block: Words, into: Element) -> None:
    css = " ".join(name for name in ("small", "strong") if getattr(block, name))
    _with(into, "p", block.text, css)


@_put.register
def _(block: Pictures, into: Element) -> None:
    frame = SubElement(into, "div", _class("pictures"))
    for picture in block.pictures:
        _figure(picture, frame)


def _figure(picture: Picture, into: Element) -> None:
    figure = SubElement(into, "figure")
    _picture(figure, picture.jpeg, "jpeg", picture.caption)
    _with(figure, "figcaption", picture.caption)


@_put.register
def _(block: Signatures, into: Element) -> None:
    frame = SubElement(into, "div", _class("signatures"))
    for place in block.places:
        one = SubElement(frame, "div")
        _with(one, "p", place.label, "role")
        _facts(one, (Fact("Name", place.value), Fact("Date", None), Fact("Signature", None)), "")
