"""Where an indent may be: rings whose grey-value gradients point at, or away from, one centre.

The photo is reduced to a small picture, slow changes of light are taken off it, and its gradient
field is turned into the double-angle field ``w exp(2iφ)`` (φ the gradient's direction, w a
saturating weight between 0 and 1). Against a ring of radius r that field is correlated with
``exp(-2iθ)`` (θ the direction from the ring's centre): a gradient along the radius counts +1
whichever way it points, one across the radius -1, texture averages to nothing. Doubling the angle
makes lit and shaded sides of a bowl agree (Granlund & Knutsson 1995, ch. 5, from memory); that the
sum over a ring finds circles of any contrast is the Hough transform with gradient direction
(Atherton & Kerbyson 1999, doi 10.1016/S0262-8856(98)00160-7).

A ring with ``exp(2iθ)`` along it, as wide as a Gaussian of σ and of unit sum, has at the frequency
of size k and direction ψ the spectrum ``-J2(k r) exp(-σ²k²/2) exp(2iψ)`` (a Hankel transform;
Bracewell 2000, from memory). So the field is turned by 2ψ once, and each radius takes one real
factor. Large rings are wide enough to be looked for in the field at half the size.

Where the metal's own grains break the light as sharply as the rim does, its texture still tells the
two apart: the ball presses the finish smooth and spreads the grains. There the logarithm of the
local contrast takes the place of the light, and as it changes the same way all round, the gradients
themselves that of the double angles: a ring with ``exp(iθ)`` along it has the spectrum
``-i J1(k r) exp(-σ²k²/2) exp(iψ)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import jv

from rimread.photo import Photo
from rimread.rim.sampling import evened, halved

__all__ = ["Seed", "ring_seeds", "texture_seeds"]

COARSE_PX = 144
"""Longer side of the reduced picture: a rim of 1/10 of it still covers 18 px."""
SMALLEST_RADIUS_COARSE_PX = 3.5
"""Below this a ring has fewer than 22 pixels and texture imitates it."""
LARGEST = 0.55
"""Largest radius in shorter sides: just more than the picture can hold."""
RING_WIDTH, LEAST_RING_WIDTH_PX = 0.05, 0.7
"""Standard deviation of a ring's radial weight in radii: an oval of 10 % still fits; and at least
in reduced pixels."""
RADIUS_STEP = 1.35
"""Neighbouring radii lie this many standard deviations apart, so that rings overlap."""
HALVED_RADIUS_COARSE_PX = 20.0
"""Rings from this radius on are looked for in the halved field: they are 2 of its pixels wide."""
HALVING_VARIANCE = 0.25
"""Variance that averaging over two pixels adds to a width, (4 - 1) / 12."""
GRADIENT_SIGMA_PX = 1.0
"""Smoothing before the gradient, in reduced pixels."""
SLOW_PX = 7.0
"""Slower changes than those of a Gaussian this wide, in reduced pixels, are taken off first: the
glow of a bowl outshines its rim. Own choice, like `AROUND_PX`: of the few tried, the pair with
which most first seeds of simulated photos lay on the rim."""
AROUND_PX = 5
"""Side of the square whose gradients a gradient is held against, in reduced pixels: an edge and a
little more, so that the edge of a stain counts no more than a faint rim."""
SAME_CENTRE = 0.5
"""Rings whose centres lie within this many radii, and"""
SAME_RADIUS = 1.3
"""whose radii are within this ratio, are one ring."""
BORDER = 0.25
"""How far a ring's centre may lie outside the picture, in reduced half-widths (cut indents)."""

TEXTURE_PX = 640
"""Shorter than twice this is the longer side of the picture whose texture is looked at: its grains
are several pixels, and noise is averaged out;"""
TEXTURE_SIGMA_PX = 1.5
"""what a Gaussian this wide leaves of it is texture,"""
PATCH_PX = 1.5
"""averaged over patches as wide, in reduced pixels: over grains and what lies between them."""
LEAST_TEXTURE = 1e-4
"""Less of it, in fractions of full scale, is none: it is that of an even picture in 16 bits. Own
choice, all four: of 124 simulated rims that grains hid these find 80, patches half and twice as
wide 73 and 70."""

_BACK = cv2.DFT_INVERSE | cv2.DFT_REAL_OUTPUT | cv2.DFT_SCALE

Array = NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class Seed:
    """A ring that may be a rim.

    Parameters
    ----------
    x_px, y_px, radius_px : float
        Centre and radius in the full picture.
    alignment : float
        Mean over the ring of the weight times cos 2(φ-θ), times the root of its length, which
        chance alignment falls with.
    """

    x_px: float
    y_px: float
    radius_px: float
    alignment: float


def ring_seeds(photo: Photo, *, most: int = 6) -> tuple[Seed, ...]:
    """Rings by falling alignment, at most `most`, no two nearly the same."""
    small, reduction = _reduced(photo)
    fast = small - cv2.GaussianBlur(small, (0, 0), SLOW_PX)
    return _seeds(_double_angle(fast), reduction, most, order=2)


def texture_seeds(photo: Photo, *, most: int = 6) -> tuple[Seed, ...]:
    """The same where the texture changes, as it does where the ball has pressed it smooth.

    Their alignment is of the gradients themselves and of either sign.
    """
    small, reduction = _reduced(photo)
    return _seeds(_directions(_contrast(photo, small.shape)), reduction, most, order=1)


def _seeds(field: Array, reduction: float, most: int, *, order: int) -> tuple[Seed, ...]:
    """The highest rings of a field, shape (2, H, W), of gradients or of their double angles."""
    radii = _radii(LARGEST * min(field.shape[1:]))
    in_full = radii < HALVED_RADIUS_COARSE_PX
    maps = _maps(field, radii[in_full], pixel=1, order=order)
    maps += _maps(_halved(field), radii[~in_full], pixel=2, order=order)
    return tuple(
        Seed(
            x_px=(x + 0.5) * reduction - 0.5,
            y_px=(y + 0.5) * reduction - 0.5,
            radius_px=r * reduction,
            alignment=value,
        )
        for x, y, r, value in _peaks(maps, most)
    )


def _reduced(photo: Photo) -> tuple[Array, float]:
    """The picture area-averaged to `COARSE_PX`, and full pixels per reduced pixel."""
    reduction = max(1.0, max(photo.grey.shape) / COARSE_PX)
    size = (round(photo.width_px / reduction), round(photo.height_px / reduction))
    small = cv2.resize(_halved_towards(photo, COARSE_PX), size, interpolation=cv2.INTER_AREA)
    return evened(photo, np.asarray(small)), reduction


def _halved_towards(photo: Photo, longer_px: int) -> Array:
    """The picture halved as often as leaves its longer side at least so long."""
    return halved(photo, max(int(np.log2(max(photo.grey.shape) / longer_px)), 0))


def _contrast(photo: Photo, shape: tuple[int, ...]) -> Array:
    """Logarithm of the local contrast in a reduced picture of some shape (H, W)."""
    part = evened(photo, _halved_towards(photo, TEXTURE_PX))
    texture = np.abs(part - cv2.GaussianBlur(part, (0, 0), TEXTURE_SIGMA_PX))
    small = cv2.resize(texture, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    local = cv2.GaussianBlur(small, (0, 0), PATCH_PX)
    return np.asarray(np.log(np.maximum(local, LEAST_TEXTURE)), np.float32)


def _double_angle(fast: Array) -> Array:
    """Cos 2φ and sin 2φ, shape (2, H, W), weighted by how far a gradient stands out."""
    gx, gy, power = _gradients(fast)
    local, usual = _around(power)
    stands_out = np.maximum(power - local, 0) / (power + local + usual)
    w = stands_out / (power + np.float32(1e-12))
    return np.stack([(gx * gx - gy * gy) * w, 2 * gx * gy * w])


def _directions(contrast: Array) -> Array:
    """Cos φ and sin φ, shape (2, H, W), weighted by how strong a gradient is beside others."""
    gx, gy, power = _gradients(contrast)
    local, usual = _around(power)
    w = np.sqrt(power) / (power + local + usual)
    return np.stack([gx * w, gy * w])


def _gradients(picture: Array) -> Array:
    """Gradient along x and y and its power, shape (3, H, W)."""
    smooth = cv2.GaussianBlur(picture, (0, 0), GRADIENT_SIGMA_PX)
    gx = cv2.Scharr(smooth, cv2.CV_32F, 1, 0, borderType=cv2.BORDER_REPLICATE)
    gy = cv2.Scharr(smooth, cv2.CV_32F, 0, 1, borderType=cv2.BORDER_REPLICATE)
    return np.stack([gx, gy, gx * gx + gy * gy])


def _around(power: Array) -> tuple[Array, np.float32]:
    """Mean power of gradients in a square about each place, and the usual one of the picture."""
    local = cv2.boxFilter(power, -1, (AROUND_PX, AROUND_PX), borderType=cv2.BORDER_REFLECT)
    return np.asarray(local), np.float32(np.median(power)) + np.float32(1e-9)


def _halved(field: Array) -> Array:
    """Both components area-averaged by two; an odd last row or column is completed by itself."""
    height, width = field.shape[1:]
    even = np.pad(field, ((0, 0), (0, height % 2), (0, width % 2)), mode="edge")
    size = ((width + 1) // 2, (height + 1) // 2)
    return np.stack([cv2.resize(part, size, interpolation=cv2.INTER_AREA) for part in even])


def _radii(largest: float) -> Array:
    radii = [SMALLEST_RADIUS_COARSE_PX]
    while radii[-1] <= largest:
        radii.append(radii[-1] + RADIUS_STEP * _ring_width(radii[-1]))
    return np.array(radii[:-1])


def _ring_width(radius: float) -> float:
    return max(LEAST_RING_WIDTH_PX, RING_WIDTH * radius)


@dataclass(frozen=True, slots=True, eq=False)
class _Map:
    """Alignment of rings of one radius about every centre in and just outside the picture.

    Lengths in reduced pixels; `x`, shape (W,), and `y`, shape (H,), are the centres. `highest` is
    the largest alignment.
    """

    radius: float
    x: Array
    y: Array
    alignment: Array
    highest: float


def _maps(field: Array, radii: Array, *, pixel: int, order: int) -> list[_Map]:
    """The map of each radius, from a field with `pixel` reduced pixels to the pixel.

    Of double angles (`order` 2), or of directions (1), which may all point either way.
    """
    if not len(radii):
        return []
    height, width = field.shape[1:]
    pad = int(BORDER * min(height, width) / 2)
    turn, rings, shape = _spectra(height, width, pad, pixel, tuple(radii), order=order)
    padded = np.zeros((2, *shape), np.float32)
    padded[:, pad : pad + height, pad : pad + width] = field
    turned = np.sum(
        [cv2.mulSpectrums(cv2.dft(part), of, 0) for part, of in zip(padded, turn, strict=True)],
        axis=0,
    )
    x, y = ((np.arange(n + 2 * pad) - pad + 0.5) * pixel - 0.5 for n in (width, height))
    maps = []
    alignments = np.empty((len(radii), len(y), len(x)), np.float32)
    for r, ring, one in zip(radii, rings, alignments, strict=True):  # each stays in the cache
        one[:] = cv2.dft(turned * ring, flags=_BACK)[: len(y), : len(x)]
        if order == 1:
            np.abs(one, out=one)
        maps.append(_Map(float(r), x, y, alignment=one, highest=float(one.max())))
    return maps


@lru_cache(maxsize=8)
def _spectra(
    height: int, width: int, pad: int, pixel: int, radii: tuple[float, ...], *, order: int
) -> tuple[Array, Array, tuple[int, int]]:
    """Direction of each frequency (2, ...), spectrum of each ring (R, ...), padded shape.

    Of `order` 2 its double angle, a real spectrum; of 1 the angle, an imaginary one.

    Real factors for OpenCV's packed spectra: a quarter less time than with scipy's complex ones.
    """
    reach = int(np.ceil((radii[-1] + 3 * _ring_width(radii[-1])) / pixel))
    rows, columns = (cv2.getOptimalDFTSize(n + pad + reach) for n in (height, width))
    down, along = _packed_frequencies(rows, columns)
    ky, kx = 2 * np.pi * down / rows, 2 * np.pi * along / columns
    turned = ((kx + 1j * ky) / np.maximum(np.hypot(kx, ky), 1e-9)) ** order
    turn = np.where(_imaginary(rows, columns) == (order == 1), [turned.real, turned.imag], 0)
    steps = (np.arange(n // 2 + 1) * (2 * np.pi / n) for n in (rows, columns))
    k = np.hypot(*np.meshgrid(*steps, indexing="ij"))
    rings = np.empty((len(radii), rows, columns), np.float32)
    for i, r in enumerate(radii):
        variance = (_ring_width(r) ** 2 - HALVING_VARIANCE * (pixel - 1)) / pixel**2
        blurred = -jv(order, k * r / pixel) * np.exp(-0.5 * variance * k * k)
        rings[i] = np.sqrt(2 * np.pi * r) * blurred[np.abs(down), along]
    return np.asarray(turn, np.float32), rings, (rows, columns)


def _packed_frequencies(rows: int, columns: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Periods in the height and in the width of each value of OpenCV's packed spectrum.

    Real and imaginary parts lie side by side in a row, but below each other in the columns where
    there is no period in the width or (of an even one) the most: those are packed like one row.
    """
    packed = (np.arange(rows) + 1) // 2
    signed = np.rint(np.fft.fftfreq(rows, 1 / rows)).astype(np.intp)
    down = np.repeat(signed[:, None], columns, axis=1)
    down[:, 0] = packed
    if columns % 2 == 0:
        down[:, -1] = packed
    along = np.broadcast_to((np.arange(columns) + 1) // 2, down.shape)
    return down, along


def _imaginary(rows: int, columns: int) -> NDArray[np.bool_]:
    """Which values of OpenCV's packed spectrum are imaginary parts."""
    packed, out = (
        np.broadcast_to((n % 2 == 0) & (n > 0), (rows, columns)).copy()
        for n in (np.arange(rows)[:, None], np.arange(columns))
    )
    out[:, 0] = packed[:, 0]
    if columns % 2 == 0:
        out[:, -1] = packed[:, 0]
    return out


def _peaks(maps: list[_Map], most: int) -> list[tuple[float, float, float, float]]:
    """The highest (x, y, radius, value); rings that share centre and radius count once.

    What is found is struck from another map only when that map comes to be the highest.
    """
    highest = np.array([one.highest for one in maps])
    radii = np.array([one.radius for one in maps])
    to_strike: list[list[tuple[float, float, float]]] = [[] for _ in maps]
    found: list[tuple[float, float, float, float]] = []
    while maps and len(found) < most:
        i = int(highest.argmax())
        best, value = maps[i], float(highest[i])
        if value <= 0:
            break
        if to_strike[i]:
            while to_strike[i]:
                _strike(best, *to_strike[i].pop())
            highest[i] = best.alignment.max()
            continue
        x, y = _top(best)
        found.append((x, y, best.radius, value))
        for alike in np.flatnonzero(np.abs(np.log(radii / best.radius)) < np.log(SAME_RADIUS)):
            to_strike[alike].append((x, y, SAME_CENTRE * best.radius))
    return found


def _strike(one: _Map, x: float, y: float, reach: float) -> None:
    """Leave the centres within `reach` of a place out of a map."""
    columns = slice(*np.searchsorted(one.x, (x - reach, x + reach)))
    rows = slice(*np.searchsorted(one.y, (y - reach, y + reach)))
    near = (one.x[columns] - x) ** 2 + (one.y[rows, None] - y) ** 2 < reach**2
    one.alignment[rows, columns][near] = -1


def _top(one: _Map) -> tuple[float, float]:
    """Where a map is highest, between its pixels by a parabola each way."""
    a = one.alignment
    row, column = (int(i) for i in np.unravel_index(int(a.argmax()), a.shape))
    pixel = float(one.x[1] - one.x[0])
    x = float(one.x[column]) + pixel * _vertex(a[row, max(column - 1, 0) : column + 2])
    y = float(one.y[row]) + pixel * _vertex(a[max(row - 1, 0) : row + 2, column])
    return x, y


def _vertex(three: Array) -> float:
    """Place of the vertex from the middle one of three values, the largest; 0 at a border."""
    if len(three) < 3:
        return 0.0
    before, here, after = (float(v) for v in three)
    return 0.5 * (after - before) / max(2 * here - before - after, 1e-9)
