/* The page Calibrate: shows the state's calibration, and hands on keys. Beside common.js. */
"use strict";

/* ------------------------------------------------------------ helpers */

function entry([name, value]) {
  const div = document.createElement("div");
  div.append(element("dt", name), element("dd", value));
  return div;
}

const kindOf = (s) => s.calibration.kind || "none";
const kind = () => kindOf(state);

/* ------------------------------------------------------------ picture */

/* Tags by a line around each, the whole board by a dashed one. */
function showBoard(picture) {
  const context = canvasFor(picture);
  if (!picture) return;
  const unit = picture.width / 640;
  for (const tag of picture.tags) edged(context, tag, [5 * unit, 2 * unit], "#fff");
  if (picture.outline.length > 3) edged(context, picture.outline, [5 * unit, 2 * unit], "#fff", [10 * unit, 6 * unit]);
}

/* ------------------------------------------------------------ lens */

const map = { cells: [], counts: [], corners: [] };

function makeMap() {
  const svg = $("map");
  hatch(svg, "covered", 7, 1.6);
  for (let f = 0; f < 9; f++) {
    const x = 4 + 104 * (f % 3), y = 4 + 61 * Math.floor(f / 3);
    map.cells.push(draw(svg, "rect", { x: x, y: y, width: 104, height: 61, fill: "none", stroke: "#8a8a8a", "stroke-width": 1.5 }));
    draw(svg, "rect", { x: x + 22, y: y + 17, width: 60, height: 27, fill: "#000" });
    map.counts.push(draw(svg, "text", { x: x + 52, y: y + 36, fill: "#fff", "font-size": 15, "text-anchor": "middle" }, ""));
  }
  for (let k = 0; k < 4; k++)
    map.corners.push(draw(svg, "rect", { x: k % 2 ? 296 : 8, y: k < 2 ? 8 : 167, width: 16, height: 16, fill: "#000",
      stroke: "#fff", "stroke-width": 2 }));
}

function showMap(lens) {
  lens.fields.forEach((field, f) => {
    const enough = field.views >= lens.field_views;
    map.cells[f].setAttribute("fill", enough && field.views ? "url(#covered)" : "none");
    setText(map.counts[f], Math.min(field.views, lens.field_views) + " of " + lens.field_views);
  });
  lens.corners.forEach((near, k) => map.corners[k].setAttribute("fill", near ? "#fff" : "#000"));
  const missing = lens.fields.filter((field) => field.views < lens.field_views).map((field) => field.name);
  $("map").setAttribute("aria-label", "Parts of the picture with too few photographs: " + (missing.join(", ") || "none") +
    ". Corners without near marks: " + lens.corners.filter((near) => !near).length);
}

const tilt = {};
const TILT_BAR = 80;
const counted = (n, least) => (n < least ? n + " of " + least : n + ": enough");

function makeTilts() {
  const svg = $("tilts");
  hatch(svg, "tipped", 7, 1.6);
  ["views", "tipped_up_down", "tipped_left_right"].forEach((name, i) => {
    const y = 4 + 26 * i;
    draw(svg, "rect", { x: 150, y: y, width: TILT_BAR, height: 18, fill: "none", stroke: "#8a8a8a", "stroke-width": 1.5 });
    draw(svg, "text", { x: 4, y: y + 14, fill: "#fff", "font-size": 13 }, ["photographs", "tipped up, down", "tipped left, right"][i]);
    tilt[name] = { bar: draw(svg, "rect", { x: 150, y: y, width: 0, height: 18, fill: "url(#tipped)", stroke: "#fff" }),
      count: draw(svg, "text", { x: 158 + TILT_BAR, y: y + 14, fill: "#fff", "font-size": 13 }, "") };
  });
}

function showTilts(lens) {
  const words = [];
  for (const [name, word, least] of [["views", "photographs", lens.min_views], ["tipped_up_down", "tipped up or down", lens.tilted_views],
    ["tipped_left_right", "tipped left or right", lens.tilted_views]]) {
    tilt[name].bar.setAttribute("width", lens[name] < least ? TILT_BAR * lens[name] / least : TILT_BAR);
    setText(tilt[name].count, counted(lens[name], least));
    words.push(word + ": " + counted(lens[name], least));
  }
  $("tilts").setAttribute("aria-label", words.join("; "));
}

function lensValues(lens) {
  const r = lens.result;
  if (!r) return [];
  const px = (name) => r.lens[name].toFixed(2) + " \u00b1 " + r.standard_deviation[name].toFixed(2) + " px";
  return [["rms of the marks", r.rms_px.toFixed(3) + " px"], ["focal length across", px("fx_px")],
    ["focal length down", px("fy_px")], ["centre across", px("cx_px")], ["centre down", px("cy_px")],
    ["k1", r.lens.k1.toFixed(5) + " \u00b1 " + r.standard_deviation.k1.toFixed(5)]];
}

function shotRow(shot) {
  const row = document.createElement("tr");
  row.append(element("td", shot.file), element("td", shot.rms_px === null ? "\u2013" : shot.rms_px.toFixed(3)),
    element("td", shot.used ? "yes" : "no: does not fit the others"));
  return row;
}

function resultWords(lens) {
  if (lens.fault) return lens.fault;
  if (lens.fitting) return "Working it out from " + plural(lens.photographs.length, "photograph") + " ...";
  if (!lens.result) return lens.photographs.length < 3 ? "Three photographs make a first result." : "";
  return "From " + plural(lens.result_of, "photograph") + ", " + lens.result.points + " marks.";
}

function lensPrompt(lens) {
  if (state.calibration.written) return "Written. X ends; the light comes next.";
  if (lens.result && lens.result.good && !lens.fitting) return "Good enough. S writes the values to the station file.";
  if (state.source.state === "end") return "The recorded photographs have all been shown.";
  if (cameraWords(state.source)) return cameraWords(state.source);
  if (lens.why) return lens.why[0].toUpperCase() + lens.why.slice(1) + ".";
  if (lens.adds && lens.automatic) return (lens.still ? "Taking. New: " : "Hold still. New: ") + lens.adds + ".";
  if (lens.adds) return "Space takes it. New: " + lens.adds + ".";
  return lens.photographs.length ? "This view is known. " + (lens.advice.length ? "Next: " + lens.advice[0] + "." : "") :
    "Show the board to the camera so that it fills most of the picture.";
}

function showLens(lens) {
  const good = lens.result && lens.result.good && !lens.fitting;
  $("answer").dataset.outcome = good ? "good" : "none";
  setText($("answer-word"), good ? "Good enough" : "More photographs needed");
  setText($("prompt"), lensPrompt(lens));
  setText($("told"), lens.told ? "Last: " + lens.told : "");
  setText($("guide-word"), lens.picture && lens.picture.tags.length ? plural(lens.picture.tags.length, "tag") + " found" : "no board");
  setText($("guide-text"), lens.usable ? (lens.still ? "held still" : "moving") : "");
  showMap(lens);
  showTilts(lens);
  fill($("advice"), lens.advice.length ? lens.advice : ["nothing is missing"], (text) => element("li", text));
  setText($("result-state"), resultWords(lens));
  fill($("values"), lensValues(lens), entry);
  fill($("shots"), lens.photographs, shotRow);
  $("shots-table").hidden = lens.photographs.length === 0;
  setText($("lens-folder"), lens.photographs.length ? "Photographs: " + lens.folder : "");
  showBoard(lens.picture);
}

/* ------------------------------------------------------------ light */

const grid = { cells: [] };
const SECTORS = 36, LEVELS = 5;

function makeGrid() {
  const svg = $("grid");
  hatch(svg, "visited", 7, 1.6);
  for (let s = 0; s < SECTORS; s++) {
    grid.cells.push([]);
    for (let l = 0; l < LEVELS; l++)
      grid.cells[s].push(draw(svg, "rect", { x: 36 + 10 * s, y: 84 - 18 * l, width: 10, height: 18, fill: "none", stroke: "#8a8a8a",
        "stroke-width": 0.8 }));
  }
  draw(svg, "text", { x: 30, y: 24, fill: "#fff", "font-size": 11, "text-anchor": "end" }, "high");
  draw(svg, "text", { x: 30, y: 61, fill: "#fff", "font-size": 11, "text-anchor": "end" }, "rim");
  draw(svg, "text", { x: 30, y: 98, fill: "#fff", "font-size": 11, "text-anchor": "end" }, "low");
  for (let b = 0; b <= 360; b += 60)
    draw(svg, "text", { x: 36 + b, y: 116, fill: "#fff", "font-size": 11, "text-anchor": "middle" }, String(b));
  grid.feeler = draw(svg, "path", { d: "M0 120L7 131H-7Z", fill: "#fff" });
  grid.here = draw(svg, "path", { d: "M-6 0H6L0 9Z", fill: "#ffc400", visibility: "hidden" });
}

/* Once the sweep has ended, what it covered stays to be seen. */
function showGrid(light, live) {
  if (!live && grid.folder === light.folder) {
    grid.here.setAttribute("visibility", "hidden");
    return;
  }
  grid.folder = light.folder;
  for (let s = 0; s < SECTORS; s++)
    for (let l = 0; l < LEVELS; l++)
      grid.cells[s][l].setAttribute("fill", live && (live.coverage.visited[s] >> l) & 1 ? "url(#visited)" : "none");
  grid.feeler.setAttribute("transform", "translate(" + (36 + light.bearing_deg) + " 0)");
  const known = live && live.posed && live.bearing_deg !== null;
  grid.here.setAttribute("visibility", known ? "visible" : "hidden");
  if (known) grid.here.setAttribute("transform", "translate(" + (36 + live.bearing_deg) + " 0)");
  $("grid").setAttribute("aria-label", "Frames by bearing and height of the camera. The feeler lies at " + light.bearing_deg +
    " degrees" + (known ? "; the camera is at " + Math.round(live.bearing_deg) : ""));
}

function lightPrompt(light, live) {
  if (state.calibration.written) return "Written. X ends.";
  if (light.stage === "fit") return "Measuring all frames and fitting ...";
  if (light.stage === "done" && light.error) return "No result. R: sweep again. " + light.error;
  if (light.stage === "done") return light.fault ? "The values should not be used. R: sweep again." :
    "Good. S writes the values to the station file.";
  if (cameraWords(state.source)) return cameraWords(state.source);
  if (!live) return "";
  if (state.role === "witness") return "Hold the key cracked open; show the lit gap to the camera.";
  if (!live.coverage.witness) return "Crack the key open by a millimetre, then press W.";
  if (state.source.state === "end") return "The recording has ended. F: fit.";
  if (state.role === "closed") return live.coverage.missing ? "Go round the cup, rocking slowly through the rim's height. F: fit." :
    "Everything is covered. F: fit.";
  return "The lamp is proven. Feeler in, key closed with the band, then press Enter." + (live.closed ? " F: fit." : "");
}

function lightValues(light) {
  const r = light.result;
  if (!r) return [];
  const rows = [["residual", r.residual.rms_mm.toFixed(4) + " mm rms (was " + r.residual.rms_before_mm.toFixed(4) + ")"],
    ["slot model", "u " + r.model_floor_mm.toFixed(4) + " mm and " + r.model_relative.toFixed(3) + " of the width"]];
  for (const [name, v] of Object.entries(r.values))
    rows.push([name, v.value.toFixed(3) + " \u00b1 " + v.u.toFixed(3) + " (was " + v.before.toFixed(3) + ")"]);
  return rows;
}

function showResponse(light) {
  const image = $("response"), there = light.stage === "done" && light.result !== null;
  const source = "/calibrate/response.svg?" + encodeURIComponent(light.folder);
  image.hidden = !there;
  if (!there || image.dataset.source === source) return;
  image.dataset.source = source;
  image.src = source;
  image.alt = "Response: what the light of a gap reads, against the known gap; residual " + light.result.residual.rms_mm.toFixed(4) +
    " mm rms over " + light.result.bearings + " bearings";
}

function showLight(light) {
  const live = state.live, done = light.stage === "done";
  const good = done && !light.error && !light.fault;
  $("answer").dataset.outcome = good ? "good" : done ? "bad" : "none";
  setText($("answer-word"), good ? "Good" : done ? "Not good" : light.stage === "fit" ? "Fitting" : "Sweep over the feeler");
  setText($("prompt"), lightPrompt(light, live));
  setText($("told"), live && live.last_reason ? "Last left out: " + live.last_reason : "");
  setText($("guide-word"), live && state.role !== "none" ? GUIDE[live.guide] : "");
  setText($("guide-text"), live && state.role !== "none" ? live.guide_text : "");
  showGrid(light, live);
  if (live) setText($("missing"), (live.coverage.witness ? "" : "the witness (key cracked open); ") + (live.coverage.missing || "nothing"));
  if (live) setText($("counts"), plural(live.kept, "frame") + " kept, " + live.left_out + " left out");
  setText($("feeler-said"), "Pad " + light.pad + " on a feeler of " + light.feeler_mm + " mm (u " + light.feeler_u_mm + " mm), " +
    light.width_mm + " mm wide, at " + light.bearing_deg + "\u00b0. What the feeler itself hides stays missing.");
  setText($("light-state"), light.error || light.fault || (light.result ? light.result.bearings + " bearings in " + light.result.frames +
    " frames." : "Not fitted yet."));
  fill($("light-values"), lightValues(light), entry);
  showResponse(light);
  setText($("light-folder"), "Sweep: " + light.folder);
  showOverlay(state.overlay);
}

/* ------------------------------------------------------------ state */

/* Spoken when what is to be done, or what became of a photograph, has changed; not at every movement. */
let spoken = "";
function speak() {
  const lens = state.calibration.lens;
  const words = kind() === "none" ? "" : $("answer-word").textContent + ". " +
    (lens ? lens.told + ". " + (lens.advice[0] || "") : $("prompt").textContent);
  if (words !== spoken) setText($("spoken"), words);
  spoken = words;
}

function showButtons(what) {
  for (const one of document.querySelectorAll("[data-for]")) one.hidden = !one.dataset.for.split(" ").includes(what);
  const lens = state.calibration.lens;
  if (lens) document.querySelector("[data-do=skip]").hidden = !lens.recorded;
  press("automatic", Boolean(lens && lens.automatic));
  press("witness", state.role === "witness");
  press("closed", state.role === "closed");
}

/* What was recorded says its own feeler; a person fills in the rest. */
function showForm() {
  const wedge = state.calibration.recorded.wedge, pad = $("pad");
  if (pad.options.length !== state.pads.length) {
    pad.replaceChildren(...state.pads.map((p) => element("option", p.name)));
    pad.value = wedge ? wedge.pad : state.pads[state.pad].name;
    for (const name of ["feeler_mm", "feeler_u_mm", "bearing_deg", "width_mm"])
      if (wedge) $("begin-light").elements[name].value = wedge[name];
  }
}

function show(before) {
  const c = state.calibration, what = kind(), old = before ? kindOf(before) : "";
  document.body.dataset.kind = what;
  document.title = { none: "Calibrate", lens: "Lens", light: "Light" }[what] + " \u2013 rimglow bench";
  setText($("title"), { none: "Calibrate", lens: "Calibrate the lens", light: "Calibrate the light" }[what]);
  setText($("station"), "Station file: " + c.station);
  showForm();
  showButtons(what);
  if (c.lens) showLens(c.lens);
  if (c.light) showLight(c.light);
  fill($("written"), c.remarks || [], (text) => element("p", text));
  speak();
  if (old !== what) stream(what !== "none");
  if (old && old !== what) $("main").focus();
}

/* ------------------------------------------------------------ wishes */

const calibrate = (word, rest) => wish("calibrate", Object.assign({ do: word }, rest));

function beginLight() {
  const form = $("begin-light"), wanted = { pad: form.elements.pad.value };
  for (const name of ["feeler_mm", "feeler_u_mm", "bearing_deg", "width_mm"]) {
    const value = Number(form.elements[name].value.trim().replace(",", "."));
    if (!form.elements[name].value.trim() || !Number.isFinite(value)) {
      setText($("trouble"), form.querySelector("[for=" + form.elements[name].id + "]").textContent + ": a number is needed");
      form.elements[name].focus();
      return;
    }
    wanted[name] = value;
  }
  calibrate("light", wanted);
}

function askWrite() {
  const c = state.calibration;
  setText($("write-what"), (kind() === "lens" ? "Picture size and lens values go into [lens] of " :
    "The values of the light, and the day, go into ") + c.station + ". All else in it, comments too, stays as it is.");
  $("ask-write").showModal();
}

const actions = {
  lens: () => calibrate("lens", { board: $("board").value.trim() }),
  light: () => $("feeler").focus(),
  take: () => calibrate("take"),
  automatic: () => calibrate("automatic", { on: !state.calibration.lens.automatic }),
  back: () => calibrate("back"),
  skip: () => calibrate("skip"),
  witness: () => wish("role", { role: state.role === "witness" ? "none" : "witness" }),
  closed: () => wish("role", { role: state.role === "closed" ? "none" : "closed" }),
  fit: () => calibrate("fit"),
  again: () => calibrate("again"),
  write: askWrite,
  leave: () => (state.calibration.written ? calibrate("leave") : $("ask-leave").showModal()),
  bench: () => { location.href = "/"; },
  help: () => $("help").showModal(),
};

const KEYS = {
  none: { 1: "lens", 2: "light", b: "bench", "?": "help" },
  lens: { " ": "take", enter: "take", a: "automatic", z: "back", n: "skip", s: "write", x: "leave", "?": "help" },
  light: { w: "witness", " ": "closed", enter: "closed", f: "fit", r: "again", s: "write", x: "leave", "?": "help" },
};

function onForms() {
  $("begin-lens").addEventListener("submit", (event) => { event.preventDefault(); actions.lens(); });
  $("begin-light").addEventListener("submit", (event) => { event.preventDefault(); beginLight(); });
  $("begin-light").noValidate = true;
}

function submit(id) {
  if (id === "ask-write") calibrate("write", { station: state.calibration.station });
  else calibrate("leave");
}

makeMap();
makeTilts();
makeGrid();
onForms();
run({ keys: () => KEYS[kind()], actions, show, submit });
