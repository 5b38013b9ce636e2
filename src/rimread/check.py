"""The outcome of one rule held against one result."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Literal

__all__ = ["ON_LIMIT", "Check", "Outcome", "checks_json", "within"]

ON_LIMIT = 1e-9
"""Relative; a value on a limit stays on it through d and back, whatever the last bit says."""

Outcome = Literal["pass", "warn", "fail"]


@dataclass(frozen=True, slots=True)
class Check:
    """One rule, what was found, and whether it holds.

    Parameters
    ----------
    code : str
        Short lower-case identifier that programs can rely on, e.g. ``"diameter-range"``.
    outcome : {"pass", "warn", "fail"}
        `fail` means the result does not count under the rule; `warn` asks for a person's eye.
    message : str
        One sentence with the rule, the value and the limit, units included.
    source : str
        Where the limit comes from: document and clause, ``"common practice, no source"`` or
        ``"from memory"`` added where it was not read in print.
    """

    code: str
    outcome: Outcome
    message: str
    source: str = ""


def within(value: float, limit: float) -> bool:
    """Whether a value is up to a limit; one on it is, whatever the last bit says."""
    return value <= limit * (1.0 + ON_LIMIT)


def checks_json(checks: Iterable[Check]) -> list[dict[str, str]]:
    """Checks as records hold them: code, outcome, message, source."""
    return [asdict(check) for check in checks]
