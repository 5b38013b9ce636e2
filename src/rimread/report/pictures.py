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
from rimread.reading import Reading, measure_photo
from rimread.report.blocks import Picture
from rimread.report.certificate import file_name
from rimread.report.overlay import overlay
from rimread.report.results import Result
from rimread.scale.model import Scale

__all__ = ["pictures_from_files", "pictures_from_photos"]

_WIDTH_PX: Final = 1100  # 85 mm of paper at 330 dots per inch
_QUALITY: Final = 85
_MOST_BYTES: Final = 60_000_000
_OTHER_SHARE: Final = 0.1  # of U; a mean further off is another reading and is not drawn


def pictures_from_photos(
    results: Iterable[Result], scales: Sequence[Scale], folder: Path | None
) -> tuple[Picture, ...]:
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
    tuple of Picture
        One for each measured photo. Where the photo is not found, is not the one that was
        measured, or gives another mean now, there is no picture and the caption says why.
    """
    by_hash = {scale.sha256: scale for scale in scales}
    measured = [result for result in results if result.indent is not None]
    return tuple(_remade(i, result, by_hash, folder) for i, result in enumerate(measured))


def pictures_from_files(results: Iterable[Result], folder: Path) -> tuple[Picture, ...]:
    """Pictures that ``rimread measure --overlay`` wrote.

    Parameters
    ----------
    results : iterable of Result
        Refused ones are passed over.
    folder : Path
        Where they lie, ``indent-rim.jpg`` for the photo ``indent.jpg``.
    """
    measured = [result for result in results if result.indent is not None]
    return tuple(_given(i, result, folder) for i, result in enumerate(measured))


def _remade(i: int, result: Result, scales: Mapping[str, Scale], folder: Path | None) -> Picture:
    caption = _caption(i, result)
    scale = scales.get(result.scale_sha256)
    if scale is None:
        return Picture(f"{caption}. No picture: its scale file is not at hand.", None)
    path = _found(result, folder)
    if path is None:
        return Picture(
            f"{caption}. No picture: the photo with this hash was not found.", None
        )  # fmt: skip
    try:
        photo = read_photo(path)
    except PhotoError as error:
        return Picture(f"{caption}. No picture: {error}.", None)
    return _drawn(caption, result, photo, scale)


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


def _drawn(caption: str, result: Result, photo: Photo, scale: Scale) -> Picture:
    assert result.indent is not None  # noqa: S101  (measured)
    assert result.test is not None  # noqa: S101  (measured)
    again = measure_photo(photo, scale, result.test)
    if not isinstance(again, Reading):
        return Picture(
            f"{caption}. No picture: measured again it is refused: {again.message}", None
        )
    off_mm = abs(again.diameters.mean_mm - result.indent.mean_mm)
    if off_mm > _OTHER_SHARE * again.diameters.budget.U:
        return Picture(
            f"{caption}. No picture: measured again with rimread {again.version} the mean is "
            f"{again.diameters.mean_mm:.4f} mm.",
            None,
        )
    if off_mm > 1e-6:
        caption += f". Drawn by rimread {again.version}, mean {again.diameters.mean_mm:.4f} mm"
    return _reduced(overlay(photo, again.rim, again.diameters, scale, ()), f"{caption}.")


def _given(i: int, result: Result, folder: Path) -> Picture:
    caption = _caption(i, result)
    path = folder / f"{Path(file_name(result.photo)).stem}-rim.jpg"
    if not path.is_file():
        return Picture(f"{caption}. No picture: {path.name} was not found.", None)
    data = path.read_bytes() if path.stat().st_size <= _MOST_BYTES else b""
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR) if data else None
    if pixels is None:
        return Picture(f"{caption}. No picture: {path.name} is no picture.", None)
    drawn = np.asarray(pixels, np.uint8)
    return _reduced(drawn, f"{caption}. Given as {path.name}, not proved to be of this photo.")


def _caption(i: int, result: Result) -> str:
    assert result.indent is not None  # noqa: S101  (measured)
    value = ""
    if result.hardness is not None and result.test is not None:
        value = f", {designation(result.hardness.hbw, result.test)}"
    return f"{i + 1}: {file_name(result.photo)}, mean d {result.indent.mean_mm:.3f} mm{value}"


def _reduced(picture: NDArray[np.uint8], caption: str) -> Picture:
    height, width = picture.shape[:2]
    if width > _WIDTH_PX:
        size = (_WIDTH_PX, max(1, round(height * _WIDTH_PX / width)))
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    _, data = cv2.imencode(".jpg", picture, (cv2.IMWRITE_JPEG_QUALITY, _QUALITY))
    return Picture(caption, data.tobytes(), picture.shape[1], picture.shape[0])
