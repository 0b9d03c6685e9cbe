/* The archive's list and histories. Beside common.js. */
"use strict";

async function ask(path, values) {
  try {
    const json = await get(path, values);
    $("trouble").textContent = "";
    return json;
  } catch (fault) {
    $("trouble").textContent = fault.message;
    return null;
  }
}

function row(cells) {
  return element("tr", ...cells.map((content) => element("td", content)));
}

function link(text, label, href) {
  const a = element("a", text);
  a.setAttribute("aria-label", label);
  a.href = href;
  return a;
}

function counts(r) {
  const parts = [r.swept + " of " + r.pads_of_model + " swept"];
  if (r.leaking) parts.push(r.leaking + " leaking");
  if (r.undecided) parts.push(r.undecided + " undecided");
  return parts.join(", ");
}

async function list() {
  const form = new FormData($("search"));
  const json = await ask("/api/archive", { serial: form.get("serial"), pad: form.get("pad"), verdict: form.get("verdict") });
  if (!json) return;
  const shown = json.inspections.length;
  $("found").textContent = plural(json.all, "inspection") +
    (shown < json.all ? "; the newest " + shown + " are shown" : "");
  $("rows").replaceChildren(...json.inspections.map((r) => row([
    button(r.serial, "History of " + r.serial, () => history(r.serial)), r.time, SIGNS[r.verdict] + r.verdict, counts(r),
    r.occasion || "\u2013", r.technician,
    link("Certificate", "Certificate of " + r.bag, "/archive/certificate?bag=" + encodeURIComponent(r.bag))])));
}

function picture(serial, pad) {
  const img = $("history-picture");
  img.hidden = false;
  img.alt = "Widest and mean gap of pad " + pad + " of " + serial + " over all visits, as in the table";
  img.src = "/archive/history.svg?" + new URLSearchParams({ serial, pad });
}

function comparison(serial, s) {
  const img = $("history-picture");
  img.hidden = false;
  img.alt = "Seal maps of pad " + s.pad + " of " + serial + " at visit " + s.sequence + " and the visit before over each other";
  img.src = "/archive/compare.svg?" + new URLSearchParams({ serial, pad: s.pad, visit: s.sequence });
}

function pictures(serial, s, all) {
  const box = document.createDocumentFragment();
  box.append(button("All visits", "Draw all visits of pad " + s.pad, () => picture(serial, s.pad)));
  if (all.some((other) => other.pad === s.pad && other.sequence < s.sequence))
    box.append(" ", button("Change", "Draw visit " + s.sequence + " of pad " + s.pad + " against the visit before",
      () => comparison(serial, s)));
  return box;
}

async function history(serial) {
  const json = await ask("/api/history", { serial });
  if (!json) return;
  $("history").hidden = false;
  $("history-title").textContent = "History of " + serial;
  $("history-picture").hidden = true;
  $("history-rows").replaceChildren(...json.sweeps.map((s) => row([
    String(s.sequence), s.time, s.pad, SIGNS[s.verdict] + s.verdict,
    s.widest_mm === null ? "none measured" : s.widest_mm.toFixed(3) + " mm at " + Math.round(s.widest_deg) + "\u00b0",
    pictures(serial, s, json.sweeps)])));
  $("history-title").focus();
}

$("search").addEventListener("submit", (event) => {
  event.preventDefault();
  list();
});
list();
