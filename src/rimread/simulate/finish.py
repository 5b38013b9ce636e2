"""Texture of the specimen: ground, milled, blasted, polished; scratches, stains, glints.

All fields have the size of the picture, one value per pixel; the shading reads between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.simulate.scene import Indent, Scene, Surface

__all__ = ["Skin", "skin"]

F32 = NDArray[np.float32]

_RESOLVED_PX = 0.7  # finer texture than this the camera cannot see; it belongs to alpha


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """Fields of one specimen, shape (height, width), float32; None where there is nothing.

    Parameters
    ----------
    gx, gy : ndarray or None
        Slopes of the texture the ball has pressed on.
    scratch_gx, scratch_gy : ndarray or None
        Slopes of scratches made after the test.
    stain : ndarray or None
        Share of light that stains leave.
    grain : ndarray or None
        Relative scatter of the light from patches of the bowl.
    """

    gx: F32 | None
    gy: F32 | None
    scratch_gx: F32 | None
    scratch_gy: F32 | None
    stain: F32 | None
    grain: F32 | None


def skin(scene: Scene, *, rng: np.random.Generator) -> Skin:
    """Draw the texture, the scratches and the stains of a scene."""
    surface, camera = scene.surface, scene.camera
    gx = gy = sx = sy = stain = grain = None
    if surface.finish_um:
        height = _texture(scene, rng)
        for indent in scene.indents:
            height = _stretched(height, indent, scene)
        gx, gy = _slopes(height, camera.px_per_mm)
    if surface.scratches:
        sx, sy = _slopes(_scratches(scene, rng), camera.px_per_mm)
    if surface.stains:
        stain = _stains(scene, rng)
    if surface.bowl_grain and scene.indents:
        grain = _grain(scene, rng)
    return Skin(gx, gy, sx, sy, stain, grain)


def _slopes(height_mm: F32, px_per_mm: float) -> tuple[F32, F32]:
    k = np.array([[-0.5, 0.0, 0.5]], dtype=np.float32) * np.float32(px_per_mm)
    gx = cv2.filter2D(height_mm, cv2.CV_32F, k, borderType=cv2.BORDER_REFLECT_101)
    gy = cv2.filter2D(height_mm, cv2.CV_32F, k.T.copy(), borderType=cv2.BORDER_REFLECT_101)
    return np.asarray(gx, dtype=np.float32), np.asarray(gy, dtype=np.float32)


def _texture(scene: Scene, rng: np.random.Generator) -> F32:
    """Heights in mm with the root mean square the surface asks for."""
    surface, camera = scene.surface, scene.camera
    h, w = camera.height_px, camera.width_px
    rows, cols = cv2.getOptimalDFTSize(h), cv2.getOptimalDFTSize(w + w % 2)
    white = np.fft.rfft2(rng.standard_normal((rows, cols), dtype=np.float32))
    fy = np.fft.fftfreq(rows).astype(np.float32)[:, None]
    fx = np.fft.rfftfreq(cols).astype(np.float32)[None, :]
    k2 = (fx * fx + fy * fy) * np.float32((2.0 * math.pi * _RESOLVED_PX) ** 2)
    filtered = white * (_spectrum(surface, fx, fy, camera.px_per_mm) * np.exp(-k2 / 2))
    height = np.fft.irfft2(filtered, s=(rows, cols))[:h, :w].astype(np.float32)
    if surface.finish == "milled":
        height = 0.25 * height / height.std() + _feed_marks(scene, rng)
    return np.asarray(height * (1e-3 * surface.finish_um / height.std()), dtype=np.float32)


def _spectrum(surface: Surface, fx: F32, fy: F32, px_per_mm: float) -> F32:
    """Amplitude over frequency (cycles per px); lengths in mm are invented but plausible."""
    c, s = math.cos(math.radians(surface.lay_deg)), math.sin(math.radians(surface.lay_deg))
    unit = np.float32(2.0 * math.pi * px_per_mm * surface.coarse)  # radians per mm, coarse 1
    along, across = (fx * c + fy * s) * unit, (fy * c - fx * s) * unit
    if surface.finish == "ground":
        return _falling(across * 0.02, 0.7) * _falling(along * 1.2, 1.0)
    if surface.finish == "milled":
        return _falling(across * 0.05, 1.0) * _falling(along * 0.2, 1.0)
    if surface.finish == "blasted":
        k2 = (along * along + across * across) * np.float32(0.03**2)
        return np.asarray(k2 * np.exp(-k2), dtype=np.float32)
    cross = _falling(across * 0.03, 1.0) * _falling(along * 0.4, 1.0)
    return cross + _falling(along * 0.03, 1.0) * _falling(across * 0.4, 1.0)


def _falling(x: F32, power: float) -> F32:
    return np.asarray((1.0 + x * x) ** np.float32(-power), dtype=np.float32)


def _feed_marks(scene: Scene, rng: np.random.Generator) -> F32:
    """Arcs of a face mill: cusps a feed apart around a far centre, unevenly high; rms 1."""
    camera, lay = scene.camera, math.radians(scene.surface.lay_deg)
    radius = rng.uniform(15.0, 40.0)
    feed = rng.uniform(0.08, 0.3) * scene.surface.coarse
    y, x = np.ogrid[: camera.height_px, : camera.width_px]
    x_mm = ((x - camera.width_px / 2) / camera.px_per_mm).astype(np.float32)
    y_mm = ((y - camera.height_px / 2) / camera.px_per_mm).astype(np.float32)
    reach = np.hypot(x_mm + radius * math.sin(lay), y_mm - radius * math.cos(lay))
    # one tooth after another leaves its own cusp: the profile is drawn once over the reach
    fine = np.arange(float(reach.min()) - feed, float(reach.max()) + feed, feed / 24)
    tooth = np.floor(fine / feed).astype(np.int64)
    tooth -= tooth.min()
    high = 1.0 + 0.35 * rng.standard_normal(int(tooth.max()) + 1)
    profile = high[tooth] * (2.0 * np.mod(fine / feed, 1.0) - 1.0) ** 2
    marks = np.interp(reach.ravel(), fine, profile).reshape(reach.shape)
    return np.asarray((marks - marks.mean()) / marks.std(), dtype=np.float32)


def _stretched(height: F32, indent: Indent, scene: Scene) -> F32:
    """The texture carried outwards in the bowl, nothing moved at the centre and the boundary."""
    if not indent.stretch:
        return height
    camera = scene.camera
    x0 = (camera.width_px - 1) / 2 + indent.x_mm * camera.px_per_mm
    y0 = (camera.height_px - 1) / 2 + indent.y_mm * camera.px_per_mm * camera.aspect
    radius = indent.mean_mm / 2 * camera.px_per_mm
    dx = (np.arange(camera.width_px, dtype=np.float32) - np.float32(x0))[None, :]
    dy = (np.arange(camera.height_px, dtype=np.float32) - np.float32(y0))[:, None]
    rho2 = np.minimum((dx * dx + dy * dy) / np.float32(radius * radius), np.float32(1.0))
    keep = np.float32(1.0) - np.float32(indent.stretch) * (np.float32(1.0) - rho2)
    return np.asarray(
        cv2.remap(
            height,
            np.float32(x0) + dx * keep,
            np.float32(y0) + dy * keep,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REFLECT_101,
        ),
        dtype=np.float32,
    )


def _grain(scene: Scene, rng: np.random.Generator) -> F32:
    white = rng.standard_normal((scene.camera.height_px, scene.camera.width_px), dtype=np.float32)
    patches = np.asarray(cv2.GaussianBlur(white, (0, 0), _RESOLVED_PX), dtype=np.float32)
    share = np.float32(scene.surface.bowl_grain / float(patches.std()))
    return np.asarray(np.maximum(patches * share, -0.9), dtype=np.float32)


def _scratches(scene: Scene, rng: np.random.Generator) -> F32:
    """Heights in mm of straight grooves, 2 to 15 µm wide at slopes of 0.05 to 0.3."""
    camera = scene.camera
    h, w = camera.height_px, camera.width_px
    total = np.zeros((h, w), dtype=np.float32)
    for _ in range(scene.surface.scratches):
        middle = rng.uniform([0, 0], [w, h])
        turn, length = rng.uniform(0, math.pi), rng.uniform(0.3, 2.0) * math.hypot(w, h)
        half = length / 2 * np.array([math.cos(turn), math.sin(turn)])
        ends = [np.round(16 * (middle + sign * half)).astype(int).tolist() for sign in (-1, 1)]
        width_px = max(rng.uniform(0.002, 0.015) * camera.px_per_mm, 1.0)
        line = np.zeros((h, w), dtype=np.uint8)
        cv2.line(line, ends[0], ends[1], 255, max(round(width_px), 1), cv2.LINE_AA, 4)
        soft = cv2.GaussianBlur(line, (0, 0), 0.4 * width_px + 0.4).astype(np.float32)
        depth_mm = rng.uniform(0.05, 0.3) * width_px / camera.px_per_mm / 2
        total -= soft * np.float32(depth_mm / 255.0)
    return total


def _stains(scene: Scene, rng: np.random.Generator) -> F32:
    """Share of light left: patches of blotches with a soft outline."""
    camera = scene.camera
    h, w = camera.height_px, camera.width_px
    small = (max(h // 4, 8), max(w // 4, 8))
    size_px, hardness = w * rng.uniform(0.0015, 0.005), rng.uniform(0.6, 3.0)
    blotch = np.asarray(
        cv2.GaussianBlur(rng.standard_normal(small, dtype=np.float32), (0, 0), size_px),
        dtype=np.float32,
    )
    blotch = blotch / blotch.std()
    y, x = np.mgrid[: small[0], : small[1]].astype(np.float32)
    left = np.ones(small, dtype=np.float32)
    for _ in range(scene.surface.stains):
        cy, cx = rng.uniform([0, 0], small)
        r = rng.uniform(0.04, 0.14) * small[1]
        loss = rng.uniform(0.15, 0.6)
        far = np.hypot(x - np.float32(cx), y - np.float32(cy)) / np.float32(r)
        edge = np.float32(2.0) * (np.float32(1.0) - far) + blotch
        left *= np.float32(1.0) - np.float32(loss / 2) * (
            np.float32(1.0) + np.tanh(np.float32(hardness) * edge)
        )
    return np.asarray(cv2.resize(left, (w, h), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
