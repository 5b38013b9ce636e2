"""A bench with a video file as its camera, whose tape stays in a chapter until it is turned on."""

import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import pytest
import uvicorn

from rimread.bench import serve
from rimread.bench.ask import Ask
from rimread.bench.desk import Desk
from rimread.bench.folder import Folder
from rimread.bench.live import Live
from rimread.capture import Camera, open_camera
from rimread.capture.feed import Feed
from rimread.capture.frame import Frame
from rimread.ledger import open_ledger

ROOT = Path(__file__).parents[2]
CHAPTERS = {
    "along": "calibration/hall-horizontal.jpg",
    "across": "calibration/hall-vertical.jpg",
    "plate-2": "sample_images/hall-plate-2.jpg",
    "plate-3": "sample_images/hall-plate-3.jpg",
    "plate-4": "sample_images/hall-plate-4.jpg",
    "double": "sample_images/hall-double.jpg",
}
"""What the tape shows, one after the other: renderings from the invented shop's hall scope."""
FRAMES = 8
NOISE_LEVELS = 1.0


def film(path: Path, chapters: dict[str, str]) -> Path:
    """Lossless video of pictures with the noise of a camera, `FRAMES` of each."""
    rng = np.random.default_rng(6506)
    kind = cv2.VideoWriter_fourcc(*"FFV1")
    writer = cv2.VideoWriter(str(path), kind, 12, (1024, 768), isColor=False)
    assert writer.isOpened(), "OpenCV has no FFV1"
    for file in chapters.values():
        grey = cv2.imread(str(ROOT / file), cv2.IMREAD_GRAYSCALE).astype(np.float32)
        for _ in range(FRAMES):
            noisy = np.clip(grey + rng.normal(0.0, NOISE_LEVELS, grey.shape), 0, 255)
            writer.write(np.rint(noisy).astype(np.uint8))
    writer.release()
    return path


@dataclass
class Tape:
    """Reads the video file again and again within one chapter."""

    path: Path
    chapters: list[str]
    chapter: str
    _camera: Camera | None = None
    _played: int = 0
    _at: str = ""
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def turn_to(self, chapter: str) -> None:
        """Show another chapter from the next frame on."""
        with self._lock:
            self.chapter = chapter

    def read(self) -> Frame | None:
        """Next frame of the chapter."""
        with self._lock:
            if self._camera is None or self._at != self.chapter or self._played >= FRAMES:
                self._rewind()
            self._played += 1
            return self._camera.read()

    def _rewind(self) -> None:
        if self._camera is not None:
            self._camera.close()
        self._camera = open_camera(str(self.path))
        self._at, self._played = self.chapter, 0
        for _ in range(FRAMES * self.chapters.index(self.chapter)):
            self._camera.capture.grab()

    def close(self) -> None:
        """Let the file go."""
        with self._lock:
            if self._camera is not None:
                self._camera.close()
                self._camera = None


@pytest.fixture(scope="session")
def video(tmp_path_factory) -> Path:
    return film(tmp_path_factory.mktemp("film") / "scope.avi", CHAPTERS)


@pytest.fixture
def tape(video) -> Tape:
    return Tape(video, list(CHAPTERS), "along")


@dataclass(frozen=True)
class Running:
    """A bench that is being served."""

    url: str
    host: str
    desk: Desk
    folder: Path
    tape: Tape | None
    token: str


@contextmanager
def running(
    folder: Path, tape: Tape | None, *, token: bool = False, **limits: int
) -> Iterator[Running]:
    """Serve a bench in this process, on a port of the system's choice."""
    address = serve.address_for("127.0.0.1", 0, token=token)
    with open_ledger(Folder(folder).ledger) as ledger, serve.bound(address) as sock:
        if tape is None:
            desk = Desk(Folder(folder), ledger)
            with _served(desk, None, address, sock, **limits) as url:
                yield Running(url, url[7:-1], desk, folder, None, address.token)
            return
        with Feed(lambda: tape) as feed, Live(feed) as live:
            desk = Desk(Folder(folder), ledger, feed, "scope.avi")
            with _served(desk, live, address, sock, **limits) as url:
                yield Running(url, url[7:-1], desk, folder, tape, address.token)


@contextmanager
def _served(desk, live, address, sock, **limits) -> Iterator[str]:
    server = uvicorn.Server(serve.config_for(desk, live, address, sock, **limits))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{sock.getsockname()[1]}/"
    finally:
        server.should_exit = True
        thread.join(timeout=15)


@pytest.fixture
def bench(tmp_path, tape) -> Iterator[Running]:
    with running(tmp_path / "bench", tape) as one:
        yield one


@pytest.fixture
def ready(tmp_path) -> Iterator[Running]:
    """A bench without a camera that can measure."""
    with running(tmp_path / "bench", None) as one:
        make_ready(one)
        yield one


def make_ready(bench: Running) -> None:
    """Give a bench the hall scope's scale and somebody's name."""
    shutil.copyfile(ROOT / "calibration/hall-scope.toml", bench.folder / "scales/hall-scope.toml")
    (scale,) = bench.desk.told()["scales"]
    bench.desk.set_job(Ask({"operator": "Ada Quill", "scale": scale["sha256"]}))
