"""From misfits at a grid of places to the likeliest place, its uncertainty and its evidence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Least", "Places", "least_misfits", "places_of"]

Array = NDArray[np.floating]

LEAST_REST = 0.1
"""Between places no less is believed to stay unexplained than a tenth of that at the best one: a
parabola through noise may pass below nothing. Own choice."""
LEAST_BEND = 1e-9
"""Keeps places without any bend from dividing by zero."""


@dataclass(frozen=True, slots=True, eq=False)
class Least:
    """The least misfit of each shape and arc, between the places searched; all (shapes, A).

    Parameters
    ----------
    q_px : ndarray
        Its place: the vertex of a parabola through three places.
    misfit : ndarray
        The misfit there.
    bend : ndarray
        Second difference of the three.
    within : ndarray of bool
        Whether it lies inside the span searched.
    """

    q_px: NDArray[np.floating]
    misfit: NDArray[np.floating]
    bend: NDArray[np.floating]
    within: NDArray[np.bool_]

    def of(self, shapes: slice) -> Least:
        """Those of some shapes."""
        return Least(
            q_px=self.q_px[shapes],
            misfit=self.misfit[shapes],
            bend=self.bend[shapes],
            within=self.within[shapes],
        )


def least_misfits(misfits: Array, shifts: NDArray[np.floating]) -> Least:
    """Least misfits, between places: shapes whose break falls on one would be favoured otherwise.

    What is left unexplained, not its logarithm, is a parabola in the place (own observation: with
    a parabola through logarithms a noiseless rim moved by 0.1 px with the grid).

    Parameters
    ----------
    misfits : ndarray, shape (shapes, shifts, A)
        Logarithms of what is left unexplained.
    shifts : ndarray, shape (shifts,)
        Places searched, evenly apart.
    """
    step = shifts[1] - shifts[0]
    by_place = np.moveaxis(misfits, 1, 0)
    best = by_place.argmin(axis=0)
    inner = np.clip(best, 1, len(shifts) - 2)
    cell = inner * best.size + np.arange(best.size).reshape(best.shape)
    before, here, after = (by_place.reshape(-1).take(cell + k * best.size) for k in (-1, 0, 1))
    before, after = np.exp(before - here), np.exp(after - here)
    slope, bend = 0.5 * (after - before), before - 2 + after
    off = np.clip(-slope / np.maximum(bend, LEAST_BEND), -1, 1)
    believed = LEAST_REST * np.minimum(np.minimum(before, after), 1)
    rest = np.maximum(1 + off * (slope + 0.5 * bend * off), believed)
    return Least(
        q_px=shifts[inner] + step * off,
        misfit=here + np.log(rest),
        bend=np.maximum(bend, LEAST_BEND) / rest,
        within=np.abs(off) < 1,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Where each shape sees the break of each arc; all of shape (shapes, A).

    Parameters
    ----------
    q_px, u_px : ndarray
        Place and its standard uncertainty: that of the parabola at the least misfit or, where it
        is more, that of all places searched, each as likely as its misfit says.
    evidence : ndarray
        Log likelihood of a break at any of the places, all as likely beforehand.
    """

    q_px: NDArray[np.floating]
    u_px: NDArray[np.floating]
    evidence: NDArray[np.floating]


def places_of(
    misfits: Array, least: Least, shifts: NDArray[np.floating], *, samples: int
) -> Places:
    """What the misfits of profiles of `samples` samples say of the places.

    Parameters
    ----------
    misfits : ndarray, shape (shapes, shifts, A)
        -2 log likelihood per sample.
    least : Least
        Of the same misfits.
    shifts : ndarray, shape (shifts,)
        Places searched, evenly apart.
    samples : int
    """
    step = shifts[1] - shifts[0]
    likely = misfits - least.misfit[:, None]
    likely *= np.float32(-0.5 * samples)
    np.exp(likely, out=likely)
    powers = np.stack([np.ones_like(shifts), shifts, shifts**2]).astype(np.float32)
    all_likely, first, second = np.moveaxis(powers @ likely, 1, 0)
    off = (least.q_px - shifts[0]) / step
    grid2 = (step * (off - np.round(off))) ** 2  # the grid's own part
    spread2 = (second - 2 * least.q_px * first) / all_likely + least.q_px**2 - grid2
    spread = np.sqrt(np.maximum(spread2, 0))
    u = np.where(least.within, step / np.sqrt(least.bend * samples / 2), 2 * step)
    return Places(
        q_px=least.q_px,
        u_px=np.maximum(np.minimum(u, shifts[-1]), spread),
        evidence=np.log(all_likely / len(shifts)) - 0.5 * samples * least.misfit,
    )
