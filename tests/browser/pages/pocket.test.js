// Pages that nobody looks at, that were put to sleep, or that something between keeps from a socket.
import { after, afterEach, before, beforeEach, test } from "node:test";
import assert from "node:assert/strict";
import { createServer, request } from "node:http";
import { launch } from "../browser.js";
import { rehearse } from "../daemon.js";
import { serve } from "../fixture/serve.js";
import { viewOf } from "../fixture/views.js";
import { isLive, looks, open, PLACES, pocket, when } from "../help.js";

let browser, monitor;
before(async () => { browser = await launch(); });
after(() => browser.close());
beforeEach(async () => { monitor = await serve(); });
afterEach(async () => { for (const context of browser.contexts()) await context.close(); await monitor.close(); });

for (const [path, screen] of Object.entries(PLACES)) {
  test(`${path} in a pocket draws nothing and is heard all the same; seen again it shows what stands at once`, async () => {
    const { page } = await open(browser, monitor.url + path, screen, { closed: false });
    await isLive(page);
    await page.click(".play");
    await page.click(".close");
    await pocket(page, true);
    await page.evaluate(() => {
      globalThis.heard.length = 0; globalThis.drawn = 0;
      new MutationObserver(list => { globalThis.drawn += list.length; }).observe(document.querySelector("main"), { subtree: true, childList: true, attributes: true, characterData: true });
    });
    const hold = viewOf("hold"), to = { "/spotter": "spotter", "/tower/A": "A", "/desk": "lead" }[path];
    monitor.show(hold);
    monitor.call({ ...hold.calls[to] });
    await when(page, text => globalThis.heard.some(one => one.what === "word" && one.text === text), hold.calls[to].text);
    assert.equal(await page.evaluate(() => globalThis.drawn), 0);
    const at = await page.evaluate(() => {
      Object.defineProperty(document, "hidden", { configurable: true, get: () => false });
      document.dispatchEvent(new Event("visibilitychange"));
      return document.querySelector("#call").textContent; // before anything else ran
    });
    assert.match(at, /Bravo|up/i);
    // And there as well it notices that nothing comes.
    await pocket(page, true);
    monitor.mute(true);
    await when(page, () => globalThis.heard.some(one => one.what === "word" && one.text === "Not live"));
    await looks(page, "gone");
  });

  test(`${path} put to sleep is not live, and live again only by something fresh`, async () => {
    const { page } = await open(browser, monitor.url + path, screen);
    await isLive(page);
    monitor.mute(true);
    const after = await page.evaluate(() => { document.dispatchEvent(new Event("freeze")); return document.body.className; });
    assert.match(after, /\bgone\b/, "before it stands still: what lies on its glass is no picture of the lift");
    assert.match(await page.evaluate(() => { document.dispatchEvent(new Event("resume")); return document.body.className; }), /\bgone\b/);
    monitor.mute(false);
    await isLive(page);
  });

  test(`${path}: a phone that slept without a word is not live, whatever lay in its ears; one whose time is set back does not mind`, async () => {
    const { page } = await open(browser, monitor.url + path, screen);
    await isLive(page);
    await page.evaluate(() => {
      globalThis.fell = 0;
      new MutationObserver(() => { if (document.body.classList.contains("gone")) globalThis.fell += 1; }).observe(document.body, { attributes: true, attributeFilter: ["class"] });
      const day = Date.now.bind(Date); let off = 0;
      Date.now = () => day() + off; globalThis.sets = by => { off += by; };
      globalThis.sets(-3_600_000);
    });
    const since = Number(await page.getAttribute("body", "data-shown"));
    await when(page, since => Number(document.body.dataset.shown) > since + 500, since);
    assert.equal(await page.evaluate(() => globalThis.fell), 0);
    await page.evaluate(() => globalThis.sets(60_000));
    await when(page, () => globalThis.fell > 0);
    await isLive(page);
  });
}

/** What stands between some phones and a server: it passes everything on but sockets. */
async function gate(port) {
  const server = createServer((ask, answer) => {
    const on = request({ host: "127.0.0.1", port, path: ask.url, method: ask.method, headers: ask.headers }, got => { answer.writeHead(got.statusCode, got.headers); got.pipe(answer); });
    on.on("error", () => answer.destroy());
    answer.on("close", () => on.destroy());
    ask.pipe(on);
  });
  await new Promise(done => server.listen(0, "127.0.0.1", done));
  return { origin: `http://127.0.0.1:${server.address().port}`, close: () => { server.closeAllConnections(); server.close(); } };
}

test("where no socket is let through the pages are live by events, STOP among them, and not live within a second", { timeout: 120_000 }, async () => {
  const lift = await rehearse("--open"), proxy = await gate(Number(new URL(lift.url).port));
  try {
    const crew = [];
    for (const [path, screen] of Object.entries(PLACES)) crew.push((await open(browser, proxy.origin + path, screen)).page);
    for (const page of crew) await page.waitForFunction(() => !/loading|gone/.test(document.body.className), null, { polling: 20, timeout: 60_000 });
    await crew[0].dispatchEvent("#stop", "pointerdown", { pointerType: "touch", button: 0 });
    for (const page of crew) await looks(page, "stop");
    await Promise.all(crew.map(page => page.evaluate(() => {
      const parse = JSON.parse;
      JSON.parse = text => { globalThis.lastSeen = performance.now(); return parse(text); };
      globalThis.fall = new Promise(done => new MutationObserver(() => { if (document.body.classList.contains("gone")) done(performance.now() - globalThis.lastSeen); }).observe(document.body, { attributes: true }));
    })));
    for (const page of crew) await when(page, () => globalThis.lastSeen !== undefined);
    lift.kill("SIGSTOP");
    for (const page of crew) { const took = await page.evaluate(() => globalThis.fall); assert.ok(took <= 1_000, `${took} ms`); }
  } finally { proxy.close(); await lift.end(); }
});

test("a watch that stands still is not live again by a new connection", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`);
  await isLive(page);
  monitor.freeze(await page.evaluate(() => Number(document.body.dataset.shown) + 100));
  await looks(page, "gone");
  await page.evaluate(() => { globalThis.rose = 0; new MutationObserver(() => { if (!/gone|loading/.test(document.body.className)) globalThis.rose += 1; }).observe(document.body, { attributes: true }); });
  const since = await page.evaluate(() => performance.now());
  await when(page, since => performance.now() - since > 4_000, since); // the connection has been renewed meanwhile
  assert.equal(await page.evaluate(() => globalThis.rose), 0);
  monitor.freeze(null);
  await isLive(page);
});
