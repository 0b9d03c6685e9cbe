/* The bench page: shows the state that /events sends, and hands on keys. Beside common.js and worklist.js. */
"use strict";

const SECTORS = 36, LEVELS = 5, INNER = 62, STEP = 12;

/* ------------------------------------------------------------ helpers */

/* Bearing 0 (the key arm) at the top, clockwise. */
function at(radius, degrees) {
  const a = degrees * Math.PI / 180;
  return (radius * Math.sin(a)).toFixed(2) + " " + (-radius * Math.cos(a)).toFixed(2);
}

function cell(r0, r1, from, to) {
  return "M" + at(r0, from) + "L" + at(r1, from) + "A" + r1 + " " + r1 + " 0 0 1 " + at(r1, to) +
    "L" + at(r0, to) + "A" + r0 + " " + r0 + " 0 0 0 " + at(r0, from) + "Z";
}

const SHAPES = {
  sealed: [["circle", { cx: 50, cy: 50, r: 38 }]],
  leaking: [["circle", { cx: 50, cy: 50, r: 38 }], ["path", { d: "M20 80L80 20" }]],
  undecided: [["path", { d: "M50 6L94 50L50 94L6 50Z" }], ["path", { d: "M37 42A13 13 0 1 1 56 53Q50 56 50 63M50 70V79", "stroke-width": 9 }]],
  none: [["path", { d: "M14 14H86V86H14Z", "stroke-dasharray": "14 10" }]],
};

function setShape(svg, kind) {
  if (svg.dataset.kind === kind) return;
  svg.dataset.kind = kind;
  svg.replaceChildren();
  for (const [name, attributes] of SHAPES[kind]) draw(svg, name, attributes);
}

function mm(value) {
  return value.toFixed(3) + " mm";
}

function gapWords(x) {
  if (x.widest_mm === null || x.widest_mm === undefined) return "";
  const u = x.U_widest_mm === null ? "" : " \u00b1 " + x.U_widest_mm.toFixed(3);
  const where = x.widest_deg === null ? "" : " at " + Math.round(x.widest_deg) + "\u00b0";
  return "widest " + x.widest_mm.toFixed(3) + u + " mm" + where;
}

/* ------------------------------------------------------------ sounds */

let audio = null;
let muted = localStorage.getItem("rimglow-muted") === "yes";

function wakeAudio() {
  if (!audio && window.AudioContext) audio = new AudioContext();
  if (audio && audio.state === "suspended") audio.resume();
}

function tone(hertz, start, length, loud) {
  if (!audio || muted) return;
  const from = audio.currentTime + start;
  const oscillator = audio.createOscillator();
  const gain = audio.createGain();
  oscillator.frequency.value = hertz;
  gain.gain.setValueAtTime(0, from);
  gain.gain.linearRampToValueAtTime(loud, from + 0.01);
  gain.gain.linearRampToValueAtTime(0, from + length);
  oscillator.connect(gain).connect(audio.destination);
  oscillator.start(from);
  oscillator.stop(from + length);
}

const sounds = {
  covered: () => tone(1320, 0, 0.05, 0.08),
  sealed: () => { tone(523, 0, 0.15, 0.2); tone(784, 0.16, 0.3, 0.2); },
  leaking: () => { tone(196, 0, 0.25, 0.3); tone(196, 0.32, 0.45, 0.3); },
};

/* ------------------------------------------------------------ ring */

const ring = { cells: [], bands: [] };

function makeRing() {
  const svg = $("ring");
  hatch(svg, "hatch", 5, 2.4);
  for (let s = 0; s < SECTORS; s++) {
    ring.cells.push([]);
    for (let l = 0; l < LEVELS; l++)
      ring.cells[s].push(draw(svg, "path", { d: cell(INNER + l * STEP, INNER + (l + 1) * STEP, s * 10, s * 10 + 10),
        fill: "none", stroke: "#8a8a8a", "stroke-width": 0.8 }));
    const outer = INNER + LEVELS * STEP + 2;
    ring.bands.push(draw(svg, "path", { d: cell(outer, outer + 8, s * 10 + 0.6, s * 10 + 9.4), fill: "none",
      stroke: "#8a8a8a", "stroke-width": 0.8 }));
  }
  for (let b = 0; b < 360; b += 30)
    draw(svg, "text", { x: at(162, b).split(" ")[0], y: Number(at(162, b).split(" ")[1]) + 4, fill: "#fff",
      "font-size": 11, "text-anchor": "middle" }, b === 0 ? "key arm" : String(b));
  ring.gaps = draw(svg, "path", { d: "", fill: "none", stroke: "#ffc400", "stroke-width": 9, "stroke-dasharray": "6 3" });
  ring.here = draw(svg, "path", { d: "M-9 -152L9 -152L0 -137Z", fill: "#ffc400", stroke: "#000", visibility: "hidden" });
  ring.seen = draw(svg, "text", { x: 0, y: -2, fill: "#fff", "font-size": 30, "font-weight": "bold",
    "text-anchor": "middle" }, "0");
  draw(svg, "text", { x: 0, y: 18, fill: "#fff", "font-size": 13, "text-anchor": "middle" }, "of 360\u00b0 seen");
}

/* One piece for each run of open bearings, so that its dashes go on. */
function gapPath(map) {
  let d = "";
  for (let b = 0, from = -1; b <= map.length; b++) {
    const open = map[b] === "g";
    if (open && from < 0) from = b;
    if (open || from < 0) continue;
    for (let k = from; k < b; k += 90) {
      const to = Math.min(k + 90, b);
      d += (k === from ? "M" + at(140, k - 0.5) : "") + "A140 140 0 0 1 " + at(140, to - 0.5);
    }
    from = -1;
  }
  return d;
}

function showRing(live) {
  const cover = live ? live.coverage : null;
  for (let s = 0; s < SECTORS; s++) {
    for (let l = 0; l < LEVELS; l++)
      ring.cells[s][l].setAttribute("fill", cover && (cover.visited[s] >> l) & 1 ? "url(#hatch)" : "none");
    ring.bands[s].setAttribute("fill", cover && cover.seen[s] ? "#fff" : "none");
  }
  ring.gaps.setAttribute("d", live ? gapPath(live.map) : "");
  ring.here.setAttribute("visibility", live && live.posed && live.bearing_deg !== null ? "visible" : "hidden");
  if (live && live.bearing_deg !== null) ring.here.setAttribute("transform", "rotate(" + live.bearing_deg + ")");
  const seen = cover ? cover.seen_bearings : 0;
  const over = !cover && nowVerdict() !== "none"; /* its map is not drawn here */
  setText(ring.seen, over ? "\u2013" : String(seen));
  const missing = over ? "no sweep is being taken" : !cover ? "everything" : cover.missing || "nothing";
  setText($("missing"), (cover && !cover.witness ? "the witness (key cracked open); " : "") + missing);
  $("ring").setAttribute("aria-label", over ? "No sweep is being taken" : seen + " of 360 degrees seen. Missing: " + missing);
}

/* ------------------------------------------------------------ level guide */

const level = {};
const LEVEL_DEG = [-0.8, -0.4, 0, 0.4, 0.8], LEVEL_SPAN = 1.6;

function levelY(degrees) {
  const clipped = Math.max(-LEVEL_SPAN, Math.min(LEVEL_SPAN, degrees));
  return 160 - clipped / LEVEL_SPAN * 120;
}

function makeLevel() {
  const svg = $("level");
  draw(svg, "path", { d: "M40 34V286", stroke: "#8a8a8a", "stroke-width": 2 });
  for (const d of LEVEL_DEG) {
    draw(svg, "path", { d: "M28 " + levelY(d) + "H52", stroke: "#fff", "stroke-width": d === 0 ? 5 : 2 });
    if (d === 0) draw(svg, "text", { x: 58, y: levelY(d) + 5, fill: "#fff", "font-size": 14 }, "rim");
  }
  draw(svg, "text", { x: 45, y: 20, fill: "#fff", "font-size": 15, "text-anchor": "middle" }, "high");
  draw(svg, "text", { x: 45, y: 308, fill: "#fff", "font-size": 15, "text-anchor": "middle" }, "low");
  level.mark = draw(svg, "path", { d: "M26 0L4 -12V12Z", fill: "#ffc400", stroke: "#000", visibility: "hidden" });
  level.move = draw(svg, "path", { d: "", fill: "#ffc400" });
}

const ARROWS = {
  "too high": "M70 80V40H80V80H88L75 104L62 80Z",
  "too low": "M70 240V280H80V240H88L75 216L62 240Z",
};

function showGuide(live) {
  const word = live && state.role !== "none" ? GUIDE[live.guide] : "";
  setText($("guide-word"), word);
  setText($("guide-text"), word && live.guide_text ? live.guide_text : "");
  level.move.setAttribute("d", word && ARROWS[live.guide] || "");
  const known = live && live.posed && live.elevation_deg !== null;
  level.mark.setAttribute("visibility", known ? "visible" : "hidden");
  if (known) level.mark.setAttribute("transform", "translate(0 " + levelY(live.elevation_deg) + ")");
  $("level").setAttribute("aria-label", "Height of the camera: " +
    (known ? live.elevation_deg.toFixed(1) + " degrees, " + word : "not known"));
  setText($("counts"), live ? plural(live.kept, "frame") + " kept, " + live.left_out + " left out, " + live.skipped + " skipped" +
    (live.last_reason ? "; " + live.last_reason : "") : "");
}

/* ------------------------------------------------------------ verdict and pads */

function nowVerdict() {
  const pad = state.pads[state.pad];
  if (state.live) return state.live.verdict;
  return pad && pad.verdict ? pad.verdict : "none";
}

const sameFinger = (f) => f.finger === state.finger.kind && f.grams === state.finger.grams && f.key === state.key;

function decidedWords() {
  const others = state.pads[state.pad].fingers.some((f) => f.finger !== "firm");
  if (state.finger.kind === "firm" && state.live.verdict === "sealed" && !others)
    return "Decided, but a firm finger alone releases no pad. F: light finger, N: next pad.";
  return "Decided. N: next pad. (Enter: go on, for the whole map; F: once more, other finger.)";
}

function promptWords() {
  const live = state.live, source = state.source;
  if (state.calibration.kind) return "The bench is being calibrated. C: to its page.";
  if (state.busy) return "Archiving: every frame is checked ...";
  if (cameraWords(source)) return cameraWords(source);
  if (live && live.decided && state.role === "none") return decidedWords();
  if (source.state === "end" && state.role !== "none") return "The recording has ended. N: next pad, R: again.";
  if (state.role === "witness") return "Hold the key cracked open; show the lit gap to the camera.";
  if (state.role === "closed") return "Hold the key closed. Go round the cup, rocking slowly through the rim's height.";
  if (!live) {
    const pad = state.pads[state.pad];
    return pad.fingers.some((f) => sameFinger(f)) ? "Swept. N: next pad, R: again, F: other finger" + (state.keys.length ? ", K: other key." : ".") : "Crack the key open by a millimetre, then press W.";
  }
  if (live.coverage.witness && live.offered === live.witnesses) return "The lamp is proven. Close the key, then press Enter.";
  return live.coverage.witness ? "Paused. Close the key, then press Enter." : "Paused. W: key cracked open, Enter: key closed.";
}

function showVerdict() {
  const verdict = nowVerdict();
  const pad = state.pads[state.pad];
  $("verdict").dataset.verdict = verdict;
  setShape($("shape"), verdict);
  setText($("word"), verdict === "none" ? "not swept" : verdict);
  setText($("pad"), "Pad " + (state.pad + 1) + " of " + state.pads.length + ": " + pad.name +
    (pad.note ? " \u2013 " + pad.note : ""));
  setText($("number"), state.live ? gapWords(state.live) : [gapWords(pad), pad.reason].filter(Boolean).join("; "));
  setText($("prompt"), promptWords());
  const reasons = state.live ? state.live.reasons : [];
  fill($("reasons"), reasons, (reason) => element("li", reason));
  $("why").hidden = reasons.length === 0;
}

function padButton(index) {
  const made = element("button", document.createElementNS(SVG, "svg"), element("span"), element("small"));
  made.type = "button";
  made.firstChild.setAttribute("viewBox", "0 0 100 100");
  made.firstChild.setAttribute("aria-hidden", "true");
  made.addEventListener("click", () => wish("pad", { pad: state.pads[index].name }));
  return element("li", made);
}

function padWords(pad, verdict, now) {
  const fingers = pad.fingers;
  if (fingers.length > 1 || (fingers.length && (fingers[0].finger !== "light" || fingers[0].key))) return fingersWords(pad);
  if (verdict === "none") return pad.unmeasured ? "swept, not measured" : now ? "now" : "\u2013";
  return verdict + (!now && pad.widest_mm !== null && verdict === "leaking" ? " " + mm(pad.widest_mm) : "");
}

function showPads() {
  const list = $("pads");
  while (list.children.length < state.pads.length) list.append(padButton(list.children.length));
  state.pads.forEach((pad, i) => {
    const button = list.children[i].firstElementChild;
    const now = i === state.pad;
    const verdict = now ? nowVerdict() : pad.verdict || "none";
    setShape(button.children[0], verdict);
    setText(button.children[1], pad.name);
    setText(button.children[2], padWords(pad, verdict, now));
    if (now) button.setAttribute("aria-current", "step");
    else button.removeAttribute("aria-current");
  });
}

/* ------------------------------------------------------------ state */

let spoken = "";
function speak() {
  const words = state.pads[state.pad].name + ": " + (nowVerdict() === "none" ? "not swept" : nowVerdict()) + ". " +
    promptWords();
  if (words !== spoken) setText($("spoken"), words);
  spoken = words;
}

function soundChanges(old) {
  if (!old || !state.live || !old.live || old.pad !== state.pad) return;
  if (state.live.decided && !old.live.decided && sounds[state.live.verdict]) sounds[state.live.verdict]();
  else if (state.live.coverage.seen.filter(Boolean).length > old.live.coverage.seen.filter(Boolean).length)
    sounds.covered();
}

function fingerWords() {
  const f = state.finger;
  return f.grams === null ? (f.kind === "unstated" ? "Finger not stated" : f.kind[0].toUpperCase() + f.kind.slice(1) + " finger")
    : f.grams + " g";
}

/* Only where the key of another pad closes this one too. */
function showKey() {
  document.querySelector("[data-do=key]").hidden = state.keys.length === 0;
  document.querySelector(".keys").classList.toggle("keyed", state.keys.length > 0);
  setText($("key"), state.key ? "Key of " + state.key : "Own key");
}

function finished(old) {
  const f = state.finished;
  if (!f || (old && old.finished && old.finished.bag === f.bag) || !old) return;
  setText($("done-text"), state.serial + " is " + f.verdict + ", stored as " + f.bag + "." +
    (f.verdict === "undecided" ? " An instrument is sealed only when every pad was swept and sealed." : ""));
  $("done-link").href = "/archive/certificate?bag=" + encodeURIComponent(f.bag);
  openDialog("done");
}

function show(old) {
  document.title = state.pads[state.pad].name + ": " + nowVerdict().replace("none", "not swept") + " \u2013 " +
    state.serial + " \u2013 rimglow bench";
  setText($("serial"), state.serial);
  setText($("instrument"), state.instrument);
  setText($("who"), state.technician ? "Technician: " + state.technician : "");
  setText($("finger"), fingerWords());
  showKey();
  press("witness", state.role === "witness");
  press("closed", state.role === "closed");
  showVerdict();
  showPads();
  setText($("earlier"), earlierWords());
  showWorklist();
  showRing(state.live);
  showGuide(state.live);
  showOverlay(state.overlay);
  speak();
  soundChanges(old);
  finished(old);
  if (!state.technician && !document.querySelector("dialog[open]")) openDialog("ask-technician");
}

/* ------------------------------------------------------------ wishes */

function openDialog(id) {
  const dialog = $(id);
  const input = dialog.querySelector("input[name=text]");
  if (input && id === "ask-note") input.value = state.pads[state.pad].note;
  if (input && id === "ask-finish") {
    input.value = state.occasion;
    const swept = state.pads.filter((pad, i) => pad.verdict || (i === state.pad && state.live)).length;
    setText($("finish-sum"), swept + " of " + plural(state.pads.length, "pad") + " swept. All of this is archived as one inspection with a certificate, " +
      plural(state.setup.values.length, "set-up value") + ", " + plural(state.setup.checks.length, "check") +
      " and the notes; the frames stay as they are.");
  }
  if (!dialog.open) dialog.showModal();
}

const actions = {
  witness: () => wish("role", { role: state.role === "witness" ? "none" : "witness" }),
  closed: () => wish("role", { role: state.role === "closed" ? "none" : "closed" }),
  next: () => wish("pad", { pad: "next" }),
  previous: () => wish("pad", { pad: "previous" }),
  redo: () => wish("redo", {}),
  note: () => openDialog("ask-note"),
  finger: () => wish("finger", { finger: state.finger.kind === "light" ? "firm" : "light" }),
  key: () => { if (state.keys.length) wish("key", { key: ["", ...state.keys, ""][["", ...state.keys].indexOf(state.key) + 1] }); },
  worklist: () => openDialog("worklist"),
  setup: () => { location.href = "/setup"; },
  finish: () => openDialog("ask-finish"),
  mute: () => setMuted(!muted),
  calibrate: () => { location.href = "/calibrate"; },
  help: () => openDialog("help"),
};

function setMuted(on) {
  muted = on;
  localStorage.setItem("rimglow-muted", on ? "yes" : "no");
  press("mute", on);
}

const KEYS = { w: "witness", enter: "closed", " ": "closed", n: "next", pagedown: "next", p: "previous",
  pageup: "previous", r: "redo", t: "note", f: "finger", k: "key", l: "worklist", s: "setup", e: "finish", c: "calibrate",
  m: "mute", "?": "help" };

async function submit(id, form) {
  const text = form.elements.text.value.trim();
  if (id === "ask-technician") await wish("technician", { technician: text });
  if (id === "ask-note") await wish("note", { note: text });
  if (id === "ask-finish" && await wish("occasion", { occasion: text })) await wish("finish", {});
}

/* A browser lets a page sound once somebody has pressed something on it. */
for (const pressed of ["keydown", "pointerdown"]) document.addEventListener(pressed, wakeAudio);
makeRing();
makeLevel();
setMuted(muted);
run({ keys: () => KEYS, actions, show, submit });
stream(true);
