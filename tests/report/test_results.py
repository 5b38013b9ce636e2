"""Results read back from JSON lines."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.report.records import record, refused

from rimread.report.results import result_from, results_from_lines


def test_a_measured_photo():
    # d = 4.00 mm is 229 HBW 10/3000: ASM table A3.4 and every Brinell chart
    result = result_from(record(4.01, 3.99), "here", entry="ledger entry 3")
    assert result.hardness is not None
    assert result.hardness.designation == "229 HBW 10/3000"
    assert result.indent is not None
    assert result.indent.mean_mm == pytest.approx(4.0)
    assert result.indent.budget is not None
    assert [c.name for c in result.indent.budget.components] == ["edge scatter", "pixel scale"]
    assert math.isinf(result.indent.budget.components[1].dof)
    assert (result.entry, result.checks[0].code) == ("ledger entry 3", "ovality")


def test_a_refused_photo():
    result = result_from(refused(), "here")
    assert result.indent is None
    assert result.hardness is None
    assert [r.code for r in result.reasons] == ["overlapping-indents"]


def test_a_reading_by_hand_has_no_uncertainty():
    told = record(4.01, 3.99)
    for key in ("U_mean_mm", "U_hbw", "k", "budget_mm", "checks", "reasons"):
        del told[key]
    result = result_from(told, "here")
    assert result.indent is not None
    assert result.indent.budget is None
    assert result.hardness is None


def test_without_its_parts_the_uncertainty_still_counts():
    told = record(4.01, 3.99, budget_mm=None)
    result = result_from(told, "here")
    assert result.indent is not None
    assert result.indent.budget is not None
    assert result.indent.budget.u == pytest.approx(told["U_mean_mm"] / told["k"])
    assert result.indent.budget.k == pytest.approx(told["k"])
    exact = result_from(told | {"U_mean_mm": 0.004, "k": 2.0, "U_hbw": None}, "here")
    assert exact.indent is not None
    assert exact.indent.budget is not None
    assert math.isinf(exact.indent.budget.dof)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        *(("hbw", 240.0), ("U_hbw", 0.1), ("mean_mm", 4.1), ("U_mean_mm", 0.001), ("d1_mm", 3.9)),
        ("mean_mm", 4.0001),  # what is written is rounded by less than 1e-6 of it
    ],
)
def test_a_line_that_was_changed_is_found_out(key: str, value: float):
    with pytest.raises(ValueError, match=r"job\.jsonl line 1: .* follows from the rest"):
        results_from_lines(json.dumps(record(4.01, 3.99) | {key: value}), "job.jsonl")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"status": "fine"}, "status must be measured or refused"),
        ({"d1_mm": None}, "d1_mm must be a number"),
        ({"d1_mm": True}, "d1_mm must be a number"),
        ({"d2_mm": -1.0}, "d2_mm must be above 0"),
        ({"test": None}, "test is missing"),
        ({"test": "10-3000"}, "ball mm / force kgf"),
        ({"checks": "all fine"}, "checks must be a list"),
        ({"checks": [{"outcome": "perfect"}]}, "outcome pass, warn or fail"),
        ({"correction": 7}, "correction must be an object"),
        ({"correction": {"image": {"hbw": -1}}}, "hbw must be above 0"),
        ({"reasons": [7]}, "reasons must be a list of objects"),
        ({"budget_mm": [7]}, "budget_mm must be a list of objects"),
        ({"budget_mm": [{"name": "x", "u_mm": -1.0}]}, "must have 0 <= u"),
        ({"d1_mm": 12.0, "d2_mm": 12.0, "mean_mm": 12.0}, "below the ball diameter"),
    ],
)
def test_what_cannot_be_is_named_with_its_line(change: dict[str, Any], says: str):
    lines = json.dumps(record(4.01, 3.99)) + "\n\n" + json.dumps(record(4.01, 3.99) | change)
    with pytest.raises(ValueError, match=says) as caught:
        results_from_lines(lines, "job.jsonl")
    assert "job.jsonl line 3" in str(caught.value)


@pytest.mark.parametrize("line", ["7", "[]", "{", "[" * 100_000, "1" * 5000, "NaN"])
def test_lines_of_another_kind(line: str):
    with pytest.raises(ValueError, match="is no result of rimread measure --json"):
        results_from_lines(line, "job.jsonl")


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


@given(key=st.sampled_from(sorted(record(4.0, 4.0))), value=JSON)
def test_whatever_a_key_holds_it_is_taken_or_named(key: str, value: object):
    try:
        result = result_from(record(4.0, 4.0) | {key: value}, "here")
    except ValueError as error:
        assert str(error).startswith("here: ")  # noqa: PT017
    else:
        assert result.photo
