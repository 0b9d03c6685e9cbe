/* Set-up values, checks and remarks of the serial at the bench, and what the rules would decide. Beside common.js. */
"use strict";

const BESIDE = 3; /* earlier visits in the table */
const UNITS = [[/^mass/, "g"], [/^spring force/, "g"], [/^play/, "mm"]]; /* as in samples/setup.ini */
let now = { values: [], checks: [], remarks: [] };
let visits = [];

function heading(text, scope) {
  const h = element("th", text);
  h.scope = scope;
  return h;
}

function words(v) {
  if (!v) return "\u2013";
  const u = v.u === null ? "" : " \u00b1 " + v.u;
  const used = v.with ? " (" + v.with + ")" : "";
  return v.value + u + " " + v.unit + used;
}

const of = (values, quantity) => values.find((v) => v.quantity === quantity);

function fillForm(quantity) {
  const v = of(now.values, quantity);
  const before = visits.map((visit) => of(visit.values, quantity)).find(Boolean);
  const like = v || before;
  const known = UNITS.find(([pattern]) => pattern.test(quantity));
  $("quantity").value = quantity;
  $("number").value = v ? v.value : "";
  $("u").value = v && v.u !== null ? v.u : "";
  $("unit").value = like ? like.unit : known ? known[1] : "";
  $("with").value = like ? like.with : "";
}

function change(quantity) {
  fillForm(quantity);
  $("number").focus();
}

async function remove(quantity) {
  if (!await wish("setup", { quantity, value: "", unit: "", u: "", with: "" })) return;
  $("said").textContent = quantity + " removed";
  await load();
  $("quantity").focus();
}

function valueRow(quantity, shown) {
  const line = element("tr", heading(quantity, "row"));
  const mine = of(now.values, quantity);
  line.append(element("td", words(mine)));
  for (const visit of shown) line.append(element("td", words(of(visit.values, quantity))));
  const buttons = element("td", button(mine ? "Change" : "Measure", (mine ? "Change " : "Measure ") + quantity, () => change(quantity)));
  if (mine) buttons.append(" ", button("Remove", "Remove " + quantity, () => remove(quantity)));
  line.append(buttons);
  return line;
}

function showValues() {
  const shown = visits.filter((visit) => visit.values.length > 0).slice(0, BESIDE);
  const quantities = [...new Set([...now.values, ...shown.flatMap((visit) => visit.values)].map((v) => v.quantity))];
  const head = element("tr", heading("Quantity", "col"), heading("This visit", "col"));
  for (const visit of shown)
    head.append(heading("Visit " + visit.sequence + ", " + visit.time + " UTC" + (visit.occasion ? ", " + visit.occasion : ""), "col"));
  head.append(heading("Do", "col"));
  $("head").replaceChildren(head);
  $("values").replaceChildren(...quantities.map((quantity) => valueRow(quantity, shown)));
  if (!quantities.length) {
    const none = element("td", "none yet");
    none.colSpan = 3;
    $("values").replaceChildren(element("tr", none));
  }
}

async function removeRemark(topic) {
  if (!await wish("remark", { topic, text: "" })) return;
  $("said").textContent = "Remark on " + topic + " removed";
  await load();
  $("topic").focus();
}

function remarkRow(r) {
  return element("tr", heading(r.topic, "row"), element("td", r.text), element("td",
    button("Change", "Change the remark on " + r.topic, () => { $("topic").value = r.topic; $("text").value = r.text; $("text").focus(); }),
    " ", button("Remove", "Remove the remark on " + r.topic, () => removeRemark(r.topic))));
}

function showRemarks() {
  $("remarks").replaceChildren(...now.remarks.map(remarkRow));
  if (!now.remarks.length) {
    const none = element("td", "none yet");
    none.colSpan = 3;
    $("remarks").replaceChildren(element("tr", none));
  }
  const told = visits.filter((visit) => visit.note || visit.unread);
  $("before").hidden = told.length === 0;
  $("notes").replaceChildren(...told.map((visit) => element("li", visit.unread ? visit.bag + " cannot be read: " + visit.unread
    : "Visit " + visit.sequence + ", " + visit.time + " UTC: " + visit.note)));
}

function showChecks() {
  $("checks-kept").replaceChildren(...now.checks.map((c) => element("tr", heading(c.name, "row"), element("td", c.done ? "done" : "not done"))));
  if (now.checks.length) return;
  const none = element("td", "none yet");
  none.colSpan = 2;
  $("checks-kept").replaceChildren(element("tr", none));
}

function offer(pads) {
  const names = ["mass", ...pads.map((pad) => "spring force " + pad.name), "play of the left-hand rod", "play of the right-hand rod"];
  $("quantities").replaceChildren(...names.map((name) => { const o = element("option"); o.value = name; return o; }));
}

/* ------------------------------------------------------------ preview of the decision */

const STATES = [["out of limits", "Shown to be out of limits", "( / )"], ["undecided", "Undecided", "( ? )"],
  ["not measured", "Not measured", "(   )"]];

function reasonsOf(decision, [state, title, sign]) {
  const reasons = decision.reasons.filter((reason) => reason.state === state);
  const list = element("ul", ...reasons.map((reason) => element("li", plain(reason.text))));
  return reasons.length ? [element("h3", sign + " " + title), list] : [];
}

function decisionWords(d) {
  const what = d.archived === null ? "would be" : "is";
  if (d.decision === null) return "( ? ) It cannot be judged: " + d.fault + ".";
  return d.decision === "release" ? "( O ) It " + what + " released: all that the rules require is shown to be within its limits."
    : (d.reasons.some((reason) => reason.state === "out of limits") ? "( / ) It " : "( ? ) It ") + what + " held, because:";
}

function decisionNote(d) {
  const kept = d.archived === null ? "This is a preview: nothing is archived yet. " : "All of this is archived as " + d.archived + ". ";
  const taking = d.taking ? "The sweep that is being taken counts when it is finished. " : "";
  return kept + taking + d.swept + " of " + d.pads + " pads swept; " + d.passed + " of " + d.items + " items passed. Judged for " +
    d.day + " by the rules of " + d.rules + ".";
}

function showDecision(d) {
  $("decision-short").textContent = d.decision === null ? "it cannot be judged" : d.decision === "release" ? "release" : "hold, " + plural(d.reasons.length, "reason");
  $("decision-words").textContent = decisionWords(d);
  $("decision-note").textContent = decisionNote(d);
  $("decision-reasons").replaceChildren(...STATES.flatMap((state) => reasonsOf(d, state)));
}

async function judge() {
  try {
    showDecision(await get("/api/decision"));
  } catch (fault) {
    $("decision-short").textContent = "not judged";
    $("decision-words").textContent = "Not judged: " + fault.message + ".";
    $("decision-note").textContent = "";
    $("decision-reasons").replaceChildren();
  }
}

async function load() {
  try {
    const bench = await get("/api/state");
    visits = (await get("/api/visits")).visits;
    now = bench.setup;
    $("trouble").textContent = "";
    $("serial").textContent = bench.serial;
    offer(bench.pads);
    showValues();
    showChecks();
    showRemarks();
    await judge();
  } catch (fault) {
    $("trouble").textContent = fault.message;
  }
}

/* A wish is answered when the state tells of it, so what is loaded then is what was kept. */
async function keep(event, name, first, told) {
  event.preventDefault();
  const form = event.target;
  const body = {};
  for (const [key, text] of new FormData(form)) body[key] = text.trim();
  if (!await wish(name, body)) return;
  form.reset();
  $("said").textContent = told(body);
  await load();
  first.focus();
}

$("value").addEventListener("submit", (event) => keep(event, "setup", $("quantity"), (b) => b.quantity + " kept: " + b.value + " " + b.unit));
$("remark").addEventListener("submit", (event) => keep(event, "remark", $("topic"), (b) => "Remark on " + b.topic + " kept"));
$("check").addEventListener("submit", (event) => keep(event, "setup", $("checked"), (b) => b.quantity + ": " + (b.check || "not looked at")));
$("decision-again").addEventListener("click", judge);
$("quantity").addEventListener("change", () => { if (!$("number").value) fillForm($("quantity").value); });
load().then(() => $("quantity").focus());
