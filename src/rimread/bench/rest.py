"""Frames of a picture that was to be at rest: their average, and what their scatter adds to U."""

from __future__ import annotations

from collections.abc import Sequence

from rimread.budget import Component
from rimread.capture.burst import LEAST_FRAMES, Burst, Scatter, average, scatter_of
from rimread.capture.frame import Frame
from rimread.refusal import Refusal

__all__ = ["frames_at_rest", "scatter_beyond"]


def frames_at_rest(frames: Sequence[Frame]) -> Burst:
    """Average of frames of a sight that did not move.

    Raises
    ------
    ValueError
        If it did.
    """
    burst = average(frames)
    if isinstance(burst, Refusal):
        raise ValueError(burst.message)  # noqa: TRY004  (what was before the camera, not a type)
    return burst


def scatter_beyond(frames: Sequence[Frame]) -> tuple[list[Component], str]:
    """Scatter from frame to frame as a component in fractions of the diameter.

    Raises
    ------
    ValueError
        If the rim moved.
    """
    if len(frames) < LEAST_FRAMES:
        return [], ""
    scatter = scatter_of(frames)
    if not isinstance(scatter, Scatter):
        if scatter.code == "not-steady":
            raise ValueError(scatter.message)
        return [], scatter.message
    return [scatter.component], ""
