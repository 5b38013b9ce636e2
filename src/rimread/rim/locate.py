"""Where along each normal the slope breaks, under every plausible shape of the edge.

Each arc's profile (`profiles`) is held against those predicted from the bowl (`shading`), shifted
along the normal, for a grid of edge shapes, samples weighted by the scatter of the finish on
their side of the edge. The log likelihoods are pooled over a few neighbouring arcs; the shapes
are then weighted by how well they explain the whole turn, so that what is not known about the
edge ends as a spread of places common to all arcs: the uncertainty of the rim's definition.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, softmax

from rimread.photo import Photo
from rimread.refusal import Refusal
from rimread.rim.ellipse import Ellipse, moved_by_offsets
from rimread.rim.misfit import misfits_of, no_break_evidence, slope_misfit
from rimread.rim.places import Least, Places, least_misfits, places_of
from rimread.rim.profiles import (
    POOLED_DEG,
    Profiles,
    guard_px,
    half_px,
    profiles_across,
)
from rimread.rim.shading import dark_feet
from rimread.rim.shapes import (
    BLURS_PX,
    OUTER_SLOPES,
    all_turns,
    blur_and_rounding,
    blurs_about,
    coarse_turns,
    log_weights,
)

__all__ = ["Located", "Settled", "locate", "log_likelihood", "settle"]

Array = NDArray[np.floating]

STEP_PX = 0.5
"""Grid of places; a parabola through three of them interpolates."""
SHIFT_PX = 5.0
"""Places searched on either side of an ellipse that is not settled yet."""
LEAST_SHIFT_PX, MOST_SHIFT_PX, SHIFT_BLURS = 2.0, 3.5, 1.25
"""Once it is: 2 px or a blur, and more by how far the places stray, to 3.5 px or 1.25 blurs. Own
choice: less cuts off blurred rims with lobes, more lets in the next line."""
STRAY = 20.0
"""Median distances from the ellipse added to the least reach; own choice."""
LEAST_INSIDE = 0.25
"""Part of the arcs that must lie in the picture, each with the whole of its profile."""
FIRST_BLUR_PX = BLURS_PX[2]
FIRST_BLURS = 6
"""The blur that profiles are long enough for at first, and how many blurs are tried on these: the
last two of them are too wide for them already."""
COARSE_POOLED_DEG = 18.75
"""Standard deviation over which likelihoods are pooled while the ellipse is settled: its five
parameters follow that. Own choice."""
COARSE_ARCS, COARSE_RAYS = 72, 8
"""Arcs and normals in each while the ellipse is settled: fewer arcs, as they are pooled."""
CLIPPED_SAY = 0.05
"""Weight of a clipped arc where edge shapes are judged: only the foot of its edge is seen, and any
blur with the right contrast explains that. With all arcs clipped they are all there is."""
NEAR_THE_FRAME = Refusal(
    "cut-by-frame",
    "The rim lies too near the edge of the picture to be seen from both sides: move it into the "
    "frame.",
)


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """The break along each normal.

    Parameters
    ----------
    t : ndarray, shape (A,)
        Ellipse parameter of each arc.
    q_px : ndarray, shape (A,)
        Place of the break along the outward normal.
    u_px : ndarray, shape (A,)
        Standard uncertainty of each place by itself.
    log_odds : ndarray, shape (A,)
        Natural logarithm of how much likelier an arc's light is with a break, at any of the places
        searched, than without any: as a straight slope of light (Bayes factor; Kass & Raftery
        1995, doi 10.1080/01621459.1995.10476572).
    u_common_px : float
        Standard uncertainty that all places share: the shape of the edge is not known.
    blur_px, rounding_px : float
        Mean shape of the edge.
    inside : ndarray, shape (A,), bool
        Arcs that lie wholly in the picture.
    clipped : ndarray, shape (A,), bool
        Arcs whose profile is clipped by the exposure.
    dark : ndarray, shape (A,)
        How far the bowl is dark up to the rim (`rimread.rim.shading.dark_feet`).
    """

    t: NDArray[np.floating]
    q_px: NDArray[np.floating]
    u_px: NDArray[np.floating]
    log_odds: NDArray[np.floating]
    u_common_px: float
    blur_px: float
    rounding_px: float
    inside: NDArray[np.bool_]
    clipped: NDArray[np.bool_]
    dark: NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class Settled:
    """An ellipse on a rim to a fraction of a pixel.

    Parameters
    ----------
    ellipse : Ellipse
    blur_px : float
        About the blur of the edge.
    reach_px : float
        How far on either side of the ellipse places are worth searching.
    """

    ellipse: Ellipse
    blur_px: float
    reach_px: float


def settle(photo: Photo, ellipse: Ellipse) -> Settled | Refusal:
    """Bring an ellipse that lies within 5 px of a rim onto it.

    A coarser grid of shapes than in `locate`. Profiles begin short, where little but the rim is
    seen, and are taken again longer, with every blur, when they end within the blur found: a blur
    wider than a profile looks like a slope. Refused where too few of them lie in the picture.
    """
    turns = coarse_turns(2 * ellipse.m)
    shifts = _shifts(SHIFT_PX, step=2 * STEP_PX)
    blurs, blur, half = BLURS_PX[:FIRST_BLURS], FIRST_BLUR_PX, 0.0
    while half < guard_px(blur):
        measured = profiles_across(photo, ellipse, blur_px=blur, arcs=COARSE_ARCS, rays=COARSE_RAYS)
        if measured.inside.mean() < LEAST_INSIDE:
            return NEAR_THE_FRAME
        half = measured.q_px[-1]
        misfits = misfits_of(measured, blurs, turns, shifts, pooled=COARSE_POOLED_DEG)
        least = least_misfits(misfits, shifts)
        best = int(np.argmin(_score(least, measured)))
        blur, blurs = blurs[best // len(turns)], BLURS_PX
    chosen = slice(best, best + 1)
    places = places_of(misfits[chosen], least.of(chosen), shifts, samples=len(measured.q_px))
    weights = measured.inside / (places.u_px[0] ** 2 + STEP_PX**2)
    moved, residuals, _ = moved_by_offsets(
        ellipse, measured.t, places.q_px[0], weights, floor=STEP_PX / 2
    )
    stray = max(LEAST_SHIFT_PX, blur) + STRAY * float(np.median(np.abs(residuals)))
    most = max(MOST_SHIFT_PX, SHIFT_BLURS * blur)
    return Settled(ellipse=moved, blur_px=blur, reach_px=round(2 * min(stray, most)) / 2)


def locate(photo: Photo, settled: Settled) -> Located | Refusal:
    """Find the break along the normals of a settled ellipse.

    Parameters
    ----------
    photo : Photo
    settled : Settled
        Three neighbouring blurs about its own are weighed, at either end of `BLURS_PX` the last
        three.

    Returns
    -------
    Located or Refusal
        A refusal where too few of the profiles lie in the picture.
    """
    ellipse = settled.ellipse
    measured = profiles_across(photo, ellipse, blur_px=settled.blur_px)
    if measured.inside.mean() < LEAST_INSIDE:
        return NEAR_THE_FRAME
    blurs, turns = blurs_about(settled.blur_px), all_turns(2 * ellipse.m)
    shifts = _shifts(settled.reach_px)
    misfits = misfits_of(measured, blurs, turns, shifts, pooled=POOLED_DEG)
    least = least_misfits(misfits, shifts)
    sloped = slope_misfit(measured, np.array(OUTER_SLOPES))
    weights = softmax(log_weights(_score(least, measured), sloped))
    places = places_of(misfits, least, shifts, samples=len(measured.q_px))
    return _located(measured, weights @ blur_and_rounding(blurs, turns), weights, places)


def log_likelihood(
    photo: Photo, ellipse: Ellipse, *, blur_px: float, span_px: tuple[float, float]
) -> float:
    """How well a rim near an ellipse explains the light of the whole turn.

    Under all roundings and outer slopes and three blurs about the given one, tempered as `TEMPER`
    says.

    Parameters
    ----------
    photo : Photo
    ellipse : Ellipse
    blur_px : float
        About the blur of the edge.
    span_px : (float, float)
        Stretch of the outward normals that counts.

    Returns
    -------
    float
        Up to a constant: comparable with that of another rim over the same stretch of light.

    Raises
    ------
    ValueError
        If the stretch does not hold the ellipse.
    """
    least, most = span_px
    if not least < 0 < most:
        raise ValueError(f"the stretch must reach to either side of the ellipse, and is {span_px}")
    longer = np.ceil(max(-least, most, half_px(blur_px)) - half_px(blur_px))
    measured = profiles_across(
        photo, ellipse, blur_px=blur_px, arcs=COARSE_ARCS, rays=COARSE_RAYS, longer_px=longer
    )
    span = slice(
        np.searchsorted(measured.q_px, least), np.searchsorted(measured.q_px, most, side="right")
    )
    measured = replace(
        measured,
        q_px=measured.q_px[span],
        light=measured.light[:, span],
        seen=measured.seen[:, span],
    )
    blurs, turns = blurs_about(blur_px), all_turns(2 * ellipse.m)
    shifts = _shifts(LEAST_SHIFT_PX)
    misfits = misfits_of(measured, blurs, turns, shifts, pooled=POOLED_DEG)
    score = _score(least_misfits(misfits, shifts), measured)
    return float(logsumexp(log_weights(score)))


def _shifts(reach_px: float, *, step: float = STEP_PX) -> NDArray[np.floating]:
    return np.arange(-reach_px, reach_px + step / 2, step)


def _score(least: Least, measured: Profiles) -> NDArray[np.floating]:
    """Mean over the turn of the least misfit of each shape, clipped arcs having little say."""
    weight = measured.inside * np.where(measured.clipped, CLIPPED_SAY, 1.0)
    return np.asarray(least.misfit @ (weight / weight.sum()))


def _located(
    measured: Profiles,
    shape: NDArray[np.floating],
    weights: NDArray[np.floating],
    places: Places,
) -> Located:
    """What is told of mean blur and rounding `shape`, and of all shapes' places and weights."""
    q = weights @ places.q_px
    u = np.sqrt(weights @ places.u_px**2)
    firm = measured.inside / (u**2 + STEP_PX**2)
    common = (places.q_px @ firm) / firm.sum()
    most = places.evidence.max(axis=0)
    seen = most + np.log(weights @ np.exp(places.evidence - most))
    return Located(
        t=measured.t,
        q_px=q,
        u_px=u,
        log_odds=seen - no_break_evidence(measured),
        u_common_px=float(np.sqrt(weights @ (common - weights @ common) ** 2)),
        blur_px=float(shape[0]),
        rounding_px=float(shape[1]),
        inside=measured.inside,
        clipped=measured.clipped,
        dark=dark_feet(measured.sides.chart),
    )
