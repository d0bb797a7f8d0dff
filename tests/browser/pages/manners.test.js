// How the pages behave towards people: what gives way, who is named, what a replay may do, hands without a pointer.
import { after, afterEach, before, beforeEach, test } from "node:test";
import assert from "node:assert/strict";
import { launch, SHOTS } from "../browser.js";
import { serve } from "../fixture/serve.js";
import { viewOf, VIEWS } from "../fixture/views.js";
import { axe, isLive, looks, open, PLACES, when } from "../help.js";

let browser, monitor;
before(async () => { browser = await launch(); });
after(() => browser.close());
beforeEach(async () => { monitor = await serve(); });
afterEach(async () => { for (const context of browser.contexts()) await context.close(); await monitor.close(); });

/** All that has been said has come when there are `n`. */
async function saidSoFar(n) {
  for (const end = Date.now() + 10_000; monitor.said.length < n;) { if (Date.now() > end) break; await new Promise(setImmediate); }
  return monitor.said;
}

for (const [path, screen] of Object.entries(PLACES)) {
  test(`${path}: the sound check gives way to a call that stands, and comes back when it is over`, async () => {
    const { page } = await open(browser, monitor.url + path, screen, { closed: false });
    await isLive(page);
    assert.ok(await page.locator("#sheet").isVisible(), "open at first");
    await page.focus("#who");
    monitor.show(viewOf("hold"));
    await page.locator("#sheet").waitFor({ state: "hidden" });
    assert.equal(await page.evaluate(() => document.activeElement.id), "more", "whoever was typing is not left nowhere");
    await page.click("#more");
    assert.ok(await page.locator("#sheet").isVisible(), "opened by hand it stays");
    monitor.show(viewOf("stop"));
    await page.locator("#sheet").waitFor({ state: "hidden" });
    monitor.show(viewOf("calm"));
    await page.locator("#sheet").waitFor({ state: "visible" });
    await page.click(".close");
    monitor.show(viewOf("hold"));
    await when(page, () => /Hold|up/i.test(document.querySelector("#call").textContent));
    monitor.show(viewOf("calm"));
    await when(page, () => /Level/.test(document.querySelector("#call").textContent));
    assert.ok(!await page.locator("#sheet").isVisible(), "closed for good");
  });

  test(`${path}: a page opened into a standing call shows the drawing, not the sheet`, async () => {
    monitor.show(viewOf("stop"));
    const { page } = await open(browser, monitor.url + path, screen, { closed: false });
    await looks(page, "stop");
    assert.ok(!await page.locator("#sheet").isVisible());
    assert.match(await page.locator("#more").innerText(), /SOUND OFF/);
  });

  test(`${path}: a replay is looked at: it says so, and nothing can be said or heard`, async () => {
    const replay = name => ({ ...viewOf(name), replay: "14 May 13:56", speed: 4 });
    monitor.show(replay("calm"));
    const { page, faults } = await open(browser, monitor.url + path, screen, { closed: false });
    await isLive(page);
    await page.click(".play");
    await page.click(".close");
    await page.evaluate(() => { globalThis.heard.length = 0; });
    monitor.show(replay("hold"));
    monitor.call({ ...viewOf("hold").calls.spotter });
    await when(page, () => /Hold|up/i.test(document.querySelector("#call").textContent));
    assert.match(await page.evaluate(() => document.body.innerText), /REPLAY 14 May 13:56, × 4/);
    for (const id of ["#stop", "#ack"]) assert.ok(!await page.locator(id).isVisible(), id);
    assert.deepEqual(await page.evaluate(() => globalThis.heard.filter(one => ["word", "tone", "shake"].includes(one.what))), []);
    assert.equal(await page.evaluate(() => getComputedStyle(document.body, "::after").borderTopStyle), "dotted");
    if (path === "/desk") {
      await page.getByRole("button", { name: "Land" }).click({ force: true });
      await page.keyboard.press("F4");
    }
    await page.screenshot({ path: `${SHOTS}${path.slice(1).replace("/", "-")}-replay.png` });
    assert.deepEqual(await axe(page), []);
    assert.deepEqual([monitor.said.filter(one => one.said !== "sound-heard"), faults], [[], []]);
  });

  test(`${path}: behind another tab, where timers are slow, a worker notices that nothing comes`, async () => {
    const context = await browser.newContext();
    await context.addInitScript(() => {
      Object.defineProperty(document, "hidden", { get: () => true });
      const timer = globalThis.setTimeout;
      globalThis.setTimeout = (act, ms, ...more) => ms >= 500 && ms <= 1_000 ? 0 : timer(act, ms, ...more);
    });
    const { page } = await open(browser, monitor.url + path, screen, { context, listening: false });
    await when(page, () => document.querySelector("#more .alive").textContent === "live");
    const fall = page.evaluate(() => new Promise(done => {
      let last = performance.now();
      const parse = JSON.parse;
      JSON.parse = text => { last = performance.now(); return parse(text); };
      new MutationObserver(() => { if (document.body.classList.contains("gone")) done(performance.now() - last); }).observe(document.body, { attributes: true });
    }));
    await page.evaluate(() => new Promise(requestAnimationFrame));
    monitor.mute(true);
    const took = await fall;
    assert.ok(took <= 1_000, `${took} ms`);
  });
}

test("a tower's page says who heard the call, though the spotter's has another number", async () => {
  const hold = viewOf("hold");
  for (const id of ["A", "B"]) hold.calls[id].id = `c-${id}`;
  hold.heard = [{ call: "c1", finding: "uneven-B-1", by: "Mara", after_ms: 900 }];
  monitor.show(hold);
  const { page } = await open(browser, `${monitor.url}/tower/A`);
  await when(page, () => document.querySelector("#ack small").textContent === "heard by Mara");
  hold.heard = [{ call: "c1", finding: "uneven-A-1", by: "Jo", after_ms: 900 }];
  hold.calls.spotter.id = "c9";
  monitor.show({ ...hold });
  await when(page, () => document.querySelector("#ack small").textContent === "tell them you heard");
});

test("what carries the truss is drawn only once it has been found", async () => {
  const guess = { ...viewOf("notzeroed"), caught: { piece: "front", position_m: 6.1, sigma_m: .3, force_n: -1_400 } };
  monitor.show(guess);
  const { page } = await open(browser, `${monitor.url}/spotter`);
  await isLive(page);
  assert.equal(await page.locator("svg.elevation .e-barb").getAttribute("d"), "");
  assert.doesNotMatch(await page.locator("svg.elevation").textContent(), /here/);
  monitor.show(viewOf("caught"));
  await when(page, () => /\+33 kg here/.test(document.querySelector("svg.elevation").textContent));
});

test("the spotter's page by keys alone: Heard and STOP in the order they are read, each with a ring", async () => {
  monitor.show(viewOf("hold"));
  const { page } = await open(browser, `${monitor.url}/spotter`, "phone", { closed: false });
  await looks(page, "hold");
  const reached = [];
  for (let i = 0; i < 3; i++) {
    await page.keyboard.press("Tab");
    reached.push(await page.evaluate(() => { const now = document.activeElement, ring = getComputedStyle(now); return [now.id, parseFloat(ring.outlineWidth) >= 3 && ring.outlineStyle === "solid"]; }));
  }
  assert.deepEqual(reached, [["more", true], ["ack", true], ["stop", true]]);
  await page.keyboard.press("Enter");
  await page.keyboard.press("Shift+Tab");
  await page.keyboard.press("Space");
  assert.deepEqual((await saidSoFar(2)).map(one => one.said), ["stop", "heard"]);
  monitor.show(viewOf("stop"));
  await looks(page, "stop");
  assert.equal(await page.evaluate(() => document.activeElement.id), "ack", "a new call steals no focus");
});

test("axe finds nothing serious in any state of any page", { timeout: 240_000 }, async () => {
  for (const [path, screen] of Object.entries(PLACES)) {
    const { page } = await open(browser, monitor.url + path, screen);
    await isLive(page);
    for (const name of Object.keys(VIEWS)) {
      const since = monitor.show(viewOf(name));
      await when(page, since => Number(document.body.dataset.shown) > since + 1_700, since); // a graver call has stood its time
      assert.deepEqual(await axe(page), [], `${path} ${name}`);
    }
    monitor.mute(true);
    await looks(page, "gone");
    assert.deepEqual(await axe(page), [], `${path} not live`);
    monitor.mute(false);
    await page.context().close();
  }
});

test("numbers are silent: only the words of the call are told to a screen reader as they change", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`);
  await looks(page, "calm");
  assert.equal(await page.getAttribute("#call .sub", "aria-live"), "off");
  assert.match(await page.locator("#call .sub").textContent(), /Hold limit/);
});
