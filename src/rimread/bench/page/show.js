// Results as elements of the page. Text only ever becomes text: nothing from a picture is markup.

export function el(tag, words = {}, ...inside) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(words)) {
    if (key === "class") node.className = value;
    else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value);
  }
  node.append(...inside.filter((part) => part !== null && part !== undefined));
  return node;
}

const SIGN = { good: "✓", adjust: "→", bad: "✕", pass: "✓", warn: "!", fail: "✕" };
const SAID = { good: "good", adjust: "change", bad: "not usable", pass: "passed", warn: "look", fail: "failed" };
const ABOUT = { focus: "Focus", light: "Light", still: "Rest", frame: "Framing" };

export function sign(state) {
  return el("b", { class: state }, el("span", { "aria-hidden": "true" }, SIGN[state]), el("span", { class: "unseen" }, `${SAID[state]}: `));
}

export function hints(list, found) {
  list.replaceChildren(...found.map((hint) => el("li", {}, sign(hint.state), el("b", {}, ABOUT[hint.code]), el("span", {}, hint.message))));
}

export function checks(found) {
  return el("ul", { class: "checks" }, ...found.map((check) =>
    el("li", { title: check.source }, sign(check.outcome), check.message)));
}

export function facts(pairs) {
  return el("dl", {}, ...pairs.flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, value)]));
}

export function figure(result) {
  return el("p", { class: "figure", id: "hbw" }, result.hbw, el("small", {}, ` HBW ± ${result.U_hbw}`));
}

export function diameters(result) {
  return facts([
    ["d1", `${result.d1_mm} mm`],
    ["d2", `${result.d2_mm} mm`],
    ["mean", `${result.mean_mm} mm ± ${result.U_mm} mm (${result.U_rel}, k = ${result.k})`],
  ]);
}

export function budget(told) {
  const rows = told.rows.map((row) => el("tr", {}, el("th", { scope: "row" }, row.name), el("td", { class: "n" }, row.u_um), el("td", { class: "n" }, row.share), el("td", {}, row.how)));
  const head = el("tr", {}, el("th", { scope: "col" }, "From"), el("th", { scope: "col", class: "n" }, "u, µm"), el("th", { scope: "col", class: "n" }, "Share"), el("th", { scope: "col" }, "How known"));
  return el("details", { id: "budget" }, el("summary", {}, "What makes up U"),
    el("table", {}, el("caption", {}, "Mean diameter"), el("thead", {}, head), el("tbody", {}, ...rows)), el("p", { class: "small" }, told.total));
}

export function eye(told) {
  if (!told) return null;
  const rows = told.rows.map((row) => el("tr", {}, el("th", { scope: "row" }, row.which), el("td", { class: "n" }, row.eye_mm), el("td", { class: "n" }, row.image_mm), el("td", { class: "n" }, `${row.difference_mm} (${row.difference_rel})`)));
  const head = el("tr", {}, ...["Diameter", "You, mm", "Picture, mm", "You less picture"].map((name, i) => el("th", { scope: "col", class: i ? "n" : "" }, name)));
  return el("div", { id: "eye" }, el("table", {}, el("caption", {}, "Read by eye"), el("thead", {}, head), el("tbody", {}, ...rows)),
    el("p", {}, `By eye ${told.hbw} HBW, ${told.difference_hbw} HBW from the picture.`));
}

export function seriesSum(series, check, failed) {
  const block = series.purpose === "block";
  const what = block ? `Check on block ${series.block}` : "Part";
  const last = failed && !block ? [el("p", { class: "fail", id: "check-failed" }, failed)] : [];
  if (!series.mean) return [...last, el("span", {}, `${what}, ${series.test}: no indent counts yet.`)];
  const beside = series.sd ? [" HBW, ", el("span", { id: "spread" }, `s = ${series.sd}, n = ${series.n}`)] : [` HBW ± ${series.U_mean}`];
  const parts = [
    ...last,
    el("strong", { class: "figure", id: "mean" }, series.mean, el("small", {}, ...beside)),
    el("span", {}, `${what}: mean of ${series.n}, ${series.designation}`),
  ];
  if (series.sd) parts.push(el("span", {}, `range ${series.range} HBW (${series.range_rel})`));
  if (check?.error) parts.push(verdict(check, "series-verdict"), el("span", {}, `certified ${check.certified}, error ${check.error}`));
  const odd = [...series.checks, ...(check?.checks ?? [])].filter((one) => one.outcome !== "pass");
  if (odd.length) parts.push(checks(odd));
  if (!series.sd) parts.push(el("span", { class: "small" }, `± covers the ${series.covers}.`));
  else if (!block) parts.push(el("span", { class: "small", id: "mean-U" }, `U = ${series.U_mean} HBW of the mean (k = ${series.k_mean}) covers ${series.covers}.`));
  return parts;
}

const DECIDED = { accepted: "counts", corrected: "counts, rim set by hand", rejected: "does not count", refused: "refused" };

export function seriesLines(series, withdraw) {
  if (!series.lines.length) return null;
  const heads = ["No.", "d1, mm", "d2, mm", "HBW", "± HBW", "Decision", "Remark", ""];
  const head = el("tr", {}, ...heads.map((name, i) => el(name ? "th" : "td", name ? { scope: "col", class: i > 0 && i < 5 ? "n" : "" } : {}, name)));
  const rows = series.lines.map((line) => {
    const remark = [line.reason, line.warned.length ? `look: ${line.warned.join(", ")}` : ""].filter(Boolean).join("; ");
    const button = line.counts ? el("button", { type: "button", "aria-label": `Withdraw indent ${line.number}`, onclick: () => withdraw(line) }, "Withdraw") : "";
    return el("tr", { class: line.counts ? "" : "out" }, el("th", { scope: "row" }, String(line.number)),
      ...["d1_mm", "d2_mm", "hbw", "U_hbw"].map((key) => el("td", { class: "n" }, line[key] ?? "–")),
      el("td", {}, DECIDED[line.decision]), el("td", {}, remark), el("td", {}, button));
  });
  return el("table", {}, el("thead", {}, head), el("tbody", {}, ...rows));
}

export function scaleMade(made) {
  if (made.status === "refused") return [el("p", { class: "bad" }, made.message)];
  return [
    el("p", { class: "figure words", id: "px-per-mm" }, `${made.px_per_mm} ± ${made.U_px_per_mm} px/mm`),
    el("p", {}, `${made.label}: ${made.lines} lines, counts until ${made.valid_until}. It is in use now.`),
    el("ul", { class: "small" }, ...made.notes.map((note) => el("li", {}, note))),
  ];
}

function verdict(told, id) {
  const [look, words] = told.status === "passed" ? ["pass", "Passed so far"] : ["fail", "Failed"];
  return el("strong", { class: `figure words ${look}`, id }, words);
}

function warned(told) { return told.warning ? [el("p", { class: "warn" }, told.warning)] : []; }

// beside the picture, in short
export function checkNow(told) {
  if (!told) return [];
  const what = `Check on block ${told.serial}`;
  if (told.status === "unknown") return [el("p", { class: "bad" }, `${what} is not judged: ${told.why}`)];
  const so_far = told.status === "begun" ? ["no indent counts yet."] : [`error ${told.error}. `, verdict(told, "check-verdict")];
  return [el("p", {}, `${what}, certified ${told.certified}: `, ...so_far), ...warned(told)];
}

export function verification(told) {
  if (!told) return [el("p", {}, "No check is under way. Choose a block; the indents you then accept are held against its certificate.")];
  if (told.status === "unknown") return [el("p", { class: "bad" }, `Block ${told.serial} is not judged: ${told.why}`)];
  const end = el("p", {}, "“End the check”, below the indents, writes it into the daily log.");
  const parts = [el("p", {}, `Block ${told.serial}: ${told.certified}`), ...warned(told)];
  if (told.status === "begun") return [...parts, el("p", {}, "Make indents on the block and take their pictures."), end];
  return [...parts, el("p", {}, verdict(told, "block-status")), facts([["error", told.error], ["repeatability", told.repeatability]]), checks(told.checks), end];
}
