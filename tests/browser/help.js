// What the browser tests share: a page with its ears open, and axe.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { SCREENS } from "./browser.js";

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
/** Words that no page may say of a lift (docs/forms.md: what comes out). */
export const PROMISES = /\b(ready|clear to|all clear|safe\b(?!ty)|all well|carry on|go on|all good)\b/i;

/** Listens in: what the page says, sounds and shakes, in order, with its own time. Runs in the page before its scripts. */
function ears() {
  const heard = globalThis.heard = [];
  const note = (what, more) => heard.push({ what, at: performance.now(), ...more });
  globalThis.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
  Object.defineProperty(globalThis, "speechSynthesis", { configurable: true, value: {
    getVoices: () => [{ name: "test" }], cancel: () => note("hush"), addEventListener() {},
    speak(words) { note("word", { text: words.text, lang: words.lang }); words.onstart?.(); setTimeout(() => { note("word ends"); words.onend?.(); }, 50); },
  } });
  // Every call's words that stood on the page, however short.
  const calls = globalThis.calls = [];
  document.addEventListener("DOMContentLoaded", () => new MutationObserver(() => {
    const text = document.querySelector("#call .words").textContent.replace(/\s+/g, " ").trim();
    if (calls.at(-1) !== text) calls.push(text);
  }).observe(document.querySelector("#call"), { childList: true, subtree: true, characterData: true }));
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (when) { note("tone", { when }); return start.call(this, when); };
  Object.defineProperty(navigator, "vibrate", { configurable: true, value: pattern => { note("shake", { pattern }); return true; } });
}

/** A page on a screen of that kind, opened at `url`; its console errors are gathered in `faults`. */
export async function open(browser, url, screen = "phone", { listening = true, closed = true, context = null, more = {} } = {}) {
  const own = context ?? await browser.newContext({ ...SCREENS[screen], ...more });
  const page = await own.newPage(), faults = [];
  page.on("pageerror", error => faults.push(String(error.stack)));
  page.on("console", line => { if (line.type() === "error" && !/Failed to load resource|net::ERR/.test(line.text())) faults.push(line.text()); });
  if (listening) await page.addInitScript(ears);
  await page.goto(url);
  await page.evaluate(() => document.fonts.ready);
  if (closed) await page.locator(".close").click({ timeout: 2_000 }).catch(() => {});
  return { page, faults, close: () => own.close() };
}

/** Serious and critical findings of axe, as short lines. */
export async function axe(page) {
  // eval is barred by the page's own policy; the browser's debugger is not bound by it.
  const session = await page.context().newCDPSession(page);
  await session.send("Runtime.evaluate", { expression: AXE });
  const { result } = await session.send("Runtime.evaluate", {
    expression: "axe.run(document, {resultTypes: ['violations']}).then(r => JSON.stringify(r.violations.map(v => ({id: v.id, impact: v.impact, at: v.nodes.map(n => n.target.join(' ') + ': ' + (n.any[0]?.message ?? '')).slice(0, 4)}))))",
    awaitPromise: true, returnByValue: true,
  });
  await session.detach();
  return JSON.parse(result.value).filter(one => ["serious", "critical"].includes(one.impact)).map(one => `${one.id}: ${one.at.join("; ")}`);
}

/** Waits in the page for a condition and gives the page's own clock when it held. */
export const when = (page, condition, arg) => page.waitForFunction(condition, arg, { polling: 10, timeout: 10_000 });
export const isLive = page => when(page, () => !/loading|gone/.test(document.body.className));
export const looks = (page, name) => when(page, name => document.body.classList.contains(name), name);

/** One page of each kind, and the screen that it is made for. */
export const PLACES = { "/spotter": "phone", "/tower/A": "phone", "/desk": "laptop" };

/** From now on the page lies in a pocket, or is looked at again. -> the words of its call then, before anything else runs. */
export const pocket = (page, away) => page.evaluate(away => {
  Object.defineProperty(document, "hidden", { configurable: true, get: () => away });
  Object.defineProperty(document, "visibilityState", { configurable: true, get: () => away ? "hidden" : "visible" });
  document.dispatchEvent(new Event("visibilitychange"));
  return document.querySelector("#call").textContent;
}, away);
