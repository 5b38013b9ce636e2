"""Live view of a 4 megapixel camera: pictures and looks per second that a viewer gets.

python tests/benchmarks/live_view.py [--seconds 10] [--browser]

A simulated indent of 2320 × 1740 pixels with the noise of a sensor comes at 30 frames a second
from memory, in colour as OpenCV hands it out. The bench serves it over loopback from a process of
its own; the viewer is a plain HTTP client, or with --browser the page itself in Chromium, which
shares the same cores. The load of the machine is printed beside: the figures fall with it.
"""

import argparse
import json
import multiprocessing
import os
import shutil
import socket
import statistics
import tempfile
import time
import urllib.request
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import uvicorn

from rimread.bench import serve
from rimread.bench.desk import Desk
from rimread.bench.folder import Folder
from rimread.bench.live import Live, preview
from rimread.capture.feed import Feed
from rimread.capture.frame import Frame, photo_of
from rimread.capture.sight import Look
from rimread.ledger import open_ledger
from rimread.rim import find_rim
from rimread.simulate import Camera, Indent, Scene, simulate

WIDTH, HEIGHT, FPS = 2320, 1740, 30.0
DIFFERENT = 6  # frames with noise of their own, shown in turn


class Memory:
    """A camera that delivers frames from memory at its own pace."""

    def __init__(self, frames: list[np.ndarray]) -> None:
        self._frames, self._number, self._due = frames, 0, time.monotonic()

    def read(self) -> Frame:
        """Next frame, a copy as a driver would make it."""
        self._due = max(self._due + 1.0 / FPS, time.monotonic() - 1.0)
        time.sleep(max(self._due - time.monotonic(), 0.0))
        self._number += 1
        picture = self._frames[self._number % DIFFERENT].copy()
        return Frame(picture, datetime.now(UTC), self._number)

    def close(self) -> None:
        """Nothing to let go."""


def frames() -> list[np.ndarray]:
    """Pictures of one indent that differ by noise."""
    camera = Camera(width_px=WIDTH, height_px=HEIGHT, px_per_mm=300.0)
    scene = Scene(indents=(Indent(d1_mm=4.0, d2_mm=3.99),), camera=camera)
    picture = simulate(scene, rng=np.random.default_rng(1), oversample=1).picture
    rng = np.random.default_rng(2)
    shown = []
    for _ in range(DIFFERENT):
        noisy = np.clip(picture + rng.normal(0.0, 1.5, picture.shape), 0, 255)
        shown.append(cv2.cvtColor(noisy.astype(np.uint8), cv2.COLOR_GRAY2BGR))
    return shown


def run_bench(sock: socket.socket, folder: str) -> None:
    """Serve until stopped."""
    made = frames()
    address = serve.address_for("127.0.0.1", 0)
    place = Folder(Path(folder))
    with (
        open_ledger(place.ledger) as ledger,
        Feed(lambda: Memory(made)) as feed,
        Live(feed) as live,
    ):
        desk = Desk(place, ledger, feed, "memory")
        uvicorn.Server(serve.config_for(desk, live, address, sock)).run(sockets=[sock])


def get(url: str) -> tuple[bytes, dict[str, str]]:
    """Body and headers."""
    with urllib.request.urlopen(url, timeout=60) as answer:  # noqa: S310  (loopback)
        return answer.read(), dict(answer.headers)


def watch_plainly(url: str, seconds: float) -> tuple[float, dict[str, object]]:
    """Pictures per second of a client that asks for the next when it has the last."""
    after, count, told = 0, 0, {}
    begun = asked = time.monotonic()
    while time.monotonic() - begun < seconds:
        _, headers = get(f"{url}live.jpg?after={after}")
        after = int(headers.get("x-frame", after))
        count += 1
        if time.monotonic() - asked > 0.25:
            told, asked = json.loads(get(f"{url}api/live")[0]), time.monotonic()
    return count / (time.monotonic() - begun), told


def watch_in_browser(url: str, seconds: float) -> tuple[float, dict[str, object]]:
    """Pictures per second that the page in Chromium gets and paints."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415  (only where it is asked for)

    program = shutil.which("chromium") or shutil.which("chromium-browser")
    switches = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync"]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=switches)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(url)
        page.locator("#hints li").first.wait_for(timeout=60_000)
        got = "performance.getEntriesByType('resource')"
        count = f"{got}.filter(e => e.name.includes('live.jpg')).length"
        page.evaluate("performance.setResourceTimingBufferSize(100000)")
        before, begun = page.evaluate(count), time.monotonic()
        page.wait_for_timeout(1000 * seconds)
        rate = (page.evaluate(count) - before) / (time.monotonic() - begun)
        told = json.loads(get(f"{url}api/live")[0])
        browser.close()
    return rate, told


def cpu_ms(work: Callable[[Frame], object], shown: list[Frame]) -> float:
    """Processor time of one call, which other work on the machine does not lengthen; median."""
    times = []
    for frame in shown * 2:
        begun = time.process_time()
        work(frame)
        times.append(1000.0 * (time.process_time() - begun))
    return statistics.median(times)


def print_cost() -> None:
    """What a picture and a look cost on one core."""
    cv2.setNumThreads(1)
    shown = [Frame(picture, datetime.now(UTC), i) for i, picture in enumerate(frames(), 1)]
    eye = Look()
    picture = cpu_ms(lambda frame: preview(frame.picture), shown)
    look = cpu_ms(lambda frame: (eye.at(frame), find_rim(photo_of(frame))), shown)
    share = (10 * picture + 3 * look) / 1000.0
    print(
        f"processor time: picture {picture:.0f} ms, look {look:.0f} ms; "
        f"10 pictures and 3 looks a second take {share:.2f} of a core"
    )


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--browser", action="store_true")
    asked = parser.parse_args()
    sock = serve.bound(serve.address_for("127.0.0.1", 0))
    with tempfile.TemporaryDirectory() as folder:
        process = multiprocessing.get_context("spawn").Process(
            target=run_bench, args=(sock, folder), daemon=True
        )
        process.start()
        url = f"http://127.0.0.1:{sock.getsockname()[1]}/"
        told = json.loads(get(f"{url}api/live")[0])
        while not told["outline_px"]:  # until the first rim is found
            time.sleep(0.3)
            told = json.loads(get(f"{url}api/live")[0])
        watch = watch_in_browser if asked.browser else watch_plainly
        rate, told = watch(url, asked.seconds)
        process.terminate()
        process.join()
    load = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "unknown"
    print(f"{WIDTH * HEIGHT / 1e6:.1f} Mpixel, viewer: {'Chromium' if asked.browser else 'HTTP'}")
    print(f"pictures per second {rate:5.1f}   (asked for: 10)")
    print(f"looks per second    {told['looks_per_s']:5.1f}   (asked for: 3)")
    print(f"camera              {told['fps']:5.1f} frames per second")
    print_cost()
    print(f"cores {os.cpu_count()}, load of the machine {load}")


if __name__ == "__main__":
    main()
