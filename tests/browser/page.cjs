/* What the runs in a browser share: chromium with a watch on errors and requests, accessibility, pictures.
 *
 * Asks axe-core (WCAG 2.2 A and AA) on each state that is photographed; a fault is any request to another place, any
 * error of the page or its content policy, and horizontal scrolling at 1024 x 768 and 390 x 844. */
"use strict";

const { chromium } = require("playwright-core");
const axe = require("axe-core").source;

const SIZES = { wide: { width: 1024, height: 768 }, narrow: { width: 390, height: 844 } };

exports.of = (url, pictures) => {
  const faults = [], origin = new URL(url).origin;
  const outage = { now: false }; /* while the program is known to be away, requests to it fail */

  function listen(page) {
    page.on("pageerror", (error) => faults.push("page error: " + error.message));
    page.on("console", (message) => {
      if (message.type() === "error" && !(outage.now && /net::ERR_|403/.test(message.text())))
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
      await page.screenshot({ path: pictures + "/" + name + "-" + size + ".png" });
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
    return { browser, page };
  }

  const until = (page, what, argument) => page.waitForFunction(what, argument, { timeout: 60000 });
  const verdict = (page) => page.getAttribute("#verdict", "data-verdict");
  return { faults, origin, outage, photograph, watch, until, verdict };
};
