// What every page shares: theme, who sits here, what is sent, screen kept awake, and words fitted to the width.

import { t } from "./phrases.js";

const KEPT = "raisewatch.";
const ANSWER_MS = 1_000;

export const $ = (what, under = document) => under.querySelector(what);

/** Sets a text only where it differs: a reader and a test see changes, not ticks. */
export function put(element, text) {
  if (element && element.textContent !== text) element.textContent = text;
}

/** Sets an attribute only where it differs, so that a tick touches few nodes. */
export function set(element, name, value) {
  if (element.getAttribute(name) !== value) element.setAttribute(name, value);
}

/** Takes an element away or shows it, only where that differs. */
export const hide = (element, away) => { if (element && element.hidden !== away) element.hidden = away; };

/** Makes an element: make("p", {class: "m"}, "text", child…). */
export function make(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) if (value !== null && value !== false) made.setAttribute(name, value === true ? "" : value);
  made.append(...children.filter(child => child !== null && child !== undefined));
  return made;
}

/** Kept on this phone only; a browser that keeps nothing is no hindrance. */
export function kept(key, value) {
  try {
    if (value !== undefined) localStorage.setItem(KEPT + key, value);
    return localStorage.getItem(KEPT + key);
  } catch { return null; }
}

export function theme(turn = false) {
  const asked = new URLSearchParams(location.search).get("theme");
  let now = kept("theme") ?? asked ?? "dark";
  if (asked && !turn) now = asked;
  if (turn) now = kept("theme", document.body.classList.contains("sun") ? "dark" : "sun") ?? "dark";
  document.body.classList.toggle("sun", now === "sun");
  return now;
}

/** Who sits at this page, for the record: a name if one was given, else the place. */
export const here = place => kept("name") || place;

/** Whom the monitor takes this page for: {role, tower, name}, or null where it does not say. */
export async function whoami(name) {
  try {
    const change = name === undefined ? {} : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ name }) };
    const answer = await fetch("/me", { credentials: "same-origin", ...change });
    return answer.ok ? await answer.json() : null;
  } catch { return null; }
}

/** Sends what was said. -> {ok, text}: text says why not. Answers within a second, or counts as not sent. */
export async function say(said) {
  const stopper = new AbortController(), late = setTimeout(() => stopper.abort(), ANSWER_MS);
  try {
    const answer = await fetch("/say", {
      method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(said),
      signal: stopper.signal, keepalive: true, priority: "high", credentials: "same-origin",
    });
    const body = await answer.text();
    return { ok: answer.ok, text: textOf(body) ?? (answer.ok ? "" : t("refused", { amount: answer.status })) };
  } catch {
    return { ok: false, text: t("not-sent"), lost: true };
  } finally { clearTimeout(late); }
}

function textOf(body) {
  if (!body) return null;
  try { return JSON.parse(body).text ?? null; } catch { return body.slice(0, 200); }
}

/** Keeps the screen on while the page is seen. -> words when the phone refuses, else null. */
export async function stayAwake(onChange) {
  if (!("wakeLock" in navigator)) return onChange(t("sound-sleeps"));
  const ask = async () => {
    if (document.visibilityState !== "visible") return;
    try {
      const lock = await navigator.wakeLock.request("screen");
      onChange(null);
      lock.addEventListener("release", () => onChange(t("sound-sleeps")));
    } catch { onChange(t("sound-sleeps")); }
  };
  document.addEventListener("visibilitychange", ask);
  await ask();
}

/** Fits a line to the width: as large as the room allows, at most `most` px; under `least` it wraps instead. */
export function fit(line, room, most, least = 40) {
  line.style.whiteSpace = "nowrap";
  line.style.width = "max-content";
  line.style.fontSize = "100px";
  const wide = line.offsetWidth || 1;
  const size = Math.min(most, 100 * room / wide);
  if (size >= least) { line.style.fontSize = `${size.toFixed(1)}px`; return size; }
  line.style.whiteSpace = "normal";
  line.style.width = "auto";
  line.style.fontSize = `${least}px`;
  return least;
}

/** The STOP of a page. Fires on touch, not on release; a key presses it as well. */
export class StopButton {
  #button; #small; #word; #place; #lastTouch = -Infinity; #live = false; #small_ = t("stop-tells"); #note = null; #noteEnds = null;

  constructor(button, place) {
    this.#button = button;
    this.#word = $(".c", button);
    this.#small = $("small", button);
    this.#place = place;
    button.addEventListener("pointerdown", touch => {
      if (touch.pointerType === "mouse" && touch.button !== 0) return;
      this.#lastTouch = performance.now();
      this.press();
    });
    button.addEventListener("click", () => { if (performance.now() - this.#lastTouch > 1_000) this.press(); });
  }

  async press() {
    this.#tell(t("stop-sending"));
    const answer = await say({ said: "stop", by: here(this.#place()) });
    if (answer.ok) return this.#tell(t("stop-said"), 4_000);
    this.#button.classList.add("shout");
    this.#tell(answer.lost ? t("stop-not-sent") : answer.text, 8_000);
  }

  /** live: whether it can be sent; standing: whether a stop stands already. */
  show(live, standing) {
    this.#live = live;
    this.#small_ = t(standing ? "stop-again" : "stop-tells");
    this.#draw();
  }

  #tell(words, ms = null) {
    this.#note = words;
    clearTimeout(this.#noteEnds);
    if (ms !== null) this.#noteEnds = setTimeout(() => { this.#note = null; this.#draw(); }, ms);
    this.#draw();
  }

  #draw() {
    const shout = !this.#live || (this.#note !== null && this.#button.classList.contains("shout"));
    this.#button.classList.toggle("shout", shout);
    put(this.#word, t(shout ? "stop-shout" : "stop"));
    if (this.#small) { put(this.#small, this.#note ?? (this.#live ? this.#small_ : "")); hide(this.#small, !this.#small.textContent); }
  }
}
