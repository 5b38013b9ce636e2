"""An archive measured into either database."""

from collections import Counter

from tests.archive import pretend

from rimread.archive.items import from_manifest
from rimread.archive.results import write_results
from rimread.archive.run import Archive, remeasure
from rimread.archive.work import Settings
from rimread.ledger import audit, open_ledger


def test_once_each_in_either_database(where, tmp_path):
    path = pretend.manifest(tmp_path / "list.csv", 450)
    for start in range(2):
        with (
            open_ledger(where) as book,
            Archive(lambda: from_manifest(path), Settings(), run="r") as archive,
        ):
            tally = remeasure(archive, book, pretend.Here(), work=pretend.at_once)
            assert (tally.now, tally.before) == ((450, 0), (0, 450))[start]
            written = write_results(archive, book, tmp_path / "out.csv", own=("job",))
            assert (written.rows, written.refused) == (450, 45)
            assert list(audit(book)) == []
            photos = Counter(e.record["photo"] for e in book.entries())
    assert photos == Counter(f"{k}.jpg" for k in range(450))
