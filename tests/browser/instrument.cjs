/* A whole instrument in a browser, by keyboard alone, and the program killed in the middle.
 *
 *   node instrument.cjs PICTURES FACTS BENCH ARGUMENT...
 *
 * PICTURES: a folder for screenshots. FACTS: JSON {"names", "verdicts", "witness": [...]} of the pads in body order, as
 * rimglow inspect has them, and whether a witness was recorded. BENCH ARGUMENT...: the command that starts rimglow bench, without --port and --technician.
 * It is killed (SIGKILL) in the sixth pad, started again on the same port, and the page goes on without being
 * loaded again. Presses no mouse button. */
"use strict";

const assert = require("node:assert");
const fs = require("node:fs");
const { spawn } = require("node:child_process");
const { of, end } = require("./page.cjs");

const [pictures, factsFile, program, ...given] = process.argv.slice(2);
const facts = JSON.parse(fs.readFileSync(factsFile, "utf8"));
const KILLED_IN = 5, BOTH_FINGERS = 2;

function start(port) {
  const child = spawn(program, [...given, "--port", String(port)], { stdio: ["ignore", "pipe", "inherit"] });
  child.gone = new Promise((resolve) => child.on("exit", resolve));
  const url = new Promise((resolve, reject) => {
    let text = "";
    child.stdout.on("data", (bytes) => {
      text += bytes;
      const found = /^= (http\S+)/m.exec(text);
      if (found) resolve(found[1]);
    });
    child.on("exit", (code) => reject(new Error("the bench ended with " + code)));
  });
  return { child, url };
}

let bench = start(0);
process.on("exit", () => bench.child.kill("SIGKILL"));

/* Tab until the focus is where test says, as somebody without a mouse does. */
async function tabTo(page, test) {
  for (let i = 0; i < 120; i++) {
    await page.keyboard.press("Tab");
    if (await page.evaluate(test)) return;
  }
  throw new Error("Tab does not get to " + test);
}

const text = (page, selector) => page.textContent(selector);

/* One of the samples has no witness: its lamp stays unproven, as when the technician leaves W out. */
async function begin(page, until, i) {
  if (facts.witness[i]) {
    await page.keyboard.press("w");
    await until(page, () => document.querySelector("#prompt").textContent.includes("proven"));
  }
  await page.keyboard.press("Enter");
}

async function measure(page, until, i) {
  await begin(page, until, i);
  await until(page, () => /^Decided|has ended/.test(document.querySelector("#prompt").textContent));
}

async function next(page, until, key) {
  const before = await text(page, "#pad");
  await page.keyboard.press(key);
  await until(page, (was) => document.querySelector("#pad").textContent !== was, before);
}

async function sayName(page, until) {
  await until(page, () => document.querySelector("#ask-technician").open);
  await page.keyboard.type("A. Bell");
  await page.keyboard.press("Enter");
  await until(page, () => !document.querySelector("#ask-technician").open &&
    document.querySelector("#who").textContent.includes("A. Bell"));
}

async function enterSetup(page, until, photograph) {
  await page.keyboard.press("s");
  await until(page, () => document.activeElement && document.activeElement.id === "quantity");
  for (const [quantity, value, u, tool] of [["mass", "2431", "1", "bench scale, 5 kg"], ["spring force G", "42", "", "spring gauge, 100 g"]]) {
    await page.keyboard.type(quantity);
    await page.keyboard.press("Escape"); /* the list of suggestions */
    await page.keyboard.press("Tab");
    await page.keyboard.type(value);
    await page.keyboard.press("Tab");
    assert.equal(await page.inputValue("#unit"), "g");
    await page.keyboard.press("Tab");
    await page.keyboard.type(u);
    await page.keyboard.press("Tab");
    await page.keyboard.type(tool);
    await page.keyboard.press("Enter");
    await until(page, (q) => [...document.querySelectorAll("#values th")].some((th) => th.textContent === q), quantity);
    await until(page, () => document.activeElement.id === "quantity");
  }
  await tabTo(page, () => document.activeElement.id === "topic");
  await page.keyboard.type("corks and felts");
  await page.keyboard.press("Escape");
  await page.keyboard.press("Tab");
  await page.keyboard.type("one cork new, low C");
  await page.keyboard.press("Enter");
  await until(page, () => document.querySelector("#remarks").textContent.includes("one cork new"));
  await tabTo(page, () => document.activeElement.id === "checked");
  await page.keyboard.type("lubrication");
  await page.keyboard.press("Escape");
  await page.keyboard.press("Enter");
  await until(page, () => document.querySelector("#checks-kept").textContent.includes("done"));
  /* No pad is swept yet: each is a reason, and the check that was done is none. */
  await until(page, () => !document.querySelector("#decision").textContent.includes("lubrication"));
  const held = await text(page, "#decision");
  assert.match(held, /would be held/);
  assert.match(held, /preview: nothing is archived yet/);
  assert.match(held, /low B flat: not swept/);
  await photograph(page, "s-1-setup");
  await page.locator("#decision").scrollIntoViewIfNeeded();
  await page.screenshot({ path: pictures + "/s-1-setup-all.png", fullPage: true });
  await tabTo(page, () => document.activeElement.getAttribute("href") === "/");
  await page.keyboard.press("Enter");
  await until(page, () => document.querySelector("#pads button"));
}

/* Killed while frames are taken: that pad is swept again, what was finished is there again. */
async function killAndGoOn(page, port, tools) {
  const { until, expected, photograph } = tools;
  await begin(page, until, KILLED_IN);
  await until(page, () => /^[2-9] frames kept/.test(document.querySelector("#counts").textContent));
  expected.now = /net::ERR_|403/;
  bench.child.kill("SIGKILL");
  await bench.child.gone;
  await until(page, () => document.querySelector("#trouble").textContent.includes("No connection"));
  bench = start(port);
  await bench.url;
  await sayName(page, until);
  await until(page, () => document.querySelector("#earlier").textContent.includes("5 pads from an earlier run of 2026-11-20"));
  /* The picture comes back, too. */
  await until(page, () => document.querySelector(".picture").classList.contains("on") && document.querySelector("#live").naturalWidth > 0);
  await page.waitForTimeout(500);
  expected.now = null;
  assert.match(await text(page, "#pad"), /^Pad 6 of 16/);
  for (let i = 0; i < KILLED_IN; i++)
    assert.match(await text(page, "#pads li:nth-child(" + (i + 1) + ")"), new RegExp(facts.verdicts[i]));
  await photograph(page, "s-2-again");
}

async function bothFingers(page, tools) {
  await page.keyboard.press("f");
  await tools.until(page, () => document.querySelector("#finger").textContent === "Firm finger" &&
    document.querySelector("#prompt").textContent.includes("press W"));
  await measure(page, tools.until, BOTH_FINGERS);
}

async function lightAgain(page, until) {
  await page.keyboard.press("f");
  await until(page, () => document.querySelector("#finger").textContent === "Light finger");
}

async function finish(page, tools) {
  const { until, photograph, origin } = tools;
  await page.keyboard.press("l");
  await until(page, () => document.querySelector("#worklist").open);
  await photograph(page, "s-3-worklist");
  const order = await page.$$eval("#worklist-lines > li > div > p > strong", (all) => all.map((s) => s.textContent.split(",")[0]));
  const rank = { leaking: 0, undecided: 1, sealed: 3 };
  assert.equal(order.length, 16);
  assert.deepEqual(order.map((w) => rank[w]), order.map((w) => rank[w]).sort(), "worst first");
  /* Each leak with a correction, and what it lets out. */
  const leaks = await page.$$eval("#worklist-lines > li", (all) => all.map((li) => li.textContent).filter((t) => t.includes("leaking,")));
  assert.ok(leaks.length > 1 && leaks.every((t) => /lets out as much as a hole of/.test(t) && /Afterwards the widest gap/.test(t)), leaks[0]);
  await page.keyboard.press("Escape");
  await page.keyboard.press("e");
  await page.keyboard.type("release");
  await photograph(page, "s-4-finish");
  await page.keyboard.press("Enter");
  await until(page, () => document.querySelector("#done").open);
  await photograph(page, "s-5-done");
  await tabTo(page, () => document.activeElement.id === "done-link");
  await page.keyboard.press("Enter");
  await until(page, () => document.title.includes("PE-A-0147"));
  assert.match(await page.content(), /2431/);
  await page.screenshot({ path: pictures + "/s-6-certificate.png", fullPage: true });
  await page.goto(origin + "/setup");
  await until(page, () => document.querySelector("#head").textContent.includes("Visit 1"));
  await until(page, () => document.querySelector("#decision-note").textContent.includes("archived as PE-A-0147/0001"));
  assert.match(await text(page, "#decision"), /is held, because/);
  await photograph(page, "s-7-setup-after");
  for (const [name, width] of [["wide", 1024], ["narrow", 390]]) {
    await page.setViewportSize({ width, height: 844 });
    await page.screenshot({ path: pictures + "/s-8-decision-" + name + ".png", fullPage: true });
  }
}

async function walk() {
  const url = await bench.url, tools = of(url, pictures);
  const { browser, page } = await tools.watch();
  const words = [], { until, photograph } = tools;
  await page.goto(url);
  await sayName(page, until);
  await enterSetup(page, until, photograph);
  for (let i = 0; i < facts.names.length; i++) {
    if (i === KILLED_IN) await killAndGoOn(page, new URL(url).port, tools);
    assert.match(await text(page, "#pad"), new RegExp("^Pad " + (i + 1) + " of 16: " + facts.names[i] + "$"));
    await measure(page, until, i);
    const title = await text(page, "#pad");
    if (i === BOTH_FINGERS) await bothFingers(page, tools);
    if (i + 1 < facts.names.length) await next(page, until, i % 2 ? "PageDown" : "n");
    else {
      await page.keyboard.press("n");
      await until(page, () => document.querySelector("#prompt").textContent.startsWith("Swept"));
    }
    /* A sweep's last frames are measured when it is finished. */
    words.push(await page.getAttribute("#pads li:nth-child(" + (i + 1) + ") svg", "data-kind"));
    console.log(title + ": " + words[i]);
    if (i === BOTH_FINGERS) {
      await lightAgain(page, until);
      assert.match(await text(page, "#pads li:nth-child(3) small"), /^light: \w+.*; firm: \w+/);
    }
  }
  assert.deepEqual(words, facts.verdicts);
  await finish(page, tools);
  bench.child.kill("SIGINT");
  assert.equal(await bench.child.gone, 0, "it ends in order");
  await browser.close();
}

end(walk());
