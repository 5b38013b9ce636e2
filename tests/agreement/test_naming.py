"""Spellings that are one photo, person or trial."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.agreement.naming import indent_of, same_trial, whole_names
from rimread.names import folded, path_parts


@pytest.mark.parametrize(
    ("photo", "parts"),
    [
        ("IMG_1.JPG", ("img_1.jpg",)),
        (" ./mon//IMG_1.jpg ", ("mon", "img_1.jpg")),
        ("D:\\photos\\mon\\IMG_1.jpg", ("photos", "mon", "img_1.jpg")),
        ("\\\\server\\mon\\IMG_1.jpg", ("server", "mon", "img_1.jpg")),
        ("../../mon/IMG_1.jpg", ("mon", "img_1.jpg")),
        ("tue/../mon/IMG_1.jpg", ("mon", "img_1.jpg")),
        ("a:b.jpg", ("a:b.jpg",)),
        ("", ("",)),
    ],
)
def test_paths_of_any_system(photo, parts):
    assert path_parts(photo) == parts


@pytest.mark.parametrize(
    ("trial", "same"),
    [("1", "1"), ("01", "1"), ("0", "0"), ("１", "1"), ("A", "a"), ("1b", "1b"), ("", "")],
)
def test_trials(trial, same):
    assert same_trial(trial) == same


def test_people_and_indents():
    assert folded("  ANDRE\u0301  Groß") == folded("André gross")
    assert [indent_of(name) for name in ("a.jpg #12", "a.jpg", "#2/a.jpg")] == ["#12", "", ""]


def test_names_are_as_whole_as_their_person_says():
    photos = ("1.jpg", "mon/1.jpg", "x/mon/1.jpg", "1", "2.jpg", "mon/2.jpg", "tue/2.jpg")
    names = whole_names([*(("Ann", photo) for photo in photos), ("Ben", "1.jpg")])
    assert {names["Ann", photo] for photo in photos[:4]} == {(("x", "mon", "1.jpg"),)}
    assert set(names["Ann", "2.jpg"]) == {("mon", "2.jpg"), ("tue", "2.jpg")}
    assert names["Ben", "1.jpg"] == (("1.jpg",),)


def test_a_name_without_an_ending_that_could_be_of_two_stays():
    names = whole_names([("Ann", photo) for photo in ("1.jpg", "1.png", "1")])
    assert names["Ann", "1"] == (("1",),)


@given(st.lists(st.lists(st.sampled_from("ab"), min_size=1, max_size=4), min_size=1, max_size=8))
def test_every_name_ends_the_names_it_could_be(paths):
    photos = ["/".join(parts) for parts in paths]
    names = whole_names(("Ann", photo) for photo in photos)
    for photo in photos:
        parts = path_parts(photo)
        ending = {path_parts(p) for p in photos if path_parts(p)[-len(parts) :] == parts}
        longest = {p for p in ending if not any(q != p and q[-len(p) :] == p for q in ending)}
        assert set(names["Ann", photo]) == longest
