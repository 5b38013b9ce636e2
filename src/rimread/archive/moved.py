"""Photos that lie elsewhere than they did, found again by their hash."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Sequence
from pathlib import Path

__all__ = ["Whereabouts"]


class Whereabouts:
    """Looks for a photo by its hash, first among files of its name, then among all.

    Nothing is read before something is missing, and no file is read twice.

    Parameters
    ----------
    roots : sequence of Path
        Folders to look in and below.
    """

    def __init__(self, roots: Sequence[Path]) -> None:
        self._roots = roots
        self._by_hash: dict[str, str] = {}
        self._hashed: set[str] = set()
        self._all_hashed = False
        self._by_name: dict[str, list[str]] | None = None

    def find(self, name: str, sha256: str) -> str | None:
        """Path of a file with this hash, None when there is none."""
        if sha256 not in self._by_hash and not self._all_hashed:
            for path in self._candidates(name):
                self._hash(path)
                if sha256 in self._by_hash:
                    break
            else:
                self._all_hashed = True
        return self._by_hash.get(sha256)

    def _candidates(self, name: str) -> Iterator[str]:
        if self._by_name is None:
            self._by_name = {}
            for root in self._roots:
                for folder, _, names in os.walk(root):
                    for each in names:
                        path = str(Path(folder, each))
                        self._by_name.setdefault(each.casefold(), []).append(path)
        yield from self._by_name.get(name.casefold(), ())
        for paths in self._by_name.values():
            yield from paths

    def _hash(self, path: str) -> None:
        if path in self._hashed:
            return
        self._hashed.add(path)
        try:
            with Path(path).open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError:
            return
        self._by_hash.setdefault(digest, path)
