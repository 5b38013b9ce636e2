"""Slopes of the surface: crater, ridge, form of the specimen; and where each pixel looks."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rimread.scale.model import Scale
from rimread.simulate.scene import Camera, Indent, Scene, Surface

__all__ = ["Ground", "Sight", "cylinder_ovality", "ground", "scale_of", "tilt_matrix"]

F32 = NDArray[np.float32]

_UNDISTORT_DEGREE = 9  # |k1| <= 0.2 is followed to 1e-5 of the radius, |k1| <= 0.05 to 1e-9
_WAVE_STEPS = 7201  # of a turn, in a table; the 60th harmonic is followed to 4e-4 of itself
_TINY = np.float32(1e-9)  # keeps the centre from dividing by zero


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Slopes at some points of the specimen, before texture.

    Parameters
    ----------
    gx, gy : ndarray of float32
        Slope of the height along x and y.
    inside : ndarray of float32
        Share of bowl: 1 inside a contact boundary, 0 outside, ½ on it.
    texture : ndarray of float32
        Share of the texture that is left.
    distance_mm : ndarray of float32
        To the nearest contact boundary, negative inside.
    """

    gx: F32
    gy: F32
    inside: F32
    texture: F32
    distance_mm: F32


def scale_of(camera: Camera) -> Scale:
    """The exact scale of a simulated camera, as the reader would be given it."""
    return Scale(
        px_per_mm_x=camera.px_per_mm,
        px_per_mm_y=camera.px_per_mm * camera.aspect,
        k1_half_diagonal=camera.k1_half_diagonal,
        # Known exactly: what is left is the rounding of float64, told as a few 1e-9.
        covariance=(
            ((1e-9 * camera.px_per_mm) ** 2, 0.0, 0.0),
            (0.0, (1e-9 * camera.px_per_mm) ** 2, 0.0),
            (0.0, 0.0, 1e-18),
        ),
        dof=math.inf,
        width_px=camera.width_px,
        height_px=camera.height_px,
        label="simulated",
        calibrated_on=date(2000, 1, 1),
        valid_until=date(9999, 12, 31),
        certificate=None,
        photos=(),
    )


def cylinder_ovality(*, bowl_radius_mm: float, cylinder_mm: float) -> float:
    """Width of an indent across a cylinder over its length along the axis.

    A sphere of radius R cut with a cylinder of radius C, both to second order: the section is an
    ellipse with axes in the ratio (1 + R/C) ** -½ (plain geometry, own derivation).
    """
    return 1.0 / math.sqrt(1.0 + bowl_radius_mm / cylinder_mm)


def tilt_matrix(surface: Surface) -> NDArray[np.float64]:
    """What a distant camera sees of the tilted specimen plane: shorter by cos(tilt) along it."""
    t = math.radians(surface.tilt_toward_deg)
    along = np.array([math.cos(t), math.sin(t)])
    shortening = 1.0 - math.cos(math.radians(surface.tilt_deg))
    return np.asarray(np.eye(2) - shortening * np.outer(along, along))


class Sight:
    """From picture coordinates to the specimen, fast: the inverse of `Scale.px_from_mm`.

    Parameters
    ----------
    scene : Scene
        Its camera and the tilt of its surface count.
    """

    def __init__(self, scene: Scene) -> None:
        camera = scene.camera
        self._scale = np.array([camera.px_per_mm, camera.px_per_mm * camera.aspect])
        self._centre = np.array([(camera.width_px - 1) / 2.0, (camera.height_px - 1) / 2.0])
        self._half_diagonal = math.hypot(camera.width_px, camera.height_px) / 2.0
        self._untilt = np.linalg.inv(tilt_matrix(scene.surface))
        self._shrink = _undistort_polynomial(camera)

    def mm(self, x_px: NDArray[np.float64], y_px: NDArray[np.float64]) -> tuple[F32, F32]:
        """Specimen coordinates, mm from the optical centre; x and y broadcast together."""
        vx, vy = x_px - self._centre[0], y_px - self._centre[1]
        r2 = ((vx / self._half_diagonal) ** 2 + (vy / self._half_diagonal) ** 2).astype(np.float32)
        s = np.full_like(r2, self._shrink[-1])
        for c in self._shrink[-2::-1]:
            s *= r2
            s += np.float32(c)
        x = (vx / self._scale[0]).astype(np.float32) * s
        y = (vy / self._scale[1]).astype(np.float32) * s
        m = self._untilt.astype(np.float32)
        if m[0, 1] == 0 and m[0, 0] == m[1, 1] == 1:
            return x, y
        return m[0, 0] * x + m[0, 1] * y, m[1, 0] * x + m[1, 1] * y


def _undistort_polynomial(camera: Camera) -> NDArray[np.float64]:
    """Coefficients of undistorted over picture radius as a polynomial of r² in half diagonals."""
    if camera.k1_half_diagonal == 0:
        return np.ones(1)
    r2 = np.linspace(0.0, 1.02, 200)
    s = np.ones_like(r2)
    for _ in range(20):  # s (1 + k1 r² s²) = 1 by Newton's method
        t = camera.k1_half_diagonal * r2 * s * s
        s -= (s * (1.0 + t) - 1.0) / (1.0 + 3.0 * t)
    fit = np.polynomial.Chebyshev.fit(r2, s, _UNDISTORT_DEGREE).convert(
        kind=np.polynomial.Polynomial
    )
    return np.asarray(fit.coef, dtype=np.float64)


def ground(scene: Scene, x_mm: F32, y_mm: F32) -> Ground:
    """Slopes of the specimen at points of its plane; float32 arrays of one shape."""
    gx, gy = _form(scene.surface, x_mm, y_mm)
    outside = np.ones_like(x_mm)
    texture = np.ones_like(x_mm)
    distance = np.full_like(x_mm, np.float32(1e6))
    for indent in scene.indents:
        if _far(indent, y_mm):
            continue
        bowl, ridge, w, signed = _crater(indent, x_mm, y_mm)
        keep = np.float32(1.0) - w
        gx = (gx + ridge[0]) * keep + bowl[0] * w
        gy = (gy + ridge[1]) * keep + bowl[1] * w
        outside *= keep
        texture *= np.float32(1.0) - np.float32(1.0 - indent.texture) * w
        np.copyto(distance, signed, where=np.abs(signed) < np.abs(distance))
    if scene.surface.tilt_deg:
        t, slope = math.radians(scene.surface.tilt_toward_deg), scene.surface.tilt_deg
        gx = gx + np.float32(math.tan(math.radians(slope)) * math.cos(t))
        gy = gy + np.float32(math.tan(math.radians(slope)) * math.sin(t))
    return Ground(gx, gy, np.float32(1.0) - outside, texture, distance)


def _far(indent: Indent, y_mm: F32) -> bool:
    """Whether nothing is left of the ridge (exp(-16)) at any point."""
    reach = indent.d1_mm / 2.0 * (1.0 + 16.0 * indent.pile_width) + 6.0 * indent.edge_round_mm
    return bool(y_mm.min() > indent.y_mm + reach or y_mm.max() < indent.y_mm - reach)


def _form(surface: Surface, x: F32, y: F32) -> tuple[F32, F32]:
    """Slopes of a flat or convex cylindrical specimen."""
    if not surface.cylinder_mm:
        return np.zeros_like(x), np.zeros_like(y)
    t = math.radians(surface.cylinder_deg)
    nx, ny = np.float32(-math.sin(t)), np.float32(math.cos(t))
    across = nx * x + ny * y
    limit = np.float32((0.98 * surface.cylinder_mm) ** 2)
    slope = -across / np.sqrt(
        np.float32(surface.cylinder_mm**2) - np.minimum(across * across, limit)
    )
    return slope * nx, slope * ny


def _smooth_step(x: F32) -> F32:
    """The normal distribution function to 3e-4, odd about ½ (tanh form, from memory)."""
    return np.float32(0.5) + np.float32(0.5) * np.tanh(
        np.float32(0.7978846) * x * (np.float32(1.0) + np.float32(0.044715) * x * x)
    )


def _crater(indent: Indent, x: F32, y: F32) -> tuple[tuple[F32, F32], tuple[F32, F32], F32, F32]:
    """Slopes of bowl and ridge, share of bowl, signed distance to the boundary in mm."""
    c = np.float32(math.cos(math.radians(indent.angle_deg)))
    s = np.float32(math.sin(math.radians(indent.angle_deg)))
    dx, dy = x - np.float32(indent.x_mm), y - np.float32(indent.y_mm)
    ia, ib = np.float32(2.0 / indent.d1_mm), np.float32(2.0 / indent.d2_mm)
    ux, uy = (dx * c + dy * s) * ia + _TINY, (dy * c - dx * s) * ib
    rho = np.sqrt(ux * ux + uy * uy) + _TINY
    cos, sin = ux / rho, uy / rho
    ax, ay = cos * ia, sin * ib  # ∇ρ in the axes of the ellipse
    edge = np.float32(1.0) + _waves(indent, cos, sin)[0] if indent.waves else np.float32(1.0)
    signed: F32 = np.divide(rho - edge, np.sqrt(ax * ax + ay * ay), dtype=np.float32)
    sharpness = np.float32(1.0 / max(indent.edge_round_mm, 1e-6 * indent.mean_mm))
    inside: F32 = _smooth_step(-signed * sharpness)
    r2 = np.float32(indent.bowl_radius_mm**2)
    to_axis = np.sqrt(np.maximum(r2 - dx * dx - dy * dy, r2 / np.float32(9.0)))
    bowl: tuple[F32, F32] = (
        np.divide(dx, to_axis, dtype=np.float32),
        np.divide(dy, to_axis, dtype=np.float32),
    )
    if indent.pile == 0 and not indent.waves:
        return bowl, (np.zeros_like(x), np.zeros_like(x)), inside, signed
    radial_out, turn_out, radial_in, turn_in = _ridge(indent, rho, cos, sin)
    tx, ty = -sin * ia / rho, cos * ib / rho  # ∇θ
    ridge = _turned(radial_out * ax + turn_out * tx, radial_out * ay + turn_out * ty, c, s)
    if indent.lobes:
        lift = _turned(radial_in * ax + turn_in * tx, radial_in * ay + turn_in * ty, c, s)
        bowl = (bowl[0] + lift[0], bowl[1] + lift[1])
    return bowl, ridge, inside, signed


def _turned(x: F32, y: F32, c: F32 | np.float32, s: F32 | np.float32) -> tuple[F32, F32]:
    """(x, y) turned by the angle whose cosine and sine are c and s."""
    return x * c - y * s, x * s + y * c


def _ridge(indent: Indent, rho: F32, cos: F32, sin: F32) -> tuple[F32, F32, F32, F32]:
    """Derivatives of the height by ρ and θ outside, and of what the lobes lift inside."""
    if indent.waves:
        return _ragged_ridge(indent, rho, cos, sin)
    height = np.float32(indent.pile * indent.depth_mm)
    width, crest = np.float32(indent.pile_width), np.float32(indent.crest)
    t = np.maximum(rho - np.float32(1.0), np.float32(0.0)) / width
    fall = np.exp(-t) * height
    profile = (np.float32(1.0) + crest * t) * fall
    slope = (crest - np.float32(1.0) - crest * t) * fall / width
    if not indent.lobes:
        zero = np.zeros_like(rho)
        return slope, zero, zero, zero
    lobe, dlobe = _lobe(indent, cos, sin)
    inner = np.minimum(rho, np.float32(1.2))  # the bowl is not asked for far outside
    inner3 = inner * inner * inner
    return (
        slope * (np.float32(1.0) + lobe),
        profile * dlobe,
        height * np.float32(4.0) * inner3 * lobe,
        height * inner3 * inner * dlobe,
    )


def _ragged_ridge(indent: Indent, rho: F32, cos: F32, sin: F32) -> tuple[F32, F32, F32, F32]:
    """The same for a boundary with waves, which ridge, lobes and ground around follow.

    With P the ridge without them and w the wave, the height is P(ρ - w) + r w exp(-t): r is how
    much the bowl rises per ρ at its boundary, so that it is met where it is cut.
    """
    wave, bend = _waves(indent, cos, sin)
    radial, turn, lift, lift_turn = _ridge(replace(indent, waves=()), rho - wave, cos, sin)
    width = np.float32(indent.pile_width)
    t = np.maximum(rho - wave - np.float32(1.0), np.float32(0.0)) / width
    radius2 = (indent.mean_mm / 2) ** 2
    rise = np.float32(radius2 / math.sqrt(indent.bowl_radius_mm**2 - radius2)) * np.exp(-t)
    radial = radial - rise * wave / width
    return radial, turn + bend * (rise - radial), lift, lift_turn - bend * lift


def _waves(indent: Indent, cos: F32, sin: F32) -> tuple[F32, F32]:
    """How far the boundary lies off the ellipse, over the radius, and that by the angle."""
    turn, *both = _wave_table(indent.waves)
    at = np.arctan2(sin, cos)
    wave, bend = (np.interp(at, turn, of).astype(np.float32) for of in both)
    return wave, bend


@lru_cache(maxsize=8)
def _wave_table(
    waves: tuple[tuple[float, float], ...],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Angles of a turn, the wave there and its derivative."""
    turn = np.linspace(-math.pi, math.pi, _WAVE_STEPS)
    n = np.arange(3, 3 + len(waves))[:, None]
    a, b = np.array(waves).T
    wave = a @ np.cos(n * turn) + b @ np.sin(n * turn)
    bend = b @ (n * np.cos(n * turn)) - a @ (n * np.sin(n * turn))
    return turn, wave, bend


def _lobe(indent: Indent, cos: F32, sin: F32) -> tuple[F32, F32]:
    """Relative ridge height over its mean, and its derivative by the angle."""
    n = indent.lobe_count
    shift = n * math.radians(indent.angle_deg - indent.lobe_deg)
    c, s = _turned(cos, sin, np.float32(math.cos(shift)), np.float32(math.sin(shift)))
    for _ in range(n - 1):  # (c, s) is the direction n θ + shift in the end
        c, s = _turned(c, s, cos, sin)
    return np.float32(indent.lobes) * c, np.float32(-n * indent.lobes) * s
