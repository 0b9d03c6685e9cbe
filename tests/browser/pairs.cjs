/* The page Pairs in a browser, by keyboard alone: choose, look, mark, go on.
 *
 *   node pairs.cjs URL PICTURES none|CASES
 *
 * URL as rimglow teach prints it; CASES: how many the archive has, beside one inspection that is damaged. What is a
 * fault beside that: page.cjs. */
"use strict";

const assert = require("node:assert");
const { of, end } = require("./page.cjs");

const [url, pictures, expects] = process.argv.slice(2);
const { origin, watch, photograph, tabs, until } = of(url, pictures, { whole: true });

const focused = (page) => page.evaluate(() => document.activeElement.id || document.activeElement.dataset.case || "");
const listed = (page, n) => until(page, (k) => document.querySelectorAll("#cases button").length === k, n);
const says = (page, id, text) => until(page, ([i, t]) => document.getElementById(i).textContent.includes(t), [id, text]);
const loaded = (page) => until(page, () => [...document.querySelectorAll("#case img")]
  .every((i) => !i.checkVisibility() || (i.complete && i.naturalWidth > 0)));

/* Tab until the control has the focus. */
async function reach(page, id) {
  for (let i = 0; i < 60; i++) {
    if (await focused(page) === id) return;
    await page.keyboard.press("Tab");
  }
  assert.fail("Tab does not reach " + id);
}

/* The word is typed into a select, which chooses by first letters. */
async function choose(page, select, word, cases) {
  await reach(page, select);
  await page.keyboard.type(word);
  await reach(page, "show");
  await page.keyboard.press("Enter");
  await listed(page, cases);
}

async function lesson(page) {
  await page.goto(url);
  await page.evaluate(() => document.querySelector("a[href='/pairs']").id = "to-pairs");
  await reach(page, "to-pairs");
  await page.keyboard.press("Enter");
  await page.waitForURL(origin + "/pairs");
}

async function without(page) {
  await until(page, () => !document.querySelector("#none").hidden);
  assert.match(await page.textContent("#none"), /rimglow teach --archive DIR/);
  assert.equal(await page.isVisible("#choose"), false);
  await photograph(page, "p-0-none");
}

/* No word of the archive's own on the page. */
async function private_words(page) {
  const text = await page.evaluate(() => document.documentElement.outerHTML);
  for (const word of ["PE-A-0147", "Bell", "2026", "view_0", "07-G-sharp"])
    assert.ok(!text.includes(word), "the page says " + word);
}

async function one(page) {
  const name = await page.evaluate(() => document.querySelector("#cases button").dataset.case);
  await reach(page, name);
  await page.keyboard.press("Enter");
  await says(page, "title", name);
  await until(page, () => document.activeElement.id === "title");
  await loaded(page);
  assert.match(await page.textContent("#summary"), /leaking/);
  assert.match(await page.textContent("#in-says"), /light comes through/);
  assert.ok(await page.isVisible("#out"));
  assert.match(await page.textContent("#truth"), /nobody measured this gap with a gauge/);
  assert.ok(await page.evaluate(() => document.querySelectorAll("#arcs tr").length) > 0);
  await private_words(page);
  await photograph(page, "p-2-case");
  const photo = await page.getAttribute("#in", "src");
  await reach(page, "marks");
  await page.keyboard.press("Space");
  await until(page, (old) => document.querySelector("#in").getAttribute("src") !== old, photo);
  await loaded(page);
  await photograph(page, "p-3-marked");
  await reach(page, "next");
  await page.keyboard.press("Enter");
  await until(page, (n) => !document.querySelector("#title").textContent.includes(n), name);
  await loaded(page);
  await reach(page, "back");
  await page.keyboard.press("Enter");
  await until(page, () => document.activeElement.getAttribute("aria-current") === "true");
  return name;
}

async function withArchive(page) {
  await listed(page, Number(expects));
  await says(page, "left", "1 sweep of 1 inspection left out");
  await photograph(page, "p-1-list");
  await tabs(page, "list");
  await choose(page, "verdict", "sealed", 1);
  await choose(page, "verdict", "leaking", 3);
  await choose(page, "cause", "tilted", 2);
  await choose(page, "cause", "any", 3);
  await choose(page, "size", "0.05", 1);
  await choose(page, "size", "any", 3);
  const name = await one(page);
  await tabs(page, "case");
  console.log("first leaking case: " + name);
}

async function walk() {
  const { browser, page } = await watch();
  await lesson(page);
  await (expects === "none" ? without(page) : withArchive(page));
  await browser.close();
}

end(walk());
