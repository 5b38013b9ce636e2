"""Pictures for a report: the rim drawn anew over the very photo that was measured."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.hardness import designation
from rimread.photo import Photo, PhotoError, read_photo
from rimread.reading import Reading, measure_all, measure_photo
from rimread.refusal import Refusal
from rimread.report.blocks import Picture
from rimread.report.overlay import close_up
from rimread.report.results import Result, file_name
from rimread.scale.model import Scale

__all__ = ["pictures_from_files", "pictures_from_photos"]

_WIDTH_PX: Final = 1100  # 85 mm of paper at 330 dots per inch
_QUALITY: Final = 85
_MOST_BYTES: Final = 60_000_000
_SAME_MM: Final = 1e-6
_OTHER_SHARE: Final = 0.1  # of U; a mean further off is another reading and is not drawn

_Known = dict[tuple[str, str, str], tuple[Reading | Refusal, ...] | Refusal]
"""All indents of a photo, by the hashes of photo and scale and the test."""


def pictures_from_photos(
    results: Iterable[Result], scales: Sequence[Scale], folder: Path | None
) -> tuple[Picture | Refusal, ...]:
    """Pictures of measured photos, made by measuring them again.

    Parameters
    ----------
    results : iterable of Result
        Refused ones are passed over.
    scales : sequence of Scale
        The scale files of the results.
    folder : Path or None
        Where the photos lie; also tried is where each lay when it was measured.

    Returns
    -------
    tuple of Picture or Refusal
        One for each measured photo; refused with ``by-hand``, ``no-scale``, ``no-photo`` (none
        with its hash was found), ``unreadable``, ``other-mean`` (measured again it gives another).
    """
    by_hash = {scale.sha256: scale for scale in scales}
    measured = [result for result in results if result.indent is not None]
    known: _Known = {}
    return tuple(_remade(i, result, by_hash, folder, known) for i, result in enumerate(measured))


def pictures_from_files(results: Iterable[Result], folder: Path) -> tuple[Picture | Refusal, ...]:
    """Pictures that ``rimread measure --overlay`` wrote.

    Parameters
    ----------
    results : iterable of Result
        Refused ones are passed over.
    folder : Path
        Where they lie, ``indent-rim.jpg`` for the photo ``indent.jpg``.

    Returns
    -------
    tuple of Picture or Refusal
        One for each measured photo; refused with ``no-picture``, as are those of several photos of
        one name: which picture is whose is not known.
    """
    results = list(results)
    photos: dict[str, set[str]] = {}
    for result in results:
        photos.setdefault(_stem(result), set()).add(result.sha256)
    measured = [result for result in results if result.indent is not None]
    return tuple(
        _given(i, result, folder)
        if len(photos[_stem(result)]) == 1
        else Refusal("no-picture", f"several photos are called {_stem(result)}")
        for i, result in enumerate(measured)
    )


def _remade(
    i: int, result: Result, scales: Mapping[str, Scale], folder: Path | None, known: _Known
) -> Picture | Refusal:
    if result.by_hand is not None:
        return Refusal("by-hand", "its rim was set by a person and is not the program's")
    scale = scales.get(result.scale_sha256)
    if scale is None:
        return Refusal("no-scale", "the scale file is not at hand: give it with --scale")
    path = _found(result, folder)
    if path is None:
        return Refusal("no-photo", "no photo with this hash was found")
    try:
        photo = read_photo(path, tone=result.tone)
    except PhotoError as error:
        return Refusal("unreadable", str(error))
    return _drawn(_caption(i, result), result, photo, scale, known)


def _found(result: Result, folder: Path | None) -> Path | None:
    """The photo, proved by its hash: first in the folder, then where it lay."""
    places = [] if folder is None else [folder / file_name(result.photo), folder / result.photo]
    for path in (*places, Path(result.photo)):
        try:
            if not path.is_file() or path.stat().st_size > _MOST_BYTES:
                continue
            with path.open("rb") as file:
                same = hashlib.file_digest(file, "sha256").hexdigest() == result.sha256
        except (OSError, ValueError):  # a name that this system cannot have
            continue
        if same:
            return path
    return None


def _drawn(
    caption: str, result: Result, photo: Photo, scale: Scale, known: _Known
) -> Picture | Refusal:
    assert result.indent is not None  # noqa: S101  (measured)
    again = _measured_again(result, photo, scale, known)
    if not isinstance(again, Reading):
        return Refusal("other-mean", f"measured again it is refused ({again.code})")
    mean_mm = again.diameters.mean_mm
    off_mm = abs(mean_mm - result.indent.mean_mm)
    if off_mm > _OTHER_SHARE * again.diameters.budget.U:
        return Refusal(
            "other-mean",
            f"measured again with rimread {again.version} the mean is {mean_mm:.4f} mm "
            f"and not {result.indent.mean_mm:.4f} mm",
        )
    if off_mm > _SAME_MM:
        caption += f"; drawn by rimread {again.version}, mean {mean_mm:.4f} mm"
    return _reduced(close_up(photo, again.rim, again.diameters, scale), caption)


def _measured_again(result: Result, photo: Photo, scale: Scale, known: _Known) -> Reading | Refusal:
    """The reading of a photo, or of one of its indents; all of them are measured once."""
    assert result.test is not None  # noqa: S101  (measured)
    if not result.number:
        return measure_photo(photo, scale, result.test)
    key = (photo.sha256, scale.sha256, result.test.name)
    if key not in known:
        known[key] = measure_all(photo, scale, result.test)
    every = known[key]
    if isinstance(every, Refusal):
        return every
    if result.number > len(every):
        return Refusal("no-indent", f"it shows {len(every)} indents and this was {result.number}")
    return every[result.number - 1]


def _given(i: int, result: Result, folder: Path) -> Picture | Refusal:
    path = folder / f"{_stem(result)}-rim.jpg"
    try:
        if not path.is_file() or path.stat().st_size > _MOST_BYTES:
            return Refusal("no-picture", f"{path.name} was not found or is too large")
        data = np.frombuffer(path.read_bytes(), np.uint8)
    except OSError as error:
        return Refusal("no-picture", f"{path.name} cannot be read ({error.strerror})")
    pixels = cv2.imdecode(data, cv2.IMREAD_COLOR) if data.size else None
    if pixels is None:
        return Refusal("no-picture", f"{path.name} is no picture")
    caption = f"{_caption(i, result)}; given as {path.name}, not proved to be of this photo"
    return _reduced(np.asarray(pixels, np.uint8), caption)


def _stem(result: Result) -> str:
    return Path(file_name(result.photo)).stem


def _caption(i: int, result: Result) -> str:
    assert result.indent is not None  # noqa: S101  (measured)
    value = ""
    if result.hardness is not None and result.test is not None:
        value = f", {designation(result.hardness.hbw, result.test)}"
    return f"{i + 1}: {file_name(result.name)}, mean d {result.indent.mean_mm:.3f} mm{value}"


def _reduced(picture: NDArray[np.uint8], caption: str) -> Picture:
    height, width = picture.shape[:2]
    if width > _WIDTH_PX:
        size = (_WIDTH_PX, max(1, round(height * _WIDTH_PX / width)))
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    _, data = cv2.imencode(".jpg", picture, (cv2.IMWRITE_JPEG_QUALITY, _QUALITY))
    return Picture(caption, data.tobytes(), picture.shape[1], picture.shape[0])
