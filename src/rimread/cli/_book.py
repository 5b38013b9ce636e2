"""What ``measure`` keeps in a ledger, and readings by a person beside the image's."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimread.cli._io import say

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.hardness import TestCondition
    from rimread.ledger import Entry, Ledger
    from rimread.reading import Reading
    from rimread.refusal import Refusal
    from rimread.scale.model import Scale

__all__ = ["Keeper", "Kept", "Wishes", "keeping"]


@dataclass(frozen=True, slots=True)
class Wishes:
    """Options of the verb: ledger, pairs read by a person, who, what is corrected and why."""

    ledger: str | None
    human: Sequence[str]
    operator: str
    replaces: int | None
    reason: str


@dataclass(frozen=True, slots=True)
class Kept:
    """What was kept of one photo, or of one of its indents.

    Parameters
    ----------
    entry : int or None
        Number in the ledger, None without one.
    hands : tuple of dict
        Records of readings by a person, with the difference to the image.
    """

    entry: int | None
    hands: tuple[dict[str, Any], ...]

    def json(self) -> dict[str, Any]:
        """Keys for the record of the photo; none when nothing was asked."""
        found: dict[str, Any] = {} if self.entry is None else {"ledger_entry": self.entry}
        return found | ({"human": list(self.hands)} if self.hands else {})

    def lines(self) -> Iterator[str]:
        """Lines for people."""
        for hand in self.hands:
            apart = hand["human_minus_image_mm"]
            against = "" if apart is None else f", {apart:+z.3f} mm against the image"
            yield (
                f"read by {hand['operator']}: {hand['d1_mm']:g}, {hand['d2_mm']:g} mm, mean "
                f"{hand['mean_mm']:.3f} mm{against}; {hand['designation']}"
            )
        if self.entry is not None:
            yield f"ledger entry {self.entry}"


@dataclass(frozen=True, slots=True)
class Keeper:
    """Keeps readings; `keeping` makes one."""

    wishes: Wishes
    book: Ledger | None
    pairs: tuple[tuple[float, float], ...]
    test: TestCondition
    scale: Scale
    scale_file: str

    def judge(self, path: Path, indents: int) -> None:
        """Say that what belongs to one indent was asked for several.

        Raises
        ------
        ValueError
            Before anything of this photo is kept.
        """
        wishes = self.wishes
        for option, given in (("--human", wishes.human), ("--replaces", wishes.replaces)):
            if given and indents != 1:
                raise ValueError(f"{option} belongs to one indent (got {indents} in {path})")

    def keep(self, path: Path, sha256: str | None, result: Reading | Refusal) -> Kept:
        """Write the image's reading, then those of the person.

        Raises
        ------
        ValueError
            Before anything is kept, if the entry to be replaced is not one of this photo.
        """
        from rimread.hardness import not_of_one_indent  # noqa: PLC0415
        from rimread.refusal import Refusal  # noqa: PLC0415

        if self.book is not None and self.wishes.replaces is not None:
            _same_photo(self.book.entry(self.wishes.replaces), path, sha256)
        entry = self._image(path, sha256, result)
        mean_mm = None if isinstance(result, Refusal) else result.diameters.mean_mm
        hands = self._hands(path, sha256, entry)
        for hand in hands:
            far = mean_mm and not_of_one_indent(hand["mean_mm"], mean_mm)
            if far:
                say(f"{path}: look again: the {far}")
        return Kept(entry, tuple(self._shown(hand, mean_mm) for hand in hands))

    def _image(self, path: Path, sha256: str | None, result: Reading | Refusal) -> int | None:
        if self.book is None:
            return None
        from rimread.ledger import Draft  # noqa: PLC0415
        from rimread.ledger.record import image_record  # noqa: PLC0415

        record = image_record(
            str(path), sha256, result, test=self.test, scale=self.scale, scale_file=self.scale_file
        )
        wishes = self.wishes
        draft = Draft(
            "image",
            record,
            operator=wishes.operator,
            replaces=wishes.replaces,
            reason=wishes.reason,
        )
        return self.book.append([draft])[0].number

    def _hands(self, path: Path, sha256: str | None, image: int | None) -> list[dict[str, Any]]:
        if not self.pairs:
            return []
        from rimread.ledger import Draft  # noqa: PLC0415
        from rimread.ledger.record import hand_record  # noqa: PLC0415

        hands = [
            hand_record(str(path), sha256, d1, d2, test=self.test, trial=trial, image_entry=image)
            for trial, (d1, d2) in enumerate(self.pairs, start=1)
        ]
        if self.book is not None:
            self.book.append([Draft("hand", h, operator=self.wishes.operator) for h in hands])
        return hands

    def _shown(self, hand: dict[str, Any], mean_mm: float | None) -> dict[str, Any]:
        keys = ("d1_mm", "d2_mm", "mean_mm", "hbw", "designation", "trial")
        apart = None if mean_mm is None else hand["mean_mm"] - mean_mm
        shown = {"operator": self.wishes.operator} | {key: hand[key] for key in keys}
        return shown | {"human_minus_image_mm": apart}


@contextmanager
def keeping(
    wishes: Wishes, photos: int, test: TestCondition, scale: Scale, scale_file: Path
) -> Iterator[Keeper]:
    """Open the ledger and give what keeps readings in it.

    Raises
    ------
    ValueError
        If the options do not go together, a pair is none, or the ledger cannot be opened.
    """
    _judge(wishes, photos)
    pairs = tuple(_pair(word, test) for word in wishes.human)
    with ExitStack() as stack:
        book = None
        if wishes.ledger is not None:
            from rimread.ledger import open_ledger  # noqa: PLC0415

            book = stack.enter_context(open_ledger(wishes.ledger))
            if wishes.replaces is not None:
                book.entry(wishes.replaces)
        yield Keeper(wishes, book, pairs, test, scale, str(scale_file))


def _one_name(kept: str, given: Path) -> bool:
    """Whether file names are the same, and folders where both tell theirs."""
    from rimread.names import elsewhere, path_parts  # noqa: PLC0415

    return Path(kept).name == given.name and not elsewhere(path_parts(kept), path_parts(str(given)))


def _same_photo(entry: Entry, path: Path, sha256: str | None) -> None:
    """A file that could not be read has no hash: there its name tells, and its folder's."""
    draft = entry.draft
    name, told = str(draft.record.get("photo")), draft.record.get("sha256")
    same = told == sha256 if told and sha256 else _one_name(name, path)
    if draft.kind == "image" and same:
        return
    if draft.kind == "withdrawal":
        raise ValueError(f"entry {entry.number} is a withdrawal, which stays: leave --replaces out")
    of = "a person's reading" if draft.kind == "hand" else f"of another photo, {name}"
    raise ValueError(
        f"--replaces corrects the image's reading of the same photo, and entry {entry.number} is "
        f"{of}: take it out with 'rimread ledger withdraw' if it is wrong, and leave --replaces out"
    )


def _judge(wishes: Wishes, photos: int) -> None:
    if wishes.human and (photos != 1 or not wishes.operator.strip()):
        raise ValueError(
            f"--human belongs to one photo and one --operator (got {photos} photos, operator "
            f"{wishes.operator!r})"
        )
    if wishes.operator.strip() and wishes.ledger is None and not wishes.human:
        raise ValueError(
            f"--operator needs --ledger, where the name is kept (got {wishes.operator!r})"
        )
    if wishes.replaces is not None and (photos != 1 or wishes.ledger is None):
        raise ValueError("--replaces belongs to one photo and a --ledger")
    if (wishes.replaces is None) != (not wishes.reason.strip()):
        raise ValueError("--replaces N and --reason TEXT go together: what is corrected, and why")


def _pair(word: str, test: TestCondition) -> tuple[float, float]:
    from rimread.cli._indents import indents_from  # noqa: PLC0415
    from rimread.ledger.record import hand_record  # noqa: PLC0415

    if "," not in word:
        raise ValueError(f"--human takes two diameters in mm, like 3.42,3.45 (got {word!r})")
    (indent,) = indents_from([word], test).indents
    hand_record("", None, indent.d1_mm, indent.d2_mm, test=test)  # says now what is wrong with it
    return indent.d1_mm, indent.d2_mm
