"""When to take the picture by itself: everything still and sharp for a while."""

from __future__ import annotations

from dataclasses import dataclass, field

from rimread.capture.frame import Frame, photo_of
from rimread.capture.sight import SHARP_PX, Look, Sight
from rimread.refusal import Refusal
from rimread.rim import find_rim
from rimread.scale import lines_seen

__all__ = ["Steady"]


@dataclass(slots=True)
class Steady:
    """Says of each frame whether the picture is to be taken.

    Parameters
    ----------
    frames : int
        So many still and sharp frames in a row are asked for.
    indent : bool
        Whether an indent must be found as well, or else the ruled lines of a stage micrometer.
    """

    frames: int = 8
    indent: bool = True
    _look: Look = field(default_factory=Look)
    _run: int = 0
    _unfit: str = ""
    why: str = "waiting for the first frames"

    def __post_init__(self) -> None:
        if self.frames < 2:
            raise ValueError(f"still needs at least 2 frames in a row (got {self.frames})")

    def at(self, frame: Frame) -> bool:
        """Whether to take the picture now; `why` then says what was missing."""
        missing = _missing(self._look.at(frame))
        self._run = 0 if missing else self._run + 1
        if missing:
            self.why, self._unfit = missing, ""
        elif 2 * self._run >= self.frames:  # a slow drift rests for a few frames, too
            self.why = self._unfit or "holding still"
        if self._run < self.frames:
            return False
        self.why = self._unfit = _unfit(frame) if self.indent else _unruled(frame)
        if self.why:
            self._run = 0
        return not self.why


def _unfit(frame: Frame) -> str:
    found = find_rim(photo_of(frame))
    if isinstance(found, Refusal):
        return found.message
    if found.blur_px > SHARP_PX:
        return f"the rim is not sharp yet (blur {found.blur_px:.1f} px): fine focus"
    return ""


def _unruled(frame: Frame) -> str:
    found = lines_seen(photo_of(frame, name="the picture"))
    return found.message if isinstance(found, Refusal) else ""


def _missing(sight: Sight) -> str:
    if sight.first:
        return "waiting for the next frame to compare with"
    if not sight.still:
        return "the picture moves"
    return "" if sight.sharp else "the picture is not sharp"
