"""The computation shown step by step gives what it says."""

from __future__ import annotations

import math
import re

import pytest
from tests.hardness.published import HBW_10_3000

from rimread.hardness import TestCondition, brinell, working

SHOP = TestCondition(10, 3000)


def _pocket_calculator(numbers: str) -> float:
    text = numbers.replace("×", "*").replace("π", "math.pi")
    text = re.sub(r"√\(", "math.sqrt(", text)
    assert re.fullmatch(r"[0-9.+\-*/() ]|.*", text)
    return float(eval(text, {"math": math}))  # noqa: S307  (figures of our own)


@pytest.mark.parametrize(
    ("d", "test"),
    [
        *((d, SHOP) for d, _ in HBW_10_3000[::7]),
        (1.2, TestCondition(5, 25, 30)),
        (0.3, TestCondition(1, 30)),
    ],
)
def test_each_line_can_be_worked_from_what_is_printed(d: float, test: TestCondition) -> None:
    steps = working(d - 0.01, d + 0.01, test)
    for step in steps[:6]:
        result = float(step.result.split()[0])
        assert _pocket_calculator(step.numbers) == pytest.approx(result, rel=1e-6)
    assert float(steps[5].result) == pytest.approx(brinell(d, test), rel=1e-6)


@pytest.mark.parametrize(("d", "hbw"), HBW_10_3000)
def test_it_ends_in_the_published_value(d: float, hbw: int) -> None:
    steps = {step.what: step for step in working(d, d, SHOP)}
    assert steps["designation"].result == f"{hbw} HBW 10/3000"


def test_what_a_hundredth_does() -> None:
    # 1.2 HBW at 4.0 mm under 10/3000
    last = working(4.0, 4.0, SHOP)[-1]
    assert "-1.2 or +1.2" in last.result


def test_impossible() -> None:
    with pytest.raises(ValueError, match="below the ball diameter"):
        working(12, 12, SHOP)
