"""Which result belongs to which reading, when photos have been moved or renamed in case."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from rimread.agreement.readings import ImageResult

__all__ = ["Results"]


class Results:
    """Results by the name of their photo.

    A photo is found by its file name, capitals and composed letters not minded, so that it may
    have been moved; where several photos share the name, the folders above it decide. A photo
    measured several times counts as measured last.

    Parameters
    ----------
    results : iterable of ImageResult
        In the order they were measured.
    """

    def __init__(self, results: Iterable[ImageResult]) -> None:
        self._by_name: dict[str, dict[tuple[str, ...], ImageResult]] = {}
        for result in results:
            parts = _parts(result.photo)
            same = self._by_name.setdefault(parts[-1], {})
            same[parts] = result

    def find(self, photo: str) -> ImageResult | str:
        """Result of a photo, or why there is none to hold a reading against."""
        parts = _parts(photo)
        found = self._by_name.get(parts[-1]) or self._without_ending(parts[-1])
        if not found:
            return f"no result for {photo!r}"
        shared = {known: _shared(parts, known) for known in found}
        best = [known for known, count in shared.items() if count == max(shared.values())]
        if len(best) > 1:
            several = ", ".join(sorted(found[known].photo for known in best))
            return f"{photo!r} could be any of {several}: write the folder too"
        result = found[best[0]]
        if result.refused:
            return f"the image of {photo!r} was refused: {result.refused}"
        return result

    def _without_ending(self, name: str) -> dict[tuple[str, ...], ImageResult]:
        """People leave out .jpg."""
        if "." in name:
            return {}
        names = [known for known in self._by_name if known.rpartition(".")[0] == name]
        return {k: v for known in names for k, v in self._by_name[known].items()}


def _parts(photo: str) -> tuple[str, ...]:
    plain = unicodedata.normalize("NFC", photo).casefold().strip()
    return tuple(part for part in re.split(r"[/\\]+", plain) if part not in ("", ".")) or ("",)


def _shared(one: tuple[str, ...], other: tuple[str, ...]) -> int:
    """How many parts agree, from the file name upwards."""
    count = 0
    for a, b in zip(reversed(one[:-1]), reversed(other[:-1]), strict=False):
        if a != b:
            break
        count += 1
    return count
