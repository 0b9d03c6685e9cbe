/* What the pages share: asking the program, elements, single keys, dialogs, the state's stream and the picture with
 * the rim drawn in. No framework, no outside request. */
"use strict";

const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const NO_CONNECTION = "No connection to rimglow on this computer";
let state = null; /* the newest, on pages that run() */

/* ------------------------------------------------------------ elements and words */

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function element(name, ...content) {
  const made = document.createElement(name);
  made.append(...content);
  return made;
}

function button(text, label, run) {
  const made = element("button", text);
  made.type = "button";
  made.setAttribute("aria-label", label);
  made.addEventListener("click", run);
  return made;
}

/* Children of a list or table, made anew only when what they say has changed, so that the focus stays. */
function fill(parent, rows, make) {
  const key = JSON.stringify(rows);
  if (parent.dataset.rows === key) return;
  parent.dataset.rows = key;
  parent.replaceChildren(...rows.map(make));
}

function draw(parent, name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const key of Object.keys(attributes)) made.setAttribute(key, attributes[key]);
  if (text !== undefined) made.textContent = text;
  parent.appendChild(made);
  return made;
}

function hatch(svg, id, pitch, line) {
  const pattern = draw(draw(svg, "defs", {}), "pattern", { id, width: pitch, height: pitch, patternUnits: "userSpaceOnUse",
    patternTransform: "rotate(45)" });
  draw(pattern, "rect", { width: pitch, height: pitch, fill: "#000" });
  draw(pattern, "rect", { width: line, height: pitch, fill: "#fff" });
}

function press(name, on) {
  document.querySelector("[data-do=" + name + "]").setAttribute("aria-pressed", String(on));
}

const SIGNS = { sealed: "( O ) ", leaking: "( / ) ", undecided: "( ? ) " }; /* of a verdict, before its word */
const plural = (n, word) => n + " " + word + (n === 1 ? "" : "s");
const plain = (text) => text.replaceAll("+-", "\u00b1");

const GUIDE = { "lost": "no crown in view", "level": "good height", "too high": "too high: go down", "too low": "too low: go up" };

/* Why there are no pictures; "" while there are. */
function cameraWords(source) {
  if (source.state === "away") return "The camera is gone: plug it in again. " + source.note;
  return source.state === "none" ? source.note || "No camera" : "";
}

/* ------------------------------------------------------------ asking */

/* The answer as JSON, or an Error that says why there is none. */
async function get(path, values) {
  const answer = await fetch(values ? path + "?" + new URLSearchParams(values) : path).catch(() => { throw new Error(NO_CONNECTION); });
  const json = await answer.json();
  if (!answer.ok) throw new Error(json.error);
  return json;
}

let csrf = "";
async function refresh() {
  csrf = (await get("/api/session")).csrf;
}

/* The answer of a change as JSON, or an Error that says why there is none. A program that was started anew asks for
 * another secret: once more, then. */
async function send(path, body) {
  for (let turn = 0; ; turn++) {
    if (!csrf) await refresh();
    const answer = await fetch(path, { method: "POST", body: JSON.stringify(body),
      headers: { "Content-Type": "application/json", "X-Csrf-Token": csrf } }).catch(() => { throw new Error(NO_CONNECTION); });
    const json = await answer.json();
    if (answer.ok) return json;
    if (answer.status !== 403 || turn) throw new Error(json.error);
    csrf = "";
  }
}

/* Asks for a change; where it is refused the page says why. */
async function wish(name, body) {
  try {
    await send("/api/" + name, body);
    return true;
  } catch (fault) {
    setText($("trouble"), fault.message);
    return false;
  }
}

/* ------------------------------------------------------------ picture */

let streaming = false;

/* While no picture is wanted its stream is not held open. */
function stream(on) {
  const live = $("live");
  streaming = on;
  live.parentElement.classList.remove("on");
  if (on) live.src = "/stream.mjpg?" + Date.now();
  else live.removeAttribute("src");
}

function watchPicture() {
  const live = $("live");
  live.addEventListener("load", () => {
    live.parentElement.classList.add("on");
    if (live.naturalWidth) live.parentElement.style.aspectRatio = live.naturalWidth + " / " + live.naturalHeight;
  });
  live.addEventListener("error", () => {
    live.parentElement.classList.remove("on");
    setTimeout(() => stream(streaming), 1000);
  });
}

/* The canvas over the picture, cleared, in the picture's own pixels. o: anything with its width and height, or null. */
function canvasFor(o) {
  const canvas = $("over");
  if (o && (canvas.width !== o.width || canvas.height !== o.height)) {
    canvas.width = o.width;
    canvas.height = o.height;
  }
  const context = canvas.getContext("2d");
  context.clearRect(0, 0, canvas.width, canvas.height);
  return context;
}

/* Lines with a dark edge, to be seen on any ground. */
function edged(context, points, [edge, width], colour, dash = []) {
  context.setLineDash(dash);
  context.beginPath();
  points.forEach(([x, y], i) => (i ? context.lineTo(x, y) : context.moveTo(x, y)));
  if (points.length > 2) context.closePath();
  for (const [ink, thick] of [["#000", edge], [colour, width]]) {
    context.strokeStyle = ink;
    context.lineWidth = thick;
    context.stroke();
  }
}

function bearingMark(context, o, i, unit) {
  const x = o.x[i], y = o.y[i];
  edged(context, [[x, y + 4 * unit], [x, y + 14 * unit]], [4 * unit, 2 * unit], "#fff");
  context.font = "bold " + 15 * unit + "px sans-serif";
  context.textAlign = "center";
  context.lineWidth = 4 * unit;
  context.strokeStyle = "#000";
  context.fillStyle = "#fff";
  context.strokeText(String(i * 5), x, y + 30 * unit);
  context.fillText(String(i * 5), x, y + 30 * unit);
}

/* The rim where it is seen, a mark over each place with light, bearings below it. */
function showOverlay(o) {
  const context = canvasFor(o);
  if (!o) return;
  const n = o.x.length, unit = o.width / 640;
  const known = (i) => o.x[i] !== null && o.y[i] !== null, seen = (i) => known(i) && !o.hidden[i];
  for (let i = 0; i < n; i++) {
    const k = (i + 1) % n;
    if (seen(i) && seen(k)) edged(context, [[o.x[i], o.y[i]], [o.x[k], o.y[k]]], [5 * unit, 2 * unit], "#fff");
  }
  for (let i = 0; i < n; i++)
    if (o.lit[i] && known(i))
      edged(context, [[o.x[i], o.y[i] - 22 * unit], [o.x[i], o.y[i] - 6 * unit]], [7 * unit, 4 * unit], "#ffc400");
  for (let i = 0; i < n; i += 6) if (seen(i)) bearingMark(context, o, i, unit);
}

/* ------------------------------------------------------------ keys, buttons, dialogs */

function singleKeys() {
  return localStorage.getItem("rimglow-single") !== "no";
}

function onKey(event, page) {
  const key = event.key.toLowerCase();
  const target = event.target;
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat || !state) return;
  if (document.querySelector("dialog[open]") || target.closest("input, select, textarea")) return;
  if ((key === "enter" || key === " ") && target.closest("button, a, summary")) return;
  const action = page.keys()[key];
  if (!action || !(singleKeys() || key.length > 1)) return;
  event.preventDefault();
  page.actions[action]();
}

/* A pointer leaves the focus on the page, so that Enter stays the key that it says. */
function onButtons(page) {
  for (const one of document.querySelectorAll("[data-do]"))
    one.addEventListener("click", (event) => {
      if (state) page.actions[one.dataset.do]();
      if (event.detail > 0) $("main").focus({ preventScroll: true });
    });
  $("single").checked = singleKeys();
  $("single").addEventListener("change", () => localStorage.setItem("rimglow-single", $("single").checked ? "yes" : "no"));
}

function onDialogs(page) {
  for (const dialog of document.querySelectorAll("dialog")) {
    for (const one of dialog.querySelectorAll("[data-close]")) one.addEventListener("click", () => dialog.close());
    const form = dialog.querySelector("form");
    if (form) form.addEventListener("submit", (event) => {
      event.preventDefault();
      dialog.close();
      page.submit(dialog.id, form);
    });
    dialog.addEventListener("close", () => $("main").focus());
  }
}

/* ------------------------------------------------------------ the state's stream */

let connected = false, lost = false;

function onState(page, text) {
  const old = state;
  state = JSON.parse(text);
  connected = true;
  setText($("trouble"), state.message);
  page.show(old);
}

function watchEvents(page) {
  const events = new EventSource("/events");
  events.addEventListener("open", () => {
    if (!connected) refresh().catch(() => {});
    if (lost) stream(streaming); /* a stream that ends is no error to an img */
    lost = false;
    connected = true;
    if (state) setText($("trouble"), state.message);
  });
  events.addEventListener("message", (event) => onState(page, event.data));
  events.addEventListener("error", () => {
    connected = false;
    lost = true;
    $("live").parentElement.classList.remove("on");
    setText($("trouble"), NO_CONNECTION);
    if (events.readyState === EventSource.CLOSED) setTimeout(() => watchEvents(page), 2000);
  });
}

/* A page that lives with the state. keys(): its single keys now, each with a name in actions; show(old): the state is
 * new; submit(id, form): a dialog's form was sent. */
function run(page) {
  onDialogs(page);
  onButtons(page);
  document.addEventListener("keydown", (event) => onKey(event, page));
  watchPicture();
  watchEvents(page);
}
