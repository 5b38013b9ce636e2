"""The bench as its own process: killed in the middle of a series, started again."""

import json
import random
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest
from tests.bench.conftest import CHAPTERS, ROOT, film

from rimread.ledger import audit, open_ledger

pytestmark = pytest.mark.slow

ROUNDS = 6


def started(video, folder):
    """Start ``rimread bench`` and wait for its address."""
    words = ["bench", str(video), "--data", str(folder), "--port", "0", "--no-show"]
    words += ["--scale", str(ROOT / "calibration/hall-scope.toml")]
    process = subprocess.Popen(
        [sys.executable, "-m", "rimread", *words],
        stderr=subprocess.PIPE,
        text=True,
    )
    line = process.stderr.readline()
    assert "the bench is at http://127.0.0.1:" in line, line
    return process, line.split(" at ")[1].split()[0]


def post(url, path, words=None):
    """What the bench answers, told apart from its not answering."""
    request = urllib.request.Request(  # noqa: S310  (loopback)
        url + path,
        json.dumps(words or {}).encode(),
        {"Content-Type": "application/json", "Origin": url.rstrip("/")},
    )
    with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310
        return json.load(answer)["desk"]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no kill -9 on this system")
def test_nothing_accepted_is_lost(tmp_path):
    chapters = {"plate-2": CHAPTERS["plate-2"]}
    video = film(tmp_path / "plate.avi", chapters)
    folder, rng = tmp_path / "bench", random.Random(6506)  # noqa: S311
    accepted, series = 0, None
    for _ in range(ROUNDS):
        process, url = started(video, folder)
        desk = post(url, "api/job", {"operator": "Ada Quill"})
        counted = sum(line["counts"] for line in desk["series"]["lines"])
        assert counted in {accepted, accepted + 1}, "an answer may be lost, an entry not"
        assert series in {None, desk["series"]["id"]}, "the series goes on"
        accepted, series = counted, desk["series"]["id"]
        ends = time.monotonic() + rng.uniform(0.5, 4.0)
        killer = None
        try:
            while True:
                desk = post(url, "api/snap")
                if time.monotonic() > ends and killer is None:
                    delay = f"import os, time; time.sleep({rng.uniform(0, 0.05)}); "
                    killer = subprocess.Popen(
                        [sys.executable, "-c", f"{delay}os.kill({process.pid}, 9)"]
                    )
                post(url, f"api/picture/{desk['pending']['id']}/accept")
                accepted += 1
        except (urllib.error.URLError, ConnectionError, OSError):
            assert killer is not None, "the bench went away by itself"
        finally:
            process.kill()
            process.wait()
            process.stderr.close()
            killer.wait()
    with open_ledger(folder / "ledger.db", create=False) as ledger:
        entries = list(ledger.entries())
        assert not list(audit(ledger))
    assert len(entries) in {accepted, accepted + 1}
    assert len({entry.record["photo"] for entry in entries}) == len(entries)
    for entry in entries:
        assert (folder / entry.record["photo"]).stat().st_size > 0
