"""The photo with what was found drawn over it; signs differ in shape as well as in colour."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.colour import in_channel
from rimread.diameters import Diameters
from rimread.photo import Photo, linear_light
from rimread.reading import Reading
from rimread.refusal import Refusal
from rimread.report.colours import BLACK, ORANGE, SKY_BLUE, WHITE, YELLOW, Colour
from rimread.report.words import label, strip, text_px
from rimread.rim import Rim
from rimread.scale.model import Scale

__all__ = ["close_up", "overlay", "overlay_all"]

Picture = NDArray[np.uint8]
_LEAST_WIDTH_PX = 1200  # smaller photos are drawn larger, so that lines stay thin beside the rim
_MOST_ENLARGED = 4
_METAL = 0.2  # of the indent, seen on either side of it in a close-up
_PAPER_LINE = 1 / 450  # of a close-up's width: 0.2 mm where it is printed 85 mm wide
_PAPER_WORDS = 2.0  # words twice as large there as on a screen
_SUBPIXEL_BITS = 4
_NUMBER = 1.5  # an indent's number, larger than ordinary words


def overlay(
    photo: Photo,
    rim: Rim | None,
    diameters: Diameters | None,
    scale: Scale | None,
    lines: Sequence[str],
) -> Picture:
    """Draw what was found over the photo.

    Parameters
    ----------
    photo : Photo
        The picture, shown as the sensor wrote it.
    rim : Rim or None
        Traced points: round dots were used, crosses were left out.
    diameters : Diameters or None
        The fitted rim and the two diameters.
    scale : Scale or None
        For the scale bar.
    lines : sequence of str
        For the strip under the photo, the first one large.

    Returns
    -------
    ndarray, shape (height, width, 3), uint8
        Blue, green, red; the photo enlarged by a whole number if it is small, the strip below.
    """
    zoom, pen = _zoom(photo), _pen(photo)
    picture = _shown(photo, [rim], zoom)
    _draw_found(picture, rim, diameters, scale, zoom=zoom, pen=pen)
    if scale is not None:
        _draw_scale_bar(picture, scale, zoom, pen)
    return np.vstack([picture, strip(picture.shape[1], lines, traced=rim is not None)])


def overlay_all(
    photo: Photo, results: Sequence[Reading | Refusal], scale: Scale, lines: Sequence[str]
) -> Picture:
    """Draw all indents of a photo, each with its number beside it.

    Parameters
    ----------
    photo, scale, lines : Photo, Scale, sequence of str
        As in `overlay`.
    results : sequence of Reading or Refusal
        What `rimread.reading.measure_all` gave: number 1 comes first; a refused indent gets its
        number only.
    """
    zoom, pen = _zoom(photo), _pen(photo)
    found = [one for one in results if isinstance(one, Reading)]
    picture = _shown(photo, [one.rim for one in found], zoom)
    for one in found:
        _draw_found(picture, one.rim, one.diameters, scale, zoom=zoom, pen=pen)
    _draw_scale_bar(picture, scale, zoom, pen)
    _draw_numbers(picture, [_circle(one, zoom) for one in results])
    return np.vstack([picture, strip(picture.shape[1], lines, traced=True)])


def close_up(photo: Photo, rim: Rim, diameters: Diameters, scale: Scale) -> Picture:
    """Draw what was found over the indent and some metal around it, without words below.

    Parameters
    ----------
    photo, rim, diameters, scale : Photo, Rim, Diameters, Scale
        As in `overlay`.

    Returns
    -------
    ndarray, shape (height, width, 3), uint8
        Four to three, as far as the photo reaches.
    """
    zoom = _zoom(photo)
    x, y, across, down = _around(photo, diameters)
    pen = max(1, round(zoom * across * _PAPER_LINE))
    picture = _shown(photo, [rim], zoom)
    larger = _PAPER_WORDS * across / photo.width_px
    _draw_found(picture, rim, diameters, scale, zoom=zoom, pen=pen, larger=larger)
    picture = picture[zoom * y : zoom * (y + down), zoom * x : zoom * (x + across)].copy()
    _draw_scale_bar(picture, scale, zoom, pen, larger=_PAPER_WORDS)
    return picture


def _draw_found(
    picture: Picture,
    rim: Rim | None,
    diameters: Diameters | None,
    scale: Scale | None,
    *,
    zoom: int,
    pen: int,
    larger: float = 1.0,
) -> None:
    if rim is not None:
        _draw_used(picture, rim, zoom, pen)
    if diameters is not None:
        _draw_rim(picture, diameters, zoom, pen)
    if rim is not None:
        _draw_left_out(picture, rim, zoom, pen)
    if diameters is not None and scale is not None:
        _draw_diameters(picture, diameters, scale, zoom, pen, larger=larger)


# -- the photo ----------------------------------------------------------------------------------


def _zoom(photo: Photo) -> int:
    return min(_MOST_ENLARGED, math.ceil(_LEAST_WIDTH_PX / photo.width_px))


def _pen(photo: Photo) -> int:
    """Width of thin lines on the enlarged photo."""
    return max(1, round(_zoom(photo) * photo.width_px / 1600))


def _around(photo: Photo, found: Diameters) -> tuple[int, int, int, int]:
    """Left, top, width and height of the indent with metal around it, in pixels of the photo."""
    outline = np.asarray(found.outline_px, np.float64).reshape(-1, 2)
    low, high = outline.min(axis=0), outline.max(axis=0)
    height = (1.0 + 2.0 * _METAL) * max(high[1] - low[1], 0.75 * (high[0] - low[0]))
    whole = np.array([photo.width_px, photo.height_px])
    size = np.minimum(np.rint([height / 0.75, height]), whole)
    corner = np.rint(np.clip((low + high - size) / 2.0, 0.0, whole - size))
    x, y, across, down = np.concatenate([corner, size]).astype(int).tolist()
    return x, y, across, down


def _shown(photo: Photo, rims: Sequence[Rim | None], zoom: int) -> Picture:
    """The picture in the values that its rims were read in."""
    channel = next((rim.channel for rim in rims if rim is not None), None)
    grey = in_channel(photo, channel).grey
    if grey.dtype != np.uint8 or photo.tone == "linear":  # about what sRGB would show
        light = np.clip(linear_light(photo, grey), 0.0, 1.0)
        grey = np.rint(255.0 * light ** (1 / 2.2)).astype(np.uint8)
    size = (zoom * photo.width_px, zoom * photo.height_px)
    if zoom > 1:
        grey = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_CUBIC), np.uint8)
    return np.asarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR), np.uint8)


def _at(points_px: NDArray[np.floating], zoom: int) -> NDArray[np.int32]:
    """Picture points in OpenCV's fixed point; pixel centres stay pixel centres when enlarged."""
    shown = (np.asarray(points_px, np.float64) + 0.5) * zoom - 0.5
    return np.asarray(np.rint(shown * 2**_SUBPIXEL_BITS), np.int32)


# -- what was found -----------------------------------------------------------------------------


def _draw_used(picture: Picture, rim: Rim, zoom: int, pen: int) -> None:
    """Dots, so many that the metal stays visible between them."""
    spacing = 12 * pen << _SUBPIXEL_BITS
    radius = 3 * pen << _SUBPIXEL_BITS
    last = np.full(2, -spacing)
    for point in _at(rim.points_px, zoom)[np.asarray(rim.used, bool)]:
        if np.hypot(*(point - last)) >= spacing:
            last = point
            cv2.circle(picture, _whole(point), radius, SKY_BLUE, -1, cv2.LINE_AA, _SUBPIXEL_BITS)


def _draw_left_out(picture: Picture, rim: Rim, zoom: int, pen: int) -> None:
    """A cross for every point."""
    arm = 5 * pen << _SUBPIXEL_BITS
    for point in _at(rim.points_px, zoom)[~np.asarray(rim.used, bool)]:
        for way in ((arm, arm), (arm, -arm)):
            _line(picture, _whole(point - way), _whole(point + way), ORANGE, 2 * pen)


def _draw_rim(picture: Picture, found: Diameters, zoom: int, pen: int) -> None:
    outline = _at(found.outline_px, zoom).reshape(-1, 1, 2)
    cv2.polylines(picture, [outline], True, YELLOW, pen, cv2.LINE_AA, _SUBPIXEL_BITS)  # noqa: FBT003


def _draw_diameters(
    picture: Picture, found: Diameters, scale: Scale, zoom: int, pen: int, *, larger: float
) -> None:
    turn = math.radians(found.angle_deg)
    along = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-along[1], along[0]])
    for name, length_mm, way, dashed in (
        ("d1", found.d1_mm, along, False),
        ("d2", found.d2_mm, across, True),
    ):
        ends_mm = np.asarray(found.centre_mm) + np.outer([-0.5, 0.5], way) * length_mm
        start, end = _at(scale.px_from_mm(ends_mm), zoom)
        _measure_line(picture, start, end, dashed=dashed, pen=pen)
        beside = np.array([-way[1], way[0]]) * 0.9 * larger * text_px(picture.shape[1])
        place = (start + 0.3 * (end - start)) / 2**_SUBPIXEL_BITS + beside
        label(picture, name, place, larger=larger)


def _circle(one: Reading | Refusal, zoom: int) -> tuple[float, float, float]:
    """Centre and radius of an indent in the enlarged picture."""
    if isinstance(one, Reading):
        x, y, radius = one.rim.ellipse.x, one.rim.ellipse.y, one.rim.ellipse.m
    else:
        keys = ("centre_x_px", "centre_y_px", "about_diameter_px")
        x, y, across = (float(one.evidence[key]) for key in keys)
        radius = across / 2.0
    return (x + 0.5) * zoom - 0.5, (y + 0.5) * zoom - 0.5, radius * zoom


def _draw_numbers(picture: Picture, circles: Sequence[tuple[float, float, float]]) -> None:
    """Beside each indent, where the picture has most room."""
    height, width = picture.shape[:2]
    size = _NUMBER * text_px(width)
    bar = (0.88 * width, height, 0.14 * width)  # about where the scale bar lies
    turns = np.radians(np.arange(225.0, 225.0 + 360.0, 45.0))
    for number, (x, y, radius) in enumerate(circles, start=1):
        places = np.array([x, y]) + (radius + size) * np.column_stack(
            [np.cos(turns), np.sin(turns)]
        )
        others = [*circles[: number - 1], *circles[number:], bar]
        room = [
            min(
                *(math.hypot(px - ox, py - oy) - away for ox, oy, away in others),
                *(px, py, width - px, height - py, 2.0 * size),
            )
            for px, py in places
        ]
        label(picture, f"#{number}", places[int(np.argmax(room))], larger=_NUMBER)


def _measure_line(
    picture: Picture, start: NDArray[np.int32], end: NDArray[np.int32], *, dashed: bool, pen: int
) -> None:
    """A line with cross strokes at its ends, light on a dark edge so that any ground shows it."""
    length = float(np.hypot(*(end - start)))
    dash = 14 * pen * 2**_SUBPIXEL_BITS
    count = max(1, round(length / dash / 2)) * 2 - 1 if dashed else 1
    cuts = np.linspace(0.0, 1.0, count + 1)
    pieces = [
        (start + a * (end - start), start + b * (end - start))
        for a, b in zip(cuts[::2], cuts[1::2], strict=True)
    ]
    normal = np.array([start[1] - end[1], end[0] - start[0]]) / length
    stroke = normal * 7 * pen * 2**_SUBPIXEL_BITS
    pieces += [(point - stroke, point + stroke) for point in (start, end)]
    for colour, width in ((BLACK, 3 * pen), (WHITE, pen)):
        for a, b in pieces:
            _line(picture, _whole(a), _whole(b), colour, width)


def _draw_scale_bar(
    picture: Picture, scale: Scale, zoom: int, pen: int, *, larger: float = 1.0
) -> None:
    height, width = picture.shape[:2]
    per_mm = scale.px_per_mm_x * zoom
    length_mm = _round_length(0.2 * width / per_mm)
    margin = 24 * pen
    start = np.array([width - margin - length_mm * per_mm, height - margin])
    end = np.array([width - margin, height - margin])
    for colour, edge in ((BLACK, 2 * pen), (WHITE, 0)):
        corner = np.array([edge, 2.5 * pen + edge])
        cv2.rectangle(picture, _whole(start - corner), _whole(end + corner), colour, -1)
    above = [0, 1.2 * larger * text_px(width)]
    label(picture, f"{length_mm:g} mm", (start + end) / 2 - above, larger=larger)


def _round_length(length_mm: float) -> float:
    """The largest of 1, 2 or 5 times a power of ten that is no longer."""
    power = 10.0 ** math.floor(math.log10(length_mm))
    return next(step * power for step in (5.0, 2.0, 1.0) if step * power <= length_mm)


def _line(
    picture: Picture, a: tuple[int, int], b: tuple[int, int], colour: Colour, width: int
) -> None:
    cv2.line(picture, a, b, colour, width, cv2.LINE_AA, _SUBPIXEL_BITS)


def _whole(point: NDArray[np.floating]) -> tuple[int, int]:
    x, y = np.rint(point).astype(int).tolist()
    return x, y
