/* What the runs in a browser share: chromium with a watch on errors and requests, accessibility, pictures.
 *
 * Asks axe-core (WCAG 2.2 A and AA) on each state that is photographed; a fault is any request to another place, any
 * error of the page or its content policy, and horizontal scrolling at 1024 x 768 and 390 x 844. */
"use strict";

const { chromium } = require("playwright-core");
const axe = require("axe-core").source;

const SIZES = { wide: { width: 1024, height: 768 }, narrow: { width: 390, height: 844 } };

const faults = []; /* of this run */
let last = async () => {}; /* photographs what is shown */

/* whole: photographs are of the whole page, not of what the window shows. */
exports.of = (url, pictures, { whole = false, seconds = 60 } = {}) => {
  const origin = new URL(url).origin;
  /* An error of the console that is no fault now: null, or what it looks like. A refusal is an answer with a status,
   * which the browser reports; so are requests while the program is known to be away. */
  const expected = { now: null };

  function listen(page) {
    page.on("pageerror", (error) => faults.push("page error: " + error.message));
    page.on("console", (message) => {
      if (message.type() === "error" && !(expected.now && expected.now.test(message.text())))
        faults.push("console: " + message.text());
    });
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
      await page.screenshot({ path: pictures + "/" + name + "-" + size + ".png", fullPage: whole });
      const over = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
      if (over > 0) faults.push(name + ": " + over + " px wider than the window at " + size);
      await check(page, name + "-" + size);
    }
    await page.setViewportSize(SIZES.wide);
  }

  async function watch() {
    const browser = await chromium.launch({ executablePath: process.env.CHROMIUM || "/usr/bin/chromium", args: ["--no-sandbox"] });
    const page = await browser.newPage({ viewport: SIZES.wide, reducedMotion: "reduce" });
    listen(page);
    last = () => page.screenshot({ path: pictures + "/last.png" });
    return { browser, page };
  }

  /* Every control that is shown now is reached by Tab and shows that it has the focus. */
  async function tabs(page, name) {
    const wanted = await page.evaluate(() => [...document.querySelectorAll("a, button, input, select, summary")]
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

  const until = (page, what, argument) => page.waitForFunction(what, argument, { timeout: 1000 * seconds });
  const verdict = (page) => page.getAttribute("#verdict", "data-verdict");
  return { origin, expected, photograph, watch, tabs, until, verdict };
};

/* Ends the program: 0 where the walk came to its end and found no fault; where it did not, last.png shows where it stood. */
exports.end = (walk) => walk.catch(async (error) => {
  faults.push(error.stack);
  await last().catch(() => {});
}).then(() => {
  for (const fault of faults) console.log("FAULT " + fault);
  console.log(faults.length + " faults");
  process.exit(faults.length ? 1 : 0);
});
