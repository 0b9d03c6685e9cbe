/* Gaps of several sizes side by side, one view of each. */
"use strict";

const ABOUT_RIM = [0.24, 0.62, 0.52, 0.32]; /* shares of the picture */
const ARC = 60;
let lab = null, values = {}, cards = [];

function fact(list, word) {
  const value = element("dd", "...");
  list.append(element("dt", word), value);
  return value;
}

function card(size) {
  const c = { size, item: element("li"), picture: element("canvas"), strip: element("canvas"), verdict: element("div", element("strong", "..."), element("span")) };
  const list = element("dl");
  c.verdict.className = "verdict";
  c.width = fact(list, "measured, mm");
  c.flux = fact(list, "flux, mm");
  c.item.append(element("h2", size.toFixed(2) + " mm"), element("figure", c.picture), element("figure", c.strip), c.verdict, list);
  $("row").append(c.item);
  return c;
}

function show(c, look) {
  paintView(c.picture, look, ABOUT_RIM);
  if (look.strip) paint(c.strip, look.strip.jpeg, "The rim unrolled. " + viewWords(look), [0.2, 0.1, 0.6, 0.8]).then(() => { c.strip.style.aspectRatio = "16 / 9"; });
  showVerdict(c.verdict, look.map, "");
  setText(c.width, widthWords(look.map, Number(values.camera_deg), lab.coverage_factor));
  setText(c.flux, look.flux_mm === null ? "none" : look.flux_mm.toFixed(4));
  c.item.dataset.verdict = look.map.verdict;
}

/* One card after the other: of a newer wish only the newest is fulfilled. */
const all = newest(async (v) => {
  for (const c of cards) show(c, await get("/api/look", { ...v, gap_mm: c.size, alone: "yes" }));
  return v;
}, (answer, sent) => { document.body.dataset.shown = JSON.stringify(sent); });

const wanted = () => ({ page: PAGE, arc_deg: ARC, bearing_deg: values.camera_deg, ...values });

async function begin() {
  lab = await get("/api/lab");
  values = { elevation_deg: lab.sliders.elevation_deg.start, grams: lab.sliders.grams.start, camera_deg: lab.sliders.camera_deg.start };
  setText($("tolerance"), lab.tolerance_mm + " mm");
  for (const name of ["elevation_deg", "grams"])
    document.querySelector(".controls").append(slider(lab, name, (n, value) => { values[n] = value; all(wanted()); }));
  cards = lab.sizes_mm.map(card);
  all(wanted());
}

begin().catch((fault) => setText($("trouble"), fault.message));
