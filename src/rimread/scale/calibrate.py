"""From photos of a stage micrometer to a scale, or a reason why not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from rimread.photo import Photo, linear_light
from rimread.refusal import Refusal
from rimread.scale.doubts import (
    division_doubt,
    fit_doubt,
    fits,
    no_lines,
    photos_disagree,
    unresolved,
)
from rimread.scale.fit import U_ASPECT, U_K1, Fit, fit_marks
from rimread.scale.ladder import Ladder, find_ladders
from rimread.scale.lines import Marks, mark_lines
from rimread.scale.model import Certificate, Scale, ScalePhoto, not_square

__all__ = ["U_NO_CERTIFICATE", "VALID_DAYS", "calibrate", "lines_seen"]

FloatArray = NDArray[np.floating]

U_NO_CERTIFICATE = 1e-3
"""Relative standard uncertainty of the ruled length when no certificate is given.

No source; deliberately generous: what an uncertified scale is off by is unknown to its owner, and
0.1 % (2 µm in 2 mm) is more than makers commonly state.
"""

VALID_DAYS = 365
"""How long a scale counts as valid unless said otherwise: common practice, no source."""

_BEYOND = 3.0
"""Standard uncertainties from which photos differ by more than chance. Own choice."""

_SURPRISING = 3 * U_NO_CERTIFICATE
"""Relative difference of certified and nominal length from which people are told. Own choice."""

MOST_DIVISION_MM = 5.0
"""No rule under a scope has coarser lines; 10 is 0.01 mm told in micrometres. Own choice."""

_ENDLESS_DOF = 1e6
"""From here on Student's t is the normal distribution to six digits, and more says nothing."""


def calibrate(
    photos: Sequence[Photo],
    *,
    division_mm: float,
    certificate: Certificate | None = None,
    label: str = "",
    calibrated_on: date,
    valid_days: int = VALID_DAYS,
) -> Scale | Refusal:
    """Scale of a camera and objective from one or more photos of a stage micrometer.

    Parameters
    ----------
    photos : sequence of Photo
        Same camera, same objective, same size. Two at right angles tell px/mm along x from px/mm
        along y; one alone leaves that to an assumption with a stated uncertainty.
    division_mm : float
        Nominal spacing of the finest lines.
    certificate : Certificate, optional
        Certified length; without it the scale carries `U_NO_CERTIFICATE`.
    label : str
        Camera and objective, for people.
    calibrated_on : datetime.date
        Day of the photos.
    valid_days : int
        For how many days the scale counts.

    Returns
    -------
    Scale or Refusal
        Codes of refusals: ``different-sizes``, ``no-lines``, ``too-few-lines``,
        ``lines-unresolved``, ``wrong-division``, ``lines-scatter``, ``distorted``,
        ``photos-disagree``.

    Raises
    ------
    ValueError
        If the division, the certificate or the validity makes no sense, there is no photo, or one
        photo is given twice.
    """
    _judge_wishes(photos, division_mm, certificate, calibrated_on, valid_days)
    marks = _mark_all(photos, division_mm, certificate)
    if isinstance(marks, Refusal):
        return marks
    fit = fit_marks(
        marks,
        division_mm=division_mm * _certified_share(certificate),
        width_px=photos[0].width_px,
        height_px=photos[0].height_px,
    )
    if fit is None:
        return photos_disagree("The photos contradict each other")
    doubt = fit_doubt(fit, photos)
    if doubt is not None:
        return doubt
    covariance, dof = _whole_covariance(fit, certificate)
    return Scale(
        px_per_mm_x=float(fit.values[0]),
        px_per_mm_y=float(fit.values[1]),
        k1_half_diagonal=float(fit.values[2]),
        covariance=tuple((float(a), float(b), float(c)) for a, b, c in covariance),
        dof=dof,
        width_px=photos[0].width_px,
        height_px=photos[0].height_px,
        label=label,
        calibrated_on=calibrated_on,
        valid_until=calibrated_on + timedelta(days=valid_days),
        certificate=certificate,
        photos=_photos_used(photos, fit),
        notes=_notes(fit, certificate),
    )


def _photos_used(photos: Sequence[Photo], fit: Fit) -> tuple[ScalePhoto, ...]:
    return tuple(
        ScalePhoto(
            name=photo.name,
            sha256=photo.sha256,
            angle_deg=fit.angles_deg[k],
            lines_used=fit.lines_used[k],
            residual_rms_px=fit.residual_rms_px[k],
        )
        for k, photo in enumerate(photos)
    )


def _certified_share(certificate: Certificate | None) -> float:
    return certificate.certified_mm / certificate.nominal_mm if certificate else 1.0


def _judge_wishes(
    photos: Sequence[Photo],
    division_mm: float,
    certificate: Certificate | None,
    calibrated_on: date,
    valid_days: int,
) -> None:
    if not photos:
        raise ValueError("a scale needs at least one photo of a stage micrometer (got none)")
    if len({p.sha256 for p in photos}) < len(photos):
        names = ", ".join(p.name for p in photos)
        raise ValueError(f"every photo counts once; the same picture was given twice ({names})")
    if not 1e-5 <= division_mm <= MOST_DIVISION_MM:
        raise ValueError(
            f"the division is the spacing of the finest lines in mm, 0.00001 to "
            f"{MOST_DIVISION_MM:g} (got {division_mm:g})"
        )
    if not 1 <= valid_days <= 36500:
        raise ValueError(f"a scale is valid for 1 to 36500 days (got {valid_days})")
    if timedelta(days=valid_days) > date.max - calibrated_on:
        raise ValueError(f"a scale cannot be valid beyond the year 9999 (from {calibrated_on})")
    if certificate and division_mm > certificate.nominal_mm * (1 + 1e-9):
        raise ValueError(
            f"the division ({division_mm:g} mm) must not exceed the length of the scale "
            f"({certificate.nominal_mm:g} mm)"
        )


def _mark_all(
    photos: Sequence[Photo], division_mm: float, certificate: Certificate | None
) -> list[Marks] | Refusal:
    """Located lines of every photo, or why one of them will not do."""
    if len({(p.width_px, p.height_px) for p in photos}) > 1:
        told = ", ".join(f"{p.name} {p.width_px} × {p.height_px}" for p in photos)
        return Refusal(
            "different-sizes",
            f"The photos differ in size ({told} px); take all of them with the same camera "
            "settings, and do not crop or scale them.",
        )
    marks: list[Marks] = []
    for photo in photos:
        light = linear_light(photo, photo.grey)
        ladder = _finest_lines(light, photo.name, division_mm, certificate)
        if isinstance(ladder, Refusal):
            return ladder
        mark = mark_lines(light, ladder)
        if mark is None or mark.swing < _grey_step(photo, mark.level):
            return unresolved(photo.name, ladder)
        marks.append(mark)
    return marks


def lines_seen(photo: Photo) -> int | Refusal:
    """How many lines of a stage micrometer lie side by side in a photo.

    Only longer 5th or 10th lines prove them here: the blocks of a JPEG picture, 8 px wide, make
    ruled lines too where nothing else is in focus.

    Returns
    -------
    int or Refusal
        ``no-lines`` or ``lines-unresolved``.
    """
    ladders = _enough_lines(linear_light(photo, photo.grey), photo.name)
    found = ladders if isinstance(ladders, Refusal) else _proved(ladders, photo.name)
    return found if isinstance(found, Refusal) else found.lines


def _enough_lines(light: NDArray[np.float32], name: str) -> list[Ladder] | Refusal:
    return find_ladders(light) or no_lines(name)  # a ladder has `MIN_LINES` or more


def _finest_lines(
    light: NDArray[np.float32], name: str, division_mm: float, certificate: Certificate | None
) -> Ladder | Refusal:
    """The ladder of the finest lines, proved by the longer lines or by the scale's length."""
    enough = _enough_lines(light, name)
    if isinstance(enough, Refusal):
        return enough
    length = certificate.nominal_mm if certificate else None
    by_length = [ladder for ladder in enough if fits(ladder, division_mm, length)]
    if by_length:
        return by_length[0]
    ladder = _proved(enough, name)
    if isinstance(ladder, Refusal):
        return ladder
    doubt = division_doubt(ladder, name, division_mm, length)
    return ladder if doubt is None else doubt


def _proved(enough: list[Ladder], name: str) -> Ladder | Refusal:
    """The ladder whose longer lines say that it is the finest."""
    return next((ladder for ladder in enough if ladder.counted), None) or unresolved(
        name, enough[0]
    )


def _grey_step(photo: Photo, level: float) -> float:
    """Linear light of one grey step of the file at a light level.

    Lines that swing by less live on noise alone, and compression moves what is left of them.
    """
    grey = float(np.interp(level, *_tone(photo)))
    low, high = linear_light(photo, np.array([grey - 0.5, grey + 0.5]))
    return float(high - low)


def _tone(photo: Photo) -> tuple[FloatArray, FloatArray]:
    """Light and grey value at 257 places of the tone curve."""
    grey = np.linspace(0.0, photo.full_scale, 257)
    return linear_light(photo, grey), grey


def _whole_covariance(fit: Fit, certificate: Certificate | None) -> tuple[FloatArray, float]:
    """Covariance with the certificate, and the effective degrees of freedom of px/mm.

    A wrong length scales both px/mm alike, as another magnification does, so its part is fully
    correlated (GUM F.1.2.3). Degrees of freedom by Welch-Satterthwaite (GUM eq. G.2b), the fewer of
    the two axes.
    """
    relative = math.hypot(_u_length(certificate), _u_apart(fit))
    along = np.array([fit.values[0], fit.values[1], 0.0]) * relative
    whole = fit.covariance + np.outer(along, along)
    share = np.diag(fit.scatter)[:2] / np.diag(whole)[:2]
    dof = float(fit.dof / np.max(share) ** 2)
    return whole, dof if dof < _ENDLESS_DOF else math.inf


def _u_apart(fit: Fit) -> float:
    """What px/mm is unsure by where photos differ more than their lines scatter.

    Any of them may be right (rectangular distribution, JCGM 100:2008, 4.3.7).
    """
    apart = (off for off, u in zip(fit.apart, fit.u_apart, strict=True) if off > _BEYOND * u)
    return max(apart, default=0.0) / math.sqrt(3.0)


def _u_length(certificate: Certificate | None) -> float:
    if certificate is None:
        return U_NO_CERTIFICATE
    return certificate.U_mm / certificate.k / certificate.certified_mm


def _notes(fit: Fit, certificate: Certificate | None) -> tuple[str, ...]:
    """What the covariance holds, one sentence each."""
    scatter = 100.0 * math.sqrt(float(np.max(np.diag(fit.scatter)[:2] / fit.values[:2] ** 2)))
    length = 100.0 * _u_length(certificate)
    notes = [f"line scatter: {scatter:.5f} % of px/mm, standard, {fit.dof:.0f} degrees of freedom"]
    if certificate:
        notes.append(f"certificate of the stage micrometer: {length:.5f} % of px/mm, standard")
        off = _certified_share(certificate) - 1.0
        if abs(off) > _SURPRISING:
            notes.append(
                f"the certified length is {100 * off:+.2f} % off the nominal one, and so is every "
                "diameter: look whether the certificate is this scale's and was typed rightly"
            )
    else:
        notes.append(
            f"no certificate given: {length:.3f} % of px/mm, standard; no source, deliberately "
            "generous, because what an uncertified scale is off by is not known"
        )
    if (apart := _u_apart(fit)) > 0:
        notes.append(
            f"photos differ by more than their lines scatter: {100 * apart:.5f} % of px/mm, "
            "standard"
        )
    if not fit.aspect_measured:
        notes.append(
            f"pixels taken as square within {100 * U_ASPECT:.3f} %, standard, because the photos "
            "show directions less than 45 degrees apart; no source, deliberately generous"
        )
    if (unlike := not_square(fit.values[0], fit.values[1])) is not None:
        notes.append(unlike)
    notes.append(
        f"distortion before the lines were seen: k1 = 0 with a standard uncertainty of {U_K1:g}; "
        "no source, deliberately generous; the centre of distortion is taken as the centre of "
        "the picture"
    )
    return tuple(notes)
