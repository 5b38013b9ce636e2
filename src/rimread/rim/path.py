"""The closed path of least cost through a polar picture: the rim as one curve, not many points.

Rows are angles, columns radii. The path may change its column by at most `reach` from row to row
and as good as closes. Dynamic programming over a turn and a half, read in the middle where the
two ends no longer matter (the heuristic of Gunn & Nixon 1997; exact closed paths cost a turn for
every start column, Appleton & Sun 2003). It runs from both ends at once and meets half way, which
gives the same path in half as many steps.
"""

from __future__ import annotations

from operator import sub

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

__all__ = ["closed_path", "closed_paths"]

WARM = 4
"""The path is followed for a quarter of a turn more on either side."""
_BARRED = np.float32(-1e9)


def closed_path(gain: NDArray[np.floating], *, reach: int, toll: float) -> NDArray[np.intp]:
    """Columns (A,) of the closed path with the largest summed gain.

    Parameters
    ----------
    gain : ndarray, shape (A, R)
        What a path earns in each cell.
    reach : int
        Largest change of column from one row to the next.
    toll : float
        What a change by one column costs.
    """
    return closed_paths(gain[None], reach=reach, toll=toll)[0]


def closed_paths(gains: NDArray[np.floating], *, reach: int, toll: float) -> list[NDArray[np.intp]]:
    """The closed path of each of the pictures `gains` (P, A, R), in hardly more time than one."""
    rows = gains.shape[1]
    warm = rows // WARM
    wound = np.concatenate([gains[:, -warm:], gains, gains[:, : warm + rows % 2]], axis=1)
    half = wound.shape[1] // 2
    ends = np.concatenate([wound[:, :half], wound[:, : -half - 1 : -1]])
    price = (toll * np.abs(np.arange(-reach, reach + 1))).astype(np.float32)
    totals = np.ascontiguousarray(_totals(ends.transpose(1, 2, 0), price).transpose(2, 0, 1))
    firsts, lasts = np.split(totals, 2)
    paths = (_met(first, last, price) for first, last in zip(firsts, lasts, strict=True))
    return [path[warm : warm + rows] for path in paths]


def _met(
    first: NDArray[np.float32], last: NDArray[np.float32], price: NDArray[np.float32]
) -> NDArray[np.intp]:
    """Columns of the best path through the rows of `first` and, backwards, of `last`."""
    reach = len(price) // 2
    best_before = (sliding_window_view(first[-1], len(price)) - price).max(axis=1)
    middle = int((best_before + last[-1, reach:-reach]).argmax())
    path = [*_back(first, middle, price)[::-1], middle, *_back(last[:-1], middle, price)]
    return np.array(path, np.intp)


def _totals(gains: NDArray[np.floating], price: NDArray[np.float32]) -> NDArray[np.float32]:
    """Largest sum up to each cell, shape (N, R + 2 reach, P), with barred columns on either side.

    Parameters
    ----------
    gains : ndarray, shape (N, R, P)
        Pictures beside each other, so that one operation serves all.
    price : ndarray, shape (2 reach + 1,)
        Of each move.
    """
    rows, columns, pictures = gains.shape
    reach = len(price) // 2
    cells, bar = columns * pictures, reach * pictures  # the pictures' columns in turn, in one row
    gains = gains.reshape(rows, cells)
    totals = np.full((rows, cells + 2 * bar), _BARRED, np.float32)
    totals[0, bar : bar + cells] = gains[0]
    offers = sliding_window_view(totals, cells, axis=1)[:, ::pictures]
    earned = gains[1:, None] - price[:, None]
    sums = np.empty((len(price), cells), np.float32)
    best = np.maximum.reduce
    for offer, row, more in zip(offers[:-1], totals[1:, bar : bar + cells], earned, strict=True):
        np.add(offer, more, sums)
        best(sums, 0, None, row)
    return totals.reshape(rows, columns + 2 * reach, pictures)


def _back(totals: NDArray[np.float32], column: int, price: NDArray[np.float32]) -> list[int]:
    """Columns of the best path into `column` of the row after the last, from last to first."""
    reach, width, costs = len(price) // 2, totals.shape[1], price.tolist()
    cells = totals.reshape(-1).data  # of a few numbers lists are quicker than arrays
    path = []
    for row in range((len(totals) - 1) * width, -1, -width):
        offers = cells[row + column : row + column + len(costs)].tolist()
        nets = list(map(sub, offers, costs))
        column += nets.index(max(nets)) - reach
        path.append(column)
    return path
