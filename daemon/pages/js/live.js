// Whether this page is live, by its own timer: it trusts nothing that it has not just been told.

import { t } from "./phrases.js";
import { bySocket, Ways } from "./way.js";

/** Longest silence of a live page: eight views missed, and time left for a busy phone to change within the promised second. */
export const LIVE_MS = 800;
/** Oldest picture that may pass for the present. */
const LATE_MS = 1_000;
const RENEW_MS = 2_500, WINDOW_MS = 120_000;

/** How far behind the watch this page is, learnt from the quickest arrivals of the last minutes. Pure.
 *  The two clocks have different origins: the smallest difference seen is taken as no delay. */
export class Lag {
  #old = Infinity; #young = Infinity; #turned = 0;
  /** t_ms: the watch's time in what arrived; now: this page's clock. -> ms behind, never negative. */
  take(t_ms, now) {
    const apart = now - t_ms;
    if (now - this.#turned > WINDOW_MS) { this.#old = this.#young; this.#young = Infinity; this.#turned = now; }
    this.#young = Math.min(this.#young, apart);
    return apart - Math.min(this.#old, this.#young);
  }
}

/** Whether this phone slept: the time of day went on while its own clock stood still. A time of day that is set back is
 *  no sleep; one that is set forward is taken for one, and costs a new connection. Pure. */
export class Nap {
  #apart = null;
  took(now, wall) {
    const before = this.#apart;
    this.#apart = wall - now;
    return before !== null && this.#apart - before > LIVE_MS;
  }
}

/** Judges arrivals. Pure: `take` says whether a view shows the present, and remembers when that last was so. */
export class Pulse {
  #lag = new Lag(); #last = null; #behind = 0;
  freshAt = null;
  /** After a new connection the watch may be another: its clock is learnt anew. What was seen is no news by it. */
  renew() { this.#lag = new Lag(); }
  /** This page slept: nothing that it knows is the present. */
  drop() { this.freshAt = null; }
  take(view, now) {
    const fell = this.#last !== null && view.t_ms < this.#last; // the monitor began anew, with another clock
    const newer = this.#last === null || view.t_ms !== this.#last;
    if (fell) this.#lag = new Lag();
    this.#last = view.t_ms;
    this.#behind = view.speed === undefined || view.speed === 1 ? this.#lag.take(view.t_ms, now) : 0;
    if (!newer || this.#behind > LATE_MS) return false;
    this.freshAt = now;
    return true;
  }
  /** Age of what is shown, ms; null before anything was. */
  age(now) { return this.freshAt === null ? null : now - this.freshAt + this.#behind; }
  live(now) { return this.freshAt !== null && now - this.freshAt < LIVE_MS; }
}

const TRY_MS = 250, TRIES_APART_MS = 2_000;

/** The stream from the monitor. on: {view(view), call(call), state("loading"|"live"|"gone")}. */
export class Live {
  /** Why the monitor says it does not watch; null where it is only not heard. */
  reason = null;
  #on; #path; #close = null; #ways = new Ways(); #pulse = new Pulse(); #nap = new Nap(); #timer = null; #renewal = null; #state = "loading"; #alarm = null;

  /** path: "/live", or "/live?deck" for what is drawn on deck alone. */
  constructor(on, path = "/live") {
    this.#on = on;
    this.#path = path;
    this.#connect();
    // A page that comes back looks at once, before a throttled timer would; one that was frozen trusts nothing it has.
    document.addEventListener("visibilitychange", () => { this.#look(); this.#arm(); });
    for (const word of ["freeze", "resume"]) document.addEventListener(word, () => this.#slept());
    addEventListener("pageshow", shown => { if (shown.persisted) this.#slept(); });
  }

  get state() { return this.#state; }
  get tries() { return this.#ways.tries; }
  get age() { return this.#pulse.age(performance.now()); }

  #connect() {
    this.#close?.();
    this.#pulse.renew();
    const way = this.#ways.next();
    this.#close = way(this.#path, {
      told: (name, line) => this.#heard(name, line, way),
      ended: opened => {
        if (!opened) this.#asked();
        this.#renew(Math.min(TRIES_APART_MS, TRY_MS * 2 ** Math.min(this.#ways.tries, 4)));
      },
    });
    this.#renew(RENEW_MS);
  }

  #renew(after) {
    clearTimeout(this.#renewal);
    this.#renewal = setTimeout(() => this.#again(), after);
  }

  #heard(name, line, way) {
    if (this.#nap.took(performance.now(), Date.now())) return this.#slept(); // it may have lain here since before
    if (name === "view") this.#view(line, way);
    else if (name === "call") this.#call(line);
    else if (name === "not-watching") this.#stopped(line);
  }

  /** Nothing was opened: is the monitor there, and does it only not let this page in? */
  async #asked() {
    try {
      const answer = await fetch("/me", { credentials: "same-origin", signal: AbortSignal.timeout(RENEW_MS) });
      if (answer.ok && (await answer.json()).looks === false) this.#refused();
    } catch { /* not there: it is tried again anyway */ }
  }

  /** The monitor itself says that it no longer watches: not live at once. */
  #stopped(text) {
    this.reason = parsed(text)?.text ?? t("stopped");
    this.#fall();
  }

  /** The monitor is there but does not let this page in: its session is gone, after a new start for example. */
  #refused() {
    this.reason = t("unpaired");
    this.#on.state(this.#state);
  }

  /** A stream that says nothing may hang on a network that is gone: it is opened anew until it speaks. */
  #again() {
    this.#ways.failed();
    this.#connect();
    this.#on.state(this.#state);
  }

  #view(text, way) {
    const view = parsed(text);
    if (!view || typeof view.t_ms !== "number" || !this.#pulse.take(view, performance.now())) return;
    this.#ways.works(way);
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#late(), LIVE_MS);
    this.#arm();
    this.#renew(RENEW_MS);
    const back = this.#state !== "live";
    if (back) { this.#state = "live"; this.reason = null; this.#on.state("live"); }
    this.#on.view(view);
  }

  #call(text) {
    const call = parsed(text);
    if (call && typeof call.text === "string" && this.#state === "live") this.#on.call(call);
  }

  /** Behind another tab a browser slows this page's timers down, but not a worker's: there the worker watches as well. */
  #arm() {
    if (!document.hidden || this.#state !== "live") return;
    try {
      if (!this.#alarm) { this.#alarm = new Worker("/pages/js/alarm.js"); this.#alarm.onmessage = () => this.#late(); }
      this.#alarm.postMessage(LIVE_MS);
    } catch { /* no workers here: the page's own timer is all there is */ }
  }

  /** Time is up. A phone that was busy may have views waiting that came in time: they are taken first, once. */
  #late() { setTimeout(() => this.#look(), 0); }

  #look() {
    if (this.#nap.took(performance.now(), Date.now())) return this.#slept();
    if (this.#state === "live" && !this.#pulse.live(performance.now())) this.#fall();
  }

  /** This page stood still for a while, or is about to: not live until something fresh has come by a new connection. */
  #slept() {
    this.#pulse.drop();
    if (this.#state === "live") this.#fall();
    this.#connect();
  }

  #fall() {
    this.#state = "gone";
    clearTimeout(this.#timer);
    this.#on.state("gone");
  }
}

function parsed(text) {
  try {
    const value = JSON.parse(text);
    return value && typeof value === "object" ? value : null;
  } catch {
    return null; // cut off in the middle: the next one comes whole, or none does and the timer tells
  }
}
