"""What a comparison of people and image holds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from rimread.agreement.drift import Drift
from rimread.agreement.gauge import Gauge
from rimread.agreement.limits import Limits, normalised_error
from rimread.agreement.readings import HumanReading, ImageResult
from rimread.agreement.statistics import Estimate, step_sd
from rimread.check import Check
from rimread.hardness import RuleSet, TestCondition, brinell
from rimread.table import Problem

__all__ = ["Comparison", "Operator", "Pair", "mean_diameter"]


@dataclass(frozen=True, slots=True)
class Pair:
    """One reading beside the image's at the angle the person read.

    Parameters
    ----------
    human : HumanReading
    image : ImageResult
    test : TestCondition
        For the hardness.
    U_human_mm : float
        Expanded uncertainty of the person's mean: as stated, or from resolution and scope.
    """

    human: HumanReading
    image: ImageResult
    test: TestCondition
    U_human_mm: float

    @property
    def image_d1_mm(self) -> float:
        """What the image gives along the person's d1."""
        return self.image.at_angle(self.human.angle_deg)

    @property
    def image_d2_mm(self) -> float:
        """What the image gives along the person's d2."""
        return self.image.at_angle(self.human.angle_deg + 90.0)

    @property
    def image_mean_mm(self) -> float:
        """Mean of the two."""
        return (self.image_d1_mm + self.image_d2_mm) / 2.0

    @property
    def difference_mm(self) -> float:
        """Person's mean less the image's."""
        return self.human.mean_mm - self.image_mean_mm

    @property
    def e_n(self) -> float:
        """Normalised error of the mean."""
        return normalised_error(
            self.human.mean_mm, self.image_mean_mm, self.U_human_mm, self.image.U_mm
        )

    @property
    def hbw(self) -> float:
        """Hardness by the person's mean."""
        return brinell(self.human.mean_mm, self.test)

    @property
    def image_hbw(self) -> float:
        """Hardness by the image's mean."""
        return brinell(self.image_mean_mm, self.test)


@dataclass(frozen=True, slots=True)
class Operator:
    """One person against the image.

    Parameters
    ----------
    name : str
    pairs : tuple of Pair
        In the order of the table.
    bias : Estimate
        Mean difference in mm, each indent counting once.
    repeatability : Estimate or None
        Standard deviation of repeats on the same indent in mm, at least what the steps of the
        readings hide (`Comparison.least_sd_mm`); None without repeats.
    limits : Limits or None
        Limits of agreement; None with a single indent.
    drift : Drift or None
        None where nothing can be said.
    mean_e_n : float
        Mean normalised error.
    checks : tuple of Check
    """

    name: str
    pairs: tuple[Pair, ...]
    bias: Estimate
    repeatability: Estimate | None
    limits: Limits | None
    drift: Drift | None
    mean_e_n: float
    checks: tuple[Check, ...]

    @property
    def d_mm(self) -> float:
        """Mean diameter of the indents read, by the image."""
        return mean_diameter(self.pairs)

    @property
    def indents(self) -> int:
        """How many different indents."""
        return len({pair.image.photo for pair in self.pairs})

    @property
    def beyond(self) -> int:
        """Readings with a normalised error beyond ±1."""
        return sum(abs(pair.e_n) > 1.0 for pair in self.pairs)


@dataclass(frozen=True, slots=True)
class Comparison:
    """All people against the image and each other.

    Parameters
    ----------
    test : TestCondition
    operators : tuple of Operator
        In the order of the table.
    gauge : Gauge or None
        The crossed gauge study.
    no_gauge : str
        Why there is none, "" when there is one.
    checks : tuple of Check
        On all together; each person's are with the person.
    unmatched : tuple of Problem
        Lines of the table with no result to hold them against.
    resolution_mm : float or None
        Of readings whose uncertainty was not stated; None when all were.
    resolution_given : bool
        Whether it was given or read off the readings' own steps.
    step_mm : float
        Of all readings: the resolution given, or their own step.
    rules : RuleSet
        Whose limit of reading decides what matters.
    d_mm : float
        Mean diameter of all indents by the image, each indent once.
    """

    test: TestCondition
    operators: tuple[Operator, ...]
    gauge: Gauge | None
    no_gauge: str
    checks: tuple[Check, ...]
    unmatched: tuple[Problem, ...]
    resolution_mm: float | None
    resolution_given: bool
    step_mm: float
    rules: RuleSet
    d_mm: float

    @property
    def least_sd_mm(self) -> float:
        """Scatter that the steps of the readings hide."""
        return step_sd(self.step_mm)

    @property
    def all_checks(self) -> tuple[Check, ...]:
        """Everybody's checks and the common ones."""
        return (*(c for person in self.operators for c in person.checks), *self.checks)

    @property
    def undated(self) -> tuple[HumanReading, ...]:
        """Readings without a date that is understood, where some reading has one or tries to."""
        readings = [pair.human for person in self.operators for pair in person.pairs]
        if not any(reading.when or reading.undated for reading in readings):
            return ()
        without = [reading for reading in readings if reading.when is None]
        return tuple(sorted(without, key=lambda reading: reading.line))

    @property
    def failed(self) -> bool:
        """Whether a check failed."""
        return any(check.outcome == "fail" for check in self.all_checks)


def mean_diameter(pairs: Iterable[Pair]) -> float:
    """Mean diameter by the image, each indent once."""
    return float(np.mean(list({p.image.photo: p.image_mean_mm for p in pairs}.values())))
