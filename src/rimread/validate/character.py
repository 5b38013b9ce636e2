"""What one photo says of the scope, the camera and the light it was taken with."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rimread.grain import BLOCK, block_means, grain_of
from rimread.photo import Photo, Tone, linear_light
from rimread.refusal import Refusal
from rimread.rim import Rim, find_rim
from rimread.rim.field import black_surround
from rimread.rim.profiles import NEAR_PX, guard_px
from rimread.rim.sampling import band_along
from rimread.simulate import Camera, Indent, Scene, simulate
from rimread.simulate.camera import picture

__all__ = ["Character", "Noise", "character_of", "noise_of"]

F32 = NDArray[np.float32]

_QUIETEST = 10
"""Per cent of the blocks of a grey level taken as free of texture."""
_LEVELS = 8
_LEAST_BLOCKS = 40
"""Blocks of a grey level that its quietest tenth is taken from."""
_UNCLIPPED = (0.02, 0.97)
_ROUNDS = 3
_MOST_FULL_WELL = 1e7
_QUIET = 1e-4
"""Noise below this part of full scale is not told from none."""
_LEAST_BLUR_PX = 0.3
_INDENT_MM = 3.0
_SIDE = 1.4
"""Side of a trial picture in diameters of its indent."""


@dataclass(frozen=True, slots=True)
class Noise:
    """Shot and read noise.

    Parameters
    ----------
    full_well_e, read_noise_e : float
        As in `rimread.simulate.Camera`: electrons at full scale, and read noise.
    """

    full_well_e: float
    read_noise_e: float

    def at(self, light: float) -> float:
        """Standard deviation at a light in fractions of full scale, in the same unit."""
        return math.sqrt(light / self.full_well_e + (self.read_noise_e / self.full_well_e) ** 2)


@dataclass(frozen=True, slots=True)
class Character:
    """Noise, blur and light of a photo, and what its file says.

    Parameters
    ----------
    noise : Noise
        Of the sensor, before tone curve and compression.
    exposure : float
        Median light in fractions of full scale, of the field of view.
    blur_px : float or None
        Standard deviation of the optics' blur; None when no rim was found to tell it.
    contrast, polarity : float or None
        Mean of ``|in - out| / (in + out)`` and of ``(in - out) / (in + out)`` round the rim, in
        light; None without a rim.
    tone, tone_stated, bits, jpeg_quality
        As in `rimread.photo.Photo`.
    refused : str
        Why no rim was found, empty when one was.
    """

    noise: Noise
    exposure: float
    blur_px: float | None
    contrast: float | None
    polarity: float | None
    tone: Tone
    tone_stated: bool
    bits: Literal[8, 16]
    jpeg_quality: int | None
    refused: str = ""


def character_of(photo: Photo, *, rng: np.random.Generator) -> Character:
    """Character of a photo of an indent.

    Parameters
    ----------
    photo : Photo
        Best of an indent as the lab takes them, so that its blur can be told too.
    rng : numpy.random.Generator
        For the trial pictures that noise and blur are compared with.
    """
    rim, hidden = find_rim(photo), black_surround(photo)
    few = (slice(None, None, 4), slice(None, None, 4))
    seen = photo.grey[few] if hidden is None else photo.grey[few][~hidden[few]]
    blur = contrast = polarity = None
    if isinstance(rim, Rim):
        blur = _blur_of(rim, rng)
        step = _steps(photo, rim)
        contrast, polarity = float(np.abs(step).mean()), float(step.mean())
    return Character(
        noise=noise_of(photo, rng=rng),
        exposure=float(np.median(linear_light(photo, seen))),
        blur_px=blur,
        contrast=contrast,
        polarity=polarity,
        tone=photo.tone,
        tone_stated=photo.tone_stated,
        bits=16 if photo.grey.dtype == np.uint16 else 8,
        jpeg_quality=photo.jpeg_quality,
        refused=rim.message if isinstance(rim, Refusal) else "",
    )


def noise_of(photo: Photo, *, rng: np.random.Generator) -> Noise:
    """Shot and read noise that would leave in the file what is found in it.

    Outside a round field of view nothing counts. Fine texture counts as noise; compression and
    rounding, which hide noise, are undone by sending simulated noise through them.

    Parameters
    ----------
    photo : Photo
    rng : numpy.random.Generator
        For the simulated noise.
    """
    hidden = black_surround(photo)
    grey = photo.grey if hidden is None else np.where(hidden, 0, photo.grey)  # 0 is not usable
    level, found = _by_level(np.asarray(grey, np.float32) / np.float32(photo.full_scale))
    light = np.asarray(linear_light(photo, level * photo.full_scale), np.float64)
    slope = np.gradient(
        linear_light(photo, np.linspace(0, photo.full_scale, 256)).astype(np.float64), 1 / 255
    )
    noise = _fitted(light, found * np.interp(level, np.linspace(0, 1, 256), slope))
    for _ in range(_ROUNDS):
        again = _as_filed(light, noise, photo, rng)
        ratio = float(np.exp(np.mean(np.log(np.maximum(found, _QUIET) / again))))
        noise = _louder(noise, min(max(ratio, 0.2), 5.0))
    return noise


def _steps(photo: Photo, rim: Rim) -> NDArray[np.floating]:
    """Contrast of the light across the rim, arc by arc, inside against outside."""
    guard = guard_px(rim.blur_px)
    band = band_along(photo, rim.ellipse, half_px=guard + NEAR_PX, arcs=60, rays=3)
    light = linear_light(photo, band.grey * photo.full_scale)
    inner, outer = (light[:, side].mean(axis=1) for side in (band.q_px < -guard, band.q_px > guard))
    return np.asarray((inner - outer) / np.maximum(inner + outer, 1e-6))


def _blur_of(rim: Rim, rng: np.random.Generator) -> float:
    """Blur of the optics that leaves in a simulated photo what was found in the photo.

    What is found at a rim has the pixels and the rounding of the edge in it. The median of the
    rounds: in one or the other the edge may be taken for a differently rounded one.
    """
    across = 2.0 * rim.ellipse.m
    side = math.ceil(_SIDE * across)
    scene = Scene(indents=(Indent(d1_mm=_INDENT_MM, d2_mm=_INDENT_MM),))
    blurs = [rim.blur_px]
    for _ in range(_ROUNDS):
        blur = blurs[-1]
        camera = Camera(width_px=side, height_px=side, px_per_mm=across / _INDENT_MM, blur_px=blur)
        again = find_rim(simulate(replace(scene, camera=camera), rng=rng).photo())
        if isinstance(again, Refusal):
            break
        blurs.append(max(blur + rim.blur_px - again.blur_px, _LEAST_BLUR_PX))
    return float(np.median(blurs[1:])) if len(blurs) > 1 else rim.blur_px


def _by_level(coded: F32) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Grey levels (N,) and the noise (N,) of the quietest blocks of each, fractions of full scale.

    Parameters
    ----------
    coded : ndarray, shape (height, width)
        Coded grey values in fractions of full scale.
    """
    level, noise = block_means(coded), block_means(grain_of(coded))
    usable = (level > _UNCLIPPED[0]) & (level < _UNCLIPPED[1])
    if not usable.any():
        usable = np.ones_like(usable)
    level, noise = level[usable], noise[usable]
    groups = max(min(_LEVELS, len(level) // _LEAST_BLOCKS), 1)
    parts = np.array_split(np.argsort(level), groups)
    return (
        np.array([level[part].mean() for part in parts]),
        np.array([np.percentile(noise[part], _QUIETEST) for part in parts]),
    )


def _fitted(light: NDArray[np.float64], noise: NDArray[np.float64]) -> Noise:
    """Variance = light / full well + read², neither negative, weighted relatively."""
    from scipy.optimize import nnls  # noqa: PLC0415  (kept out of start-up)

    variance = np.maximum(noise, _QUIET) ** 2
    rows = np.stack([light, np.ones_like(light)], axis=1) / variance[:, None]
    (shot, read), _ = nnls(rows, np.ones_like(light))
    full_well = 1.0 / max(float(shot), 1.0 / _MOST_FULL_WELL)
    return Noise(full_well_e=full_well, read_noise_e=math.sqrt(read) * full_well)


def _louder(noise: Noise, factor: float) -> Noise:
    """The same noise, its standard deviation times a factor."""
    full_well = min(noise.full_well_e / factor**2, _MOST_FULL_WELL)
    relative = noise.read_noise_e / noise.full_well_e * factor
    return Noise(full_well_e=full_well, read_noise_e=relative * full_well)


def _as_filed(
    light: NDArray[np.float64], noise: Noise, photo: Photo, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Noise (N,) found in flat pictures of each light that went the way of the photo's file."""
    side = BLOCK * 12 + 2
    camera = Camera(
        width_px=side,
        height_px=side,
        full_well_e=noise.full_well_e,
        read_noise_e=noise.read_noise_e,
        tone=photo.tone,
        bits=16 if photo.grey.dtype == np.uint16 else 8,
        jpeg_quality=photo.jpeg_quality,
    )
    found = []
    for value in light:
        # a slight slope, so that rounding to whole grey values is met in every phase
        flat = np.full((side, side), value, np.float32) * np.linspace(0.98, 1.02, side)
        coded = picture(flat.astype(np.float32), camera, rng=rng)
        _, seen = _by_level(coded.astype(np.float32) / np.float32(np.iinfo(coded.dtype).max))
        found.append(max(float(np.exp(np.log(np.maximum(seen, _QUIET)).mean())), _QUIET))
    return np.array(found)
