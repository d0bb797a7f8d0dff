// The block with the call: the words as they were sent, fitted to the width, and the one live region of a page.

import { rank } from "./picture.js";
import { $, fit, hide, make, put } from "./shell.js";
import { linesOf, tail } from "./words.js";

const STANDS_MS = 1_500;
/** The page's own words stand on one line. */
const WHOLE = new Set(["gone", "loading"]);

/** Which call to show: a graver one at once, a milder one only after the shown one has stood long enough. Pure. */
export class Standing {
  #shown = null; #since = -Infinity;
  take(call, look, now) {
    const key = `${look} ${call?.text ?? ""}`;
    if (this.#shown?.key === key) { this.#shown.call = call; return this.#shown; }
    const milder = this.#shown && rank(look) < rank(this.#shown.look);
    if (milder && now - this.#since < STANDS_MS) return this.#shown;
    this.#since = now;
    this.#shown = { call, look, key };
    return this.#shown;
  }
  drop() { this.#shown = null; this.#since = -Infinity; }
}

/** Draws the words of a call into `host`; sizes: {order, alone, rest} px at most. */
export class Board {
  #host; #words; #sub; #key = null; #sizes;

  constructor(host, sizes) {
    this.#host = host;
    this.#words = $(".words", host) ?? host.appendChild(make("div", { class: "words" }));
    this.#sub = $(".sub", host);
    this.#sizes = sizes;
  }

  /** -> true when the words changed. */
  show(text, look, sub) {
    if (this.#sub) { put(this.#sub, sub ?? ""); hide(this.#sub, !sub); }
    const key = `${look}|${text}`;
    if (key === this.#key) return false;
    this.#key = key;
    this.#host.setAttribute("role", look === "calm" || look === "none" || look === "loading" ? "status" : "alert");
    const { order, rest } = WHOLE.has(look) ? { order: [text], rest: [] } : linesOf(text);
    const lines = order.map((line, i) => lineOf(line, "c order", i === 0 && (look === "stop" || look === "blind"), i < order.length - 1 || rest.length > 0));
    rest.forEach((line, i) => lines.push(lineOf(line, "c then", false, i < rest.length - 1)));
    this.#words.replaceChildren(...lines);
    this.refit();
    return true;
  }

  /** Again to the width: after a turn of the phone, or when the font arrives. */
  refit() {
    const look = getComputedStyle(this.#host), room = this.#host.clientWidth - parseFloat(look.paddingLeft) - parseFloat(look.paddingRight);
    const sizes = this.#sizes(this.#words.querySelectorAll(".order").length, $(".then", this.#words) !== null);
    for (const line of this.#words.querySelectorAll(".order")) fit(line, room, sizes.order);
    for (const line of this.#words.querySelectorAll(".then")) fit(line, room, sizes.then);
  }
}

/** One line; the full stop at its end is in the words, not in the picture. */
function lineOf(text, cls, caps, more) {
  const [words, stop] = tail(text);
  const line = make("span", { class: caps ? `${cls} caps` : cls }, words);
  if (stop) line.append(make("span", { class: "dot" }, stop));
  if (more) line.append(make("span", { class: "dot" }, " "));
  return line;
}
