// The past of the line: what was seen, with its gaps cut out. Pure; times in ms of the watch.

import { t as phrase } from "./phrases.js";

const FINE_MS = 90_000, FINE_EVERY_MS = 100, COARSE_MS = 7_200_000, COARSE_EVERY_MS = 5_000, GAP_MS = 1_000;
const SAME_MS = 500; // what the monitor remembers may be a moment newer than what this page shows

/** Two memories of the heads' offsets and shares: fine for a moving lift, coarse for a standing one. */
export class Past {
  #fine = []; #coarse = [];
  take(t_ms, heads) {
    if (this.#fine.length && t_ms < this.#fine.at(-1).t - SAME_MS) { this.#fine = []; this.#coarse = []; } // another recording began
    const last = this.#fine.at(-1);
    const point = { t: t_ms, off: {}, share: {}, expected: {} };
    for (const head of heads) if (!head.again) { point.off[head.id] = head.off; point.share[head.id] = head.share; point.expected[head.id] = head.expected; }
    if (!last || t_ms - last.t >= FINE_EVERY_MS * .5) this.#fine.push(point);
    if (!this.#coarse.length || t_ms - this.#coarse.at(-1).t >= COARSE_EVERY_MS) this.#coarse.push(point);
    while (this.#fine.length && t_ms - this.#fine[0].t > FINE_MS) this.#fine.shift();
    while (this.#coarse.length && t_ms - this.#coarse[0].t > COARSE_MS) this.#coarse.shift();
  }
  /** What the monitor remembers of the time before this page was opened, or while it was cut off: it takes the place of
   *  what this page has of the same time. told: {towers, fine, coarse}, as it is sent. */
  seed(told) {
    const before = (track, own) => {
      const points = pointsOf(told.towers, track), last = points.at(-1)?.t ?? -Infinity;
      return [...points, ...own.filter(one => one.t > last)];
    };
    if (!Array.isArray(told?.towers)) return;
    this.#fine = before(told.fine, this.#fine);
    this.#coarse = before(told.coarse, this.#coarse);
  }
  /** -> {points, window_ms, gap_ms}: what to draw for a moving or a still lift, played so many times as fast as life. */
  seen(moving, speed = 1) {
    const coarse = this.#coarse, lasted = coarse.length ? coarse.at(-1).t - coarse[0].t : 0;
    if (moving || lasted < FINE_MS) return { points: this.#fine, window_ms: FINE_MS, gap_ms: GAP_MS * Math.max(1, speed) };
    return { points: coarse, window_ms: lasted < 600_000 ? 600_000 : COARSE_MS, gap_ms: 2.5 * COARSE_EVERY_MS };
  }
}

/** A track as it is sent, as points. */
function pointsOf(towers, track) {
  const of = (list, i) => Object.fromEntries(towers.map((id, tower) => [id, list?.[tower]?.[i] ?? null]));
  return (track?.t_ms ?? []).map((t, i) => ({ t, off: of(track.offset_mm, i), share: of(track.measured_n, i), expected: of(track.expected_n, i) }));
}

/** One number's past as runs without a gap: [[{t, v}…]…]. Nothing known, or nothing heard for `gap_ms`, cuts. */
export function runs(points, of, gap_ms) {
  const out = [];
  let run = [], last = null;
  const close = () => { if (run.length) out.push(run); run = []; };
  for (const point of points) {
    const v = of(point);
    if (v === null || v === undefined || (last !== null && point.t - last > gap_ms)) close();
    if (v !== null && v !== undefined) run.push({ t: point.t, v });
    last = point.t;
  }
  close();
  return out;
}

/** Times in which a head was not known: [[from, to]…], the newest open to `now`. */
export function gaps(points, of, gap_ms, now) {
  const out = [];
  let from = null;
  points.forEach((point, i) => {
    const v = of(point), known = v !== null && v !== undefined, before = points[i - 1];
    if (known && before && from === null && point.t - before.t > gap_ms) out.push([before.t, point.t]);
    if (!known && from === null) from = point.t;
    if (known && from !== null) { out.push([from, point.t]); from = null; }
  });
  if (from !== null) out.push([from, now]);
  return out;
}

/** A round range that holds all values, at least `least` wide: {low, high}. */
export function range(values, least, round) {
  const low = Math.min(...values), high = Math.max(...values), spare = Math.max(0, least - (high - low)) / 2;
  if (!values.length) return null;
  return { low: Math.floor((low - spare) / round) * round, high: Math.ceil((high + spare) / round) * round };
}

const f = v => (Math.round(v * 10) / 10).toString();

/** The strip as paths and words. box: {w, x0, right, y0, mm, shareTop, shareBottom, timeY}; laid out on the elevation's line. */
export function strip(seen, picture, now, box) {
  const { points, window_ms, gap_ms } = seen, at = box.right, x0 = box.x0 + 92, u = picture.units;
  const tx = t => at - (now - t) / window_ms * (at - x0), heads = picture.heads.filter(head => !head.again);
  const out = { traces: [], shares: [], plans: [], hatch: "", ticks: "", grid: "", words: [] };
  const line = (run, y) => "M" + run.map(one => `${f(tx(one.t))} ${f(y(one.v))}`).join("L");
  const offY = v => box.y0 - Math.max(-box.most, Math.min(box.most, v * box.mm));
  for (const head of heads) {
    out.traces.push(runs(points, point => point.off[head.id], gap_ms).map(run => line(run, offY)).join(""));
    for (const [from, to] of gaps(points, point => point.off[head.id], gap_ms, now)) {
      if (tx(to) - tx(from) < 1) continue;
      out.hatch += `M${f(Math.max(x0, tx(from)))} ${f(box.y0 - box.half)}H${f(tx(to))}V${f(box.y0 + box.half)}H${f(Math.max(x0, tx(from)))}z`;
    }
  }
  const values = points.flatMap(point => heads.flatMap(head => [point.share[head.id], point.expected[head.id]])).filter(v => v !== null && v !== undefined).map(v => v * u.force.per);
  const spread = range(values, u.force.per > .05 ? 10 : 1, u.force.per > .05 ? 5 : .5);
  if (spread) {
    const y = v => box.shareBottom - (v * u.force.per - spread.low) / (spread.high - spread.low) * (box.shareBottom - box.shareTop);
    for (const head of heads) {
      out.shares.push(runs(points, point => point.share[head.id], gap_ms).map(run => line(run, y)).join(""));
      out.plans.push(runs(points, point => point.expected[head.id], gap_ms).map(run => line(run, y)).join(""));
      const last = points.at(-1)?.share[head.id];
      if (last !== null && last !== undefined && heads.length <= 4) out.words.push({ key: `end ${head.id}`, x: at + 4, y: y(last) + 5, t: head.id, size: 14, cls: "mute" });
    }
    for (const v of [spread.low, spread.high]) {
      const yy = box.shareBottom - (v - spread.low) / (spread.high - spread.low) * (box.shareBottom - box.shareTop);
      out.grid += `M${f(x0)} ${f(yy)}H${f(at)}`;
      out.words.push({ key: `grid ${v === spread.low}`, x: x0 - 8, y: yy + 5, t: String(v), size: 14, cls: "mute end" });
    }
    out.words.push({ key: "shares", x: x0, y: box.shareTop - 10, t: phrase("desk-shares", { amount: u.force.name }), size: 14, cls: "mute" });
  }
  const unit = window_ms > 200_000 ? 60_000 : 1_000, parts = 6;
  for (let i = 0; i <= parts; i++) {
    const t = now - window_ms * i / parts;
    if (i) out.ticks += `M${f(tx(t))} ${f(box.y0 - 3)}v6`;
    out.words.push({ key: `t${i}`, x: tx(t), y: box.timeY, t: i ? `${Math.round(window_ms * i / parts / unit)} ${unit === 1_000 ? "s" : "min"}` : phrase("now"), size: 14, cls: i ? "mute mid" : "mid" });
  }
  return out;
}
