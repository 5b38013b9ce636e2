"""The page in a real browser: the whole way from the stage micrometer to the signed report.

Needs Chromium and the package playwright; run with ``-m browser``. The rules for accessibility come
from axe-core when RIMREAD_AXE names its axe.min.js. RIMREAD_SHOTS names a folder for screenshots.
"""

import csv
import math
import os
import re
import shutil
from pathlib import Path

import pytest
from tests.bench.conftest import ROOT, make_ready

from rimread.bench.ask import Ask
from rimread.ledger import audit

try:
    from playwright import sync_api
except ModuleNotFoundError:
    sync_api = None

pytestmark = pytest.mark.browser

MUST = bool(os.environ.get("RIMREAD_MUST_BROWSE"))  # set where a skip would hide a missing browser
ARGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
CERTIFICATE = {"nominal_mm": "10", "certified_mm": "9.9975024", "certificate_U_mm": "0.0009998"}


def missing(what: str) -> None:
    if MUST:
        pytest.fail(what)
    pytest.skip(what)


@pytest.fixture(scope="module")
def chromium():
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    if program is None:
        missing("no chromium on this machine")
    if sync_api is None:
        missing("playwright is not installed")
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=list(ARGS))
        yield browser
        browser.close()


@pytest.fixture
def page(chromium):
    context = chromium.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.set_default_timeout(20_000)
    faults: list[str] = []
    asked: set[str] = set()
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on(
        "console",
        lambda line: faults.append(line.text) if "Content Security" in line.text else None,
    )
    page.on("request", lambda request: asked.add(request.url.split("/")[2]))
    yield page
    assert not faults
    assert all(name.startswith("127.0.0.1") or name == "" for name in asked), "works offline"
    context.close()


def picture_of(page, name: str) -> None:
    folder = os.environ.get("RIMREAD_SHOTS")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)


def truth() -> dict[str, float]:
    with (ROOT / "sample_images/truth.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["d1_mm"]]
    return {row["photo"]: (float(row["d1_mm"]) + float(row["d2_mm"])) / 2 for row in rows}


def say_who(page) -> None:
    page.get_by_role("button", name="Job").click()
    page.get_by_label("Who tests").fill("Ada Quill")
    page.get_by_label("Part", exact=True).fill("plate 17")
    page.get_by_label("Heat or lot").fill("H-204")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.get_by_text("Kept.").wait_for()


def make_scale(page, tape) -> None:
    page.get_by_role("button", name="Scale", exact=True).click()
    for chapter in ("along", "across"):
        tape.turn_to(chapter)
        page.wait_for_timeout(600)
        page.locator(f"[data-stage={chapter}]").click()
        page.locator(f"#slot-{chapter}", has_text=".png").wait_for()
    page.get_by_label("Name of camera and objective").fill("hall scope")
    for field, value in CERTIFICATE.items():
        page.locator(f"#{field}").fill(value)
    page.get_by_role("button", name="Make the scale").click()
    page.locator("#px-per-mm").wait_for()


def snap(page, tape, chapter: str) -> None:
    tape.turn_to(chapter)
    page.get_by_role("button", name="Indents").click()
    page.wait_for_timeout(800)
    page.keyboard.press("Space")
    page.locator("#at-result, #at-blind").filter(visible=True).first.wait_for()


def counted(page, number: int) -> None:
    page.locator("#series-lines tbody tr").nth(number - 1).wait_for()


def test_from_calibration_to_the_report(page, bench):
    page.goto(bench.url)
    say_who(page)
    make_scale(page, bench.tape)
    picture_of(page, "scale")
    per_mm = float(page.locator("#px-per-mm").inner_text().split()[0])
    assert per_mm == pytest.approx(118.2, rel=2e-4)  # truth of the renderings' hall scope
    see_it_live(page, bench)
    read_blind(page, bench)
    accept_zoomed(page, bench)
    correct_the_rim(page, bench)
    meet_a_refusal(page, bench)
    reject(page, bench)
    assert "mean of 3" in page.locator("#series-sum").inner_text()
    assert page.locator("#spread").inner_text().startswith("s = ")
    assert "±" not in page.locator("#mean").inner_text()
    assert "scatter of the piece" in page.locator("#mean-U").inner_text()
    picture_of(page, "series")
    write_the_report(page)
    the_record_holds(bench)


def see_it_live(page, bench) -> None:
    page.get_by_role("button", name="Indents").click()
    bench.tape.turn_to("plate-2")
    page.locator("#hints li", has_text="The rim is found").wait_for()
    picture_of(page, "live")


def read_blind(page, bench) -> None:
    page.get_by_label("I read by eye first").check()
    snap(page, bench.tape, "plate-2")
    assert not page.locator("#hbw").is_visible(), "no number before the person's own"
    assert not {"hbw", "outline_px", "d1_mm"} & set(bench.desk.told()["pending"])
    page.locator("#first_mm").fill("4,42")
    page.locator("#second_mm").fill("4.41")
    page.get_by_role("button", name="Show the result").click()
    page.locator("#eye").wait_for()
    picture_of(page, "blind")
    page.keyboard.press("a")
    counted(page, 1)
    page.get_by_label("I read by eye first").uncheck()


def accept_zoomed(page, bench) -> None:
    snap(page, bench.tape, "plate-3")
    page.locator("#show-points").check()
    page.locator("#canvas").focus()
    for key in ("+", "+", "+", "ArrowRight"):
        page.keyboard.press(key)
    page.locator("#budget summary").click()
    picture_of(page, "result-zoomed")
    page.get_by_role("button", name="Accept").click()
    counted(page, 2)


def correct_the_rim(page, bench) -> None:
    snap(page, bench.tape, "plate-4")
    before = float(page.locator("#hbw").inner_text().split()[0])
    page.keyboard.press("c")
    page.locator("#tried-hbw").wait_for()
    drag_an_end_outwards(page)
    softer = page.locator("#tried-hbw").filter(has_not_text=f"{before:g} HBW")
    softer.wait_for()
    assert float(softer.inner_text().split()[0]) < before
    page.get_by_label("Why is the program's rim wrong?").fill("rim lies further out")
    picture_of(page, "correct")
    page.get_by_role("button", name="Record the correction").click()
    counted(page, 3)
    assert "rim set by hand" in page.locator("#series-lines tbody tr").nth(2).inner_text()


def meet_a_refusal(page, bench) -> None:
    snap(page, bench.tape, "double")
    page.locator("#refusal", has_text="overlap").wait_for()
    assert not page.get_by_role("button", name="Accept").is_visible()
    picture_of(page, "refused")
    page.keyboard.press("Escape")
    counted(page, 4)


def reject(page, bench) -> None:
    snap(page, bench.tape, "plate-2")
    page.keyboard.press("r")
    page.get_by_label("Why does this picture not count?").fill("dirt on the rim")
    page.get_by_role("button", name="Reject", exact=True).click()
    counted(page, 5)


def write_the_report(page) -> None:
    page.get_by_role("button", name="Write the report").click()
    page.locator("#reports a").first.wait_for()
    links = {link.inner_text(): link.get_attribute("href") for link in page.locator("a").all()}
    html, pdf = (
        page.request.get(f"{page.url.rstrip('/')}{href}")
        for end in (".html", ".pdf")
        for name, href in links.items()
        if name.endswith(end)
    )
    assert pdf.body().startswith(b"%PDF")
    assert "plate 17" in html.text()
    assert "Ada Quill" in html.text()


def drag_an_end_outwards(page) -> None:
    keys = ("x_px", "y_px", "long_px", "turn_deg")
    x, y, long, turn = (float(page.locator(f"#{key}").input_value()) for key in keys)
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    page.mouse.move(*on_screen(page, x + long / 2 * c, y + long / 2 * s))
    page.mouse.down()
    page.mouse.move(*on_screen(page, x + (long / 2 + 6) * c, y + (long / 2 + 6) * s), steps=3)
    page.mouse.up()


def the_record_holds(bench) -> None:
    """What the ledger says after the whole way."""
    entries = list(bench.desk.ledger.entries())
    assert [e.draft.kind for e in entries] == [
        *("image", "hand"),  # blind reading beside the image's
        "image",
        *("image", "hand"),  # correction
        "image",  # refused
        *("image", "withdrawal"),  # rejected
    ]
    blind, image, hand = entries[1], entries[3], entries[4]
    assert (blind.record["d1_mm"], blind.record["d2_mm"]) == (4.42, 4.41)
    assert hand.draft.replaces == image.number
    assert hand.draft.reason == "rim lies further out"
    assert hand.record["correction"]["image"]["hbw"] == image.record["hbw"]
    assert hand.record["mean_mm"] > image.record["mean_mm"]
    assert entries[7].draft.reason == "dirt on the rim"
    assert not list(audit(bench.desk.ledger))
    for entry, photo in ((entries[0], "hall-plate-2.jpg"), (entries[2], "hall-plate-3.jpg")):
        off = abs(entry.record["mean_mm"] - truth()[photo])
        assert off <= entry.record["U_mean_mm"], photo  # truth of the renderings
    assert {e.record["series"]["part"] for e in entries if "series" in e.record} == {"plate 17"}


def test_marked_points(page, bench):
    make_ready(bench)
    page.goto(bench.url)
    snap(page, bench.tape, "plate-3")
    outline = bench.desk.told()["pending"]["outline_px"]
    page.keyboard.press("c")
    page.locator("#tried-hbw").wait_for()
    page.keyboard.press("ArrowDown")  # from one radio button to the next
    page.get_by_text("0 points so far.").wait_for()
    page.locator("#add-mark").press("Enter")  # without a mouse: the middle of the view
    page.get_by_text("1 points so far.").wait_for()
    page.locator("#drop-mark").press("Enter")
    for x, y in outline[:-1:45]:
        page.mouse.click(*on_screen(page, x, y))
    page.locator("#tried dl").wait_for()
    picture_of(page, "marks")
    page.locator("#correct-reason").fill("marked by hand")
    page.locator("#correct-reason").press("Enter")
    counted(page, 1)
    hand = list(bench.desk.ledger.entries())[-1]
    assert hand.record["correction"]["how"] == "marked"
    assert len(hand.record["correction"]["marks_px"]) == 8
    image = hand.record["correction"]["image"]
    assert abs(hand.record["mean_mm"] - image["mean_mm"]) < hand.record["U_mean_mm"]


def on_screen(page, x: float, y: float) -> tuple[float, float]:
    """Where a point of the photo lies while the whole photo is shown."""
    box = page.locator("#canvas").bounding_box()
    zoom = min(box["width"] / 1024, box["height"] / 768)
    left = box["x"] + (box["width"] - 1024 * zoom) / 2
    top = box["y"] + (box["height"] - 768 * zoom) / 2
    return left + (x + 0.5) * zoom, top + (y + 0.5) * zoom


def test_a_page_that_comes_second_says_so_and_shows_the_desk(page, bench):
    """The picture was decided on in another tab while this one was still showing it."""
    make_ready(bench)
    page.goto(bench.url)
    snap(page, bench.tape, "plate-2")
    bench.desk.accept(bench.desk.pending.id)
    page.get_by_role("button", name="Reject").click()
    page.locator("#reject-reason").fill("wrong piece")
    page.keyboard.press("Enter")
    page.locator("#alarm", has_text="was already accepted (entry 1)").wait_for()
    page.get_by_role("button", name="Withdraw indent 1").wait_for()
    assert not page.locator("#at-result").is_visible()


def test_block_check_from_the_page(page, bench):
    make_ready(bench)
    page.goto(bench.url)
    page.get_by_role("button", name="Reference block").click()
    page.get_by_text("Enter a block's certificate").click()
    for field, value in {"serial": "QB-1", "certified_hbw": "186", "U_hbw": "2.0"}.items():
        page.locator(f"#{field}").fill(value)
    page.get_by_role("button", name="Keep the certificate").click()
    page.get_by_role("button", name="Begin a check on this block").click()
    for number in range(1, 4):
        snap(page, bench.tape, "plate-2")
        page.keyboard.press("a")
        counted(page, number)
    page.get_by_role("button", name="Reference block").click()
    page.locator("#block-status", has_text="Passed").wait_for()
    picture_of(page, "block")
    page.get_by_role("button", name="End the check").click()
    page.get_by_text("The check on block QB-1 passed; the daily log has it.").wait_for()
    page.get_by_text("A new series on a part has begun.").wait_for()
    assert page.get_by_role("button", name="New series on a part").is_visible()
    assert not page.locator("#check-failed").count()
    log = (bench.folder / "daily-checks.csv").read_text(encoding="utf-8")
    assert re.search(r"QB-1,10/3000,Ada Quill,3,", log)


def test_a_failed_check_is_seen_where_the_person_works(page, bench):
    """With a certificate that has run out, and of another hardness."""
    make_ready(bench)
    page.goto(bench.url)
    page.get_by_role("button", name="Reference block").click()
    page.get_by_text("Enter a block's certificate").click()
    words = {"serial": "QB-2", "certified_hbw": "300", "U_hbw": "3", "valid_until": "2020-01-31"}
    for field, value in words.items():
        page.locator(f"#{field}").fill(value)
    page.get_by_role("button", name="Keep the certificate").click()
    page.locator("#alarm", has_text="The certificate is kept. The certificate of block").wait_for()
    page.get_by_role("button", name="Begin a check on this block").click()
    page.locator("#alarm", has_text="block QB-2 ran out on 2020-01-31").wait_for()
    page.locator("#check-now", has_text="certified 300 HBW 10/3000").wait_for()
    snap(page, bench.tape, "plate-2")
    page.keyboard.press("a")
    counted(page, 1)
    for place in ("#check-verdict", "#series-verdict"):
        assert page.locator(place).inner_text() == "Failed"
    assert "error −" in page.locator("#check-now").inner_text().replace("-", "−")
    picture_of(page, "block-failed")
    page.get_by_role("button", name="Write the report").click()
    page.locator("#alarm", has_text="a block check is under way").wait_for()
    page.get_by_role("button", name="End the check").click()
    page.locator("#alarm", has_text="The check on block QB-2 failed").wait_for()
    assert "block QB-2" in page.locator("#check-failed").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1440, 820])
def test_accessible_in_every_state(chromium, bench, scheme, width):
    axe = os.environ.get("RIMREAD_AXE")
    if not axe or not Path(axe).is_file():
        missing("RIMREAD_AXE names no axe.min.js (npm install axe-core)")
    source = Path(axe).read_text(encoding="utf-8")
    make_ready(bench)
    context = chromium.new_context(
        viewport={"width": width, "height": 1100}, color_scheme=scheme, has_touch=width < 1000
    )
    page = context.new_page()
    page.goto(bench.url)

    def judge(where: str) -> None:
        page.wait_for_timeout(300)
        picture_of(page, f"{where}-{scheme}-{width}")
        page.evaluate(source)
        found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
        told = [(v["id"], [n["html"] for n in v["nodes"]]) for v in found["violations"]]
        assert not told, where
        across = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert across <= 0, f"{where}: wider than the screen"

    page.locator("#hints li").first.wait_for()
    judge("live")
    for name in ("Scale", "Reference block", "Job"):
        page.get_by_role("button", name=name, exact=True).click()
        judge(name)
    snap(page, bench.tape, "plate-2")
    page.locator("#budget summary").click()
    judge("result")
    page.keyboard.press("c")
    page.locator("#tried-hbw").wait_for()
    judge("correct")
    page.keyboard.press("Escape")
    page.keyboard.press("r")
    judge("reject")
    page.keyboard.press("Escape")
    page.keyboard.press("a")
    counted(page, 1)
    judge("series")
    fail_a_check(page, bench)
    judge("block-failed")
    page.get_by_role("button", name="End the check").click()
    page.locator("#check-failed").wait_for()
    judge("after-a-failed-check")
    context.close()


def fail_a_check(page, bench) -> None:
    words = {"serial": "QB-2", "certified_hbw": 300, "U_hbw": 3, "test": "10/3000"}
    bench.desk.add_block(Ask({**words, "valid_until": "2020-01-31"}))
    page.reload()
    page.get_by_role("button", name="Reference block").click()
    page.get_by_role("button", name="Begin a check on this block").click()
    page.locator("#check-now").wait_for()
    snap(page, bench.tape, "plate-2")
    page.keyboard.press("a")
    page.locator("#series-verdict").wait_for()
