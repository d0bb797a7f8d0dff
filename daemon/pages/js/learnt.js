// The state card with its read-back; advice, in the watch's own words.

import { button, keep } from "./lists.js";
import { t } from "./phrases.js";
import { hide, make, put } from "./shell.js";
import { span } from "./words.js";

const since = (now, then) => t("desk-ago", { amount: span(now - then) });
const who = by => by ?? t("desk-nobody");

/** [{what, text}]. Pure. */
export function cardOf(card) {
  const rows = [], now = card.t_ms, add = (what, text) => rows.push({ what, text });
  add(t("desk-card-step"), [t("desk-card-since", { step: card.step, amount: span(now - card.since_ms) }), card.step_by && t("desk-card-said-by", { what: card.step_by })].filter(Boolean).join(", "));
  for (const one of card.towers ?? []) {
    const pins = one.pinned ? t("desk-card-pin-said", { amount: since(now, one.pinned.t_ms), what: who(one.pinned.by) }) : t("desk-card-pin-none");
    const seen = one.pins_measured === null ? null : t(one.pins_measured ? "desk-card-pins-measured" : "desk-card-pins-rope");
    const hole = one.hole === null ? null : t("desk-card-hole", { what: one.hole, amount: `${one.hole_m.toFixed(2)} m` });
    add(one.name, [pins, seen, hole, one.slack_set && t("desk-card-slack"), !one.proved && t("desk-card-unproved")].filter(Boolean).join("; "));
  }
  const zeros = card.zeros ?? [], none = zeros.filter(one => one.value === null);
  const kept = zeros.filter(one => one.valid_until).map(one => one.valid_until).sort()[0];
  const some = [t("desk-card-zeros-of", { amount: zeros.length - none.length, limit: zeros.length }), kept && t("desk-card-zeros-until", { what: kept })].filter(Boolean).join(", ");
  add(t("desk-card-zeros"), [some, none.length && t("desk-card-zeros-none", { what: none.map(one => `${one.tower} ${one.channel}`).join(", ") })].filter(Boolean).join("; "));
  for (const one of card.shelved ?? []) add(t("desk-card-aside", { what: one.finding.id }), t("desk-card-aside-for", { what: one.finding.text, amount: span(one.until_ms - now) }));
  for (const one of card.limits ?? []) add(t("desk-card-limit", { what: one.limit }), `${one.warn}${one.stop === null ? "" : ` / ${one.stop}`} ${one.unit}, ${one.by ? t("desk-card-changed", { what: one.by, reason: one.reason }) : one.origin}`);
  if (card.expected) add(t("desk-card-announced"), `${card.expected.change_n === null ? t("desk-card-weight") : `${Math.round(card.expected.change_n)} N`} ${card.expected.tower ?? ""}, ${since(now, card.expected.since_ms)}`);
  if (card.last_said) add(t("desk-card-last"), `${card.last_said.what} ${card.last_said.tower ?? ""}, ${who(card.last_said.by)}, ${since(now, card.last_said.t_ms)}`);
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
    this.take = button(t("desk-taken-over"), "btn", () => tell({ said: "hand-over", value: [...this.read].join(" ") }).then(ok => { if (ok) this.read.clear(); }));
    this.box = make("details", {}, make("summary", {}, t("desk-card")), this.rows, this.items, make("div", { class: "row" }, this.take));
    this.head = make("h2", {}, t("desk-hand-over"), this.told);
    host.replaceChildren(this.lines, this.head, this.box);
  }
  draw(view, barred) {
    keep(this.lines, learntOf(view), one => one, one => make("p", {}, one), () => {});
    const card = view.hand_over;
    for (const part of [this.head, this.box]) hide(part, !card);
    if (!card) return;
    put(this.told, card.handed ? t("desk-taken-over-by", { what: who(card.handed.by), amount: since(card.t_ms, card.handed.t_ms) }) : t("desk-not-handed"));
    if (!this.box.open) return;
    keep(this.rows, cardOf(card), one => one.what, one => make("li", { class: "card" }, make("b", {}, one.what), make("span", {})), (row, one) => put(row.lastChild, one.text));
    for (const text of this.read) if (!card.read_back.includes(text)) this.read.delete(text); // it has changed since
    keep(this.items, card.read_back, one => one, one => make("li", {}, make("i"), make("span", {}, one), button(t("desk-read-back"), "btn", () => { this.read.add(one); this.draw(view, null); })), (row, one) => {
      row.firstChild.className = this.read.has(one) ? "said" : "open";
    });
    const why = barred ?? (this.read.size < card.read_back.length ? t("desk-three-first") : null);
    this.take.setAttribute("aria-disabled", String(why !== null));
    this.take.title = why ?? "";
  }
  clear() {
    this.read.clear();
    for (const list of [this.lines, this.rows, this.items]) list.replaceChildren();
    for (const part of [this.head, this.box]) hide(part, true);
  }
}
