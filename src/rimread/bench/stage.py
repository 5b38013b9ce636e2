"""Pictures of the stage micrometer on the table, and the scale made from them."""

from __future__ import annotations

from datetime import date

from rimread.bench.ask import Ask
from rimread.bench.folder import Shot
from rimread.refusal import Refusal
from rimread.scale import Certificate, Scale, calibrate

__all__ = ["SLOTS", "Stage"]

SLOTS = ("along", "across")
"""Stage-micrometer pictures a scale is made from: lines across the picture, and turned by 90°."""


class Stage:
    """Pictures of the stage micrometer that wait to become a scale."""

    def __init__(self) -> None:
        self._shots: dict[str, Shot] = {}

    def put(self, slot: str, shot: Shot) -> None:
        """Lay a picture into its slot, in the place of an earlier one.

        Raises
        ------
        ValueError
            If there is no such slot.
        """
        if slot not in SLOTS:
            raise ValueError(f"a stage picture is one of {', '.join(SLOTS)} (got {slot!r})")
        self._shots[slot] = shot

    def clear(self) -> None:
        """Forget the pictures; the files stay."""
        self._shots.clear()

    def labels(self) -> dict[str, str]:
        """What lies in each slot."""
        return {slot: shot.label for slot, shot in self._shots.items()}

    def shown(self) -> dict[str, Shot]:
        """Pictures under the names the page knows them by."""
        return {f"stage-{slot}": shot for slot, shot in self._shots.items()}

    def scale(self, ask: Ask, today: date) -> Scale | Refusal:
        """Make a scale from the pictures and what a person says of them.

        Raises
        ------
        ValueError
            If there is no picture or a field cannot be.
        """
        if not self._shots:
            raise ValueError("first take a picture of the stage micrometer")
        return calibrate(
            [self._shots[slot].photo for slot in SLOTS if slot in self._shots],
            division_mm=ask.number("division_mm", 1e-5, 100.0),
            certificate=_certificate(ask),
            label=ask.text("label", least=1, most=80),
            calibrated_on=today,
            valid_days=ask.whole("valid_days", 1, 3660, default=365),
        )


def _certificate(ask: Ask) -> Certificate | None:
    keys = ("nominal_mm", "certified_mm", "certificate_U_mm")
    given = [ask.has(key) for key in keys]
    if not any(given):
        return None
    if not all(given):
        raise ValueError("a certificate needs nominal length, certified length and its U together")
    nominal, certified, U = (ask.number(key, 0.0, 1e6) for key in keys)
    k = ask.number("certificate_k", 1.0, 20.0, default=2.0)
    return Certificate(nominal_mm=nominal, certified_mm=certified, U_mm=U, k=k)
