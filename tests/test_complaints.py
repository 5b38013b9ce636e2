"""The same complaint about many lines."""

from hypothesis import given
from hypothesis import strategies as st

from rimread.complaints import Complaints, summed
from rimread.table import Problem


@given(st.lists(st.sampled_from("abc"), max_size=40))
def test_one_sentence_for_each_kind_and_no_line_uncounted(kinds):
    told = summed(Problem(n, f"{kind} is wrong (got {n})") for n, kind in enumerate(kinds, start=2))
    assert len(told) == len(set(kinds))
    more = [int(s.partition("so it is with ")[2].split()[0]) if "so it" in s else 0 for s in told]
    assert sum(more) + len(told) == len(kinds)
    for sentence, kind in zip(told, dict.fromkeys(kinds), strict=True):
        assert sentence.startswith(f"line {kinds.index(kind) + 2}: {kind} is wrong (got ")


def test_what_is_different_is_told_each():
    problems = [Problem(2, "no result for 'a'"), Problem(3, "no result for 'b'")]
    assert summed(problems) == [str(problem) for problem in problems]


def test_a_kind_may_be_said():
    complaints = Complaints()
    for line in (4, 5, 6):
        complaints.add(Problem(line, f"names the same photo as line {line - 2}"), kind="repeated")
    (sentence,) = complaints.sentences()
    assert sentence == (
        "line 4: names the same photo as line 2; so it is with 2 more lines, "
        "the last of them line 6"
    )
