"""The test report as facts: what was asked, what was found, what it rests on."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import ClassVar

from rimread import __version__
from rimread.check import Check
from rimread.hardness import (
    Conversion,
    DailyCheck,
    RuleSet,
    Series,
    Statement,
    TestCondition,
)
from rimread.refusal import Refusal
from rimread.report.blocks import Picture
from rimread.report.lab import Lab
from rimread.report.results import Result
from rimread.scale.model import Scale

__all__ = ["ByEye", "Job", "TestReport"]


@dataclass(frozen=True, slots=True)
class Job:
    """What the person knows and no photo tells; what is empty or None stays a blank to fill in.

    Parameters
    ----------
    number, order, customer : str
        Of the report, of the order, and who asked.
    part, heat, location : str
        What was tested, of which heat or lot, and where on it the indents are.
    edition : str
        Standard and edition in force, such as ``ISO 6506-1:2014``.
    grade : str
        Material as the customer names it.
    material : str or None
        Material group, a key of `rimread.hardness.MATERIALS`; conversions ask for it.
    requirement : str
        What the hardness must be; it is printed and not judged.
    operator : str
        Who made and read the indents.
    on : datetime.date or None
        Day of the test.
    temperature_c : float or None
        During the test.
    machine : str
        Where it is not the laboratory's usual one.
    remarks : str
        Deviations, optional operations, anything that may have affected the result.
    """

    number: str = ""
    order: str = ""
    customer: str = ""
    part: str = ""
    heat: str = ""
    location: str = ""
    edition: str = ""
    grade: str = ""
    material: str | None = None
    requirement: str = ""
    operator: str = ""
    on: date | None = None
    temperature_c: float | None = None
    machine: str = ""
    remarks: str = ""


@dataclass(frozen=True, slots=True)
class ByEye:
    """A person's two readings of the indent in one photo."""

    photo: str
    operator: str
    d1_mm: float
    d2_mm: float


@dataclass(frozen=True, slots=True)
class TestReport:
    """Everything a test report says.

    Parameters
    ----------
    lab, job : Lab, Job
        Who and what.
    rules : RuleSet
        Whose limits the checks took.
    results : tuple of Result
        The measured photos, in the order of `series.indents`.
    refused : tuple of Result
        Photos without a number.
    series : Series
        The indents taken together.
    statement : Statement or None
        The mean's uncertainty; None when an indent has none.
    checks : tuple of Check
        Of the series, the piece, the machine and its block; those of each indent are in `results`.
    scales : tuple of Scale
        The scale files, as far as they were at hand.
    block_check : DailyCheck or None
        The machine's check on its block that counts for the day.
    conversions : tuple of (str, Conversion or Refusal)
        Asked for, each with the name of its scale.
    by_eye : tuple of (int, ByEye)
        People's readings with the index of the result they belong to.
    pictures : tuple of Picture or Refusal
        Of the measured photos, in their order; empty when none were asked for.
    made_on : datetime.date
        Day the report was made.
    version : str
        Of this program.
    """

    __test__: ClassVar[bool] = False  # the name is the trade's; pytest must not collect it

    lab: Lab
    job: Job
    rules: RuleSet
    results: tuple[Result, ...]
    refused: tuple[Result, ...]
    series: Series
    statement: Statement | None
    checks: tuple[Check, ...]
    made_on: date
    scales: tuple[Scale, ...] = ()
    block_check: DailyCheck | None = None
    conversions: tuple[tuple[str, Conversion | Refusal], ...] = ()
    by_eye: tuple[tuple[int, ByEye], ...] = ()
    pictures: tuple[Picture | Refusal, ...] = ()
    version: str = field(default=__version__)

    @property
    def test(self) -> TestCondition:
        """The condition of all indents."""
        return self.series.test

    @property
    def all_checks(self) -> tuple[tuple[int | None, Check], ...]:
        """Checks with the index of the indent they belong to, None for the whole."""
        return (
            *((None, check) for check in self.checks),
            *((i, check) for i, result in enumerate(self.results) for check in result.checks),
        )

    @property
    def failed(self) -> bool:
        """Whether a check says that the result does not count."""
        return any(check.outcome == "fail" for _, check in self.all_checks)
