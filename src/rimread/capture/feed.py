"""A camera read without pause, so that the newest frame is always at hand."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Protocol, Self

from rimread.capture.camera import CameraError
from rimread.capture.frame import Frame
from rimread.capture.rate import Rate

__all__ = ["Feed", "Reader"]

_TRY_AGAIN_S = 2.0


class Reader(Protocol):
    """What a feed reads from; `rimread.capture.Camera` is one."""

    def read(self) -> Frame | None:
        """Next frame, None when there will be no more."""

    def close(self) -> None:
        """Let the source go."""


class Feed:
    """Reads a camera in a thread of its own; a context manager.

    When the camera fails it is opened again until it comes back, and `trouble` says so meanwhile.

    Parameters
    ----------
    opener : callable
        Opens the camera; raises `CameraError` when it cannot.
    """

    def __init__(self, opener: Callable[[], Reader]) -> None:
        self._opener = opener
        self._fresh = threading.Condition()
        self._frame: Frame | None = None
        self._count = 0
        self._rate = Rate(30)
        self._stop = threading.Event()
        self.trouble = "the camera has not given a picture yet"
        self._thread = threading.Thread(target=self._run, name="camera", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        with self._fresh:
            self._fresh.notify_all()
        self._thread.join(timeout=5.0)

    def newest(self, *, after: int = 0, timeout_s: float = 2.0) -> Frame | None:
        """Newest frame with a number above `after`, waited for; None when none comes."""
        with self._fresh:
            self._fresh.wait_for(lambda: self._count > after or self._stop.is_set(), timeout_s)
            return self._frame if self._count > after else None

    def next(self, count: int, *, timeout_s: float = 10.0) -> list[Frame]:
        """Return the next `count` frames from now on, fewer when the time runs out."""
        frames: list[Frame] = []
        ends = time.monotonic() + timeout_s
        after = self._count
        while len(frames) < count and time.monotonic() < ends:
            frame = self.newest(after=after, timeout_s=max(ends - time.monotonic(), 0.0))
            if frame is None:
                break
            frames.append(frame)
            after = frame.number
        return frames

    @property
    def fps(self) -> float:
        """Frames per second of late."""
        return self._rate.per_s

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                camera = self._opener()
            except CameraError as error:
                self._pause(str(error))
                continue
            try:
                self._read(camera)
            except CameraError as error:
                self._pause(str(error))
            finally:
                camera.close()

    def _read(self, camera: Reader) -> None:
        while not self._stop.is_set():
            frame = camera.read()
            if frame is None:
                self.trouble = "the video has ended; its last picture stays"
                self._stop.wait()
                return
            self._publish(frame)

    def _publish(self, frame: Frame) -> None:
        with self._fresh:
            self._count += 1
            self._frame = Frame(frame.picture, frame.taken_at, self._count)
            self._rate.tick()
            self.trouble = ""
            self._fresh.notify_all()

    def _pause(self, trouble: str) -> None:
        self.trouble = trouble
        self._stop.wait(_TRY_AGAIN_S)
