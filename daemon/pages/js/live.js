// Whether this page is live, by its own timer: it trusts nothing that it has not just been told.

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

/** Judges arrivals. Pure: `take` says whether a view shows the present, and remembers when that last was so. */
export class Pulse {
  #lag = new Lag(); #last = null; #behind = 0;
  freshAt = null;
  /** After a new connection the watch may be another: its clock is learnt anew. */
  renew() { this.#lag = new Lag(); this.#last = null; }
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

/** The stream from the monitor. on: {view(view), call(call), state("loading"|"live"|"gone")}. */
export class Live {
  /** Why the monitor says it does not watch; null where it is only not heard. */
  reason = null;
  #on; #source = null; #pulse = new Pulse(); #timer = null; #renewal = null; #tries = 0; #state = "loading";

  constructor(on, url = "/live") {
    this.#on = on;
    this.url = url;
    this.#connect();
    // A page that comes back from sleep looks at once, before a throttled timer would.
    document.addEventListener("visibilitychange", () => this.#check());
  }

  get state() { return this.#state; }
  get tries() { return this.#tries; }
  get age() { return this.#pulse.age(performance.now()); }

  #connect() {
    this.#source?.close();
    this.#pulse.renew();
    const source = this.#source = new EventSource(this.url);
    source.addEventListener("view", heard => this.#view(heard.data));
    source.addEventListener("call", heard => this.#call(heard.data));
    source.onerror = () => { if (source.readyState === EventSource.CLOSED) this.#refused(); };
    source.addEventListener("not-watching", heard => this.#stopped(heard.data));
    clearTimeout(this.#renewal);
    this.#renewal = setTimeout(() => this.#again(), RENEW_MS);
  }

  /** The monitor itself says that it no longer watches: not live at once. */
  #stopped(text) {
    this.reason = parsed(text)?.text ?? "The monitor says that it does not watch.";
    this.#state = "gone";
    clearTimeout(this.#timer);
    this.#on.state("gone");
  }

  /** The monitor is there but does not let this page in: its session is gone, after a new start for example. */
  #refused() {
    this.reason = "The monitor does not know this page. Scan a code at the desk to pair it again.";
    this.#on.state(this.#state);
  }

  /** A stream that says nothing may hang on a network that is gone: it is opened anew until it speaks. */
  #again() {
    this.#tries += 1;
    this.#connect();
    this.#on.state(this.#state);
  }

  #view(text) {
    const view = parsed(text);
    if (!view || typeof view.t_ms !== "number" || !this.#pulse.take(view, performance.now())) return;
    this.#tries = 0;
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#check(), LIVE_MS);
    clearTimeout(this.#renewal);
    this.#renewal = setTimeout(() => this.#again(), RENEW_MS);
    const back = this.#state !== "live";
    if (back) { this.#state = "live"; this.reason = null; this.#on.state("live"); }
    this.#on.view(view);
  }

  #call(text) {
    const call = parsed(text);
    if (call && typeof call.text === "string" && this.#state === "live") this.#on.call(call);
  }

  #check() {
    if (this.#state !== "live" || this.#pulse.live(performance.now())) return;
    this.#state = "gone";
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
