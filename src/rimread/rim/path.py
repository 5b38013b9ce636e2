"""The closed path of least cost through a polar picture: the rim as one curve, not many points.

Rows are angles, columns radii. The path may change its column by at most `reach` from row to row
and as good as closes. Dynamic programming over a turn and a half, read in the middle where the
two ends no longer matter (the heuristic of Gunn & Nixon 1997; exact closed paths cost a turn for
every start column, Appleton & Sun 2003).
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

__all__ = ["closed_path"]

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
    rows, columns = gain.shape
    warm = rows // 4
    wound = np.concatenate([gain[-warm:], gain, gain[:warm]])
    totals = np.full((len(wound), columns + 2 * reach), _BARRED, np.float32)
    totals[0, reach : reach + columns] = wound[0]
    price = (toll * np.abs(np.arange(-reach, reach + 1))).astype(np.float32)
    offers = sliding_window_view(totals, 2 * reach + 1, axis=1)
    for i in range(1, len(wound)):
        best = np.maximum.reduce(offers[i - 1].T - price[:, None], axis=0)
        np.add(best, wound[i], out=totals[i, reach : reach + columns])
    path = np.empty(len(wound), np.intp)
    path[-1] = totals[-1].argmax() - reach
    for i in range(len(wound) - 1, 0, -1):
        path[i - 1] = path[i] + (offers[i - 1, path[i]] - price).argmax() - reach
    return path[warm : warm + rows]
