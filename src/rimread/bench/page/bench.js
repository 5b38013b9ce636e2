// The bench: what is on the table, what a person can do next.

import { Told, get, post, send } from "./ask.js";
import { Live } from "./live.js";
import { Rim } from "./rim.js";
import * as show from "./show.js";
import { INK, Viewer, dots, letters, path } from "./viewer.js";

const $ = (id) => document.getElementById(id);
const value = (id) => $(id).value.trim();
const picture = () => `/api/picture/${state.desk.pending.id}`;

const state = { desk: null, view: "test", mode: "live", outline: null, pictured: null, busy: false, rim: null };
const viewer = new Viewer($("canvas"));
const live = new Live({
  purpose: () => (state.view === "scale" ? "stage" : "indent"),
  shown(bitmap) {
    if (state.mode !== "live") { bitmap.close(); return; }
    const [w, h] = state.full ?? [bitmap.width, bitmap.height];
    viewer.show(bitmap, w, h);
  },
  told(words) {
    if (words.width_px) state.full = [words.width_px, words.height_px];
    state.outline = words.outline_px;
    $("badge").textContent = words.trouble || "Live";
    show.hints($("hints"), words.hints);
    describe();
    viewer.paint();
  },
});

// -- words for everyone: shown large, spoken by screen readers

function say(text) { $("alarm").textContent = ""; $("say").textContent = text; }
function alarm(text) { $("say").textContent = ""; $("alarm").textContent = text; $("desk").scrollIntoView({ block: "nearest" }); }

function failed(error) {
  alarm("The page failed and does not show what it should. Nothing written is lost: reload it.");
  return error;
}

async function act(work, done = "") {
  if (state.busy) return null;
  state.busy = true;
  document.body.setAttribute("aria-busy", "true");
  for (const button of document.querySelectorAll("button.main")) button.disabled = true;
  try {
    const told = await work();
    if (told?.desk) take(told.desk);
    const words = typeof done === "function" ? done(told) : done;
    const warning = told?.result?.warning;
    if (warning) alarm(`${words} ${warning}`); else say(words);
    return told;
  } catch (error) {
    if (!(error instanceof Told)) throw failed(error);
    if (error.desk) take(error.desk);
    alarm(error.message);
    return null;
  } finally {
    state.busy = false;
    document.body.removeAttribute("aria-busy");
    for (const button of document.querySelectorAll("button.main")) button.disabled = false;
  }
}

// -- the state of the desk

function take(desk) {
  const before = state.desk?.pending?.id;
  state.desk = { ...state.desk, ...desk };
  const pending = state.desk.pending;
  if (pending?.id !== before || !pending) leaveForms();
  if (!pending) { if (state.mode !== "live") goLive(); } else if (pending.id !== state.pictured) showPicture();
  paintDesk();
}

function paintDesk() {
  const { desk } = state;
  const pending = desk.pending;
  const stage = { live: !pending, blind: pending?.blind_due, result: pending && !pending.blind_due && state.mode !== "correct", correct: state.mode === "correct" };
  for (const [name, on] of Object.entries(stage)) $(`at-${name}`).hidden = !on;
  const scale = desk.scales.find((one) => one.sha256 === desk.job.scale);
  $("facts").textContent = [
    scale ? `Scale: ${scale.label}${scale.in_date ? "" : " (out of date)"}` : "No scale yet",
    desk.series.test, desk.job.operator || "nobody named yet", desk.job.part,
  ].filter(Boolean).join(" · ");
  const lacking = [!desk.job.operator && "say under Job who tests", !scale && "make or choose a scale"].filter(Boolean);
  $("need").textContent = lacking.length ? `Before the first picture: ${lacking.join(" and ")}.` : "";
  $("snap").disabled = false;
  $("snap").hidden = !desk.camera;
  paintSeries();
  paintScale();
  fill(desk);
  if (stage.result) paintResult(pending);
  describe();
  viewer.paint();
}

function paintSeries() {
  const { series, verification, check_failed } = state.desk;
  const block = series.purpose === "block";
  $("series-sum").replaceChildren(...show.seriesSum(series, verification, check_failed));
  $("check-now").replaceChildren(...show.checkNow(verification));
  const lines = show.seriesLines(series, askWithdraw);
  $("series-lines").replaceChildren(...(lines ? [lines] : []));
  $("series-title").textContent = block ? "Check on a reference block" : "Series";
  $("new-series").textContent = block ? "End the check" : "New series on a part";
  $("verification").replaceChildren(...show.verification(verification));
}

function paintScale() {
  for (const slot of ["along", "across"]) $(`slot-${slot}`).textContent = state.desk.stage[slot] ?? "no picture yet";
}

function fill({ job, scales, blocks, tests }) {
  if (!$("job-form").contains(document.activeElement)) {
    for (const key of ["operator", "part", "heat", "location", "test", "rules"]) $(key).value = job[key];
    $("temperature_c").value = job.temperature_c ?? "";
    options($("scale"), [["", "none"], ...scales.map((one) => [one.sha256, `${one.label}, ${one.width_px} × ${one.height_px}, until ${one.valid_until}`])], job.scale);
  }
  options($("block"), blocks.map((one) => [one.serial, `${one.serial}: ${one.certified}${one.warning && ", certificate has run out"}`]), $("block").value);
  $("block-start").hidden = !blocks.length;
  $("tests").replaceChildren(...tests.map((test) => show.el("option", { value: test })));
  $("blind").checked = job.blind;
  $("frames").value = String(job.frames);
}

function options(select, pairs, chosen) {
  select.replaceChildren(...pairs.map(([key, words]) => show.el("option", { value: key }, words)));
  if (pairs.some(([key]) => key === chosen)) select.value = chosen;
}

function paintResult(pending) {
  const refused = pending.status === "refused";
  $("decide").hidden = refused || !$("reject-form").hidden;
  $("dismiss").hidden = !refused;
  $("result-title").textContent = refused ? "No number from this picture" : "Result";
  if (refused) {
    $("result").replaceChildren(show.el("p", { class: "figure words bad", id: "refusal" }, pending.message));
    $("evidence").replaceChildren();
    return;
  }
  const bad = pending.checks.filter((check) => check.outcome !== "pass");
  $("result").replaceChildren(show.figure(pending), show.diameters(pending), ...(bad.length ? [show.checks(bad)] : []),
    ...(pending.note ? [show.el("p", { class: "adjust" }, pending.note)] : []));
  const eye = show.eye(pending.eye);
  $("evidence").replaceChildren(...(eye ? [eye] : []),
    show.el("p", { class: "small" }, `± ${pending.U_hbw} HBW covers the ${pending.covers}. Look whether the line lies on the rim before you accept.`),
    show.budget(pending.budget),
    show.el("details", {}, show.el("summary", {}, "All checks"), show.checks(pending.checks)),
    show.el("p", { class: "small" }, `${pending.path}, sha256 ${pending.sha256.slice(0, 12)}…`));
}

function describe() {
  const { pending } = state.desk ?? {};
  let words = "Live picture from the camera";
  if (state.mode !== "live" && pending) {
    words = pending.status === "measured"
      ? `Photo with the fitted rim: d1 ${pending.d1_mm} mm, d2 ${pending.d2_mm} mm` : "Photo of the indent";
  } else if (!state.desk?.camera) words = "No camera";
  $("canvas").setAttribute("aria-label", words);
}

// -- the picture

function goLive() {
  state.mode = "live";
  viewer.fine = false;
  state.pictured = null;
  state.rim = null;
  viewer.all();
  if (state.desk.camera) live.start(); else {
    $("badge").textContent = "No camera";
    $("hints").replaceChildren();
  }
}

async function showPicture() {
  const { pending } = state.desk;
  live.stop();
  state.mode = "photo";
  viewer.fine = true;
  state.pictured = pending.id;
  $("badge").textContent = `Photo ${pending.label}`;
  $("hints").replaceChildren();
  const response = await fetch(`/picture/${pending.id}.png`, { cache: "no-store" });
  if (!response.ok) return alarm("The picture cannot be shown.");
  const bitmap = await createImageBitmap(await response.blob());
  if (state.pictured !== pending.id) return bitmap.close();
  viewer.show(bitmap, pending.width_px, pending.height_px);
  viewer.all();
}

viewer.draw = (c) => {
  if (state.mode === "live") {
    if (state.outline && $("show-rim").checked && state.view !== "scale") path(c, viewer, state.outline, INK.rim, 2, [9, 6]);
    return;
  }
  const { pending } = state.desk;
  if (state.rim) return state.rim.draw(c, viewer);
  if (pending?.status !== "measured") return;
  if ($("show-rim").checked) {
    path(c, viewer, pending.outline_px, INK.rim, 1.5);
    path(c, viewer, pending.d1_px, INK.line, 1);
    path(c, viewer, pending.d2_px, INK.line, 1, [7, 5]);
    letters(c, viewer, "d1", pending.d1_px[0]);
    letters(c, viewer, "d2", pending.d2_px[0]);
  }
  if ($("show-points").checked) {
    dots(c, viewer, pending.used_px, INK.used);
    dots(c, viewer, pending.left_out_px, INK.out, "cross");
  }
};
viewer.grab = (point, reach) => state.rim?.grab(point, reach) ?? null;
viewer.tap = (point, reach) => state.rim?.tap(point, reach);
viewer.arrow = (step, wide) => state.rim?.arrow(step, wide) ?? false;

$("zoom-in").addEventListener("click", () => viewer.zoom(1.6));
$("zoom-out").addEventListener("click", () => viewer.zoom(1 / 1.6));
$("zoom-one").addEventListener("click", () => viewer.one());
$("zoom-fit").addEventListener("click", () => viewer.all());
for (const id of ["show-rim", "show-points"]) $(id).addEventListener("change", () => viewer.paint());

// -- taking and deciding

function snap() {
  say("Taking the picture. Hold still.");
  act(() => post("/api/snap"), () => told("Picture taken."));
}

function told(first) {
  const { pending } = state.desk;
  if (!pending) return first;
  if (pending.blind_due) return `${first} Enter your own reading.`;
  return pending.status === "refused" ? `${first} It was refused.` : `${first} ${pending.hbw} HBW.`;
}

function leaveForms() {
  $("reject-form").hidden = true;
  $("reject-reason").value = "";
  $("correct-reason").value = "";
  for (const id of ["first_mm", "second_mm"]) $(id).value = "";
  if (state.mode === "correct") state.mode = "photo";
  state.rim = null;
  $("canvas").classList.remove("aim");
}

const accept = () => act(() => post(`${picture()}/accept`), "Accepted and written to the record.");
function toReject() { $("reject-form").hidden = false; $("decide").hidden = true; $("reject-reason").focus(); }
function toCorrect() {
  state.mode = "correct";
  state.rim = new Rim(state.desk.pending, { changed: tryRim, paint: () => viewer.paint() });
  $("canvas").classList.add("aim");
  paintDesk();
  chooseHow();
  $("at-correct").querySelector("input").focus();
}
function back() {
  if (state.mode === "correct" || !$("reject-form").hidden) {
    leaveForms();
    paintDesk();
    viewer.paint();
    $("accept").focus(); // not lost in a form that is gone
    return;
  }
  if (state.desk.pending?.status === "refused") act(() => post(`${picture()}/dismiss`));
}

$("snap").addEventListener("click", snap);
$("accept").addEventListener("click", accept);
$("to-reject").addEventListener("click", toReject);
$("to-correct").addEventListener("click", toCorrect);
$("dismiss").addEventListener("click", back);
for (const id of ["no-reject", "no-correct"]) $(id).addEventListener("click", back);
submit("reject-form", () => act(() => post(`${picture()}/reject`, { reason: value("reject-reason") }), "Rejected; the record keeps it with your reason."));
submit("at-blind", () => act(() => post(`${picture()}/blind`, { first_mm: value("first_mm"), second_mm: value("second_mm"), angle_deg: value("angle_deg") }), () => told("Your reading is kept.")));
$("skip-blind").addEventListener("click", () => act(() => post(`${picture()}/skip-blind`), () => told("No reading by eye.")));
$("blind").addEventListener("change", () => act(() => post("/api/job", { blind: $("blind").checked })));
$("frames").addEventListener("change", () => act(() => post("/api/job", { frames: Number($("frames").value) })));
chooser("open", "open-file", (file) => act(() => send("/api/open", file), () => told("Picture opened.")));

// -- correcting

function chooseHow() {
  const marked = document.querySelector('input[name="how"]:checked').value === "marked";
  state.rim.marked = marked;
  $("ellipse-fields").hidden = marked;
  $("mark-fields").hidden = !marked;
  $("how-to").textContent = marked
    ? "Click or tap on the rim, at least six points all round. Click a point again to take it away. Zoom in to place it well."
    : "Drag the round handles or the whole ellipse, or type numbers. Zoom in to place it well.";
  tryRim();
  viewer.paint();
}

let trying = 0;
function tryRim() {
  const asked = state.rim?.asked();
  const ellipse = state.rim?.ellipse;
  if (ellipse) for (const [id, number] of Object.entries({ x_px: ellipse.x, y_px: ellipse.y, long_px: ellipse.long, short_px: ellipse.short, turn_deg: ellipse.turn })) if (document.activeElement !== $(id)) $(id).value = number.toFixed(1);
  clearTimeout(trying);
  if (!asked) { $("tried").replaceChildren(show.el("p", {}, `${state.rim?.marks.length ?? 0} points so far.`)); return; }
  trying = setTimeout(async () => {
    try {
      const { result } = await post(`${picture()}/try`, asked);
      if (!state.rim) return;
      state.rim.outline = result.outline_px ?? null;
      $("tried").replaceChildren(...(result.status === "refused" ? [show.el("p", { class: "bad" }, result.message)] : [
        show.el("p", { class: "figure words", id: "tried-hbw" }, `${result.hbw} HBW ± ${result.U_hbw}`), show.diameters(result), show.budget(result.budget),
        show.el("p", { class: "small" }, `The program read ${state.desk.pending.hbw} HBW; both are kept.`)]));
      viewer.paint();
    } catch (error) {
      if (!(error instanceof Told)) throw failed(error);
      $("tried").replaceChildren(show.el("p", { class: "bad" }, error.message));
    }
  }, 150);
}

for (const radio of document.querySelectorAll('input[name="how"]')) radio.addEventListener("change", chooseHow);
for (const id of ["x_px", "y_px", "long_px", "short_px", "turn_deg"]) $(id).addEventListener("input", () => state.rim?.typed(id, Number($(id).value)));
$("add-mark").addEventListener("click", () => state.rim?.tap(viewer.middle(), 0));
$("drop-mark").addEventListener("click", () => state.rim?.drop());
submit("at-correct", () => {
  const asked = state.rim.asked();
  if (!asked) return alarm("Mark at least six points on the rim.");
  return act(() => post(`${picture()}/correct`, { ...asked, reason: value("correct-reason") }), "Correction written to the record, with both values.");
});

// -- series, blocks, scale, job

let withdrawing = 0;
function askWithdraw(line) {
  withdrawing = line.entry;
  $("withdraw-which").textContent = `indent ${line.number}`;
  $("withdraw-form").hidden = false;
  $("withdraw-reason").focus();
}
submit("withdraw-form", async () => {
  const done = await act(() => post("/api/withdraw", { entry: withdrawing, reason: value("withdraw-reason") }), "Withdrawn; the record keeps both.");
  if (done) { $("withdraw-form").hidden = true; $("withdraw-reason").value = ""; }
});
$("no-withdraw").addEventListener("click", () => { $("withdraw-form").hidden = true; });
$("new-series").addEventListener("click", () => act(() => post("/api/series", { purpose: "part" }), ({ result }) => `${result.note} A new series on a part has begun.`.trim()));
$("report").addEventListener("click", () => act(() => post("/api/report"), ({ result }) => {
  $("reports").replaceChildren(...result.files.flatMap((file) => [show.el("a", { href: `/report/${file}`, target: "_blank", rel: "noopener" }, file), " "]));
  return result.note || "The report is written.";
}));
submit("block-start", async () => { if (await act(() => post("/api/series", { purpose: "block", block: $("block").value }), ({ result }) => `${result.note} The check has begun: make indents on the block.`.trim())) view("test"); });
submit("block-form", () => act(() => post("/api/block", { serial: value("serial"), certified_hbw: value("certified_hbw"), U_hbw: value("U_hbw"), k: value("block_k"), test: value("block_test"), valid_until: value("valid_until") }), "The certificate is kept."));
for (const button of document.querySelectorAll("[data-stage]")) button.addEventListener("click", () => act(() => post(`/api/stage/${button.dataset.stage}/snap`), "Picture taken."));
let slot = "along";
for (const button of document.querySelectorAll("[data-stage-file]")) button.addEventListener("click", () => { slot = button.dataset.stageFile; $("stage-file").click(); });
$("stage-file").addEventListener("change", () => withFile("stage-file", (file) => act(() => send(`/api/stage/${slot}/open`, file), "Picture opened.")));
$("drop-stage").addEventListener("click", () => act(() => post("/api/stage-drop"), "Dropped."));
submit("scale-form", async () => {
  const words = Object.fromEntries(["division_mm", "label", "nominal_mm", "certified_mm", "certificate_U_mm", "certificate_k"].map((id) => [id, value(id)]));
  const done = await act(() => post("/api/scale", words), ({ result }) => (result.status === "refused" ? "No scale was made." : "The scale is made and in use."));
  if (done) $("made").replaceChildren(...show.scaleMade(done.result));
});
submit("job-form", () => {
  document.activeElement?.blur();
  return act(() => post("/api/job", Object.fromEntries(["operator", "part", "heat", "location", "test", "rules", "scale", "temperature_c"].map((id) => [id, value(id)]))), "Kept.");
});

// -- the frame of it all

function submit(id, work) { $(id).addEventListener("submit", (event) => { event.preventDefault(); work(); }); }
function chooser(button, input, work) {
  $(button).addEventListener("click", () => $(input).click());
  $(input).addEventListener("change", () => withFile(input, work));
}
function withFile(id, work) { const [file] = $(id).files; if (file) work(file); $(id).value = ""; }

function view(name) {
  state.view = name;
  for (const button of document.querySelectorAll("[data-view]")) {
    if (button.dataset.view === name) button.setAttribute("aria-current", "page"); else button.removeAttribute("aria-current");
  }
  for (const panel of document.querySelectorAll("[data-panel]")) panel.hidden = panel.dataset.panel !== name;
  viewer.paint();
}
for (const button of document.querySelectorAll("[data-view]")) button.addEventListener("click", () => { say(""); view(button.dataset.view); });

function theme(dark) {
  document.documentElement.classList.toggle("dark", dark);
  $("theme").setAttribute("aria-pressed", String(dark));
}
function remembered(key) { try { return localStorage.getItem(key); } catch { return null; } }
function remember(key, words) { try { localStorage.setItem(key, words); } catch { /* private window: not kept */ } }
const dark = remembered("dark");
theme(dark === null ? matchMedia("(prefers-color-scheme: dark)").matches : dark === "1");
$("theme").addEventListener("click", () => { const on = !document.documentElement.classList.contains("dark"); theme(on); remember("dark", on ? "1" : "0"); });
$("keys").checked = remembered("keys") !== "0";
$("keys").addEventListener("change", () => remember("keys", $("keys").checked ? "1" : "0"));

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") return back();
  const typing = event.target.closest("input:not([type=checkbox]), select, textarea");
  const pressing = event.key === " " && event.target.closest("button:not([aria-current]), input, summary, a");
  if (!$("keys").checked || typing || pressing || event.ctrlKey || event.metaKey || event.altKey || state.view !== "test") return;
  const pending = state.desk?.pending;
  const deciding = pending?.status === "measured" && state.mode === "photo" && $("reject-form").hidden;
  const work = { " ": !pending && state.desk?.camera && snap, a: deciding && accept, c: deciding && toCorrect, r: deciding && toReject }[event.key.toLowerCase()];
  if (work) { event.preventDefault(); work(); }
});

async function begin() {
  try {
    const desk = await get("/api/desk");
    $("caution").textContent = `${desk.caution} rimread ${desk.version}.`;
    take(desk);
    if (!desk.pending) goLive();
    if (!desk.job.operator) view("job");
    else if (!desk.scales.length) view("scale");
  } catch (error) {
    if (!(error instanceof Told)) throw failed(error);
    alarm(error.message);
    setTimeout(begin, 2000);
  }
}
begin();
