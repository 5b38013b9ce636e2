"""Surfaces of indents as heights on a mesh, for the path-traced renderings of `path_traced.py`.

The truth is what it is in `rimread.simulate`: the contact boundary, the ellipse along which the
bowl's sphere, carried on, meets the surface outside, in the middle of the rounding. With `crest`
up to 1 the unrounded ridge has its top there, above 1 farther out. Texture and scratches are not
the simulator's, and `Oddities` has what else is not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.special import ndtr

from rimread.simulate import Scene

F64 = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Oddities:
    """What a scene of the simulator does not say.

    Parameters
    ----------
    arc : bool
        The edge is rounded by an arc of the same standard deviation, not by a Gaussian.
    uneven : tuple of 3 floats
        Relative amplitude, harmonic and phase of the ridge's width.
    wave : ndarray, shape (6, 2)
        Cosine and sine of harmonics 3 to 8 of the boundary, in radii.
    lamps_mm : float
        Distance of the lamps.
    """

    arc: bool
    uneven: tuple[float, float, float]
    wave: F64
    lamps_mm: float


def _lobe(scene: Scene, turn: F64) -> F64:
    indent = scene.indents[0]
    phase = np.radians(indent.angle_deg - indent.lobe_deg)
    return np.asarray(indent.lobes * np.cos(indent.lobe_count * (turn + phase)))


def _ridge_width(scene: Scene, odd: Oddities, turn: F64) -> F64:
    share, harmonic, phase = odd.uneven
    return np.asarray(scene.indents[0].pile_width * (1 + share * np.cos(harmonic * turn + phase)))


def breaks(scene: Scene, odd: Oddities, turn: F64) -> F64:
    """Slope of the bowl less that of the ridge at the boundary."""
    indent, lobe = scene.indents[0], _lobe(scene, turn)
    a, high = indent.mean_mm / 2, indent.pile * indent.depth_mm
    bowl = a / math.sqrt(indent.bowl_radius_mm**2 - a * a) + 4 * high * lobe / a
    return bowl - high * (1 + lobe) * (indent.crest - 1) / (_ridge_width(scene, odd, turn) * a)


def _rounded(s: F64, sigma: float, *, arc: bool) -> F64:
    """min(s, 0), its break rounded over the standard deviation sigma."""
    if arc:
        w = math.sqrt(3.0) * sigma
        return np.where(np.abs(s) < w, -((w - s) ** 2) / (4 * w), np.minimum(s, 0.0))
    q = s / sigma
    return np.asarray(s * ndtr(-q) - sigma / math.sqrt(2 * math.pi) * np.exp(-q * q / 2))


def _texture(scene: Scene, rng: np.random.Generator) -> F64:
    """Heights in mm of the finish before the test, one a pixel."""
    surface, camera = scene.surface, scene.camera
    scale = camera.px_per_mm
    fy, fx = np.fft.fftfreq(camera.height_px)[:, None], np.fft.rfftfreq(camera.width_px)[None, :]
    lay = math.radians(surface.lay_deg)
    unit = 2 * math.pi * scale * surface.coarse
    along = (fx * math.cos(lay) + fy * math.sin(lay)) * unit
    across = (fy * math.cos(lay) - fx * math.sin(lay)) * unit
    k2 = along**2 + across**2
    amplitude = {
        "ground": (1 + (0.02 * across) ** 2) ** -0.75 * np.exp(-((0.5 * along) ** 2) / 2),
        "milled": np.exp(-(0.02**2) * k2) * (1 + (0.2 * along) ** 2) ** -1.0,
        "blasted": 0.03**2 * k2 * np.exp(-(0.025**2) * k2),
        "polished": (1 + 0.05**2 * k2) ** -1.0,
    }[surface.finish]
    soft = np.exp(-2 * (math.pi * 0.8) ** 2 * (fx**2 + fy**2))
    white = np.fft.rfft2(rng.standard_normal((camera.height_px, camera.width_px)))
    height = np.fft.irfft2(white * amplitude * soft, s=(camera.height_px, camera.width_px))
    height /= height.std()
    if surface.finish == "milled":
        y, x = np.mgrid[: camera.height_px, : camera.width_px] / scale
        far, feed = rng.uniform(15, 40), rng.uniform(0.08, 0.3) * surface.coarse
        tooth = np.hypot(x + far * math.sin(lay), y - far * math.cos(lay)) / feed
        marks = np.abs(np.sin(math.pi * tooth)) * (1 + 0.2 * np.sin(2.4 * np.floor(tooth)))
        height = 0.25 * height - marks / marks.std()
    return np.asarray(1e-3 * surface.finish_um * (height - height.mean()) / height.std())


def _scratches(scene: Scene, x: F64, y: F64, rng: np.random.Generator) -> F64:
    """Heights in mm of straight grooves with lips, made after the test."""
    camera, total = scene.camera, np.zeros_like(x)
    half = np.array([camera.width_px, camera.height_px]) / 2 / camera.px_per_mm
    for _ in range(scene.surface.scratches):
        (mx, my), turn = rng.uniform(-half, half), rng.uniform(0, math.pi)
        wide = max(rng.uniform(0.001, 0.006), 0.8 / camera.px_per_mm)
        q = ((x - mx) * math.sin(turn) - (y - my) * math.cos(turn)) / wide
        end = (np.abs((x - mx) * math.cos(turn) + (y - my) * math.sin(turn)) / half[0]) ** 4
        deep = rng.uniform(0.03, 0.2) * wide
        total -= deep * (1 - 0.5 * q * q) * np.exp(-q * q / 2 - end / rng.uniform(0.01, 4))
    return total


def _rings(scene: Scene, reach: float) -> F64:
    """Radii of the mesh over that of the boundary: a pixel apart, at the edge far closer."""
    indent, scale = scene.indents[0], scene.camera.px_per_mm
    radius_px, sigma_px = indent.mean_mm / 2 * scale, indent.edge_round_mm * scale
    s = np.linspace(-0.9995 * radius_px, (reach - 1) * radius_px, 400_000)
    core = max(0.25 * sigma_px, 0.03)
    step = np.minimum(core + 0.25 * np.maximum(np.abs(s) - 4 * sigma_px - 0.5, 0.0), 1.0)
    place = np.cumsum(1 / step) * (s[1] - s[0])
    return np.asarray(1 + np.interp(np.arange(1, place[-1]), place, s) / radius_px)


@dataclass(frozen=True)
class Relief:
    """The surface on rings (first axis) and spokes (second): places in mm, roughness."""

    xyz: F64
    alpha: F64


def relief(scene: Scene, odd: Oddities, rng: np.random.Generator) -> Relief:
    """The specimen as heights: x right, y down, z towards the camera."""
    indent, surface, camera = scene.indents[0], scene.surface, scene.camera
    a, high, scale = indent.mean_mm / 2, indent.pile * indent.depth_mm, camera.px_per_mm
    corner = np.hypot(
        camera.width_px / 2 / scale + abs(indent.x_mm),
        camera.height_px / 2 / scale + abs(indent.y_mm),
    )
    reach = 1.05 * float(corner) / (indent.d2_mm / 2)
    rho = _rings(scene, reach)[:, None]
    spokes = int(2 * math.pi * reach * a * scale / 1.6)
    turn = np.linspace(0.0, 2 * math.pi, spokes, endpoint=False)[None, :]
    ux, uy = rho * np.cos(turn) * indent.d1_mm / 2, rho * np.sin(turn) * indent.d2_mm / 2
    c, s = math.cos(math.radians(indent.angle_deg)), math.sin(math.radians(indent.angle_deg))
    x, y = indent.x_mm + ux * c - uy * s, indent.y_mm + ux * s + uy * c

    n = np.arange(3, 9)[:, None]
    wave = odd.wave[:, 0] @ np.cos(n * turn) + odd.wave[:, 1] @ np.sin(n * turn)
    off = rho - 1 - wave[None, :]
    lobe, slope = _lobe(scene, turn), breaks(scene, odd, turn)
    t = np.maximum(off, 0) / _ridge_width(scene, odd, turn)
    outside = high * (1 + lobe) * (1 + indent.crest * t) * np.exp(-t)
    big2, inner = indent.bowl_radius_mm**2, np.minimum(1 + off, 1.0)
    bowl = math.sqrt(big2 - a * a) - np.sqrt(big2 - (a * inner) ** 2)
    bowl += high * (1 + lobe * inner**4)
    bend = np.where(off < 0, bowl - outside - slope * a * off, 0.0)
    z = outside + bend + slope * _rounded(a * off, max(indent.edge_round_mm, 1e-6), arc=odd.arc)

    # the ball flattens the texture where it bears; near the boundary only the tops
    blend = max(indent.edge_round_mm, 2e-3 * surface.finish_um / float(slope.mean()))
    pressed = ndtr(-a * off / blend)
    place = [y * scale + (camera.height_px - 1) / 2, x * scale + (camera.width_px - 1) / 2]
    texture = map_coordinates(_texture(scene, rng), place, order=3, mode="reflect")
    z += texture * (1 - (1 - indent.texture) * pressed) + _scratches(scene, x, y, rng)
    grains = cv2.GaussianBlur(rng.standard_normal((camera.height_px, camera.width_px)), (0, 0), 0.7)
    grain = map_coordinates(grains / grains.std(), place, order=1, mode="reflect")
    alpha = surface.alpha_outside + (surface.alpha_inside - surface.alpha_outside) * pressed
    alpha *= np.exp(surface.bowl_grain * grain * pressed)
    return Relief(np.stack([x, y, z], axis=-1), np.clip(alpha, 0.03, 1.0))
