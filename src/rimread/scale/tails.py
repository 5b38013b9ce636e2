"""The longer lines past the ends of the short ones: which lines of a ladder they are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimread.scale.spectrum import MIN_LINES
from rimread.scale.strips import Cells

__all__ = ["Tail", "tail_pattern"]

FloatArray = NDArray[np.floating]

_STAND_OUT = 3.0
"""Longer lines must hold this many times the ink of any other, past the ends of the short ones."""


def _pattern_of(fold: FloatArray, ink: float) -> tuple[float, int]:
    """By how much a pattern stands out of ten residues, and which; `ink` is that of one line."""
    best = (0.0, 0)
    for every, members in ((10, (0,)), (5, (0, 5)), (2, (0, 2, 4, 6, 8))):
        for offset in range(every):
            high = (np.array(members) + offset) % 10
            low = np.delete(fold, high)
            least = float(fold[high].min())
            if not 0.25 * ink < least < 4.0 * ink:
                continue
            score = least / max(float(np.abs(low).max()), 1e-12)
            if score > best[0]:
                best = (score, every)
    return best if best[0] > _STAND_OUT else (0.0, 0)


@dataclass(frozen=True, slots=True, order=True)
class Tail:
    """The longer lines past the ends of the short ones, the surer pattern the larger.

    Parameters
    ----------
    rank : int
        10th lines alone count less, because numerals look like them.
    score : float
        By how much they stand out.
    every : int
        Every how many lines one is longer: 5 (5th and 10th), 10 (10th only), 2 (every second),
        0 when none stand out.
    """

    rank: int
    score: float
    every: int


_NO_TAIL = Tail(0, 0.0, 0)


def tail_pattern(cells: Cells, columns: tuple[int, int], rows: tuple[int, int]) -> Tail:
    """The longer lines past either end of the band: the first pattern met going outwards.

    Farther out there may be numerals, which stand at the 10th lines and are not lines.
    """
    part = slice(columns[0], columns[1] + 1)
    mean, whole = cells.mean[:, part], cells.whole[:, part]
    ink = _ink(mean, whole, rows)
    first = cells.first + columns[0]
    depth = max(2 * (rows[1] - rows[0] + 1), 4)
    found = [_NO_TAIL]
    for step, edge in ((-1, rows[0] - 1), (1, rows[1] + 1)):
        total, count = np.zeros(mean.shape[1]), np.zeros(mean.shape[1])
        for row in range(edge, edge + step * depth, step):
            if not 0 <= row < mean.shape[0] or whole[row].sum() < MIN_LINES:
                break
            total += np.where(whole[row], mean[row], 0.0)
            count += whole[row]
            score, every = _pattern_in(total, count, ink, first)
            if not every or row == edge:
                continue
            rank = 1 if every == 10 else 2
            found.append(Tail(rank, score, every))
            if rank == 2:
                break
    return max(found)


def _ink(mean: FloatArray, whole: NDArray[np.bool_], rows: tuple[int, int]) -> float:
    """Light of one line over its cell, however blurred: the band less the ground on its sides.

    Past either end of the band most lines are gone, so the median over the lines is ground. From
    both sides together a slope of the light along the lines cancels.
    """
    grounds = []
    for side in (range(rows[0] - 4, rows[0] - 1), range(rows[1] + 2, rows[1] + 5)):
        seen = [r for r in side if 0 <= r < mean.shape[0] and whole[r].any()]
        if seen:
            grounds.append(np.median(np.concatenate([mean[r][whole[r]] for r in seen])))
    band = slice(rows[0], rows[1] + 1)
    level = float(np.median(mean[band][whole[band]]))
    return level - float(np.mean(grounds)) if grounds else 0.0


def _pattern_in(total: FloatArray, count: FloatArray, ink: float, first: int) -> tuple[float, int]:
    """The pattern in the light of a piece of tail, summed over `count` strips for each line."""
    seen = count > 0
    light = np.where(seen, total / np.maximum(count, 1), np.nan)
    extra = math.copysign(1.0, ink) * (light - _neighbours(light))
    residue = (first + np.arange(light.size)) % 10
    parts = [extra[(residue == r) & np.isfinite(extra)] for r in range(10)]
    if not all(part.size for part in parts):
        return 0.0, 0
    fold = np.array([np.median(part) for part in parts])
    return _pattern_of(fold - np.median(np.sort(fold)[:5]), abs(ink))


def _neighbours(light: FloatArray) -> FloatArray:
    """Median of two lines on either side, in which a slope of the light cancels."""
    padded = np.pad(light, 2, constant_values=np.nan)
    four = np.stack([padded[k : k + light.size] for k in (0, 1, 3, 4)])
    lonely = ~np.isfinite(four).any(axis=0)
    four[:, lonely] = 0.0
    return np.asarray(np.where(lonely, np.nan, np.nanmedian(four, axis=0)))
