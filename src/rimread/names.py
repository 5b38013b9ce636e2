"""Names as people and systems write them: of persons, and of photos with their folders."""

from __future__ import annotations

import re
import unicodedata

__all__ = ["Parts", "elsewhere", "folded", "path_parts"]

Parts = tuple[str, ...]
"""Folders of a photo from the outermost on, its file name last, all of them folded."""

_DRIVE = re.compile(r"[a-z]:(?=[/\\])")


def folded(text: str) -> str:
    """Text without what people write differently: capitals, letters composed of two, spaces."""
    return " ".join(unicodedata.normalize("NFC", text).casefold().split())


def path_parts(photo: str) -> Parts:
    """Folders and file name of a path of any system; a drive and ``..`` at the beginning go."""
    plain = unicodedata.normalize("NFC", photo).casefold().strip()
    parts: list[str] = []
    for part in re.split(r"[/\\]+", _DRIVE.sub("", plain, count=1)):
        if part == "..":
            del parts[-1:]
        elif part not in ("", "."):
            parts.append(part)
    return tuple(parts) or ("",)


def elsewhere(one: Parts, other: Parts) -> bool:
    """Whether both name the folder they lie in, and not the same: cameras number anew in each."""
    return len(one) > 1 and len(other) > 1 and one[-2] != other[-2]
