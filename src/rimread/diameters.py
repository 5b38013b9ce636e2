"""Two orthogonal diameters of a rim on the specimen plane, and their uncertainty budget."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimread.budget import Budget, Component, combine
from rimread.rim.ellipse import Ellipse, design, fit_ellipse
from rimread.rim.model import Rim
from rimread.rim.profiles import guard_px
from rimread.scale.model import Scale

__all__ = ["RAGGED_RIM", "Diameters", "diameters"]

Array = NDArray[np.floating]

SHAPE_SHARE = 0.5
"""Share of the spread of places over the shapes of the edge, which is on the wide side: shapes are
weighted mildly (`TEMPER` in `rimread.rim.shapes`)."""
ROUNDING_SHARE, SMEAR_SHARE, SCATTER_SHARE = 0.24, 0.5, 6.0
"""Shares of an edge's rounding, of what defocus and motion widen it by, and of the unusual scatter
of doubtful arcs (`USUAL_SCATTER`), by which its light may be read wrongly on every side alike:
rounding and smear may be less even than assumed, and what misleads single arcs may mislead all.
Errors on simulated photos go with these three and not with the width of an evenly blurred edge. All
these shares were set there by coverage, of the whole and of the cells of tests/accuracy, and by
gross errors; no source."""
RAGGED_RIM = "ragged rim"
RAGGED_SHARE = 1.5
"""A component, and its share of the scatter that arcs have beyond their own doubt: the rim is no
ellipse there, or its edge is another's. In a series it is taken as common to all, as light that
shows another edge may be; raggedness alone would not be. Two diameters at right angles picked by a
person, of four independent places, have half of the scatter in their mean radius; three times as
much, as a stretch of the turn may lie off alike, by gross errors on path-traced renderings. With
the share of doubtful arcs, rims ragged by 0.3 % of the radius had a U of 1.4 % where 95 in 100 are
read to 0.3 %."""
CONTINUED_SHARE = 1.5
"""Share of the blur, for each radius of bowl that it hides before the rim: there the bowl's light
is continued by its trend, of which a small rim shows little. Set with the others."""
USUAL_SCATTER = 1.5e-3
"""Scatter in diameters that any finish gives: of a scatter so large half counts, of a smaller one
less. Set together with the shares."""
CLIPPED_SHARE = 1.28 / math.sqrt(3)
"""Of the standard deviation of the edge's whole width. A bright side ten times what can be seen
(`rimread.rim.misfit.CLIPPED_CONTRAST`) falls to full light 1.28 of them, the 90th percentile of a
Gaussian, away from the rim. So far clipped arcs may lie off on either side, all alike and each
place as likely (rectangular distribution, JCGM 100:2008, 4.3.7)."""
MOST_UNEVEN = 2.5
"""Most that gaps in the turn and doubted arcs widen the parts which all arcs share, as a third of
the turn missing in one piece does. Own choice."""
DARK_FOOT_SHARE = 0.35
"""Share of the edge's whole width where all of the bowl is dark up to the rim. By coverage of such
simulated photos and path-traced renderings, and by gross errors."""
HARMONICS = (3, 6)
"""Residual harmonics 3 to 5 stand for 0 to 2, which the fit has taken up."""
HARMONICS_WIDE = (3, 13)
HARMONIC_DOF = 6.0
"""Three harmonics of two components each."""
TILT_DEG = 2.0
"""A specimen on a flat table under a scope stands within 2°; common practice, no source."""
SHARP_BLUR_PX = 1.5
"""Blur up to 1.5 px is that of pixels and a well-focused objective; more is defocus."""
UNNOTICED_PX = 0.5
"""Defocus of half a pixel of blur goes unnoticed, whichever way (rectangular distribution): the
scale was not taken at quite the same distance, and a piled-up rim stands above the rest. Own
choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Diameters:
    """What the rim measures on the specimen.

    Parameters
    ----------
    d1_mm, d2_mm : float
        Major and minor axis of the rim ellipse, which are orthogonal.
    mean_mm : float
        Their mean, which goes into the formula.
    U_d1_mm, U_d2_mm : float
        Expanded uncertainties of the axes with the k of the budget.
    width_mm, height_mm : float
        Caliper widths along the photo's x and y.
    centre_mm, centre_px : tuple of float
        Centre (x, y) on the specimen from the centre of the field, and in the photo.
    angle_deg : float
        Direction of d1 from x towards y, 0 to 180.
    budget : Budget
        Of `mean_mm`, in mm.
    ellipse_mm : Ellipse
        The fitted ellipse on the specimen plane.
    outline_px : ndarray, shape (M, 2)
        The fitted ellipse brought back to the photo.
    """

    d1_mm: float
    d2_mm: float
    mean_mm: float
    U_d1_mm: float
    U_d2_mm: float
    width_mm: float
    height_mm: float
    centre_mm: tuple[float, float]
    centre_px: tuple[float, float]
    angle_deg: float
    budget: Budget
    ellipse_mm: Ellipse
    outline_px: Array

    @property
    def ovality(self) -> float:
        """(d1 - d2) / mean."""
        return (self.d1_mm - self.d2_mm) / self.mean_mm

    def at_angle(self, angle_deg: float) -> float:
        """Caliper width in mm across the rim along a direction from x towards y."""
        a, b = self.ellipse_mm.semi_axes
        t = math.radians(angle_deg - self.angle_deg)
        return 2.0 * math.hypot(a * math.cos(t), b * math.sin(t))


def diameters(rim: Rim, scale: Scale) -> Diameters:
    """Fit the rim on the specimen plane and propagate what is known of points and scale.

    Parameters
    ----------
    rim : Rim
    scale : Scale
        Of photos of the same size, camera and objective.

    Raises
    ------
    ValueError
        If no part of the rim was seen.
    """
    if rim.coverage <= 0:
        raise ValueError(f"the rim must be seen somewhere, and its coverage is {rim.coverage}")
    px_per_mm = _px_per_mm(scale)
    points = scale.mm_from_px(rim.points_px)
    start = _start(rim, scale, px_per_mm)
    floor = 0.1 / px_per_mm
    ellipse, residuals, weights = fit_ellipse(points, rim.weights, start, floor=floor)
    fit = _Fit.of(ellipse, points, residuals, weights)
    moves = _scale_moves(rim, scale, fit)
    budget, *of_axes = (
        combine(_components(rim, ellipse, scale, fit, moves=moves, wanted=wanted))
        for wanted in (_MEAN, *_axes(ellipse))
    )
    U_d1, U_d2 = (budget.k * axis.u for axis in of_axes)
    a, b = ellipse.semi_axes
    turn = np.linspace(0, 2 * np.pi, 361)
    outline = scale.px_from_mm(ellipse.points(turn))
    centre = scale.px_from_mm(np.array([ellipse.x, ellipse.y]))
    return Diameters(
        d1_mm=2 * a,
        d2_mm=2 * b,
        mean_mm=2 * ellipse.m,
        U_d1_mm=U_d1,
        U_d2_mm=U_d2,
        width_mm=ellipse.width,
        height_mm=ellipse.height,
        centre_mm=(ellipse.x, ellipse.y),
        centre_px=(float(centre[0]), float(centre[1])),
        angle_deg=ellipse.angle_deg,
        budget=budget,
        ellipse_mm=ellipse,
        outline_px=outline,
    )


def _start(rim: Rim, scale: Scale, px_per_mm: float) -> Ellipse:
    x, y = scale.mm_from_px(np.array(rim.centre_px))
    return Ellipse(
        x=float(x),
        y=float(y),
        m=rim.ellipse.m / px_per_mm,
        e=rim.ellipse.e / px_per_mm,
        f=rim.ellipse.f / px_per_mm,
    )


def _px_per_mm(scale: Scale) -> float:
    return (scale.px_per_mm_x + scale.px_per_mm_y) / 2


_MEAN = np.array([0.0, 0.0, 1.0, 0.0, 0.0])
"""Change of the mean semi-axis per change of (x, y, m, e, f)."""


def _axes(ellipse: Ellipse) -> tuple[Array, Array]:
    """The same of the major and the minor semi-axis, their direction held."""
    double = math.radians(2 * ellipse.angle_deg)
    oval = np.array([0.0, 0.0, 0.0, math.cos(double), math.sin(double)])
    return _MEAN + oval, _MEAN - oval


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """Points (N, 2) in mm, what the ellipse leaves of them, weights, normals (N, 2).

    With them the covariance (5, 5) of (x, y, m, e, f) where points of weight 1 have variance 1, and
    how each of the five follows the distance of each point, (5, N).
    """

    points: Array
    residuals: Array
    weights: Array
    normals: Array
    covariance: Array
    pulls: Array

    @classmethod
    def of(cls, ellipse: Ellipse, points: Array, residuals: Array, weights: Array) -> _Fit:
        """Of weighted least squares."""
        rows = design(ellipse, ellipse.parameter(points))
        weighted = rows.T * weights
        covariance = np.linalg.pinv(weighted @ rows)
        return cls(points, residuals, weights, rows[:, :2], covariance, covariance @ weighted)

    def variance_factor(self, wanted: Array) -> float:
        """Variance of what is `wanted` of the five over that of m without gaps in the turn.

        Both with as many arcs: at least 1 for m and the axes (Cauchy-Schwarz).
        """
        return float(wanted @ self.covariance @ wanted * self.weights.sum())


def _components(
    rim: Rim, ellipse: Ellipse, scale: Scale, fit: _Fit, *, moves: Array, wanted: Array
) -> list[Component]:
    """Of twice what is `wanted` of (x, y, m, e, f): the mean diameter or an axis.

    `moves` are from `_scale_moves`.
    """
    pull = wanted @ fit.pulls
    return [
        _edge_scatter(fit.residuals, fit.weights > 0, fit.variance_factor(wanted)),
        _ragged_rim(rim, fit, _px_per_mm(scale), fit.variance_factor(wanted)),
        *_common_components(rim, ellipse, scale, fit, clipped=abs(float(pull[rim.clipped].sum()))),
        _tilt(ellipse, wanted),
        *_scale_components(scale, 2 * moves @ pull),
    ]


def _edge_scatter(residuals: Array, used: NDArray[np.bool_], factor: float) -> Component:
    """Scatter of a diameter from the residuals' low harmonics.

    The fit has taken up harmonics 0 to 2 of the rim's deviation from an ellipse, and harmonic 0
    is the error of the mean diameter: its size is read off the harmonics next to it, whose power
    texture, scratches and lobes share. Missing arcs widen it by `factor`, see
    `_Fit.variance_factor`.
    """
    arcs = max(int(used.sum()), 1)
    power = np.abs(np.fft.rfft(np.where(used, residuals, 0.0))) ** 2 / arcs
    low = max(power[slice(*HARMONICS)].mean(), power[slice(*HARMONICS_WIDE)].mean())
    u_radius = math.sqrt(low / arcs * factor)
    return Component(
        name="edge scatter",
        u=2.0 * u_radius,
        dof=HARMONIC_DOF,
        how="harmonics 3 to 5 of the traced points' distances from the ellipse",
    )


def _ragged_rim(rim: Rim, fit: _Fit, px_per_mm: float, factor: float) -> Component:
    """What the ellipse does not say of a rim that is none; `factor` as in `_edge_scatter`."""
    _, ragged_px = rim.scatter_px(px_per_mm * fit.residuals, fit.weights > 0)
    return Component(
        name=RAGGED_RIM,
        u=2.0 * RAGGED_SHARE * ragged_px * min(math.sqrt(factor), MOST_UNEVEN) / px_per_mm,
        how=f"traced points lie {ragged_px:.2f} px off the ellipse beyond their own doubt",
        common=True,
    )


def _common_components(
    rim: Rim, ellipse: Ellipse, scale: Scale, fit: _Fit, *, clipped: float
) -> list[Component]:
    """What moves the whole rim alike; all but the focus likely to be the same in a series.

    `clipped` is how far the radius moves when clipped arcs move by 1 alike.
    """
    px_per_mm = _px_per_mm(scale)
    half_diagonal = math.hypot(scale.width_px, scale.height_px) / 2
    defocus_px = math.hypot(max(rim.blur_px - SHARP_BLUR_PX, 0.0), UNNOTICED_PX / math.sqrt(3))
    defocus = defocus_px / (2 * half_diagonal) * 2 * ellipse.m
    return [
        _definition(rim, fit, px_per_mm),
        Component(
            name="dark bowl",
            u=2.0 * DARK_FOOT_SHARE * rim.dark_foot * rim.transition_px / px_per_mm,
            how=f"the bowl is dark up to the rim ({rim.dark_foot:.0%}): the edge's foot is hidden",
            common=True,
        ),
        Component(
            name="tone curve",
            u=2.0 * rim.u_tone_px / px_per_mm,
            how="assumed: neither the file nor the user says it" if rim.u_tone_px else "stated",
            common=True,
        ),
        Component(
            name="exposure",
            u=2.0 * CLIPPED_SHARE * clipped * rim.transition_px / px_per_mm,
            how=f"{rim.clipped_share:.0%} of the rim next to clipped light, with {clipped:.0%} of "
            "the say in the mean diameter",
            common=True,
        ),
        Component(
            name="focus",
            u=defocus,
            how=f"blur {rim.blur_px:.2f} px, up to {UNNOTICED_PX:g} px unnoticed; magnification "
            "changes as focus does",
        ),
    ]


def _definition(rim: Rim, fit: _Fit, px_per_mm: float) -> Component:
    """What the light of the edge may tell wrongly all round, of the mean and so of the axes.

    Errors of lit and shaded sides cancel on a whole turn only: the parts that differ from side to
    side grow with the root of the variance factor, as errors of single arcs do.
    """
    doubt_px, _ = rim.scatter_px(px_per_mm * fit.residuals, fit.weights > 0)
    smear = math.sqrt(max(rim.blur_px**2 - SHARP_BLUR_PX**2, 0.0))
    unusual_px = doubt_px**2 / (doubt_px + USUAL_SCATTER * 2 * rim.ellipse.m)
    continued = rim.blur_px * guard_px(rim.blur_px) / rim.ellipse.m
    uneven = min(math.sqrt(fit.variance_factor(_MEAN)), MOST_UNEVEN)
    definition_px = math.hypot(
        SHAPE_SHARE * rim.u_common_px * uneven,
        ROUNDING_SHARE * rim.rounding_px * uneven,
        SCATTER_SHARE * unusual_px * uneven,
        SMEAR_SHARE * smear,
        CONTINUED_SHARE * continued,
    )
    return Component(
        name="rim definition",
        u=2.0 * definition_px / px_per_mm,
        how=f"shape of the edge {rim.u_common_px:.2f} px, rounding {rim.rounding_px:.2f} px, "
        f"smear {smear:.2f} px, light continued {continued:.2f} px, doubtful arcs scatter "
        f"{doubt_px:.2f} px, of which unusual {unusual_px:.2f} px; arcs missing or doubted: "
        f"x {uneven:.2f}",
        common=True,
    )


def _tilt(ellipse: Ellipse, wanted: Array) -> Component:
    """Half of what shortens along the tilt is the mean diameter's; an axis has cos² of their angle.

    That is (1 + cos 2φ) / 2, and any direction is as likely: root mean square.
    """
    share = math.sqrt(1 / 4 + float(wanted[3:] @ wanted[3:]) / 8)
    shortened = 2 * ellipse.m * (1 - math.cos(math.radians(TILT_DEG)))
    return Component(
        name="tilt",
        u=share * shortened / math.sqrt(3),
        how=f"specimen level within {TILT_DEG:g} degrees",
        common=True,
    )


def _scale_components(scale: Scale, gradient: Array) -> list[Component]:
    """Parts of the scale's covariance in a diameter, of a gradient by its parameters.

    The three parameters (mean px/mm, aspect, radial term) are made independent one after the
    other (Cholesky), so that the parts' squares add up to the whole.
    """
    to_mean = np.array([[0.5, 0.5, 0.0], [1.0, -1.0, 0.0], [0.0, 0.0, 1.0]])
    covariance = to_mean @ np.array(scale.covariance) @ to_mean.T
    gradient = np.linalg.solve(to_mean.T, gradient)
    size = np.sqrt(np.diag(covariance))
    unit = np.where(size > 0, size, 1.0)  # what is known exactly takes no part
    root = np.linalg.cholesky(covariance / np.outer(unit, unit) + 1e-12 * np.eye(3))
    parts = np.abs((gradient * size) @ root)
    names = ("pixel scale", "aspect", "distortion")
    hows = ("stage micrometer and its certificate", "px/mm along x against y", "radial term")
    return [
        Component(name=name, u=float(part), dof=scale.dof, how=how, common=True)
        for name, part, how in zip(names, parts, hows, strict=True)
    ]


def _scale_moves(rim: Rim, scale: Scale, fit: _Fit) -> Array:
    """Move (3, N) of each point along its normal per unit of (px_per_mm_x, px_per_mm_y, k1)."""
    step = 1e-7
    x, y = fit.points.T
    bent = (scale.shifted(2, step).mm_from_px(rim.points_px) - fit.points) / step
    return np.array(
        [
            -x / scale.px_per_mm_x * fit.normals[:, 0],
            -y / scale.px_per_mm_y * fit.normals[:, 1],
            np.sum(bent * fit.normals, axis=1),
        ]
    )
