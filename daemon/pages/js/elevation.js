// Puts a layout on the page: nodes are made once, after that only attributes that differ are set.

import { layout } from "./layout.js";
import { t } from "./phrases.js";
import { sayOf } from "./picture.js";
import { Reach } from "./shape.js";
import { set } from "./shell.js";

const NS = "http://www.w3.org/2000/svg";
// From back to front.
const ORDER = [
  ["ribbon", "e-ribbon"], ["rim", "e-rim"], ["far", "e-far"], ["dim", "e-dim"], ["body", "e-cutg"], ["torn", "e-torn"], ["mast", "e-mast"], ["bad", "e-bad"],
  ["cutg", "e-cutg"], ["cut", "e-rim"], ["pins", "e-pin"], ["pinsSaid", "e-pins"], ["cradle", "e-cradle"],
  ["legs", "e-legs"], ["legsTorn", "e-torn"], ["box", "e-box"], ["boxTorn", "e-boxt"], ["fill", "e-fill"], ["hot", "e-hot"],
  ["tick", "e-tick"], ["pad", "e-pad"], ["floor", "e-floor"], ["gap", "e-gap"], ["hatch", "e-hatch"], ["level", "e-level"],
  ["lace", "e-lace"], ["chord", "e-chord"], ["brack", "e-brack"], ["barb", "e-barb"],
];
const SAY_EVERY_MS = 5_000;

export function node(tag, attributes = {}, parent = null) {
  const made = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  parent?.append(made);
  return made;
}

/** The slanting hatch of "nothing is known", once a page. */
export function hatch(svg) {
  const defs = node("defs", {}, svg);
  const pattern = node("pattern", { id: "hatch", width: 9, height: 9, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, defs);
  node("rect", { width: 3, height: 9, class: "e-stripe" }, pattern);
}

/** Writes words into a drawing: kept by key, so that a tick touches only what differs. */
export function write(svg, kept, words) {
  const used = new Set();
  for (const word of words) {
    used.add(word.key);
    if (!kept.has(word.key)) kept.set(word.key, node("text", {}, svg)).get(word.key).append("");
    const text = kept.get(word.key);
    set(text, "x", word.x.toFixed(1));
    set(text, "y", word.y.toFixed(1));
    set(text, "font-size", String(word.size));
    set(text, "class", word.cls);
    if (text.firstChild.data !== word.t) text.firstChild.data = word.t;
    if (!word.more) { text.querySelector("tspan")?.remove(); continue; }
    const more = text.querySelector("tspan") ?? node("tspan", {}, text);
    set(more, "font-size", String(word.moreSize));
    if (more.textContent !== word.more) more.textContent = word.more;
  }
  for (const [key, text] of kept) if (!used.has(key)) { text.remove(); kept.delete(key); }
}

export class Elevation {
  #svg; #paths = {}; #words = new Map(); #reach = new Reach(); #said = -Infinity; #saidFor = null;

  constructor(host) {
    this.#svg = node("svg", { role: "img", class: "elevation" });
    hatch(this.#svg);
    for (const [name, cls] of ORDER) this.#paths[name] = node("path", { class: cls }, this.#svg);
    host.append(this.#svg);
  }

  get element() { return this.#svg; }

  /** Draws the picture in the box; `now` in ms of this page's clock. Gives the layout back. */
  draw(picture, box, now) {
    const stop = picture.stop ?? picture.warn ?? 100;
    const { far, bold } = this.#reach.hold(stop, picture.heads.map(head => head.off), now);
    const laid = layout(picture, box, far, bold);
    set(this.#svg, "viewBox", `0 0 ${laid.w} ${laid.h}`);
    set(this.#svg, "width", String(laid.w));
    set(this.#svg, "height", String(laid.h));
    set(this.#svg, "class", picture.look === "calm" || picture.look === "none" ? "elevation" : "elevation called");
    for (const [name, path] of Object.entries(this.#paths)) set(path, "d", laid.paths[name] ?? "");
    write(this.#svg, this.#words, laid.words);
    this.#say(picture, now);
    return laid;
  }

  /** Takes everything away: what is not live is not shown. */
  clear() {
    for (const path of Object.values(this.#paths)) path.setAttribute("d", "");
    write(this.#svg, this.#words, []);
    set(this.#svg, "aria-label", t("drawn-gone"));
    this.#saidFor = null;
  }

  /** The drawing's own words: new when another call stands, else every 5 s, so that a reader is not flooded. */
  #say(picture, now) {
    const about = `${picture.look} ${picture.who} ${picture.hot}`;
    if (about === this.#saidFor && now - this.#said < SAY_EVERY_MS) return;
    this.#saidFor = about;
    this.#said = now;
    set(this.#svg, "aria-label", sayOf(picture));
  }
}
