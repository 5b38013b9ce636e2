"""Ellipses near a circle: points, normals, robust orthogonal fit.

An ellipse is kept as a centre and a symmetric stretch of the unit circle,

    p(t) = c + S (cos t, sin t),   S = [[m + e, f], [f, m - e]],

so that m is the mean semi-axis, hypot(e, f) half the difference of the semi-axes and
atan2(f, e) / 2 the direction of the major axis. Unlike (a, b, θ) this has no singularity at the
circle, where most rims lie.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dgesv

__all__ = ["Ellipse", "design", "fit_ellipse", "largest_move", "moved_by_offsets"]

Array = NDArray[np.floating]

TUKEY = 4.685
"""Biweight cut in robust standard deviations: 95 % efficient for normal scatter (Huber 1981)."""
TRIALS = 200
TRIAL_POINTS, TRIAL_SECTORS = 6, 9
"""With half of all points on the rim, 200 draws of six hold three all-good ones on average;
with an arc of 90 degrees off it, which spoils three of nine sectors, two or three more."""
_ROUND = np.arange(16) * (2 * np.pi / 16)  # two ellipses differ by no harmonic above the second
_STEPS = 30
_ROBUST_STEPS = 6
_STEADY = 0.02  # move at which a robust fit has settled, in the scatter that is not believed
_RIDGE = 1e-12  # keeps fits of a few points solvable
_SETTLED = 1e-7  # relative change of the mean semi-axis at which the fit has settled


@dataclass(frozen=True, slots=True)
class Ellipse:
    """An ellipse in any length unit.

    Parameters
    ----------
    x, y : float
        Centre.
    m, e, f : float
        Mean semi-axis and the two components of half the difference of the semi-axes.
    """

    x: float
    y: float
    m: float
    e: float = 0.0
    f: float = 0.0

    @property
    def semi_axes(self) -> tuple[float, float]:
        """Major and minor semi-axis."""
        h = float(np.hypot(self.e, self.f))
        return self.m + h, self.m - h

    @property
    def angle_deg(self) -> float:
        """Direction of the major axis, degrees from x towards y, 0 <= angle < 180."""
        angle = float(np.degrees(0.5 * np.arctan2(self.f, self.e)))
        return angle % 180.0 % 180.0  # a hair below 0 comes out of the first as 180

    @property
    def width(self) -> float:
        """Caliper width along x, 2 sqrt(a² cos² θ + b² sin² θ)."""
        return 2.0 * float(np.hypot(self.m + self.e, self.f))

    @property
    def height(self) -> float:
        """Caliper width along y."""
        return 2.0 * float(np.hypot(self.m - self.e, self.f))

    def points(self, t: Array) -> Array:
        """Points (N, 2) at parameters `t` in radians."""
        x, y = self._from_centre(np.cos(t), np.sin(t))
        return np.array((self.x + x, self.y + y)).T  # np.stack takes four times longer

    def normals(self, t: Array) -> Array:
        """Outward unit normals (N, 2) at parameters `t`."""
        return np.array(self._normal(np.cos(t), np.sin(t))).T

    def parameter(self, points: Array) -> Array:
        """Parameter t of the ellipse's point nearest each of `points` (N, 2), two Newton steps.

        Starting from the stretched angle the error left is of the third order in the distance
        over the radius: below 1e-6 of the radius for points within 2 % of the rim.
        """
        x, y = points[:, 0] - self.x, points[:, 1] - self.y
        t = np.arctan2((self.m + self.e) * y - self.f * x, (self.m - self.e) * x - self.f * y)
        for _ in range(2):
            c, s = np.cos(t), np.sin(t)
            on_x, on_y = self._from_centre(c, s)
            along_x, along_y = self._from_centre(-s, c)
            off_x, off_y = x - on_x, y - on_y
            bend = along_x * along_x + along_y * along_y + off_x * on_x + off_y * on_y
            t = t + (along_x * off_x + along_y * off_y) / bend
        return np.asarray(t)

    def _from_centre(self, c: Array, s: Array) -> tuple[Array, Array]:
        """S (c, s), in numbers: for a few hundred points faster than matrices of two rows."""
        return (self.m + self.e) * c + self.f * s, self.f * c + (self.m - self.e) * s

    def _normal(self, c: Array, s: Array) -> tuple[Array, Array]:
        x, y = (self.m - self.e) * c - self.f * s, (self.m + self.e) * s - self.f * c
        length = np.sqrt(x * x + y * y)
        return x / length, y / length

    def distance(self, points: Array) -> Array:
        """Signed distance (N,) of `points` along the normal, positive outside."""
        return self.feet(points)[1]

    def feet(self, points: Array) -> tuple[Array, Array]:
        """Parameter and signed distance (N,) of `points` along the normals."""
        t = self.parameter(points)
        c, s = np.cos(t), np.sin(t)
        on_x, on_y = self._from_centre(c, s)
        x, y = self._normal(c, s)
        return t, (points[:, 0] - self.x - on_x) * x + (points[:, 1] - self.y - on_y) * y

    def moved(self, step: Array) -> Ellipse:
        """The ellipse after adding `step` to (x, y, m, e, f)."""
        return Ellipse(
            x=self.x + float(step[0]),
            y=self.y + float(step[1]),
            m=self.m + float(step[2]),
            e=self.e + float(step[3]),
            f=self.f + float(step[4]),
        )


def design(ellipse: Ellipse, t: Array) -> Array:
    """Normal displacement per unit of (x, y, m, e, f), shape (N, 5)."""
    c, s = np.cos(t), np.sin(t)
    x, y = ellipse._normal(c, s)  # noqa: SLF001  (the same module's)
    return np.array((x, y, x * c + y * s, x * c - y * s, x * s + y * c)).T


def largest_move(new: Ellipse, old: Ellipse) -> float:
    """Largest distance between two nearby ellipses along the normals, to first order."""
    step = (new.x - old.x, new.y - old.y, new.m - old.m, new.e - old.e, new.f - old.f)
    return float(np.abs(design(old, _ROUND) @ step).max())


def moved_by_offsets(
    ellipse: Ellipse,
    t: Array,
    offsets: Array,
    weights: Array,
    *,
    floor: float,
    consensus: float | None = None,
) -> tuple[Ellipse, Array, Array]:
    """Move an ellipse onto points at `offsets` along its normals, robustly, to first order.

    Parameters
    ----------
    ellipse : Ellipse
    t, offsets, weights : ndarray, shape (N,)
        Parameters of the feet of the normals, distances along them (positive outside), prior
        weights.
    floor : float
        Smallest robust standard deviation of the residuals that is believed.
    consensus : float, optional
        When given, the fit starts from the ellipse that has the most weight within this distance,
        among `TRIALS` drawn through six points spread round the turn (Fischler & Bolles 1981):
        for offsets of which up to half follow something else than the rim, at `t` evenly round
        the turn.

    Returns
    -------
    ellipse : Ellipse
    residuals, weights : ndarray, shape (N,)
        What is left of the offsets, and the final weights.
    """
    rows = design(ellipse, t)
    used, residuals = weights, offsets
    if consensus is not None:
        residuals = _consensus_residuals(offsets, weights, consensus)
        used = weights * (np.abs(residuals) < 2 * consensus)
    step: Array = np.zeros(5)
    for _ in range(_ROBUST_STEPS):
        before, step = step, _least_squares(rows, offsets, used)
        residuals = offsets - rows @ step
        used = weights * _biweight(residuals, weights, floor)
        if np.abs(step - before).max() < _STEADY * floor:
            break
    return ellipse.moved(step), residuals, used


def _least_squares(rows: Array, offsets: Array, weights: Array) -> Array:
    """Step of (x, y, m, e, f) from the normal equations: their columns are all of order one."""
    weighted = rows.T * weights
    square = weighted @ rows
    square.reshape(-1)[:: len(square) + 1] *= 1 + _RIDGE
    *_, step, singular = dgesv(square, weighted @ offsets)  # np.linalg's takes six times longer
    if singular:
        raise np.linalg.LinAlgError(f"no ellipse through {int((weights > 0).sum())} points")
    return np.asarray(step)


def _consensus_residuals(offsets: Array, weights: Array, within: float) -> Array:
    """What the trial ellipse with the most weight `within` reach leaves; no random state."""
    draws, fits, rows = _trials(len(offsets))
    residuals = offsets - (fits @ offsets[draws][..., None])[..., 0] @ rows.T
    near = (np.abs(residuals) < within).astype(float)
    return np.asarray(residuals[np.argmax(near @ weights)])


@lru_cache(maxsize=8)
def _trials(count: int) -> tuple[NDArray[np.intp], Array, Array]:
    """`TRIALS` draws of points, each from as many of `TRIAL_SECTORS` sectors chosen by chance.

    Spread round the turn, so that six points fix an ellipse, and free to leave out the sectors
    that a stain or shadow covers; the same for every photo: same file, same digits. With them the
    matrices (TRIALS, 5, TRIAL_POINTS) that fit a step to the offsets drawn, and the rows of
    `design`: those of a circle are near enough for trials.
    """
    rng = np.random.default_rng(0)
    sectors = rng.permuted(np.tile(np.arange(TRIAL_SECTORS), (TRIALS, 1)), axis=1)
    within = rng.random((TRIALS, TRIAL_POINTS))
    draws = ((sectors[:, :TRIAL_POINTS] + within) * count / TRIAL_SECTORS).astype(np.intp)
    rows = design(Ellipse(0.0, 0.0, 1.0), np.arange(count) * (2 * np.pi / count))
    return draws, np.linalg.pinv(rows[draws]), rows


def fit_ellipse(
    points: Array, weights: Array, start: Ellipse, *, floor: float
) -> tuple[Ellipse, Array, Array]:
    """Orthogonal-distance fit with Tukey's biweight on the residuals (Gauss-Newton).

    Parameters
    ----------
    points : ndarray, shape (N, 2)
        Points on the rim.
    weights : ndarray, shape (N,)
        Prior weights, 0 leaves a point out.
    start : Ellipse
        A first guess within a few per cent.
    floor : float
        Smallest robust standard deviation of the residuals that is believed.

    Returns
    -------
    ellipse : Ellipse
    residuals : ndarray, shape (N,)
        Signed distance of every point, positive outside.
    weights : ndarray, shape (N,)
        Final weights, 0 for points rejected.
    """
    ellipse, used = start, weights
    for _ in range(_STEPS):
        t, residuals = ellipse.feet(points)
        used = weights * _biweight(residuals, weights, floor)
        step = _least_squares(design(ellipse, t), residuals, used)
        ellipse = ellipse.moved(step)
        if np.abs(step).max() < _SETTLED * ellipse.m:
            break
    return ellipse, ellipse.distance(points), used


def _biweight(residuals: Array, weights: Array, floor: float) -> Array:
    """Tukey's biweight with the scale from the median absolute residual of the points in use."""
    size = np.abs(residuals[weights > 0])
    size = size if len(size) else np.abs(residuals)
    middle = np.partition(size, len(size) // 2)[len(size) // 2]  # np.median takes ten times longer
    u = residuals / (TUKEY * max(1.4826 * float(middle), floor))
    return np.asarray(np.maximum(1 - u * u, 0) ** 2)
