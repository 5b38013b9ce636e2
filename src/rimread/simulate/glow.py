"""How bright rough metal looks under a light, as a table over the slope of the surface.

A distant lamp and a distant camera see only the direction of a facet, so the light that reaches
the camera is a function of the two slopes. The table is filled once for the specimen and once for
the bowl; in the bowl a slope is also a place, so the shadow cast by the boundary is in the table.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.simulate.scene import Indent, Light, Scene

__all__ = ["Glow", "glow", "microfacet"]

F32 = NDArray[np.float32]
Lamps = tuple[NDArray[np.float64], NDArray[np.float64]]  # directions (n, 3) and weights (n,)

_STEEPEST = 1.25  # slope at the border of a table; d = 0.95 ball without recovery stays below 3
_CELLS = 320
_BLOCK = 40_000  # numbers worked on at once: they stay in the cache
_MIRROR = 0.6  # reflectance of steel at right angles, about; from memory
_SOFT = 0.005  # of the radius, over which a shadow begins: keeps the boundary itself lit
_OBJECTIVE_DEG = 15.0  # the dark front of the objective, half its angle; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Glow:
    """Light towards the camera over (slope y, slope x), for the specimen and for the bowl."""

    outside: F32
    inside: F32
    steepest: float = _STEEPEST

    def look_up(self, gx: F32, gy: F32, inside: F32) -> F32:
        """Light from facets with slopes gx, gy (2-D arrays), `inside` the share of bowl."""
        per_slope = np.float32((self.outside.shape[0] - 1) / (2.0 * self.steepest))
        x = (gx + np.float32(self.steepest)) * per_slope
        y = (gy + np.float32(self.steepest)) * per_slope
        out = _remap(self.outside, x, y)
        if not inside.any():
            return out
        return out + inside * (_remap(self.inside, x, y) - out)


def _remap(table: F32, x: F32, y: F32) -> F32:
    return np.asarray(
        cv2.remap(table, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), dtype=np.float32
    )


def microfacet(gx: F32, gy: F32, lamps: Lamps, alpha: float, *, bowl: Indent | None = None) -> F32:
    """Light towards (0, 0, 1) from rough metal with slopes gx, gy, summed over distant lamps.

    Cook-Torrance with the GGX distribution and Smith's shadowing: B. Walter et al., Microfacet
    models for refraction through rough surfaces (2007), eqs. 20, 33, 34; Schlick's Fresnel term
    (1994). Formulas from memory of those papers.

    Parameters
    ----------
    gx, gy : ndarray of float32, any one shape
        Slopes of the height.
    lamps : ndarray of shape (n, 3) and ndarray of shape (n,)
        Unit vectors to the lamps, and the light of each on a plane facing it.
    alpha : float
        Roughness.
    bowl : Indent or None
        With a bowl, a slope is the place in it that has this slope, and its boundary casts a
        shadow.
    """
    a2 = np.float32(alpha * alpha)
    one = np.float32(1.0)
    x, y = gx[..., None], gy[..., None]
    nz = one / np.sqrt(one + x * x + y * y)
    total = np.zeros_like(gx)
    directions, weights = lamps
    block = max(1, _BLOCK // gx.size)
    for k in range(0, len(directions), block):
        lamp = directions[k : k + block].astype(np.float32)
        half = directions[k : k + block] + np.array([0.0, 0.0, 1.0])
        h = (half / np.linalg.norm(half, axis=1, keepdims=True)).astype(np.float32)
        fresnel = _MIRROR + (1.0 - _MIRROR) * (1.0 - h[:, 2]) ** 5
        strength = (weights[k : k + block] * fresnel).astype(np.float32)
        nl = np.maximum((lamp[:, 2] - x * lamp[:, 0] - y * lamp[:, 1]) * nz, np.float32(0.0))
        nh = (h[:, 2] - x * h[:, 0] - y * h[:, 1]) * nz
        spread = nh * nh * (a2 - one) + one
        seen = _unmasked(nl, a2) * strength / (spread * spread)
        if bowl is not None:
            seen *= _lit(bowl, x, y, lamp)
        total += seen.sum(axis=-1)
    nv = np.asarray(nz[..., 0], dtype=np.float32)
    share = _unmasked(nv, a2) * (a2 / (np.float32(4.0 * math.pi) * nv))
    return np.asarray(total * share, dtype=np.float32)


def _unmasked(cosine: F32, a2: np.float32) -> F32:
    """Share of facets that no other hides from a direction (Smith, Walter et al. eq. 34)."""
    return np.asarray(
        2.0 * cosine / (cosine + np.sqrt(a2 + (1 - a2) * cosine * cosine)), dtype=np.float32
    )


def glow(scene: Scene, *, cells: int = _CELLS) -> Glow:
    """Tables for one scene, `cells` along each slope; shadows are those of its first indent."""
    surface, light = scene.surface, scene.light
    bowl = scene.indents[0] if scene.indents else None
    return Glow(
        outside=_table(light, surface.alpha_outside, None, cells),
        inside=_table(light, surface.alpha_inside, bowl, cells),
    )


def _table(light: Light, alpha: float, bowl: Indent | None, cells: int) -> F32:
    axis = np.linspace(-_STEEPEST, _STEEPEST, cells, dtype=np.float32)
    gx, gy = (np.asarray(g, dtype=np.float32) for g in np.meshgrid(axis, axis))
    steep = np.linspace(0.0, _STEEPEST * math.sqrt(2.0), 2 * cells, dtype=np.float32)
    level = np.zeros_like(steep)
    even = microfacet(steep, level, _surroundings(light), alpha, bowl=bowl)
    all_round = light.kind == "coaxial" or (light.kind == "ring" and not light.lamps)
    if all_round:  # worked out along one slope
        even += microfacet(steep, level, _lamps(light), alpha, bowl=bowl)
    table = np.interp(np.hypot(gx, gy), steep, even).astype(np.float32)
    if not all_round:
        table += microfacet(gx, gy, _lamps(light), alpha, bowl=bowl)
    return np.asarray(table, dtype=np.float32)


def _lit(bowl: Indent, gx: F32, gy: F32, lamp: F32) -> F32:
    """1 where the ray from the place of that slope in the bowl clears the boundary, else 0."""
    radius, rim = np.float32(bowl.bowl_radius_mm), np.float32(bowl.mean_mm / 2.0)
    n = radius / np.sqrt(np.float32(1.0) + gx * gx + gy * gy)
    px, py = gx * n, gy * n  # the slope of a sphere is p / sqrt(R² - p²)
    below = np.maximum(n - np.sqrt(radius**2 - rim**2), np.float32(0.0))  # under the boundary
    reach = below / np.maximum(lamp[:, 2], np.float32(1e-3))
    x, y = px + lamp[:, 0] * reach, py + lamp[:, 1] * reach  # where the ray leaves the bowl
    limit = np.maximum(rim, np.sqrt(px * px + py * py))
    share = (limit - np.sqrt(x * x + y * y)) / (np.float32(_SOFT) * rim) + np.float32(1.0)
    return np.asarray(np.clip(share, 0.0, 1.0), dtype=np.float32)


def _direction(
    elevation_deg: NDArray[np.float64], azimuth_deg: NDArray[np.float64]
) -> NDArray[np.float64]:
    e, a = np.radians(elevation_deg), np.radians(azimuth_deg)
    return np.stack([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)], axis=-1)


def _cone(
    axis_elevation: float, axis_azimuth: float, half_deg: float, *, seeds: int = 24
) -> NDArray[np.float64]:
    """Directions spread evenly over a round lamp, like the seeds of a sunflower."""
    i = np.arange(seeds) + 0.5
    off, turn = np.radians(half_deg) * np.sqrt(i / seeds), i * math.pi * (3.0 - math.sqrt(5.0))
    local = np.stack([np.sin(off) * np.cos(turn), np.sin(off) * np.sin(turn), np.cos(off)], -1)
    e, a = math.radians(axis_elevation), math.radians(axis_azimuth)
    z = np.array([math.cos(e) * math.cos(a), math.cos(e) * math.sin(a), math.sin(e)])
    x = np.array([math.sin(e) * math.cos(a), math.sin(e) * math.sin(a), -math.cos(e)])
    d = local @ np.stack([x, np.cross(z, x), z])
    d[:, 2] = np.abs(d[:, 2]) + 1e-3  # no lamp under the specimen
    return np.asarray(d / np.linalg.norm(d, axis=1, keepdims=True))


def _lamps(light: Light) -> Lamps:
    """Directions and shares (they sum to 1) of the light's kind."""
    if light.kind == "coaxial":
        d = _cone(90.0, 0.0, light.spread_deg)
    elif light.kind == "side":
        d = _cone(light.elevation_deg, light.azimuth_deg, light.spread_deg)
    elif light.kind == "ring" and light.lamps:
        turns = light.azimuth_deg + np.arange(light.lamps) * 360.0 / light.lamps
        lamp = [_cone(light.elevation_deg, a, light.spread_deg, seeds=6) for a in turns]
        d = np.concatenate(lamp)
    else:
        rise = light.elevation_deg + light.spread_deg * np.array([-0.7, 0.0, 0.7])
        if light.kind == "ring":
            turn = np.arange(96) * 3.75
        else:
            arc = light.azimuth_deg + light.arc_deg * (np.arange(9) - 4.0) / 4.5
            turn = np.concatenate([arc, arc + 180.0])
        e, a = np.meshgrid(np.clip(rise, 1.0, 89.5), turn)
        d = _direction(e.ravel(), a.ravel())
    return d, np.full(len(d), 1.0 / len(d))


def _surroundings(light: Light) -> Lamps:
    """An even sky around the dark objective, `ambient` on a flat specimen."""
    sines = (np.arange(10) + 0.5) / 10 * math.cos(math.radians(_OBJECTIVE_DEG))
    e, a = np.meshgrid(np.degrees(np.arcsin(sines)), np.arange(24) * 15.0)
    d = _direction(e.ravel(), a.ravel())
    return d, np.full(len(d), light.ambient / d[:, 2].sum())
