"""From a seed ring to an ellipse on the rim, to about a pixel.

Around a seed a polar picture is searched for the closed path that breaks the grey values best,
once with the shading and once without it; each path gives an ellipse, which is then sharpened in
a narrow band at full resolution. What comes out is ranked by the evidence along it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo
from rimread.rim.ellipse import Ellipse, largest_move, moved_by_offsets
from rimread.rim.evidence import ASIDE, MARGIN, break_evidence
from rimread.rim.path import closed_path, closed_paths
from rimread.rim.sampling import band_along, evened, rays_from, reduced
from rimread.rim.seed import Seed

__all__ = ["Ring", "edge_inside", "edge_outside", "rings_about", "rings_near"]

POLAR_RADIUS_PX = 110
"""Reduced radius of a seed in the polar picture: a step of 1 px there is 1 % of the radius."""
POLAR_ANGLES = 96
POLAR_RANGE = (0.45, 1.7)
"""Searched radii in units of the seed's: a bowl's glint may lie at half of the rim."""
PATH_REACH = 2
"""Columns a path may move from row to row: a centre off by 12 % of the radius still fits."""
PATH_TOLL = 0.05
"""Cost of a move by one column, small against a break's gain (1 to 5)."""
BAND_ARCS = 96
BAND_RAYS = 4
BAND_HALF = 0.05
"""Half-width of the first full-resolution band in units of the radius, and"""
BAND_LEAST_PX = 12.0
"""at least this many pixels, which is also the second band's half-width."""
BAND_AGREEMENT = 0.8
"""Where this much of the turn agrees in the first band, the second is left out."""
BAND_LAST_PX = 8.0
"""Half-width of the last band: room for the windows of the evidence and little more."""
BAND_STAYED, BAND_STAYED_PX = 0.9, 2.0
"""Where this much agrees and the ellipse moved by less than 2 px, no more bands follow: the last
would move nine of ten such ellipses by less than 1.3 px and change evidence by 2 %."""
HALF_MARGIN = MARGIN // 2
"""Of a band half of the margin is left out: its shading is known well enough there."""
LEAST_WEIGHT = 1e-2
"""Weight of a path point without any gain."""
FIT_FLOOR_PX = 0.5
"""Paths run on whole pixels: scatter below half of one is not believed."""
SAME_START, SAME_START_PX = 0.02, 4.0
"""Two starts this close to each other, in radii or pixels, end on the same ring."""
CONSENSUS_PX = 1.2
"""Reach within which path points agree on an ellipse: they run on whole pixels."""
ON_ELLIPSE_PX = 2.0
"""A path point this close to the ellipse counts for it."""
OTHER_RADII = ((0.55, 0.9), (1.1, 1.7))
"""Where another ring about the same centre is looked for, in radii of the first."""
OTHER_AGREEMENT, OTHER_EVIDENCE = 0.85, 0.7
"""What the reduced picture must show of it before it is looked at in full."""
FLANK = 0.6
"""Gain of another edge, relative to the rim's, that makes it a flank of the same line;"""
FLANK_APART_PX = 2.5
"""nearer it is the same edge,"""
FLANK_FAR_PX, FLANK_FAR = 12.0, 0.15
"""farther than 12 px or 0.15 radii a ring of its own. Own choice, all of these."""
LARGEST_CHANGE = 0.25
"""A band that moves the mean radius by more has lost its ring."""


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """An ellipse along which the grey values break.

    Parameters
    ----------
    ellipse : Ellipse
        In pixels of the photo.
    evidence : float
        Mean gain of the break over the whole turn, points off the ellipse counting nothing.
    agreement : float
        Fraction of the turn whose best path lies on the ellipse.
    """

    ellipse: Ellipse
    evidence: float
    agreement: float


def rings_near(
    photo: Photo, seed: Seed, *, radii: tuple[float, float] = POLAR_RANGE
) -> tuple[Ring, ...]:
    """Rings found from one seed within some of its radii, the best explained first."""
    starts = _polar_ellipses(photo, seed, radii)
    apart = largest_move(starts[1], starts[0])
    if apart < max(SAME_START_PX, SAME_START * seed.radius_px):
        starts = starts[:1]
    rings = [ring for ring in (_sharpened(photo, start) for start in starts) if ring is not None]
    return tuple(sorted(rings, key=lambda ring: -ring.evidence))


def rings_about(photo: Photo, ring: Ring) -> tuple[Ring, ...]:
    """Clear rings about the centre of another, one inside and one outside of it at most.

    Seeds miss them beside a stronger ring: a rim beside a pen mark or the edge of a field of view.
    A break counts by the lesser of its gains with and without the shading: a slope of light is none
    without, and what taking the shading off leaves beside a strong ring is none with it.
    """
    small = reduced(photo, ring.ellipse, radius_px=POLAR_RADIUS_PX, reach=OTHER_RADII[1][1])
    first = small.shrink(ring.ellipse)
    t = np.arange(POLAR_ANGLES) * (2 * np.pi / POLAR_ANGLES)
    least, most = OTHER_RADII[0][0], OTHER_RADII[1][1]
    u = least + (np.arange((most - least) * first.m + 2 * MARGIN) - MARGIN) / first.m
    polar, inside = rays_from(small.grey, first, t, u)
    seen = evened(photo, polar)
    with_shading, without = (
        break_evidence(seen, inside=inside, shading=shading) for shading in (True, False)
    )
    gain = np.minimum(with_shading, without)
    spans = [slice(*np.searchsorted(u, span)) for span in OTHER_RADII]
    starts = [_other_ellipse(first, t, u[span], gain[:, span]) for span in spans]
    others = [_sharpened(photo, small.grow(start)) for start in starts if start is not None]
    return tuple(ring for ring in others if ring is not None)


def edge_inside(photo: Photo, ellipse: Ellipse) -> Ellipse | None:
    """Another edge that runs along most of a rim inside it, None where there is none.

    A crest shines as a line along the rim, and its outer flank is as good an edge as the rim. Only
    peaks of the gain along each normal count: the slopes of the rim's own gain are no edge.
    """
    return _edge_beside(photo, ellipse, -1, shading=True)


def edge_outside(photo: Photo, ellipse: Ellipse) -> Ellipse | None:
    """The same outside it, where slow changes of light do not count: a glow ends in one."""
    return _edge_beside(photo, ellipse, 1, shading=False)


def _edge_beside(photo: Photo, ellipse: Ellipse, way: int, *, shading: bool) -> Ellipse | None:
    """Another edge along most of a rim on one side of it: outwards is 1, inwards -1."""
    reach = min(FLANK_FAR_PX, FLANK_FAR * ellipse.m)
    half = np.ceil(reach) + ASIDE
    band = band_along(photo, ellipse, half_px=half, arcs=BAND_ARCS, rays=BAND_RAYS)
    gain = break_evidence(evened(photo, band.grey), inside=band.inside, shading=shading)
    least = FLANK * gain.mean(axis=0)[np.abs(band.q_px) < FLANK_APART_PX].max()
    beyond = way * band.q_px
    columns = np.flatnonzero((beyond > FLANK_APART_PX) & (beyond <= reach))
    if not len(columns):  # too small a rim to have another edge in it
        return None
    first, last = columns[0], columns[-1] + 1
    peaks = gain[:, first:last]
    beside = np.maximum(gain[:, first - 1 : last - 1], gain[:, first + 1 : last + 1])
    peaks = np.where(peaks >= beside, peaks, 0)
    if peaks.max(axis=1).mean() <= least:  # nor could a path gain more
        return None
    path = closed_path(peaks, reach=PATH_REACH, toll=PATH_TOLL)
    along = peaks[np.arange(len(path)), path].astype(np.float64)
    fitted, on = _agreed(ellipse, band.t, band.q_px[first:last][path], along)
    return fitted if (along * on).mean() > least else None


def _agreed(
    start: Ellipse,
    t: NDArray[np.floating],
    offsets: NDArray[np.floating],
    gain: NDArray[np.floating],
) -> tuple[Ellipse, NDArray[np.bool_]]:
    """The ellipse that most points of a path agree on, by their gain, and which lie on it."""
    fitted, residuals, _ = moved_by_offsets(
        start, t, offsets, gain + LEAST_WEIGHT, floor=FIT_FLOOR_PX, consensus=CONSENSUS_PX
    )
    return fitted, np.asarray(np.abs(residuals) < ON_ELLIPSE_PX)


def _other_ellipse(
    first: Ellipse, t: NDArray[np.floating], u: NDArray[np.floating], gain: NDArray[np.floating]
) -> Ellipse | None:
    """The ellipse along the best path at radii `u` of the first, None where none is clear."""
    if gain.max(axis=1).mean() <= OTHER_EVIDENCE:  # nor could a path gain more
        return None
    path = closed_path(gain, reach=PATH_REACH, toll=PATH_TOLL)
    along = gain[np.arange(len(t)), path].astype(np.float64)
    k = float(np.median(u[path]))
    if along.mean() <= OTHER_EVIDENCE:
        return None
    start = Ellipse(first.x, first.y, k * first.m, k * first.e, k * first.f)
    fitted, on = _agreed(start, t, (u[path] - k) * first.m, along)
    clear = on.mean() > OTHER_AGREEMENT and (along * on).mean() > OTHER_EVIDENCE
    return fitted if clear else None


def _polar_ellipses(photo: Photo, seed: Seed, radii: tuple[float, float]) -> list[Ellipse]:
    ring = Ellipse(x=seed.x_px, y=seed.y_px, m=seed.radius_px)
    small = reduced(photo, ring, radius_px=POLAR_RADIUS_PX, reach=radii[1])
    circle = small.shrink(ring)
    t = np.arange(POLAR_ANGLES) * (2 * np.pi / POLAR_ANGLES)
    columns = np.arange((radii[1] - radii[0]) * circle.m + 2 * MARGIN)
    u = radii[0] + (columns - MARGIN) / circle.m
    polar, inside = rays_from(small.grey, circle, t, u)
    u = u[MARGIN:-MARGIN]
    polar = evened(photo, polar)
    gains = np.stack(
        [
            break_evidence(polar, inside=inside, shading=shading)[:, MARGIN:-MARGIN]
            for shading in (True, False)
        ]
    )
    found = []
    for gain, path in zip(
        gains, closed_paths(gains, reach=PATH_REACH, toll=PATH_TOLL), strict=True
    ):
        radius = u[path] * circle.m
        start = Ellipse(x=circle.x, y=circle.y, m=float(np.median(radius)))
        weights = gain[np.arange(len(t)), path].astype(np.float64) + LEAST_WEIGHT
        moved, _, _ = moved_by_offsets(start, t, radius - start.m, weights, floor=FIT_FLOOR_PX)
        found.append(small.grow(moved))
    return found


def _sharpened(photo: Photo, start: Ellipse) -> Ring | None:
    ring = None
    ellipse = start
    for half in (max(BAND_LEAST_PX, BAND_HALF * start.m), BAND_LEAST_PX, BAND_LAST_PX):
        if not _plausible(ellipse, start, photo):
            return None
        if ring is not None and half == BAND_LEAST_PX and ring.agreement > BAND_AGREEMENT:
            continue
        ring = _in_band(photo, ellipse, half)
        moved, ellipse = largest_move(ring.ellipse, ellipse), ring.ellipse
        if ring.agreement > BAND_STAYED and moved < BAND_STAYED_PX:
            break
    return ring if _plausible(ellipse, start, photo) else None


def _plausible(ellipse: Ellipse, start: Ellipse, photo: Photo) -> bool:
    """Whether an ellipse is still a ring of about the size it started from."""
    a, b = ellipse.semi_axes
    return bool(
        2.0 < a < max(photo.grey.shape)
        and b > 0.6 * a
        and abs(np.log(ellipse.m / start.m)) < LARGEST_CHANGE
    )


def _in_band(photo: Photo, ellipse: Ellipse, half_px: float) -> Ring:
    band = band_along(photo, ellipse, half_px=half_px + HALF_MARGIN, arcs=BAND_ARCS, rays=BAND_RAYS)
    gain = break_evidence(evened(photo, band.grey), inside=band.inside, shading=False)
    within = slice(HALF_MARGIN, -HALF_MARGIN)
    gain, q = gain[:, within], band.q_px[within]
    path = closed_path(gain, reach=PATH_REACH, toll=PATH_TOLL)
    along: NDArray[np.floating] = gain[np.arange(BAND_ARCS), path].astype(np.float64)
    fitted, on = _agreed(ellipse, band.t, q[path], along)
    return Ring(ellipse=fitted, evidence=float(np.mean(along * on)), agreement=float(np.mean(on)))
