// Draws latest-wins: at most once a frame of the screen, only the newest, and nothing while nobody can see it. What is
// heard, and the page's own alarm, never wait for a drawing.

/** How long an order waits for a frame of the screen: a browser that spares its battery makes few. */
const SOON_MS = 40;

export class Painter {
  #draw; #frame = null; #timer = null; #wanted = false;

  constructor(draw) {
    this.#draw = draw;
    // What comes to light is drawn before it is seen.
    document.addEventListener("visibilitychange", () => { if (!document.hidden && this.#wanted) this.now(); });
  }

  /** There is something new to draw. soon: it does not wait for the screen to ask. */
  ask(soon = false) {
    this.#wanted = true;
    if (document.hidden) return;
    this.#frame ??= requestAnimationFrame(() => this.now());
    if (soon) this.#timer ??= setTimeout(() => this.now(), SOON_MS);
  }

  /** Draws at once. */
  now() {
    this.drop();
    this.#draw();
  }

  /** What was asked for is not to be drawn any more. */
  drop() {
    if (this.#frame !== null) cancelAnimationFrame(this.#frame);
    clearTimeout(this.#timer);
    this.#frame = this.#timer = null;
    this.#wanted = false;
  }
}

const HALF_MS = 500;

/** The stop bar shuts and opens once a second while the page is lit and seen. */
export class StopBar {
  #turning = null;
  show(lit) {
    if (lit === (this.#turning !== null)) return;
    clearInterval(this.#turning);
    document.body.classList.remove("open");
    this.#turning = lit ? setInterval(() => { if (!document.hidden) document.body.classList.toggle("open"); }, HALF_MS) : null;
  }
}
