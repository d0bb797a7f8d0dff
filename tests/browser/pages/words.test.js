// A crew's own words, from its phrase file to the page and the ear; and a lift without a plan. In the real program.
import { after, afterEach, before, test } from "node:test";
import assert from "node:assert/strict";
import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { launch, SHOTS } from "../browser.js";
import { rehearse, watchKit } from "../daemon.js";
import { english, wordsOf } from "../fixture/words.js";
import { serve } from "../fixture/serve.js";
import { viewOf } from "../fixture/views.js";
import { axe, open, when } from "../help.js";

const LONG = { polling: 50, timeout: 150_000 };
const here = path => fileURLToPath(new URL(path, import.meta.url));
let browser, lift = null, folder = null;
before(async () => { browser = await launch(); });
after(() => browser.close());
afterEach(async () => {
  for (const context of browser.contexts()) await context.close();
  await lift?.end();
  if (folder) rmSync(folder, { recursive: true, force: true });
  lift = folder = null;
});
const isLive = page => page.waitForFunction(() => !/loading|gone/.test(document.body.className), null, LONG);
const said = (page, text) => page.waitForFunction(text => globalThis.calls.some(call => call.includes(text)), text, LONG);

const DUTCH = here("../fixture/dutch.toml");

/** All that a page says: to the eye, to a reader, and on its tab. */
const everyWord = page => page.evaluate(() => {
  const shown = [...document.querySelectorAll("body *")].filter(one => !["SCRIPT", "STYLE", "NOSCRIPT"].includes(one.tagName) && !one.closest("#learnt ul, #learnt div"));
  const own = shown.flatMap(one => [...one.childNodes].filter(child => child.nodeType === 3).map(child => child.data));
  return [document.title, ...own, ...shown.map(one => one.getAttribute("aria-label") ?? ""), ...shown.map(one => one.title ?? "")].map(text => String(text).trim()).filter(Boolean);
});

/** None of it is the built-in English, where the Dutch file says it otherwise. */
function foreign(said, label) {
  const dutch = wordsOf(DUTCH);
  for (const [key, text] of Object.entries(english())) {
    if (text === dutch[key] || text.length < 4) continue;
    const parts = text.split(/\{\w+\}/).map(part => part.replace(/^[\s,.:;]+|[\s,.:;]+$/g, "")).filter(part => /[a-z]{3}/i.test(part));
    for (const part of parts) {
      const found = said.find(one => new RegExp(`(^|[^\\p{L}-])${part.replace(/[.*+?^${}()|[\]\\]/g, "\\$&")}($|[^\\p{L}-])`, "u").test(one) && !Object.values(dutch).some(own => own.includes(part)));
      assert.equal(found, undefined, `${label}: page-${key} is still English`);
    }
  }
}

test("a phrase file in full: no page says a word of its own in any state", { timeout: 120_000 }, async () => {
  const dutch = wordsOf(DUTCH);
  assert.deepEqual(Object.keys(english()).filter(key => !(key in dutch)), [], "the Dutch file is complete");
  const monitor = await serve(0, { ...english(), ...dutch });
  try {
    for (const [path, screen] of [["/", "phone"], ["/spotter", "phone"], ["/tower/A", "phone"], ["/tower/A", "landscape"], ["/desk", "laptop"]]) {
      const { page, faults } = await open(browser, monitor.url + path, screen, { closed: false, listening: path !== "/" });
      await isLive(page);
      for (const name of path === "/" ? ["calm"] : ["calm", "hold", "stop", "blind", "stand", "pin", "notzeroed"]) {
        const since = monitor.show(viewOf(name, { rehearsal: name === "hold" }));
        if (path !== "/") await when(page, since => Number(document.body.dataset.shown) > since + 1_700, since);
        // What comes with the view is the watch's, and in the lift's words there; here it is written by hand, in English.
        const view = JSON.stringify(viewOf(name));
        foreign((await everyWord(page)).filter(one => !view.includes(one.replace(/[.,]$/, ""))), `${path} ${name}`);
        if (path !== "/") {
          const box = await page.locator("#stop").boundingBox(), room = page.viewportSize();
          assert.ok(box.x >= 0 && box.x + box.width <= room.width, `${path} ${name}: longer words push nothing off`);
          await page.screenshot({ path: `${SHOTS}dutch-${path.slice(1).replace("/", "-")}-${screen}-${name}.png` });
        }
      }
      monitor.mute(true);
      await page.waitForFunction(() => document.body.classList.contains("gone"), null, LONG);
      foreign(await everyWord(page), `${path} not live`);
      monitor.mute(false);
      assert.deepEqual([faults, path === "/" ? [] : await axe(page)], [[], []]);
    }
  } finally { await monitor.close(); }
});

/** The demo's lift with a phrase file beside it. */
function dutch() {
  folder = mkdtempSync(join(tmpdir(), "raisewatch-nl-"));
  cpSync(here("../../../docs/examples/rehearsal"), folder, { recursive: true });
  cpSync(here("../fixture/dutch.toml"), join(folder, "dutch.toml"));
  const plan = join(folder, "plan.toml");
  writeFileSync(plan, `phrases = "dutch.toml"\n${readFileSync(plan, "utf8")}`);
  return [plan, "--kit", join(folder, "kit.toml"), "--script", join(folder, "script.toml")];
}

test("a Dutch crew hears and reads its own words and its own names of the towers", { timeout: 300_000 }, async () => {
  lift = await rehearse(...dutch(), "--open", "--speed", "2");
  const spotter = (await open(browser, lift.pages.get("spotter"), "phone", { closed: false })).page, crew = [spotter];
  await spotter.click(".heardit");
  for (const path of ["/tower/A", "/tower/B", "/desk"]) crew.push((await open(browser, lift.url + path, path === "/desk" ? "laptop" : "phone")).page);
  for (const page of crew) await isLive(page);
  await said(spotter, "Wacht Esdoorn. Linde op");
  await spotter.screenshot({ path: `${SHOTS}words-dutch-hold.png` });
  await Promise.all([said(crew[1], "Linde op"), said(crew[2], "Wacht Esdoorn"), said(crew[3], "Wacht Esdoorn"), said(spotter, "Vlak.")]);
  await crew[1].waitForFunction(() => document.querySelector("#name").textContent === "Linde", null, LONG);
  for (const page of crew) {
    // Whatever stood in the call was the crew's: no word of the built-in phrases, no name of the plan.
    const calls = await page.evaluate(() => globalThis.calls.filter(call => !/^Not yet live$/.test(call)));
    for (const call of calls) assert.doesNotMatch(call, /\b(Level|Hold|Alder|Birch|up|down|Not zeroed|Not proved|Stopped)\b/, calls.join(" | "));
    assert.equal(await page.getAttribute("#call", "lang"), "nl");
  }
  const ear = await spotter.evaluate(() => globalThis.heard.filter(one => one.what === "word"));
  assert.ok(ear.some(one => /^Wacht Esdoorn\./.test(one.text)), ear.map(one => one.text).join(" | "));
  for (const one of ear.filter(one => one.text)) assert.equal(one.lang, "nl", one.text);
  assert.doesNotMatch(await crew[3].evaluate(() => document.querySelector("#table").textContent), /Alder|Birch/);
  for (const page of crew) {
    assert.equal(await page.getAttribute("html", "lang"), "nl");
    foreign(await everyWord(page), page.url());
  }
  assert.equal(await crew[3].locator("#steps button").first().textContent().then(text => Object.values(wordsOf(DUTCH)).includes(text)), true);
  lift.kill("SIGKILL");
  for (const page of crew) await page.waitForFunction(() => document.querySelector("#call").textContent.includes("Geen beeld"), null, LONG);
  await spotter.waitForFunction(() => globalThis.heard.some(one => one.text === "Geen beeld"), null, LONG);
});

test("without a plan: every page says so, draws no limit, and STOP still reaches everybody", { timeout: 120_000 }, async () => {
  lift = await watchKit(here("../../../docs/examples/rehearsal/kit.toml"));
  const crew = {};
  for (const [role, screen] of [["spotter", "phone"], ["tower A", "phone"], ["lead", "laptop"]]) {
    crew[role] = (await open(browser, lift.pages.get(role), screen)).page;
    await isLive(crew[role]);
    assert.match(await crew[role].evaluate(() => document.querySelector("#call").textContent), /No plan\. Recording only\./);
    assert.equal(await crew[role].evaluate(() => [...document.querySelectorAll("svg.elevation .e-ribbon, svg.elevation .e-chord")].filter(one => one.getAttribute("d")).length), 0);
    await crew[role].screenshot({ path: `${SHOTS}noplan-${role.replace(" ", "-")}.png` });
  }
  await crew.lead.waitForFunction(() => /Recording .*\.mcap/.test(document.querySelector("#recording").textContent), null, LONG);
  await crew["tower A"].dispatchEvent("#stop", "pointerdown", { pointerType: "touch", button: 0 });
  for (const page of Object.values(crew)) await page.waitForFunction(() => /Stop\. Somebody said stop\./.test(document.querySelector("#call").textContent), null, LONG);
  const release = crew.lead.locator("#findings").getByRole("button", { name: /^Release/ });
  await release.click();
  await crew.lead.getByRole("button", { name: "Release: press again" }).click();
  for (const page of Object.values(crew)) await page.waitForFunction(() => /No plan\. Recording only\./.test(document.querySelector("#call").textContent), null, LONG);
});
