"""Where the ruled lines are: direction, pitch, band, and which of them are the longer ones.

A stage micrometer is a ladder of equal lines; every 5th and 10th is longer. Seen along the scale
(u) and along the lines (v) it has a band where all lines run side by side and, past the ends of
the short ones, a tail in which only the longer ones remain. The pitch seen in the band and the
pattern seen in the tail must agree: when the finest lines are blurred away, the 5th and 10th ones
still make a perfect ladder, but every second line of it is longer, not every fifth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rimread.scale.spectrum import MIN_LINES, Peak, directions, spectral_peaks
from rimread.scale.strips import Cells, Strips, cells_of, strips_of
from rimread.scale.tails import Tail, tail_pattern

__all__ = ["MIN_LINES", "Ladder", "find_ladders"]

FloatArray = NDArray[np.floating]

_LONG_LINES = 3
"""Longer lines, beyond the first, that must agree where only the 10th lines are longer."""

_MAX_PITCHES = 10

_BENT = 0.05
"""Distortion the lines may show, as a share of their place at 1000 px; no lens bends more."""

_PHASE_NOISE = 0.3
"""Phase noise of one cell in radians that such a bend is weighed against."""

_BOX = (5, 3)
"""Lines and strips over which phases are compared."""


@dataclass(frozen=True, slots=True, eq=False)
class Ladder:
    """A ladder of lines in one photo, coordinates from the picture centre.

    Parameters
    ----------
    angle_rad : float
        Direction along the scale, from x towards y.
    frequency : tuple of float
        Lines per pixel along u and along v.
    phase : ndarray, shape (6,)
        Slow departures of the line index from the plane wave, in lines, in the terms of
        `index_at`.
    first, last : int
        Indices of the first and last line seen.
    ends_seen : tuple of bool
        Whether the scale is seen to end there, inside the frame.
    v_px : tuple of float
        The band in which all lines run, along the lines.
    every : int
        Every how many lines one is longer, 0 when none stand out.
    """

    angle_rad: float
    frequency: tuple[float, float]
    phase: FloatArray
    first: int
    last: int
    ends_seen: tuple[bool, bool]
    v_px: tuple[float, float]
    every: int

    @property
    def lines(self) -> int:
        """How many lines are seen."""
        return self.last - self.first + 1

    @property
    def counted(self) -> bool:
        """Whether the longer lines prove that these are the finest lines.

        Longer 5th and 10th lines do; longer 10th lines alone only when several of them agree,
        because numerals and dust look like one or two.
        """
        return self.every == 5 or (self.every == 10 and self.lines > _LONG_LINES * 10)

    @property
    def pitch_px(self) -> float:
        """Distance between neighbouring lines."""
        return 1.0 / math.hypot(*self.frequency)

    def index_at(self, u: FloatArray, v: FloatArray) -> FloatArray:
        """Line index, whole on the lines, at (u, v) px from the picture centre."""
        f_u, f_v = self.frequency
        return np.asarray(f_u * u + f_v * v - _terms(u, v) @ self.phase)


def _terms(u: FloatArray, v: FloatArray) -> FloatArray:
    """Terms of a slow departure: cubic along the scale, linear along the lines."""
    a, b = u / 1000.0, v / 1000.0
    return np.stack([np.ones_like(a), a, b, a * a, a * b, a**3], axis=-1)


def _coherence(cells: Cells) -> FloatArray:
    """How far neighbouring cells agree in phase: 1 for noise, lines × strips for a ladder."""

    def box(values: FloatArray) -> FloatArray:
        return np.asarray(
            cv2.blur(np.ascontiguousarray(values), _BOX, borderType=cv2.BORDER_CONSTANT)
        )

    together = box(cells.wave.real) ** 2 + box(cells.wave.imag) ** 2
    alone = box(np.abs(cells.wave) ** 2)
    return np.asarray(together / np.maximum(alone, 1e-30)) * _BOX[0] * _BOX[1]


def _largest_patch(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The largest connected part of a mask."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=4
    )
    if count < 2:
        return np.zeros_like(mask)
    return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))


def _patch_phase(
    strips: Strips, cells: Cells, patch: NDArray[np.bool_], frequency: tuple[float, float]
) -> FloatArray:
    """Coefficients of `_terms` that bring the phase of the patch to zero, in lines."""
    wave = np.where(patch, cells.wave, 0.0)
    step_v = np.angle(np.sum(wave[1:] * np.conj(wave[:-1])))
    level = wave * np.exp(-1j * step_v * np.arange(wave.shape[0]))[:, None]
    columns = np.flatnonzero(patch.any(axis=0))
    along = np.unwrap(np.angle(level.sum(axis=0)[columns]))
    line = cells.first + np.arange(wave.shape[1])
    rows = np.arange(wave.shape[0])
    guess = np.zeros(wave.shape)
    guess[:, columns] = along[None, :] + step_v * rows[:, None]
    u = (line[None, :] - frequency[1] * strips.v[:, None]) / frequency[0]
    v = np.broadcast_to(strips.v[:, None], u.shape)
    terms = _terms(u[patch], v[patch])
    weight = np.abs(wave[patch]) / np.abs(wave[patch]).max()
    target = guess[patch]
    flat = _BENT * math.hypot(*frequency) * 1000.0 * 2 * np.pi
    ridge = np.eye(6)[3:] * _PHASE_NOISE / flat
    coefficients: FloatArray = np.zeros(terms.shape[1])
    for _ in range(4):
        coefficients, *_ = np.linalg.lstsq(
            np.concatenate([terms * weight[:, None], ridge]),
            np.concatenate([target * weight, np.zeros(len(ridge))]),
            rcond=1e-9,
        )
        model = terms @ coefficients
        target = model + np.angle(wave[patch] * np.exp(-1j * model))
    return np.asarray(coefficients) / (2 * np.pi)


def _run_around(values: FloatArray, inside: NDArray[np.bool_], gap: int) -> tuple[int, int] | None:
    """First and last place where values exceed half of what is usual inside, gaps bridged."""
    if not inside.any():
        return None
    good = values > 0.5 * float(np.quantile(values[inside], 0.75))
    start = np.flatnonzero(good & inside)
    if start.size == 0:
        return None
    places = np.flatnonzero(good)
    cuts = np.flatnonzero(np.diff(places) > gap + 1)
    for part in np.split(places, cuts + 1):
        if part[0] <= start[start.size // 2] <= part[-1]:
            return int(part[0]), int(part[-1])
    return None


def _ladder_at(strips: Strips, peak: Peak) -> Ladder | None:
    """The ladder whose lines stand at one spectral peak, if there is one."""
    cos, sin = math.cos(strips.angle), math.sin(strips.angle)
    frequency = (peak.fx * cos + peak.fy * sin, peak.fy * cos - peak.fx * sin)
    if frequency[0] < 0:
        frequency = (-frequency[0], -frequency[1])
    wave = frequency[0] * strips.u[None, :] + frequency[1] * strips.v[:, None]
    cells = cells_of(strips, wave)
    patch = _largest_patch(_coherence(cells) > 0.5 * _BOX[0] * _BOX[1])
    if patch.any(axis=0).sum() < MIN_LINES or patch.any(axis=1).sum() < 2:
        return None
    phase = _patch_phase(strips, cells, patch, frequency)
    near = _around(strips, cells, patch, wave)
    u, v = np.broadcast_arrays(near.u[None, :], near.v[:, None])
    index = frequency[0] * u + frequency[1] * v - _terms(u, v) @ phase
    told = [_read(cells_of(near, index - half), half) for half in (0.0, 0.5)]
    known = [(t, half) for t, half in zip(told, (0.0, 0.5), strict=True) if t is not None]
    if not known:
        return None
    reading, half = max(known, key=lambda pair: pair[0].tail)
    return Ladder(
        angle_rad=strips.angle,
        frequency=frequency,
        phase=phase + half * np.eye(phase.size)[0],
        first=reading.lines[0],
        last=reading.lines[1],
        ends_seen=reading.ends_seen,
        v_px=(float(near.v[reading.rows[0]]), float(near.v[reading.rows[1]])),
        every=reading.tail.every,
    )


def _around(strips: Strips, cells: Cells, patch: NDArray[np.bool_], wave: FloatArray) -> Strips:
    """The part of the photo that holds a patch, the tails on its sides and what ends it."""
    rows, columns = (np.flatnonzero(patch.any(axis=axis)) for axis in (1, 0))
    reach = 3 * rows.size + 4
    low, high = max(int(rows[0]) - reach, 0), int(rows[-1]) + reach + 1
    line = wave[rows[0] : rows[-1] + 1] - cells.first
    inside = (line > columns[0] - _BOX[0]) & (line < columns[-1] + _BOX[0])
    bins = np.flatnonzero(inside.any(axis=0))
    part = slice(int(bins[0]), int(bins[-1]) + 1)
    return Strips(
        angle=strips.angle,
        values=strips.values[low:high, part],
        weight=strips.weight[low:high, part],
        u=strips.u[part],
        v=strips.v[low:high],
    )


@dataclass(frozen=True, slots=True)
class _Reading:
    tail: Tail
    lines: tuple[int, int]
    ends_seen: tuple[bool, bool]
    rows: tuple[int, int]


def _read(cells: Cells, half: float) -> _Reading | None:
    """Which lines and strips belong to the ladder, and the pattern of longer lines."""
    patch = _largest_patch(_coherence(cells) > 0.5 * _BOX[0] * _BOX[1])
    wave = cells.wave * (1.0 if half == 0.0 else -1.0)
    columns, strips = np.asarray(patch.any(axis=0)), np.asarray(patch.any(axis=1))
    rows = _run_around(_least_of_both(wave, cells.whole & columns), strips, 1)
    if rows is None:
        return None
    part = slice(rows[0], rows[1] + 1)
    height = _mean(wave.real[part], cells.whole[part], axis=0)
    run = _run_around(height, columns, 1)
    if run is None or run[1] - run[0] + 1 < MIN_LINES:
        return None
    lean = _mean(cells.lean[part], cells.whole[part], axis=0)
    here = slice(run[0], run[1] + 1)
    if not _alike(height[here], lean[here]):
        return None  # a harmonic of something wider: some of its lines do not exist
    tail = tail_pattern(cells, run, rows)
    seen = cells.whole[part].mean(axis=0) > 0.5
    return _Reading(
        tail=tail,
        lines=(cells.first + run[0], cells.first + run[1]),
        ends_seen=(
            bool(run[0] >= 2 and seen[run[0] - 2 : run[0]].all()),
            bool(run[1] + 2 < seen.size and seen[run[1] + 1 : run[1] + 3].all()),
        ),
        rows=rows,
    )


def _alike(height: FloatArray, lean: FloatArray) -> bool:
    """Whether all lines of a ladder look the same, counted by tens.

    Of a ladder twice as fine as the true one every second line is a gap, or all its lines are
    edges that lean to either side in turn. The first and the last line are left out: they lack a
    neighbour and look different when blurred.
    """
    usual = float(np.median(height[1:-1]))
    even = [float(np.median(height[1:-1][r::10])) for r in range(min(10, height.size - 2))]
    odd = [float(np.median(lean[1:-1][r::10])) for r in range(min(10, lean.size - 2))]
    middle = float(np.median(odd))
    return all(abs(e - usual) < 0.6 * usual for e in even) and all(
        abs(o - middle) < 0.6 * usual for o in odd
    )


def _least_of_both(wave: NDArray[np.complex128], mask: NDArray[np.bool_]) -> FloatArray:
    """Median height of the even and of the odd lines of each strip, the smaller one.

    In the band every line is there; where only every second or fifth one is, this falls to zero.
    A line at the border of two cells leans to either side (imaginary part) and counts for less.
    """
    halves = []
    for k in (0, 1):
        held = np.where(mask, wave, np.nan)[:, k::2]
        held[~mask[:, k::2].any(axis=1)] = 0.0
        real, imaginary = np.nanmedian(held.real, axis=1), np.nanmedian(held.imag, axis=1)
        halves.append(real - np.abs(imaginary))
    return np.asarray(np.minimum(*halves))


def _mean(values: FloatArray, mask: NDArray[np.bool_], axis: int) -> FloatArray:
    return np.asarray(
        np.sum(np.where(mask, values, 0.0), axis=axis) / np.maximum(mask.sum(axis=axis), 1)
    )


def find_ladders(light: NDArray[np.float32]) -> list[Ladder]:
    """Ladders of lines in a photo, those with a pattern of longer lines first.

    Parameters
    ----------
    light : ndarray, shape (height, width)
        Linear light.

    Returns
    -------
    list of Ladder
        Ends at the first ladder that has longer 5th or 10th lines; empty when no lines are seen.
    """
    found: list[Ladder] = []
    for group in directions(spectral_peaks(light), light.shape):
        strips = strips_of(light, group[0].angle)
        for peak in group[:_MAX_PITCHES]:
            ladder = _ladder_at(strips, peak)
            if ladder is None:
                continue
            if ladder.counted:
                return [ladder, *found]
            found.append(ladder)
        if found:
            break  # other directions are side lobes of this one
    return found
