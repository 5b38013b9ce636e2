"""Tables as people write them, results as the program writes them."""

import json
import math
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimread.agreement import HumanReading, ImageResult, image_result, read_human, read_results
from rimread.agreement.matching import Results
from rimread.agreement.readings import resolution_of
from rimread.dates import moment
from rimread.diameters import Diameters

MEASURED = {
    "photo": "a.jpg",
    "status": "measured",
    "d1_mm": 4.02,
    "d2_mm": 3.98,
    "angle_deg": 30.0,
    "mean_mm": 4.0,
    "U_mean_mm": 0.008,
    "k": 2.0,
    "test": "10/3000",
}


def table(tmp_path, text: str, encoding: str = "utf-8"):
    path = tmp_path / "Messwerte März.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_a_spreadsheet_of_half_the_world(tmp_path):
    path = table(
        tmp_path,
        "\ufeffPhoto;Operator;d1 (mm);d2 (mm);Angle (°);Trial;Date;U [mm]\r\n"
        "Ordner mit Leerzeichen\\Stück 1.jpg;Jürgen  Groß;3,42;3,45;90;2;31.12.2026;0,02\r\n",
    )
    readings, problems = read_human(path)
    assert problems == []
    assert readings == [
        HumanReading(
            line=2,
            photo="Ordner mit Leerzeichen\\Stück 1.jpg",
            operator="Jürgen Groß",
            d1_mm=3.42,
            d2_mm=3.45,
            angle_deg=90.0,
            trial="2",
            when=datetime(2026, 12, 31),  # noqa: DTZ001
            U_mm=0.02,
        )
    ]


def test_bad_lines_are_told_and_the_rest_is_read(tmp_path):
    path = table(
        tmp_path,
        "photo,operator,d1,d2,trial\n"
        "a.jpg,Anna,4.02,3.99,1\n"
        "a.jpg,Anna,,3.99,2\n"
        "a.jpg,Anna,four,3.99,3\n"
        "a.jpg,Anna,-4.0,3.99,4\n"
        "a.jpg,Anna,40.2,3.99,5\n"
        "a.jpg,Anna,4.02,3.99,1\n"
        "a.jpg,Anna,4.10,3.99,1\n"
        "b.jpg,Anna,4.00,4.01,1\n",
    )
    readings, problems = read_human(path)
    assert [reading.line for reading in readings] == [2, 9]
    told = {problem.line: problem.message for problem in problems}
    assert "empty" in told[3]
    assert "number" in told[4]
    assert "above 0" in told[5]
    assert "nearly equal" in told[6]
    assert told[7].startswith("repeats line 2")
    assert told[8].startswith("contradicts line 2")


SAME = ("photo,operator,d1,d2,trial", "mon/IMG_1.jpg,André,4.40,4.41,1")


@pytest.mark.parametrize(
    "again",
    [
        "mon/img_1.JPG,André,4.40,4.41,1",
        "IMG_1.jpg,André,4.40,4.41,1",
        "IMG_1,André,4.40,4.41,1",
        "D:\\photos\\mon\\IMG_1.jpg,André,4.40,4.41,1",
        "mon/IMG_1.jpg,ANDRÉ,4.40,4.41,1",
        "mon/IMG_1.jpg,Andre\u0301,4.40,4.41,1",
        "mon/IMG_1.jpg,André,4.40,4.41,01",
    ],
)
def test_a_line_doubled_in_another_spelling_is_no_repeat(tmp_path, again):
    """Taken for a repeat it would make people look better than they are."""
    readings, (problem,) = read_human(table(tmp_path, "\n".join([*SAME, again])))
    assert [reading.line for reading in readings] == [2]
    assert problem.line == 3
    assert problem.message.startswith("repeats line 2, same photo, operator and trial")


@pytest.mark.parametrize(
    "other",
    [
        "tue/IMG_1.jpg,André,4.40,4.41,1",
        "mon/IMG_10.jpg,André,4.40,4.41,1",
        "mon/IMG_1.jpg,Andrea,4.40,4.41,1",
        "mon/IMG_1.jpg,André,4.40,4.41,10",
    ],
)
def test_a_line_that_is_another_is_kept(tmp_path, other):
    readings, problems = read_human(table(tmp_path, "\n".join([*SAME, other])))
    assert (len(readings), problems) == (2, [])


def test_lines_of_one_file_are_doubled_whatever_it_is_called(tmp_path):
    rows = (f"{name},Ann,4.4,4.41,1,{sha}" for name, sha in (("a.jpg", "AB"), ("b.jpg", "ab")))
    path = table(tmp_path, "\n".join([f"{SAME[0]},sha256", *rows, "a.jpg,Ann,4.4,4.41,1,cd"]))
    readings, (problem,) = read_human(path)
    assert [(reading.line, reading.sha256) for reading in readings] == [(2, "ab"), (4, "cd")]
    assert problem.line == 3


def test_repeats_without_a_trial_column_are_trials(tmp_path):
    readings, problems = read_human(
        table(tmp_path, "photo,operator,d1,d2\na.jpg,Anna,4.02,3.99\na.jpg,Anna,4.02,3.99\n")
    )
    assert (len(readings), problems) == (2, [])


def test_a_missing_column_and_an_empty_table_are_said(tmp_path):
    with pytest.raises(ValueError, match="no column 'd2'"):
        read_human(table(tmp_path, "photo,operator,d1\na.jpg,Anna,4.02\n"))
    with pytest.raises(ValueError, match="no reading that can be used"):
        read_human(table(tmp_path, "photo,operator,d1,d2\na.jpg,Anna,0,4\n"))


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("2026-12-31 23:59", datetime(2026, 12, 31, 23, 59)),  # noqa: DTZ001
        ("31.12.2026", datetime(2026, 12, 31)),  # noqa: DTZ001
        ("2026-12-31T23:59:30", datetime(2026, 12, 31, 23, 59, 30)),  # noqa: DTZ001
        ("2026-12-31 9:10", datetime(2026, 12, 31, 9, 10)),  # noqa: DTZ001
        ("31.12.2026 9:10", datetime(2026, 12, 31, 9, 10)),  # noqa: DTZ001
        ("1.2.2026 09:10:05", datetime(2026, 2, 1, 9, 10, 5)),  # noqa: DTZ001
        ("12/11/2026", None),  # the eleventh or the twelfth month?
        ("31.2.2026", None),
        ("31.12.2026 9:70", None),
        ("9:10", None),
        ("9.10", None),
        ("yesterday", None),
    ],
)
def test_dates(tmp_path, text, read):
    path = table(tmp_path, f"photo,operator,d1,d2,date\na.jpg,Anna,4.02,3.99,{text}\n")
    (reading,) = read_human(path)[0]
    assert reading.when == read
    assert reading.undated == ("" if read else text)


@given(st.datetimes(datetime(1900, 1, 1), datetime(2100, 1, 1)))  # noqa: DTZ001
def test_every_form_of_a_moment_is_the_same(when):
    minute = when.replace(second=0, microsecond=0)
    for day in (f"{when:%Y-%m-%d}", f"{when.day}.{when.month}.{when.year}"):
        for clock in (f"{when:%H:%M}", f"{when.hour}:{when.minute:02}"):
            assert moment(f"{day} {clock}") == minute
    assert moment(when.isoformat()) == when.replace(
        microsecond=moment(when.isoformat()).microsecond
    )


def test_date_and_time_may_be_columns_of_their_own(tmp_path):
    path = table(tmp_path, "photo,operator,d1,d2,date,time\na.jpg,Anna,4.02,3.99,2026-11-27,9:10\n")
    assert read_human(path)[0][0].when == datetime(2026, 11, 27, 9, 10)  # noqa: DTZ001


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_results_with_broken_lines(tmp_path, encoding):
    refused = {"photo": "b.jpg", "status": "refused", "reasons": [{"code": "c", "message": "why"}]}
    lines = [json.dumps(MEASURED), "", "{broken", "[]", json.dumps(refused)]
    lines.append(json.dumps(MEASURED | {"d1_mm": None}))
    path = tmp_path / "r.jsonl"
    path.write_bytes("\n".join(lines).encode(encoding))
    results, problems = read_results(path)
    assert [result.refused for result in results] == ["", "why"]
    assert [problem.line for problem in problems] == [3, 4, 6]
    assert "d1_mm must be a number" in problems[2].message


def test_failed_checks_of_a_record_are_kept():
    checks = [{"code": "scale-in-date", "outcome": "fail"}, {"code": "ovality", "outcome": "warn"}]
    assert image_result(MEASURED | {"checks": checks}).failed == ("scale-in-date",)


@pytest.mark.parametrize("wrong", [True, 3, {"outcome": "fail"}, [None, "fail"]])
@pytest.mark.parametrize("key", ["checks", "reasons"])
def test_checks_and_reasons_of_another_kind_are_told(key, wrong):
    """Left out, a check that failed would be taken for passed."""
    record = MEASURED if key == "checks" else {"photo": "a.jpg", "status": "refused"}
    with pytest.raises(ValueError, match=f"{key} must be a list of objects"):
        image_result(record | {key: wrong})


@pytest.mark.parametrize("nothing", [{}, {"checks": None, "reasons": None}])
def test_records_without_checks_or_reasons(nothing):
    plain = {key: value for key, value in MEASURED.items() if key != "checks"}
    assert image_result(plain | nothing).failed == ()
    refused = {"photo": "a.jpg", "status": "refused"}
    assert image_result(refused | nothing).refused == "no reason given"


@pytest.mark.parametrize(
    "change", [{"d1_mm": 0.0}, {"U_mean_mm": 0.0}, {"d2_mm": True}, {"status": "seen"}]
)
def test_a_record_that_is_none(change):
    with pytest.raises(ValueError, match="must be"):
        image_result(MEASURED | change)


BUDGET = [{"name": "reading", "u_mm": 0.004, "dof": None}]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"mean_mm": 4.1}, "mean_mm is 4.1, but 4 follows"),
        ({"d1_mm": 4.2}, "mean_mm is 4, but 4.09 follows"),
        ({"U_mean_mm": 0.001, "budget_mm": BUDGET}, "U_mean_mm is 0.001, but 0.00"),
        ({"hbw": 300.0}, "hbw is 300, but 228"),
        ({"test": None}, "test is missing"),
        ({"d1_mm": 10**400}, "too large"),
        ({"checks": [{"code": "ovality", "outcome": "well"}]}, "a check has an outcome"),
    ],
)
def test_a_line_that_somebody_changed_is_told_and_left_out(tmp_path, change, why):
    """As `hardness` and `report` do with it."""
    path = tmp_path / "r.jsonl"
    lines = [MEASURED, MEASURED | {"photo": "b.jpg"} | change]
    path.write_text("\n".join(map(json.dumps, lines)), encoding="utf-8")
    (kept,), (problem,) = read_results(path)
    assert kept.photo == "a.jpg"
    assert problem.line == 2
    assert why in problem.message
    assert "b.jpg" in problem.message or "too large" in why


@given(st.floats(0.0, 180.0), st.floats(-360.0, 360.0), st.floats(3.0, 5.0), st.floats(0.0, 0.2))
def test_width_at_an_angle_is_the_ellipses_caliper(angle, turn, d2, more):
    result = ImageResult("a", "", d2 + more, d2, angle, 0.01)
    t = [math.radians(0.25 * k) for k in range(1440)]
    a, b = (d2 + more) / 2, d2 / 2
    tilt, way = math.radians(angle), math.radians(turn)
    reach = [
        a * math.cos(s) * math.cos(tilt - way) - b * math.sin(s) * math.sin(tilt - way) for s in t
    ]
    assert result.at_angle(turn) == pytest.approx(max(reach) - min(reach), rel=1e-5)
    assert result.at_angle(angle) == pytest.approx(d2 + more)
    assert result.at_angle(angle + 90.0) == pytest.approx(d2)


def test_it_is_the_width_that_diameters_give():
    from rimread.rim.ellipse import Ellipse  # noqa: PLC0415

    ellipse = Ellipse(x=0.0, y=0.0, m=2.0, e=0.03, f=0.02)
    a, b = ellipse.semi_axes
    result = ImageResult("a", "", 2 * a, 2 * b, ellipse.angle_deg, 0.01)
    assert result.at_angle(0.0) == pytest.approx(ellipse.width)
    assert result.at_angle(90.0) == pytest.approx(ellipse.height)
    assert hasattr(Diameters, "at_angle")


def test_resolution_is_the_readings_own_step():
    def read(*values):
        return resolution_of([HumanReading(2, "a", "A", v, v) for v in values])

    assert read(4.05, 3.9, 4.0) == 0.05
    assert read(3.8, 3.9) == 0.05  # two that end in 0 tell of no coarser scope
    assert read(3.8, 3.9, 4.0, 3.9) == 0.1  # eight diameters do
    assert read(4.02, 3.98) == 0.02
    assert read(4.02, 3.99) == 0.01
    assert read(4.023, 3.99) == 0.001
    assert read(4.0234) == 0.001


def result(photo: str, d: float = 4.0, refused: str = "", sha256: str = "") -> ImageResult:
    return ImageResult(photo, refused, d, d, 0.0, 0.01, sha256=sha256)


def test_photos_that_moved_are_found():
    results = Results([result("/old/place/Stück 1.JPG", 4.1), result("x/two.jpg", 4.2)])
    # letters composed of two
    assert results.find("D:\\new\\place\\Stu\u0308ck 1.jpg").d1_mm == 4.1
    assert results.find("two").d1_mm == 4.2
    assert results.find("three.jpg") == "no result for 'three.jpg'"


def test_folders_tell_photos_of_one_name_apart():
    results = Results([result("a/1.jpg", 4.1), result("b/1.jpg", 4.2)])
    assert results.find("archive/b/1.jpg").d1_mm == 4.2
    assert "a/1.jpg, b/1.jpg" in results.find("1.jpg")
    assert "write the folder" in results.find("c/1.jpg")


@pytest.mark.parametrize(
    ("read", "measured"),
    [
        ("tue/IMG_1.jpg", "mon/IMG_1.jpg"),
        ("tue\\IMG_1.jpg", "photos/mon/IMG_1.jpg"),
        ("D:\\photos\\tue\\IMG_1.jpg", "/photos/mon/IMG_1.jpg"),
        ("mon/../tue/IMG_1.jpg", "mon/IMG_1.jpg"),
        ("tue/IMG_1", "mon/IMG_1.jpg"),
    ],
)
def test_a_photo_of_another_folder_is_another_photo(read, measured):
    """Scopes number from 1 every day: held against Monday's, Tuesday's would be a repeat."""
    told = Results([result(measured)]).find(read)
    assert told.startswith(f"no result for {read!r}, the nearest is {measured} of another folder")


@pytest.mark.parametrize("read", ["mon/IMG_1.jpg", "IMG_1.jpg", "Mon\\img_1.JPG"])
@pytest.mark.parametrize(
    "measured",
    [
        "IMG_1.jpg",
        "./mon/IMG_1.jpg",
        "../mon/IMG_1.jpg",
        "photos/mon/IMG_1.jpg",
        "/home/lab/photos/mon/IMG_1.jpg",
        "D:\\photos\\mon\\IMG_1.jpg",
        "Z:\\IMG_1.jpg",
    ],
)
def test_a_photo_measured_from_another_place_is_the_same(read, measured):
    assert Results([result(measured)]).find(read).photo == measured
    assert Results([result(read)]).find(measured).photo == read


def test_the_hash_of_a_file_decides():
    results = Results(
        [
            result("mon/IMG_1.jpg", 4.1, sha256="aa"),
            result("tue/IMG_1.jpg", 4.2, sha256="bb"),
            result("old.jpg", 4.3),
        ]
    )
    assert results.find("mon/renamed.jpg", "bb").d1_mm == 4.2
    assert results.find("mon/IMG_1.jpg", "bb").d1_mm == 4.2
    assert "another sha256; measure this one" in results.find("mon/IMG_1.jpg", "cc")
    assert results.find("old.jpg", "cc").d1_mm == 4.3  # its hash is not known


def test_of_several_indents_in_one_file_the_number_decides():
    two = [result(f"plate.jpg #{k}", 4.0 + k / 10, sha256="aa") for k in (1, 2)]
    results = Results(two)
    assert results.find("moved.jpg #2", "aa").d1_mm == 4.2
    assert "plate.jpg #1, plate.jpg #2: write the number too" in results.find("moved.jpg", "aa")
    assert "no result for #3 of 'moved.jpg #3'" in results.find("moved.jpg #3", "aa")


def test_many_photos_of_one_name_are_told_in_short():
    told = Results([result(f"{k}/1.jpg") for k in range(9)]).find("1.jpg")
    assert "0/1.jpg, 1/1.jpg, 2/1.jpg and 6 more: write the folder" in told


def test_measured_again_counts_as_measured_last_and_refusals_are_handed_on():
    results = Results([result("1.jpg", 4.1), result("1.jpg", 4.2), result("2.jpg", refused="dark")])
    assert results.find("1.jpg").d1_mm == 4.2
    assert "refused: dark" in results.find("2.jpg")
