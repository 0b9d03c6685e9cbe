/* The lessons in a browser, by keyboard alone: try a pad, compare sizes, raise the camera.
 *
 *   node teach.cjs URL PICTURES
 *
 * URL as rimglow teach prints it. What is a fault beside that: page.cjs. */
"use strict";

const assert = require("node:assert");
const { of, end } = require("./page.cjs");

const [url, pictures] = process.argv.slice(2);
const { origin, watch, photograph, tabs, until } = of(url, pictures, { whole: true, seconds: 180 });

const says = (page, id, text) => until(page, ([i, t]) => document.getElementById(i).textContent.includes(t), [id, text]);
const verdict = (page, id, word) => until(page, ([i, w]) => document.getElementById(i).dataset.verdict === w, [id, word]);
/* What is shown was asked with this value, and no trouble came of it. */
const shown = (page, name, value) => until(page, ([n, v]) => {
  const asked = JSON.parse(document.body.dataset.shown || "{}");
  return asked[n] === v && document.getElementById("trouble").textContent === "";
}, [name, value]);

/* Tab until the control has the focus. */
async function reach(page, what) {
  for (let i = 0; i < 60; i++) {
    if (await page.evaluate((w) => document.activeElement.id === w || document.activeElement.textContent.trim() === w, what)) return;
    await page.keyboard.press("Tab");
  }
  throw new Error("Tab does not reach " + what);
}

async function press(page, what, ...keys) {
  await reach(page, what);
  for (const key of keys) await page.keyboard.press(key);
}

/* The picture is drawn, and holds its mark: white letters in its corner. */
const drawn = (page, id) => page.evaluate((i) => {
  const c = document.getElementById(i), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
  let white = 0, grey = 0;
  for (let y = c.height - 24; y < c.height; y++)
    for (let x = c.width - 170; x < c.width; x++) white += d[4 * (y * c.width + x)] > 230 && d[4 * (y * c.width + x) + 2] > 230;
  for (let k = 0; k < d.length; k += 4) grey += d[k] > 20;
  return { white, grey: grey / (d.length / 4), label: c.getAttribute("aria-label") };
}, id);

async function tryIt(page) {
  await press(page, "Try it", "Enter");
  await until(page, () => location.pathname === "/try" && document.body.dataset.shown);
  await verdict(page, "verdict", "leaking");
  await says(page, "lesson", "A leak that is seen is a leak");
  const seen = await drawn(page, "picture");
  assert(seen.white > 100 && seen.grey > 0.5, JSON.stringify(seen));
  assert.match(seen.label, /^Rendered, no photograph\. Light shows at bearings/);
  await photograph(page, "t-2-leak");
  await tabs(page, "try");

  await press(page, "gap_mm", "Home"); /* nothing is wrong any more */
  await shown(page, "gap_mm", 0);
  await verdict(page, "verdict", "undecided");
  await says(page, "lesson", "this view cannot say so");
  await says(page, "views", "this view");
  await press(page, "elevation_deg", "ArrowRight", "ArrowRight", "ArrowRight", "ArrowRight");
  await shown(page, "elevation_deg", 0.4);
  await says(page, "views", "views of this pad"); /* as many as were fast enough */
  await verdict(page, "whole", "sealed");
  await says(page, "ahead", "of 50 views could be used");
  await verdict(page, "verdict", "undecided"); /* views from one bearing never say sealed */
  await photograph(page, "t-3-good");
}

async function vanishUnderHand(page) {
  await press(page, "gap_mm", "Home", ...Array(10).fill("ArrowRight"));
  await press(page, "elevation_deg", "End"); /* 6 degrees above */
  await shown(page, "elevation_deg", 6);
  await press(page, "forget", "Enter"); /* what was seen before would still be a leak */
  await shown(page, "fresh", "yes");
  await verdict(page, "verdict", "undecided");
  await says(page, "lesson", "Lower the camera");
  await photograph(page, "t-4-raised");
  await verdict(page, "whole", "leaking"); /* the whole sweep finds it all the same */
  await press(page, "grams", "End"); /* a hard squeeze closes it */
  await shown(page, "grams", 400);
  await verdict(page, "whole", "sealed");
  await press(page, "witness", "Space");
  await shown(page, "witness", "no");
  await says(page, "lesson", "Nothing proves that the lamp is on");
  await verdict(page, "whole", "undecided");
  await press(page, "again", "Enter");
  await shown(page, "grams", 50);
  await verdict(page, "verdict", "leaking");
}

async function sizes(page) {
  await press(page, "Sizes", "Enter");
  await until(page, () => location.pathname === "/sizes" && document.body.dataset.shown);
  const says5 = () => page.evaluate(() => [...document.querySelectorAll("#row > li")].map((i) => i.dataset.verdict));
  assert.deepEqual(await says5(), ["undecided", "undecided", "leaking", "leaking", "leaking"]);
  await photograph(page, "t-5-sizes");
  await tabs(page, "sizes");
  await press(page, "elevation_deg", "End");
  await shown(page, "elevation_deg", 6);
  assert.deepEqual((await says5()).slice(0, 3), ["undecided", "undecided", "undecided"]);
}

async function vanish(page) {
  await press(page, "Why did it vanish?", "Enter");
  await until(page, () => location.pathname === "/vanish" && document.body.dataset.rocked === "0.05" && document.body.dataset.shown);
  await says(page, "lesson", "Here the camera looks through it");
  assert.equal(await page.evaluate(() => document.querySelectorAll("#curve circle").length), 9); /* eight heights and the slider */
  const x = () => page.evaluate(() => Number([...document.querySelectorAll("#curve circle")].at(-1).getAttribute("cx")));
  const before = await x();
  await photograph(page, "t-6-vanish");
  await tabs(page, "vanish");
  await press(page, "elevation_deg", "End");
  await shown(page, "elevation_deg", 6);
  await says(page, "lesson", "darkness from this height proves nothing");
  await verdict(page, "verdict", "undecided");
  assert(await x() > before + 100, "the point has moved with the slider");
  await photograph(page, "t-7-raised");
}

async function walk() {
  const { browser, page } = await watch();
  await page.goto(origin + "/");
  await photograph(page, "t-1-lessons");
  await tabs(page, "lessons");
  await tryIt(page);
  await vanishUnderHand(page);
  await sizes(page);
  await vanish(page);
  await browser.close();
}

end(walk());
