"""What a page asks, taken apart strictly: each value of the right kind and size, or a sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any
from unicodedata import category

__all__ = ["Ask"]

_MOST_POINTS = 1000

_NO_TEXT = {"Cc", "Cs", "Zl", "Zp"}
"""Control characters, surrogates (an emoji cut in two leaves one, which no file or page can hold),
separators of lines and paragraphs (Unicode general categories)."""


class Ask:
    """A JSON object from the page.

    Parameters
    ----------
    values : object
        As it was read; must be a JSON object.

    Raises
    ------
    ValueError
        If it is none. All methods raise it with a sentence that names the field.
    """

    def __init__(self, values: object) -> None:
        if not isinstance(values, Mapping):
            raise ValueError("a JSON object is asked for")  # noqa: TRY004  (a client's words)
        self._values: Mapping[str, Any] = values

    def has(self, key: str) -> bool:
        """Whether the field is there and not empty."""
        return self._values.get(key) not in (None, "")

    def given(self, key: str) -> bool:
        """Whether the field is there, be it empty."""
        return key in self._values

    def text(self, key: str, *, least: int = 0, most: int = 200) -> str:
        """Text without control characters and halves of letters, trimmed."""
        value = self._values.get(key, "")
        if not isinstance(value, str) or any(category(c) in _NO_TEXT for c in value):
            raise ValueError(f"{_name(key)} must be one line of text")
        value = value.strip()
        if not least <= len(value) <= most:
            what = "is missing" if not value else f"must have {least} to {most} characters"
            raise ValueError(f"{_name(key)} {what}")
        return value

    def number(
        self,
        key: str,
        low: float,
        high: float,
        *,
        default: float | None = None,
        open_low: bool = False,
    ) -> float:
        """Number within limits; a decimal comma in text counts as a point."""
        if not self.has(key):
            if default is None:
                raise ValueError(f"{_name(key)} is missing")
            return default
        value = self._values[key]
        text = value.replace(",", ".") if isinstance(value, str) else repr(value)  # a bool is none
        try:
            found = float(text)
        except ValueError:
            raise ValueError(f"{_name(key)} must be a number (got {value!r})") from None
        inside = low <= found <= high and not (open_low and found == low)
        if not (math.isfinite(found) and inside):
            raise ValueError(f"{_name(key)} must lie in {low:g} to {high:g} (got {found:g})")
        return found

    def whole(self, key: str, low: int, high: int, *, default: int | None = None) -> int:
        """Whole number within limits."""
        if default is not None and not self.has(key):
            return default
        value = self._values.get(key)
        if isinstance(value, str) and value.strip().isdecimal() and len(value) < 20:
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise ValueError(f"{_name(key)} must be a whole number from {low} to {high}")
        return value

    def flag(self, key: str) -> bool:
        """Yes or no."""
        value = self._values.get(key)
        if not isinstance(value, bool):
            raise ValueError(f"{_name(key)} must be true or false")  # noqa: TRY004
        return value

    def choice(self, key: str, among: tuple[str, ...]) -> str:
        """One of several words."""
        value = self._values.get(key)
        if value not in among:
            raise ValueError(f"{_name(key)} must be one of {', '.join(among)}")
        return str(value)

    def part(self, key: str) -> Ask:
        """An object within."""
        return Ask(self._values.get(key))

    def points(self, key: str, low: float, high: float) -> list[tuple[float, float]] | None:
        """Points (x, y); None when the field is not there."""
        if key not in self._values:
            return None
        value = self._values[key]
        if not isinstance(value, list) or len(value) > _MOST_POINTS:
            raise ValueError(f"{_name(key)} must be a list of at most {_MOST_POINTS} points")
        found = []
        for point in value:
            if not (isinstance(point, list) and len(point) == 2):
                raise ValueError(f"each of {_name(key)} must be x and y")
            x, y = (Ask({key: v}).number(key, low, high) for v in point)
            found.append((x, y))
        return found


def _name(key: str) -> str:
    """Field in words: certified_mm, certified length … as the page labels it."""
    return _WORDS.get(key, key.replace("_", " "))


_WORDS: Mapping[str, str] = {
    "first_mm": "the first diameter (mm)",
    "second_mm": "the second diameter (mm)",
    "division_mm": "the spacing of the finest lines (mm)",
    "nominal_mm": "the nominal length (mm)",
    "certified_mm": "the certified length (mm)",
    "certificate_U_mm": "U of the certified length (mm)",
    "certificate_k": "k of the certificate",
    "label": "the name of camera and objective",
    "reason": "the reason",
    "operator": "the name of who tests",
    "serial": "the serial number of the block",
    "certified_hbw": "the certified hardness",
    "U_hbw": "U of the certified hardness",
    "valid_days": "the number of days the scale counts",
    "temperature_c": "the temperature (°C)",
    "long_px": "the longer diameter (px)",
    "short_px": "the shorter diameter (px)",
}
