"""What a page asks, taken apart: any JSON gives a value of its kind or a sentence."""

import json
import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rimread.bench.ask import Ask

LETTERS = st.characters(codec=None, exclude_categories=())  # halves of surrogate pairs, too
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(LETTERS, max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=6,
)


@given(st.text(LETTERS, max_size=30))
@example("plate \ud83d")  # an emoji that a field of 200 letters cut in two
@example("a\u2028b")
@example("a\x85b")
def test_text_that_is_taken_can_be_written_and_is_one_line(text):
    try:
        taken = Ask({"part": text}).text("part")
    except ValueError as error:
        assert "part must be one line of text" in str(error)  # noqa: PT017  (or it is taken)
    else:
        assert taken == text.strip()
        assert len(taken.splitlines()) <= 1
        assert json.loads(json.dumps(taken).encode("utf-8")) == taken
        taken.encode("utf-8")


@pytest.mark.parametrize("text", ["Müller & Søn", "Ш-7, плавка 3", "軸 7", "µm ½ ° 🔩", 'd "1"'])
def test_names_of_every_script_are_taken(text):
    assert Ask({"part": f" {text} "}).text("part") == text


@given(JSON)
def test_any_json_is_a_value_of_its_kind_or_a_sentence(value):
    ask = Ask({"k": value})
    for take, kind in (
        (lambda: ask.text("k"), str),
        (lambda: ask.number("k", -5.0, 5.0), float),
        (lambda: ask.whole("k", 1, 9), int),
        (lambda: ask.flag("k"), bool),
        (lambda: ask.choice("k", ("a", "b")), str),
        (lambda: ask.points("k", 0.0, 9.0), list),
        (lambda: ask.part("k"), Ask),
    ):
        try:
            assert isinstance(take(), kind)
        except ValueError as error:
            assert str(error)  # noqa: PT017  (or it is taken)


@pytest.mark.parametrize(
    ("value", "number"), [("3,42", 3.42), (" 3.42 ", 3.42), (3.42, 3.42), (4, 4.0)]
)
def test_numbers_with_a_decimal_comma_or_point(value, number):
    assert Ask({"first_mm": value}).number("first_mm", 0, 10) == number


@pytest.mark.parametrize("value", [True, "nan", "inf", math.nan, 11, -0.1, "3 mm", [3.4], "", None])
def test_what_is_no_number_within_limits_is_told_by_its_name(value):
    with pytest.raises(ValueError, match="the first diameter"):
        Ask({"first_mm": value}).number("first_mm", 0, 10)


def test_points_are_pairs_and_not_too_many():
    assert Ask({"marks": [[1, 2.5]]}).points("marks", 0, 9) == [(1.0, 2.5)]
    for wrong in ([[1]], [[1, 2, 3]], ["ab"], [[1, 10]], [[0, 0]] * 1001):
        with pytest.raises(ValueError, match="marks"):
            Ask({"marks": wrong}).points("marks", 0, 9)
