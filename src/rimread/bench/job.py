"""The job on the table: who tests what, how, and with which scale."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

from rimread.bench.ask import Ask
from rimread.hardness import parse_test, rule_set
from rimread.hardness.piece import TEMPERATURE_C

__all__ = ["Job"]

_TEXTS = ("operator", "part", "heat", "location")


@dataclass(frozen=True, slots=True)
class Job:
    """What holds for a series.

    Parameters
    ----------
    operator, part, heat, location : str
        Who tests; what; of which heat or lot; where on it.
    test : str
        Ball/force[/dwell].
    rules : str
        ``iso`` or ``astm``.
    scale : str
        Hash of the scale file, empty when none is chosen.
    temperature_c : float or None
        Of the test.
    blind : bool
        Whether a person's own readings are asked for before the program's are shown.
    frames : int
        Frames averaged to a picture.
    """

    operator: str = ""
    part: str = ""
    heat: str = ""
    location: str = ""
    test: str = "10/3000"
    rules: str = "iso"
    scale: str = ""
    temperature_c: float | None = None
    blind: bool = False
    frames: int = 1

    @classmethod
    def remembered(cls, told: object) -> Job:
        """Job from what was kept; what cannot be used is left at its default."""
        try:
            return cls().changed(Ask(told))
        except ValueError:
            return cls()

    def changed(self, ask: Ask) -> Job:
        """Job with the fields that are given.

        Raises
        ------
        ValueError
            If a field cannot be.
        """
        new: dict[str, Any] = {key: ask.text(key) for key in _TEXTS if ask.given(key)}
        if ask.given("test"):
            new["test"] = parse_test(ask.text("test", least=1, most=40)).name
        if ask.given("rules"):
            new["rules"] = rule_set(ask.text("rules", least=1, most=20)).name
        if ask.given("scale"):
            new["scale"] = ask.text("scale", most=64)
        if ask.given("temperature_c"):
            has = ask.has("temperature_c")
            new["temperature_c"] = ask.number("temperature_c", *TEMPERATURE_C) if has else None
        if ask.given("blind"):
            new["blind"] = ask.flag("blind")
        if ask.given("frames"):
            new["frames"] = ask.whole("frames", 1, 32)
        return replace(self, **new)

    def told(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)

    def piece(self) -> dict[str, Any]:
        """What the record keeps of it with every reading."""
        return {key: getattr(self, key) for key in ("part", "heat", "location", "temperature_c")}
