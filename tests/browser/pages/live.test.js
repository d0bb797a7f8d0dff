// Live or not live, heard and said: by the page's own timer, through its own ears.
import { after, afterEach, before, beforeEach, test } from "node:test";
import assert from "node:assert/strict";
import { createServer, connect } from "node:net";
import { launch, SHOTS } from "../browser.js";
import { serve } from "../fixture/serve.js";
import { viewOf } from "../fixture/views.js";
import { isLive, open, when } from "../help.js";

let browser, monitor;
before(async () => { browser = await launch(); });
after(() => browser.close());
beforeEach(async () => { monitor = await serve(); });
afterEach(async () => { for (const context of browser.contexts()) await context.close(); await monitor.close(); });
const PATHS = ["/spotter", "/tower/A", "/desk"];

const isGone = page => when(page, () => document.body.classList.contains("gone"));

/** From the last thing that arrived to the words "Not live", in the page's own time. */
async function watchFall(page) {
  await page.evaluate(() => {
    globalThis.fall = new Promise(done => new MutationObserver(() => { if (document.body.classList.contains("gone")) done(performance.now()); }).observe(document.body, { attributes: true }));
    globalThis.lastSeen = null;
    const parse = JSON.parse;
    JSON.parse = text => { globalThis.lastSeen = performance.now(); return parse(text); };
  });
  await when(page, () => globalThis.lastSeen !== null);
}
const fell = page => page.evaluate(async () => (await globalThis.fall) - globalThis.lastSeen);

/** Nothing of what was shown is left: no number of the lift, no drawing. */
async function bare(page, label) {
  const { words, drawn } = await page.evaluate(() => ({
    words: document.querySelector("main").innerText + document.querySelector("header").innerText,
    drawn: [...document.querySelectorAll("svg.elevation path, svg.past path")].filter(one => one.closest("[hidden]") === null && one.getClientRects().length && one.getAttribute("d")).length,
  }));
  assert.doesNotMatch(words, /\d+ ?(mm|kg|m\b)/, `${label}: a number is left: ${words}`);
  assert.equal(drawn, 0, `${label}: a drawing is left`);
  assert.match(words, /Not live/i);
  assert.match(words, /Shout STOP/);
}

for (const path of PATHS) {
  test(`${path}: the monitor closes, and the page says Not live within a second`, async () => {
    const { page } = await open(browser, monitor.url + path, path === "/desk" ? "laptop" : "phone");
    await isLive(page);
    await watchFall(page);
    await monitor.close();
    assert.ok(await fell(page) <= 1_000);
    await bare(page, path);
    await page.screenshot({ path: `${SHOTS}${path.slice(1).replace("/", "-")}-not-live.png` });
  });

  test(`${path}: the connection stands but nothing comes, and the page says Not live within a second`, async () => {
    const { page } = await open(browser, monitor.url + path, path === "/desk" ? "laptop" : "phone");
    await isLive(page);
    await watchFall(page);
    monitor.mute(true);
    assert.ok(await fell(page) <= 1_000);
    await bare(page, path);
    monitor.mute(false);
    await isLive(page);
    });
}

/** A network that can be cut: bytes stop, nothing is closed, nobody is told. */
async function network(port) {
  const pairs = new Set();
  let cut = false;
  const server = createServer(near => {
    const far = connect(port, "127.0.0.1");
    const pair = [near, far];
    pairs.add(pair);
    near.on("data", bytes => { if (!cut) far.write(bytes); });
    far.on("data", bytes => { if (!cut) near.write(bytes); });
    for (const one of pair) { one.on("error", () => {}); one.on("close", () => { pairs.delete(pair); pair.forEach(other => other.destroy()); }); }
  });
  await new Promise(done => server.listen(0, "127.0.0.1", done));
  return { url: `http://127.0.0.1:${server.address().port}`, cut(on) { cut = on; }, close() { for (const pair of pairs) pair.forEach(one => one.destroy()); server.close(); } };
}

test("the network is cut without a word: Not live within a second, and live again when it is back", async () => {
  const net = await network(Number(new URL(monitor.url).port));
  const { page } = await open(browser, `${net.url}/spotter`);
  await isLive(page);
  await watchFall(page);
  net.cut(true);
  assert.ok(await fell(page) <= 1_000);
  await bare(page, "cut");
  net.cut(false);
  await isLive(page);
  net.close();
});

test("a watch that stands still behind a living server is not live", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`);
  await isLive(page);
  monitor.freeze(77);
  await isGone(page);
  await bare(page, "frozen");
  monitor.freeze(null);
  await isLive(page);
});

test("before anything came: Not yet live, no number, no drawing", async () => {
  monitor.mute(true);
  const { page } = await open(browser, `${monitor.url}/spotter`);
  assert.match(await page.locator("#call").textContent(), /Not yet live/);
  assert.equal(await page.locator("svg.elevation text").count(), 0);
  await page.screenshot({ path: `${SHOTS}spotter-phone-loading.png` });
});

test("the monitor says that it does not watch: not live at once, with its reason", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`);
  await isLive(page);
  monitor.mute(true);
  monitor.tell("not-watching", { t_ms: 1, text: "The watch has failed: not watching." });
  await when(page, () => document.body.innerText.includes("The watch has failed: not watching."));
});

test("STOP fires on touch, not on release, and once a press; a key does it too", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`);
  await isLive(page);
  await page.dispatchEvent("#stop", "pointerdown", { pointerType: "touch", button: 0 });
  await when(page, () => document.querySelector("#stop").innerText.includes("said to everyone"));
  assert.equal(monitor.said.length, 1, "sent while the finger is still down");
  await page.dispatchEvent("#stop", "click");
  await page.focus("#stop");
  assert.equal(monitor.said.length, 1, "the release adds nothing");
  assert.deepEqual(monitor.said[0], { said: "stop", by: "spotter" });
  await when(page, since => performance.now() > since + 1_050, await page.evaluate(() => performance.now()));
  await page.keyboard.press("Enter");
  await when(page, () => true);
  for (const until = Date.now() + 2_000; monitor.said.length < 2 && Date.now() < until;) await page.evaluate(() => new Promise(requestAnimationFrame));
  assert.equal(monitor.said.length, 2);
});

test("a STOP that cannot be sent says: shout it", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`);
  await isLive(page);
  monitor.deaf(true);
  await page.dispatchEvent("#stop", "pointerdown", { pointerType: "touch", button: 0 });
  await when(page, () => /Shout STOP/.test(document.querySelector("#stop").innerText));
});

test("the name given at the sound check goes with what is said", async () => {
  const { page } = await open(browser, `${monitor.url}/tower/A`, "phone", { closed: false });
  await isLive(page);
  await page.fill("#who", "Ivo");
  await page.click(".heardit");
  monitor.show(viewOf("hold"));
  await page.locator("#ack").click();
  await when(page, () => document.querySelector("#ack").classList.contains("done"));
  assert.deepEqual(monitor.said.find(one => one.said === "sound-heard"), { said: "sound-heard", by: "Ivo" });
  assert.deepEqual(monitor.said.find(one => one.said === "heard"), { said: "heard", tower: "A", by: "Ivo", finding: "uneven-B-1" });
});

test("the word comes first, then the tones; the page repeats only what is sent again", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`, "phone", { closed: false });
  await isLive(page);
  await page.click(".heardit");
  await when(page, () => document.querySelector("#more .how").textContent.startsWith("heard"));
  await page.evaluate(() => { globalThis.heard.length = 0; });
  const hold = viewOf("hold");
  monitor.show(hold);
  monitor.call({ ...hold.calls.spotter, state: "said" });
  monitor.call({ ...hold.calls.A, state: "said" });
  await when(page, () => globalThis.heard.some(one => one.what === "tone"));
  const heard = await page.evaluate(() => globalThis.heard), order = heard.map(one => one.what);
  assert.deepEqual(heard.filter(one => one.what === "word").map(one => one.text), ["Hold Bravo. Alpha up two."], "its own call, once, as sent");
  assert.ok(order.indexOf("word ends") < order.indexOf("tone"), "no tone before the word has ended");
  assert.equal(heard.filter(one => one.what === "tone").length, 6, "two tones of three partials");
  assert.deepEqual(heard.find(one => one.what === "shake").pattern, [200, 100, 200]);
});

test("a stop cuts into what is being said", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`, "phone", { closed: false });
  await isLive(page);
  await page.click(".heardit");
  await when(page, () => document.querySelector("#more .how").textContent.startsWith("heard"));
  await page.evaluate(() => { globalThis.heard.length = 0; });
  monitor.call({ ...viewOf("hold").calls.spotter });
  monitor.call({ ...viewOf("stop").calls.spotter });
  await when(page, () => globalThis.heard.filter(one => one.what === "word").length >= 2);
  const words = (await page.evaluate(() => globalThis.heard)).filter(one => one.what === "word");
  assert.equal(words.at(-1).text, "Stop. Bravo high.");
  assert.ok(words.at(-1).at - words[0].at < 500, "at once");
});

test("not live is said by the phone itself, and sounds on until it is live again", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`, "phone", { closed: false });
  await isLive(page);
  await page.click(".heardit");
  await when(page, () => document.querySelector("#more .how").textContent.startsWith("heard"));
  monitor.mute(true);
  await when(page, () => globalThis.heard.some(one => one.what === "word" && one.text === "Not live"));
  await when(page, () => globalThis.heard.filter(one => one.what === "tone").length >= 24); // four tones of three partials, twice
  monitor.mute(false);
  await when(page, () => globalThis.heard.some(one => one.what === "word" && one.text === "Live again"));
});

test("where no voice begins to speak, the tones come alone and soon", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`, "phone", { closed: false });
  await isLive(page);
  await page.click(".heardit");
  await when(page, () => document.querySelector("#more .how").textContent.startsWith("heard"));
  await page.evaluate(() => { speechSynthesis.getVoices = () => []; speechSynthesis.speak = () => {}; globalThis.heard.length = 0; });
  monitor.call({ ...viewOf("hold").calls.spotter });
  await when(page, () => globalThis.heard.filter(one => one.what === "tone").length === 6);
  await page.click("#more");
  await when(page, () => /tones only/.test(document.querySelector(".can").textContent));
});

test("a page opened late shows and says at once what stands", async () => {
  monitor.show(viewOf("blind"));
  const { page } = await open(browser, `${monitor.url}/spotter`, "phone", { closed: false });
  await when(page, () => document.querySelector("#call").textContent.includes("No data from Bravo."));
  const took = await page.evaluate(() => performance.now());
  assert.ok(took < 5_000);
  await when(page, () => document.body.classList.contains("blind"));
});

test("without a touch there is no sound, and the page says so", async () => {
  const { page } = await open(browser, `${monitor.url}/spotter`);
  await isLive(page);
  assert.match(await page.locator("#more").innerText(), /SOUND OFF/);
});

test("the desk: steps, seen, a release in two presses, zero only in rig, keys", async () => {
  monitor.show(viewOf("hold"));
  const { page } = await open(browser, `${monitor.url}/desk`, "laptop");
  await isLive(page);
  await page.getByRole("button", { name: "Land" }).click();
  await page.locator("#findings .find").first().getByRole("button", { name: "Seen" }).click();
  await page.getByRole("button", { name: "Say: Nobody under it" }).click();
  await page.keyboard.press("F2");
  const latched = viewOf("stop");
  latched.findings[0].state = "latched";
  monitor.show(latched);
  const release = page.locator("#findings").getByRole("button", { name: "Release" });
  await release.click();
  assert.equal(monitor.said.filter(one => one.said === "release").length, 0, "one short press is not enough");
  await page.getByRole("button", { name: "Release: press again" }).click();
  monitor.show(viewOf("notzeroed"));
  await page.getByRole("button", { name: "Zero Alpha load" }).click();
  await page.keyboard.press("F4");
  for (const until = Date.now() + 3_000; monitor.said.length < 7 && Date.now() < until;) await page.evaluate(() => new Promise(requestAnimationFrame));
  assert.deepEqual(monitor.said.map(({ by, ...rest }) => rest), [
    { step: "land" }, { said: "seen", finding: "uneven-B-1" }, { said: "clear-under" }, { said: "heard", finding: "uneven-B-1" },
    { said: "release", finding: "uneven-B-1" }, { said: "zero", tower: "A", channel: "head-load" }, { said: "stop" },
  ]);
});
