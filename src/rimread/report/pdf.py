"""A page as PDF, by fpdf2 (LGPL), which pip alone installs: ``pip install "rimread[report]"``."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime
from functools import singledispatchmethod
from pathlib import Path
from typing import Final, Literal

from fpdf import FPDF, FontFace
from fpdf.enums import CellBordersLayout, XPos, YPos
from fpdf.fonts import TTFFont

from rimread.report.blocks import (
    Block,
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
    texts,
)
from rimread.report.fonts import Fonts, built_in, fonts_for

__all__ = ["pdf_of"]

Paper = Literal["a4", "letter"]

_MARGIN: Final = 15.0  # mm
_BOTTOM: Final = 16.0
_LINE: Final = 1.25  # of the size of the letters
_PT: Final = 25.4 / 72.0
_GREY, _BLACK, _RED = (70, 70, 70), (0, 0, 0), (150, 0, 0)
_BLANK: Final = 5.6  # mm, to write on by hand
_MOST_FOOT: Final = 200  # letters; fewer fit on a line
_BAND: Final = (241, 239, 230)


def pdf_of(
    page: Page, *, on: date, paper: Paper = "a4", font: Path | None = None
) -> tuple[bytes, tuple[str, ...]]:
    """The page as a PDF document.

    Parameters
    ----------
    page : Page
        What to write.
    on : datetime.date
        Day the document is of; the same page and day give the same bytes.
    paper : {"a4", "letter"}
        Size.
    font : Path, optional
        For letters the built-in font lacks, before those of the machine.

    Returns
    -------
    data : bytes
        The document.
    lacking : tuple of str
        Letters that no font had; they stand in the document as ``[U+4E2D]``.

    Raises
    ------
    ValueError
        If `font` is no font.
    """
    fonts = fonts_for((printable(text) for text in texts(page)), font=font)
    sheet = _Sheet(page, paper, fonts)
    try:
        sheet.set_creation_date(datetime(on.year, on.month, on.day, tzinfo=UTC))
        sheet.add_page()
        for part in _parts(page.blocks):
            sheet.put_part(part)
        with _quiet_fonts():
            return bytes(sheet.output() or b""), fonts.lacking
    finally:
        sheet.close_fonts()


def _parts(blocks: Sequence[Block]) -> Iterator[Sequence[Block]]:
    """Blocks from heading to heading."""
    part: list[Block] = []
    for block in blocks:
        if isinstance(block, Heading) and part:
            yield part
            part = []
        part.append(block)
    yield part


def _rows_of(facts: Sequence[Fact]) -> Iterator[Sequence[Fact]]:
    """Wide facts alone, the others in pairs."""
    pair: list[Fact] = []
    for fact in facts:
        if fact.wide or len(pair) == 2:
            if pair:
                yield pair
            pair = []
        if fact.wide:
            yield [fact]
        else:
            pair.append(fact)
    if pair:
        yield pair


@contextmanager
def _quiet_fonts() -> Iterator[None]:
    """Without fontTools' remarks on tables it leaves out when it cuts a font down."""
    log = logging.getLogger("fontTools.subset")
    before = log.level
    log.setLevel(logging.ERROR)
    try:
        yield
    finally:
        log.setLevel(before)


class _Sheet(FPDF):
    """Paper that knows how each block looks."""

    def __init__(self, page: Page, paper: Paper, fonts: Fonts) -> None:
        super().__init__(format=paper)
        self.c_margin = 0.0
        self._foot = page.foot
        self._fonts = fonts
        self.set_margin(_MARGIN)
        self.set_auto_page_break(auto=True, margin=_BOTTOM)
        self.add_font("base", "", built_in(bold=False))
        self.add_font("base", "B", built_in(bold=True))
        for i, face in enumerate(fonts.others):
            self.add_font(f"other{i}", "", face.path, collection_font_number=face.number)
        names = [f"other{i}" for i in range(len(fonts.others))]
        self.set_fallback_fonts(names, exact_match=False)
        self.set_title(self._text(page.title))
        self.set_creator("rimread")
        self.set_lang("en")

    def footer(self) -> None:
        """Foot of every page."""
        self.set_y(-_BOTTOM + 5.0)
        self._pen(7.0, colour=_GREY)
        width = self.epw - 30.0
        foot = self._text(self._foot)[:_MOST_FOOT]
        while foot and self.get_string_width(foot) > width:
            foot = foot[:-2].rstrip("…") + "…"
        self.cell(width, 4.0, foot)
        self.cell(30.0, 4.0, f"page {self.page_no()} of {{nb}}", align="R")

    def close_fonts(self) -> None:
        """Let go of the font files, which fpdf2 leaves open."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()

    # -- words ----------------------------------------------------------------------------------

    def _text(self, text: str) -> str:
        return self._fonts.written(printable(text))

    def _pen(
        self, size: float, *, bold: bool = False, colour: tuple[int, int, int] = _BLACK
    ) -> float:
        """Take a pen and tell the height of its lines in mm."""
        self.set_font("base", "B" if bold else "", size)
        self.set_text_color(*colour)
        return size * _PT * _LINE

    def _lines(self, text: str, line: float, width: float = 0.0) -> None:
        """Lines from here down; the next start at the same left edge."""
        left = self.get_x()
        self.multi_cell(
            width or self.epw - (left - self.l_margin),
            line,
            self._text(text),
            align="L",
            new_x=XPos.LEFT,
            new_y=YPos.NEXT,
        )
        self.set_x(left)

    def _height(self, text: str, line: float, width: float) -> float:
        found = self.multi_cell(
            width, line, self._text(text), align="L", dry_run=True, output="HEIGHT"
        )
        return float(found)  # type: ignore[arg-type]  # one output asked for is one number

    def _room(self, height: float) -> None:
        """A new page unless so much fits on this one."""
        if self.will_page_break(height):
            self.add_page()

    # -- blocks ---------------------------------------------------------------------------------

    def put_part(self, part: Sequence[Block]) -> None:
        """Write what stands under a heading, on one page if it must and can be."""
        if part and isinstance(part[0], Heading) and part[0].whole:
            with self.offset_rendering() as trial:
                for block in part:
                    self.put(block)
            if trial.page_break_triggered:
                self.add_page()
        for block in part:
            self.put(block)

    @singledispatchmethod
    def put(self, block: object) -> None:
        """Write one block."""
        raise TypeError(f"no such block (got {block!r})")

    @put.register
    def _(self, block: Letterhead) -> None:
        top, left = self.get_y(), self.l_margin
        beside = 60.0
        width = self.epw - beside - 6.0
        if block.logo_png is not None:
            image = self.image(
                io.BytesIO(block.logo_png),
                left,
                top,
                w=40.0,
                h=18.0,
                keep_aspect_ratio=True,
                alt_text=self._text(f"logo of {block.name}"),
            )
            self.set_xy(left, top + min(18.0, image.rendered_height or 18.0) + 2.0)
        if block.name:
            self._lines(block.name, self._pen(12.0, bold=True), width)
        for line in block.lines:
            self._lines(line, self._pen(9.0), width)
        low = self.get_y()
        self.set_xy(self.w - self.r_margin - beside, top)
        self._fact_rows(block.beside, beside, 24.0)
        self.set_xy(left, max(low, self.get_y()) + 2.0)
        self._lines(block.title, self._pen(17.0, bold=True))
        self.ln(2.0)

    @put.register
    def _(self, block: Heading) -> None:
        if block.annex:
            self.add_page()
        self._room(30.0)
        self.ln(3.0)
        self._lines(block.text, self._pen(11.0, bold=True))
        self.set_draw_color(*_BLACK)
        self.set_line_width(0.35)
        self.line(self.l_margin, self.get_y(), self.w - self.r_margin, self.get_y())
        self.ln(1.5)

    @put.register
    def _(self, block: Verdict) -> None:
        top = self.get_y()
        self.set_xy(self.l_margin + 4.0, top + 2.5)
        width = self.epw - 8.0
        if block.alarm:
            self._lines(block.alarm, self._pen(10.0, bold=True, colour=_RED), width)
            self.ln(1.0)
            self.set_x(self.l_margin + 4.0)
        self._lines(block.text, self._pen(20.0, bold=True), width)
        for line in block.lines:
            self._lines(line, self._pen(9.5), width)
        low = self.get_y() + 2.5
        self.set_draw_color(*(_RED if block.alarm else _BLACK))
        self.set_line_width(0.6)
        self.rect(self.l_margin, top, self.epw, low - top)
        self.set_xy(self.l_margin, low)

    @put.register
    def _(self, block: Facts) -> None:
        """Two columns, row by row."""
        gap = 6.0
        width = (self.epw - gap) / 2.0
        label = 0.38 * width
        for row in _rows_of(block.facts):
            wide = row[0].wide
            across = self.epw if wide else width
            self._room(max(self._fact_height(fact, across, label) for fact in row))
            top, lows = self.get_y(), []
            for k, fact in enumerate(row):
                self.set_xy(self.l_margin + k * (width + gap), top)
                self._fact_rows((fact,), across, label)
                lows.append(self.get_y())
            self.set_xy(self.l_margin, max(lows))

    @put.register
    def _(self, block: Table) -> None:
        size = 7.5 if block.small else 8.5
        self._lines(block.caption, self._pen(8.0, colour=_GREY))
        line = self._pen(size)
        self.set_draw_color(150, 150, 150)
        self.set_line_width(0.15)
        head, plain = FontFace(emphasis="B"), CellBordersLayout.BOTTOM
        with self.table(
            align="L",
            borders_layout="NONE",
            col_widths=tuple(column.share for column in block.columns),
            headings_style=head,
            line_height=line,
            padding=(0.6, 1.2),
            text_align=tuple(column.align.upper() for column in block.columns),
            v_align="T",
            width=self.epw,
        ) as table:
            row = table.row()
            for column in block.columns:
                row.cell(self._text(column.title), border=plain)
            for i, cells in enumerate(block.rows):
                row = table.row()
                band = _BAND if i in block.marked else None
                for k, cell in enumerate(cells):
                    style = FontFace(emphasis="B" if band and k == 0 else None, fill_color=band)
                    row.cell(self._text(cell), style=style, border=plain)
        self.ln(2.0)

    @put.register
    def _(self, block: Words) -> None:
        size = 8.0 if block.small else 9.0
        line = self._pen(size, bold=block.strong, colour=_GREY if block.small else _BLACK)
        self._lines(block.text, line)
        self.ln(0.8)

    @put.register
    def _(self, block: Pictures) -> None:
        gap = 6.0
        width = (self.epw - gap) / 2.0
        for i in range(0, len(block.pictures), 2):
            pair = block.pictures[i : i + 2]
            self._room(max(self._picture_height(picture, width) for picture in pair))
            top, lows = self.get_y(), []
            for k, picture in enumerate(pair):
                self.set_xy(self.l_margin + k * (width + gap), top)
                self._picture(picture, width)
                lows.append(self.get_y())
            self.set_xy(self.l_margin, max(lows) + 3.0)

    @put.register
    def _(self, block: Signatures) -> None:
        gap = 10.0
        width = (self.epw - gap) / 2.0
        for i in range(0, len(block.places), 2):
            self._room(36.0)
            self.ln(3.0)
            top = self.get_y()
            for k, place in enumerate(block.places[i : i + 2]):
                self.set_xy(self.l_margin + k * (width + gap), top)
                self._lines(place.label, self._pen(9.0, bold=True), width)
                facts = (Fact("Name", place.value), Fact("Date", None), Fact("Signature", None))
                self._fact_rows(facts, width, 20.0, least=8.0)
            self.set_x(self.l_margin)

    # -- facts and pictures ---------------------------------------------------------------------

    def _fact_rows(
        self, facts: Iterable[Fact], width: float, label: float, *, least: float = 0.0
    ) -> None:
        """Labels with values from here down; what is not known is a line to write on."""
        left = self.get_x()
        for fact in facts:
            top = self.get_y()
            self._lines(fact.label, self._pen(8.0, colour=_GREY), label - 2.0)
            low = max(self.get_y(), top + least)
            self.set_xy(left + label, top)
            if fact.value is None:
                low = max(low, top + _BLANK)
                self.set_draw_color(*_BLACK)
                self.set_line_width(0.25)
                self.line(left + label, low - 0.8, left + width, low - 0.8)
            else:
                self._lines(fact.value, self._pen(9.0), width - label)
                low = max(low, self.get_y())
            self.set_xy(left, low + 0.7)

    def _fact_height(self, fact: Fact, width: float, label: float) -> float:
        named = self._height(fact.label, self._pen(8.0), label - 2.0)
        if fact.value is None:
            return max(named, _BLANK) + 0.7
        return max(named, self._height(fact.value, self._pen(9.0), width - label)) + 0.7

    def _picture(self, picture: Picture, width: float) -> None:
        left = self.get_x()
        height = width * picture.height_px / picture.width_px
        alt = self._text(picture.caption)
        self.image(io.BytesIO(picture.jpeg), left, self.get_y(), width, height, alt_text=alt)
        self.set_xy(left, self.get_y() + height + 0.8)
        self._lines(picture.caption, self._pen(7.5), width)

    def _picture_height(self, picture: Picture, width: float) -> float:
        image = width * picture.height_px / picture.width_px
        return image + self._height(picture.caption, self._pen(7.5), width) + 3.8
