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

__all__ = ["MIN_LINES", "Ladder", "Pattern", "find_ladders"]

FloatArray = NDArray[np.floating]

MIN_LINES = 11
"""One full decade of lines: the fewest that show the whole pattern of 5th and 10th lines."""

_LONG_LINES = 3
"""Longer lines, beyond the first, that must agree where only the 10th lines are longer."""

MIN_PITCH_PX = 5.0
"""Level, slope and a sine need four samples in a period; one to spare."""

_PEAK_RATIO = 30.0
"""Power over the median at that frequency. Noise exceeds it with 2**-30, once in 400 photos."""

_MAX_PEAKS = 48
_MAX_DIRECTIONS = 3
_MAX_PITCHES = 10
_STRIP_PX = 8
"""Height of the strips that are averaged along the lines; a trade of noise for place."""

_BENT = 0.05
"""Distortion the lines may show, as a share of their place at 1000 px; no lens bends more."""

_PHASE_NOISE = 0.3
"""Phase noise of one cell in radians that such a bend is weighed against."""

_BOX = (5, 3)
"""Lines and strips over which phases are compared."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """The longer lines seen past the ends of the short ones.

    Parameters
    ----------
    every : int
        Every how many lines one is longer: 5 (5th and 10th), 10 (10th only), 2 (every second),
        0 when none stand out.
    tenth : int
        Index of one of the longest lines, modulo `every` lines where `every` is 2 or 5 without
        a visible difference between 5th and 10th.
    """

    every: int
    tenth: int = 0


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
    pattern : Pattern
        Which lines are longer.
    strength : float
        Power of the ladder's spectral peak over its surroundings.
    """

    angle_rad: float
    frequency: tuple[float, float]
    phase: FloatArray
    first: int
    last: int
    ends_seen: tuple[bool, bool]
    v_px: tuple[float, float]
    pattern: Pattern
    strength: float

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
        every, lines = self.pattern.every, self.lines
        return every == 5 or (every == 10 and lines > _LONG_LINES * 10)

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


# --- the spectrum -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Peak:
    fx: float
    fy: float
    ratio: float

    @property
    def angle(self) -> float:
        return math.atan2(self.fy, self.fx)

    @property
    def radius(self) -> float:
        return math.hypot(self.fx, self.fy)


def _flattened(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Light without its slow part, dust clipped, faded out towards the frame."""
    size = max(light.shape) // 12 | 1
    flat = light - cv2.blur(light, (size, size), borderType=cv2.BORDER_REFLECT)
    limit = 4.0 * 1.4826 * float(np.median(np.abs(flat)))
    flat = np.clip(flat, -limit, limit) if limit > 0 else flat
    height, width = light.shape
    window = np.hanning(height)[:, None] * np.hanning(width)[None, :]
    return np.asarray(flat * window.astype(np.float32))


def _whitened(power: FloatArray, radius: FloatArray) -> FloatArray:
    """Power over the median power at the same frequency, whatever the direction."""
    order = np.argsort(radius, axis=None, kind="stable")
    edges = np.unique(np.geomspace(16, order.size, 200).astype(int))
    ratio = np.empty(order.size)
    flat = power.ravel()
    start = 0
    for stop in edges:
        part = order[start:stop]
        ratio[part] = flat[part] / max(float(np.median(flat[part])), 1e-30)
        start = stop
    return ratio.reshape(power.shape)


def _spectral_peaks(light: NDArray[np.float32]) -> list[_Peak]:
    """Frequencies that stand out of the photo's spectrum, strongest first."""
    from scipy.fft import next_fast_len, rfft2  # noqa: PLC0415  (kept out of start-up)

    height, width = (next_fast_len(n, real=True) for n in light.shape)
    spectrum = rfft2(_flattened(light), s=(height, width))
    power = np.fft.fftshift(np.abs(spectrum) ** 2, axes=0).astype(np.float32)
    fy = np.fft.fftshift(np.fft.fftfreq(height))[:, None]
    fx = np.fft.rfftfreq(width)[None, :]
    radius = np.hypot(fx, fy).astype(np.float32)
    ratio = _whitened(power, radius)
    top = cv2.dilate(power, np.ones((7, 7), np.uint8)) <= power
    least = (MIN_LINES - 1) / math.hypot(*light.shape)
    good = top & (ratio > _PEAK_RATIO) & (radius > least) & (radius < 1.0 / MIN_PITCH_PX)
    rows, columns = np.nonzero(good)
    best = np.argsort(-ratio[rows, columns])[:_MAX_PEAKS]
    log_power = np.log(power + 1e-30)
    peaks = []
    for r, c in zip(rows[best], columns[best], strict=True):
        dy, dx = _vertex(log_power[r - 1 : r + 2, c]), _vertex(_row_of_three(log_power, r, c))
        peaks.append(
            _Peak(
                fx=float(c + dx) / width,
                fy=float(fy[r, 0] + dy / height),
                ratio=float(ratio[r, c]),
            )
        )
    return peaks


def _row_of_three(values: NDArray[np.float32], row: int, column: int) -> NDArray[np.float32]:
    """Neighbours along fx; left of fx = 0 lies the mirror image of fx > 0."""
    if column > 0:
        return values[row, column - 1 : column + 2]
    mirror = 2 * (values.shape[0] // 2) - row
    return np.array([values[mirror % values.shape[0], 1], *values[row, :2]])


def _vertex(three: NDArray[np.float32]) -> float:
    """Place of the peak between samples, by the parabola through three of them."""
    if three.size < 3:
        return 0.0
    left, middle, right = (float(v) for v in three)
    bend = left - 2 * middle + right
    return float(np.clip(0.5 * (left - right) / bend, -1, 1)) if bend < 0 else 0.0


def _directions(peaks: list[_Peak], shape: tuple[int, ...]) -> list[list[_Peak]]:
    """Peaks that lie on one ray through zero frequency, strongest rays first."""
    width = 2.5 / min(shape)  # half width of a windowed peak, cycles per px
    groups: list[list[_Peak]] = []
    for peak in peaks:
        for group in groups:
            turn = (peak.angle - group[0].angle + math.pi / 2) % math.pi - math.pi / 2
            if abs(turn) * min(peak.radius, group[0].radius) < width:
                group.append(peak)
                break
        else:
            groups.append([peak])
    return groups[:_MAX_DIRECTIONS]


# --- strips along the lines ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Strips:
    """The photo averaged along the lines: values[strip, bin] at u, v."""

    angle: float
    values: FloatArray
    weight: FloatArray
    u: FloatArray
    v: FloatArray


def _strips(light: NDArray[np.float32], angle: float) -> _Strips:
    """Means over cells of 1 px along the scale and `_STRIP_PX` along the lines."""
    height, width = light.shape
    x = np.arange(width, dtype=np.float32) - np.float32((width - 1) / 2)
    y = np.arange(height, dtype=np.float32)[:, None] - np.float32((height - 1) / 2)
    cos, sin = np.float32(math.cos(angle)), np.float32(math.sin(angle))
    half = math.hypot(height, width) / 2 + 1
    columns = 2 * math.ceil(half) + 1
    rows = math.ceil(2 * half / _STRIP_PX)
    u_bin = np.rint(cos * x + sin * y + np.float32(half)).astype(np.int32)
    v_bin = ((cos * y - sin * x + np.float32(half)) / _STRIP_PX).astype(np.int32)
    cell = (v_bin * columns + u_bin).ravel()
    count = np.bincount(cell, minlength=rows * columns).reshape(rows, columns)
    total = np.bincount(cell, weights=light.ravel(), minlength=rows * columns)
    values = total.reshape(rows, columns) / np.maximum(count, 1)
    return _Strips(
        angle=angle,
        values=values,
        weight=np.asarray(count, dtype=float),
        u=np.arange(columns) - half,
        v=(np.arange(rows) + 0.5) * _STRIP_PX - half,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """One cell for each line and strip: level, complex amplitude, lean, whether it is whole.

    `lean` is the odd part of the light, a quarter of a division from the middle.

    Arrays have the shape (strips, lines); line index = column + `first`.
    """

    mean: FloatArray
    wave: NDArray[np.complex128]
    lean: FloatArray
    whole: NDArray[np.bool_]
    first: int


def _cells(strips: _Strips, index: FloatArray) -> _Cells:
    """Level, slope and sine of period one fitted in every cell of one line and one strip.

    Without the slope, uneven light would pass for a sine of the same phase everywhere.
    """
    seen = strips.weight > 0
    index, weight, values = index[seen], strips.weight[seen], strips.values[seen]
    line = np.rint(index).astype(int)
    first = int(line.min())
    lines = int(line.max()) - first + 1
    size = strips.v.size * lines
    group = np.nonzero(seen)[0] * lines + (line - first)
    local = index - line
    base = (np.ones(local.size), np.cos(2 * np.pi * local), np.sin(2 * np.pi * local), local)

    def summed(terms: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(group, weights=terms * weight, minlength=size), dtype=float)

    normal = np.empty((size, 4, 4))
    for a, b in ((0, 0), (0, 1), (0, 2), (0, 3), (1, 1), (1, 2), (1, 3), (2, 3), (3, 3)):
        normal[:, a, b] = normal[:, b, a] = summed(base[a] * base[b])
    normal[:, 2, 2] = normal[:, 0, 0] - normal[:, 1, 1]
    right = np.stack([summed(b * values) for b in base], axis=-1)
    pixels = normal[:, 0, 0].copy()
    whole = pixels > 0.8 * np.quantile(pixels[pixels > 0], 0.75)
    normal[:, range(4), range(4)] += 1e-6 * np.maximum(pixels, 1.0)[:, None]
    solved = np.zeros((size, 4))
    solved[whole] = np.linalg.solve(normal[whole], right[whole, :, None])[..., 0]
    shape = (strips.v.size, lines)
    return _Cells(
        mean=solved[:, 0].reshape(shape),
        wave=(solved[:, 1] + 1j * solved[:, 2]).reshape(shape),
        lean=(solved[:, 2] + 0.25 * solved[:, 3]).reshape(shape),
        whole=whole.reshape(shape),
        first=first,
    )


# --- the band -----------------------------------------------------------------------------------


def _coherence(cells: _Cells) -> FloatArray:
    """How far neighbouring cells agree in phase: 1 for noise, lines × strips for a ladder."""
    size = (_BOX[0], _BOX[1])

    def box(values: FloatArray) -> FloatArray:
        return np.asarray(
            cv2.blur(np.ascontiguousarray(values), size, borderType=cv2.BORDER_CONSTANT)
        )

    together = box(cells.wave.real) ** 2 + box(cells.wave.imag) ** 2
    alone = box(np.abs(cells.wave) ** 2)
    return np.asarray(together / np.maximum(alone, 1e-30)) * size[0] * size[1]


def _largest_patch(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The largest connected part of a mask."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=4
    )
    if count < 2:
        return np.zeros_like(mask)
    return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))


def _patch_phase(
    strips: _Strips, cells: _Cells, patch: NDArray[np.bool_], frequency: tuple[float, float]
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
    ridge = np.diag([0.0, 0.0, 0.0, 1.0, 1.0, 1.0])[3:] * _PHASE_NOISE / flat
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


# --- the longer lines ---------------------------------------------------------------------------


_STAND_OUT = 3.0
"""Longer lines must hold this many times the ink of any other, past the ends of the short ones."""


def _pattern_of(fold: FloatArray, ink: float) -> tuple[float, Pattern]:
    """The pattern that stands out of ten residues and by how much; `ink` is that of one line."""
    best = (0.0, Pattern(every=0))
    for every, members in ((10, (0,)), (5, (0, 5)), (2, (0, 2, 4, 6, 8))):
        for offset in range(every):
            high = (np.array(members) + offset) % 10
            low = np.delete(fold, high)
            least = float(fold[high].min())
            if not 0.25 * ink < least < 4.0 * ink:
                continue
            score = least / max(float(np.abs(low).max()), 1e-12)
            if score > best[0]:
                best = (score, Pattern(every=every, tenth=int(offset)))
    return best if best[0] > _STAND_OUT else (0.0, Pattern(every=0))


@dataclass(frozen=True, slots=True, order=True)
class _Tail:
    """A pattern found: 10th lines alone count less, because numerals look like them."""

    rank: int
    score: float
    every: int
    tenth: int


_NO_TAIL = _Tail(0, 0.0, 0, 0)


def _tail_pattern(cells: _Cells, columns: tuple[int, int], rows: tuple[int, int]) -> _Tail:
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
            score, pattern = _pattern_in(total, count, ink, first)
            if not pattern.every or row == edge:
                continue
            rank = 1 if pattern.every == 10 else 2
            found.append(_Tail(rank, score, pattern.every, pattern.tenth))
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


def _pattern_in(
    total: FloatArray, count: FloatArray, ink: float, first: int
) -> tuple[float, Pattern]:
    """The pattern in the light of a piece of tail, summed over `count` strips for each line."""
    seen = count > 0
    light = np.where(seen, total / np.maximum(count, 1), np.nan)
    extra = math.copysign(1.0, ink) * (light - _neighbours(light))
    residue = (first + np.arange(light.size)) % 10
    parts = [extra[(residue == r) & np.isfinite(extra)] for r in range(10)]
    if not all(part.size for part in parts):
        return 0.0, Pattern(every=0)
    fold = np.array([np.median(part) for part in parts])
    return _pattern_of(fold - np.median(np.sort(fold)[:5]), abs(ink))


def _neighbours(light: FloatArray) -> FloatArray:
    """Median of two lines on either side, in which a slope of the light cancels."""
    padded = np.pad(light, 2, constant_values=np.nan)
    four = np.stack([padded[k : k + light.size] for k in (0, 1, 3, 4)])
    lonely = ~np.isfinite(four).any(axis=0)
    four[:, lonely] = 0.0
    return np.asarray(np.where(lonely, np.nan, np.nanmedian(four, axis=0)))


# --- all together -------------------------------------------------------------------------------


def _ladder_at(strips: _Strips, peak: _Peak) -> Ladder | None:
    """The ladder whose lines stand at one spectral peak, if there is one."""
    cos, sin = math.cos(strips.angle), math.sin(strips.angle)
    frequency = (peak.fx * cos + peak.fy * sin, peak.fy * cos - peak.fx * sin)
    if frequency[0] < 0:
        frequency = (-frequency[0], -frequency[1])
    wave = frequency[0] * strips.u[None, :] + frequency[1] * strips.v[:, None]
    cells = _cells(strips, wave)
    patch = _largest_patch(_coherence(cells) > 0.5 * _BOX[0] * _BOX[1])
    if patch.any(axis=0).sum() < MIN_LINES or patch.any(axis=1).sum() < 2:
        return None
    phase = _patch_phase(strips, cells, patch, frequency)
    near = _around(strips, cells, patch, wave)
    u, v = np.broadcast_arrays(near.u[None, :], near.v[:, None])
    index = frequency[0] * u + frequency[1] * v - _terms(u, v) @ phase
    told = [_read(_cells(near, index - half), half) for half in (0.0, 0.5)]
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
        pattern=Pattern(every=reading.tail.every, tenth=reading.tail.tenth),
        strength=peak.ratio,
    )


def _around(strips: _Strips, cells: _Cells, patch: NDArray[np.bool_], wave: FloatArray) -> _Strips:
    """The part of the photo that holds a patch, the tails on its sides and what ends it."""
    rows, columns = (np.flatnonzero(patch.any(axis=axis)) for axis in (1, 0))
    reach = 3 * rows.size + 4
    low, high = max(int(rows[0]) - reach, 0), int(rows[-1]) + reach + 1
    line = wave[rows[0] : rows[-1] + 1] - cells.first
    inside = (line > columns[0] - _BOX[0]) & (line < columns[-1] + _BOX[0])
    bins = np.flatnonzero(inside.any(axis=0))
    part = slice(int(bins[0]), int(bins[-1]) + 1)
    return _Strips(
        angle=strips.angle,
        values=strips.values[low:high, part],
        weight=strips.weight[low:high, part],
        u=strips.u[part],
        v=strips.v[low:high],
    )


@dataclass(frozen=True, slots=True)
class _Reading:
    tail: _Tail
    lines: tuple[int, int]
    ends_seen: tuple[bool, bool]
    rows: tuple[int, int]


def _read(cells: _Cells, half: float) -> _Reading | None:
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
    tail = _tail_pattern(cells, run, rows)
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
    for group in _directions(_spectral_peaks(light), light.shape):
        strips = _strips(light, group[0].angle)
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
