"""Ball, force and dwell."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.hardness.published import NOMINAL_FORCES_N

from rimread.hardness import STANDARD_PAIRS, TestCondition, parse_test


def test_the_21_pairs_are_the_published_ones() -> None:
    assert set(STANDARD_PAIRS) == set(NOMINAL_FORCES_N)
    assert len(STANDARD_PAIRS) == 21


@pytest.mark.parametrize(("pair", "newtons"), NOMINAL_FORCES_N.items())
def test_force_agrees_with_the_printed_newtons(pair: tuple[float, float], newtons: float) -> None:
    # printed to four figures, some of them cut and not rounded (29 419.95 N prints as 29 420)
    assert TestCondition(*pair).force_n == pytest.approx(newtons, rel=2.5e-4)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("10/3000", TestCondition(10, 3000)),
        (" HBW 2.5/187.5 ", TestCondition(2.5, 187.5)),
        ("hbw10/1000/30", TestCondition(10, 1000, 30)),
        ("2,5/15,625", TestCondition(2.5, 15.625)),
        ("2.5/187.500", TestCondition(2.5, 187.5)),
        ("1/2.5", TestCondition(1, 2.5)),
        ("10/3.0000", TestCondition(10, 3)),
    ],
)
def test_reads_the_designation(text: str, expected: TestCondition) -> None:
    assert parse_test(text) == expected


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "ball mm / force kgf"),
        ("3000", "ball mm / force kgf"),
        ("10/3000N", "ball mm / force kgf"),
        ("10/3000/15/2", "ball mm / force kgf"),
        ("10/nan", "ball mm / force kgf"),
        ("HBS 10/3000", "ball mm / force kgf"),
        ("0/3000", "ball diameter"),
        ("-10/3000", "ball diameter"),
        ("3000/10", "ball diameter"),
        ("10/0", "force"),
        ("10/-3000", "force"),
        ("10/1e9", "ball mm / force kgf"),
        ("10/99999", "force"),
        ("10/3000/0", "dwell"),
        ("10/3000/86400", "dwell"),
        ("10/3.000", "could be 3 or 3000: write no mark at thousands"),
        ("10/3,000/30", "could be 3 or 3000"),
        ("10/1.500", "could be 1.5 or 1500"),
        ("10/29.420", "could be 29.42 or 29420"),
    ],
)
def test_says_what_is_wrong(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        parse_test(text)


@pytest.mark.parametrize(
    "text", ["10/29420", "5/7355", "1/294.2", "2.5/613", "1/9.83", "1/9.78", "2.5/61.4"]
)
def test_newtons_are_noticed_rounded_ones_too(text: str) -> None:
    with pytest.raises(ValueError, match="in newtons"):
        parse_test(text)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_number_that_is_none_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="force of a Brinell test"):
        TestCondition(10, value)


@pytest.mark.parametrize(
    ("test", "name"),
    [
        (TestCondition(10, 3000), "10/3000"),
        (TestCondition(10, 3000, 10), "10/3000"),
        (TestCondition(10, 3000, 15), "10/3000"),
        (TestCondition(10, 1000, 30), "10/1000/30"),
        (TestCondition(2.5, 15.625, 9.5), "2.5/15.625/9.5"),
    ],
)
def test_dwell_is_named_only_outside_the_range(test: TestCondition, name: str) -> None:
    assert test.name == name
    assert parse_test(name).force_kgf == test.force_kgf


@given(st.sampled_from([1.0, 2.5, 5.0, 10.0]), st.integers(1, 10_000_000))
def test_a_name_is_read_back(ball: float, grams_force: int) -> None:
    test = TestCondition(ball, grams_force / 1000.0)
    try:
        again = parse_test(test.name)
    except ValueError as error:
        assert "in newtons" in str(error)  # noqa: PT017  (a slip that has its own sentence)
    else:
        assert again == test


def test_the_indices_of_the_standard_pairs() -> None:
    # 30, 15, 10, 5, 2.5, 1 for the 10 mm ball, the same without 15 for the others
    indices = {ball: sorted({TestCondition(b, f).index for b, f in STANDARD_PAIRS if b == ball})
               for ball in (10.0, 5.0, 2.5, 1.0)}  # fmt: skip
    assert indices[10.0] == [1, 2.5, 5, 10, 15, 30]
    assert indices[5.0] == indices[2.5] == indices[1.0] == [1, 2.5, 5, 10, 30]


@pytest.mark.parametrize("text", ["1/9.85", "1/9.76"])
def test_a_force_of_ones_own_is_not_taken_for_newtons(text: str) -> None:
    assert parse_test(text).force_kgf == float(text.split("/")[1])
