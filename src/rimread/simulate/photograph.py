"""A simulated photo of Brinell indents together with the truth about them."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo
from rimread.scale.model import Scale
from rimread.simulate.camera import blurred, exposed, picture
from rimread.simulate.finish import skin
from rimread.simulate.glow import glow
from rimread.simulate.radiance import View, radiance
from rimread.simulate.relief import scale_of, tilt_matrix
from rimread.simulate.scene import Indent, Scene

__all__ = ["Simulated", "Truth", "simulate", "truth_of"]

F32 = NDArray[np.float32]

_OUTLINE_POINTS = 360


@dataclass(frozen=True, slots=True)
class Truth:
    """What a perfect reader of the contact boundary would report.

    Parameters
    ----------
    d1_mm, d2_mm : float
        Major and minor axis on the specimen.
    width_mm, height_mm : float
        Caliper widths along x and y of the specimen plane.
    centre_x_px, centre_y_px, axis1_px, axis2_px, angle_deg : float
        The ellipse as it lies in the picture, after distortion and tilt.
    """

    d1_mm: float
    d2_mm: float
    width_mm: float
    height_mm: float
    centre_x_px: float
    centre_y_px: float
    axis1_px: float
    axis2_px: float
    angle_deg: float

    @property
    def mean_mm(self) -> float:
        """Mean of the two diameters."""
        return (self.d1_mm + self.d2_mm) / 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Simulated:
    """The picture, what made it and the truth.

    Parameters
    ----------
    picture : ndarray, shape (height, width), uint8 or uint16
        Coded grey values, as a reader of the file would get them.
    truth : tuple of Truth
        One per indent of the scene, in its order.
    scene : Scene
        What was simulated.
    """

    picture: NDArray[np.uint8] | NDArray[np.uint16]
    truth: tuple[Truth, ...]
    scene: Scene

    @property
    def scale(self) -> Scale:
        """The exact scale of the photo."""
        return scale_of(self.scene.camera)

    def photo(self, name: str = "simulated") -> Photo:
        """The picture as the reader's input."""
        camera = self.scene.camera
        return Photo(
            grey=self.picture,
            tone=camera.tone,
            name=name,
            sha256=hashlib.sha256(self.picture.tobytes()).hexdigest(),
            jpeg_quality=camera.jpeg_quality,
            tone_stated=True,
        )


def simulate(scene: Scene, *, rng: np.random.Generator, oversample: int = 2) -> Simulated:
    """Photograph a scene.

    The light is sampled `oversample` times per pixel along each axis, four times finer still at
    the contact boundary where the slope breaks, then blurred and averaged over the pixels.
    Interreflection is left out; cast shadows are those of a lamp over the boundary of the first
    bowl.

    Parameters
    ----------
    scene : Scene
        What to photograph.
    rng : numpy.random.Generator
        Texture, scratches, stains and noise come from here; the same state gives the same picture.
    oversample : int
        1 is the fastest, 2 keeps the edge of a sharp picture true to a few thousandths of a pixel.

    Raises
    ------
    ValueError
        If `oversample` is not 1 to 4.
    """
    if not 1 <= oversample <= 4:
        raise ValueError(f"oversample is 1 to 4, got {oversample!r}")
    cover = skin(scene, rng=rng)
    fine = radiance(View(scene, glow(scene), oversample), cover)
    light = blurred(fine, scene.camera, oversample=oversample)
    light = _glinting(light, scene, rng)
    lamp, towards = scene.light, math.radians(scene.light.azimuth_deg)
    uneven = (lamp.gradient * math.cos(towards), lamp.gradient * math.sin(towards))
    exposure = exposed(light, scene.camera, uneven=uneven)
    return Simulated(
        picture=picture(exposure, scene.camera, rng=rng),
        truth=tuple(truth_of(scene, indent) for indent in scene.indents),
        scene=scene,
    )


def truth_of(scene: Scene, indent: Indent) -> Truth:
    """The truth about one indent of a scene."""
    a, b, turn = indent.d1_mm / 2, indent.d2_mm / 2, math.radians(indent.angle_deg)
    c, s = math.cos(turn), math.sin(turn)
    t = np.arange(_OUTLINE_POINTS) * (2.0 * math.pi / _OUTLINE_POINTS)
    x = indent.x_mm + a * np.cos(t) * c - b * np.sin(t) * s
    y = indent.y_mm + a * np.cos(t) * s + b * np.sin(t) * c
    seen = scale_of(scene.camera).px_from_mm(
        np.stack([x, y], axis=-1) @ tilt_matrix(scene.surface).T
    )
    centre, axes, angle = _ellipse(seen)
    return Truth(
        d1_mm=indent.d1_mm,
        d2_mm=indent.d2_mm,
        width_mm=2.0 * math.hypot(a * c, b * s),
        height_mm=2.0 * math.hypot(a * s, b * c),
        centre_x_px=float(centre[0]),
        centre_y_px=float(centre[1]),
        axis1_px=2.0 * float(axes[0]),
        axis2_px=2.0 * float(axes[1]),
        angle_deg=angle,
    )


def _ellipse(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Centre, semi-axes (major first) and angle of the conic closest to a closed outline."""
    middle, size = points.mean(axis=0), points.std()
    x, y = ((points - middle) / size).T
    (a, b, c, d, e), *_ = np.linalg.lstsq(
        np.stack([x * x, x * y, y * y, x, y], axis=-1), np.ones_like(x), rcond=None
    )
    form = np.array([[a, b / 2.0], [b / 2.0, c]])
    centre = np.linalg.solve(form, [-d / 2.0, -e / 2.0])
    curvature, directions = np.linalg.eigh(form)  # the flatter direction, the major axis, first
    axes = np.sqrt((1.0 + centre @ form @ centre) / curvature)
    angle = math.degrees(math.atan2(directions[1, 0], directions[0, 0])) % 180.0
    return middle + size * centre, size * axes, angle


def _glinting(light: F32, scene: Scene, rng: np.random.Generator) -> F32:
    """Small facets that happen to mirror the lamp, on the finished light of the pixels."""
    surface, camera = scene.surface, scene.camera
    if not surface.glints:
        return light
    spots = np.zeros_like(light)
    x = rng.integers(0, camera.width_px, surface.glints)
    y = rng.integers(0, camera.height_px, surface.glints)
    spots[y, x] = rng.exponential(50.0 * float(np.median(light)), surface.glints)
    return light + np.asarray(
        cv2.GaussianBlur(spots, (0, 0), 1.2 * max(camera.blur_px, 0.6)), dtype=np.float32
    )
