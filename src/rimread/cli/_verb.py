"""What holds for the words of every verb."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise
from typing import Any

from typer.core import TyperCommand, TyperGroup

from rimread.cli._io import printing, speaking

__all__ = ["Verb", "Verbs"]

_FILE = re.compile(r"FILE|FOLDER|LEDGER|PHOTO|\.")
"""Metavar of an option that names a file or folder, like LAB.toml; a test asks all of them,"""
_NUMBER = re.compile(r"MM|HBW|KGF|PERCENT|DEG|°C|S|K|LOW-HIGH")
"""and of one that takes a number or a range."""
_COMMA = re.compile(r"(\d+),(\d+)")


class _Speaking:
    """Its help may be asked for, and printing that may fail."""

    def make_context(self, *args: Any, **more: Any) -> Any:  # noqa: ANN401
        with speaking(), printing():
            return super().make_context(*args, **more)  # type: ignore[misc]  # the other base has it


class Verb(_Speaking, TyperCommand):
    """A verb that takes no empty word for a file, a decimal comma in a number, no option twice.

    To Python an empty word is the current folder; a script's variable that is not set gives such
    words. What is only text may be empty.
    """

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401
        self._judge_empty(ctx, args)
        words = self._with_points(ctx, args)
        self._judge_twice(ctx, words)
        return super().parse_args(ctx, words)

    def _judge_twice(self, ctx: Any, words: list[str]) -> None:  # noqa: ANN401
        """An option given twice where it takes one value: the first would be passed over."""
        _, _, order = self.make_parser(ctx).parse_args(list(words))
        for param, times in Counter(order).items():
            option = param.param_type_name == "option" and not getattr(param, "is_flag", False)
            if times > 1 and option and not param.multiple:
                ctx.fail(f"{param.opts[0]} is given {times} times, and takes one value")

    def _judge_empty(self, ctx: Any, args: list[str]) -> None:  # noqa: ANN401
        valued = {
            option: _FILE.search(param.metavar or "") is not None
            for param in self.params
            if param.param_type_name == "option" and not getattr(param, "is_flag", False)
            for option in param.opts
        }
        for before, word in pairwise(["", *args]):
            option = word.removesuffix("=") if word.endswith("=") else before
            if word in ("", f"{option}=") and valued.get(option, not word):
                what = (
                    f"{option} takes a file or folder" if option in valued else "a word is missing"
                )
                ctx.fail(f"{what} (got an empty word)")

    def _with_points(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401
        """The words with decimal commas as points where a number is due."""
        takes_number = {
            name: _NUMBER.fullmatch(param.metavar or "") is not None
            for param in self.params
            if not getattr(param, "is_flag", False)  # the word after a flag is not its value
            for name in (param.opts if param.param_type_name == "option" else [""])
        }
        words = []
        for before, word in pairwise(["", *args]):
            option, joined, value = word.partition("=")
            if joined and takes_number.get(option):
                words.append(f"{option}={_point(ctx, value)}")
            elif takes_number.get(before if before in takes_number else ""):
                words.append(_point(ctx, word))
            else:
                words.append(word)
        return words


class Verbs(_Speaking, TyperGroup):
    """The program, or a verb that has verbs of its own."""

    def main(self, *args: Any, **more: Any) -> Any:  # noqa: ANN401
        """Words as typed: Windows would have patterns expanded in each, quoted or not.

        A verb knows which of them are photos (`expand`), and where one list ends.
        """
        return super().main(*args, **more | {"windows_expand_args": False})


def _point(ctx: Any, word: str) -> str:  # noqa: ANN401
    """A number, or both of a range, with a decimal point."""
    return "".join(_of_one(ctx, part) for part in re.split(r"([-+:])", word))


def _of_one(ctx: Any, number: str) -> str:  # noqa: ANN401
    """Three digits after a comma may be thousands to some."""
    found = _COMMA.fullmatch(number)
    if found is None:
        return number
    whole, part = found.groups()
    if len(part) == 3 and whole.strip("0"):  # 0,125 can only be a decimal
        ctx.fail(f"{number} may mean {whole}.{part} or {whole}{part}: write it so")
    return f"{whole}.{part}"
