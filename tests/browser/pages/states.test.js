// Every page in every state, on phone, laptop and turned round: what it says, that it fits, that everybody can use it.
// A picture of each is written to tests/shots, to be looked at.
import { after, before, test } from "node:test";
import assert from "node:assert/strict";
import { launch, SHOTS } from "../browser.js";
import { serve } from "../fixture/serve.js";
import { viewOf, VIEWS } from "../fixture/views.js";
import { axe, open, PROMISES, when } from "../help.js";

let browser, monitor;
before(async () => { browser = await launch(); monitor = await serve(); });
after(async () => { await browser.close(); await monitor.close(); });

// From mild to grave: a milder call would wait until the graver one has stood its time.
const GRAVITY = ["level", "none", "pin", "hold", "stop"];
const STATES = Object.keys(VIEWS).filter(name => name !== "noplan").sort((a, b) => GRAVITY.indexOf(VIEWS[a]().calls.spotter.call) - GRAVITY.indexOf(VIEWS[b]().calls.spotter.call));
const PLACES = { "/spotter": "spotter", "/tower/A": "A", "/desk": "lead" };

/** The page shows the state: what it shows is newer than the state's beginning, and its call's text stands in the live region. */
async function shows(page, name, who, since = 0) {
  const text = VIEWS[name]().calls[who].text;
  await when(page, since => Number(document.body.dataset.shown) > since, since);
  await when(page, text => document.querySelector("#call").textContent.replace(/\s+/g, " ").trim().includes(text), text);
  await page.evaluate(() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done))));
}

/** Nothing sticks out sideways, and STOP is whole on the screen. */
async function fits(page, label) {
  const { wide, room, stop, tall } = await page.evaluate(() => {
    const box = document.querySelector("#stop").getBoundingClientRect();
    return { wide: document.documentElement.scrollWidth, room: innerWidth, tall: innerHeight, stop: { x: box.x, y: box.y, w: box.width, h: box.height } };
  });
  assert.ok(wide <= room, `${label}: ${wide} px wide in ${room}`);
  assert.ok(stop.h >= 96 && stop.w >= 96, `${label}: STOP is ${stop.w} x ${stop.h}`);
  assert.ok(stop.y >= 0 && stop.y + stop.h <= tall + 1, `${label}: STOP from ${stop.y} to ${stop.y + stop.h} on ${tall}`);
  return JSON.stringify(stop);
}

for (const [path, who] of Object.entries(PLACES)) {
  for (const screen of path === "/desk" ? ["laptop", "phone"] : ["phone", "landscape", "small"]) {
    test(`${path} on ${screen}: every state says its call as sent, fits, and keeps STOP in its place`, async () => {
      monitor.show(viewOf("calm"));
      const { page, faults, close } = await open(browser, monitor.url + path, screen);
      const places = new Set();
      for (const name of STATES) {
        await shows(page, name, who, monitor.show(viewOf(name)));
        if (!(path === "/desk" && screen === "phone")) places.add(await fits(page, `${path} ${screen} ${name}`));
        const words = await page.evaluate(() => document.body.innerText);
        assert.doesNotMatch(words, PROMISES, `${path} ${name}`);
        await page.screenshot({ path: `${SHOTS}${path.slice(1).replace("/", "-")}-${screen}-${name}.png` });
      }
      assert.deepEqual([...places].length, path === "/desk" && screen === "phone" ? 0 : 1, `STOP moved: ${[...places]}`);
      assert.deepEqual(faults, []);
      await close();
    });
  }
}

test("sun and rehearsal, spotter, tower and desk", async () => {
  for (const [path, who] of Object.entries(PLACES)) {
    const screen = path === "/desk" ? "laptop" : "phone";
    monitor.show(viewOf("calm", { rehearsal: true }));
    const { page, close } = await open(browser, `${monitor.url}${path}?theme=sun`, screen);
    for (const name of ["calm", "hold", "stop", "blind"]) {
      await shows(page, name, who, monitor.show(viewOf(name, { rehearsal: true })));
      assert.ok(await page.locator("#flag").isVisible(), "the word REHEARSAL");
      assert.ok(await page.evaluate(() => document.body.classList.contains("train") && document.body.classList.contains("sun")));
      await page.screenshot({ path: `${SHOTS}${path.slice(1).replace("/", "-")}-sun-rehearsal-${name}.png` });
    }
    await close();
  }
});

test("axe finds nothing serious on any page, in any look, dark and sun", async () => {
  for (const path of ["/", ...Object.keys(PLACES)]) {
    for (const theme of ["dark", "sun"]) {
      const { page, close } = await open(browser, `${monitor.url}${path}?theme=${theme}`, path === "/desk" ? "laptop" : "phone", { closed: false });
      for (const name of theme === "sun" ? ["calm", "hold", "stop"] : ["calm", "notzeroed", "hold", "stop", "blind"]) {
        monitor.show(viewOf(name));
        if (path !== "/") await shows(page, name, PLACES[path]);
        assert.deepEqual(await axe(page), [], `${path} ${theme} ${name}`);
        await page.locator(".close").click({ timeout: 500 }).catch(() => {});
      }
      await close();
    }
  }
});

test("what is pressed is large enough for a glove", async () => {
  monitor.show(viewOf("hold"));
  for (const [path, who] of Object.entries(PLACES)) {
    const { page, close } = await open(browser, monitor.url + path, path === "/desk" ? "laptop" : "phone");
    await shows(page, "hold", who);
    const small = await page.evaluate(() => [...document.querySelectorAll("main button, main select, main input, #ack, #stop")]
      .filter(one => one.offsetParent !== null).map(one => [one.textContent.slice(0, 30), one.offsetWidth, one.offsetHeight]).filter(([, w, h]) => w < 48 || h < 48));
    assert.deepEqual(small, [], path);
    if (path !== "/desk") {
      const heard = await page.locator("#ack").boundingBox();
      assert.ok(heard.height >= 96, `${path}: Heard is ${heard.height} px high`);
    }
    await close();
  }
});

test("a drawing stays under 250 nodes with sixteen towers, and a tick changes few of them", async () => {
  monitor.show(viewOf("sixteen"));
  const { page, close } = await open(browser, `${monitor.url}/spotter`);
  await shows(page, "sixteen", "spotter");
  const nodes = await page.evaluate(() => document.querySelectorAll("*").length);
  assert.ok(nodes <= 250, `${nodes} nodes`);
  await page.evaluate(() => { globalThis.changes = 0; new MutationObserver(list => { globalThis.changes = Math.max(globalThis.changes, list.length); }).observe(document.querySelector("svg.elevation"), { attributes: true, subtree: true, characterData: true, childList: true }); });
  for (let i = 1; i <= 5; i++) {
    const view = viewOf("sixteen");
    for (const tower of view.towers) tower.offset_mm += i * .4;
    monitor.show(view);
    await page.evaluate(now => new Promise(done => { const look = () => performance.now() - now > 150 ? done() : requestAnimationFrame(look); look(); }), await page.evaluate(() => performance.now()));
  }
  const most = await page.evaluate(() => globalThis.changes);
  assert.ok(most > 0 && most <= 40, `${most} changes in one tick`);
  await close();
});

test("the call is the one live region: alert for orders, status for level; the drawing tells itself in words", async () => {
  monitor.show(viewOf("hold"));
  const { page, close } = await open(browser, `${monitor.url}/spotter`);
  await shows(page, "hold", "spotter");
  assert.equal(await page.getAttribute("#call", "role"), "alert");
  assert.match(await page.getAttribute("svg.elevation", "aria-label"), /Bravo: 58 millimetres high/);
  assert.equal(await page.evaluate(() => [...document.querySelectorAll("[aria-live],[role=alert]")].filter(one => one.offsetParent !== null).length), 1);
  const order = await page.evaluate(() => ["call", "ack", "stop", "draw"].map(id => document.getElementById(id)).every((one, i, all) => i === 0 || all[i - 1].compareDocumentPosition(one) & Node.DOCUMENT_POSITION_FOLLOWING));
  assert.ok(order, "read in the order call, Heard, STOP, drawing");
  monitor.show(viewOf("calm"));
  await shows(page, "calm", "spotter");
  assert.equal(await page.getAttribute("#call", "role"), "status");
  await close();
});

test("reduced motion: nothing moves", async () => {
  monitor.show(viewOf("stop"));
  const { page, close } = await open(browser, `${monitor.url}/spotter`, "phone", { more: { reducedMotion: "reduce" } });
  await shows(page, "stop", "spotter");
  assert.equal(await page.evaluate(() => document.getAnimations().length), 0);
  await close();
});

test("a larger text does not push STOP off the page", async () => {
  monitor.show(viewOf("hold"));
  const { page, close } = await open(browser, `${monitor.url}/spotter`);
  await shows(page, "hold", "spotter");
  await page.evaluate(() => { document.documentElement.style.fontSize = "200%"; document.body.style.fontSize = "200%"; dispatchEvent(new Event("resize")); });
  await fits(page, "200 %");
  await close();
});

test("no plan: says so, draws the bare line, no ribbon", async () => {
  monitor.show(VIEWS.noplan());
  const { page, close } = await open(browser, `${monitor.url}/spotter`);
  await when(page, () => document.querySelector("#call").textContent.includes("No plan. Recording only."));
  await page.screenshot({ path: `${SHOTS}spotter-phone-noplan.png` });
  await close();
});

test("an order in another unit system", async () => {
  monitor.show(viewOf("hold", { units: ["lb", "ft"] }));
  const { page, close } = await open(browser, `${monitor.url}/spotter`);
  await shows(page, "hold", "spotter");
  const words = await page.locator("svg.elevation").textContent();
  assert.match(words, /2\.3 in high/);
  assert.match(words, /229 lb/);
  await close();
});

test("the desk on laptops of all widths: nothing is wider than the window, the call is whole, and no row lies under STOP", { timeout: 120_000 }, async () => {
  for (const [width, height] of [[1280, 800], [1366, 768], [1440, 900], [1600, 900]]) for (const rehearsal of [false, true]) {
    monitor.show(viewOf("calm", { rehearsal }));
    const { page, close } = await open(browser, `${monitor.url}/desk`, "laptop", { more: { viewport: { width, height } } });
    for (const name of ["sixteen", "hold"]) {
      const label = `${width} x ${height}${rehearsal ? " rehearsal" : ""} ${name}`;
      await shows(page, name, "lead", monitor.show(viewOf(name, { rehearsal })));
      const found = await page.evaluate(() => {
        const box = one => one.getBoundingClientRect(), seen = [...document.querySelectorAll("header *, main *, footer *")].filter(one => one.offsetParent !== null && !one.closest(".sr"));
        const past = seen.filter(one => box(one).right > innerWidth + .5).map(one => one.outerHTML.slice(0, 80));
        const call = document.querySelector("#call"), words = [...call.querySelectorAll(".words .c")].map(box), stop = box(document.querySelector("#stop"));
        const floats = getComputedStyle(document.querySelector("#stop")).position === "fixed", room = box(document.querySelector("#instbox"));
        return {
          wide: document.documentElement.scrollWidth - innerWidth, past, names: [...document.querySelectorAll("#table tbody th")].map(one => one.textContent).join().slice(0, 15),
          cut: words.filter(one => one.top < box(call).top - 1 || one.bottom > box(call).bottom + 1 || one.right > box(call).right + 1).length,
          under: floats && room.bottom > stop.top + 1, stop: stop.bottom <= innerHeight && stop.height >= 96,
        };
      });
      assert.deepEqual({ ...found, wide: Math.max(0, found.wide) }, { wide: 0, past: [], names: name === "sixteen" ? "Tower 1,Tower 2" : "Alpha,Bravo,Who", cut: 0, under: false, stop: true }, label);
      await page.screenshot({ path: `${SHOTS}desk-${width}${rehearsal ? "-rehearsal" : ""}-${name}.png` });
    }
    await close();
  }
});
