// The whole chain: simulator, broker, watch, pages, in the real program, seen in a real browser.
import { after, afterEach, before, test } from "node:test";
import assert from "node:assert/strict";
import { get } from "node:http";
import { launch, SHOTS } from "../browser.js";
import { rehearse } from "../daemon.js";
import { open, PROMISES } from "../help.js";

const LONG = { polling: 20, timeout: 120_000 };
let browser, lift = null, faults = [];
before(async () => { browser = await launch(); });
after(() => browser.close());
afterEach(async () => { for (const context of browser.contexts()) await context.close(); await lift?.end(); lift = null; });

const said = (page, text) => page.waitForFunction(text => document.querySelector("#call").textContent.includes(text), text, LONG);
const isLive = page => page.waitForFunction(() => !/loading|gone/.test(document.body.className), null, LONG);

/** The pages of everybody, each paired by its own code. */
async function everybody() {
  const crew = {};
  faults = [];
  for (const [role, screen] of [["spotter", "phone"], ["tower A", "phone"], ["tower B", "phone"], ["lead", "laptop"]]) {
    const opened = await open(browser, lift.pages.get(role), screen);
    crew[role] = opened.page;
    faults.push(opened.faults);
    await isLive(crew[role]);
  }
  return crew;
}

/**
 * Notes, by the wall clock that all pages share, when this page first shows a stop, and since when it is not live: a page that a busy
 * machine held up for a moment is live again, and counts anew.
 */
function clocked(page) {
  return page.evaluate(() => {
    const at = globalThis.at = { stop: null, gone: null };
    const look = () => {
      const now = performance.timeOrigin + performance.now(), is = name => document.body.classList.contains(name);
      if (is("stop")) at.stop ??= now;
      at.gone = is("gone") ? at.gone ?? now : null;
    };
    new MutationObserver(look).observe(document.body, { attributes: true, attributeFilter: ["class"] });
    look();
    document.querySelector("#stop").addEventListener("pointerdown", () => { at.pressed ??= performance.timeOrigin + performance.now(); }, { capture: true });
  });
}
const when = async (page, what) => (await page.waitForFunction(what => globalThis.at[what], what, LONG)).jsonValue();

/** Waits until this page has shown these calls, in this order. */
const went = (page, ...texts) => page.waitForFunction(texts => {
  let at = 0;
  for (const call of globalThis.calls) if (at < texts.length && call.includes(texts[at])) at += 1;
  return at === texts.length;
}, texts, LONG);

test("one operator cranks too fast: the right tower is called on every page, and it is over when level", { timeout: 300_000 }, async () => {
  lift = await rehearse("--speed", "2");
  const crew = await everybody();
  await went(crew.spotter, "Hold Birch.").then(() => Promise.all(Object.entries(crew).map(([role, page]) => page.screenshot({ path: `${SHOTS}rehearse-hold-${role.replace(" ", "-")}.png` }))));
  await Promise.all([
    went(crew.spotter, "Hold Birch. Alder up", "Level."), went(crew.lead, "Hold Birch. Alder up", "Level."),
    went(crew["tower B"], "Hold Birch.", "Level."), went(crew["tower A"], "Alder up", "Level."),
  ]);
  for (const [role, page] of Object.entries(crew)) {
    const calls = await page.evaluate(() => globalThis.calls);
    assert.ok(!calls.some(call => /Hold Alder|Birch up/.test(call)), `${role}: the wrong tower was called: ${calls}`);
    assert.doesNotMatch(await page.evaluate(() => document.body.innerText), PROMISES);
    assert.ok(await page.evaluate(() => document.body.classList.contains("train")), `${role}: marked as a rehearsal`);
  }
  assert.deepEqual(faults.flat(), [], "no page found a fault, its own content policy included");
});

test("STOP on the spotter's page reaches every page in under 200 ms, a late page at once, and stands until the lead releases it", { timeout: 240_000 }, async () => {
  lift = await rehearse();
  const crew = await everybody();
  for (const page of Object.values(crew)) await clocked(page);
  await crew.spotter.dispatchEvent("#stop", "pointerdown", { pointerType: "touch", button: 0 });
  const pressed = await when(crew.spotter, "pressed");
  for (const [role, page] of Object.entries(crew)) {
    const took = await when(page, "stop") - pressed;
    console.log(`# STOP on ${role} after ${took.toFixed(0)} ms`);
    assert.ok(took < 200, `${role}: ${took.toFixed(0)} ms`);
  }
  const late = (await open(browser, lift.pages.get("view"), "phone")).page;
  await late.waitForFunction(() => document.body.classList.contains("live"), null, LONG);
  const after = (await open(browser, `${lift.url}/spotter`, "phone", { context: late.context() })).page;
  await after.waitForFunction(() => document.body.classList.contains("lit"), null, LONG);
  await said(after, "top");
  const desk = crew.lead, row = desk.locator("#findings .find").filter({ hasText: /stop, raised/ });
  await row.getByRole("button", { name: "Seen" }).click();
  const release = desk.locator("#findings").getByRole("button", { name: /^Release/ }).first();
  await release.click();
  await desk.locator("#findings").getByRole("button", { name: "Release: press again" }).click();
  await crew.spotter.waitForFunction(() => !document.body.classList.contains("lit"), null, LONG);
});

test("what is only the lead's is refused on the spotter's page, in words", { timeout: 120_000 }, async () => {
  lift = await rehearse();
  const { page } = await open(browser, lift.pages.get("spotter"));
  await isLive(page);
  const answer = await page.evaluate(async () => { const a = await fetch("/say", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ step: "raise" }) }); return [a.status, (await a.json()).text]; });
  assert.equal(answer[0], 403);
  assert.match(answer[1], /lead/);
});

for (const [how, signal] of [["killed", "SIGKILL"], ["stopped in its tracks", "SIGSTOP"]]) {
  test(`the program is ${how}: every page says Not live within a second`, { timeout: 240_000 }, async () => {
    lift = await rehearse();
    const crew = await everybody();
    for (const page of Object.values(crew)) await clocked(page);
    const now = Date.now();
    lift.kill(signal);
    for (const [role, page] of Object.entries(crew)) {
      const took = await when(page, "gone") - now;
      console.log(`# Not live on ${role} ${took.toFixed(0)} ms after ${signal}`);
      assert.ok(took <= 1_000, `${role}: ${took.toFixed(0)} ms`);
      const words = await page.evaluate(() => document.querySelector("main").innerText);
      assert.match(await page.evaluate(() => document.body.innerText), /Not live/);
      assert.doesNotMatch(words, /\d ?(mm|kg)/, `${role}: a number is left`);
    }
    if (signal === "SIGSTOP") {
      lift.kill("SIGCONT");
      for (const page of Object.values(crew)) await isLive(page);
    }
  });
}

/** A page's stream without a browser: counts views, notes when a stop is said. */
function listen(url) {
  const seen = { views: 0, stop: null, closed: false };
  const ask = get(`${url}/live`, answer => {
    let open = "";
    answer.setEncoding("utf8");
    answer.on("data", text => {
      open += text;
      const blocks = open.split("\n\n");
      open = blocks.pop();
      for (const block of blocks) {
        if (block.includes("event: view")) seen.views += 1;
        if (block.includes("event: call") && block.includes('"call":"stop"')) seen.stop ??= performance.timeOrigin + performance.now();
      }
    });
    answer.on("close", () => { seen.closed = true; });
  });
  ask.on("error", () => { seen.closed = true; });
  return { seen, close: () => ask.destroy() };
}
const until = async (holds, what) => { for (const end = Date.now() + 60_000; !holds();) { if (Date.now() > end) throw new Error(`still not: ${what}`); await new Promise(done => setImmediate(done)); } };

test("fifty streams at once: all are live, and all hear a STOP in under 200 ms", { timeout: 240_000 }, async () => {
  lift = await rehearse("--open");
  const { page } = await open(browser, lift.pages.get("spotter"));
  await isLive(page);
  await clocked(page);
  const others = Array.from({ length: 49 }, () => listen(lift.url));
  await until(() => others.every(({ seen }) => seen.views >= 10), "ten views on every stream");
  await page.dispatchEvent("#stop", "pointerdown", { pointerType: "touch", button: 0 });
  await until(() => others.every(({ seen }) => seen.stop !== null), "a stop on every stream");
  const pressed = await when(page, "pressed"), own = await when(page, "stop") - pressed;
  const slowest = Math.max(...others.map(({ seen }) => seen.stop)) - pressed;
  console.log(`# slowest of 49 streams ${slowest.toFixed(0)} ms, the page itself ${own.toFixed(0)} ms`);
  assert.ok(slowest < 200 && own < 200, `${slowest.toFixed(0)} and ${own.toFixed(0)} ms`);
  assert.ok(others.every(({ seen }) => !seen.closed));
  for (const one of others) one.close();
});
