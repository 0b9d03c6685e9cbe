/* Photographs of the archive beside their maps. Beside common.js. */
"use strict";

let cases = [], next = null, open = "", asked = 0;

async function ask(path, values) {
  try {
    const json = await get(path, values);
    setText($("trouble"), "");
    return json;
  } catch (fault) {
    setText($("trouble"), fault.message === NO_CONNECTION ? "No connection to rimglow teach on this computer" : fault.message);
    return null;
  }
}

const degrees = (value) => Math.round(value) + "\u00b0";
const width = (c) => c.widest_mm === null ? "no gap measured" :
  c.widest_mm.toFixed(3) + " \u00b1 " + c.U_mm.toFixed(3) + " mm at " + degrees(c.widest_deg);

/* ------------------------------------------------------------ list */

function options(select, words, value) {
  for (const [i, word] of words.entries()) {
    const made = element("option", word);
    made.value = value(i, word);
    select.append(made);
  }
}

function caseButton(c) {
  const made = element("button", SIGNS[c.verdict] + c.case + ", pad " + c.pad + ": " + c.verdict + ", " + width(c) + ", " + c.cause);
  made.type = "button";
  made.dataset.case = c.case;
  made.addEventListener("click", () => show(c.case));
  return element("li", made);
}

function tell(json) {
  const word = next === null ? "" : ", and there may be more";
  setText($("found"), plural(cases.length, "case") + word);
  const out = json.left_out;
  if (out.sweeps) {
    $("left").hidden = false;
    setText($("left"), plural(out.sweeps, "sweep") + " of " + plural(out.bags, "inspection") +
      " left out: the files are not as they were archived. Who keeps the archive asks rimglow archive verify.");
  }
}

async function list(from) {
  const mine = ++asked;
  const form = new FormData($("choose"));
  if (!from) setText($("found"), "Looking through the archive\u2026");
  const json = await ask("/api/pairs", { verdict: form.get("verdict"), size: form.get("size"), cause: form.get("cause"), from });
  if (mine !== asked) return;
  if (!json) {
    setText($("found"), "");
    return;
  }
  if (!from) {
    cases = [];
    $("cases").replaceChildren();
    $("left").hidden = true;
    $("case").hidden = true;
    open = "";
  }
  cases.push(...json.cases);
  $("cases").append(...json.cases.map(caseButton));
  next = json.next;
  $("more").hidden = next === null;
  tell(json);
}

/* ------------------------------------------------------------ a case */

function photographs() {
  for (const view of ["in", "out"]) {
    const img = $(view);
    if (!img.closest("figure").hidden)
      img.src = ($("marks").checked ? "/pairs/marked.png?" : "/pairs/photo.jpg?") + new URLSearchParams({ case: open, view });
  }
}

function viewOf(json, name) {
  const view = json.views.find((v) => v.view === name);
  $("view-" + name).hidden = !view;
  if (!view) return;
  setText($(name + "-says"), view.says);
  $(name).alt = "Photograph of the pad from bearing " + degrees(view.camera_bearing_deg) + ". " + view.says;
}

function arcRow(a) {
  return element("tr", ...[degrees(a.start_deg), degrees(a.end_deg), a.extent_mm.toFixed(1) + " mm", a.max_width_mm.toFixed(3) + " mm",
    degrees(a.max_bearing_deg)].map((text) => element("td", text)));
}

function fillCase(json) {
  open = json.case;
  setText($("title"), "Case " + json.case);
  const widest = json.widest === null ? "no gap measured" : "widest " + json.widest.width_mm.toFixed(3) + " \u00b1 " +
    json.widest.U_mm.toFixed(3) + " mm at " + degrees(json.widest.bearing_deg);
  setText($("summary"), SIGNS[json.verdict] + json.verdict + ", pad " + json.pad + ", finger " + json.finger + "; " + widest +
    "; tolerance " + json.tolerance_mm.toFixed(3) + " mm; " + json.cause +
    (json.faults.length > 1 ? " (" + json.faults.join(", ") + ")" : ""));
  setText($("in-title"), json.widest === null ? "Nearest to the rim plane" : "Gap in view");
  viewOf(json, "in");
  viewOf(json, "out");
  photographs();
  $("ring").src = "/pairs/ring.svg?" + new URLSearchParams({ case: open });
  $("ring").alt = "Ring map of the case; its openings stand in the table";
  $("strip").src = "/pairs/strip.png?" + new URLSearchParams({ case: open });
  $("strip").alt = "The rim unwrapped in every frame of the sweep, one row a frame";
  $("reasons").replaceChildren(...json.reasons.map((r) => element("li", plain(r))));
  $("arcs").replaceChildren(...json.arcs.map(arcRow));
  setText($("truth"), json.truth);
}

async function show(name) {
  const json = await ask("/api/pair", { case: name });
  if (!json) return;
  fillCase(json);
  for (const one of document.querySelectorAll("#cases button"))
    if (one.dataset.case === name) one.setAttribute("aria-current", "true");
    else one.removeAttribute("aria-current");
  $("case").hidden = false;
  $("next").hidden = cases.findIndex((c) => c.case === name) >= cases.length - 1;
  $("title").focus();
}

function showNext() {
  const at = cases.findIndex((c) => c.case === open);
  if (at + 1 < cases.length) show(cases[at + 1].case);
}

function backToList() {
  const at = [...document.querySelectorAll("#cases button")].find((b) => b.dataset.case === open);
  (at || $("verdict")).focus();
}

/* ------------------------------------------------------------ start */

async function begin() {
  const choices = await ask("/api/pairs/choices");
  if (!choices) return;
  $("none").hidden = choices.archive;
  $("there").hidden = !choices.archive;
  if (!choices.archive) return;
  options($("verdict"), choices.verdicts, (i, word) => word);
  options($("size"), choices.sizes, (i) => i);
  options($("cause"), choices.causes, (i, word) => word);
  list(0);
}

$("choose").addEventListener("submit", (event) => {
  event.preventDefault();
  list(0);
});
$("more").addEventListener("click", () => list(next));
$("marks").addEventListener("change", photographs);
$("next").addEventListener("click", showNext);
$("back").addEventListener("click", backToList);
begin();
