/* The page Calibrate in a browser, by keyboard alone: lens and light, from the first key to the written station file.
 *
 *   node calibrate.cjs URL PICTURES
 *
 * URL as rimglow bench prints it, with board photographs and a sweep over a feeler replayed. Asks axe-core (WCAG 2.2
 * A and AA) on each state; fails on any request to another place, on any error of the page or its content policy, and
 * on horizontal scrolling at 1024 x 768 and 390 x 844. */
"use strict";

const assert = require("node:assert");
const { chromium } = require("playwright-core");
const axe = require("axe-core").source;

const [url, pictures] = process.argv.slice(2);
const SIZES = { wide: { width: 1024, height: 768 }, narrow: { width: 390, height: 844 } };
const faults = [];
const origin = new URL(url).origin;

function listen(page) {
  page.on("pageerror", (error) => faults.push("page error: " + error.message));
  page.on("console", (message) => { if (message.type() === "error") faults.push("console: " + message.text()); });
  page.on("request", (request) => {
    if (!/^(data|blob):/.test(request.url()) && new URL(request.url()).origin !== origin)
      faults.push("asked elsewhere: " + request.url());
  });
}

/* axe goes in by evaluate, which the page's own policy does not bind. */
async function check(page, name) {
  await page.evaluate(axe);
  const result = await page.evaluate(() => window.axe.run(document,
    { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }));
  for (const v of result.violations)
    faults.push(name + ": " + v.id + ": " + v.help + ": " + v.nodes.map((n) => n.target.join(" ")).join(", ").slice(0, 300));
}

async function photograph(page, name) {
  for (const [size, viewport] of Object.entries(SIZES)) {
    await page.setViewportSize(viewport);
    await page.waitForTimeout(150);
    await page.screenshot({ path: pictures + "/calibrate-" + name + "-" + size + ".png", fullPage: true });
    const over = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
    if (over > 0) faults.push(name + ": " + over + " px wider than the window at " + size);
    await check(page, name + "-" + size);
  }
  await page.setViewportSize(SIZES.wide);
}

const until = (page, what, argument) => page.waitForFunction(what, argument, { timeout: 120000 });
const says = (page, id, text) => until(page, ([i, t]) => document.getElementById(i).textContent.includes(t), [id, text]);
const kind = (page, what) => until(page, (k) => document.body.dataset.kind === k, what);
const noDialog = (page) => until(page, () => !document.querySelector("dialog[open]"));
const shots = (page) => page.evaluate(() => document.querySelectorAll("#shots tr").length);

/* Every control of this state is reached by Tab and shows that it has the focus. */
async function tabs(page, name) {
  const wanted = await page.evaluate(() => [...document.querySelectorAll("a, button, input, select")]
    .filter((e) => e.checkVisibility()).map((e) => e.dataset.do || e.id || e.textContent.trim()));
  const reached = new Set();
  for (let i = 0; i < 2 * wanted.length + 4; i++) {
    await page.keyboard.press("Tab");
    const at = await page.evaluate(() => {
      const e = document.activeElement;
      return { name: e.dataset.do || e.id || e.textContent.trim(), outline: parseFloat(getComputedStyle(e).outlineWidth) || 0,
        body: e === document.body };
    });
    if (!at.body && at.outline < 2) faults.push(name + ": no visible focus on " + at.name);
    reached.add(at.name);
  }
  for (const control of wanted) if (!reached.has(control)) faults.push(name + ": Tab does not reach " + control);
  await page.evaluate(() => document.activeElement.blur());
}

/* By itself switched off: one photograph by Space, taken back again, one passed over. */
async function byHand(page) {
  await page.keyboard.press("a");
  await until(page, () => document.querySelector("[data-do=automatic]").getAttribute("aria-pressed") === "false");
  await says(page, "guide-word", "tags found");
  const before = await shots(page);
  await page.keyboard.press("Space");
  await until(page, (n) => document.querySelectorAll("#shots tr").length === n + 1, before);
  await photograph(page, "2-first");
  await page.keyboard.press("s"); /* too early: refused, in words */
  await page.keyboard.press("Enter");
  await says(page, "trouble", "was not written");
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
  await photograph(page, "3-half");
  await tabs(page, "lens");
  await says(page, "answer-word", "Good enough");
  await photograph(page, "4-good");
  await page.keyboard.press("s");
  await photograph(page, "5-write");
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
  await photograph(page, "6-lamp");
  await page.keyboard.press("Enter");
  await until(page, () => document.querySelectorAll("#grid rect[fill*=visited]").length > 20);
  await photograph(page, "7-sweep");
  await tabs(page, "light");
  await says(page, "prompt", "The recording has ended");
  await page.keyboard.press("f");
  await says(page, "answer-word", "Good");
  await until(page, () => document.querySelector("#response").naturalWidth > 0);
  await photograph(page, "8-fitted");
  await page.keyboard.press("x"); /* asks, since nothing was written */
  await photograph(page, "9-leave");
  await page.keyboard.press("Escape");
  await noDialog(page);
  await page.keyboard.press("s");
  await page.keyboard.press("Enter");
  await says(page, "written", "has the new values");
  console.log("light: " + (await page.textContent("#light-values")).replace(/\s+/g, " "));
  await page.keyboard.press("x");
  await kind(page, "none");
}

(async () => {
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
    args: ["--no-sandbox"] });
  const page = await browser.newPage({ viewport: SIZES.wide, reducedMotion: "reduce" });
  listen(page);
  await page.goto(url);
  await until(page, () => document.querySelector("#serial").textContent === "PE-A-0147");
  await page.keyboard.press("c");
  await page.waitForURL(origin + "/calibrate");
  await kind(page, "none");
  await until(page, () => document.querySelector("#pad").options.length > 0);
  await photograph(page, "0-choose");
  await tabs(page, "choose");
  await page.keyboard.press("?");
  await photograph(page, "1-help");
  await page.keyboard.press("Escape");
  await noDialog(page);
  if (process.env.RIMGLOW_ONLY !== "light") await lens(page);
  if (process.env.RIMGLOW_ONLY !== "lens") await light(page);
  await page.keyboard.press("b");
  await page.waitForURL(origin + "/");
  await browser.close();
  /* Refusals are answers with a status of 409, which the browser reports. */
  const real = faults.filter((fault) => !/^console: Failed to load resource.*409/.test(fault));
  for (const fault of real) console.log("FAULT " + fault);
  console.log(real.length + " faults");
  process.exit(real.length ? 1 : 0);
})().catch((error) => {
  console.log("FAULT " + error.stack);
  for (const fault of faults) console.log("FAULT " + fault);
  process.exit(1);
});
