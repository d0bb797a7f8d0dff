// The way between a page and the real program: cut, and sealed.
import { after, afterEach, before, test } from "node:test";
import assert from "node:assert/strict";
import { mkdtempSync, rmSync } from "node:fs";
import { connect, createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { connect as sealed } from "node:tls";
import { launch } from "../browser.js";
import { rehearse } from "../daemon.js";
import { open } from "../help.js";

const LONG = { polling: 20, timeout: 60_000 };
let browser, lift = null;
before(async () => { browser = await launch(); });
after(() => browser.close());
afterEach(async () => { for (const context of browser.contexts()) await context.close(); await lift?.end(); lift = null; });

const isLive = page => page.waitForFunction(() => !/loading|gone/.test(document.body.className), null, LONG);
const isGone = page => page.waitForFunction(() => document.body.classList.contains("gone"), null, LONG);

/** A network between page and program: `cut` swallows bytes and tells nobody, as radio does; `drop` breaks every connection. */
async function network(port) {
  const pairs = new Set();
  let cut = false, away = false;
  const server = createServer(near => {
    if (away) return near.destroy();
    const far = connect(port, "127.0.0.1"), pair = [near, far];
    pairs.add(pair);
    near.on("data", bytes => { if (!cut) far.write(bytes); });
    far.on("data", bytes => { if (!cut) near.write(bytes); });
    for (const one of pair) { one.on("error", () => {}); one.on("close", () => { pairs.delete(pair); pair.forEach(other => other.destroy()); }); }
  });
  await new Promise(done => server.listen(0, "127.0.0.1", done));
  const drop = () => { for (const pair of pairs) pair.forEach(one => one.destroy()); };
  return { origin: `http://127.0.0.1:${server.address().port}`, cut(on) { cut = on; }, away(on) { away = on; if (on) drop(); }, close() { drop(); server.close(); } };
}

/** From the last thing that arrived to the words "Not live", in the page's own time. */
async function watchFall(page) {
  await page.evaluate(() => {
    globalThis.lastSeen = null;
    globalThis.fall = new Promise(done => new MutationObserver(() => { if (document.body.classList.contains("gone")) done(performance.now() - globalThis.lastSeen); }).observe(document.body, { attributes: true }));
    const parse = JSON.parse;
    JSON.parse = text => { globalThis.lastSeen = performance.now(); return parse(text); };
  });
  await page.waitForFunction(() => globalThis.lastSeen !== null, null, LONG);
}

async function bare(page, label) {
  const words = await page.evaluate(() => document.querySelector("main").innerText + document.querySelector("header").innerText);
  assert.match(words, /Not live/i, label);
  assert.match(words, /Shout STOP/, label);
  assert.doesNotMatch(words, /\d ?(mm|kg|m\b)/, `${label}: a number is left: ${words}`);
  assert.equal(await page.evaluate(() => [...document.querySelectorAll("svg.elevation path, svg.past path")].filter(one => one.getClientRects().length && one.getAttribute("d")).length), 0, `${label}: a drawing is left`);
}

const CUTS = {
  "bytes are swallowed": { cut: (_, net) => net.cut(true), mend: (_, net) => net.cut(false) },
  "connections break and none is taken": { cut: (_, net) => net.away(true), mend: (_, net) => net.away(false) },
  "the browser is offline": { cut: (page, net) => Promise.all([page.context().setOffline(true), net.cut(true)]), mend: (page, net) => Promise.all([page.context().setOffline(false), net.cut(false)]) },
};
for (const [how, { cut, mend }] of Object.entries(CUTS)) {
  test(`${how}: Not live within a second without a number left, and back with what stands at once`, { timeout: 120_000 }, async () => {
    lift = await rehearse("--open");
    const net = await network(Number(new URL(lift.url).port)), crew = {};
    for (const [path, screen] of [["/spotter", "phone"], ["/tower/A", "phone"], ["/desk", "laptop"]]) {
      crew[path] = (await open(browser, net.origin + path, screen)).page;
      await isLive(crew[path]);
      await watchFall(crew[path]);
    }
    for (const page of Object.values(crew)) await cut(page, net);
    for (const [path, page] of Object.entries(crew)) {
      const took = await page.evaluate(() => globalThis.fall);
      console.log(`# ${how}: Not live on ${path} after ${took.toFixed(0)} ms`);
      assert.ok(took <= 1_000, `${path}: ${took.toFixed(0)} ms`);
      await bare(page, path);
    }
    // While they are cut off, somebody else says stop.
    const { page: other } = await open(browser, `${lift.url}/tower/B`);
    await isLive(other);
    await other.dispatchEvent("#stop", "pointerdown", { pointerType: "touch", button: 0 });
    await other.waitForFunction(() => document.body.classList.contains("stop"), null, LONG);
    for (const page of Object.values(crew)) {
      await page.evaluate(() => { globalThis.first = null; new MutationObserver(() => { if (!/loading|gone/.test(document.body.className)) globalThis.first ??= document.body.className; }).observe(document.body, { attributes: true }); });
      await mend(page, net);
    }
    for (const [path, page] of Object.entries(crew)) {
      await isLive(page);
      assert.match(await page.evaluate(() => globalThis.first), /\bstop\b/, `${path}: what it shows first is the stop`);
      await page.waitForFunction(() => /Stop/.test(document.querySelector("#call").textContent), null, LONG);
    }
    net.close();
  });
}

test("a phone whose session is gone is told to pair again, and does not pretend", { timeout: 60_000 }, async () => {
  lift = await rehearse();
  const net = await network(Number(new URL(lift.url).port));
  const { page } = await open(browser, lift.pages.get("spotter").replace(lift.url, net.origin));
  await isLive(page);
  net.away(true);
  await isGone(page);
  await page.context().clearCookies();
  net.away(false);
  await page.waitForFunction(() => /pair it again/.test(document.body.innerText), null, LONG);
  await bare(page, "no session");
  net.close();
});

test("sealed pages: the fingerprint printed is the certificate's, cookies are Secure, the screen can be kept awake", { timeout: 60_000 }, async () => {
  const folder = mkdtempSync(join(tmpdir(), "raisewatch-tls-"));
  lift = await rehearse("--tls", folder);
  assert.match(lift.url, /^https:/);
  const until = Date.now() + 10_000;
  while (!lift.lines.some(line => line.startsWith("certificate SHA-256")) && Date.now() < until) await new Promise(setImmediate);
  const printed = lift.lines.find(line => line.startsWith("certificate SHA-256")).split(" ")[2];
  const served = await new Promise((done, fail) => {
    const socket = sealed({ host: "127.0.0.1", port: new URL(lift.url).port, rejectUnauthorized: false }, () => { done(socket.getPeerCertificate().fingerprint256); socket.end(); });
    socket.on("error", fail);
  });
  assert.equal(printed, served);
  const { page } = await open(browser, lift.pages.get("spotter"), "phone", { more: { ignoreHTTPSErrors: true, permissions: ["screen-wake-lock"] } });
  await isLive(page);
  const [cookie] = await page.context().cookies();
  assert.deepEqual([cookie.name, cookie.secure, cookie.httpOnly, cookie.sameSite], ["raisewatch", true, true, "Strict"]);
  assert.deepEqual(await page.evaluate(() => [isSecureContext, "wakeLock" in navigator, typeof navigator.vibrate]), [true, true, "function"]);
  await page.click("#more");
  await page.waitForFunction(() => !/may sleep/.test(document.querySelector(".can").textContent), null, LONG);
  await page.dispatchEvent("#stop", "pointerdown", { pointerType: "touch", button: 0 });
  await page.waitForFunction(() => document.body.classList.contains("stop"), null, LONG);
  rmSync(folder, { recursive: true, force: true });
});

test("a desk that is opened late shows the last minutes at once", { timeout: 120_000 }, async () => {
  lift = await rehearse("--open");
  const { page: early } = await open(browser, `${lift.url}/tower/A`);
  await isLive(early);
  // Until ten seconds of offsets are known: this lift has been zeroed.
  const known = () => early.evaluate(async () => { const { fine } = await (await fetch("/past")).json(), at = fine.offset_mm[0]?.findIndex(v => v !== null) ?? -1; return at < 0 ? 0 : (fine.t_ms.at(-1) - fine.t_ms[at]) / 1_000; });
  for (const end = Date.now() + 60_000; await known() < 10;) assert.ok(Date.now() < end, "no offset was ever known");
  const { page } = await open(browser, `${lift.url}/desk`, "laptop", { closed: false, listening: false });
  await page.waitForFunction(() => document.querySelector("svg.past .p-thin, svg.past .p-trace")?.getBBox().width > 0, null, LONG);
  const { pixels, opened } = await page.evaluate(() => ({ pixels: Math.max(...[...document.querySelectorAll("svg.past .p-thin, svg.past .p-trace")].map(one => one.getBBox().width)), opened: performance.now() / 1_000 }));
  const second = await page.evaluate(() => (Math.round(document.querySelector("#line").clientWidth * .597) - 24 - 116) / 90);
  console.log(`# the past: ${(pixels / second).toFixed(1)} s drawn on a desk that was opened ${opened.toFixed(1)} s ago`);
  assert.ok(pixels / second >= Math.max(10, opened), `${(pixels / second).toFixed(1)} s of past`);
});
