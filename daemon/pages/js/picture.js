// What there is to draw, from the view that the watch sends. Pure: view -> plain values; nothing is made up, what is
// not known stays null.

import { t } from "./phrases.js";
import { along, straight, through, unfold } from "./shape.js";
import { amount, figure, offsetWords, unitsOf } from "./words.js";

/** Reasons of a stop that mean "nothing is known here": told by stripes, not by colour. */
export const BLIND = new Set(["silent", "never-heard", "frozen", "noisy", "out-of-range", "knocked", "zero-gone"]);
/** Reasons that are about the load itself: they light the foot. */
const OF_LOAD = new Set(["overload", "off-plan", "caught", "resting", "slack", "extra-weight", "missing-weight", "light", "not-landed"]);
/** Kinds that say that a force acts somewhere on the truss. */
const OF_PLACE = new Set(["caught", "resting", "slack", "extra-weight", "missing-weight", "off-plan"]), OVER = new Set(["returned", "cleared", "shelved"]);
/** Reasons that are about a height: they fill the gap. */
const OF_HEIGHT = new Set(["uneven", "twist", "stuck", "dropped", "slipping"]);

/** The look of a call: one of calm, none, hold, pin, stop, blind. */
export function lookOf(call) {
  if (!call || call.call === "none") return "none";
  if (call.state === "over" || call.call === "level") return "calm";
  if (call.call === "stop") return BLIND.has(call.reason) ? "blind" : "stop";
  return call.call === "pin" ? "pin" : "hold";
}

/** Who heard this call, newest: an answer counts for all calls about the same finding, whoever they went to. */
export function heardOf(view, call) {
  const about = one => one.call === call.id || one.call === view.calls?.spotter?.id && view.calls.spotter.finding === call.finding || (call.finding && one.finding === call.finding);
  return call ? (view.heard ?? []).filter(about).at(-1) ?? null : null;
}

const RANK = { calm: 0, none: 0, pin: 1, hold: 2, blind: 3, stop: 3 };
export const rank = look => RANK[look] ?? 0;

/** Everything the drawing needs, or null where the plan's line is not known. */
export function pictureOf(view, call) {
  const pieces = view?.pieces ?? [], towers = view?.towers ?? [];
  if (!pieces.length || !towers.length) return null;
  const line = unfold(pieces);
  const heads = towers.map(tower => headOf(tower, along(line, tower.piece, tower.x_m))).sort((a, b) => a.x - b.x);
  if (line.ring && heads[0].x < pieces[0].length_m / 2) heads.push({ ...heads[0], x: heads[0].x + line.length, again: true });
  const length = Math.max(line.length, heads.at(-1).x);
  const look = lookOf(call), named = look === "calm" || look === "none" ? null : call?.tower ?? null;
  return {
    plan: `${view.title} ${view.revision}`, length, heads, look, ring: line.ring, joints: line.joints,
    warn: view.limits?.warn_mm ?? null, stop: view.limits?.stop_mm ?? null,
    height: view.height_m ?? null,
    who: named !== null && OF_HEIGHT.has(call.reason) ? named : null,
    hot: named !== null && OF_LOAD.has(call.reason) ? named : null,
    caught: caughtOf(view, line),
    line: curve(heads, line.ring),
    units: unitsOf(view.units),
  };
}

function headOf(tower, x) {
  return {
    id: tower.id, name: tower.name ?? tower.id, x,
    blind: tower.blind === true,
    // A height is known only where one was sent and the tower is not blind.
    off: tower.blind === true ? null : tower.offset_mm ?? null,
    share: tower.blind === true ? null : tower.measured_n ?? null,
    expected: tower.expected_n ?? null, planned: tower.planned_n ?? null,
    rated: tower.rated_n ?? null, adapter: tower.adapter_n ?? 0,
    pins: tower.pins ?? "none", age: tower.age_ms ?? null,
  };
}

/** What holds or carries the truss: drawn only while a finding says so, for before that it is a guess of the estimate. */
function caughtOf(view, line) {
  const c = view.caught, told = one => OF_PLACE.has(one.kind) && !OVER.has(one.state);
  if (!c || c.position_m == null || !(view.findings ?? []).some(told)) return null;
  return { x: along(line, c.piece, c.position_m), sigma: c.sigma_m ?? 0, force: c.force_n ?? null };
}

/** The line through the heads that are known; null where none is. */
function curve(heads, ring) {
  const seen = heads.filter(head => head.off !== null);
  if (!seen.length) return null;
  return (ring ? straight : through)(seen.map(head => head.x), seen.map(head => head.off));
}

/** Stretches [from, to] in metres over which nothing is known: to half-way to the next head, beyond the ends -Infinity
 *  and Infinity; neighbours are joined. */
export function darkSpans(heads) {
  const spans = [];
  heads.forEach((head, i) => {
    if (head.off !== null) return;
    const from = i ? (heads[i - 1].x + head.x) / 2 : -Infinity;
    const to = i < heads.length - 1 ? (head.x + heads[i + 1].x) / 2 : Infinity;
    const last = spans.at(-1);
    if (last && from <= last[1]) last[1] = to; else spans.push([from, to]);
  });
  return spans;
}

/** What is left of [0, length] between the dark spans. */
export function lightSpans(length, dark) {
  const spans = [];
  let at = -Infinity;
  for (const [from, to] of dark) {
    if (from > at) spans.push([at, from]);
    at = to;
  }
  if (at < Infinity) spans.push([at, Infinity]);
  return spans.map(([from, to]) => ({ from: Math.max(0, from), to: Math.min(length, to), tornLeft: from > -Infinity, tornRight: to < Infinity }));
}

/** The drawing in words, for a screen reader. */
export function sayOf(picture) {
  if (!picture) return t("drawn-nothing");
  const u = picture.units;
  const tower = head => {
    if (head.blind) return `${head.name}: ${t("no-data")}`;
    const off = head.off === null ? t("drawn-no-height") : offsetWords(head.off, u.offset).replace(` ${u.offset.name} `, ` ${t(u.offset.spoken)} `);
    const share = head.share === null ? t("drawn-no-load") : t("drawn-load", { amount: figure(head.share, u.force), limit: `${figure(head.rated, u.force)} ${t(u.force.spoken)}` });
    return `${head.name}: ${off}, ${share}`;
  };
  const heads = picture.heads.filter(head => !head.again).map(tower).join(". ");
  const height = picture.height === null ? `${t("drawn-line-unknown")}.` : t("line-at", { amount: amount(picture.height, u.height) });
  const limit = picture.warn === null ? "" : ` ${t("hold-limit", { amount: `${figure(picture.warn, u.offset)} ${t(u.offset.spoken)}` })}`;
  const caught = picture.caught ? ` ${t("drawn-force", { amount: amount(picture.caught.force, u.force), place: `${picture.caught.x.toFixed(1)} m` })}` : "";
  return `${height} ${heads}.${limit}${caught}`;
}

/** The head farthest from the line, and how far. */
export function farthest(heads) {
  let worst = null;
  for (const head of heads) if (head.off !== null && (worst === null || Math.abs(head.off) > Math.abs(worst.off))) worst = head;
  return worst;
}
