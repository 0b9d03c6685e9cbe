/* The bench page: shows the state that /events sends, and hands on keys. No framework, no outside request. */
"use strict";

const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const SECTORS = 36, LEVELS = 5, INNER = 62, STEP = 12;
let state = null;
let csrf = "";
let connected = false;
let lost = false;

/* ------------------------------------------------------------ helpers */

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function draw(parent, name, attributes, text) {
  const element = document.createElementNS(SVG, name);
  for (const key of Object.keys(attributes)) element.setAttribute(key, attributes[key]);
  if (text !== undefined) element.textContent = text;
  parent.appendChild(element);
  return element;
}

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
  const defs = draw(svg, "defs", {});
  const hatch = draw(defs, "pattern", { id: "hatch", width: 5, height: 5, patternUnits: "userSpaceOnUse",
    patternTransform: "rotate(45)" });
  draw(hatch, "rect", { width: 5, height: 5, fill: "#000" });
  draw(hatch, "rect", { width: 2.4, height: 5, fill: "#fff" });
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
  setText(ring.seen, String(seen));
  const missing = !cover ? "everything" : cover.missing || "nothing";
  setText($("missing"), (cover && !cover.witness ? "the witness (key cracked open); " : "") + missing);
  $("ring").setAttribute("aria-label", seen + " of 360 degrees seen. Missing: " + missing);
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

const GUIDE = {
  "lost": ["no crown in view", ""],
  "level": ["good height", ""],
  "too high": ["too high: go down", "M70 80V40H80V80H88L75 104L62 80Z"],
  "too low": ["too low: go up", "M70 240V280H80V240H88L75 216L62 240Z"],
};

function showGuide(live) {
  const [word, arrow] = live && state.role !== "none" ? GUIDE[live.guide] : ["", ""];
  setText($("guide-word"), word);
  setText($("guide-text"), word && live.guide_text ? live.guide_text : "");
  level.move.setAttribute("d", arrow);
  const known = live && live.posed && live.elevation_deg !== null;
  level.mark.setAttribute("visibility", known ? "visible" : "hidden");
  if (known) level.mark.setAttribute("transform", "translate(0 " + levelY(live.elevation_deg) + ")");
  $("level").setAttribute("aria-label", "Height of the camera: " +
    (known ? live.elevation_deg.toFixed(1) + " degrees, " + word : "not known"));
  setText($("counts"), live ? live.kept + (live.kept === 1 ? " frame kept, " : " frames kept, ") + live.left_out + " left out, " + live.skipped +
    " skipped" + (live.last_reason ? "; " + live.last_reason : "") : "");
}

/* ------------------------------------------------------------ overlay */

function stroke(context, points, width, colour, dash) {
  context.setLineDash(dash);
  context.lineWidth = width;
  context.strokeStyle = colour;
  context.beginPath();
  context.moveTo(points[0], points[1]);
  context.lineTo(points[2], points[3]);
  context.stroke();
}

function rimPiece(context, o, i, k) {
  const points = [o.x[i], o.y[i], o.x[k], o.y[k]];
  if (points.includes(null)) return;
  const unit = o.width / 640;
  if (o.hidden[i] || o.hidden[k]) return;
  stroke(context, points, 5 * unit, "#000", []);
  stroke(context, points, 2 * unit, "#fff", []);
}

function litPiece(context, o, i) {
  if (!o.lit[i] || o.x[i] === null) return;
  const unit = o.width / 640;
  const x = o.x[i], y = o.y[i];
  stroke(context, [x, y - 22 * unit, x, y - 6 * unit], 7 * unit, "#000", []);
  stroke(context, [x, y - 22 * unit, x, y - 6 * unit], 4 * unit, "#ffc400", []);
}

function bearingMark(context, o, i) {
  if (o.x[i] === null || o.hidden[i]) return;
  const unit = o.width / 640;
  const x = o.x[i], y = o.y[i];
  stroke(context, [x, y + 4 * unit, x, y + 14 * unit], 4 * unit, "#000", []);
  stroke(context, [x, y + 4 * unit, x, y + 14 * unit], 2 * unit, "#fff", []);
  context.font = "bold " + 15 * unit + "px sans-serif";
  context.textAlign = "center";
  context.lineWidth = 4 * unit;
  context.strokeStyle = "#000";
  context.fillStyle = "#fff";
  context.strokeText(String(i * 5), x, y + 30 * unit);
  context.fillText(String(i * 5), x, y + 30 * unit);
}

function showOverlay(o) {
  const canvas = $("over");
  const context = canvas.getContext("2d");
  if (!o) {
    context.clearRect(0, 0, canvas.width, canvas.height);
    return;
  }
  if (canvas.width !== o.width || canvas.height !== o.height) {
    canvas.width = o.width;
    canvas.height = o.height;
  }
  context.clearRect(0, 0, canvas.width, canvas.height);
  const n = o.x.length;
  for (let i = 0; i < n; i++) rimPiece(context, o, i, (i + 1) % n);
  for (let i = 0; i < n; i++) litPiece(context, o, i);
  for (let i = 0; i < n; i += 6) bearingMark(context, o, i);
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
  if (source.state === "away") return "The camera is gone: plug it in again. " + source.note;
  if (source.state === "none") return source.note || "No camera";
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
  const list = $("reasons");
  if (list.dataset.text !== reasons.join("\n")) {
    list.dataset.text = reasons.join("\n");
    list.replaceChildren(...reasons.map((reason) => {
      const item = document.createElement("li");
      item.textContent = reason;
      return item;
    }));
  }
  $("why").hidden = reasons.length === 0;
}

function padButton(index) {
  const item = document.createElement("li");
  const button = document.createElement("button");
  button.type = "button";
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 100 100");
  svg.setAttribute("aria-hidden", "true");
  button.append(svg, document.createElement("span"), document.createElement("small"));
  button.addEventListener("click", () => wish("pad", { pad: state.pads[index].name }));
  item.append(button);
  return item;
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

function press(name, on) {
  document.querySelector("[data-do=" + name + "]").setAttribute("aria-pressed", String(on));
}

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

function show(next) {
  const old = state;
  state = next;
  document.title = state.pads[state.pad].name + ": " + nowVerdict().replace("none", "not swept") + " \u2013 " +
    state.serial + " \u2013 rimglow bench";
  setText($("serial"), state.serial);
  setText($("instrument"), state.instrument);
  setText($("who"), state.technician ? "Technician: " + state.technician : "");
  setText($("finger"), fingerWords());
  showKey();
  press("witness", state.role === "witness");
  press("closed", state.role === "closed");
  setText($("trouble"), connected ? state.message : "No connection to rimglow bench on this computer");
  showVerdict();
  showPads();
  setText($("earlier"), earlierWords(state));
  showWorklist(state);
  showRing(state.live);
  showGuide(state.live);
  showOverlay(state.overlay);
  speak();
  soundChanges(old);
  finished(old);
  if (!state.technician && !document.querySelector("dialog[open]")) openDialog("ask-technician");
}

/* ------------------------------------------------------------ wishes */

async function refresh() {
  const answer = await fetch("/api/session");
  csrf = (await answer.json()).csrf;
}

async function wish(name, body) {
  wakeAudio();
  try {
    if (!csrf) await refresh();
    const answer = await fetch("/api/" + name, { method: "POST", body: JSON.stringify(body),
      headers: { "Content-Type": "application/json", "X-Csrf-Token": csrf } });
    if (answer.status === 403) csrf = "";
    if (!answer.ok) setText($("trouble"), (await answer.json()).error);
    return answer.ok;
  } catch (fault) {
    setText($("trouble"), "No connection to rimglow bench on this computer");
    return false;
  }
}

function openDialog(id) {
  const dialog = $(id);
  const input = dialog.querySelector("input[name=text]");
  if (input && id === "ask-note") input.value = state.pads[state.pad].note;
  if (input && id === "ask-finish") {
    input.value = state.occasion;
    const swept = state.pads.filter((pad, i) => pad.verdict || (i === state.pad && state.live)).length;
    setText($("finish-sum"), swept + " of " + state.pads.length + " pads swept. They are archived as one inspection " +
      "with a certificate, " +
      state.setup.values.length + " set-up values and the notes; the frames stay as they are.");
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

function singleKeys() {
  return localStorage.getItem("rimglow-single") !== "no";
}

function onKey(event) {
  const key = event.key.toLowerCase();
  const target = event.target;
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat || !state) return;
  if (document.querySelector("dialog[open]") || target.closest("input, select, textarea")) return;
  if ((key === "enter" || key === " ") && target.closest("button, a, summary")) return;
  if (!KEYS[key] || !(singleKeys() || key.length > 1)) return;
  event.preventDefault();
  actions[KEYS[key]]();
}

function onDialogs() {
  for (const dialog of document.querySelectorAll("dialog")) {
    for (const button of dialog.querySelectorAll("[data-close]"))
      button.addEventListener("click", () => dialog.close());
    const form = dialog.querySelector("form");
    if (form) form.addEventListener("submit", (event) => onSubmit(event, dialog, form));
    dialog.addEventListener("close", () => $("main").focus());
  }
}

async function onSubmit(event, dialog, form) {
  const text = form.elements.text.value.trim();
  event.preventDefault();
  dialog.close();
  if (dialog.id === "ask-technician") await wish("technician", { technician: text });
  if (dialog.id === "ask-note") await wish("note", { note: text });
  if (dialog.id === "ask-finish" && await wish("occasion", { occasion: text })) await wish("finish", {});
}

/* A pointer leaves the focus on the page, so that Enter stays the key that it says. */
function onButtons() {
  for (const button of document.querySelectorAll("[data-do]"))
    button.addEventListener("click", (event) => {
      if (state) actions[button.dataset.do]();
      if (event.detail > 0) $("main").focus({ preventScroll: true });
    });
  $("single").checked = singleKeys();
  $("single").addEventListener("change", () => localStorage.setItem("rimglow-single", $("single").checked ? "yes" : "no"));
}

/* ------------------------------------------------------------ streams */

function watchPicture() {
  const live = $("live");
  live.addEventListener("load", () => {
    live.parentElement.classList.add("on");
    if (live.naturalWidth) live.parentElement.style.aspectRatio = live.naturalWidth + " / " + live.naturalHeight;
  });
  live.addEventListener("error", () => {
    live.parentElement.classList.remove("on");
    setTimeout(againPicture, 1000);
  });
  live.src = "/stream.mjpg";
}

function againPicture() {
  $("live").src = "/stream.mjpg?" + Date.now();
}

function watchEvents() {
  const events = new EventSource("/events");
  events.addEventListener("open", () => {
    if (!connected) refresh().catch(() => {});
    if (lost) againPicture(); /* a stream that ends is no error to an img */
    lost = false;
    connected = true;
    if (state) setText($("trouble"), state.message);
  });
  events.addEventListener("message", (event) => {
    connected = true;
    show(JSON.parse(event.data));
  });
  events.addEventListener("error", () => {
    connected = false;
    lost = true;
    $("live").parentElement.classList.remove("on");
    setText($("trouble"), "No connection to rimglow bench on this computer");
    if (events.readyState === EventSource.CLOSED) setTimeout(watchEvents, 2000);
  });
}

makeRing();
makeLevel();
setMuted(muted);
onDialogs();
onButtons();
document.addEventListener("keydown", onKey);
watchPicture();
watchEvents();
