"""Overlays as files: each under a name of its own, none written over what is not its own."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from rimread import whole
from rimread.photo import DAMAGED

__all__ = ["name_key", "save_overlay"]

_JPEG = (
    *(cv2.IMWRITE_JPEG_QUALITY, 92),
    *(cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444),  # thin lines
)


def name_key(path: Path) -> str:
    """The same for names that some systems take for one, as in capital and in small letters."""
    return str(path.resolve()).casefold()


def save_overlay(
    picture: NDArray[np.uint8], folder: Path, photo: Path, taken: set[str], *, sha256: str
) -> Path:
    """Write an overlay as JPEG under a name of its own and return where.

    Parameters
    ----------
    picture : ndarray
        What `rimread.report.overlay.overlay` drew.
    folder : Path
        Made when it is missing.
    photo : Path
        The photo; ``weld.jpg`` becomes ``weld-rim.jpg``, and ``weld-rim-2.jpg`` where the first is
        the overlay of another photo, or no overlay.
    taken : set of str
        Names that must not be written, as `name_key` gives them, the photos of the call among them;
        the new one is added.
    sha256 : str
        Hash of the photo: its own overlay of an earlier call is written over.

    Raises
    ------
    OSError
        If the folder or file cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    mark = f"overlay of {sha256}".encode("ascii")
    number, target = 1, (folder / f"{photo.stem}-rim.jpg").resolve()
    while name_key(target) in taken or (target.exists() and _comment(target) != mark):
        number += 1
        target = target.with_name(f"{photo.stem}-rim-{number}.jpg")
    taken.add(name_key(target))
    _, data = cv2.imencode(".jpg", picture, _JPEG)
    whole.write(target, _commented(data.tobytes(), mark))
    return target


def _commented(jpeg: bytes, comment: bytes) -> bytes:
    """A JPEG file with a comment behind its first segment, JFIF's (ITU-T T.81, B.2.4.5)."""
    at = 4 + int.from_bytes(jpeg[4:6], "big")
    segment = b"\xff\xfe" + (2 + len(comment)).to_bytes(2, "big") + comment
    return jpeg[:at] + segment + jpeg[at:]


def _comment(path: Path) -> bytes | None:
    """Comment of a picture file, None where it has none or is none."""
    try:
        with Image.open(path) as image:
            found = image.info.get("comment")
    except DAMAGED:
        return None
    return found if isinstance(found, bytes) else None
