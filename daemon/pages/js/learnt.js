// The state card with its read-back; advice, in the watch's own words.

import { button, keep } from "./lists.js";
import { hide, make, put } from "./shell.js";
import { span } from "./words.js";

const since = (now, t) => `${span(now - t)} ago`;
const who = by => by ?? "nobody named";

/** [{what, text}]. Pure. */
export function cardOf(card) {
  const rows = [], now = card.t_ms, add = (what, text) => rows.push({ what, text });
  add("Step", `${card.step}, since ${span(now - card.since_ms)}${card.step_by ? `, said by ${card.step_by}` : ""}`);
  for (const one of card.towers ?? []) {
    const pins = one.pinned ? `pin said ${since(now, one.pinned.t_ms)} by ${who(one.pinned.by)}` : "no pin said";
    const seen = one.pins_measured === null ? "" : one.pins_measured ? "; measured on its pins" : "; its rope carries";
    const hole = one.hole === null ? "" : `; hole ${one.hole}, ${one.hole_m.toFixed(2)} m`;
    add(one.name, `${pins}${seen}${hole}${one.slack_set ? "; slack said" : ""}${one.proved ? "" : "; not proved"}`);
  }
  const zeros = card.zeros ?? [], none = zeros.filter(one => one.value === null);
  const kept = zeros.filter(one => one.valid_until).map(one => one.valid_until).sort()[0];
  add("Zeros", `${zeros.length - none.length} of ${zeros.length}${kept ? `, the kit's until ${kept}` : ""}${none.length ? `; none for ${none.map(one => `${one.tower} ${one.channel}`).join(", ")}` : ""}`);
  for (const one of card.shelved ?? []) add(`Aside ${one.finding.id}`, `${one.finding.text} For ${span(one.until_ms - now)}; ends at the hand-over.`);
  for (const one of card.limits ?? []) add(`Limit ${one.limit}`, `${one.warn}${one.stop === null ? "" : ` / ${one.stop}`} ${one.unit}, ${one.by ? `changed by ${one.by}: ${one.reason}` : one.origin}`);
  if (card.expected) add("Announced", `${card.expected.change_n === null ? "weight" : `${Math.round(card.expected.change_n)} N`} ${card.expected.tower ?? ""}, ${since(now, card.expected.since_ms)}`);
  if (card.last_said) add("Last said", `${card.last_said.what} ${card.last_said.tower ?? ""}, ${who(card.last_said.by)}, ${since(now, card.last_said.t_ms)}`);
  return rows;
}

export function learntOf(view) {
  const learnt = (view.learnt?.towers ?? []).filter(one => one.departs !== null || view.step === "test-lift"), hung = view.step === "rig" ? (view.hung ?? []).slice(-4) : [];
  return [view.next_turns, view.ahead_s, ...learnt, ...hung].filter(Boolean).map(one => one.text);
}

export class Learnt {
  constructor(host, tell) {
    this.read = new Set();
    this.lines = make("div");
    this.told = make("span", { class: "m r" });
    [this.rows, this.items] = [0, 1].map(() => make("ul", { class: "ticks" }));
    this.take = button("Taken over", "btn", () => tell({ said: "hand-over", value: [...this.read].join(" ") }).then(ok => { if (ok) this.read.clear(); }));
    this.box = make("details", {}, make("summary", {}, "State card"), this.rows, this.items, make("div", { class: "row" }, this.take));
    this.head = make("h2", {}, "Hand-over", this.told);
    host.replaceChildren(this.lines, this.head, this.box);
  }
  draw(view, barred) {
    keep(this.lines, learntOf(view), one => one, one => make("p", {}, one), () => {});
    const card = view.hand_over;
    for (const part of [this.head, this.box]) hide(part, !card);
    if (!card) return;
    put(this.told, card.handed ? `taken over by ${who(card.handed.by)}, ${since(card.t_ms, card.handed.t_ms)}` : "not handed over");
    if (!this.box.open) return;
    keep(this.rows, cardOf(card), one => one.what, one => make("li", { class: "card" }, make("b", {}, one.what), make("span", {})), (row, one) => put(row.lastChild, one.text));
    for (const text of this.read) if (!card.read_back.includes(text)) this.read.delete(text); // it has changed since
    keep(this.items, card.read_back, one => one, one => make("li", {}, make("i"), make("span", {}, one), button("Read back", "btn", () => { this.read.add(one); this.draw(view, null); })), (row, one) => {
      row.firstChild.className = this.read.has(one) ? "said" : "open";
    });
    const why = barred ?? (this.read.size < card.read_back.length ? "three items first" : null);
    this.take.setAttribute("aria-disabled", String(why !== null));
    this.take.title = why ?? "";
  }
  clear() {
    this.read.clear();
    for (const list of [this.lines, this.rows, this.items]) list.replaceChildren();
    for (const part of [this.head, this.box]) hide(part, true);
  }
}
