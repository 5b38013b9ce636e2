"""From light to the file: blur, smear, fall-off, exposure, noise, tone curve, compression."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.simulate.scene import Camera

__all__ = ["blurred", "exposed", "picture"]

F32 = NDArray[np.float32]
Picture = NDArray[np.uint8] | NDArray[np.uint16]

_HOLD_BACK = 3.0  # see Camera.exposure


def blurred(light: F32, camera: Camera, *, oversample: int) -> F32:
    """Blur, smear and the area of the pixels: from fine samples to one value per pixel."""
    fine = light
    if camera.blur_px:
        fine = np.asarray(
            cv2.GaussianBlur(
                fine, (0, 0), camera.blur_px * oversample, borderType=cv2.BORDER_REPLICATE
            )
        )
    for kernel in (
        _disc(camera.defocus_px * oversample),
        _segment(camera.motion_px * oversample, camera.motion_deg),
    ):
        if kernel.size > 1:
            fine = np.asarray(
                cv2.filter2D(fine, cv2.CV_32F, kernel, borderType=cv2.BORDER_REPLICATE)
            )
    if oversample == 1:
        return fine
    size = (camera.width_px, camera.height_px)
    return np.asarray(cv2.resize(fine, size, interpolation=cv2.INTER_AREA), dtype=np.float32)


def _disc(radius: float) -> F32:
    """A disc of even weight with a soft border, its centre in the middle of the kernel."""
    n = math.ceil(radius + 0.5)
    if radius < 0.05:
        return np.ones((1, 1), dtype=np.float32)
    y, x = np.mgrid[-n : n + 1, -n : n + 1]
    k = np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0).astype(np.float32)
    return np.asarray(k / k.sum(), dtype=np.float32)


def _segment(length: float, angle_deg: float) -> F32:
    """A straight line of even weight, symmetrical about the middle of the kernel."""
    if length < 0.05:
        return np.ones((1, 1), dtype=np.float32)
    n = math.ceil(length / 2 + 1)
    t = (np.arange(8 * n) + 0.5) / (8 * n) - 0.5
    a = math.radians(angle_deg)
    x, y = t * length * math.cos(a) + n, t * length * math.sin(a) + n
    k = np.zeros((2 * n + 1, 2 * n + 1))
    x0, y0 = np.floor(x).astype(int), np.floor(y).astype(int)
    fx, fy = x - x0, y - y0
    for i, j, weight in (
        (0, 0, (1 - fx) * (1 - fy)),
        (1, 0, fx * (1 - fy)),
        (0, 1, (1 - fx) * fy),
        (1, 1, fx * fy),
    ):
        np.add.at(k, (y0 + j, x0 + i), weight)
    return np.asarray(k / k.sum(), dtype=np.float32)


def exposed(light: F32, camera: Camera, *, uneven: tuple[float, float] = (0.0, 0.0)) -> F32:
    """Uneven light, fall-off to the corners and stray light, then light in fractions of full scale.

    Parameters
    ----------
    light : ndarray, shape (height, width)
        One value per pixel, any unit.
    camera : Camera
        What takes the picture.
    uneven : tuple of 2 floats
        Relative rise of the light over half a diagonal along x and y.
    """
    y = (np.arange(camera.height_px, dtype=np.float32) - (camera.height_px - 1) / 2)[:, None]
    x = (np.arange(camera.width_px, dtype=np.float32) - (camera.width_px - 1) / 2)[None, :]
    half = math.hypot(camera.width_px, camera.height_px) / 2.0
    loss = (x * x + y * y) * np.float32(camera.vignetting / half**2)
    tilt = x * np.float32(uneven[0] / half) + y * np.float32(uneven[1] / half)
    out = light * ((np.float32(1.0) - loss) * (np.float32(1.0) + tilt))
    out = out + np.float32(camera.veil * float(out.mean()))
    middle, bright = np.quantile(out[::3, ::3], [0.5, 0.98])
    return np.asarray(
        out * np.float32(camera.exposure / max(middle, bright / _HOLD_BACK, 1e-12)),
        dtype=np.float32,
    )


def picture(exposure: F32, camera: Camera, *, rng: np.random.Generator) -> Picture:
    """The file's pixels: noise, clipping, tone, sharpening, rounding, compression."""
    variance = np.maximum(exposure, 0.0) * np.float32(1.0 / camera.full_well_e)
    variance += np.float32((camera.read_noise_e / camera.full_well_e) ** 2)
    noise = rng.standard_normal(exposure.shape, dtype=np.float32)
    noise *= np.sqrt(variance)
    noise += exposure
    coded = np.clip(noise, 0.0, 1.0, out=noise)
    if camera.tone == "srgb":
        coded = _srgb(coded)
    if camera.sharpening:
        soft = cv2.GaussianBlur(coded, (0, 0), 1.0)
        mask = coded - np.asarray(soft, dtype=np.float32)
        coded = np.clip(coded + np.float32(camera.sharpening) * mask, 0.0, 1.0)
    full = 2**camera.bits - 1
    whole = coded * np.float32(full) + np.float32(0.5)
    if camera.bits == 16:
        return whole.astype(np.uint16)
    grey = whole.astype(np.uint8)
    if camera.jpeg_quality is None:
        return grey
    _, data = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, camera.jpeg_quality])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_GRAYSCALE), dtype=np.uint8)


_SRGB_STEPS = 1 << 14


def _srgb(light: F32) -> F32:
    """Coded value of light in [0, 1]: IEC 61966-2-1, from a table with straight lines between."""
    x = np.linspace(0.0, 1.0, _SRGB_STEPS + 1)
    table = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055).astype(np.float32)
    place = light * np.float32(_SRGB_STEPS)
    low = np.minimum(place.astype(np.int32), _SRGB_STEPS - 1)
    base = table[low]
    return np.asarray(base + (table[low + 1] - base) * (place - low), dtype=np.float32)
