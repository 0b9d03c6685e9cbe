/* The lesson sheets: which are there, making one, opening it. */
"use strict";

function sheetRow(lesson) {
  const row = document.createElement("li");
  row.append(element("strong", lesson.title), " ");
  const make = button(lesson.ready ? "Make it anew" : "Make", (lesson.ready ? "Make anew: " : "Make: ") + lesson.title,
    () => makeSheet(lesson.number));
  if (lesson.ready) {
    const link = element("a", "Open the PDF");
    link.href = "/lesson.pdf?lesson=" + lesson.number;
    link.target = "_blank";
    link.rel = "noopener";
    link.setAttribute("aria-label", "Open the PDF: " + lesson.title);
    row.append(link, " (" + (lesson.paper === "letter" ? "Letter" : "A4") +
      (lesson.number === 6 ? ", seed " + lesson.seed : "") + ") ");
  }
  row.append(make);
  return row;
}

function show(now) {
  fill($("sheets"), now.lessons, sheetRow);
  for (const made of $("sheets").querySelectorAll("button")) made.disabled = now.making > 0;
  setText($("making"), now.making > 0
    ? "Making lesson " + now.making + ": " + (now.total ? now.done + " of " + now.total + " pads measured" : "begun")
    : "");
  if (now.trouble) setText($("trouble"), now.trouble);
}

async function look() {
  let wait = 5000;
  try {
    const now = await get("/api/lessons");
    show(now);
    if (now.making > 0) wait = 700;
  } catch (fault) {
    setText($("trouble"), fault.message);
  }
  clearTimeout(look.next);
  look.next = setTimeout(look, wait);
}

async function makeSheet(lesson) {
  setText($("trouble"), "");
  if (!$("form").reportValidity()) return;
  await wish("lessons/make", { lesson, paper: $("paper").value, seed: Number($("seed").value) });
  look();
}

$("form").addEventListener("submit", (event) => event.preventDefault());
look();
