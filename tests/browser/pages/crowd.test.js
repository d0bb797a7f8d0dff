// Many pages at once, each a real one: fifty phones, and many tabs of one browser.
import { after, afterEach, before, test } from "node:test";
import assert from "node:assert/strict";
import { launch, SCREENS } from "../browser.js";
import { rehearse } from "../daemon.js";
import { open } from "../help.js";

const LONG = { polling: 100, timeout: 60_000 };
let browser, crowd, lift = null;
before(async () => { browser = await launch(); crowd = await launch("--renderer-process-limit=1"); });
after(async () => { await browser.close(); await crowd.close(); });
afterEach(async () => { for (const context of [...browser.contexts(), ...crowd.contexts()]) await context.close(); await lift?.end(); lift = null; });

const isLive = page => page.waitForFunction(() => !/loading|gone/.test(document.body.className), null, LONG);
const PLACES = ["/spotter", "/tower/A", "/tower/B", "/desk"];

/** Notes, by the clock that all pages of a machine share, when this page was pressed, shows a stop, and every time it was not live. */
function clocked() {
  const at = globalThis.at = { pressed: null, stop: null, gone: 0 };
  const now = () => performance.timeOrigin + performance.now();
  document.addEventListener("DOMContentLoaded", () => {
    new MutationObserver(() => {
      if (document.body.classList.contains("stop")) at.stop ??= now();
      if (document.body.classList.contains("gone")) at.gone += 1;
    }).observe(document.body, { attributes: true, attributeFilter: ["class"] });
    document.querySelector("#stop")?.addEventListener("pointerdown", () => { at.pressed ??= now(); }, { capture: true });
  });
}
const when = async (page, what) => (await page.waitForFunction(what => globalThis.at[what], what, LONG)).jsonValue();

/** Presses STOP on `from`; -> ms until each page shows it, in order of slowness. */
async function stopFrom(from, pages) {
  await from.dispatchEvent("#stop", "pointerdown", { pointerType: "touch", button: 0 });
  const pressed = await when(from, "pressed"), took = [];
  for (const page of pages) took.push(await when(page, "stop") - pressed);
  return took.sort((a, b) => a - b);
}

test("fifty real pages of all kinds at once: all live, and each shows the call", { timeout: 240_000 }, async () => {
  lift = await rehearse("--open");
  // Five browsers of ten pages each, so that one machine can draw fifty phones: the pages of a browser share a process.
  const contexts = await Promise.all(Array.from({ length: 5 }, () => crowd.newContext({ ...SCREENS.small, deviceScaleFactor: 1 }))), pages = [];
  for (const context of contexts) await context.addInitScript(clocked);
  for (let i = 0; i < 50; i++) {
    const page = await contexts[i % 5].newPage();
    await page.goto(i === 0 ? lift.pages.get("spotter") : lift.url + PLACES[i % 4]);
    pages.push(page);
  }
  for (const page of pages) await isLive(page);
  const moved = async (page, more) => { const t = await page.evaluate(() => Number(document.body.dataset.shown)); await page.waitForFunction(t => Number(document.body.dataset.shown) > t, t + more, LONG); };
  await Promise.all(pages.map(page => moved(page, 1_000)));
  const took = await stopFrom(pages[0], pages);
  console.log(`# STOP on fifty pages: first ${took[0].toFixed(0)} ms, middle ${took[25].toFixed(0)} ms, last ${took.at(-1).toFixed(0)} ms`);
  for (const [i, page] of pages.entries()) assert.match(await page.evaluate(() => document.querySelector("#call").textContent), /Stop/, PLACES[i % 4]);
});

test("eight tabs of one browser: all live, and STOP from the eighth reaches them all in under 200 ms", { timeout: 120_000 }, async () => {
  lift = await rehearse("--open");
  const context = await browser.newContext(SCREENS.small), pages = [];
  await context.addInitScript(clocked);
  for (let i = 0; i < 8; i++) {
    const { page } = await open(browser, lift.url + PLACES[i % 4], "small", { context, listening: false });
    await isLive(page);
    pages.push(page);
  }
  const eighth = pages[7], before = await Promise.all(pages.map(page => page.evaluate(() => Number(document.body.dataset.shown))));
  await Promise.all(pages.map((page, i) => page.waitForFunction(t => Number(document.body.dataset.shown) > t + 1_000, before[i], LONG)));
  const took = await stopFrom(eighth, pages);
  console.log(`# STOP from the eighth tab on all eight: last ${took.at(-1).toFixed(0)} ms`);
  assert.ok(took.at(-1) < 200, `${took.map(ms => ms.toFixed(0))} ms`);
  assert.deepEqual(await Promise.all(pages.map(page => page.evaluate(() => globalThis.at.gone))), Array(8).fill(0), "none was cut off meanwhile");
});
