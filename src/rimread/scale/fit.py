"""Pixels per millimetre and one radial distortion term from located lines.

All photos of one camera and objective are fitted together: one px/mm along x, one along y, one
distortion term; a direction and an origin for each photo. What the lines cannot tell enters as
prior knowledge with a stated uncertainty, as one more observation, so that a short scale or a
single photo gives a wider covariance instead of a wild value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimread.scale.lines import Marks
from rimread.scale.model import undistorted

__all__ = ["U_ASPECT", "U_K1", "Fit", "fit_marks"]

FloatArray = NDArray[np.floating]

U_K1 = 0.005
"""Standard uncertainty of the distortion at the corner when the lines do not tell.

No source; deliberately generous: a measuring objective or macro lens keeps within about 1 %.
"""

U_ASPECT = 5e-4
"""Standard uncertainty of px_per_mm_y / px_per_mm_x when no two directions were photographed
that lie 45 degrees apart.

No source; deliberately generous: sensor pixels are square to far better, and 0.05 % leaves room
for a stage tilted by 1.8° (1 - cos).
"""

_BEST_PX = 1e-4
"""No piece of a line is located better than this; keeps the equations well conditioned."""

_ROUNDS = 6
_UNWEIGHTED = 2  # the first of them: a bent scale must not pass for scatter before it is unbent
_TUKEY = 4.685  # 95 % efficient for normal errors (Holland and Welsch 1977, from memory)


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The fitted scale.

    Parameters
    ----------
    values, covariance : ndarray, shape (3,) and (3, 3)
        px_per_mm_x, px_per_mm_y, k1_half_diagonal; certificate not yet included.
    dof : float
        Degrees of freedom of the line scatter.
    scatter : ndarray, shape (3, 3)
        The part of the covariance that comes from line scatter.
    angles_deg : tuple of float
        Direction of each scale on the specimen, from x towards y, in (-45, 135].
    residual_rms_px : tuple of float
        Of each photo, pieces of lines in use.
    lines_used : tuple of int
        Of each photo.
    aspect_measured : bool
        Whether the photos tell x from y; otherwise pixels are taken as square within `U_ASPECT`.
    alone_px_per_mm : tuple of float
        What each photo gives alone, roughly.
    apart, u_apart : tuple of float
        How far px/mm and direction of each photo alone are off those of all, relative, and the
        standard uncertainty of that by the scatter of its lines.
    """

    values: FloatArray
    covariance: FloatArray
    scatter: FloatArray
    dof: float
    angles_deg: tuple[float, ...]
    residual_rms_px: tuple[float, ...]
    lines_used: tuple[int, ...]
    aspect_measured: bool
    alone_px_per_mm: tuple[float, ...]
    apart: tuple[float, ...]
    u_apart: tuple[float, ...]


def fit_marks(
    marks: Sequence[Marks],
    *,
    division_mm: float,
    width_px: int,
    height_px: int,
) -> Fit | None:
    """Fit px/mm along x and y, one radial term, and a direction and origin for each photo.

    Parameters
    ----------
    marks : sequence of Marks
        Located lines, one entry per photo of the same camera and objective.
    division_mm : float
        Distance between neighbouring lines.
    width_px, height_px : int
        Size of the photos.

    Returns
    -------
    Fit or None
        None where the photos contradict each other so that there is no fit.
    """
    try:
        with np.errstate(over="ignore", divide="ignore", invalid="ignore"):  # where it diverges
            wide = _solve(marks, division_mm, width_px, height_px, u_aspect=_U_ASPECT_UNKNOWN)
            u_aspect = _relative_aspect(wide.values, wide.covariance)
            if u_aspect < U_ASPECT and _across(wide.angles_deg):
                return wide
            return _solve(marks, division_mm, width_px, height_px, u_aspect=U_ASPECT)
    except np.linalg.LinAlgError:  # all of a photo's lines stray
        return None


def _across(angles_deg: Sequence[float]) -> bool:
    """Whether two of the directions tell x from y; else a slight difference would be magnified."""
    turns = [abs(one - other) % 180.0 for one in angles_deg for other in angles_deg]
    return max(min(turn, 180.0 - turn) for turn in turns) >= _ACROSS_DEG


_ACROSS_DEG = 45.0
"""Two directions this far apart magnify what the photos differ by twice at most. Own choice."""
_U_ASPECT_UNKNOWN = 0.2
"""Wide enough to leave the lines alone where they tell x from y."""


def _relative_aspect(values: FloatArray, covariance: FloatArray) -> float:
    """Standard uncertainty of ln(px_per_mm_y / px_per_mm_x)."""
    g = np.array([-1.0 / values[0], 1.0 / values[1], 0.0])
    return math.sqrt(float(g @ covariance @ g))


def _start(marks: Marks, division_mm: float, centre: FloatArray) -> tuple[float, float, float]:
    """px/mm, direction and origin of one photo by a plane through line index over x, y."""
    v = marks.points_px - centre
    design = np.column_stack([v, np.ones(len(v))])
    (gx, gy, g0), *_ = np.linalg.lstsq(design, marks.line.astype(float), rcond=None)
    steep = math.hypot(gx, gy)
    return 1.0 / (steep * division_mm), math.atan2(gy, gx), float(g0) * division_mm


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """Everything the residuals need; p = (ln s_x, ln s_y, k1, then direction and origin each)."""

    v: FloatArray
    line: FloatArray
    photo: NDArray[np.intp]
    division_mm: float
    half_diagonal_px: float
    px_per_mm: float  # a constant: were it fitted, smaller would look better
    u_aspect: float

    def residuals_px(self, p: FloatArray) -> FloatArray:
        scale = np.exp(p[:2])
        plane = undistorted(self.v, k1=float(p[2]), half_diagonal_px=self.half_diagonal_px) / scale
        turn, origin = p[3::2][self.photo], p[4::2][self.photo]
        along = plane[:, 0] * np.cos(turn) + plane[:, 1] * np.sin(turn)
        return (along + origin - self.line * self.division_mm) * self.px_per_mm

    def slopes(self, p: FloatArray) -> FloatArray:
        step = 1e-6
        columns = [
            (self.residuals_px(p + d) - self.residuals_px(p - d)) / (2 * step)
            for d in step * np.eye(p.size)
        ]
        return np.stack(columns, axis=-1)

    def prior(self, p: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Information and gradient of what is known beforehand."""
        g = np.zeros((2, p.size))
        g[0, 2] = 1.0 / U_K1
        g[1, :2] = np.array([-1.0, 1.0]) / self.u_aspect
        value = np.array([p[2] / U_K1, (p[1] - p[0]) / self.u_aspect])
        return g.T @ g, g.T @ value


def _solve(
    marks: Sequence[Marks], division_mm: float, width_px: int, height_px: int, *, u_aspect: float
) -> Fit:
    centre = np.array([(width_px - 1) / 2.0, (height_px - 1) / 2.0])
    starts = [_start(m, division_mm, centre) for m in marks]
    log_scale = math.log(float(np.median([s[0] for s in starts])))
    p: FloatArray = np.array([log_scale, log_scale, 0.0, *(x for s in starts for x in s[1:])])
    photo = np.repeat(np.arange(len(marks)), [len(m.line) for m in marks])
    problem = _Problem(
        v=np.concatenate([m.points_px for m in marks]) - centre,
        line=np.concatenate([m.line for m in marks]).astype(float),
        photo=photo,
        division_mm=division_mm,
        half_diagonal_px=math.hypot(width_px, height_px) / 2.0,
        px_per_mm=math.exp(log_scale),
        u_aspect=u_aspect,
    )
    own = np.maximum(1.0 / np.concatenate([m.information for m in marks]), _BEST_PX**2)
    weight: FloatArray = 1.0 / own
    spread = 1.0
    for done in range(_ROUNDS):
        j = problem.slopes(p)
        known, pull = problem.prior(p)
        information = (j.T @ (weight[:, None] * j)) / spread + known
        r = problem.residuals_px(p)
        p -= np.linalg.solve(information, j.T @ (weight * r) / spread + pull)
        r = problem.residuals_px(p)
        if not np.isfinite(r).all():
            raise np.linalg.LinAlgError("diverged")
        if done >= _UNWEIGHTED:
            weight = _weights(r, own, photo)
            spread = _spread(r, weight, problem.line, photo, fitted=3 + len(marks))
    alone = tuple(s[0] for s in starts)
    return _told(problem, p, information, known, own=own, used=weight > 0, alone=alone)


def _weights(r: FloatArray, own: FloatArray, photo: NDArray[np.intp]) -> FloatArray:
    """Inverse variances: noise of the piece, what else scatters, and Tukey's for outliers."""
    weight = np.empty_like(r)
    for k in np.unique(photo):
        at = photo == k
        total = (1.4826 * float(np.median(np.abs(r[at])))) ** 2
        variance = own[at] + max(total - float(np.median(own[at])), 0.0)
        t2 = r[at] ** 2 / variance / _TUKEY**2
        weight[at] = np.where(t2 < 1, (1 - t2) ** 2, 0.0) / variance
    return weight


def _spread(
    r: FloatArray, weight: FloatArray, line: FloatArray, photo: NDArray[np.intp], *, fitted: int
) -> float:
    """How much more whole lines scatter than their pieces would if these were independent."""
    total, lines = 0.0, 0
    for k in np.unique(photo):
        z = _line_scores(r, weight, line, photo == k)
        lines += z.size
        rho = float(z[1:] @ z[:-1]) / max(float(z @ z), 1e-12)  # 0 where no line is in use
        total += float(z @ z) * max(1.0, (1 + rho) / (1 - rho))
    return max(1.0, total / max(lines - fitted, 1))


def _line_scores(
    r: FloatArray, weight: FloatArray, line: FloatArray, at: NDArray[np.bool_]
) -> FloatArray:
    """Mean residual of each line over the standard deviation its pieces give it."""
    index = (line[at] - line[at].min()).astype(np.intp)
    w = np.bincount(index, weights=weight[at])
    wr = np.bincount(index, weights=(weight * r)[at])
    return wr[w > 0] / np.sqrt(w[w > 0])


def _told(
    problem: _Problem,
    p: FloatArray,
    information: FloatArray,
    known: FloatArray,
    *,
    own: FloatArray,
    used: NDArray[np.bool_],
    alone: tuple[float, ...],
) -> Fit:
    inverse = np.linalg.inv(information)
    scatter = inverse @ (information - known) @ inverse
    to_scale = np.diag([*np.exp(p[:2]), 1.0])
    r = problem.residuals_px(p)
    photo = problem.photo
    photos = range(int(photo.max()) + 1)
    lines = [np.unique(problem.line[used & (photo == k)]).size for k in photos]
    apart, u_apart = zip(*(_apart(problem, p, own, k) for k in photos), strict=True)
    return Fit(
        values=np.array([*np.exp(p[:2]), p[2]]),
        covariance=to_scale @ inverse[:3, :3] @ to_scale,
        scatter=to_scale @ scatter[:3, :3] @ to_scale,
        dof=float(max(sum(lines) - 3 - len(lines), 1)),
        angles_deg=tuple((math.degrees(t) + 45.0) % 180.0 - 45.0 for t in p[3::2]),
        residual_rms_px=tuple(float(np.sqrt(np.mean(r[used & (photo == k)] ** 2))) for k in photos),
        lines_used=tuple(lines),
        aspect_measured=problem.u_aspect > U_ASPECT,
        alone_px_per_mm=alone,
        apart=apart,
        u_apart=u_apart,
    )


def _apart(problem: _Problem, p: FloatArray, own: FloatArray, k: int) -> tuple[float, float]:
    """How far one photo alone is off the fit of all, relative, and its standard uncertainty.

    A plane through its lines' numbers has the gradient (cos θ / s_x, sin θ / s_y): a photo of
    another magnification may hide in the length of it or, turned, in its direction.
    """
    at = problem.photo == k
    plane = undistorted(problem.v[at], k1=float(p[2]), half_diagonal_px=problem.half_diagonal_px)
    design = np.column_stack([plane, np.ones(len(plane))])
    line, steep = problem.line[at], 1.0 / (problem.division_mm * problem.px_per_mm)
    nobody, weight = np.zeros(len(line), np.intp), 1.0 / own[at]
    for _ in range(_ROUNDS):
        root = np.sqrt(weight)
        found = np.linalg.lstsq(design * root[:, None], line * root, rcond=None)[0]
        r = (line - design @ found) / steep
        weight = _weights(r, own[at], nobody)
    turn = p[3 + 2 * k]
    of_all = np.array([math.cos(turn), math.sin(turn)]) / np.exp(p[:2]) / problem.division_mm
    spread = _spread(r, weight, line, nobody, fitted=3)
    covariance = np.linalg.pinv((design.T * weight) @ design) * spread * steep**2
    u = math.sqrt(float(np.trace(covariance[:2, :2])))
    return float(np.hypot(*(found[:2] - of_all)) / np.hypot(*of_all)), u / float(np.hypot(*of_all))
