"""The scale of a photo: from pixels to millimetres on the specimen plane."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

__all__ = ["MOST_K1", "Certificate", "Scale", "ScalePhoto", "not_square", "undistorted"]

_CERTIFIED_SLACK = 0.02  # no ruled scale is worse; a larger difference is a slip of the pen
_LAST_BITS = 1e-12  # 10.2 over 10 is a hair above 1.02
MOST_K1 = 0.1
"""Largest |k1| that is taken: 10 % at the corner. At -4/27 the picture folds over itself."""

_MOST_UNLIKE = 2e-3
"""Relative difference of px/mm along x and y from which people are told: 4 times what pixels taken
as square are unsure by (`rimread.scale.fit.U_ASPECT`). Some video cameras' are not square."""

_NEWTON_STEPS = 6  # |k1| up to MOST_K1 converges to 1e-12


@dataclass(frozen=True, slots=True)
class Certificate:
    """What the stage micrometer's certificate says.

    Parameters
    ----------
    nominal_mm, certified_mm : float
        Nominal and certified length of the ruled scale.
    U_mm : float
        Expanded uncertainty of the certified length.
    k : float
        Coverage factor of `U_mm`.
    """

    nominal_mm: float
    certified_mm: float
    U_mm: float
    k: float = 2.0

    def __post_init__(self) -> None:
        given = (
            f"(got nominal {self.nominal_mm:g} mm, certified {self.certified_mm:g} mm, "
            f"U {self.U_mm:g} mm, k {self.k:g})"
        )
        if not (1e-4 <= self.nominal_mm <= 1e5 and 1e-4 <= self.certified_mm <= 1e5):
            raise ValueError(f"lengths of a stage micrometer lie in 0.0001 to 100000 mm {given}")
        apart = abs(self.certified_mm / self.nominal_mm - 1.0)
        if not apart <= _CERTIFIED_SLACK + _LAST_BITS:
            raise ValueError(f"nominal and certified length must agree within 2 % {given}")
        if not 0.0 < self.U_mm <= (_CERTIFIED_SLACK + _LAST_BITS) * self.certified_mm:
            raise ValueError(
                f"U of the certified length must lie above 0 and up to 2 % of it {given}"
            )
        if not 1.0 <= self.k <= 20.0:
            raise ValueError(f"the coverage factor k lies in 1 to 20 {given}")


@dataclass(frozen=True, slots=True)
class ScalePhoto:
    """One stage-micrometer photo a scale rests on."""

    name: str
    sha256: str
    angle_deg: float
    lines_used: int
    residual_rms_px: float


@dataclass(frozen=True, slots=True)
class Scale:
    """Pixels per millimetre at the centre of the field and one radial distortion term.

    The picture position of a specimen point at (X, Y) mm from the optical centre (taken as the
    centre of the picture) is, with u = (px_per_mm_x X, px_per_mm_y Y) and r = |u| in half
    diagonals of the picture, ``centre + u (1 + k1 r²)``.

    Parameters
    ----------
    px_per_mm_x, px_per_mm_y : float
        At the centre of the field, after the certificate.
    k1_half_diagonal : float
        Radial term, r in half diagonals.
    covariance : tuple of 3 tuples of 3 floats
        Of (px_per_mm_x, px_per_mm_y, k1_half_diagonal); holds everything known about the scale:
        line scatter, certificate, aspect.
    dof : float
        Effective degrees of freedom of that covariance, infinite where there are many.
    width_px, height_px : int
        Size of the photos the scale holds for.
    label : str
        Camera and objective.
    calibrated_on, valid_until : datetime.date
        When it was made and the last day it counts.
    certificate : Certificate or None
        None when no certificate was given; the covariance then carries a generous component.
    photos : tuple of ScalePhoto
        What it was made from.
    notes : tuple of str
        What the covariance holds, one sentence each.
    sha256 : str
        Hash of the scale file, empty for a scale that was not read from a file.
    """

    px_per_mm_x: float
    px_per_mm_y: float
    k1_half_diagonal: float
    covariance: tuple[tuple[float, float, float], ...]
    dof: float
    width_px: int
    height_px: int
    label: str
    calibrated_on: date
    valid_until: date
    certificate: Certificate | None
    photos: tuple[ScalePhoto, ...]
    notes: tuple[str, ...] = ()
    sha256: str = ""

    def mm_from_px(self, points_px: NDArray[np.floating]) -> NDArray[np.float64]:
        """Specimen coordinates in mm from the picture centre; points (..., 2) as x, y in px."""
        v = np.asarray(points_px, dtype=np.float64) - self._centre_px()
        s = undistorted(v, k1=self.k1_half_diagonal, half_diagonal_px=self._half_diagonal_px())
        return np.asarray(s / np.array([self.px_per_mm_x, self.px_per_mm_y]))

    def px_from_mm(self, points_mm: NDArray[np.floating]) -> NDArray[np.float64]:
        """Picture coordinates (..., 2) in px of specimen points in mm from the picture centre."""
        u = np.asarray(points_mm, dtype=np.float64) * [self.px_per_mm_x, self.px_per_mm_y]
        r2 = np.sum(u * u, axis=-1, keepdims=True) / self._half_diagonal_px() ** 2
        return np.asarray(self._centre_px() + u * (1.0 + self.k1_half_diagonal * r2))

    def shifted(self, parameter: int, step: float) -> Scale:
        """The scale with parameter 0, 1 or 2 (px_per_mm_x, px_per_mm_y, k1) moved by `step`."""
        name = ("px_per_mm_x", "px_per_mm_y", "k1_half_diagonal")[parameter]
        return replace(self, **{name: getattr(self, name) + step})

    def _centre_px(self) -> NDArray[np.float64]:
        return np.array([(self.width_px - 1) / 2.0, (self.height_px - 1) / 2.0])

    def _half_diagonal_px(self) -> float:
        return float(np.hypot(self.width_px, self.height_px) / 2.0)


def undistorted(
    v: NDArray[np.floating], *, k1: float, half_diagonal_px: float
) -> NDArray[np.float64]:
    """Positions (..., 2) from the picture centre in px without the radial term.

    Solves ``v = u (1 + k1 |u|²)``, lengths in half diagonals, for u by Newton's method on the
    ratio of the radii.
    """
    rd2 = np.sum(v * v, axis=-1, keepdims=True) / half_diagonal_px**2
    s = np.ones_like(rd2)  # undistorted radius / picture radius
    for _ in range(_NEWTON_STEPS):
        r2 = rd2 * s * s
        s -= (s * (1.0 + k1 * r2) - 1.0) / (1.0 + 3.0 * k1 * r2)
    return np.asarray(v * s)


def not_square(px_per_mm_x: float, px_per_mm_y: float) -> str | None:
    """What to look for where the two differ more than a camera's square pixels let them."""
    unlike = px_per_mm_y / px_per_mm_x - 1.0
    if abs(unlike) <= _MOST_UNLIKE:
        return None
    return (
        f"px/mm along y and x differ by {100 * unlike:+.2f} %: where the camera's pixels are "
        "square, zoom, tube or objective were touched between the photos; take them again"
    )
