"""A traced rim."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimread.photo import Channel
from rimread.rim.ellipse import Ellipse

__all__ = ["Rim"]


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """The rim of one indent in the pixels of its photo.

    Parameters
    ----------
    points_px : ndarray, shape (N, 2)
        Traced points (x, y), evenly spread round the rim.
    weights : ndarray, shape (N,)
        Weight of each point in the fit, 0 for points left out.
    u_points_px : ndarray, shape (N,)
        Standard uncertainty of each point by itself: where its light has the edge.
    ellipse : Ellipse
        Fit to the points in the picture; diameters are fitted anew on the specimen plane.
    blur_px : float
        Standard deviation of the blur at the rim.
    rounding_px : float
        Rounding of the edge, see `rimread.rim.shading`.
    u_common_px : float
        Standard uncertainty of the rim's radius that all points share: where, within an edge
        that is not sharp, the ball left the metal.
    coverage : float
        Fraction of the turn on which the rim was seen, 0 to 1.
    clipped : ndarray, shape (N,), bool
        Points at which the exposure is clipped.
    dark_foot : float
        How far the bowl is dark up to the rim, so that the foot of the edge does not show: mean
        over the turn of `rimread.rim.shading.dark_feet`, 0 to 1.
    evidence : float
        Mean gain of the break along the ring it was traced from, see `rimread.rim.evidence`.
    u_tone_px : float
        Standard uncertainty of the radius for a tone curve that was assumed and not stated, see
        `rimread.rim.tone`; 0 where it was stated.
    bowl_spread : float
        Spread of the light within the rim over its median, see `rimread.rim.flatness`; infinite
        where it was not looked at.
    channel : {"blue", "green", "red"} or None
        The colour it was read in, see `rimread.rim.channel`; None for the luma.
    by_texture : bool
        Whether it was found by the texture of the metal alone, see `rimread.rim.seed`.
    """

    points_px: NDArray[np.floating]
    weights: NDArray[np.floating]
    u_points_px: NDArray[np.floating]
    ellipse: Ellipse
    blur_px: float
    rounding_px: float
    u_common_px: float
    coverage: float
    clipped: NDArray[np.bool_]
    dark_foot: float
    evidence: float
    u_tone_px: float = 0.0
    bowl_spread: float = math.inf
    channel: Channel | None = None
    by_texture: bool = False

    @property
    def used(self) -> NDArray[np.bool_]:
        """Which points carry the fit, shape (N,)."""
        return self.weights > 0

    def scatter_px(
        self, residuals_px: NDArray[np.floating], used: NDArray[np.bool_]
    ) -> tuple[float, float]:
        """Root mean square distance from the ellipse of points that carry the fit, in two parts.

        What their own doubt explains, and the rest. Clipped points are left out where there are
        others: they may lie anywhere in their blur.

        Parameters
        ----------
        residuals_px : ndarray, shape (N,)
            Their distances from the ellipse.
        used : ndarray, shape (N,), bool
        """
        open_points = used & ~self.clipped
        counted = open_points if open_points.any() else used
        power = float(np.mean(residuals_px[counted] ** 2))
        doubt = min(power, float(np.mean(self.u_points_px[counted] ** 2)))
        return math.sqrt(doubt), math.sqrt(power - doubt)

    @property
    def clipped_share(self) -> float:
        """Share of the turn at which the exposure is clipped, 0 to 1."""
        return float(self.clipped.mean())

    @property
    def centre_px(self) -> tuple[float, float]:
        """Centre (x, y)."""
        return self.ellipse.x, self.ellipse.y

    @property
    def semi_axes_px(self) -> tuple[float, float]:
        """Major and minor semi-axis."""
        return self.ellipse.semi_axes

    @property
    def angle_deg(self) -> float:
        """Direction of the major axis in the picture, from x towards y."""
        return self.ellipse.angle_deg

    @property
    def transition_px(self) -> float:
        """Standard deviation of the whole transition, blur and rounding together.

        The slope turns as a logistic function of length `rounding_px`, whose derivative has a
        standard deviation of π/√3 of it.
        """
        return float(np.hypot(self.blur_px, np.pi / np.sqrt(3) * self.rounding_px))
