"""Spreadsheets as people write them."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.table import Problem, Row, open_table

READINGS = {
    "required": ("photo", "operator", "d1", "d2"),
    "optional": ("angle", "trial"),
    "numeric": {"d1": "mm", "d2": "mm", "angle": "deg"},
}


def read(tmp_path, text, encoding="utf-8", **wanted):
    path = tmp_path / "Ablesungen März.csv"
    path.write_bytes(text.encode(encoding))
    return list(open_table(path, **(wanted or READINGS)).rows())


PLAIN = "photo,operator,d1,d2\na.jpg,Zoë,3.42,3.45\n"


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        (PLAIN, "utf-8"),
        (PLAIN, "utf-8-sig"),
        (PLAIN, "utf-16"),
        (PLAIN, "cp1252"),
        (PLAIN.replace("\n", "\r\n"), "utf-8"),
        (PLAIN.replace(",", ";"), "utf-8"),
        (PLAIN.replace(",", "\t"), "utf-16"),
        (PLAIN.replace(",", ";").replace(".4", ",4"), "cp1252"),
        ("sep=;\r\n" + PLAIN.replace(",", ";"), "utf-8-sig"),
        ('photo,operator,d1,d2\na.jpg,Zoë,"3,42","3,45"\n', "utf-8"),
        ("Photo,Operator,D1 (mm),d2_mm\na.jpg,Zoë,3.42,3.45\n", "utf-8"),
        ("Photo,Operator,D1 [µm],d2 / mm\na.jpg,Zoë,3420,3.45\n", "utf-8"),
        ("Photo,Operator,D1 [μm],d2 in mm\na.jpg,Zoë,3420,3.45\n", "utf-8"),
        ("\n\nphoto,operator,d1,d2,,\n\na.jpg,Zoë,3.42 mm, 3450µm,,\n\n\n", "utf-8"),
        ("d2,d1,operator,photo\n3.45,3.42,Zoë,a.jpg", "utf-8"),
    ],
)
def test_one_reading_in_many_hands(tmp_path, text, encoding):
    (row,) = read(tmp_path, text, encoding)
    assert (row.texts["photo"], row.texts["operator"], row.texts["trial"]) == ("a.jpg", "Zoë", "")
    assert row.numbers["d1"] == pytest.approx(3.42, rel=1e-15)
    assert row.numbers["d2"] == pytest.approx(3.45, rel=1e-15)
    assert row.numbers["angle"] is None
    assert row.others == {}


UNITS = [
    ("mm", "mm", 1.0),
    ("mm", "µm", 1e-3),
    ("mm", "um", 1e-3),
    ("mm", "cm", 10.0),
    ("mm", "in", 25.4),
    ("mm", "inch", 25.4),
    *(("deg", written, 1.0) for written in ("deg", "°", "degree", "degrees")),
    *(("HBW", written, 1.0) for written in ("HBW", "hb", "BHN")),
    *(("s", written, 1.0) for written in ("s", "sec")),
]
"""Unit asked for, as written, and what one is; an inch by the yard's agreement of 1959."""


@given(st.sampled_from(UNITS), st.integers(1, 10**6))
def test_a_unit_means_the_same_in_the_header_and_in_the_cell(tmp_path_factory, unit, number):
    asked, written, factor = unit
    path = tmp_path_factory.mktemp("table") / "t.csv"
    for text in (f"d1 [{written}]\n{number}\n", f"d1\n{number} {written}\n"):
        path.write_text(text, encoding="utf-8")
        (row,) = open_table(path, required=("d1",), numeric={"d1": asked}).rows()
        assert row.numbers["d1"] == pytest.approx(number * factor, rel=1e-12)


def test_the_unit_of_the_cell_wins_over_that_of_the_header(tmp_path):
    text = "photo,operator,d1 [µm],d2 (mm)\na.jpg,A,3.42 mm,3450 µm\nb.jpg,A,3420,3.45\n"
    for row in read(tmp_path, text):
        assert (row.numbers["d1"], row.numbers["d2"]) == pytest.approx((3.42, 3.45), rel=1e-12)


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_either_order_of_bytes_is_told_by_its_mark(tmp_path, encoding):
    (row,) = read(tmp_path, f"\ufeff{PLAIN}", encoding)
    assert row.texts["operator"] == "Zoë"


@pytest.mark.parametrize("name", ["Zoë", "André", "Ngô"])
def test_a_file_that_ends_with_a_letter_of_windows_is_no_utf_8(tmp_path, name):
    """Its last byte begins a letter of UTF-8 (RFC 3629, 3), and the rest of that never comes."""
    (row,) = read(tmp_path, f"photo,operator\na.jpg,{name}", "cp1252", required=("operator",))
    assert row.texts["operator"] == name


@pytest.mark.parametrize(
    "text",
    [
        "photo;d1;size, in all\na.jpg;3.42;7\n",
        "photo\td1\tsize, in all\na.jpg\t3.42\t7\n",
        'photo\td1\t"size; in all, roughly"\na.jpg\t3.42\t7\n',
        'photo,d1,"size; in all"\na.jpg,3.42,7\n',
    ],
)
def test_marks_inside_a_header_part_no_cells(tmp_path, text):
    (row,) = read(tmp_path, text, required=("photo", "d1"), numeric={"d1": "mm"})
    assert row.numbers["d1"] == 3.42
    assert list(row.others.values()) == ["7"]


@pytest.mark.parametrize("header", ["heat_no", "Heat-No", "HEAT NO", "heat - no", "Heat No"])
def test_capitals_spaces_and_hyphens_of_a_header_do_not_matter(tmp_path, header):
    (row,) = read(tmp_path, f"photo,{header}\na.jpg,H1\n", required=("photo", "heat_no"))
    assert (row.texts["heat_no"], row.others) == ("H1", {})


BAD_CELLS = {
    "": "'d1' is empty",
    "3.4.2": "must be a number",
    "drei": "must be a number",
    "nan": "must be a number",
    "inf": "must be a number",
    "1e400": "must lie within",
    "3.42 kg": "has the unit 'kg'; taken are: mm",
    '"3,420"': "could be 3.420 or 3420",
    '"1,234.5"': "without marks at thousands",
    "1'234.5": "without marks at thousands",
    '"3,42': "a cell runs on to line 4; is a quotation mark missing?",
}


@pytest.mark.parametrize("cell", BAD_CELLS)
def test_a_bad_cell_is_told_with_its_line_and_the_rest_is_read(tmp_path, cell):
    text = f"photo,operator,d1,d2\na.jpg,A,3.42,3.45\nb.jpg,A,{cell},3.4\nc.jpg,A,3.1,3.2\n"
    first, problem, *rest = read(tmp_path, text)
    assert isinstance(first, Row)
    assert isinstance(problem, Problem)
    assert problem.line == 3
    assert BAD_CELLS[cell] in str(problem)
    assert [row.line for row in rest] == (
        [] if cell.startswith('"3,42') and cell != '"3,420"' else [4]
    )


def test_decimal_marks_must_not_change_within_a_file(tmp_path):
    text = "photo;operator;d1;d2\na;A;3,420;3\nb;A;3.42;3,45\nc;A;3;3,4\n"
    first, second, third = read(tmp_path, text)
    assert first.numbers["d1"] == 3.42
    assert second == Problem(
        3, "'d1' has a decimal point where line 2 has a decimal comma (got '3.42')"
    )
    assert third.numbers["d2"] == 3.4


@pytest.mark.parametrize(
    ("line", "cells"), [("a,A,3.42", 3), ("a,A,3,42,3,45", 6), ("a,A,3.42,3.45,x", 5)]
)
def test_a_row_of_another_length(tmp_path, line, cells):
    (problem,) = read(tmp_path, f"photo,operator,d1,d2\n{line}\n")
    assert f"has {cells} cells and the header 4" in problem.message


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("photo,operator,d1", "no column 'd2'; line 1 has 'photo', 'operator', 'd1'"),
        ("photo,operator,d1,d2,D1 (mm)", "two columns 'd1'"),
        ("photo,operator,d1 (kg),d2", "'d1 (kg)' has the unit 'kg'; taken are: mm"),
        ("photo,operator,d1_hbw,d2", "no column 'd1'; line 1 has 'photo', 'operator', 'd1_hbw'"),
        ("", "the file is empty"),
        ("sep=|\nphoto|operator|d1|d2", "parted by"),
        ('{"photo": "a.jpg", "d1_mm": 3.42}', "looks like results of rimread measure --json"),
    ],
)
def test_a_header_that_cannot_be_used(tmp_path, header, says):
    with pytest.raises(ValueError, match=r"März\.csv") as caught:
        read(tmp_path, header + ("\n1,2,3,4\n" if header else "\n \n"))
    assert says in str(caught.value)


@pytest.mark.parametrize("header", ["U_hbw", "d1_deg", "U hbw"])
def test_a_figure_of_another_quantity_is_another_column(tmp_path, header):
    path = tmp_path / "März.csv"
    path.write_text(f"d2_mm,{header}\n3.42,7\n", encoding="utf-8")
    numeric = {"d1": "mm", "d2": "mm", "U": "mm"}
    table = open_table(path, required=("d2",), optional=("d1", "U"), numeric=numeric)
    assert table.others == (header,)
    (row,) = table.rows()
    assert row.numbers == {"d1": None, "d2": 3.42, "U": None}


def test_only_the_beginning_of_a_long_header_is_told(tmp_path):
    with pytest.raises(ValueError, match="no column 'photo'") as caught:
        read(tmp_path, ",".join(f"{k:03}" + "x" * 500 for k in range(200)))
    assert f"'000{'x' * 36}…', '001" in str(caught.value)
    assert str(caught.value).endswith(" and 188 more")
    assert len(str(caught.value)) < 1000


def test_missing_file(tmp_path):
    with pytest.raises(FileNotFoundError):
        open_table(tmp_path / "none.csv", required=("photo",))


@pytest.mark.parametrize(
    ("line", "photo", "others"),
    [
        ("a.jpg,Zoë,drei,3.45,H1,ok", "a.jpg", {"Heat": "H1", "Note": "ok"}),
        ("a.jpg,,3.42,3.45,H1,ok", "a.jpg", {"Heat": "H1", "Note": "ok"}),
        ("a.jpg,Zoë,3.42,3.45,H1", "a.jpg", {"Heat": "H1"}),  # cut off
        ("a.jpg,Zoë,3.42,3.45,H1,ok,more", "", {}),  # which comma is one too many?
        ("a.jpg,Zoë", "a.jpg", {}),
    ],
)
def test_what_is_known_of_a_bad_line_stays_with_it(tmp_path, line, photo, others):
    (problem,) = read(tmp_path, f"photo,operator,d1,d2,Heat,Note\n{line}\n")
    assert (problem.texts["photo"], problem.others) == (photo, others)


def test_own_columns_are_kept_as_written(tmp_path):
    (row,) = read(tmp_path, "photo,Heat No.,furnace (°C)\na.jpg,007,850\n", required=("photo",))
    assert row.others == {"Heat No.": "007", "furnace (°C)": "850"}


TEXT = st.text(
    st.characters(exclude_categories=("Cs", "Cc", "Zl", "Zp", "Zs", "Cn")), min_size=1, max_size=12
)


@given(
    rows=st.lists(
        st.tuples(TEXT, st.floats(0.001, 99.0).map(lambda x: round(x, 4))), min_size=1, max_size=9
    ),
    delimiter=st.sampled_from(";\t"),
    mark=st.sampled_from(",."),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_what_a_spreadsheet_wrote_is_read_back(tmp_path_factory, rows, delimiter, mark, encoding):
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter)
    writer.writerow(["photo", "d1 (mm)"])
    writer.writerows((photo, f"{d1:.4f}".replace(".", mark)) for photo, d1 in rows)
    path = tmp_path_factory.mktemp("table") / "t.csv"
    path.write_bytes(out.getvalue().encode(encoding))
    read_back = list(open_table(path, required=("photo", "d1"), numeric={"d1": "mm"}).rows())
    assert [(row.texts["photo"], row.numbers["d1"]) for row in read_back] == rows


@given(st.binary(max_size=300))
def test_any_bytes_give_rows_problems_or_a_sentence(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("table") / "t.csv"
    path.write_bytes(b"photo,d1\n" + data)
    for row in open_table(path, required=("photo", "d1"), numeric={"d1": "mm"}).rows():
        assert row.line >= 2
