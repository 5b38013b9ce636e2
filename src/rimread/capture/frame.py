"""One frame of a camera and the photo it stands for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo

__all__ = ["Frame", "photo_of"]

Picture = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A picture as the camera gave it.

    Parameters
    ----------
    picture : ndarray, shape (height, width) or (height, width, 3), uint8 or uint16
        Grey, or blue, green, red.
    taken_at : datetime.datetime
        When it arrived, with its time zone.
    number : int
        Counted from 1 since the camera was opened.
    """

    picture: Picture
    taken_at: datetime
    number: int

    @property
    def width_px(self) -> int:
        """Width in pixels."""
        return int(self.picture.shape[1])

    @property
    def height_px(self) -> int:
        """Height in pixels."""
        return int(self.picture.shape[0])

    @property
    def grey(self) -> Picture:
        """Luma (ITU-R BT.601), shape (height, width), as `rimread.photo` takes it from a file."""
        if self.picture.ndim == 2:
            return self.picture
        return np.asarray(cv2.cvtColor(self.picture, cv2.COLOR_BGR2GRAY))  # type: ignore[return-value]


def photo_of(frame: Frame, *, name: str = "live") -> Photo:
    """Take a frame as a photo that was never written and so has no hash.

    Parameters
    ----------
    frame : Frame
        Cameras that OpenCV opens hand out pictures meant for a screen: the tone is taken as sRGB.
    name : str
        Name of the photo.
    """
    grey = frame.grey
    return Photo(
        grey=grey if grey.flags.c_contiguous else grey.copy(),
        tone="srgb",
        name=name,
        sha256="",
    )
