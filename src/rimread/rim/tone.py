"""How far the rim may be off because nothing says what the camera's tone curve is.

A blurred edge between two grey levels keeps its place only in linear light: read through the wrong
curve it seems to move towards the darker side, by up to 0.4 standard deviations of the blur. Where
neither file nor user states the curve, the other one of `rimread.photo.Tone` is possible too. The
difference is bounded from the grey levels on both sides of the rim instead of tracing it twice.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from rimread.photo import Photo, linear_light
from rimread.rim.ellipse import Ellipse
from rimread.rim.profiles import NEAR_PX, guard_px
from rimread.rim.sampling import band_along

__all__ = ["edge_moves", "tone_uncertainty_px"]

CANCELLED = 1 / 3
"""Part of the moves that is left where darker and brighter arcs cancel round the turn: the arcs
do not weigh alike in the trace. Own choice: photos simulated under ring, two-arc and side light
and traced twice move by no more (tests/rim/test_tone.py); with a quarter, two arcs did by 9 %."""
READ_OTHERWISE = 1.06
"""The shape of the edge and the metal outside are read otherwise, too, through the wrong curve: the
trace moves by up to a twentieth more (tests/rim/test_tone.py, ring light). Own choice."""
LEAST_STEP = 0.01
"""Levels closer than 1 % of full scale make no edge to be moved."""
ARCS = 60

_Z = np.linspace(-5.0, 5.0, 101)
_SHARE = ndtr(-_Z)

Array = NDArray[np.floating]


def tone_uncertainty_px(
    photo: Photo, ellipse: Ellipse, *, blur_px: float, t: Array, weights: Array
) -> float:
    """Standard uncertainty of the rim's radius for not knowing the tone curve.

    The true curve is taken to lie anywhere between the assumed and the other one (rectangular).

    Parameters
    ----------
    photo : Photo
    ellipse : Ellipse
        The rim.
    blur_px : float
        Standard deviation of its blur.
    t, weights : ndarray, shape (A,)
        Where on the ellipse (radians, rising) the rim was traced, and the weights of the places.

    Returns
    -------
    float
        0 when the tone curve is stated.
    """
    if photo.tone_stated:
        return 0.0
    reach = guard_px(blur_px)
    band = band_along(photo, ellipse, half_px=reach + NEAR_PX, arcs=ARCS, rays=1)
    inner = band.grey[:, band.q_px < -reach].mean(axis=1)
    outer = band.grey[:, band.q_px > reach].mean(axis=1)
    moves = edge_moves(photo, inner, outer)
    share = np.interp(band.t, t, weights, period=2 * np.pi)
    share = share / share.sum() if share.sum() > 0 else np.full(len(moves), 1 / len(moves))
    both = math.hypot(float(share @ moves), CANCELLED * float(share @ np.abs(moves)))
    return READ_OTHERWISE * blur_px * both / math.sqrt(3.0)


def edge_moves(photo: Photo, inner: Array, outer: Array) -> Array:
    """Moves, in standard deviations of the blur, of edges read through the wrong tone curve.

    The place of an edge is that of the sharp step with the same area. Computed for a linear
    picture decoded as sRGB, positive outwards; the other way round the move is nearly the
    opposite one.

    Parameters
    ----------
    photo : Photo
        Where the levels are from.
    inner, outer : ndarray, shape (A,)
        Coded grey levels inside and outside the rim, in fractions of full scale.
    """
    coded = outer[:, None] + (inner - outer)[:, None] * _SHARE
    light = linear_light(replace(photo, tone="srgb"), coded * photo.full_scale)
    step = light[:, :1] - light[:, -1:]
    edge = np.abs(inner - outer) > LEAST_STEP
    profile = (light - light[:, -1:]) / np.where(edge[:, None], step, 1.0)
    return np.where(edge, (profile - _SHARE).sum(axis=1) * (_Z[1] - _Z[0]), 0.0)
