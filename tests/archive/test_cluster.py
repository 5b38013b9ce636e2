"""The same code on a real cluster of Dask's on this computer, a worker killed halfway."""

import csv
import json
import os
import signal
import sys
from collections import Counter

import pytest
from distributed import LocalCluster
from tests.archive import pretend
from tests.cli.test_remeasure import ON_TEST, SAMPLES, SCALES, table
from typer.testing import CliRunner

from rimread.archive.items import from_manifest
from rimread.archive.pool import Cluster
from rimread.archive.results import write_results
from rimread.archive.run import Archive, remeasure
from rimread.archive.work import Settings
from rimread.cli import app
from rimread.ledger import audit, open_ledger


@pytest.fixture
def cluster(tmp_path):
    with LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        dashboard_address=None,
        local_directory=str(tmp_path / "dask"),
    ) as running:
        yield running


def worker_pids(client):
    return dict(client.run(os.getpid).items())


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there is no kill -9")
@pytest.mark.filterwarnings("default")  # Dask's own, while it starts and stops
def test_a_worker_killed_halfway_loses_nothing(cluster, tmp_path):
    count = 300
    path = pretend.manifest(tmp_path / "list.csv", count)
    pool = Cluster(cluster.scheduler_address)
    assert pool.at_once == 2
    pids = worker_pids(pool._client)  # noqa: SLF001
    killed = []

    def kill_halfway(tally):
        if not killed and tally.now > count / 3:
            killed.append(min(pids.values()))
            os.kill(killed[0], signal.SIGKILL)

    with (
        open_ledger(tmp_path / "book.db") as book,
        Archive(lambda: from_manifest(path), Settings(test="30"), run="r") as archive,
    ):
        tally = remeasure(archive, book, pool, work=pretend.slowly, progress=kill_halfway)
        after = worker_pids(pool._client)  # noqa: SLF001
        pool.close()
        write_results(archive, book, tmp_path / "out.csv", own=("job",))
        assert list(audit(book)) == []
        photos = Counter(e.record["photo"] for e in book.entries())
    assert killed
    assert killed[0] not in after.values()
    assert tally.now == count
    assert tally.reasons["process-ended"] == 0
    assert photos == Counter(f"{k}.jpg" for k in range(count))
    with (tmp_path / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        assert len(list(csv.DictReader(file))) == count


@pytest.mark.slow
@pytest.mark.filterwarnings("default")
def test_the_verb_measures_the_same_on_a_cluster(cluster, tmp_path):
    names = ["hall-plate-1.jpg", "bench-axle-1.jpg", "hall-double.jpg", "none.jpg"]
    lines = "".join(f"{SAMPLES / name}\n" for name in names)
    (tmp_path / "list.csv").write_text("photo\n" + lines, encoding="utf-8")
    rows = []
    for number, where in enumerate((["--scheduler", cluster.scheduler_address], [])):
        out = tmp_path / f"{number}.csv"
        words = [tmp_path / "list.csv", "--ledger", tmp_path / f"{number}.db", "--out", out]
        words += ["--scales", SCALES, *ON_TEST, "--json", *where]
        done = CliRunner().invoke(app, ["remeasure", *map(str, words)])
        assert done.exit_code == 2
        assert json.loads(done.stdout)["measured_now"] == 2
        kept = ("photo", "sha256", "mean_mm", "U_mean_mm", "hbw", "refusal", "scale_file")
        rows.append([[row[key] for key in kept] for row in table(out)])
    assert rows[0] == rows[1]
