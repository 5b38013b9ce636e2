"""Which result belongs to which reading, when photos have been moved or renamed in case."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from rimread.agreement.naming import indent_of, whole_names
from rimread.agreement.readings import HumanReading, ImageResult
from rimread.names import Parts, elsewhere, folded, path_parts
from rimread.table import Problem

__all__ = ["Match", "Results", "of_one_photo"]

Match = tuple[HumanReading, ImageResult]

_MOST = 3  # names that a message lists


class Results:
    """Results by the name of their photo, and by its file where hashes are known.

    A photo is found by its file name, capitals and composed letters not minded, so that it may
    have been moved together with its folder; the folders above it decide where several photos
    share the name. Where both sides name a folder and it is another one, it is another photo:
    scopes number from 1 every day. A photo measured several times counts as measured last.

    Parameters
    ----------
    results : iterable of ImageResult
        In the order they were measured.
    """

    def __init__(self, results: Iterable[ImageResult]) -> None:
        self._by_name: dict[str, dict[Parts, ImageResult]] = {}
        self._by_file: dict[str, dict[str, ImageResult]] = {}
        for result in results:
            parts = path_parts(result.photo)
            self._by_name.setdefault(parts[-1], {})[parts] = result
            if result.sha256:
                indents = self._by_file.setdefault(result.sha256, {})
                indents[indent_of(result.photo)] = result

    def find(self, photo: str, sha256: str = "") -> ImageResult | str:
        """Result of a photo, or why there is none to hold a reading against.

        Parameters
        ----------
        photo : str
            As the reading names it.
        sha256 : str
            Hash of its file, which decides where results of that file are known; "" when the
            reading has none.
        """
        indents = self._by_file.get(sha256) if sha256 else None
        found = self._of_name(photo, sha256) if indents is None else _of_file(photo, indents)
        if isinstance(found, ImageResult) and found.refused:
            return f"the image of {photo!r} was refused: {found.refused}"
        return found

    def _of_name(self, photo: str, sha256: str) -> ImageResult | str:
        parts = path_parts(photo)
        named = self._by_name.get(parts[-1]) or self._without_ending(parts[-1])
        if not named:
            return f"no result for {photo!r}"
        found = {known: r for known, r in named.items() if not (sha256 and r.sha256)}
        if not found:
            return (
                f"no result for the file of {photo!r}: {_listed(named.values())} is a file of "
                "another sha256; measure this one"
            )
        found = {known: r for known, r in found.items() if not elsewhere(parts, known)}
        if not found:
            return (
                f"no result for {photo!r}, the nearest is {_listed(named.values())} of another "
                "folder: measure this photo, or write the folder as the results have it"
            )
        shared = {known: _shared(parts, known) for known in found}
        best = [known for known, count in shared.items() if count == max(shared.values())]
        if len(best) > 1:
            several = _listed(found[known] for known in best)
            return f"{photo!r} could be any of {several}: write the folder too"
        return found[best[0]]

    def _without_ending(self, name: str) -> dict[Parts, ImageResult]:
        """People leave out .jpg."""
        if "." in name:
            return {}
        names = [known for known in self._by_name if known.rpartition(".")[0] == name]
        return {k: v for known in names for k, v in self._by_name[known].items()}


def of_one_photo(
    readings: Sequence[HumanReading], matched: Sequence[Match]
) -> tuple[list[Match], list[Problem]]:
    """What is left when every result is of one photo, and why the rest cannot be held against it.

    A person who names two folders means two photos, though only one of them was measured or the
    result names no folder: the nearer one counts, neither where both are as near.

    Parameters
    ----------
    readings : sequence of HumanReading
        Of the whole table: what is not matched tells names apart, too.
    matched : sequence of Match
        Readings and the results found for them.
    """
    names = whole_names((reading.operator, reading.photo) for reading in readings)
    spelt = {path_parts(reading.photo): reading.photo for reading in readings}
    why: dict[int, str] = {}  # by the place in `matched`
    by_result: dict[str, dict[int, Parts]] = defaultdict(dict)
    for place, (human, image) in enumerate(matched):
        wholes = names[human.operator, human.photo]
        if human.sha256 and human.sha256 == image.sha256:
            continue
        if len(wholes) > 1:
            several = _some(spelt.get(whole, "/".join(whole)) for whole in wholes)
            why[place] = (
                f"{human.photo!r} could be any of {several} in this table: write the folder too"
            )
        else:
            by_result[image.photo][place] = wholes[0]
    for of_result in by_result.values():
        why |= _of_several(matched, of_result)
    return (
        [match for place, match in enumerate(matched) if place not in why],
        [Problem(matched[place][0].line, told) for place, told in sorted(why.items())],
    )


def _of_several(matched: Sequence[Match], of_result: dict[int, Parts]) -> dict[int, str]:
    """Places of one result's readings that are of another photo, and why they are."""
    of_person: dict[str, set[Parts]] = defaultdict(set)
    for place, whole in of_result.items():
        of_person[folded(matched[place][0].operator)].add(whole)
    if all(len(own) == 1 for own in of_person.values()):
        return {}
    image = matched[next(iter(of_result))][1]
    measured = path_parts(image.photo)
    near = {whole: _nearness(whole, measured) for whole in of_result.values()}
    best = [whole for whole, how_near in near.items() if how_near == max(near.values())]
    several = _some(matched[place][0].photo for place in of_result)
    why = (
        f"the results have one photo, {image.photo!r}, for {several}: measure each of them, named "
        "with its folder"
    )
    return {place: why for place, whole in of_result.items() if len(best) > 1 or whole != best[0]}


def _nearness(whole: Parts, measured: Parts) -> tuple[bool, int]:
    return whole[-1] == measured[-1], _shared(whole, measured)


def _of_file(photo: str, indents: dict[str, ImageResult]) -> ImageResult | str:
    """The indent that a reading names, of those measured in its file."""
    if (asked := indent_of(photo)) in indents:
        return indents[asked]
    if asked:
        return f"no result for {asked} of {photo!r}: measure the photo with --all"
    if len(indents) == 1:
        return next(iter(indents.values()))
    return f"{photo!r} could be any of {_listed(indents.values())}: write the number too"


def _shared(one: Parts, other: Parts) -> int:
    """How many parts agree, from the file name upwards."""
    count = 0
    for a, b in zip(reversed(one[:-1]), reversed(other[:-1]), strict=False):
        if a != b:
            break
        count += 1
    return count


def _listed(results: Iterable[ImageResult]) -> str:
    return _some(result.photo for result in results)


def _some(names: Iterable[str]) -> str:
    """Names as a message tells them, the first of many."""
    told = sorted(set(names))
    more = len(told) - _MOST
    return ", ".join(told[:_MOST]) + (f" and {more} more" if more > 0 else "")
