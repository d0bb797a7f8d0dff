// What is handed on and learnt: the state card with its read-back, next part turns, seconds to a limit, what was hung.
// The words of the watch are shown as sent; a dash where nothing is known.

import { button, keep } from "./lists.js";
import { hide, make, put } from "./shell.js";
import { DASH, span } from "./words.js";

const NAME = { statics: "from the statics", default: "the trade's", typed: "typed in the plan" };
const since = (now, t) => `${span(Math.max(0, now - t))} ago`;
const who = by => by ?? "nobody named";

/** The state card: [{key, what, text}]. Pure. */
export function cardOf(card) {
  const rows = [], now = card.t_ms, add = (what, text) => rows.push({ key: `${what}`, what, text });
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
  for (const one of card.shelved ?? []) add(`Aside ${one.finding.id}`, `${one.finding.text} Until ${one.until_ms === null ? DASH : `in ${span(one.until_ms - now)}`}; ends at the hand-over.`);
  for (const one of card.limits ?? []) add(`Limit ${one.limit}`, `${one.warn}${one.stop === null ? "" : ` / ${one.stop}`} ${one.unit}, ${one.by ? `changed by ${one.by}: ${one.reason}` : NAME[one.origin] ?? one.origin}`);
  if (card.expected) add("Announced", `${card.expected.change_n === null ? "a change of weight" : `${Math.round(card.expected.change_n)} N`}${card.expected.tower ? ` at ${card.expected.tower}` : ""}, ${since(now, card.expected.since_ms)}`);
  if (card.last_said) add("Last said", `${card.last_said.what}${card.last_said.tower ? ` ${card.last_said.tower}` : ""}, ${who(card.last_said.by)}, ${since(now, card.last_said.t_ms)}`);
  return rows;
}

/** What stands beside the findings: advice and what was learnt, each as the watch words it. Pure. */
export function learntOf(view) {
  const lines = [];
  if (view.next_turns) lines.push(view.next_turns.text);
  if (view.ahead_s) lines.push(view.ahead_s.text);
  for (const one of view.learnt?.towers ?? []) if (one.departs !== null || view.step === "test-lift") lines.push(one.text);
  if (view.step === "rig") for (const one of (view.hung ?? []).slice(-4)) lines.push(one.text);
  return lines;
}

/** The desk's part: read back three items, then take over. tell(said) sends; barred: null, or why it cannot be said here. */
export class Learnt {
  constructor(host, tell) {
    this.read = new Map();
    this.lines = make("div", {});
    this.told = make("span", { class: "m r" });
    this.rows = make("ul", { class: "ticks" });
    this.items = make("ul", { class: "ticks" });
    this.take = button("Taken over", "btn", () => tell({ said: "hand-over", value: [...this.read.keys()].join(" ") }).then(ok => { if (ok) this.read.clear(); }));
    this.box = make("details", {}, make("summary", {}, "State card"), this.rows, make("p", { class: "m" }, "The incoming lead reads these back:"), this.items, make("div", { class: "row" }, this.take));
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
    keep(this.rows, cardOf(card), one => one.key, one => make("li", { class: "card" }, make("b", {}, one.what), make("span", {})), (row, one) => put(row.lastChild, one.text));
    for (const text of this.read.keys()) if (!card.read_back.includes(text)) this.read.delete(text); // it has changed since
    keep(this.items, card.read_back, one => one, one => make("li", {}, make("i"), make("span", {}, one), button("Read back", "btn", () => { this.read.set(one, true); this.draw(view, null); })), (row, one) => {
      row.children[0].className = this.read.has(one) ? "said" : "open";
    });
    const why = barred ?? (this.read.size < card.read_back.length ? "three items first" : null);
    this.take.setAttribute("aria-disabled", String(why !== null));
    this.take.title = why ?? "";
  }
  clear() { this.read.clear(); this.lines.replaceChildren(); this.rows.replaceChildren(); this.items.replaceChildren(); for (const part of [this.head, this.box]) hide(part, true); }
}
