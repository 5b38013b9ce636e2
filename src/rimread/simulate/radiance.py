"""The light of a scene towards the camera, sampled finely, most finely where the slope breaks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.simulate.finish import Skin
from rimread.simulate.glow import Glow
from rimread.simulate.relief import Ground, Sight, ground
from rimread.simulate.scene import Scene

__all__ = ["View", "radiance"]

F32 = NDArray[np.float32]

_STRIP = 40_000  # samples worked on at once: the arrays of a strip stay in the cache
_REFINE = 4  # samples within a sample along each axis, at the boundary


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """What the light is worked out for.

    Parameters
    ----------
    scene : Scene
        What is seen.
    tables : Glow
        Light over slope.
    oversample : int
        Samples per pixel along each axis.
    """

    scene: Scene
    tables: Glow
    oversample: int


@dataclass(frozen=True, slots=True, eq=False)
class _Strip:
    """Some rows of samples: their picture coordinates, the relief and what the skin adds."""

    x_px: NDArray[np.float64]
    y_px: NDArray[np.float64]
    relief: Ground
    gx: F32
    gy: F32


def radiance(view: View, cover: Skin) -> F32:
    """Light at the fine samples, shape (height, width) times `View.oversample`."""
    camera, n = view.scene.camera, view.oversample
    width, height = camera.width_px * n, camera.height_px * n
    out = np.empty((height, width), dtype=np.float32)
    sight = Sight(view.scene)
    x = (np.arange(width) + 0.5) / n - 0.5
    rows = max(n, _STRIP // width // n * n)
    for top in range(0, height, rows):
        bottom = min(top + rows, height)
        y = (np.arange(top, bottom) + 0.5) / n - 0.5
        relief = ground(view.scene, *sight.mm(x[None, :], y[:, None]))
        gx, gy = _texture(cover, relief.texture, slice(top, bottom), n)
        strip = _Strip(x, y, relief, gx, gy)
        light = view.tables.look_up(relief.gx + gx, relief.gy + gy, relief.inside)
        _refine(light, view, sight, strip)
        if cover.grain is not None:
            light *= np.float32(1.0) + _between(cover.grain, slice(top, bottom), n) * relief.inside
        if cover.stain is not None:
            light *= _between(cover.stain, slice(top, bottom), n)
        out[top:bottom] = light
    return out


def _texture(cover: Skin, share: F32, rows: slice, n: int) -> tuple[F32, F32]:
    """Slopes of texture and scratches at the samples of some rows."""
    gx, gy = np.zeros_like(share), np.zeros_like(share)
    if cover.gx is not None and cover.gy is not None:
        gx += _between(cover.gx, rows, n) * share
        gy += _between(cover.gy, rows, n) * share
    if cover.scratch_gx is not None and cover.scratch_gy is not None:
        gx += _between(cover.scratch_gx, rows, n)
        gy += _between(cover.scratch_gy, rows, n)
    return gx, gy


def _between(field: F32, rows: slice, n: int) -> F32:
    """Some rows of a field enlarged n times, straight lines between its values."""
    if n == 1:
        return field[rows]
    first, last = max(rows.start // n - 1, 0), min(rows.stop // n + 1, field.shape[0])
    size = (field.shape[1] * n, (last - first) * n)
    large = cv2.resize(field[first:last], size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(large[rows.start - first * n : rows.stop - first * n], dtype=np.float32)


def _refine(light: F32, view: View, sight: Sight, strip: _Strip) -> None:
    """Average finer samples where the break in slope is narrower than the samples resolve.

    The texture is held within a sample, so that it looks the same at the boundary as elsewhere.
    """
    pitch_mm = 1.0 / (view.oversample * view.scene.camera.px_per_mm)
    sharp = min((i.edge_round_mm for i in view.scene.indents), default=math.inf)
    if sharp > 2.0 * pitch_mm:
        return
    j, i = np.nonzero(np.abs(strip.relief.distance_mm) < pitch_mm + 3.0 * sharp)
    if not len(i):
        return
    step = ((np.arange(_REFINE) + 0.5) / _REFINE - 0.5) / view.oversample
    dx, dy = (d.ravel() for d in np.meshgrid(step, step))
    x, y = strip.x_px[i][:, None] + dx, strip.y_px[j][:, None] + dy
    fine = ground(view.scene, *sight.mm(x, y))
    gx, gy = strip.gx[j, i][:, None], strip.gy[j, i][:, None]
    light[j, i] = view.tables.look_up(fine.gx + gx, fine.gy + gy, fine.inside).mean(axis=1)
