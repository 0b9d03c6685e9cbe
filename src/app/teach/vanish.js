/* The rocking curve: one gap from many heights. */
"use strict";

const ABOUT_RIM = [0.24, 0.62, 0.52, 0.32]; /* shares of the picture */
const ARC = 60;
const BOX = { left: 62, right: 700, top: 38, bottom: 330, width: 720, height: 400 };
let lab = null, values = {}, rows = {}, cards = [], points = {}, now = null;

/* ------------------------------------------------------------ geometry */

const slope = (e) => Math.tan(e * Math.PI / 180);
const depth = () => lab.pad_mm - lab.inner_mm;

/* Height that straight rays find open, w cos e - D |sin e|. */
function straight(w, e) {
  const a = e * Math.PI / 180;
  return Math.max(w * Math.cos(a) - depth() * Math.abs(Math.sin(a)), 0);
}

/* With what the land mirrors and the lit leather glows, as the program's slot has it (rocking.h). */
function slot(w, e) {
  const s = slope(e), land = lab.outer_mm - lab.inner_mm, over = lab.pad_mm - lab.outer_mm;
  return Math.max(w - Math.max(0, -s * land * (1 - lab.glow), s * over) - (1 - lab.reflectance) * Math.max(s, 0) * land, 0);
}

/* ------------------------------------------------------------ curve */

const range = () => lab.sliders.elevation_deg;
const xOf = (e) => BOX.left + (e - range().low) / (range().high - range().low) * (BOX.right - BOX.left);
const yOf = (share) => BOX.bottom - share * (BOX.bottom - BOX.top);

function line(svg, f, style) {
  const d = [];
  for (let e = range().low; e <= range().high + 1e-9; e += 0.02) d.push(xOf(e).toFixed(1) + " " + yOf(f(values.gap_mm, e) / values.gap_mm).toFixed(1));
  draw(svg, "path", { d: "M" + d.join("L"), fill: "none", ...style });
}

function axes(svg) {
  draw(svg, "path", { d: "M" + BOX.left + " " + BOX.top + "V" + BOX.bottom + "H" + BOX.right, fill: "none", stroke: "#fff", "stroke-width": 2 });
  for (let e = Math.ceil(range().low); e <= range().high; e++) {
    draw(svg, "path", { d: "M" + xOf(e) + " " + BOX.bottom + "v8", stroke: "#fff", "stroke-width": 2 });
    draw(svg, "text", { x: xOf(e), y: BOX.bottom + 26, "text-anchor": "middle" }, (e < 0 ? "\u2212" : "") + Math.abs(e) + "\u00b0");
  }
  for (const share of [0, 0.5, 1]) draw(svg, "text", { x: BOX.left - 10, y: yOf(share) + 5, "text-anchor": "end" }, share.toFixed(1));
  draw(svg, "text", { x: 4, y: 20 }, "share of the greatest");
  draw(svg, "text", { x: (BOX.left + BOX.right) / 2, y: BOX.bottom + 58, "text-anchor": "middle" }, "height of the camera above the rim plane (elevation)");
}

const STRAIGHT = { stroke: "#fff", "stroke-width": 2, "stroke-dasharray": "9 6" }, SLOT = { stroke: "#b8b8b8", "stroke-width": 2, "stroke-dasharray": "2 4" };
const DOT = { fill: "#000", stroke: "#fff", "stroke-width": 2.5 }, HERE = { fill: "#ffc400", stroke: "#000", "stroke-width": 2 };

/* A line of the legend: a dot where r says how large, a stroke otherwise. */
function key(words, style, r) {
  const item = element("li"), svg = draw(item, "svg", { viewBox: "0 0 32 14", "aria-hidden": "true" });
  if (r) draw(svg, "circle", { cx: 16, cy: 7, r, ...style });
  else draw(svg, "path", { d: "M1 7h30", fill: "none", ...style });
  item.append(words);
  $("key").append(item);
}

function curve() {
  const svg = $("curve"), most = Math.max(...Object.values(points).map((p) => p.flux), now ? now.flux : 0, 1e-9);
  svg.setAttribute("viewBox", "0 0 " + BOX.width + " " + BOX.height);
  svg.replaceChildren();
  axes(svg);
  line(svg, straight, STRAIGHT);
  line(svg, slot, SLOT);
  for (const p of Object.values(points)) draw(svg, "circle", { cx: xOf(p.e), cy: yOf(Math.max(p.flux, 0) / most), r: 6, ...DOT });
  if (now) draw(svg, "circle", { cx: xOf(now.e), cy: yOf(Math.max(now.flux, 0) / most), r: 10, ...HERE });
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", "Rocking curve. Flux as a share of its greatest: " +
    Object.values(points).sort((a, b) => a.e - b.e).map((p) => Math.round(100 * Math.max(p.flux, 0) / most) + " percent at " + p.e + " degrees").join(", ") + ".");
}

/* ------------------------------------------------------------ views */

const asked = (e) => ({ page: PAGE, alone: "yes", gap_mm: values.gap_mm, arc_deg: ARC, bearing_deg: lab.sliders.camera_deg.start,
  camera_deg: lab.sliders.camera_deg.start, elevation_deg: e });

function lessonOf(look, e) {
  const limit = Math.atan(values.gap_mm / depth()) * 180 / Math.PI, lit = runs(look.seen, "l").length > 0;
  const edge = "A gap of " + values.gap_mm.toFixed(3) + " mm in a slot " + depth().toFixed(1) + " mm deep closes to straight rays beyond " + limit.toFixed(1) + "\u00b0. ";
  if (!look.used) return "This view cannot be used: " + look.reason;
  if (lit && Math.abs(e) <= limit) return edge + "Here the camera looks through it.";
  if (lit) return edge + "What still shows is mirrored by the land or glows on the leather.";
  return edge + "Here nothing of it shows, and it is still there: darkness from this height proves nothing.";
}

function showNow(look, sent) {
  const e = Number(sent.elevation_deg);
  now = { e, flux: look.flux_mm || 0 };
  paintView($("picture"), look);
  setText($("height"), unitOf("elevation_deg", e));
  showVerdict($("verdict"), look.map, "from this view");
  setText($("lesson"), lessonOf(look, e));
  curve();
  document.body.dataset.shown = JSON.stringify(sent);
}

const look = newest((v) => get("/api/look", v), showNow);

function card(e) {
  const c = { e, item: element("li"), picture: element("canvas"), words: element("p") };
  const go = button("Look from here", "Look from here, " + unitOf("elevation_deg", e), () => { rows.elevation_deg.set(e); values.elevation_deg = e; look(asked(e)); });
  c.item.append(element("h3", unitOf("elevation_deg", e)), element("figure", c.picture), c.words, go);
  $("row").append(c.item);
  return c;
}

function showCard(c, answer) {
  points[c.e] = { e: c.e, flux: answer.flux_mm || 0 };
  paintView(c.picture, answer, ABOUT_RIM);
  setText(c.words, runs(answer.seen, "l").length ? "light, flux " + answer.flux_mm.toFixed(4) + " mm" : "dark");
  curve();
}

/* A new gap: the row again, one after the other. */
const rock = newest(async (v) => {
  points = {};
  for (const c of cards) {
    const answer = await get("/api/look", { ...v, elevation_deg: c.e });
    if (v.gap_mm !== values.gap_mm) return v;
    showCard(c, answer);
  }
  return v;
}, (answer, sent) => { document.body.dataset.rocked = String(sent.gap_mm); });

function change(name, value) {
  values[name] = value;
  look(asked(values.elevation_deg));
  if (name === "gap_mm") rock(asked(0));
}

async function begin() {
  lab = await get("/api/lab");
  values = { elevation_deg: lab.sliders.elevation_deg.start, gap_mm: lab.sliders.gap_mm.start };
  /* Of no gap there is no curve. */
  lab.sliders.gap_mm.low = lab.sliders.gap_mm.step;
  setText($("depth"), depth().toFixed(1));
  for (const name of ["elevation_deg", "gap_mm"]) document.querySelector(".controls").append(rows[name] = slider(lab, name, change));
  key("straight rays: w cos e \u2212 D |sin e|", STRAIGHT);
  key("land mirrors, leather glows", SLOT);
  key("flux measured", DOT, 5);
  key("at the slider", HERE, 6);
  cards = lab.elevations_deg.map(card);
  look(asked(values.elevation_deg));
  rock(asked(0));
}

begin().catch((fault) => setText($("trouble"), fault.message));
