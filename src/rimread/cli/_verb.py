"""What holds for the words of every verb."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Any

from typer.core import TyperCommand

__all__ = ["Verb"]

_FILE = re.compile(r"FILE|FOLDER|LEDGER|PHOTO|\.")
"""Metavar of an option that names a file or folder, like LAB.toml; a test asks all of them."""


class Verb(TyperCommand):
    """A verb that takes no empty word for a file: to Python it is the current folder.

    A script's variable that is not set gives such words. What is only text may be empty.
    """

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401
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
        return super().parse_args(ctx, args)
