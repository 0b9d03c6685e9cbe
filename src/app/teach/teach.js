/* What the lessons share: sliders, drawn pictures, the strip, the ring map, verdicts. Needs common.js. */
"use strict";

const PAGE = [...crypto.getRandomValues(new Uint8Array(12))].map((n) => (n % 36).toString(36)).join("");

/* Label, unit and decimals of each slider; of: it says more about the one before it. */
const SLIDER = {
  gap_mm: ["Gap", "mm", 3], arc_deg: ["Length of the opening", "\u00b0", 0, true], bearing_deg: ["Bearing of the opening", "\u00b0", 0, true],
  tilt_mm: ["Tilt", "mm", 3], tilt_bearing_deg: ["Tilt raises bearing", "\u00b0", 0, true],
  saddle_mm: ["Saddle", "mm", 3], saddle_bearing_deg: ["Saddle raises bearing", "\u00b0", 0, true],
  crease_mm: ["Crease", "mm", 3], crease_bearing_deg: ["Bearing of the crease", "\u00b0", 0, true],
  grams: ["Finger's force", "g", 0],
  elevation_deg: ["Camera's height", "\u00b0", 1], camera_deg: ["Camera's bearing", "\u00b0", 0],
  lamp: ["Lamp's brightness", "", 1], uneven: ["Lamp off centre", "", 1], lamp_bearing_deg: ["Lamp lies towards", "\u00b0", 0, true],
};

const number = (value, decimals) => value.toFixed(decimals).replace(/^-(0(\.0+)?)$/, "$1").replace("-", "\u2212");
const unitOf = (name, value) => number(value, SLIDER[name][2]) + (SLIDER[name][1] === "\u00b0" ? "" : "\u2009") + SLIDER[name][1];

/* A labelled slider; change(name, value) at every movement. */
function slider(lab, name, change) {
  const range = lab.sliders[name], [label, , , of] = SLIDER[name];
  const row = element("div"), text = element("label", label), shown = element("output"), input = element("input");
  row.className = of ? "slider of" : "slider";
  Object.assign(input, { type: "range", id: name, min: range.low, max: range.high, step: range.step, value: range.start });
  text.htmlFor = name;
  shown.htmlFor = name;
  const say = () => {
    const value = unitOf(name, Number(input.value));
    setText(shown, value);
    input.setAttribute("aria-valuetext", value.replace("\u00b0", " degrees").replace("\u2212", "minus "));
  };
  input.addEventListener("input", () => { say(); change(name, Number(input.value)); });
  row.append(text, shown, input);
  row.set = (value) => { input.value = value; say(); };
  say();
  return row;
}

/* Asks one thing at a time; of what is wanted meanwhile only the newest counts. */
function newest(ask, show) {
  let wanted = null, busy = false;
  return async (what) => {
    wanted = what;
    if (busy) return;
    busy = true;
    while (wanted) {
      const now = wanted;
      wanted = null;
      try {
        show(await ask(now), now);
        setText($("trouble"), "");
      } catch (fault) { setText($("trouble"), fault.message); }
    }
    busy = false;
  };
}

/* ------------------------------------------------------------ pictures */

function bitmap(base64) {
  const bytes = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
  return createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
}

/* cut: [left, top, width, height] as shares of the picture. */
async function paint(canvas, base64, words, cut = [0, 0, 1, 1]) {
  const picture = await bitmap(base64), w = picture.width, h = picture.height;
  const size = [Math.round(cut[2] * w), Math.round(cut[3] * h)];
  if (canvas.width !== size[0] || canvas.height !== size[1]) [canvas.width, canvas.height] = size;
  canvas.getContext("2d").drawImage(picture, cut[0] * w, cut[1] * h, cut[2] * w, cut[3] * h, 0, 0, size[0], size[1]);
  picture.close();
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", "Rendered, no photograph. " + words);
}

/* Marked in the picture itself: it may be copied out of the page. */
function mark(canvas) {
  const c = canvas.getContext("2d"), size = Math.round(canvas.width / (canvas.width < 400 ? 22 : 44));
  c.font = size + "px sans-serif";
  c.textAlign = "right";
  c.lineWidth = 3;
  c.strokeStyle = "#000";
  c.fillStyle = "#fff";
  for (const run of ["strokeText", "fillText"]) c[run]("rendered, no photograph", canvas.width - 6, canvas.height - 6);
}

async function paintView(canvas, look, cut) {
  await paint(canvas, look.jpeg, viewWords(look), cut);
  mark(canvas);
}

/* The strip as the camera sees it, from left to right, with a line of bearings below. */
async function paintStrip(figure, look) {
  const canvas = figure.querySelector("canvas"), s = look.strip;
  canvas.hidden = !s;
  if (!s) return;
  await paint(canvas, s.jpeg, "The rim unrolled, from bearing " + Math.round(s.first_deg) + " to " + Math.round(s.last_deg) + ". " + viewWords(look));
  scale(figure.querySelector("svg"), s);
}

/* A tick at every ten degrees, words at every thirty. */
function scale(svg, s) {
  const wide = 640, sweep = ((s.last_deg - s.first_deg) % 360 + 360) % 360, turn = sweep > 180 ? -1 : 1;
  const span = turn > 0 ? sweep : 360 - sweep;
  svg.setAttribute("viewBox", "0 0 " + wide + " 30");
  svg.replaceChildren();
  for (let b = 0; b < 360; b += 10) {
    const along = ((turn * (b - s.first_deg)) % 360 + 360) % 360;
    if (along > span) continue;
    const x = along / span * wide;
    draw(svg, "path", { d: "M" + x + " 0v" + (b % 30 ? 5 : 10), stroke: "#fff", "stroke-width": 2 });
    if (b % 30 === 0) draw(svg, "text", { x: Math.min(Math.max(x, 14), wide - 16), y: 27, "text-anchor": "middle", fill: "#fff", "font-size": 17 }, b + "\u00b0");
  }
}

/* Runs of one letter in a text for each bearing, over the seam: [first, last]. */
function runs(text, letters) {
  const is = (b) => letters.includes(text[(b + 360) % 360]), found = [];
  if ([...text].every((c) => letters.includes(c))) return [[0, 359]];
  for (let b = 0; b < 360; b++) {
    if (!is(b) || is(b - 1)) continue;
    let end = b;
    while (is(end + 1)) end++;
    found.push([b, end % 360]);
  }
  return found;
}

const bearings = (list) => list.map(([a, b]) => (a === b ? a + "\u00b0" : a + "\u00b0 to " + b + "\u00b0")).join(", ");

function viewWords(look) {
  if (!look.used) return "This view cannot be used: " + look.reason;
  const lit = runs(look.seen, "l");
  return lit.length ? "Light shows at bearings " + bearings(lit) + "." : "No light shows at the rim.";
}

/* ------------------------------------------------------------ verdict */

function showVerdict(box, map, words) {
  box.dataset.verdict = map ? map.verdict : "";
  setText(box.querySelector("strong"), map ? map.sign + " " + map.verdict : "...");
  setText(box.querySelector("span"), words);
}

function showReasons(list, map) {
  fill(list, map ? map.reasons.map(plain) : [], (text) => element("li", text));
}

/* ------------------------------------------------------------ ring map */

const RING = { c: 200, rim: 112, out: 46, steps: [0.1, 0.2, 0.5, 1, 2] };

function at(bearing, r) {
  const a = bearing * Math.PI / 180;
  return (RING.c + r * Math.sin(a)).toFixed(2) + " " + (RING.c - r * Math.cos(a)).toFixed(2);
}

/* A band between two radii from the edge of one bearing's bin to that of another. */
function band(first, last, inner, outer) {
  const span = ((last - first) % 360 + 360) % 360 + 1, points = [];
  for (let k = 0; k <= span; k++) points.push(at(first + k - 0.5, outer));
  for (let k = span; k >= 0; k--) points.push(at(first + k - 0.5, inner));
  return "M" + points.join("L") + "Z";
}

/* How much the outermost circle stands for, mm: the least step that holds all. */
function reach(map, truth) {
  const most = Math.max(...map.width_mm.filter((w, b) => w !== null && map.state[b] === "g"), ...(truth || []), 0);
  return RING.steps.find((s) => s >= most) || RING.steps.at(-1);
}

const height = (mm, most) => RING.rim + RING.out * Math.min(mm, most) / most;

function patterns(svg) {
  if (svg.querySelector("defs")) return;
  hatch(svg, svg.id + "-hidden", 6, 2);
  const dots = draw(draw(svg, "defs", {}), "pattern", { id: svg.id + "-dark", width: 5, height: 5, patternUnits: "userSpaceOnUse" });
  draw(dots, "rect", { width: 5, height: 5, fill: "#000" });
  draw(dots, "circle", { cx: 2.5, cy: 2.5, r: 1.1, fill: "#fff" });
  const bars = draw(draw(svg, "defs", {}), "pattern", { id: svg.id + "-gap", width: 4, height: 4, patternUnits: "userSpaceOnUse" });
  draw(bars, "rect", { width: 4, height: 4, fill: "#ffc400" });
  draw(bars, "rect", { width: 4, height: 1.2, fill: "#000" });
}

function outline(width, most) {
  const points = [];
  for (let b = 0; b < 360; b++) points.push(at(b, height(width[b] || 0, most)));
  return "M" + points.join("L") + "Z";
}

/* Where the rim was seen, by pattern: what all views say, and further in what this view says. */
function ringStates(svg, map, seen) {
  const style = { s: { fill: "#fff" }, u: { fill: "none", stroke: "#a0a0a0", "stroke-width": 1.5, "stroke-dasharray": "3 5" }, g: { fill: "url(#" + svg.id + "-gap)" } };
  for (const state of "usg")
    for (const [a, b] of runs(map.state, state)) draw(svg, "path", { d: band(a, b, 94, 107), ...style[state] });
  for (const [letters, fill, wide] of [["d", "url(#" + svg.id + "-dark)", 0], ["hg", "url(#" + svg.id + "-hidden)", 0], ["l", "#ffc400", 3]])
    for (const [a, b] of seen ? runs(seen, letters) : []) draw(svg, "path", { d: band(a, b, 73 - wide, 88 + wide), fill, stroke: "#fff" });
}

function ringWidths(svg, map, truth, most) {
  for (const [a, b] of runs(map.state, "g")) {
    const points = [], span = ((b - a) % 360 + 360) % 360;
    for (let k = 0; k <= span; k++) points.push(at(a + k, height(map.width_mm[(a + k) % 360] || 0, most)));
    for (let k = span; k >= 0; k--) points.push(at(a + k, RING.rim));
    draw(svg, "path", { d: "M" + points.join("L") + "Z", fill: "url(#" + svg.id + "-gap)", stroke: "#ffc400" });
  }
  if (truth) draw(svg, "path", { d: outline(truth, most), fill: "none", stroke: "#fff", "stroke-width": 1.5 });
}

function ringScale(svg, tolerance, most) {
  draw(svg, "circle", { cx: 200, cy: 200, r: RING.rim, fill: "none", stroke: "#fff", "stroke-width": 2 });
  draw(svg, "circle", { cx: 200, cy: 200, r: height(tolerance, most), fill: "none", stroke: "#b8b8b8", "stroke-dasharray": "6 4" });
  draw(svg, "circle", { cx: 200, cy: 200, r: RING.rim + RING.out, fill: "none", stroke: "#6a6a6a" });
  const [x, y] = at(225, RING.rim + RING.out + 6).split(" ");
  draw(svg, "text", { x, y: Number(y) + 10, "text-anchor": "end" }, most.toFixed(1) + " mm");
  for (let b = 0; b < 360; b += 90) {
    const [left, top] = at(b, 176).split(" ");
    draw(svg, "text", { x: left, y: Number(top) + 5, "text-anchor": "middle" }, b ? b + "\u00b0" : "0\u00b0 key arm");
  }
}

function ringCamera(svg, bearing) {
  const [x, y] = at(bearing, 178).split(" ");
  draw(svg, "path", { d: "M" + at(bearing, 160) + "L" + at(bearing - 5, 174) + "L" + at(bearing + 5, 174) + "Z", fill: "#fff", stroke: "#000" });
  draw(svg, "circle", { cx: x, cy: y, r: 12, fill: "#000" });
  draw(svg, "circle", { cx: x, cy: y, r: 8, fill: "#000", stroke: "#fff", "stroke-width": 4 });
}

/* seen: letters for each bearing, or null; map: measured; truth: mm; camera: bearing or null. */
function ring(svg, { seen, map, truth, camera, tolerance }) {
  const most = reach(map, truth);
  svg.setAttribute("viewBox", "0 4 400 392");
  for (const old of [...svg.children]) if (old.tagName !== "defs") old.remove();
  patterns(svg);
  ringStates(svg, map, seen);
  ringScale(svg, tolerance, most);
  ringWidths(svg, map, truth, most);
  if (camera !== null) ringCamera(svg, camera);
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", ringWords(map));
}

function ringWords(map) {
  const part = (state, word) => { const r = runs(map.state, state); return r.length ? word + " at bearings " + bearings(r) + ". " : ""; };
  return "Ring map, seen from outside, bearing 0 at the key arm, clockwise. " + part("g", "Open") + part("s", "Seen closed") + part("u", "Not seen");
}

const LEGEND = [["g", "measured open, so wide"], ["s", "measured, no gap"], ["u", "not seen well enough"], ["l", "light in this view"],
  ["d", "dark in this view"], ["h", "hidden or glare"], ["t", "true gap (outline)"], ["o", "largest gap that seals"]];

function legend(list, letters) {
  for (const [letter, words] of LEGEND) {
    if (!letters.includes(letter)) continue;
    const item = element("li"), svg = draw(item, "svg", { viewBox: "0 0 32 14", "aria-hidden": "true", id: list.id + "-" + letter });
    patterns(svg);
    const box = { x: 1, y: 1, width: 30, height: 12 };
    const looks = { g: { fill: "url(#" + svg.id + "-gap)" }, l: { fill: "#ffc400" }, s: { fill: "#fff" }, u: { fill: "none", stroke: "#a0a0a0", "stroke-width": 1.5, "stroke-dasharray": "3 5" },
      d: { fill: "url(#" + svg.id + "-dark)", stroke: "#fff" }, h: { fill: "url(#" + svg.id + "-hidden)", stroke: "#fff" } };
    if (letter === "t") draw(svg, "path", { d: "M1 12C10 12 10 3 16 3S22 12 31 12", fill: "none", stroke: "#fff", "stroke-width": 1.5 });
    else if (letter === "o") draw(svg, "path", { d: "M1 7h30", stroke: "#b8b8b8", "stroke-dasharray": "6 4" });
    else draw(svg, "rect", { ...box, ...looks[letter] });
    item.append(words);
    list.append(item);
  }
}

/* Width at the middle of what was measured about a bearing, in words. */
function widthWords(map, bearing, k) {
  const w = map.width_mm[bearing], u = map.u_mm[bearing];
  return map.state[bearing] === "u" || w === null ? "not seen" : w.toFixed(3) + " \u00b1 " + (k * u).toFixed(3);
}
