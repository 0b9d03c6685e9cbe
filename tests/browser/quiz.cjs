/* The quiz in a browser, by keyboard alone: name, practice with feedback, an examination to its end, certificate, progress.
 *
 *   node quiz.cjs URL PICTURES
 *
 * RIMGLOW_ONLY=archive: practice with photographs of an archive alone, with one that can be asked for: it leaks at 199 degrees.
 *
 * URL as rimglow teach prints it, with seven cases an examination; PICTURES a folder for screenshots. RIMGLOW_ONLY=look: one
 * case of practice alone, as it comes. Presses no mouse button. What is a fault beside that: page.cjs. */
"use strict";

const assert = require("node:assert");
const { of, end } = require("./page.cjs");

const [url, pictures] = process.argv.slice(2);
const { origin, expected, watch, photograph, tabs, until } = of(url, pictures, { whole: true, seconds: 120 });
const LOOK = process.env.RIMGLOW_ONLY === "look", ARCHIVE = process.env.RIMGLOW_ONLY === "archive";

const text = (page, selector) => page.textContent(selector);
const focused = (page, id) => until(page, (wanted) => document.activeElement && document.activeElement.id === wanted, id);
const shown = (page, id) => until(page, (wanted) => !document.getElementById(wanted).hidden && !document.body.hasAttribute("aria-busy"), id);

/* Tab until the focus is where test says, as somebody without a mouse does. */
async function tabTo(page, test, argument) {
  for (let i = 0; i < 120; i++) {
    await page.keyboard.press("Tab");
    if (await page.evaluate(test, argument)) return;
  }
  throw new Error("Tab does not get to " + test);
}
const onId = (page, id) => tabTo(page, (wanted) => document.activeElement.id === wanted, id);

/* The radio button of a group with that value: Tab to the group, then arrow keys. */
async function choose(page, group, value) {
  await tabTo(page, (wanted) => document.activeElement.name === wanted, group);
  if (group !== "where") await page.keyboard.press("Space");
  for (let i = 0; i < 12; i++) {
    const at = await page.evaluate(() => [document.activeElement.value, document.activeElement.checked]);
    if (at[0] === value && at[1]) return;
    await page.keyboard.press("ArrowDown");
  }
  throw new Error(group + " has no " + value);
}

/* The picture is there, and nothing of the truth is in the page. */
async function caseIsShown(page, words) {
  await shown(page, "case");
  await focused(page, "case-title");
  await until(page, () => [...document.querySelectorAll("#pictures img")].every((i) => i.complete && i.naturalWidth > 100));
  assert.match(await text(page, "#case-title"), words);
  assert.equal(await page.isVisible("#feedback"), false);
}

async function answer(page, bearing, width, cause) {
  await onId(page, "bearing");
  await page.keyboard.type(String(bearing));
  await choose(page, "class", String(width));
  await choose(page, "cause", String(cause));
  await page.keyboard.press("Enter");
}

async function begin(page, kind, seed) {
  await focused(page, "name");
  await page.keyboard.press("Control+a");
  await page.keyboard.type("A. Bell");
  if (kind !== "practice") await choose(page, "kind", kind).catch(async () => { throw new Error("no " + kind + " to choose"); });
  await onId(page, "seed");
  await page.keyboard.press("Control+a");
  await page.keyboard.press("Delete");
  await page.keyboard.type(seed);
  await page.keyboard.press("Enter");
}

/* The ring takes arrow keys: 5 degrees each, 30 by page, over the seam. */
async function ringKeys(page) {
  await onId(page, "dial");
  for (const [key, wanted] of [["Home", "0"], ["ArrowRight", "5"], ["PageUp", "35"], ["ArrowLeft", "30"], ["PageDown", "0"], ["ArrowDown", "355"]]) {
    await page.keyboard.press(key);
    assert.equal(await page.inputValue("#bearing"), wanted, key);
    assert.equal(await page.getAttribute("#dial", "aria-valuenow"), wanted);
  }
  await photograph(page, "quiz-2-answer");
  await choose(page, "class", "2");
  await choose(page, "cause", "1");
  await page.keyboard.press("Enter");
}

async function feedback(page, name, tool = /True.*You.*Program/s) {
  await until(page, () => !document.getElementById("feedback").hidden);
  await focused(page, "feedback-title");
  assert.match(await text(page, "#feedback-title"), /All right|[0-2] of 3 right/);
  assert.ok(await page.locator("#words li").count() >= 3);
  assert.match(await text(page, "#words"), /Bearing (right|wrong).*Width (right|wrong).*Cause (right|wrong)/s);
  assert.ok(await page.locator("#truth path").count() > 5, "the ring map is drawn");
  assert.match(await text(page, "#tool"), tool);
  if (name) await photograph(page, name);
}

async function practice(page) {
  await begin(page, "practice", "7");
  await caseIsShown(page, /Case 1, level 2/);
  await photograph(page, "quiz-1-case");
  await tabs(page, "case");
  await page.keyboard.press("Enter");
  await ringKeys(page);
  await feedback(page, "quiz-3-feedback");
  await onId(page, "next");
  await page.keyboard.press("Enter");
  await caseIsShown(page, /Case 2, level/);
  await answer(page, 90, 3, 5);
  await feedback(page);
  await onId(page, "stop");
  await page.keyboard.press("Enter");
  await shown(page, "standing");
  assert.match(await text(page, "#sums"), /2 cases/);
}

async function examination(page) {
  await onId(page, "again");
  await page.keyboard.press("Enter");
  await begin(page, "exam", "42");
  for (let i = 1; i <= 7; i++) {
    await caseIsShown(page, new RegExp("Case " + i + " of 7, examination 42"));
    if (i === 2) await photograph(page, "quiz-4-examination");
    await answer(page, 45 * i, i % 6, (i + 2) % 7);
    if (i < 7) await until(page, (n) => document.querySelector("#case-title").textContent.startsWith("Case " + (n + 1)), i);
  }
  await shown(page, "result");
  await focused(page, "result-title");
  assert.match(await text(page, "#passed"), /(Passed|Not passed): \d of 7/);
  assert.match(await text(page, "#shares"), /Kappa with the truth.*cause/s);
  assert.equal(await page.locator("#cases tr").count(), 7);
  await photograph(page, "quiz-5-result");
}

/* The browser shows a PDF in its own viewer, so it is fetched as its link says. */
async function papers(page) {
  await onId(page, "certificate");
  for (const id of ["certificate"]) {
    const answer = await page.request.get(origin + await page.getAttribute("#" + id, "href"));
    assert.equal(answer.status(), 200);
    assert.equal((await answer.body()).subarray(0, 5).toString(), "%PDF-");
  }
  await onId(page, "seen");
  await page.keyboard.press("Enter");
  await shown(page, "standing");
  await until(page, () => document.getElementById("chart").naturalWidth > 100);
  assert.match(await text(page, "#exams"), /examination 42: (passed|not passed)/);
  assert.match(await text(page, "#sums"), /9 cases/);
  await photograph(page, "quiz-6-progress");
}

/* By keyboard to a photograph, and what is said of its truth; nothing of it before. */
async function archive(page) {
  await begin(page, "archive", "5");
  await caseIsShown(page, /Case 1, photographs of the archive: no level, yours stays at 1/);
  assert.equal(await page.isVisible("#photo-words"), true);
  assert.equal(await page.locator("#pictures img").count(), 2);
  assert.doesNotMatch(await text(page, "#case"), /[A-Z2-7]{4}-[A-Z2-7]{4}|199/);
  await photograph(page, "quiz-9-photograph");
  await answer(page, 199, 4, 1);
  await feedback(page, "quiz-10-archived-map", /Archived map.*You.*Case/s);
  assert.match(await text(page, "#feedback-title"), /All right by the archived map. Your level stays at 1/);
  assert.match(await text(page, "#words"), /own seal map.*gauge.*\u00b1 0\.\d+ mm/s);
  await onId(page, "next");
  expected.now = /status of 404/;
  await page.keyboard.press("Enter");
  await until(page, () => document.getElementById("trouble").textContent.includes("was asked for"));
  expected.now = null;
  await onId(page, "stop");
  await page.keyboard.press("Enter");
  await shown(page, "standing");
  assert.match(await text(page, "#sums"), /Photographs, by the tool's own maps.*1 of 1/s);
  await photograph(page, "quiz-11-progress-archived");
}

async function walk() {
  const { browser, page } = await watch();
  await page.goto(url);
  await tabTo(page, () => document.activeElement.getAttribute("href") === "/quiz");
  await page.keyboard.press("Enter");
  await until(page, () => document.getElementById("exam-words") && document.getElementById("exam-words").textContent.includes("cases,"));
  if (ARCHIVE) {
    await archive(page);
  } else if (!LOOK) {
    assert.equal(await page.isDisabled("[name=kind][value=archive]"), true);
    assert.match(await text(page, "#archive-words"), /rimglow teach --archive DIR/);
    await photograph(page, "quiz-0-begin");
    await practice(page);
    await examination(page);
    await papers(page);
  } else {
    await begin(page, "practice", "11");
    await caseIsShown(page, /Case 1/);
    assert.equal(await page.locator("#pictures img").count(), 3);
    await photograph(page, "quiz-7-three-pictures");
    await answer(page, 90, 3, 5);
    await feedback(page, "quiz-8-three-feedback");
  }
  await browser.close();
}

end(walk());
