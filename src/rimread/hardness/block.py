"""The reference block and what the machine makes of it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from rimread.budget import Component, combine
from rimread.check import Check, within
from rimread.hardness.checks import diameter_range
from rimread.hardness.condition import TestCondition, parse_test
from rimread.hardness.readings import reading_components
from rimread.hardness.rules import RuleSet, rule_set
from rimread.hardness.series import Series, permissible_error, repeatability_limit
from rimread.toml import from_toml, known_only

__all__ = ["Block", "Verification", "read_block", "scope_checks", "verify"]

_BLOCK_INDENTS: Final = 5  # JJG 147 and ISO 6506-2 take five, the latter from memory
_SCOPE_INTERVALS: Final = 5  # ISO 6506-2, from memory


@dataclass(frozen=True, slots=True)
class Block:
    """A hardness reference block and its certificate.

    Parameters
    ----------
    serial : str
        As engraved.
    certified_hbw, U_hbw, k : float
        Certified value, its expanded uncertainty and coverage factor.
    test : TestCondition
        The condition it was certified at.
    valid_until : datetime.date or None
        Last day of the certificate; None if it names none.
    """

    serial: str
    certified_hbw: float
    U_hbw: float
    k: float
    test: TestCondition
    valid_until: date | None = None

    @property
    def u_rel(self) -> float:
        """Relative standard uncertainty of the certified value."""
        return self.U_hbw / self.k / self.certified_hbw


@dataclass(frozen=True, slots=True)
class Verification:
    """Indirect verification: the machine's indents on a block.

    Parameters
    ----------
    block : Block
        The block.
    series : Series
        All its indents; none is ever dropped here.
    error_rel : float
        Mean less certified value, over the certified value.
    repeatability_rel : float
        Range over mean, on HBW or on diameters as the rules say.
    checks : tuple of Check
        Codes ``block-error``, ``block-uncertainty``, ``block-repeatability``, ``block-indents``,
        ``block-date``, ``diameter-range``.
    """

    block: Block
    series: Series
    error_rel: float
    repeatability_rel: float
    checks: tuple[Check, ...]

    @property
    def error_hbw(self) -> float:
        """Mean less certified value."""
        return self.series.mean_hbw - self.block.certified_hbw

    @property
    def passed(self) -> bool:
        """Whether no check failed."""
        return all(check.outcome != "fail" for check in self.checks)


def verify(series: Series, block: Block, *, on: date, rules: str | RuleSet = "iso") -> Verification:
    """Hold indents on a block against its certificate.

    Parameters
    ----------
    series : Series
        Indents on the block, policy ``all``.
    block : Block
        Its certificate.
    on : datetime.date
        The day of the indents.
    rules : {"iso", "astm"} or RuleSet
        Permissible error and repeatability.

    Raises
    ------
    ValueError
        If the indents were made under another test than the certificate's, or some were dropped.
    """
    chosen = rule_set(rules)
    if series.test.name != block.test.name:
        msg = (
            f"block {block.serial} is certified for HBW {block.test.name}, "
            f"its indents must be made so (got {series.test.name})"
        )
        raise ValueError(msg)
    if not all(series.used):
        raise ValueError("a block is judged on all its indents; use the policy 'all'")
    error_rel = series.mean_hbw / block.certified_hbw - 1.0
    on_d = chosen.repeatability_on == "d"
    repeatability_rel = series.range_rel_d if on_d else series.range_rel_hbw
    checks = (
        _error(series, block, error_rel, chosen),
        _certain_enough(series, block, chosen),
        _repeatability(series, block, repeatability_rel, chosen),
        _enough(len(series.hbw)),
        _in_date(block, on),
        *(diameter_range(i.mean_mm, series.test, chosen) for i in series.indents),
    )
    return Verification(block, series, error_rel, repeatability_rel, _merged(checks))


def scope_checks(
    intervals_mm: tuple[tuple[float, float], ...], *, rules: str | RuleSet = "iso"
) -> tuple[Check, ...]:
    """Check a scope by reading intervals of a stage micrometer again.

    Parameters
    ----------
    intervals_mm : tuple of (true, read)
        True and read length of each interval in mm.
    rules : {"iso", "astm"} or RuleSet
        Permitted relative error of a reading.

    Returns
    -------
    tuple of Check
        One ``scope-interval`` each and ``scope-intervals`` for how many lengths they have.

    Raises
    ------
    ValueError
        If there are none, or a length is not a positive number.
    """
    chosen = rule_set(rules)
    if not intervals_mm:
        raise ValueError("a scope check needs intervals of the stage micrometer (got none)")
    limit, source = chosen["reading_rel"], chosen.source("reading_rel")
    checks = []
    for true_mm, read_mm in intervals_mm:
        if not all(math.isfinite(v) and v > 0.0 for v in (true_mm, read_mm)):
            raise ValueError(f"an interval must be above 0 mm (got {true_mm:g} and {read_mm:g})")
        error = read_mm / true_mm - 1.0
        message = (
            f"interval of {true_mm:g} mm reads {read_mm:g} mm, {error:+.2%}, limit ±{limit:.2%}"
        )
        good = within(abs(error), limit)
        checks.append(Check("scope-interval", "pass" if good else "fail", message, source))
    n, lengths = len(intervals_mm), _lengths((true_mm for true_mm, _ in intervals_mm), limit)
    enough = lengths >= _SCOPE_INTERVALS
    message = (
        f"{n} interval{'s' * (n != 1)} read, {lengths} different length{'s' * (lengths != 1)}, "
        f"at least {_SCOPE_INTERVALS} asked for"
    )
    if not enough:
        message += ": read intervals of other lengths too"
    checks.append(
        Check("scope-intervals", "pass" if enough else "warn", message, "ISO 6506-2, from memory")
    )
    return tuple(checks)


def _lengths(true_mm: Iterable[float], limit: float) -> int:
    """How many lengths differ by more than a reading may err: the same one again proves no more."""
    apart: list[float] = []
    for length in sorted(true_mm):
        if not apart or not within(length / apart[-1] - 1.0, limit):
            apart.append(length)
    return len(apart)


def read_block(path: Path) -> Block:
    """Block from a TOML file with serial, certified_hbw, U_hbw, k, test and valid_until.

    ``valid_until`` (a TOML date) may be left out; nothing else may.

    Raises
    ------
    OSError
        If the file cannot be read.
    ValueError
        If it is no TOML, a key is missing, unknown or of the wrong kind.
    """
    return from_toml(path, "block file", _block)


def _block(data: dict[str, Any]) -> Block:
    needed = ("serial", "certified_hbw", "U_hbw", "k", "test")
    missing = [key for key in needed if key not in data]
    if missing:
        raise ValueError(f"missing {', '.join(missing)}")
    known_only(data, (*needed, "valid_until"))
    if not isinstance(data["test"], str):
        raise ValueError(f'test must be text like "10/3000" (got {data["test"]!r})')  # noqa: TRY004
    valid_until = data.get("valid_until")
    if valid_until is not None and (
        not isinstance(valid_until, date) or isinstance(valid_until, datetime)
    ):
        raise ValueError(f"valid_until must be a date like 2026-05-01 (got {valid_until!r})")
    certified, U, k = (_positive(data, key) for key in ("certified_hbw", "U_hbw", "k"))
    return Block(str(data["serial"]), certified, U, k, parse_test(data["test"]), valid_until)


def _positive(data: dict[str, Any], key: str) -> float:
    value = data[key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{key} must be a number (got {value!r})")  # noqa: TRY004
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{key} must be above 0 (got {value!r})")
    return float(value)


def _error(series: Series, block: Block, error_rel: float, rules: RuleSet) -> Check:
    limit, source = permissible_error(block.certified_hbw, rules)
    message = (
        f"mean {series.mean_hbw:.1f} against {block.certified_hbw:g} HBW certified: error "
        f"{error_rel:+.2%}, limit ±{limit:.1%}"
    )
    good = within(abs(error_rel), limit)
    return Check("block-error", "pass" if good else "fail", message, source)


def _certain_enough(series: Series, block: Block, rules: RuleSet) -> Check:
    """Whether reading and certificate tell an error as small as the limit.

    Of diameters without a budget nothing is known but the certificate.
    """
    limit, _ = permissible_error(block.certified_hbw, rules)
    certificate = Component("reference block", block.u_rel * block.certified_hbw)
    reading = reading_components(series) if series.has_budgets else ()
    U_rel = combine((certificate, *reading)).U / block.certified_hbw
    what = "certificate and reading" if reading else "certificate"
    message = f"the error is known within ±{U_rel:.2%} ({what}), limit ±{limit:.1%}"
    enough = within(U_rel, limit)
    if not enough:
        message += ": so it decides nothing; take a clearer photo, or a better block"
    source = "measurement capability index of 1 or more, JCGM 106:2012, 7.6, clause from memory"
    return Check("block-uncertainty", "pass" if enough else "fail", message, source)


def _repeatability(series: Series, block: Block, found: float, rules: RuleSet) -> Check:
    limit, source = repeatability_limit(block.certified_hbw, rules)
    on = "mean diameter" if rules.repeatability_on == "d" else "HBW"
    message = f"range of {len(series.hbw)} indents {found:.2%} of {on}, limit {limit:.1%}"
    if len(series.hbw) < 2:
        message = "one indent says nothing about repeatability"
        return Check("block-repeatability", "warn", message, source)
    good = within(found, limit)
    return Check("block-repeatability", "pass" if good else "fail", message, source)


def _enough(n: int) -> Check:
    message = f"{n} indent{'s' * (n != 1)} on the block, a verification takes {_BLOCK_INDENTS}"
    source = "mean of five: JJG 147; ISO 6506-2, from memory. A daily check may take fewer"
    return Check("block-indents", "pass" if n >= _BLOCK_INDENTS else "warn", message, source)


def _in_date(block: Block, on: date) -> Check:
    source = "common practice, no source"
    if block.valid_until is None:
        return Check("block-date", "warn", "the block's file names no last day", source)
    late = on > block.valid_until
    message = f"certificate valid until {block.valid_until.isoformat()}, used on {on.isoformat()}"
    return Check("block-date", "fail" if late else "pass", message, source)


def _merged(checks: tuple[Check, ...]) -> tuple[Check, ...]:
    """Of equal codes keep those that did not pass, or one."""
    kept: dict[str, list[Check]] = {}
    for check in checks:
        kept.setdefault(check.code, []).append(check)
    return tuple(
        check
        for group in kept.values()
        for check in ([c for c in group if c.outcome != "pass"] or group[:1])
    )
