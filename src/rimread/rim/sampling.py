"""Grey values along the normals of an ellipse and along rays from a centre."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from rimread.photo import Photo
from rimread.rim.ellipse import Ellipse

__all__ = ["Band", "Reduced", "band_along", "evened", "halved", "rays_from", "reduced"]


@dataclass(frozen=True, slots=True, eq=False)
class Reduced:
    """A cutting of a photo, area-averaged by a factor.

    Parameters
    ----------
    grey : ndarray, shape (h, w), float32
        Coded grey values in fractions of full scale.
    factor : float
        Full pixels per reduced pixel.
    left_px, top_px : int
        Corner of the cutting in the full photo.
    """

    grey: NDArray[np.floating]
    factor: float
    left_px: int
    top_px: int

    def shrink(self, ellipse: Ellipse) -> Ellipse:
        """An ellipse of the full photo in reduced pixels."""
        k = 1.0 / self.factor
        return Ellipse(
            x=(ellipse.x - self.left_px + 0.5) * k - 0.5,
            y=(ellipse.y - self.top_px + 0.5) * k - 0.5,
            m=ellipse.m * k,
            e=ellipse.e * k,
            f=ellipse.f * k,
        )

    def grow(self, ellipse: Ellipse) -> Ellipse:
        """An ellipse in reduced pixels as one of the full photo."""
        k = self.factor
        return Ellipse(
            x=(ellipse.x + 0.5) * k - 0.5 + self.left_px,
            y=(ellipse.y + 0.5) * k - 0.5 + self.top_px,
            m=ellipse.m * k,
            e=ellipse.e * k,
            f=ellipse.f * k,
        )


def evened(photo: Photo, grey: NDArray[np.floating]) -> NDArray[np.floating]:
    """Grey values in fractions of full scale so coded that texture looks alike at any brightness.

    The sRGB code comes near that and is left as it is; linear light is given it.
    """
    if photo.tone == "srgb":
        return grey
    return np.asarray(1.055 * np.maximum(grey, 0.0031308) ** (1 / 2.4) - 0.055, np.float32)


def halved(grey: NDArray[Any], times: int) -> NDArray[Any]:
    """A picture area-averaged by 2 as often as asked; a rest of odd rows and columns is cut off.

    Halving is many times faster than averaging by a fraction.
    """
    for _ in range(times):
        height, width = grey.shape[0] // 2, grey.shape[1] // 2
        grey = cv2.resize(
            grey[: 2 * height, : 2 * width], (width, height), interpolation=cv2.INTER_AREA
        )
    return grey


def reduced(photo: Photo, ellipse: Ellipse, *, radius_px: float, reach: float) -> Reduced:
    """The part of a photo within `reach` radii of an ellipse, its radius brought to `radius_px`.

    By halving, so that the radius ends between 0.7 and 1.4 of that; never enlarged.
    """
    times = max(round(float(np.log2(ellipse.m / radius_px))), 0)
    span = reach * ellipse.m + 2**times
    left, right = _clipped_span(ellipse.x, span, photo.width_px)
    top, bottom = _clipped_span(ellipse.y, span, photo.height_px)
    small = halved(photo.grey[top:bottom, left:right], times)
    return Reduced(
        grey=np.asarray(small, np.float32) / np.float32(photo.full_scale),
        factor=float(2**times),
        left_px=left,
        top_px=top,
    )


def _clipped_span(middle: float, half: float, size: int) -> tuple[int, int]:
    low = int(np.clip(np.floor(middle - half), 0, size - 2))
    return low, int(np.clip(np.ceil(middle + half), low + 2, size))


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """Grey values along outward normals, averaged over short arcs.

    Parameters
    ----------
    t : ndarray, shape (A,)
        Ellipse parameter at the middle of each arc, radians.
    q_px : ndarray, shape (Q,)
        Distance along the normal, positive outside.
    grey : ndarray, shape (A, Q), float32
        Coded grey values in fractions of full scale.
    inside : ndarray, shape (A, Q), bool
        Whether the sample lies in the picture.
    """

    t: NDArray[np.floating]
    q_px: NDArray[np.floating]
    grey: NDArray[np.floating]
    inside: NDArray[np.bool_]


def band_along(
    photo: Photo, ellipse: Ellipse, *, half_px: float, arcs: int, rays: int, step_px: float = 1.0
) -> Band:
    """Sample `rays` normals in each of `arcs` arcs over ±`half_px`, bilinear."""
    t = (np.arange(arcs * rays) + 0.5) * (2 * np.pi / (arcs * rays))
    q = np.arange(-round(half_px / step_px), round(half_px / step_px) + 1) * step_px
    foot, normal = ellipse.points(t), ellipse.normals(t)
    x = foot[:, :1] + q * normal[:, :1]
    y = foot[:, 1:] + q * normal[:, 1:]
    grey, inside = _sample(photo.grey, x, y)
    return Band(
        t=t.reshape(arcs, rays).mean(axis=1),
        q_px=q,
        grey=grey.reshape(arcs, rays, -1).mean(axis=1) / np.float32(photo.full_scale),
        inside=np.asarray(inside.reshape(arcs, rays, -1).all(axis=1)),
    )


def rays_from(
    picture: NDArray[np.generic],
    ellipse: Ellipse,
    t: NDArray[np.floating],
    u: NDArray[np.floating],
) -> tuple[NDArray[np.floating], NDArray[np.bool_]]:
    """Values (A, U) at ``centre + u (p(t) - centre)`` (u = 1 on the ellipse); which are inside."""
    reach = ellipse.points(t) - [ellipse.x, ellipse.y]
    return _sample(picture, ellipse.x + reach[:, :1] * u, ellipse.y + reach[:, 1:] * u)


def _sample(
    picture: NDArray[np.generic], x: NDArray[np.floating], y: NDArray[np.floating]
) -> tuple[NDArray[np.floating], NDArray[np.bool_]]:
    inside = (x >= 0) & (y >= 0) & (x <= picture.shape[1] - 1) & (y <= picture.shape[0] - 1)
    values = map_coordinates(picture, [y, x], output=np.float32, order=1, mode="nearest")
    return values, inside
