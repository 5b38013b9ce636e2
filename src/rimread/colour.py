"""The colours of a picture, decoded again when they are asked for.

A rim is read in grey values. The colours tell what those hide: lines that a program has drawn, and
light of one colour, which clips in its channel long before the luma does, or is dark in the luma
though its channel is well exposed.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, get_args

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile, get_sampling

from rimread.photo import FORMATS, Channel, Photo, as_stored, orientation

if TYPE_CHECKING:
    from cv2.typing import MatLike

__all__ = ["half_size_colour", "in_channel"]

_Colours = NDArray[np.uint8] | NDArray[np.uint16]
_FULL = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
_HALF = cv2.IMREAD_REDUCED_COLOR_2 | cv2.IMREAD_IGNORE_ORIENTATION


def half_size_colour(photo: Photo) -> NDArray[np.uint8] | None:
    """A picture in colour at half its size, None of one without colour.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    ndarray, shape (about height / 2, width / 2, 3), uint8, or None
        Blue, green, red; 16 bits are scaled so that full light is 255.
    """
    if photo.coded is None:
        return None
    colour: MatLike = _decoded(photo, photo.coded, _HALF)
    if len(colour) == photo.height_px:
        colour = cv2.resize(colour, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    if photo.grey.dtype != np.uint8:
        colour = cv2.convertScaleAbs(colour, alpha=255.0 / photo.full_scale)
    return np.asarray(colour, np.uint8)


def in_channel(photo: Photo, channel: Channel | None) -> Photo:
    """A photo whose grey values are one of its colours.

    Most JPEG files hold their colours at half the luma's size. A channel is made of both, and where
    another one clips, what the luma has of that shows through at edges: such a file is taken at
    half its size, where both agree, and enlarged again.

    Parameters
    ----------
    photo : Photo
        One with colour.
    channel : {"blue", "green", "red"} or None
        Which; None leaves the photo as it is.

    Raises
    ------
    ValueError
        If the photo has no colour, or there is no such channel.
    """
    if channel is None:
        return photo
    if photo.coded is None or channel not in get_args(Channel):
        raise ValueError(f"a channel of a photo in colour is asked for (got {channel!r})")
    if _coarse_colours(photo.coded):
        half = np.asarray(_decoded(photo, photo.coded, _HALF), np.uint8)
        twice = np.asarray(cv2.resize(half, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR))
        colour = twice[: photo.height_px, : photo.width_px]
    else:
        colour = _decoded(photo, photo.coded, _FULL)
    one = colour[..., get_args(Channel).index(channel)]
    if photo.grey.dtype == np.uint16:
        return replace(photo, grey=np.ascontiguousarray(one, np.uint16), channel=channel)
    return replace(photo, grey=np.ascontiguousarray(one, np.uint8), channel=channel)


@contextmanager
def _opened(data: bytes) -> Iterator[Image.Image]:
    """A file that was judged when it was read: no more warnings."""
    with (
        warnings.catch_warnings(action="ignore"),
        Image.open(io.BytesIO(data), formats=FORMATS) as image,
    ):
        yield image


def _coarse_colours(data: bytes) -> bool:
    """Whether a file is a JPEG whose colours have fewer pixels than its luma."""
    with _opened(data) as image:
        return isinstance(image, JpegImageFile) and image.mode == "RGB" and get_sampling(image) != 0


def _decoded(photo: Photo, data: bytes, flags: int) -> _Colours:
    """Blue, green and red as the sensor wrote them; half as large where a JPEG is asked for that.

    Of a JPEG half the size costs half the time; other files have no such short way.
    """
    with _opened(data) as image:
        if image.format in {"JPEG", "MPO"} and image.mode == "RGB":
            return np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), flags), np.uint8)
        turned = orientation(image) if image.format == "TIFF" else 1
        if photo.grey.dtype == np.uint8:
            return as_stored(np.asarray(image.convert("RGB"))[..., ::-1], turned)
    deep = np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), _FULL), np.uint16)
    return as_stored(deep, turned)
