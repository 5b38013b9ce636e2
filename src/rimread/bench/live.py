"""The live view: preview pictures, and an eye on each frame that says what to do."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import Any, Self

import cv2
import numpy as np

from rimread.capture.feed import Feed
from rimread.capture.frame import Frame, Picture, photo_of
from rimread.capture.rate import Rate
from rimread.capture.sight import Hint, Look, hints
from rimread.rim import Rim, find_rim

__all__ = ["Live", "preview"]

PREVIEW_PX = 1280
"""Longest side of a preview: sharper than most screens show a live picture."""
_QUALITY = (cv2.IMWRITE_JPEG_QUALITY, 80)
_UNWATCHED_S = 3.0
"""Nothing is looked for when no page has asked for so long."""
_OUTLINE = 73
LOOKS_PER_S, PICTURES_PER_S = 5.0, 20.0
"""More than a hand at the focus can follow only takes time from the rest."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What the eye saw in a frame: its number and size, hints, rim outline or None."""

    number: int
    width_px: int
    height_px: int
    hints: tuple[Hint, ...]
    outline_px: tuple[tuple[float, float], ...] | None


class Live:
    """Looks at the newest frame again and again while somebody watches; a context manager.

    Parameters
    ----------
    feed : Feed
        Where frames come from.
    """

    def __init__(self, feed: Feed) -> None:
        self.feed = feed
        self.seen: Seen | None = None
        self._looks = Rate(20)
        self._asked_at = 0.0
        self._indent = True
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="eye", daemon=True)
        self._encoding = threading.Lock()
        self._encoded: tuple[int, bytes] = (0, b"")
        self._next_picture = 0.0

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(timeout=10.0)

    def picture(self, after: int) -> tuple[int, bytes] | None:
        """Number and JPEG of the newest frame above `after`, waited for; shared by all viewers."""
        self._asked_at = time.monotonic()
        with self._encoding:
            if self._encoded[0] > after:
                return self._encoded
            time.sleep(max(self._next_picture - time.monotonic(), 0.0))
            frame = self.feed.newest(after=after)
            if frame is None:
                return None
            self._next_picture = time.monotonic() + 1.0 / PICTURES_PER_S
            self._encoded = (frame.number, preview(frame.picture))
            return self._encoded

    def told(self, *, indent: bool) -> dict[str, Any]:
        """What the page shows beside the picture.

        Parameters
        ----------
        indent : bool
            Whether an indent is looked for from now on, or a stage micrometer is in view.
        """
        self._asked_at = time.monotonic()
        self._indent = indent
        seen = self.seen
        return {
            "trouble": self.feed.trouble,
            "fps": round(self.feed.fps, 1),
            "looks_per_s": round(self._looks.per_s, 1),
            "frame": seen.number if seen else 0,
            "width_px": seen.width_px if seen else None,
            "height_px": seen.height_px if seen else None,
            "hints": [
                {"code": hint.code, "state": hint.state, "message": hint.message}
                for hint in (seen.hints if seen else ())
            ],
            "outline_px": seen.outline_px if seen else None,
        }

    def _run(self) -> None:
        look, last = Look(), 0
        while not self._stop.is_set():
            if time.monotonic() - self._asked_at > _UNWATCHED_S:
                self._looks.forget()
                self._stop.wait(0.05)
                continue
            begun = time.monotonic()
            frame = self.feed.newest(after=last, timeout_s=0.5)
            if frame is None:
                continue
            last = frame.number
            self.seen = self._look(frame, look)
            self._looks.tick()
            self._stop.wait(max(begun + 1.0 / LOOKS_PER_S - time.monotonic(), 0.0))

    def _look(self, frame: Frame, look: Look) -> Seen:
        sight = look.at(frame)
        found = find_rim(photo_of(frame)) if self._indent else None
        size = {"width_px": frame.width_px, "height_px": frame.height_px}
        outline = None
        if isinstance(found, Rim):
            points = found.ellipse.points(np.linspace(0, 2 * np.pi, _OUTLINE))
            outline = tuple((round(float(x), 1), round(float(y), 1)) for x, y in points)
        return Seen(frame.number, **size, hints=hints(sight, found, **size), outline_px=outline)


def preview(picture: Picture) -> bytes:
    """JPEG of a picture, made smaller when it is large."""
    shown = picture if picture.dtype == np.uint8 else (picture >> 8).astype(np.uint8)
    height, width = shown.shape[:2]
    factor = PREVIEW_PX / max(height, width)
    if factor < 1.0:
        size = (max(round(width * factor), 1), max(round(height * factor), 1))
        shown = np.asarray(cv2.resize(shown, size, interpolation=cv2.INTER_AREA), np.uint8)
    _, data = cv2.imencode(".jpg", shown, _QUALITY)
    return data.tobytes()
