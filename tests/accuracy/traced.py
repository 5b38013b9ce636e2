"""The light of an indent's surface, followed by the general-purpose renderer Mitsuba 3.

Needs ``pip install mitsuba`` and LLVM 16 or later, which the variable DRJIT_LIBLLVM_PATH may name
(Debian: libllvm19). Lamps stand at a finite distance; the bowl lights and shadows itself.
"""

from __future__ import annotations

import importlib
import math
from typing import Any

import numpy as np
from heights import Oddities, Relief, relief
from numpy.typing import NDArray

from rimread.simulate import Scene

F64 = NDArray[np.float64]

PASSES, SAMPLES = 2, 14  # in each pass a pixel gets that many paths
BOUNCES = 3
SKY = 0.05  # how often a path asks the surroundings for light, over the lamps
OBJECTIVE_DEG = 15.0  # the dark front of the objective, half its angle; as in rimread.simulate
IRON = {"eta": 2.9, "k": 3.1}  # refractive index of iron in green light, about; from memory
LAMP_PARTS = 48  # facets of half a ring


def _mesh(mi: Any, of: Relief, tilt: tuple[float, float]) -> Any:
    """The relief as a mesh with the normals of its heights."""
    rings, spokes = of.alpha.shape
    closed = np.concatenate([of.xyz[:, -1:], of.xyz, of.xyz[:, :1]], axis=1)
    inwards, round_about = np.gradient(of.xyz, axis=0), (closed[:, 2:] - closed[:, :-2]) / 2
    normal = np.cross(inwards, round_about)
    i, j = np.mgrid[: rings - 1, :spokes]
    k = (j + 1) % spokes
    low, high = i * spokes, (i + 1) * spokes
    faces = np.stack([low + j, low + k, high + j, high + j, low + k, high + k], axis=-1)
    flip = np.array([1.0, -1.0, 1.0])  # y of the world runs upwards
    normal *= np.sign(normal[..., 2:]) / np.linalg.norm(normal, axis=-1, keepdims=True)
    bsdf = {"type": "roughconductor", "distribution": "ggx", **IRON}
    bsdf["alpha"] = {"type": "mesh_attribute", "name": "vertex_alpha"}
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(bsdf)
    mesh = mi.Mesh(
        "specimen", rings * spokes, faces.size // 3, props=properties, has_vertex_normals=True
    )
    mesh.add_attribute("vertex_alpha", 1, of.alpha.ravel().astype(np.float32))
    held = mi.traverse(mesh)
    turned = _tilt_matrix(*tilt)
    held["vertex_positions"] = ((of.xyz * flip) @ turned.T).ravel().astype(np.float32)
    held["vertex_normals"] = ((normal * flip) @ turned.T).ravel().astype(np.float32)
    held["faces"] = faces.ravel().astype(np.uint32)
    held.update()
    return mesh


def _tilt_matrix(tilt_deg: float, toward_deg: float) -> F64:
    """Turns the specimen so that it rises by `tilt_deg` towards a direction of the picture."""
    t, w = math.radians(tilt_deg), math.radians(toward_deg)
    rises = np.array([math.cos(w), -math.sin(w), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    side = np.cross(up, rises)
    old = np.stack([rises, side, up])
    new = np.stack(
        [math.cos(t) * rises + math.sin(t) * up, side, math.cos(t) * up - math.sin(t) * rises]
    )
    return np.asarray(new.T @ old)


def _towards(elevation_deg: float, azimuth_deg: float) -> F64:
    e, a = math.radians(elevation_deg), math.radians(azimuth_deg)
    return np.array([math.cos(e) * math.cos(a), -math.cos(e) * math.sin(a), math.sin(e)])


def _lamps(mi: Any, scene: Scene, odd: Oddities) -> dict[str, Any]:
    """Lamps that light a surface facing them with 1, the objective, the surroundings."""
    light, far = scene.light, odd.lamps_mm
    count = light.lamps if light.kind == "ring" and light.lamps else 1

    def disc(name: str, at: F64, half_deg: float, radiance: float) -> dict[str, Any]:
        up = [0, 1, 0] if abs(at[2]) > 0.9 * far else [0, 0, 1]
        pose = mi.ScalarTransform4f().look_at(origin=at.tolist(), target=[0, 0, 0], up=up)
        shape: dict[str, Any] = {
            "type": "disk",
            "to_world": pose @ mi.ScalarTransform4f().scale(far * math.tan(math.radians(half_deg))),
            "bsdf": {"type": "diffuse", "reflectance": {"type": "uniform", "value": 0.0}},
        }
        if radiance:
            glow = {"type": "uniform", "value": radiance}
            shape["emitter"] = {"type": "area", "radiance": glow, "sampling_weight": 1.0 / count}
        return {name: shape}

    parts = disc("objective", 1.02 * far * np.array([0.0, 0.0, 1.0]), OBJECTIVE_DEG, 0.0)
    even = {"type": "uniform", "value": light.ambient / math.pi}
    parts["surroundings"] = {"type": "constant", "radiance": even, "sampling_weight": SKY}
    cone = 2 * math.pi * (1 - math.cos(math.radians(light.spread_deg)))
    if light.kind == "coaxial":
        return parts | disc("lamp", np.array([0.0, 0.0, far]), light.spread_deg, 1 / cone)
    azimuths: F64 = np.array([light.azimuth_deg])
    if light.kind == "ring" and light.lamps:
        azimuths = light.azimuth_deg + np.arange(light.lamps) * 360 / light.lamps
    elif light.kind != "side":
        ring = light.kind == "ring"
        half_deg = 90.0 if ring else light.arc_deg
        return parts | {
            f"band{i}": _band(mi, scene, odd, light.azimuth_deg + 180 * i, half_deg)
            for i in range(2)
        }
    for i, azimuth in enumerate(azimuths):
        at = far * _towards(light.elevation_deg, float(azimuth))
        parts |= disc(f"lamp{i}", at, light.spread_deg, 1 / cone / len(azimuths))
    return parts


def _band(mi: Any, scene: Scene, odd: Oddities, azimuth_deg: float, half_deg: float) -> Any:
    """Part of a ring lamp, half of its light, as a mesh that faces the specimen."""
    light = scene.light
    low, high = (
        float(np.clip(light.elevation_deg + sign * light.spread_deg, 2, 88)) for sign in (-1, 1)
    )
    turns = azimuth_deg + np.linspace(-half_deg, half_deg, LAMP_PARTS + 1)
    points = odd.lamps_mm * np.array([_towards(e, float(t)) for t in turns for e in (low, high)])
    i = 2 * np.arange(LAMP_PARTS)[:, None]
    faces = np.concatenate([i + np.array([0, 1, 2]), i + np.array([1, 3, 2])], axis=1).reshape(
        -1, 3
    )
    corner = points[faces[0]]
    if np.dot(np.cross(corner[1] - corner[0], corner[2] - corner[0]), corner[0]) > 0:
        faces = faces[:, ::-1]
    width = (
        2 * math.radians(half_deg) * (math.sin(math.radians(high)) - math.sin(math.radians(low)))
    )
    glow = {"type": "uniform", "value": 0.5 / width}
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict({"type": "diffuse"})
    properties["emitter"] = mi.load_dict({"type": "area", "radiance": glow, "sampling_weight": 0.5})
    mesh = mi.Mesh("band", len(points), len(faces), props=properties)
    held = mi.traverse(mesh)
    held["vertex_positions"] = points.ravel().astype(np.float32)
    held["faces"] = faces.ravel().astype(np.uint32)
    held.update()
    return mesh


def _mitsuba() -> Any:
    try:
        mi = importlib.import_module("mitsuba")
        mi.set_variant("llvm_ad_mono")
    except ImportError as error:
        raise SystemExit(f"needs Mitsuba 3 (pip install mitsuba) and LLVM: {error}") from None
    return mi


def light_of(scene: Scene, odd: Oddities, *, rng: np.random.Generator) -> NDArray[np.float32]:
    """Light on each pixel, path-traced, before lens and camera.

    Parameters
    ----------
    scene : Scene
        One indent; stains, glints, cylinder, lens distortion and gradient are not heeded.
    odd : Oddities
        What else there is.
    rng : numpy.random.Generator
        Texture, scratches and paths come from here.
    """
    mi, surface, camera = _mitsuba(), scene.surface, scene.camera
    specimen = _mesh(mi, relief(scene, odd, rng), (surface.tilt_deg, surface.tilt_toward_deg))
    above = odd.lamps_mm / 2
    pose = mi.ScalarTransform4f().look_at(origin=[0, 0, above], target=[0, 0, 0], up=[0, 1, 0])
    half = camera.width_px / 2 / camera.px_per_mm
    world = mi.load_dict({
        "type": "scene",
        "specimen": specimen,
        "integrator": {"type": "path", "max_depth": BOUNCES + 1, "rr_depth": 99},
        "sensor": {
            "type": "orthographic",
            "to_world": pose @ mi.ScalarTransform4f().scale([half, half, 1]),
            "film": {
                "type": "hdrfilm",
                "width": camera.width_px,
                "height": camera.height_px,
                "pixel_format": "luminance",
                "rfilter": {"type": "box"},
            },
        },
        **_lamps(mi, scene, odd),
    })  # fmt: skip
    total = np.zeros((camera.height_px, camera.width_px), dtype=np.float32)
    for _ in range(PASSES):
        shot = mi.render(world, spp=SAMPLES, seed=int(rng.integers(1 << 31)))
        total += (
            np.asarray(shot, dtype=np.float32).reshape(camera.height_px, camera.width_px) / PASSES
        )
    return total
