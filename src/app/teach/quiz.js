/* The quiz: name, cases, answers, what to learn from them, results. Needs common.js and teach.js. By keyboard alone: Enter
 * answers and goes on; the ring takes arrow keys. What is true of a case comes with its answer, never before. */
"use strict";

const VIEWS = "ABCD";
let quiz = null, now = null, name = "", busy = false;

/* One thing at a time; trouble is told in its line. */
async function doing(words, run) {
  if (busy) return;
  busy = true;
  setText($("status"), words);
  document.body.setAttribute("aria-busy", "true");
  for (const one of document.querySelectorAll("button")) one.disabled = true;
  try {
    setText($("trouble"), "");
    await run();
  } catch (fault) { setText($("trouble"), fault.message); }
  for (const one of document.querySelectorAll("button")) one.disabled = false;
  document.body.removeAttribute("aria-busy");
  busy = false;
  if (focusOn) focusOn.focus();
  focusOn = null;
}
let focusOn = null; /* when what is done is done */

function only(shown) {
  for (const id of ["begin", "case", "result", "standing"]) $(id).hidden = id !== shown;
  scrollTo(0, 0);
}

function radios(fieldset, kind, names) {
  for (const [i, words] of names.entries()) {
    const label = element("label"), input = element("input");
    Object.assign(input, { type: "radio", name: kind, value: String(i), required: true });
    label.className = "choice";
    label.append(input, words);
    fieldset.append(label);
  }
}

const percent = (share) => (share === null ? "none" : Math.round(100 * share) + " %");
const shareWords = (s) => s.right + " of " + s.of + (s.share === null ? "" : ", " + percent(s.share) + " (" + percent(s.low) + " to " + percent(s.high) + ")");
const kappaWords = (k) => (k.state === "found" ? k.kappa.toFixed(2) + " (" + k.low.toFixed(2) + " to " + k.high.toFixed(2) + ")" : "none: " + k.state);
const whereWords = (a) => (a.where === "at" ? "at " + (a.bearings_deg || [a.bearing_deg]).map((b) => Math.round(b) + "\u00b0").join(" and ") : a.where);
const wordsOf = (a) => [a.cause, whereWords(a), a.width].join(", ");
/* Every class that is right, and what the map has. */
const mapWords = (t) => [t.cause, whereWords(t), t.widths_right.join(" or ")].join(", ") +
  (t.widest_mm ? " (" + t.widest_mm.toFixed(3) + " \u00b1 " + t.U_mm.toFixed(3) + " mm)" : "");

function define(list, rows) {
  list.replaceChildren(...rows.flatMap(([term, words]) => [element("dt", term), element("dd", words)]));
}

/* ------------------------------------------------------------ pictures and ring */

const turn = (bearing) => ((Math.round(bearing) % 360) + 360) % 360;

const picture = (i) => "/api/quiz/picture?" + new URLSearchParams({ sitting: now.sitting, view: i, number: now.number });

/* A photograph of the archive as it is, and below with the bearings drawn in. */
function photograph(view, i) {
  const made = element("figure"), from = "from bearing " + Math.round(view.bearing_deg) + "\u00b0, " + Math.abs(view.elevation_deg).toFixed(1) + "\u00b0 " + (view.elevation_deg < 0 ? "below" : "above") + " the rim";
  made.className = "photograph";
  for (const [k, words] of ["", ", with the bearings"].entries()) {
    const img = element("img");
    img.alt = "Picture " + VIEWS[i] + ": photograph of the archive " + from + words + ".";
    img.src = picture(2 * i + k);
    made.append(img);
  }
  made.append(element("figcaption", VIEWS[i] + ": photograph of the archive " + from + "; below with the bearings."));
  return made;
}

/* Bearings grow to the left in the picture: the camera looks at the rim from outside. */
function figure(view, i) {
  const made = element("figure"), img = element("img"), ends = element("p"), b = view.bearing_deg;
  img.alt = "Picture " + VIEWS[i] + ": the pad seen from bearing " + b + ". Rendered, no photograph.";
  img.width = 640;
  img.height = 400;
  img.src = picture(i);
  ends.className = "ends";
  ends.append(element("span", "left " + turn(b + 90) + "\u00b0"), element("span", "middle " + b + "\u00b0"), element("span", "right " + turn(b - 90) + "\u00b0"));
  made.append(img, ends, element("figcaption", VIEWS[i] + ": from bearing " + b + "\u00b0, " + view.elevation_deg.toFixed(1) + "\u00b0 above the rim. Rendered, no photograph."));
  return made;
}

function camera(svg, view, i) {
  const [x, y] = at(view.bearing_deg, 158).split(" ");
  draw(svg, "path", { d: "M" + at(view.bearing_deg, 122) + "L" + at(view.bearing_deg, 142), stroke: "#fff", "stroke-width": 2 });
  draw(svg, "circle", { cx: x, cy: y, r: 15, fill: "#000", stroke: "#fff", "stroke-width": 2 });
  draw(svg, "text", { x, y: Number(y) + 6, "text-anchor": "middle", "font-size": 17 }, VIEWS[i]);
}

/* The ring to answer on: key arm, cameras, the bearing that is said. */
function dial() {
  const svg = $("dial"), bearing = turn(Number($("bearing").value) || 0), said = $("bearing").value !== "";
  svg.replaceChildren();
  draw(svg, "circle", { cx: 200, cy: 200, r: RING.rim, fill: "none", stroke: "#fff", "stroke-width": 4 });
  for (let b = 0; b < 360; b += 30) draw(svg, "path", { d: "M" + at(b, 104) + "L" + at(b, b % 90 ? 112 : 118), stroke: "#fff", "stroke-width": 2 });
  for (let b = 0; b < 360; b += 90) {
    const [x, y] = at(b, 84).split(" ");
    draw(svg, "text", { x, y: Number(y) + 6, "text-anchor": "middle", "font-size": 17 }, b ? b + "\u00b0" : "key arm");
  }
  if (now) now.views.forEach((view, i) => camera(svg, view, i));
  if (said) arrow(svg, bearing);
  svg.setAttribute("aria-valuenow", bearing);
  svg.setAttribute("aria-valuetext", said ? bearing + " degrees" : "not yet said");
}

function arrow(svg, bearing) {
  draw(svg, "path", { d: "M" + at(bearing, 108) + "L" + at(bearing - 9, 60) + "L" + at(bearing + 9, 60) + "Z", fill: "#ffc400", stroke: "#000", "stroke-width": 2 });
}

const STEPS = { ArrowRight: 5, ArrowUp: 5, ArrowLeft: -5, ArrowDown: -5, PageUp: 30, PageDown: -30 };

function onDial(event) {
  const step = STEPS[event.key];
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === "Enter") $("answer").requestSubmit();
  else if (event.key === "Home") say(0);
  else if (step) say($("bearing").value === "" ? 0 : Math.round(Number($("bearing").value) / 5) * 5 + step);
  else return;
  event.preventDefault();
}

function say(bearing) {
  $("bearing").value = turn(bearing);
  document.querySelector("[name=where][value=at]").checked = true;
  dial();
}

/* ------------------------------------------------------------ cases */

function show(c) {
  now = c;
  only("case");
  $("answer").reset();
  $("answer").hidden = false;
  $("feedback").hidden = true;
  setText($("case-title"), "Case " + c.number + (c.cases ? " of " + c.cases : "") + (c.exam ? ", examination " + c.seed
    : c.archived ? ", photographs of the archive: no level, yours stays at " + c.practice_level : ", level " + c.level));
  setText($("where"), (c.exam ? "examination of " : "practice of ") + name);
  $("photo-words").hidden = !c.archived;
  $("pictures").replaceChildren(...(c.views.map(c.archived ? photograph : figure)));
  dial();
  focusOn = $("case-title");
}

function read() {
  const form = new FormData($("answer")), where = form.get("where");
  if (where === "at" && form.get("bearing") === "") {
    focusOn = $("bearing");
    throw new Error("Say at which bearing, or all round, or nowhere.");
  }
  return { sitting: now.sitting, number: now.number, where, bearing_deg: where === "at" ? Number(form.get("bearing")) : null,
    width_class: Number(form.get("class")), cause: quiz.causes[Number(form.get("cause"))] };
}

async function answered() {
  const reply = await send("/api/quiz/answer", read());
  if (!now.exam) { learn(reply); return; }
  if (reply.done) await result();
  else show(await send("/api/quiz/next", { sitting: now.sitting }));
}

function learn(reply) {
  const s = reply.score, right = [s.bearing, s.width, s.cause].filter(Boolean).length;
  $("answer").hidden = true;
  $("feedback").hidden = false;
  setText($("feedback-title"), (s.all ? "( O ) All right" : "( / ) " + right + " of 3 right") + (now.archived
    ? " by the archived map. Your level stays at " + reply.next_level + "." : ". The next case has level " + reply.next_level + "."));
  $("words").replaceChildren(...reply.words.map((text) => element("li", plain(text))));
  ring($("truth"), { seen: null, map: reply.map, truth: reply.true_mm, camera: null, tolerance: now.archived ? reply.tolerance_mm : quiz.tolerance_mm });
  setText($("truth-words"), now.archived
    ? "The archived map of the whole sweep: pattern, where and how wide it has a gap, and where the rim was seen. Triangle: your answer."
    : "White line: the true gap. Pattern: what the program measured from these pictures, and where it saw the rim. Triangle: your answer.");
  now.views.forEach((view, i) => camera($("truth"), view, i));
  if (reply.answer.where === "at") arrow($("truth"), turn(reply.answer.bearing_deg));
  define($("tool"), now.archived ? [["Archived map", mapWords(reply.truth)], ["You", wordsOf(reply.answer)], ["Case", reply.photograph]]
    : [["True", wordsOf(reply.truth)], ["You", wordsOf(reply.answer)],
      ["Program", reply.tool ? wordsOf(reply.tool) : "could not tell from these pictures (" + reply.map.verdict + ")"]]);
  focusOn = $("feedback-title");
}

/* ------------------------------------------------------------ results */

const sign = (right) => (right ? "right" : "wrong");

async function result() {
  const json = await get("/api/quiz/result", { sitting: now.sitting }), r = json.result;
  only("result");
  setText($("where"), "result of " + name);
  setText($("result-title"), "Examination " + r.seed);
  setText($("passed"), (r.passed ? "( O ) Passed" : "( / ) Not passed") + ": " + shareWords(r.all) + "; " + percent(r.pass_share) + " pass");
  define($("shares"), [["Bearing", shareWords(r.bearing)], ["Width class", shareWords(r.width)], ["Cause", shareWords(r.cause)],
    ["Kappa with the truth", "cause " + kappaWords(r.truth.cause) + ", width " + kappaWords(r.truth.width)],
    ["Kappa with the program", r.tool && r.tool.cases ? "cause " + kappaWords(r.tool.cause) + ", width " + kappaWords(r.tool.width) + ", " + plural(r.tool.cases, "case") : "none"]]);
  $("certificate").href = "/quiz/certificate.pdf?" + new URLSearchParams({ name, sitting_s: r.sitting_s });
  $("cases").replaceChildren(...json.cases.map((c) => element("tr", element("td", String(c.number)), element("td", wordsOf(c.truth)), element("td", wordsOf(c.answer)),
    ...["bearing", "width", "cause"].map((part) => element("td", sign(c.score[part]))))));
  focusOn = $("result-title");
}

const day = (seconds) => new Date(1000 * seconds).toISOString().slice(0, 10);

async function standing() {
  const p = await get("/api/quiz/progress", { name });
  only("standing");
  setText($("where"), "progress of " + name);
  define($("sums"), [["Answered", plural(p.cases, "case")], ["Practice, all three right", shareWords(p.practice)],
    ...(p.archived.of ? [["Photographs, by the tool's own maps", shareWords(p.archived)]] : []), ["Level now", String(p.level)]]);
  $("exams").replaceChildren(...p.exams.map((e) => element("li", day(e.ended_s) + ", examination " + e.seed + ": " + (e.passed ? "passed" : "not passed") + ", " + shareWords(e.all))));
  const query = "?" + new URLSearchParams({ name });
  $("chart").alt = "Chart of the share that was right and of the level, case by case; its numbers stand above";
  $("chart").src = "/quiz/progress.svg" + query + "&" + p.cases;
  $("sheet").href = "/quiz/progress.pdf" + query;
  focusOn = $("standing-title");
}

/* ------------------------------------------------------------ start */

function begin(event) {
  event.preventDefault();
  name = $("name").value.trim();
  const seed = $("seed").value.trim(), kind = new FormData($("begin")).get("kind");
  doing("The pictures are made", async () => show(await send("/api/quiz/begin", { name, exam: kind === "exam", archive: kind === "archive", seed: seed === "" ? null : seed })));
}

function listen() {
  $("begin").addEventListener("submit", begin);
  $("progress").addEventListener("click", () => {
    name = $("name").value.trim();
    if ($("begin").reportValidity()) doing("", standing);
  });
  $("answer").addEventListener("submit", (event) => { event.preventDefault(); doing("The answer is kept", answered); });
  $("dial").addEventListener("keydown", onDial);
  $("bearing").addEventListener("input", () => { document.querySelector("[name=where][value=at]").checked = true; dial(); });
  $("next").addEventListener("click", () => doing("The pictures are made", async () => show(await send("/api/quiz/next", { sitting: now.sitting }))));
  for (const id of ["stop", "seen"]) $(id).addEventListener("click", () => doing("", standing));
  $("again").addEventListener("click", () => { now = null; only("begin"); setText($("where"), ""); $("name").focus(); });
}

async function start() {
  listen();
  try {
    quiz = await get("/api/quiz");
    radios($("classes"), "class", quiz.classes);
    radios($("causes"), "cause", quiz.causes);
    setText($("exam-words"), plural(quiz.exam_cases, "case") + ", drawn ones alone, so that they are the same everywhere; nothing is told before the end; " + percent(quiz.pass_share) + " all right pass; a certificate can be printed");
    if (quiz.archive) {
      document.querySelector("[name=kind][value=archive]").disabled = false;
      setText($("archive-words"), "What is right is what the archived map says, the tool's own with its uncertainty, no gauge. Photographs have no level: yours does not move.");
    }
    dial();
    $("name").focus();
  } catch (fault) { setText($("trouble"), fault.message); }
}

start();
