"""Profiles of light across a rim, and what its two sides show.

Along the normals of an ellipse the light is averaged over short arcs. With it comes what a profile
is predicted from (`shading`): the bowl's own chart and the light just outside, both taken where
the blur of the rim no longer reaches; and the scatter of the finish on either side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo, linear_light
from rimread.rim.ellipse import Ellipse
from rimread.rim.ridge import ridge_chart
from rimread.rim.sampling import band_along, rays_from, reduced
from rimread.rim.shading import Sides, bowl_chart, neighbours, radial_chart

__all__ = [
    "CLIPPED",
    "LEAST_LIGHT",
    "LEAST_SCATTER",
    "NEAR_PX",
    "POOLED_DEG",
    "Profiles",
    "guard_px",
    "half_px",
    "pool",
    "profiles_across",
]

Array = NDArray[np.floating]

ARCS = 96
"""Arcs of 3.75°: a rim of 300 px still has 10 px of arc in each."""
RAYS = 6
"""Normals in each arc."""
CHART_RADIUS_PX = 96
"""Radius of the bowl in the reduced picture that the chart is read from."""
LEAST_HALF_PX = 7.0
HALF_BLURS = 5.0
"""Half-width of the compared profile: 7 px or 5 blurs + 1 px, past which shading rules."""
GUARD_BLURS = 3.0
GUARD_PX = 1.5
"""Closer to the rim than 3 blurs + 1.5 px the light is a mixture of both sides."""
BEYOND_PX = 6
"""Pixels sampled past either end of the compared profile, for the light and scatter there."""
NEAR_PX = 5.0
"""The light just outside is that of the next 5 px,"""
BOWL_RADII = np.linspace(0, 1, 65)
"""the bowl's shading that along its rays,"""
LEVEL_RADII = np.linspace(1.45, 1.7, 5)
"""that of level metal from so many radii away: ridges have nearly died out, and the indent's
surroundings are mostly in the picture. Own choice."""
POOLED_DEG = 6.0
"""Standard deviation over which likelihoods are pooled: lobes of the rim are longer."""
LEAST_SCATTER = 1e-3
"""Scatter below 0.1 % of the light is quantisation."""
LEAST_LIGHT = 0.01
"""Light below 1 % of full scale counts as 1 %: where all is black the scatter is not known."""
CLIPPED = 0.985
"""Grey values within 4 of 255 steps of full scale say only "at least this much"."""
CLIPPED_WEIGHT = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """Profiles round the rim and what they are compared with.

    Parameters
    ----------
    t : ndarray, shape (A,)
        Ellipse parameter of each arc.
    q_px : ndarray, shape (Q,)
        Distance along the outward normal.
    light : ndarray, shape (A, Q)
        Linear, of full scale; mean over the rays of an arc.
    seen : ndarray, shape (A, Q)
        Weight of a sample, small where the exposure is clipped.
    sides : Sides
    variance_in, variance_out : ndarray, shape (A,)
        Variance from ray to ray on either side.
    inside : ndarray, shape (A,), bool
        Arcs that lie wholly in the picture.
    """

    t: NDArray[np.floating]
    q_px: NDArray[np.floating]
    light: Array
    seen: Array
    sides: Sides
    variance_in: Array
    variance_out: Array
    inside: NDArray[np.bool_]

    @property
    def clipped(self) -> NDArray[np.bool_]:
        """Arcs whose profile is clipped by the exposure, shape (A,)."""
        return np.asarray(self.seen.min(axis=1) < 1)


def half_px(blur_px: float) -> float:
    """Half-width of the profile compared for a blur."""
    return float(max(LEAST_HALF_PX, np.ceil(HALF_BLURS * blur_px + 1)))


def profiles_across(
    photo: Photo,
    ellipse: Ellipse,
    *,
    blur_px: float,
    arcs: int = ARCS,
    rays: int = RAYS,
    longer_px: float = 0.0,
) -> Profiles:
    """Profiles across the rim near an ellipse, long enough for a blur, or longer than that."""
    half = half_px(blur_px) + longer_px
    guard = guard_px(blur_px)
    band = band_along(photo, ellipse, half_px=half + BEYOND_PX, arcs=arcs * rays, rays=1)
    grey = band.grey.reshape(arcs, rays, -1)
    light = linear_light(photo, grey * photo.full_scale)
    mean = light.mean(axis=1)
    off = light - mean[:, None]
    scatter = np.einsum("arq,arq->aq", off, off) / (rays - 1)
    t = band.t.reshape(arcs, rays).mean(axis=1)
    q = band.q_px
    bowl, level = _bowl_and_level(photo, ellipse, t)
    window = slice(BEYOND_PX, -BEYOND_PX)
    outside, outward = _outside(mean, q, guard)
    radial = radial_chart(bowl, BOWL_RADII, known_to=1 - guard / ellipse.m)
    return Profiles(
        t=t,
        q_px=q[window],
        light=mean[:, window],
        seen=_seen(grey[:, :, window]),
        sides=Sides(
            chart=bowl_chart(radial),
            ridge=ridge_chart(radial, outside),
            outside=outside,
            outward=outward,
            level=level,
            radius_px=ellipse.m,
        ),
        variance_in=_typical_variance(mean, scatter, q < -guard),
        variance_out=_typical_variance(mean, scatter, q > guard),
        inside=np.asarray(band.inside.reshape(arcs, -1).all(axis=1)),
    )


def _bowl_and_level(photo: Photo, ellipse: Ellipse, t: NDArray[np.floating]) -> tuple[Array, Array]:
    """Light (A, U) at `BOWL_RADII`, and that of level metal (A,) where it is in the picture."""
    small = reduced(photo, ellipse, radius_px=CHART_RADIUS_PX, reach=LEVEL_RADII[-1])
    radii = np.concatenate([BOWL_RADII, LEVEL_RADII])
    grey, within = rays_from(small.grey, small.shrink(ellipse), t, radii)
    light = linear_light(photo, grey * photo.full_scale)
    bowl, far = slice(len(BOWL_RADII)), slice(len(BOWL_RADII), None)
    level = np.where(within[:, far].all(axis=1), _middle(light[:, far]), np.float32(np.nan))
    return light[:, bowl], level


def _seen(grey: Array) -> Array:
    """1 where no ray of an arc is clipped, `CLIPPED_WEIGHT` elsewhere."""
    return np.where(grey.max(axis=1) < CLIPPED, 1.0, CLIPPED_WEIGHT).astype(np.float32)


def _typical_variance(mean: Array, scatter: Array, side: NDArray[np.bool_]) -> Array:
    """Usual variance on one side, smoothed round the turn, in units of the light squared."""
    light = np.maximum(mean[:, side].mean(axis=1), LEAST_LIGHT)
    usual = _middle(scatter[:, side]) + (LEAST_SCATTER * light) ** 2
    return np.asarray(np.exp(pool(np.log(usual), POOLED_DEG)))


def _middle(values: Array) -> Array:
    """Medians (A,) of rows (A, N)."""
    ordered = np.sort(values, axis=1)  # np.median takes five times longer
    count = ordered.shape[1]
    return np.asarray(ordered[:, (count - 1) // 2 : count // 2 + 1].mean(axis=1))


def guard_px(blur_px: float) -> float:
    """Distance from the rim within which a blur mixes the light of both sides."""
    return GUARD_BLURS * blur_px + GUARD_PX


def _outside(light: Array, q: NDArray[np.floating], guard: float) -> tuple[Array, Array]:
    """Light just outside the rim and its change per pixel, both (A,).

    The change is a mean over neighbouring arcs: finish is averaged out.
    """
    far = q > guard
    span = q[far] - q[far].mean()
    outward = pool(light[:, far] @ span / (span @ span), POOLED_DEG)
    near = far & (q < guard + NEAR_PX)
    outside = light[:, near].mean(axis=1) - outward * q[near].mean()
    return np.asarray(outside, np.float32), outward


def pool(values: NDArray[np.floating], degrees: float) -> Array:
    """Gaussian mean over neighbouring arcs, the last axis, which closes on itself."""
    return np.asarray(values @ neighbours(values.shape[-1], degrees), np.float32)
