"""Grey values along the normals of an ellipse and along rays from a centre."""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo
from rimread.rim.ellipse import Ellipse

__all__ = ["Band", "Reduced", "band_along", "evened", "halved", "rays_from", "reduced"]

Array = NDArray[np.floating]

STRIP_ROWS = 64
"""Rows brought to floating point at a time: they stay in the cache."""

_HALVED: WeakKeyDictionary[Photo, dict[int, NDArray[np.floating]]] = WeakKeyDictionary()
"""Of each photo in use: how it looks halved once, twice and so on, as far as asked for."""


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


def halved(photo: Photo, times: int) -> NDArray[np.floating]:
    """A photo in fractions of full scale, area-averaged by 2 as often as asked.

    A rest of odd rows and columns is cut off. In floating point, so that 8 bits say the same as
    16; kept as long as the photo. Halving is many times faster than averaging by a fraction.
    """
    if times == 0:
        return _fractions(photo, photo.grey)
    kept = _HALVED.setdefault(photo, {})
    if times not in kept:
        kept[times] = _halved(halved(photo, times - 1)) if times > 1 else _halved_once(photo)
    return kept[times]


def _halved_once(photo: Photo) -> NDArray[np.floating]:
    half = np.empty((photo.height_px // 2, photo.width_px // 2), np.float32)
    for top in range(0, len(half), STRIP_ROWS // 2):
        strip = photo.grey[2 * top : 2 * top + STRIP_ROWS].astype(np.float32)
        half[top : top + STRIP_ROWS // 2] = _halved(strip)
    half /= np.float32(photo.full_scale)
    return half


def _halved(picture: NDArray[np.floating]) -> NDArray[np.floating]:
    height, width = picture.shape[0] // 2, picture.shape[1] // 2
    even = picture[: 2 * height, : 2 * width]
    return np.asarray(cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA))


def _fractions(photo: Photo, grey: NDArray[np.uint8] | NDArray[np.uint16]) -> NDArray[np.floating]:
    """Coded grey values in fractions of full scale: the same from 8 bits as from 16."""
    return grey.astype(np.float32) / np.float32(photo.full_scale)


def reduced(photo: Photo, ellipse: Ellipse, *, radius_px: float, reach: float) -> Reduced:
    """The part of a photo within `reach` radii of an ellipse, its radius brought to `radius_px`.

    By halving, so that the radius ends between 0.7 and 1.4 of that; never enlarged.
    """
    times = max(round(float(np.log2(ellipse.m / radius_px))), 0)
    factor = 2**times
    span = (reach * ellipse.m) / factor + 1
    left, right = _clipped_span(ellipse.x / factor, span, photo.width_px // factor)
    top, bottom = _clipped_span(ellipse.y / factor, span, photo.height_px // factor)
    if times == 0:
        part = _fractions(photo, photo.grey[top:bottom, left:right])
    else:
        part = np.ascontiguousarray(halved(photo, times)[top:bottom, left:right])
    return Reduced(grey=part, factor=float(factor), left_px=left * factor, top_px=top * factor)


def _clipped_span(middle: float, half: float, size: int) -> tuple[int, int]:
    low = int(np.clip(np.floor(middle - half), 0, size - 2))
    return low, int(np.clip(np.ceil(middle + half) + 1, low + 2, size))


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


def band_along(photo: Photo, ellipse: Ellipse, *, half_px: float, arcs: int, rays: int) -> Band:
    """Sample `rays` normals in each of `arcs` arcs over ±`half_px`, a pixel apart, bilinear."""
    t = (np.arange(arcs * rays) + 0.5) * (2 * np.pi / (arcs * rays))
    q = np.arange(-round(half_px), round(half_px) + 1, dtype=float)
    foot, normal = ellipse.points(t), ellipse.normals(t)
    grey, inside = _sample(photo.grey, foot, normal, q, full=photo.full_scale)
    if rays > 1:
        t = t.reshape(arcs, rays).mean(axis=1)
        grey = grey.reshape(arcs, rays, -1).mean(axis=1)
        inside = np.asarray(inside.reshape(arcs, rays, -1).all(axis=1))
    return Band(t=t, q_px=q, grey=grey, inside=inside)


def seen_along(
    picture: NDArray[np.uint8] | NDArray[np.uint16],
    ellipse: Ellipse,
    q_px: NDArray[np.floating],
    *,
    arcs: int,
    points: int = 1,
    smaller: int = 1,
) -> NDArray[np.float32]:
    """What a picture, in colour or not, shows along the outward normals of an ellipse.

    Parameters
    ----------
    picture : ndarray, shape (H, W) or (H, W, 3)
        Made `smaller` than the one the ellipse lies in.
    ellipse : Ellipse
        In px of the picture of full size.
    q_px : ndarray, shape (Q,)
        Distances along the normals, positive outside.
    arcs, points : int
        How many arcs there are, and each the mean of how many points.
    smaller : int
        How many times.

    Returns
    -------
    ndarray, shape (arcs, Q) or (arcs, Q, 3), float32
        Bilinear, to a thirty-second of a pixel.
    """
    t = np.linspace(0, 2 * np.pi, arcs * points, endpoint=False)
    places = ellipse.points(t)[:, None] + q_px[:, None] * ellipse.normals(t)[:, None]
    x, y = np.moveaxis((places + 0.5) / smaller - 0.5, 2, 0).astype(np.float32)
    shown = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    means = shown.reshape(arcs, points, *shown.shape[1:]).mean(axis=1, dtype=np.float32)
    return np.asarray(means)


def rays_from(
    picture: NDArray[np.generic],
    ellipse: Ellipse,
    t: NDArray[np.floating],
    u: NDArray[np.floating],
) -> tuple[NDArray[np.floating], NDArray[np.bool_]]:
    """Values (A, U) at ``centre + u (p(t) - centre)`` (u = 1 on the ellipse); which are inside."""
    centre = np.array([[ellipse.x, ellipse.y]])
    return _sample(picture, centre, ellipse.points(t) - centre, u)


def _sample(
    picture: NDArray[np.generic],
    start: NDArray[np.floating],
    way: NDArray[np.floating],
    u: NDArray[np.floating],
    *,
    full: float = 1.0,
) -> tuple[NDArray[np.floating], NDArray[np.bool_]]:
    """Bilinear values (A, U) over `full` at ``start + u way``, and which lie inside.

    Those outside are the values of the border. By hand: libraries round the values of
    whole-numbered pictures or take three times as long.
    """
    height, width = picture.shape
    lines = np.empty((2, len(way), 2))
    lines[..., 0], lines[..., 1] = start.T, way.T
    x, y = lines @ np.stack([np.ones_like(u), u])
    inside = (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1)
    if not inside.all():
        x, y = np.clip(x, 0, width - 1), np.clip(y, 0, height - 1)
    column, row = np.floor(x), np.floor(y)
    right, down = (x - column).astype(np.float32), (y - row).astype(np.float32)
    row *= width
    row += column
    corner = row.astype(np.intp)
    flat = picture.reshape(-1)
    here, beside, below, across = (  # past the last row and column comes what counts nothing
        _parts(flat[step:].take(corner, mode="clip"), full) for step in (0, 1, width, width + 1)
    )
    above, under = _between(here, beside, right), _between(below, across, right)
    return _between(above, under, down), np.asarray(inside)


def _parts(values: NDArray[np.generic], full: float) -> Array:
    """Values over `full`, written over them where they are floating point already."""
    parts = values.astype(np.float32, copy=False)
    if full != 1:
        parts /= np.float32(full)
    return parts


def _between(one: Array, other: Array, share: Array) -> Array:
    """Values at shares of the way from one to the other, written over the other."""
    other -= one
    other *= share
    other += one
    return other
