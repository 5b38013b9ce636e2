"""Words on and under a picture, in the font that Pillow carries with it."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from rimread.report.colours import BLACK, ORANGE, SKY_BLUE, STRIP, WHITE, YELLOW

__all__ = ["label", "strip", "text_px"]

Picture = NDArray[np.uint8]


def text_px(width: int) -> int:
    """Size of ordinary words on a picture of this width: readable when it fills a screen."""
    return max(14, round(width / 64))


def _font(size: float) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


def _drawable(text: str) -> str:
    """What the built-in font can draw: ASCII, ± and °; accents go, the rest becomes ``?``."""
    text = text.replace("×", "x").replace("–", "-").replace("—", "-")
    return "".join(char if char in "±°" else _ascii(char) for char in text)


def _ascii(char: str) -> str:
    plain = unicodedata.normalize("NFKD", char)
    return (
        "".join(c for c in plain if not unicodedata.combining(c))
        .encode("ascii", "replace")
        .decode()
    )


def label(
    picture: Picture, text: str, centre: NDArray[np.floating], *, larger: float = 1.0
) -> None:
    """Words on the photo, white with a black edge."""
    font = _font(larger * text_px(picture.shape[1]))
    image = Image.fromarray(picture)
    ImageDraw.Draw(image).text(
        (float(centre[0]), float(centre[1])),
        _drawable(text),
        WHITE,
        font,
        anchor="mm",
        stroke_width=max(2, round(larger * text_px(picture.shape[1])) // 9),
        stroke_fill=BLACK,
    )
    picture[:] = np.asarray(image)


def strip(width: int, lines: Sequence[str], *, traced: bool) -> Picture:
    """A dark strip with lines of text, the first one large, and what the signs mean."""
    small = text_px(width)
    margin = small
    rows: list[tuple[str, int]] = []
    for index, line in enumerate(lines):
        size = round(1.5 * small) if index == 0 else small
        rows += [(row, size) for row in _wrapped(_drawable(line), size, width - 2 * margin)]
    height = 2 * margin + sum(round(1.35 * size) for _, size in rows)
    if traced:
        height += round(1.6 * small)
    image = Image.new("RGB", (width, height), STRIP)
    draw = ImageDraw.Draw(image)
    y = margin
    for row, size in rows:
        draw.text((margin, y), row, WHITE, _font(size))
        y += round(1.35 * size)
    if traced:
        _legend(draw, margin, y + small, small)
    return np.asarray(image).copy()


def _legend(draw: ImageDraw.ImageDraw, x: float, y: float, size: int) -> None:
    """What the signs mean, one row."""
    font = _font(size)
    r, line = size / 4, max(2, size // 8)
    for sign, words in (
        ("dot", "traced, used"),
        ("cross", "traced, left out"),
        ("line", "fitted rim"),
    ):
        if sign == "dot":
            draw.ellipse((x, y - r, x + 2 * r, y + r), SKY_BLUE)
        elif sign == "cross":
            draw.line((x, y - r, x + 2 * r, y + r), ORANGE, line)
            draw.line((x, y + r, x + 2 * r, y - r), ORANGE, line)
        else:
            draw.line((x, y, x + 4 * r, y), YELLOW, line)
        x += (4 if sign == "line" else 2) * r + 0.6 * size
        draw.text((x, y), words, WHITE, font, anchor="lm")
        x += font.getlength(words) + 2 * size


def _wrapped(text: str, size: int, width: int) -> list[str]:
    """Rows no wider than the strip; a word that is wider by itself is broken."""
    font = _font(size)
    rows = [""]
    for word in text.split():
        longer = f"{rows[-1]} {word}".strip()
        if font.getlength(longer) <= width:
            rows[-1] = longer
            continue
        rest = word
        while font.getlength(rest) > width and len(rest) > 1:
            fits = max(
                n for n in range(1, len(rest)) if n == 1 or font.getlength(rest[:n]) <= width
            )
            rows.append(rest[:fits])
            rest = rest[fits:]
        rows.append(rest)
    return [row for row in rows if row]
