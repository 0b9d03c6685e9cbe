/* The page Calibrate in a browser, by keyboard alone: lens and light, from the first key to the written station file.
 *
 *   node calibrate.cjs URL PICTURES
 *
 * URL as rimglow bench prints it, with board photographs and a sweep over a feeler replayed. RIMGLOW_ONLY: lens or
 * light. What is a fault beside that: page.cjs. */
"use strict";

const assert = require("node:assert");
const { of, end } = require("./page.cjs");

const [url, pictures] = process.argv.slice(2);
const { origin, expected, watch, photograph, tabs, until } = of(url, pictures, { whole: true, seconds: 120 });

const says = (page, id, text) => until(page, ([i, t]) => document.getElementById(i).textContent.includes(t), [id, text]);
const kind = (page, what) => until(page, (k) => document.body.dataset.kind === k, what);
const noDialog = (page) => until(page, () => !document.querySelector("dialog[open]"));
const shots = (page) => page.evaluate(() => document.querySelectorAll("#shots tr").length);

/* By itself switched off: one photograph by Space, taken back again, one passed over. */
async function byHand(page) {
  await page.keyboard.press("a");
  await until(page, () => document.querySelector("[data-do=automatic]").getAttribute("aria-pressed") === "false");
  await says(page, "guide-word", "tags found");
  const before = await shots(page);
  await page.keyboard.press("Space");
  await until(page, (n) => document.querySelectorAll("#shots tr").length === n + 1, before);
  await photograph(page, "c-2-first");
  expected.now = /status of 409/;
  await page.keyboard.press("s"); /* too early: refused, in words */
  await page.keyboard.press("Enter");
  await says(page, "trouble", "was not written");
  expected.now = null;
  await page.keyboard.press("z");
  await until(page, (n) => document.querySelectorAll("#shots tr").length === n, before);
  await says(page, "told", "does not count any more");
  await page.keyboard.press("n");
  await page.keyboard.press("a");
}

async function lens(page) {
  await page.keyboard.press("1");
  await kind(page, "lens");
  await until(page, () => document.querySelector("#live").naturalWidth === 640);
  await byHand(page);
  await until(page, () => document.querySelectorAll("#shots tr").length >= 4 && document.querySelector("#values div"));
  await photograph(page, "c-3-half");
  await tabs(page, "lens");
  await says(page, "answer-word", "Good enough");
  await photograph(page, "c-4-good");
  await page.keyboard.press("s");
  await photograph(page, "c-5-write");
  await page.keyboard.press("Enter");
  await says(page, "written", "[lens] written");
  console.log("lens: " + (await page.textContent("#values")).replace(/\s+/g, " "));
  await page.keyboard.press("x");
  await kind(page, "none");
}

async function light(page) {
  await page.keyboard.press("2");
  assert.equal(await page.evaluate(() => document.activeElement.id), "feeler");
  assert.equal(await page.inputValue("#feeler"), "0.1"); /* as the recorded sweep says */
  await page.fill("#feeler", "");
  await page.keyboard.press("Enter");
  await says(page, "trouble", "a number is needed");
  await page.keyboard.type("0.1");
  await page.keyboard.press("Enter");
  await kind(page, "light");
  await says(page, "prompt", "Crack the key open");
  await page.keyboard.press("w");
  await says(page, "prompt", "The lamp is proven");
  await photograph(page, "c-6-lamp");
  await page.keyboard.press("Enter");
  await until(page, () => document.querySelectorAll("#grid rect[fill*=visited]").length > 20);
  await photograph(page, "c-7-sweep");
  await tabs(page, "light");
  await says(page, "prompt", "The recording has ended");
  await page.keyboard.press("f");
  await says(page, "answer-word", "Good");
  await until(page, () => document.querySelector("#response").naturalWidth > 0);
  await photograph(page, "c-8-fitted");
  await page.keyboard.press("x"); /* asks, since nothing was written */
  await photograph(page, "c-9-leave");
  await page.keyboard.press("Escape");
  await noDialog(page);
  await page.keyboard.press("s");
  await page.keyboard.press("Enter");
  await says(page, "written", "has the new values");
  console.log("light: " + (await page.textContent("#light-values")).replace(/\s+/g, " "));
  await page.keyboard.press("x");
  await kind(page, "none");
}

async function walk() {
  const { browser, page } = await watch();
  await page.goto(url);
  await until(page, () => document.querySelector("#serial").textContent === "PE-A-0147");
  await page.keyboard.press("c");
  await page.waitForURL(origin + "/calibrate");
  await kind(page, "none");
  await until(page, () => document.querySelector("#pad").options.length > 0);
  await photograph(page, "c-0-choose");
  await tabs(page, "choose");
  await page.keyboard.press("?");
  await photograph(page, "c-1-help");
  await page.keyboard.press("Escape");
  await noDialog(page);
  if (process.env.RIMGLOW_ONLY !== "light") await lens(page);
  if (process.env.RIMGLOW_ONLY !== "lens") await light(page);
  await page.keyboard.press("b");
  await page.waitForURL(origin + "/");
  await browser.close();
}

end(walk());
