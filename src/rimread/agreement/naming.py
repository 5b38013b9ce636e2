"""When two spellings are one photo, one person or one trial."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Mapping

from rimread.names import Parts, folded, path_parts

__all__ = ["indent_of", "same_trial", "whole_names"]

_INDENT = re.compile(r"#\d+$")


def same_trial(trial: str) -> str:
    """A trial's name as it is compared: 1 and 01 are one trial."""
    plain = folded(unicodedata.normalize("NFKC", trial))
    return plain.lstrip("0") or "0" if plain.isdecimal() else plain


def indent_of(photo: str) -> str:
    """Number of the indent that a name ends with, like ``#2``, "" where it has none."""
    found = _INDENT.search(photo.strip())
    return found[0] if found else ""


def whole_names(named: Iterable[tuple[str, str]]) -> Mapping[tuple[str, str], tuple[Parts, ...]]:
    """What each photo is called where the person who names it says most.

    ``IMG_1.jpg`` is ``mon/IMG_1.jpg`` where the same person also wrote that, and could be either
    of two where this person also wrote ``tue/IMG_1.jpg``. Another person's folders say nothing:
    each may have a copy in a folder of their own.

    Parameters
    ----------
    named : iterable of (str, str)
        Operator and photo as written.

    Returns
    -------
    mapping
        By operator and photo as written; more than one name where it is not clear.
    """
    written = {(who, photo): (folded(who), path_parts(photo)) for who, photo in named}
    written = _with_endings(written)
    known = set(written.values())
    lengths = {len(parts) for _, parts in known}
    shorter = {(who, parts[-n:]) for who, parts in known for n in lengths if n < len(parts)} & known
    wholes: dict[tuple[str, Parts], list[Parts]] = defaultdict(list)
    for who, parts in sorted(known - shorter):
        for n in lengths:
            if n <= len(parts):
                wholes[who, parts[-n:]].append(parts)
    return {key: tuple(wholes[who_and_parts]) for key, who_and_parts in written.items()}


def _with_endings(
    written: Mapping[tuple[str, str], tuple[str, Parts]],
) -> dict[tuple[str, str], tuple[str, Parts]]:
    """People leave out .jpg: a name without an ending is the only one that goes on with one."""
    endings: dict[tuple[str, str], set[str]] = defaultdict(set)
    for who, parts in written.values():
        endings[who, parts[-1].rpartition(".")[0]].add(parts[-1])

    def ended(who: str, parts: Parts) -> Parts:
        names = endings.get((who, parts[-1]), set()) if "." not in parts[-1] else set()
        return (*parts[:-1], *names) if len(names) == 1 else parts

    return {key: (who, ended(who, parts)) for key, (who, parts) in written.items()}
