"""Who may talk to the bench, and what it takes from them."""

import asyncio
import contextlib
import json
import shutil
import sqlite3
import threading
import time
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPConnection

import pytest
from PIL import Image
from tests.bench.conftest import ROOT, make_ready, running
from typer.testing import CliRunner

from rimread.bench import record as records
from rimread.bench import serve
from rimread.bench.app import bench_app
from rimread.bench.desk import Desk
from rimread.cli import app

EVERYWHERE = "0.0.0.0"  # noqa: S104  (refused, or with a token)
PHOTO = ROOT / "sample_images/hall-plate-2.jpg"
DECIDING = ("accept", "reject")


@pytest.fixture(scope="module")
def quiet(tmp_path_factory):
    """One bench for all tests that leave it as it was."""
    with running(tmp_path_factory.mktemp("quiet") / "bench", None) as bench:
        yield bench


@pytest.fixture(scope="module")
def named(tmp_path_factory):
    """The same, ready to measure."""
    with running(tmp_path_factory.mktemp("named") / "bench", None) as bench:
        make_ready(bench)
        yield bench


def ask(bench, path, body=None, *, method=None, **headers):
    """One request as any program could send it; underscores in names stand for hyphens."""
    host, port = bench.host.split(":")
    connection = HTTPConnection(host, int(port), timeout=30)
    sent = {"Host": bench.host}
    if body is not None:
        sent |= {"Origin": bench.url.rstrip("/"), "Content-Type": "application/json"}
        body = body if isinstance(body, bytes) else json.dumps(body).encode()
    sent |= {name.replace("_", "-"): value for name, value in headers.items()}
    sent = {name: value for name, value in sent.items() if value is not None}
    connection.request(method or ("GET" if body is None else "POST"), path, body, sent)
    answer = connection.getresponse()
    data = answer.read()
    connection.close()
    return answer.status, data, answer.headers


def test_the_page_and_its_parts_are_served(quiet):
    for path in ("/", "/bench.css", "/bench.js", "/viewer.js", "/api/desk", "/api/live"):
        status, data, headers = ask(quiet, path)
        assert (status, bool(data)) == (200, True), path
        assert "default-src 'none'" in headers["Content-Security-Policy"]
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Cache-Control"] == "no-store"


def test_the_page_asks_for_nothing_from_elsewhere():
    folder = ROOT / "src/rimread/bench/page"
    for file in folder.iterdir():
        text = file.read_text(encoding="utf-8")
        assert "://" not in text, file.name
        assert "innerHTML" not in text, "text only ever becomes text"
        assert "eval(" not in text


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1:1", "", "localhost.evil"]
)
def test_a_name_that_was_made_to_point_here_gets_nothing(quiet, host):
    status, data, _ = ask(quiet, "/api/desk", Host=host)
    assert status in {400, 421}  # the HTTP library itself turns an empty one away
    assert b"operator" not in data


def test_localhost_is_the_same_computer(quiet):
    port = quiet.host.split(":")[1]
    assert ask(quiet, "/api/desk", Host=f"localhost:{port}")[0] == 200


@pytest.mark.parametrize(
    "origin", [None, "null", "http://evil.example", "https://127.0.0.1", "file://", "http://[bad"]
)
def test_another_page_cannot_do_anything(quiet, origin):
    status, _, _ = ask(quiet, "/api/job", {"operator": "Mallory"}, Origin=origin)
    assert status == 403
    assert quiet.desk.told()["job"]["operator"] == ""


def test_another_page_cannot_read_anything(quiet):
    assert ask(quiet, "/api/desk", Sec_Fetch_Site="cross-site")[0] == 403
    assert ask(quiet, "/api/desk", Sec_Fetch_Site="same-site")[0] == 403
    _, _, headers = ask(quiet, "/api/desk", Origin="http://evil.example")
    assert headers["Access-Control-Allow-Origin"] is None
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"


def test_a_form_of_another_page_is_no_question(quiet):
    kind = "application/x-www-form-urlencoded"
    assert ask(quiet, "/api/job", b"operator=x", Content_Type=kind)[0] == 415
    assert ask(quiet, "/api/open", PHOTO.read_bytes(), Content_Type="image/jpeg")[0] == 415


# -- token ----------------------------------------------------------------------------------------


def test_loopback_needs_no_token_and_others_get_one():
    assert serve.address_for("127.0.0.1", 0).token == ""
    assert serve.address_for("::1", 0).token == ""
    assert serve.address_for("localhost", 0).token == ""
    assert len(serve.address_for(EVERYWHERE, 0, names=("bench.lan",)).token) >= 32
    first, second = (serve.address_for("127.0.0.1", 0, token=True).token for _ in range(2))
    assert first != second


def test_all_addresses_need_a_name():
    with pytest.raises(ValueError, match="--name"):
        serve.address_for(EVERYWHERE, 0)
    address = serve.address_for(EVERYWHERE, 0, names=("bench.lan",))
    assert "bench.lan:8506" in address.hosts(8506)
    assert "localhost:8506" not in address.hosts(8506)
    assert address.url(8506).startswith("http://bench.lan:8506/?token=")


@pytest.mark.parametrize(("host", "port"), [("no such host.", 0), ("127.0.0.1", 70000)])
def test_an_address_that_is_none_is_said(host, port):
    with pytest.raises(ValueError, match=r"address|port"):
        serve.address_for(host, port)


def test_where_the_port_is_taken_nothing_is_made(tmp_path):
    with serve.bound(serve.address_for("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        words = ["bench", "--data", str(tmp_path / "room"), "--port", port, "--no-show"]
        done = CliRunner().invoke(app, words)
    assert done.exit_code == 2
    assert "another program has it" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_token_opens_the_page_and_nothing_else_does(tmp_path):
    with running(tmp_path, None, token=True) as bench:
        for path in (
            "/",
            "/api/desk",
            "/bench.js",
            "/?token=wrong",
            "/api/desk?token=" + bench.token,
        ):
            assert ask(bench, path)[0] == 401, path
        assert ask(bench, "/api/job", {"operator": "x"})[0] == 401
        status, _, headers = ask(bench, f"/?token={bench.token}")
        assert (status, headers["Location"]) == (303, "/")
        cookie = headers["Set-Cookie"]
        assert "HttpOnly" in cookie
        assert "samesite=strict" in cookie.lower()
        known = cookie.split(";")[0]
        assert ask(bench, "/api/desk", Cookie=known)[0] == 200
        assert ask(bench, "/api/desk", Cookie=known[:-1])[0] == 401
        assert ask(bench, "/api/job", {"operator": "Ada"}, Cookie=known)[0] == 200
        assert ask(bench, "/api/job", {}, Cookie=known, Origin="http://evil.example")[0] == 403


# -- what comes in --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        *("/../pyproject.toml", "/..%2f..%2fpyproject.toml", "/%2e%2e/ledger.db", "/ledger.db"),
        *("/page/index.html", "/picture/../ledger.db", "/picture/..%2f..%2fledger.db.png"),
        *(
            "/report/../ledger.db",
            "/report/..%2fledger.db",
            "/report/%2fetc%2fpasswd",
            "//etc/passwd",
        ),
        *("/report/bench.json", "/report/..\\ledger.db", "/report/.html"),
    ],
)
def test_no_path_leads_out_of_what_is_meant(quiet, path):
    (quiet.folder / "reports" / "notes.txt").write_text("x", encoding="utf-8")
    status, data, _ = ask(quiet, path)
    assert status == 404
    assert b"SQLite" not in data


def test_reports_are_served_by_their_plain_name_only(quiet):
    (quiet.folder / "reports" / "report-1.html").write_text("<p>fine", encoding="utf-8")
    (quiet.folder / "reports" / "notes.txt").write_text("x", encoding="utf-8")
    status, _, headers = ask(quiet, "/report/report-1.html")
    assert status == 200
    assert "script-src" not in headers["Content-Security-Policy"]
    assert ask(quiet, "/report/notes.txt")[0] == 404


def test_reports_that_were_taken_away_are_said(ready):
    ready.desk.upload(PHOTO.read_bytes(), "2")
    ready.desk.accept(ready.desk.pending.id)
    name = ready.desk.report()["files"][0]
    shutil.rmtree(ready.folder / "reports")
    status, data, _ = ask(ready, f"/report/{name}")
    assert status == 404
    assert "write it again from the page" in json.loads(data)["error"]
    assert ask(ready, "/api/report", {})[0] == 200
    assert ask(ready, f"/report/{name}")[0] == 200


@pytest.mark.parametrize("body", [b"", b"[]", b"1", b"{", b"\xff", b'{"a":' * 5000, b"null"])
def test_what_is_no_object_is_said(quiet, body):
    status, data, _ = ask(quiet, "/api/job", body)
    assert status == 400
    assert "object" in json.loads(data)["error"]


def test_a_ledger_that_cannot_be_read_is_said(tmp_path):
    with running(tmp_path / "bench", None) as bench:
        with contextlib.closing(sqlite3.connect(bench.folder / "ledger.db")) as database:
            database.execute("DROP TABLE ledger_entries")
        status, data, _ = ask(bench, "/api/desk")
    assert status == 500
    assert "no such table" in json.loads(data)["error"]


def test_too_many_words_are_not_taken(quiet):
    assert ask(quiet, "/api/job", {"operator": "x" * 70_000})[0] == 413


def test_uploads_are_limited_in_size(tmp_path):
    with running(tmp_path / "bench", None, most_upload_bytes=50_000) as bench:
        binary = {"Content_Type": "application/octet-stream"}
        assert ask(bench, "/api/open", PHOTO.read_bytes(), **binary)[0] == 413
        said_small = {**binary, "Content_Length": "50"}
        assert ask(bench, "/api/open", b"\xff\xd8\xff" + b"0" * 47, **said_small)[0] == 400
        assert sent_before_it_hangs_up(bench) < 50_000_000
        assert not [path for path in (bench.folder / "photos").rglob("*") if path.is_file()]


@pytest.mark.parametrize(
    ("path", "kind"), [("/api/open", "octet-stream"), ("/api/job", "json")], ids=["file", "words"]
)
def test_an_upload_that_is_cut_off_ends_in_quiet(named, path, kind):
    """Without an error that would print a traceback in the bench's terminal."""
    sent, parts = [], iter([{"type": "http.request", "body": b"\xff\xd8", "more_body": True}])

    async def said(message):
        sent.append(message)

    async def heard():
        return next(parts, {"type": "http.disconnect"})

    scope = {"type": "http", "method": "POST", "path": path, "query_string": b"", "root_path": ""}
    scope["headers"] = [(b"content-type", f"application/{kind}".encode())]
    asyncio.run(bench_app(named.desk, None)(scope, heard, said))
    assert sent[0]["status"] == 400
    assert named.desk.pending is None


def test_who_decides_second_is_told_and_sees_the_desk(ready):
    """Two pages with one picture: both want it, at once; one gets it."""
    for number in (2, 3):
        ready.desk.upload((PHOTO.parent / f"hall-plate-{number}.jpg").read_bytes(), "x")
        name = ready.desk.pending.id
        acts = [(f"/api/picture/{name}/{act}", {"reason": "wrong piece"}) for act in DECIDING * 3]
        with ThreadPoolExecutor(len(acts)) as pool:
            answers = list(pool.map(lambda act: (act[0][-6:], *ask(ready, *act)[:2]), acts))
        done = {act for act, status, _ in answers if status == 200}
        assert len(done) == 1, "the same one again is a request that came twice"
        assert {status for act, status, _ in answers if act not in done} == {409}
        data = next(data for _, status, data in answers if status == 409)
        told = json.loads(data)
        assert "was already" in told["error"]
        assert told["desk"]["pending"] is None
        line = told["desk"]["series"]["lines"][-1]
        assert line["counts"] == (done == {"accept"})
        assert done == {"accept"} or line["reason"] == "wrong piece"


def test_a_refusal_that_cannot_be_written_is_an_error_until_it_can(ready, monkeypatch):
    def full(*_words, **_more):
        raise OSError(28, "No space left on device")

    kind = "application/octet-stream"
    double = (PHOTO.parent / "hall-double.jpg").read_bytes()
    monkeypatch.setattr(records, "write_image", full)
    status, data, _ = ask(ready, "/api/open", double, Content_Type=kind)
    assert (status, "nothing was written" in json.loads(data)["error"]) == (500, True)
    assert json.loads(ask(ready, "/api/desk")[1])["pending"] is None
    monkeypatch.undo()
    status, data, _ = ask(ready, "/api/open", double, Content_Type=kind)
    desk = json.loads(data)["desk"]
    assert [line["decision"] for line in desk["series"]["lines"]] == ["refused"]
    assert ask(ready, f"/api/picture/{desk['pending']['id']}/dismiss", {})[0] == 200


def test_a_large_picture_is_taken():
    """20 megapixels, three channels, two bytes, as the bench's limit says."""
    assert serve.MOST_UPLOAD_BYTES > 20_000_000 * 3 * 2


def test_a_picture_that_waits_for_the_desk_holds_up_nobody(quiet, monkeypatch):
    """While one is taken and measured the desk is not to be had."""
    taken, done = threading.Event(), threading.Event()

    def shot(_desk, _name):
        taken.set()
        done.wait(20.0)

    monkeypatch.setattr(Desk, "shot", shot)
    asking = threading.Thread(target=ask, args=(quiet, "/picture/x.png"))
    asking.start()
    try:
        assert taken.wait(10.0)
        begun = time.monotonic()
        assert ask(quiet, "/")[0] == 200
        assert time.monotonic() - begun < 10.0
    finally:
        done.set()
        asking.join()


def sent_before_it_hangs_up(bench) -> int:
    """Bytes of a body without end, in chunks that tell no length, that the bench swallows."""
    host, port = bench.host.split(":")
    connection = HTTPConnection(host, int(port), timeout=30)
    connection.putrequest("POST", "/api/open")
    connection.putheader("Origin", bench.url.rstrip("/"))
    connection.putheader("Content-Type", "application/octet-stream")
    connection.putheader("Transfer-Encoding", "chunked")
    connection.endheaders()
    chunk = b"%x\r\n%s\r\n" % (1_000_000, b"\0" * 1_000_000)
    sent = 0
    with contextlib.suppress(OSError):
        while sent < 100_000_000:
            connection.send(chunk)
            sent += 1_000_000
    connection.close()
    return sent


@pytest.mark.parametrize(
    "data",
    [
        *(b"", b"GIF89a", b"%PDF-1.7", b"<svg onload=alert(1)>", b"MZ" + b"\x00" * 500),
        *(
            b"\xff\xd8\xff" + b"\x00" * 2000,
            PHOTO.read_bytes()[:5000],
            b"\x89PNG\r\n\x1a\n" + b"1" * 99,
        ),
    ],
)
def test_what_is_no_picture_is_not_kept(named, data):
    kind = "application/octet-stream"
    status, said, _ = ask(named, "/api/open", data, Content_Type=kind, X_Name="a.jpg")
    assert status == 400
    sentence = json.loads(said)["error"]
    assert str(named.folder) not in sentence
    assert not [path for path in (named.folder / "photos").rglob("*") if path.is_file()]


@pytest.mark.parametrize("name", ["../../etc/cron.d/x", "..\\..\\x.exe", "<b>x</b>", "%00", "/abs"])
def test_the_name_of_an_upload_is_a_label_only(ready, name):
    kind = "application/octet-stream"
    status, data, _ = ask(
        ready, "/api/open", PHOTO.read_bytes(), Content_Type=kind, X_Name=urllib.request.quote(name)
    )
    assert status == 200
    pending = json.loads(data)["desk"]["pending"]
    assert pending["label"].strip("\0") in {name, ""} or pending["label"] == "\0"
    (kept,) = ready.folder.rglob("*.jpg")
    assert kept.parent.parent == ready.folder / "photos"
    assert kept.name.endswith(".jpg")
    assert kept.read_bytes() == PHOTO.read_bytes()


def test_metadata_is_never_acted_on(ready, tmp_path):
    """A photo whose tags hold markup and a path: what comes back is plain text."""
    nasty = tmp_path / "n.jpg"
    with Image.open(PHOTO) as image:
        exif = Image.Exif()
        exif[0x010F] = "<script>alert(1)</script>"
        exif[0x010E] = "=cmd|'/c calc'!A1"
        image.save(nasty, exif=exif, quality=95)
    kind = "application/octet-stream"
    status, data, _ = ask(ready, "/api/open", nasty.read_bytes(), Content_Type=kind, X_Name="n.jpg")
    assert status == 200
    assert b"script" not in data
    assert b"calc" not in data
    name = json.loads(data)["desk"]["pending"]["id"]
    _, png, _ = ask(ready, f"/picture/{name}.png")
    assert b"script" not in png
