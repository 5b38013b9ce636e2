"""The bench's folder: pictures, scale files, blocks, the job. Nothing outside is ever touched."""

from __future__ import annotations

import contextlib
import json
import re
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from rimread import whole
from rimread.capture.burst import Burst
from rimread.capture.keep import keep
from rimread.hardness import Block, read_block
from rimread.photo import Photo, PhotoError, read_photo
from rimread.scale import Scale, read_scale, write_scale

__all__ = ["Folder", "Shot"]

_ENDINGS: Final = {
    b"\xff\xd8\xff": ".jpg",
    b"\x89PNG\r\n\x1a\n": ".png",
    b"II*\x00": ".tif",
    b"MM\x00*": ".tif",
    b"BM": ".bmp",
}
"""First bytes of the kinds of pictures that are taken, and the ending each gets."""
_WORD = re.compile(r"[^A-Za-z0-9]+")


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """A picture in the folder.

    Parameters
    ----------
    photo : Photo
        As read back from the disk.
    path : str
        From the folder, with forward slashes.
    taken_at : datetime.datetime
        When it was taken or came in.
    label : str
        What the user called it.
    """

    photo: Photo
    path: str
    taken_at: datetime
    label: str


class Folder:
    """A folder of the bench.

    Parameters
    ----------
    root : Path
        Made when it is missing.

    Raises
    ------
    OSError
        If it cannot be made.
    """

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()
        for name in ("photos", "scales", "blocks", "reports"):
            (self.root / name).mkdir(parents=True, exist_ok=True)

    @property
    def ledger(self) -> Path:
        """Where the ledger is."""
        return self.root / "ledger.db"

    @property
    def daily_log(self) -> Path:
        """Log of the checks on reference blocks."""
        return self.root / "daily-checks.csv"

    @property
    def reports(self) -> Path:
        """Where test reports are written."""
        return self.root / "reports"

    # -- pictures ---------------------------------------------------------------------------------

    def keep_frames(self, burst: Burst, words: Mapping[str, str]) -> Shot:
        """Write a picture from the camera and read it back."""
        day = self.root / "photos" / f"{burst.taken_at.astimezone():%Y-%m-%d}"
        kept = keep(burst.picture, day, taken_at=burst.taken_at, words=words)
        return self._shot(kept.path, kept.taken_at, kept.path.name)

    def keep_upload(self, data: bytes, label: str, taken_at: datetime) -> Shot:
        """Write a picture that came in and read it; what is no picture is not kept.

        Raises
        ------
        PhotoError
            (A ValueError.) If it is no picture that can be read; the message has no path in it.
        """
        ending = next((end for start, end in _ENDINGS.items() if data.startswith(start)), None)
        if ending is None:
            raise PhotoError("not a JPEG, PNG, TIFF or BMP picture")
        day = self.root / "photos" / f"{taken_at.astimezone():%Y-%m-%d}"
        path = day / f"{taken_at:%Y%m%d-%H%M%S}-{secrets.token_hex(4)}{ending}"
        whole.write(path, data, make_folder=True)
        try:
            return self._shot(path, taken_at, label or path.name)
        except PhotoError as error:
            path.unlink()
            raise PhotoError(str(error).removeprefix(f"{path}: ")) from None

    def _shot(self, path: Path, taken_at: datetime, label: str) -> Shot:
        return Shot(read_photo(path), path.relative_to(self.root).as_posix(), taken_at, label)

    # -- scales and blocks ------------------------------------------------------------------------

    def scales(self) -> Iterator[tuple[str, Scale]]:
        """File names and scales that can be read, by name."""
        for path in sorted((self.root / "scales").glob("*.toml")):
            with contextlib.suppress(ValueError, OSError):  # a file somebody else put there
                yield path.name, read_scale(path)

    def scale(self, sha256: str) -> tuple[str, Scale]:
        """File name and scale of this hash.

        Raises
        ------
        ValueError
            If there is none.
        """
        for name, scale in self.scales():
            if scale.sha256 == sha256:
                return name, scale
        raise ValueError("choose a scale, or make one with the stage micrometer")

    def add_scale(self, scale: Scale) -> Scale:
        """Write a scale under a name of its own and read it back with its hash."""
        stem = f"{word(scale.label) or 'scale'}-{scale.calibrated_on.isoformat()}"
        path = self._free("scales", stem)
        write_scale(scale, path)
        return read_scale(path)

    def blocks(self) -> Iterator[Block]:
        """Reference blocks that can be read."""
        for path in sorted((self.root / "blocks").glob("*.toml")):
            with contextlib.suppress(ValueError, OSError):
                yield read_block(path)

    def block(self, serial: str) -> Block:
        """Newest certificate of a serial number.

        Raises
        ------
        ValueError
            If there is none.
        """
        found = [block for block in self.blocks() if block.serial == serial]
        if not found:
            raise ValueError(f"no certificate of block {serial} can be read: enter it first")
        return found[-1]

    def add_block(self, block: Block) -> None:
        """Write a block's certificate; the newest of a serial counts."""
        lines = [
            f"serial = {json.dumps(block.serial, ensure_ascii=False)}",
            f"certified_hbw = {float(block.certified_hbw)!r}",
            f"U_hbw = {float(block.U_hbw)!r}",
            f"k = {float(block.k)!r}",
            f'test = "{block.test.name}"',
        ]
        if block.valid_until is not None:
            lines.append(f"valid_until = {block.valid_until.isoformat()}")
        text = "\n".join(lines).replace("\x7f", "\\u007f") + "\n"
        path = self._free("blocks", word(block.serial) or "block")
        whole.write(path, text.encode("utf-8"), make_folder=True)

    def _free(self, kind: str, stem: str) -> Path:
        """Name that no file has yet; sorts behind those of the same stem."""
        for number in range(1, 10_000):
            path = self.root / kind / f"{stem}-{number:03}.toml"
            if not path.exists():
                return path
        raise ValueError(f"too many files called {stem}")

    # -- the job ----------------------------------------------------------------------------------

    def remembered(self) -> dict[str, Any]:
        """What `remember` wrote last, empty when there is nothing that can be read."""
        try:
            told = json.loads((self.root / "bench.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return told if isinstance(told, dict) else {}

    def remember(self, told: Mapping[str, Any]) -> None:
        """Keep small things over a restart; readings are in the ledger."""
        data = json.dumps(told, indent=1).encode("ascii")
        whole.write(self.root / "bench.json", data, make_folder=True)


def word(text: str) -> str:
    """Letters and digits of a text, fit for a file name on any system."""
    return _WORD.sub("-", text).strip("-").lower()[:40]
