"""How good the picture is right now, and what to do about it in words.

Only for the eye at the scope: no number of a reading comes from here.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import cv2
import numpy as np

from rimread.capture.frame import Frame, Picture
from rimread.capture.shift import STILL_LEVELS, STILL_PX, Small, change, shift_px, small
from rimread.refusal import Refusal
from rimread.rim import Rim

__all__ = ["Hint", "Look", "Sight", "hints", "sharpness"]

State = Literal["good", "adjust", "bad"]

SHARP_PX, SOFT_PX = 2.0, 3.5
"""Blur (standard deviation) up to which a picture is sharp, and beyond which it is not usable at
once. A reading takes more blur than that, at the price of a larger U; own choice, no source."""
CLIPPED_SHARE = 0.02
"""More of the picture than this at full light: the rim is in danger of being clipped."""
DIM, DARK = 0.35, 0.12
"""Bright parts (99th percentile) of a picture that could be brighter, and of one that is dark."""
ELSEWHERE = 4.0
"""More change than this times `STILL_LEVELS`: something else is in view, sharpness starts anew. The
focus alone changes a picture of an eighth of the size by less."""
SMALL, LARGE = 0.25, 0.85
"""Indent diameter over the shorter side of the picture: outside, another objective serves better.
Common practice, no source."""
OFF_CENTRE = 0.2
"""Distance of the indent from the middle over the shorter side; distortion grows outwards."""

_OF_LIGHT = ("overexposed", "underexposed")
"""Refusals that say what to do about the light, which the picture as a whole may contradict."""
RECALL_S = 20.0
"""How long a sharper picture is remembered: turning the focus through and back takes less."""
AS_SHARP = 0.85
"""Sharpness over the best of late from which on the focus is where it was best."""
_STEP = 4  # every fourth row and column is looked at


@dataclass(frozen=True, slots=True)
class Hint:
    """One thing about the picture.

    Parameters
    ----------
    code : {"focus", "light", "still", "frame"}
        What it is about.
    state : {"good", "adjust", "bad"}
        Whether something should be done.
    message : str
        What is seen and what to do, in one sentence.
    """

    code: str
    state: State
    message: str


@dataclass(frozen=True, slots=True)
class Sight:
    """Figures of one frame.

    Parameters
    ----------
    sharpness : float
        Mean square of the slopes over the square of the mean grey value.
    best : float
        The largest sharpness of the last `RECALL_S` seconds, this frame counted in.
    clipped : float
        Share of the picture at full light.
    bright : float
        99th percentile of the grey values over full scale.
    change : float
        Mean change since the frame before, in 8-bit grey levels at an eighth of the size;
        infinite for the first frame.
    moved_px : float
        How far the sight lies from where it came to rest, in pixels: a slow drift adds up.
    """

    sharpness: float
    best: float
    clipped: float
    bright: float
    change: float
    moved_px: float = 0.0

    @property
    def first(self) -> bool:
        """Whether there was no frame before it to hold it against."""
        return not np.isfinite(self.change)

    @property
    def still(self) -> bool:
        """Whether nothing moved."""
        return self.moved_px <= STILL_PX and self.change <= ELSEWHERE * STILL_LEVELS

    @property
    def sharp(self) -> bool:
        """Whether it is as sharp as it has been of late; says nothing while all is blurred."""
        return self.sharpness >= AS_SHARP * self.best


@dataclass(slots=True)
class Look:
    """Looks at frame after frame; remembers the last small picture and how sharp it has been."""

    _last: Small | None = field(default=None, repr=False)
    _rest: Small | None = field(default=None, repr=False)
    _sharp: deque[tuple[datetime, float]] = field(default_factory=deque, repr=False)

    def at(self, frame: Frame) -> Sight:
        """Figures of this frame."""
        grey = frame.grey
        full = int(np.iinfo(grey.dtype).max)
        thin = grey[::_STEP, ::_STEP]
        changed, moved_px = self._against(small(grey))
        if changed > ELSEWHERE * STILL_LEVELS:
            self._sharp.clear()
        found = sharpness(grey)
        return Sight(
            sharpness=found,
            best=self._best(frame.taken_at, found),
            clipped=float(np.mean(thin >= full * 0.99)),
            bright=float(np.percentile(thin, 99)) / full,
            change=changed,
            moved_px=moved_px,
        )

    def _against(self, now: Small) -> tuple[float, float]:
        """Change since the last frame and way since the stillness began, which may end here."""
        last, rest = self._last, self._rest
        self._last = now
        if last is None or rest is None or last.shape != now.shape:
            self._rest = now
            return float("inf"), 0.0
        moved_px = float(np.hypot(*shift_px(rest, now)))
        if moved_px > STILL_PX:
            self._rest = now
        return change(last, now), moved_px

    def _best(self, at: datetime, found: float) -> float:
        """Best of late; a queue that falls from its head keeps it at hand."""
        while self._sharp and self._sharp[-1][1] <= found:
            self._sharp.pop()
        self._sharp.append((at, found))
        while (at - self._sharp[0][0]).total_seconds() > RECALL_S:
            self._sharp.popleft()
        return self._sharp[0][1]


def sharpness(grey: Picture) -> float:
    """Mean square slope along rows and columns over the squared mean: falls as focus is lost.

    Brightness divides out. Compares pictures of the same thing only.
    """
    lines = (grey[::_STEP], grey[:, ::_STEP].T.copy())
    level = max(float(np.mean(lines[0])), 1.0)
    return sum(_slopes(part) for part in lines) / level**2


def _slopes(lines: Picture) -> float:
    smooth = cv2.blur(lines, (3, 1))  # takes the noise of single pixels out
    slopes = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=1)
    return float(cv2.norm(slopes, cv2.NORM_L2SQR)) / slopes.size


# -- in words -----------------------------------------------------------------------------------


def hints(
    sight: Sight, found: Rim | Refusal | None, *, width_px: int, height_px: int
) -> tuple[Hint, ...]:
    """What to do at the scope, most urgent things first in each line.

    Parameters
    ----------
    sight : Sight
        Of the newest frame.
    found : Rim, Refusal or None
        What was found in it; None when no indent is looked for (stage micrometer).
    width_px, height_px : int
        Of the frame.
    """
    told = [_focus(sight, found), _light(sight, found), _still(sight)]
    if found is not None:
        told.append(_frame(found, width_px, height_px))
    return tuple(told)


def _focus(sight: Sight, found: Rim | Refusal | None) -> Hint:
    if isinstance(found, Rim):
        blur = found.blur_px
        if blur <= SHARP_PX:
            return Hint("focus", "good", f"The rim is sharp (blur {blur:.1f} px).")
        if blur <= SOFT_PX:
            return Hint("focus", "adjust", f"A little soft (blur {blur:.1f} px): fine focus.")
        return Hint(
            "focus", "bad", f"The rim is not in focus (blur {blur:.1f} px): turn the focus."
        )
    if sight.sharp:
        return Hint("focus", "adjust", "Turn the focus slowly both ways and stop where it is best.")
    share = sight.sharpness / sight.best
    return Hint("focus", "bad", f"It was sharper a moment ago ({share:.0%} of that): turn back.")


def _light(sight: Sight, found: Rim | Refusal | None) -> Hint:
    if isinstance(found, Refusal) and found.code in _OF_LIGHT:
        return Hint("light", "bad", found.message)
    clipped = found.clipped_share if isinstance(found, Rim) else 0.0
    if clipped > 0.1:
        return Hint("light", "adjust", f"{clipped:.0%} of the rim touches white: less light.")
    if sight.clipped > CLIPPED_SHARE:
        return Hint("light", "adjust", f"{sight.clipped:.0%} of the picture is white: less light.")
    if sight.bright < DARK:
        return Hint("light", "bad", "Too dark: more light or a longer exposure.")
    if sight.bright < DIM:
        return Hint("light", "adjust", "Rather dark: more light makes U smaller.")
    return Hint("light", "good", "Light is right.")


def _still(sight: Sight) -> Hint:
    if sight.still:
        return Hint("still", "good", "Still.")
    if sight.first:
        return Hint("still", "adjust", "Waiting for the next frame.")
    return Hint("still", "adjust", "Moving: let the scope come to rest.")


def _frame(found: Rim | Refusal, width_px: int, height_px: int) -> Hint:
    if isinstance(found, Refusal):
        no_light = found.code in _OF_LIGHT
        return Hint("frame", "bad", "No rim is seen in this light." if no_light else found.message)
    side = min(width_px, height_px)
    share = 2 * found.ellipse.m / side
    if share < SMALL:
        message = f"The indent fills {share:.0%} of the height: a stronger objective reads finer."
        return Hint("frame", "adjust", message)
    x, y = found.centre_px
    dx, dy = (width_px - 1) / 2 - x, (height_px - 1) / 2 - y
    if np.hypot(dx, dy) > OFF_CENTRE * side:
        return Hint("frame", "adjust", f"Bring the indent {_way(float(dx), float(dy))}.")
    if share > LARGE:
        message = f"The indent fills {share:.0%} of the height: a weaker objective gives room."
        return Hint("frame", "adjust", message)
    return Hint("frame", "good", f"The rim is found and fills {share:.0%} of the height.")


def _way(dx: float, dy: float) -> str:
    """Direction to the middle, as seen in the picture."""
    words = []
    if abs(dy) > 0.4 * abs(dx):
        words.append("down" if dy > 0 else "up")
    if abs(dx) > 0.4 * abs(dy):
        words.append("to the right" if dx > 0 else "to the left")
    return " and ".join(words) + " in the picture"
