/* The work list: pads worst first, with what to do. Used by bench.js, whose setShape it needs, beside common.js. */
"use strict";

function worklistFigures(line) {
  const parts = [line.verdict || "not swept"];
  if (line.verdict === "leaking" && line.orifice_mm !== null)
    parts.push("lets out as much as a hole of " + line.orifice_mm.toFixed(2) + " mm (" + line.orifice_low_mm.toFixed(2) + " to " +
      line.orifice_high_mm.toFixed(2) + ")");
  if (line.area_mm2) parts.push(line.area_mm2.toFixed(3) + " mm\u00b2 open");
  if (line.width_mm !== null && line.verdict !== "leaking") /* a leak's sentence says it */
    parts.push("widest " + line.width_mm.toFixed(3) + (line.U_width_mm === null ? "" : " \u00b1 " + line.U_width_mm.toFixed(3)) +
      " mm at " + Math.round(line.bearing_deg) + "\u00b0");
  return parts.join(", ");
}

/* What the leak does to the notes, and what is in no figure. */
function worklistNotes(line) {
  const parts = [];
  if (line.verdict !== "leaking") return "";
  if (line.starts_at !== null)
    parts.push("Coming down it begins to matter at " + line.starts_at + "; " + line.notes + (line.notes === 1 ? " note suffers." : " notes suffer."));
  if (line.unseen)
    parts.push(line.unseen + (line.unseen === 1 ? " bearing was" : " bearings were") + " not seen and " + (line.unseen === 1 ? "is" : "are") + " in no figure here.");
  return parts.join(" ");
}

function worklistStep(step) {
  return element("li", plain(step.fault) + " ", element("strong", plain(step.correction)), " " + plain(step.afterwards));
}

function worklistWork(line) {
  const notes = worklistNotes(line), parts = [];
  if (notes) parts.push(element("p", notes));
  if (line.steps.length) parts.push(element("ol", ...line.steps.map(worklistStep)));
  if (line.more)
    parts.push(element("p", plural(line.more, "smaller fault") + " beside these: sweep again when they are corrected."));
  return parts;
}

function worklistItem(line) {
  const go = button("", "Go to pad " + line.name, () => { $("worklist").close(); wish("pad", { pad: line.name }); });
  const shape = draw(go, "svg", { viewBox: "0 0 100 100", "aria-hidden": "true" });
  setShape(shape, line.verdict || "none");
  go.append(" ", line.name);
  const summary = element("p", element("strong", worklistFigures(line)),
    ": " + plain(line.sentence) + (line.sentence.endsWith(".") ? "" : "."));
  return element("li", go, element("div", summary, ...worklistWork(line)));
}

function worklistHead() {
  const count = (verdict) => state.worklist.filter((line) => line.verdict === verdict).length;
  const live = state.live ? " The sweep that is being taken counts when it is finished." : "";
  return count("leaking") + " leaking, " + count("undecided") + " undecided, " + count(null) + " not swept, " + count("sealed") +
    " sealed." + live + (state.worklist_fault === null ? "" : " No diagnosis: " + state.worklist_fault + ".");
}

function showWorklist() {
  setText($("worklist-sum"), worklistHead());
  fill($("worklist-lines"), state.worklist, worklistItem);
}

/* ------------------------------------------------------------ what several sweeps of a pad say */

function fingerName(f) {
  return (f.key ? "key of " + f.key + ", " : "") + pressName(f);
}

function pressName(f) {
  return f.grams === null ? (f.finger === "unstated" ? "finger not stated" : f.finger) : f.grams + " g";
}

/* "light: leaking 0.061; firm: sealed" */
function fingersWords(pad) {
  return pad.fingers.map((f) => fingerName(f) + ": " + f.verdict +
    (f.verdict === "leaking" && f.widest_mm !== null ? " " + f.widest_mm.toFixed(3) : "")).join("; ");
}

function earlierWords() {
  const e = state.earlier, parts = [];
  const days = e.first === null ? "" : e.first === e.last ? " of " + e.first : " of " + e.first + " to " + e.last;
  if (e.pads && !state.finished)
    parts.push(plural(e.pads, "pad") + " from an earlier run" + days + " (rimglow bench --fresh begins anew).");
  for (const pad of state.pads)
    if (pad.unmeasured) parts.push(pad.name + ": swept, not measured: " + pad.unmeasured + ".");
  if (!e.pads && e.bag) parts.push("Archived so far: " + e.bag + ".");
  return parts.join(" ");
}
