/* The bench page in a browser, by keyboard alone: from the first pad to an archived bag.
 *
 *   node bench.cjs URL PICTURES VERDICT...
 *
 * URL as rimglow bench prints it (a replay), PICTURES a folder for screenshots, then what rimglow inspect says
 * of the recorded sweeps, in body order: the page has to come to the same.
 * Asks axe-core (WCAG 2.2 A and AA) on each state; fails on any request to another place, on any error of the
 * page or its content policy, and on horizontal scrolling at 1024 x 768 and 390 x 844. */
"use strict";

const assert = require("node:assert");

const [url, pictures, ...expected] = process.argv.slice(2);
const { faults, origin, watch, photograph, until, verdict } = require("./page.cjs").of(url, pictures);

async function sweep(page, index) {
  const title = await page.textContent("#pad");
  await page.keyboard.press("w");
  await until(page, () => document.querySelector("#prompt").textContent.includes("proven"));
  if (index === 0) await photograph(page, "2-witness");
  await page.keyboard.press("Enter");
  await until(page, () => /[1-9]/.test(document.querySelector("#ring text:nth-last-of-type(2)").textContent));
  if (index === 0) await photograph(page, "3-going-round");
  await until(page, () => document.querySelector("#verdict").dataset.verdict !== "undecided" ||
    document.querySelector("#prompt").textContent.includes("ended"));
  const word = await verdict(page);
  await photograph(page, "4-" + word + "-" + index);
  console.log(title + ": " + word);
  await page.keyboard.press(index % 2 ? "PageDown" : "n");
  await until(page, (t) => document.querySelector("#pad").textContent !== t, title);
  return word;
}

/* Every control is reached by Tab and shows that it has the focus. */
async function tabs(page) {
  const reached = new Set();
  for (let i = 0; i < 60; i++) {
    await page.keyboard.press("Tab");
    const at = await page.evaluate(() => {
      const e = document.activeElement;
      return { name: e.dataset.do || e.textContent.trim(), outline: parseFloat(getComputedStyle(e).outlineWidth) || 0,
        body: e === document.body };
    });
    if (!at.body && at.outline < 2) faults.push("no visible focus on " + at.name);
    reached.add(at.name);
  }
  for (const name of ["witness", "closed", "next", "redo", "note", "finger", "finish", "mute", "help", "Archive"])
    if (!reached.has(name)) faults.push("Tab does not reach " + name);
  await page.evaluate(() => document.activeElement.blur());
}

/* Letters alone must be possible to switch off (WCAG 2.1.4); named keys stay. */
async function singleKeys(page) {
  const press = (on) => page.getAttribute("[data-do=mute]", "aria-pressed").then((was) => assert.equal(was, on));
  await page.keyboard.press("?");
  await page.uncheck("#single");
  await page.keyboard.press("Escape");
  await page.keyboard.press("m");
  await press("true");
  await page.click("[data-do=help]");
  await page.check("#single");
  await page.keyboard.press("Escape");
  await page.keyboard.press("m");
  await press("false");
}

async function archive(page) {
  await page.keyboard.press("e");
  await page.keyboard.type("release");
  await photograph(page, "5-finish");
  await page.keyboard.press("Enter");
  await until(page, () => document.querySelector("#done").open);
  await photograph(page, "6-done");
  const href = await page.getAttribute("#done-link", "href");
  await page.goto(origin + "/archive");
  await until(page, () => document.querySelector("#rows tr"));
  await page.click("#rows button");
  await until(page, () => document.querySelector("#history-rows tr"));
  await page.click("#history-rows button");
  await until(page, () => document.querySelector("#history-picture").naturalWidth > 0);
  await photograph(page, "7-archive");
  await page.goto(origin + href);
  assert.match(await page.title(), /PE-A-0147/);
  await page.screenshot({ path: pictures + "/8-certificate.png" });
}

(async () => {
  const { browser, page } = await watch();
  await page.goto(url);
  await until(page, () => document.querySelector("#ask-technician").open);
  await photograph(page, "0-name");
  await page.keyboard.type("A. Bell");
  await page.keyboard.press("Enter");
  await until(page, () => document.querySelector("#who").textContent.includes("A. Bell"));
  await until(page, () => document.querySelector("#live").naturalWidth > 0);
  await page.keyboard.press("?");
  await photograph(page, "1-help");
  await page.keyboard.press("Escape");
  await page.keyboard.press("t");
  await page.keyboard.type("felt worn");
  await page.keyboard.press("Enter");
  await until(page, () => document.querySelector("#pad").textContent.includes("felt worn"));
  await page.keyboard.press("m");
  assert.equal(await page.getAttribute("[data-do=mute]", "aria-pressed"), "true");
  await page.reload();
  await until(page, () => document.querySelector("[data-do=mute]").getAttribute("aria-pressed") === "true");
  await until(page, () => document.querySelector("#who").textContent.includes("A. Bell"));
  await tabs(page);
  await singleKeys(page);
  const words = [];
  for (let i = 0; i < expected.length; i++) words.push(await sweep(page, i));
  assert.deepEqual(words, expected);
  await archive(page);
  await browser.close();
  for (const fault of faults) console.log("FAULT " + fault);
  console.log(faults.length + " faults");
  process.exit(faults.length ? 1 : 0);
})().catch((error) => {
  console.log("FAULT " + error.stack);
  for (const fault of faults) console.log("FAULT " + fault);
  process.exit(1);
});
