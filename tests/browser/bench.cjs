/* The bench page in a browser, by keyboard alone: from the first pad to an archived bag.
 *
 *   node bench.cjs URL PICTURES VERDICT...
 *
 * URL as rimglow bench prints it (a replay), PICTURES a folder for screenshots, then what rimglow inspect says
 * of the recorded sweeps, in body order: the page has to come to the same.
 * What is a fault beside that: page.cjs. */
"use strict";

const assert = require("node:assert");

const [url, pictures, ...expected] = process.argv.slice(2);
const { of, end } = require("./page.cjs");
const { origin, watch, photograph, tabs, until, verdict } = of(url, pictures);

async function sweep(page, index) {
  const title = await page.textContent("#pad");
  await page.keyboard.press("w");
  await until(page, () => document.querySelector("#prompt").textContent.includes("proven"));
  if (index === 0) await photograph(page, "2-witness");
  await page.keyboard.press("Enter");
  await until(page, () => /[1-9]/.test(document.querySelector("#ring text:nth-last-of-type(2)").textContent));
  if (index === 0) await photograph(page, "3-going-round");
  await until(page, () => /^Decided|has ended/.test(document.querySelector("#prompt").textContent));
  const word = await verdict(page);
  await photograph(page, "4-" + word + "-" + index);
  console.log(title + ": " + word);
  await page.keyboard.press(index % 2 ? "PageDown" : "n");
  await until(page, (t) => document.querySelector("#pad").textContent !== t, title);
  return word;
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

async function walk() {
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
  await tabs(page, "bench");
  await singleKeys(page);
  const words = [];
  for (let i = 0; i < expected.length; i++) words.push(await sweep(page, i));
  assert.deepEqual(words, expected);
  await archive(page);
  await browser.close();
}

end(walk());
