"""The PDF of a report, read back by pypdf."""

from __future__ import annotations

import io
import shutil
from datetime import date
from pathlib import Path

import pytest

pytest.importorskip("fpdf", reason="the extra rimread[report]")
pypdf = pytest.importorskip("pypdf")

from fontTools.fontBuilder import FontBuilder  # noqa: E402
from fontTools.pens.ttGlyphPen import TTGlyphPen  # noqa: E402
from PIL import Image  # noqa: E402
from tests.report.records import refused, series  # noqa: E402

from rimread.report import fonts as fonts_module  # noqa: E402
from rimread.report.blocks import Fact, Facts, Page, Picture, Words  # noqa: E402
from rimread.report.certificate import report_from  # noqa: E402
from rimread.report.fonts import built_in, fonts_for  # noqa: E402
from rimread.report.lab import Lab  # noqa: E402
from rimread.report.layout import page_of  # noqa: E402
from rimread.report.model import Job  # noqa: E402
from rimread.report.pdf import pdf_of  # noqa: E402
from rimread.report.results import result_from  # noqa: E402

DAY = date(2026, 11, 25)
CHINESE = "热处理"


@pytest.fixture(autouse=True)
def _no_fonts_of_this_machine(monkeypatch):
    monkeypatch.setattr(fonts_module, "_folders", lambda: iter(()))


def jpeg(width: int, height: int, grey: int) -> bytes:
    data = io.BytesIO()
    Image.new("L", (width, height), grey).save(data, "JPEG")
    return data.getvalue()


def page(job: Job | None = None, n: int = 2, *, pictures: bool = False, **more) -> Page:
    told = [result_from(one, "here") for one in [*series(n), refused()]]
    shown = [Picture(f"{i + 1}: a picture", jpeg(400, 300, 60 + i), 400, 300) for i in range(n)]
    more["pictures"] = shown if pictures else []
    return page_of(report_from(told, job or Job(), made_on=DAY, **more))


def read(data: bytes):
    return pypdf.PdfReader(io.BytesIO(data), strict=True)


def words(data: bytes) -> str:
    return " ".join(" ".join(p.extract_text() for p in read(data).pages).split())


def font_with(tmp_path: Path, letters: str) -> Path:
    """A font of our own with boxes for letters."""
    builder = FontBuilder(1000, isTTF=True)
    names = [".notdef", *(f"uni{ord(c):04X}" for c in letters)]
    pen = TTGlyphPen(None)
    for i, corner in enumerate(((0, 0), (0, 800), (800, 800), (800, 0))):
        (pen.lineTo if i else pen.moveTo)(corner)
    pen.closePath()
    builder.setupGlyphOrder(names)
    builder.setupCharacterMap(dict(zip(map(ord, letters), names[1:], strict=True)))
    builder.setupGlyf(dict.fromkeys(names, pen.glyph()))
    builder.setupHorizontalMetrics(dict.fromkeys(names, (1000, 0)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Boxes", "styleName": "Regular"})
    builder.setupOS2()
    builder.setupPost()
    path = tmp_path / "boxes.ttf"
    builder.save(path)
    return path


def test_it_says_what_the_page_says():
    job = Job(number="26-118", part="shaft 7", heat="K4711", on=DAY)
    data, lacking = pdf_of(page(job, lab=Lab(name="Test room")), on=DAY)
    assert not lacking
    text = words(data)
    for said in (
        "Test room", "26-118", "shaft 7", "K4711", "229 HBW 10/3000", "plate-2.jpg",
        "overlapping-indents", "Uncertainty of the result", "Tested by", "2026-11-25",
        "page 1 of", "qualified person", "ovality",
    ):  # fmt: skip
        assert said in text
    assert read(data).metadata.title == "Brinell test report 26-118, shaft 7, heat K4711"


def test_the_same_page_gives_the_same_bytes():
    one, two = (pdf_of(page(n=3, pictures=True), on=DAY)[0] for _ in range(2))
    assert one == two


@pytest.mark.parametrize(("n", "most"), [(1, 4), (40, 16)])
def test_one_and_forty_indents_fit_their_pages(n: int, most: int):
    data, _ = pdf_of(page(n=n, pictures=True), on=DAY)
    pages = read(data).pages
    assert len(pages) <= most
    texts = [p.extract_text() for p in pages]
    assert all(len(text.split()) > 15 for text in texts)  # no page is left all but empty
    pictures = [len(p.images) for p in pages]
    assert sum(pictures) == n
    assert max(pictures) <= 8
    numbered = [t for t in texts if "mean d" in t and "plate-" in t]
    assert numbered  # the head of the table of indents is repeated on each of its pages
    signed = next(t for t in texts if "Tested by" in t)
    assert "Before this result is used" in signed  # no place to sign stands alone
    rows = [t for t in texts if "plate-40.jpg" in t]
    assert (len(rows) > 0) == (n == 40)


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_paper(paper, size):
    box = read(pdf_of(page(), on=DAY, paper=paper)[0]).pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


@pytest.mark.parametrize("text", ["Żółć Łódź", "Größe Öl ß", "ΑΒΓ αβγ", "Жёлтый", "±0.5 µm °C"])
def test_letters_the_built_in_font_has(text: str):
    data, lacking = pdf_of(page(Job(heat=text)), on=DAY)
    assert not lacking
    assert text in words(data)


def test_letters_no_font_has_are_numbers():
    data, lacking = pdf_of(page(Job(heat=f"A {CHINESE} 7")), on=DAY)
    assert set(lacking) == set(CHINESE)
    assert "A [U+70ED][U+5904][U+7406] 7" in words(data)


def test_a_font_that_is_named_is_taken(tmp_path: Path):
    font = font_with(tmp_path, CHINESE)
    data, lacking = pdf_of(page(Job(heat=f"A {CHINESE} 7", number=CHINESE)), on=DAY, font=font)
    assert not lacking
    assert f"A {CHINESE} 7" in words(data)


def test_a_font_of_the_machine_is_found(tmp_path: Path, monkeypatch):
    font_with(tmp_path, CHINESE)
    (tmp_path / "broken.ttf").write_bytes(b"no font at all")
    monkeypatch.setattr(fonts_module, "_folders", lambda: iter((tmp_path,)))
    found = fonts_for([CHINESE + "A"])
    assert [face.path.name for face in found.others] == ["boxes.ttf"]
    assert not found.lacking
    data, lacking = pdf_of(page(Job(heat=CHINESE)), on=DAY)
    assert not lacking
    assert CHINESE in words(data)


def test_a_font_must_be_one(tmp_path: Path):
    with pytest.raises(ValueError, match="is no file"):
        pdf_of(page(), on=DAY, font=tmp_path)
    (tmp_path / "x.ttf").write_bytes(b"0")
    with pytest.raises(ValueError, match="TrueType or OpenType"):
        pdf_of(page(), on=DAY, font=tmp_path / "x.ttf")
    copy = tmp_path / "copy.ttf"
    shutil.copyfile(built_in(bold=False), copy)
    assert pdf_of(page(), on=DAY, font=copy)[1] == ()


def test_every_font_is_inside():
    for sheet in read(pdf_of(page(), on=DAY)[0]).pages:
        for font in sheet["/Resources"]["/Font"].get_object().values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            assert "/FontFile2" in inner["/FontDescriptor"].get_object()


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "\n\n",
        "a" * 3000,
        "() \\ <<>> %PDF ET BT",
        "**b** __u__ [x](http://a)",
        "\x00\ud800\u202e",
    ],
)
def test_any_text_is_written(text: str):
    blocks = (Facts((Fact("label", text), Fact(text, "value"), Fact("w", text, wide=True))),)
    data, _ = pdf_of(Page("title", text, (*blocks, Words(text))), on=DAY)
    found = words(data)
    assert "value" in found
    for kept in ("() \\ <<>> %PDF ET BT", "**b** __u__ [x](http://a)"):
        assert (kept in found) == (kept == text)
    assert not any(p.get("/Annots") for p in read(data).pages)


def test_an_unknown_block_is_misuse():
    with pytest.raises(TypeError, match="no such block"):
        pdf_of(Page("t", "f", ("words",)), on=DAY)
