/* One pad under the hand: every movement is drawn and measured at once, the whole sweep a little later. */
"use strict";

const GROUP = { opening: ["gap_mm", "arc_deg", "bearing_deg"], camera: ["elevation_deg", "camera_deg"], finger: ["grams"],
  face: ["tilt_mm", "tilt_bearing_deg", "saddle_mm", "saddle_bearing_deg", "crease_mm", "crease_bearing_deg"],
  light: ["lamp", "uneven", "lamp_bearing_deg"] };
const REST_MS = 500; /* a pad left alone so long is swept */
const POLL_MS = 250;
const OF_CAMERA = ["elevation_deg", "camera_deg"];

let lab = null, values = {}, rows = {}, waiting = 0, sweeping = 0, answer = null;

const asked = () => ({ page: PAGE, ...values, ...($("witness").checked ? {} : { witness: "no" }) });

/* ------------------------------------------------------------ one view */

const greatest = (list) => list.reduce((most, v, b) => (v > list[most] ? b : most), 0);

/* What this view teaches, from what is true and what was measured. */
function lessonOf(look, v) {
  const worst = greatest(look.true_mm), gap = look.true_mm[worst], leaks = gap > lab.tolerance_mm;
  const open = gap.toFixed(3) + " mm at bearing " + worst + "\u00b0";
  if (!look.used) return "This view cannot be used: " + look.reason;
  if (look.map.verdict === "leaking") return "A leak that is seen is a leak: one view is enough to say so. The largest gap is truly " + open + ".";
  if (!$("witness").checked || v.lamp === 0) return "Nothing proves that the lamp is on at this hole, so darkness proves nothing: sealed cannot be said.";
  const off = Math.abs(((v.camera_deg - worst) % 360 + 540) % 360 - 180);
  if (leaks && off > 60) return "This pad leaks, " + open + ", but the camera looks from the other side. Move its bearing there.";
  if (leaks && !runs(look.seen, "l").length) return "This pad leaks, " + open + ", and this view is dark: " +
    (v.elevation_deg > 0 ? "from above the pad's edge hides a thin gap. Lower the camera to 0\u00b0." : "from below the land hides a thin gap. Raise the camera to 0\u00b0.");
  if (leaks) return "Light shows, but one view does not say how wide the gap is. Rock the camera: views of the same pad add up.";
  if (gap > 0) return "The largest gap, " + open + ", is within the tolerance of " + lab.tolerance_mm + " mm. One view proves no seal: see what the whole sweep says.";
  return "Nothing is wrong with this pad, and this view cannot say so: it saw a part of the rim, from one height. Rock the camera, or see what the whole sweep says.";
}

function showLook(look, sent) {
  answer = look;
  paintView($("picture"), look);
  paintStrip(document.querySelector(".strip"), look);
  setText($("views"), look.views > 1 ? look.views + " views of this pad" : "this view");
  showVerdict($("verdict"), look.map, look.views > 1 ? "from " + look.views + " views" : "from one view");
  setText($("short"), look.map.sign + " " + look.map.verdict + ", from " + plural(look.views, "view"));
  showReasons($("reasons"), look.map);
  ring($("ring"), { seen: look.seen, map: look.map, truth: look.true_mm, camera: Number(sent.camera_deg), tolerance: lab.tolerance_mm });
  setText($("lesson"), lessonOf(look, values));
  setText($("times"), "Drawn in " + look.ms.render + " ms, measured in " + (look.ms.take + look.ms.measure).toFixed(1) + " ms, in all " + look.ms.all + " ms.");
  document.body.dataset.shown = JSON.stringify(sent);
}

const look = newest((v) => get("/api/look", v), showLook);

/* ------------------------------------------------------------ the whole sweep */

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

function showSweep(s) {
  setText($("ahead"), s.used + " of " + s.frames + " views could be used");
  $("progress").value = 1;
  showVerdict($("whole"), s.map, "from " + s.frames + " views");
  showReasons($("whole-reasons"), s.map);
  ring($("whole-ring"), { seen: null, map: s.map, truth: s.true_mm, camera: null, tolerance: lab.tolerance_mm });
}

/* Asks until it is done, or until the pad is another. */
async function sweep() {
  const round = ++sweeping;
  try {
    let s = await get("/api/sweep", asked());
    while (s.running && round === sweeping) {
      $("progress").value = s.total ? s.done / s.total : 0;
      setText($("ahead"), s.total ? "View " + s.done + " of " + s.total : "Waiting for another page's sweep");
      await pause(POLL_MS);
      if (round === sweeping) s = await get("/api/sweep", asked());
    }
    if (round !== sweeping) return;
    if (s.error) setText($("trouble"), s.error);
    else showSweep(s);
  } catch (fault) { setText($("trouble"), fault.message); }
}

/* The pad is another: what the last sweep said is of another pad. */
function forgetSweep() {
  sweeping++;
  showVerdict($("whole"), null, "");
  showReasons($("whole-reasons"), null);
  for (const old of [...$("whole-ring").children]) if (old.tagName !== "defs") old.remove();
  $("whole-ring").removeAttribute("role");
  $("whole-ring").removeAttribute("aria-label");
  $("progress").value = 0;
  setText($("ahead"), "Waiting until you leave the sliders alone");
  clearTimeout(waiting);
  waiting = setTimeout(sweep, REST_MS);
}

/* ------------------------------------------------------------ hands */

function change(name, value) {
  values[name] = value;
  if (!OF_CAMERA.includes(name)) forgetSweep();
  look(asked());
}

function startAgain() {
  for (const [name, range] of Object.entries(lab.sliders)) {
    values[name] = range.start;
    rows[name].set(range.start);
  }
  $("witness").checked = true;
  forgetSweep();
  look(asked());
}

async function begin() {
  lab = await get("/api/lab");
  setText($("pad"), lab.pad + ", " + lab.instrument);
  for (const [group, names] of Object.entries(GROUP))
    for (const name of names) $(group).append(rows[name] = slider(lab, name, change));
  legend($("legend"), "gsuldhto");
  $("again").addEventListener("click", startAgain);
  $("witness").addEventListener("change", () => { forgetSweep(); look(asked()); });
  $("forget").addEventListener("click", () => look({ ...asked(), fresh: "yes" }));
  startAgain();
}

begin().catch((fault) => setText($("trouble"), fault.message));
