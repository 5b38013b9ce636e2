"""The page stands by itself, the figures are drawn, odd names do no harm."""

import re
import sys
from html.parser import HTMLParser
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from rimread.agreement import HumanReading, ImageResult, compare
from rimread.agreement.figures import FIGURES, draw, save_figures, svg
from rimread.agreement.page import page_html
from rimread.hardness import TestCondition

SHOP = TestCondition(10, 3000)
IMAGES = [ImageResult(f"plate {k}.jpg", "", d, d, 0.0, 0.006, SHOP) for k, d in enumerate((3.5, 4))]
VOID = {"meta", "br", "hr", "img", "link", "input"}


def people(*names, trials=3):
    rng = np.random.default_rng(5)
    rows = [(n, t, i) for n in names for t in range(1, trials + 1) for i in IMAGES]
    return [
        HumanReading(
            line, image.photo, name, *(image.d1_mm + 0.01 * rng.normal(size=2)), trial=str(trial)
        )
        for line, (name, trial, image) in enumerate(rows, start=2)
    ]


class Nesting(HTMLParser):
    """Fails when a tag is closed that is not open."""

    def __init__(self):
        super().__init__()
        self.open = []

    def handle_starttag(self, tag, attrs):  # noqa: ARG002, D102
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):  # noqa: D102
        assert self.open.pop() == tag


STUDY = compare(
    [*people("Anna", "Ben & Söhne <b>"), HumanReading(99, "gone.jpg", "A", 4, 4)], IMAGES
)
PAGE = page_html(STUDY, "März.csv")


def test_the_page_is_well_formed_and_needs_nothing_from_outside():
    nesting = Nesting()
    nesting.feed(PAGE)
    assert nesting.open == []
    assert not re.search(r"<(?:script|link|img|iframe)\b", PAGE)
    assert not re.search(r"(?:src|href)=\"(?!#)", PAGE.replace("xlink:href", "href"))
    assert not re.search(r"url\((?!#)|@import", PAGE)


def test_the_page_tells_what_the_study_found():
    for words in ("März.csv", "plate 1.jpg", "gone.jpg", "repeatability", "qualified person"):
        assert words in PAGE
    assert "Ben &amp; Söhne &lt;b&gt;" in PAGE
    assert "<b>" not in PAGE
    assert PAGE.count("<figure>") == len(FIGURES)
    assert PAGE.count("<tr") > len(STUDY.operators[0].pairs)


def test_the_page_suits_dark_and_paper():
    assert "color-scheme: light dark" in PAGE
    assert "@media print" in PAGE
    assert "figure svg text { fill: currentColor; }" in PAGE  # text is black where it says nothing
    assert "#000000" not in PAGE


def test_ids_are_its_figures_own():
    ids = re.findall(r' id="([^"]+)"', PAGE)
    assert len(ids) == len(set(ids)) > 10
    for target in re.findall(r"(?:href=\"#|url\(#)([^\")]+)", PAGE):
        assert target in ids


def test_the_same_study_gives_the_same_page():
    assert page_html(STUDY, "März.csv") == PAGE


@pytest.mark.parametrize("count", [1, 2, 7])
def test_figures_of_few_and_many(count):
    study = compare(people(*(f"P{k}" for k in range(count))), IMAGES)
    for name in FIGURES:
        figure = draw(name, study)
        if figure is None:
            assert (name, count) == ("gauge", 1)
            continue
        ET.fromstring(svg(figure))  # noqa: S314  (our own)
    assert (draw("gauge", study) is None) == (study.gauge is None)


def test_a_single_reading_is_drawn_too():
    study = compare(people("Anna", trials=1)[:1], IMAGES)
    assert "no confidence interval" in page_html(study, "one")


def test_points_of_the_figure_are_the_differences():
    axes = draw("order", STUDY).axes[0]
    drawn = [line.get_ydata() for line in axes.lines if len(line.get_ydata()) == 6]
    for line, person in zip(drawn, STUDY.operators, strict=True):
        by_trial = sorted(person.pairs, key=lambda pair: int(pair.human.trial))
        assert list(line) == [pair.difference_mm for pair in by_trial]


def test_files(tmp_path):
    written = save_figures(STUDY, tmp_path / "new")
    assert sorted(path.name for path in written) == sorted(
        f"{name}.{ending}" for name in FIGURES for ending in ("png", "svg")
    )
    assert all(path.stat().st_size > 1000 for path in written)


def test_without_matplotlib_the_extra_is_named(monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(ValueError, match=r"rimread\[figures\]"):
        save_figures(STUDY, tmp_path)
    with pytest.raises(ValueError, match=r"rimread\[figures\]"):
        page_html(STUDY, "x")


def test_an_unknown_figure_is_misuse():
    with pytest.raises(ValueError, match="a figure is one of"):
        draw("pie", STUDY)
