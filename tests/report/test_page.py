"""The HTML of a report, read back by the standard library's parser."""

from __future__ import annotations

import base64
from datetime import date
from html.parser import HTMLParser
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.report.records import refused, series

from rimread.report.blocks import Fact, Facts, Page, Picture, Words, printable
from rimread.report.certificate import report_from
from rimread.report.lab import Lab
from rimread.report.layout import page_of
from rimread.report.model import Job
from rimread.report.page import html_of
from rimread.report.results import result_from

DAY = date(2026, 11, 25)
NASTY = '</style></title><script>alert(1)</script><img src=x onerror="a()">&amp;"\'`;}'
VOID = {"meta", "col", "img", "br"}


class Read(HTMLParser):
    """Tags, attributes and text; complains when tags do not pair."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.words: list[str] = []
        self.raw: dict[str, str] = {}
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert not self._open

    def handle_starttag(self, tag, attrs):
        """Note a tag."""
        self.tags.append(tag)
        self.attributes += [(tag, key, value or "") for key, value in attrs]
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag):
        """Close the last one."""
        assert self._open.pop() == tag

    def handle_data(self, data):
        """Note text."""
        where = self._open[-1] if self._open else ""
        if where in ("style", "title"):
            self.raw[where] = self.raw.get(where, "") + data
        else:
            self.words.append(data)

    @property
    def text(self) -> str:
        """All of it."""
        return " ".join(self.words)


def written(job: Job | None = None, n: int = 2, **more) -> Read:
    told = [result_from(one, "here") for one in [*series(n), refused()]]
    return Read(html_of(page_of(report_from(told, job or Job(), made_on=DAY, **more))))


def test_it_is_one_document():
    page = written(Job(part="shaft 7", heat="K4711", number="26-118"))
    assert page.tags.count("html") == page.tags.count("main") == page.tags.count("h1") == 1
    assert page.raw["title"] == "Brinell test report 26-118, shaft 7, heat K4711"
    for words in ("shaft 7", "229 HBW 10/3000", "plate-1.jpg", "overlapping-indents"):
        assert words in page.text
    assert ("html", "lang", "en") in page.attributes


def test_nothing_comes_from_outside():
    picture = Picture("1: the picture", b"\xff\xd8jpeg", 4, 3)
    page = written(n=1, pictures=[picture], lab=Lab(name="x", logo_png=b"\x89PNG"))
    assert not set(page.tags) & {"script", "link", "iframe", "object", "form", "base"}
    sources = [value for _, key, value in page.attributes if key in ("src", "href")]
    assert [s.partition(",")[0] for s in sources] == [
        "data:image/png;base64",
        "data:image/jpeg;base64",
    ]
    assert base64.b64decode(sources[1].partition(",")[2]) == b"\xff\xd8jpeg"
    for outside in ("http:", "https:", "@import", "url("):
        assert outside not in page.raw["style"]
    policy = next(v for t, k, v in page.attributes if t == "meta" and v.startswith("default-src"))
    assert "default-src 'none'" in policy


def test_names_stay_text():
    job = Job(
        number=NASTY, part=NASTY, heat=NASTY, location=NASTY, operator=NASTY, remarks=NASTY,
        order=NASTY, customer=NASTY, edition=NASTY, grade=NASTY, requirement=NASTY, machine=NASTY,
    )  # fmt: skip
    lab = Lab(name=NASTY, address=(NASTY,), contact=NASTY, note=NASTY, signatures=(NASTY,))
    told = [
        result_from(one | {"photo": NASTY + one["photo"], "scale_label": NASTY}, "here")
        for one in series(2)
    ]
    whole = html_of(page_of(report_from(told, job, lab=lab, made_on=DAY)))
    page = Read(whole)
    plain = written(Job(number="x", part="x", heat="x", requirement="x"), lab=Lab(name="x"))
    assert set(page.tags) <= set(plain.tags)
    assert not [key for _, key, _ in page.attributes if key.startswith("on")]
    assert page.text.count(NASTY) > 12
    assert "<script" not in whole


def test_the_foot_of_the_page_ends_nothing():
    style = written(Job(number=NASTY)).raw["style"]
    without = files("rimread.report").joinpath("page.css").read_text(encoding="utf-8")
    head, tail = without.split("/* foot */")
    assert style.startswith(head)
    assert style.endswith(tail)
    foot = style.removeprefix(head).removesuffix(tail)
    assert set(foot.removeprefix('content: "').removesuffix('";')) <= set("\\0123456789abcdef")


@given(st.text(), st.text())
def test_any_text_survives(label: str, value: str):
    blocks = (Facts((Fact(label, value),)), Words(value))
    page = Read(html_of(Page(label, value, blocks)).encode("utf-8").decode("utf-8"))
    once = printable(value).replace("\n", "")  # a line break is an element
    assert "".join(page.words).rstrip("\n").endswith(once.rstrip("\n"))
    assert "".join(page.words).count(once) >= 2


@pytest.mark.parametrize("text", ["Żółć Łódź", "Größe Öl", "ΑΒΓ αβγ", "热处理 炉号", "חום"])
def test_letters_of_many_languages(text: str):
    assert text in written(Job(heat=text)).text


def test_blanks_are_told_to_screen_readers():
    assert written().text.count("to be filled in by hand") > 10


def test_tables_name_their_columns():
    page = written()
    assert page.tags.count("caption") == page.tags.count("table")
    heads = page.tags.count("th")
    assert [a for a in page.attributes if a == ("th", "scope", "col")].__len__() == heads


def test_an_unknown_block_is_misuse():
    with pytest.raises(TypeError, match="no such block"):
        html_of(Page("t", "f", ("words",)))
