// The elevation as paths and words, from a picture and a box. Pure: no page, no clock.
// Across: true to scale. Up: offsets from the level line, stretched by a told factor; masts are cut, not to scale.

import { darkSpans, lightSpans } from "./picture.js";
import { t } from "./phrases.js";
import { scale } from "./shape.js";
import { amount, figure, MINUS } from "./words.js";

const f = v => (Math.round(v * 10) / 10).toString();
/** The middle of the gap between heads that is nearest the middle of the truss: there the height stands. */
function middle(heads) {
  const half = (heads[0].x + heads.at(-1).x) / 2, gaps = heads.slice(1).map((head, i) => (head.x + heads[i].x) / 2);
  return gaps.reduce((best, at) => Math.abs(at - half) < Math.abs(best - half) ? at : best, gaps[0] ?? half);
}
const CAP = .72; // height of a digit in its size (call.woff2)
const clamp = (v, low, high) => Math.min(high, Math.max(low, v));
const MAST = [13, 9, 6], JOINT = [0, .36, .68]; // widths of the three mast lines, px; where they begin, as part of the mast

/** box: {w, h, reach, deep, foot, pad, room, top, mast, big, few, plan, hx, tell}; far: mm to hold in the reach.
 *  -> {w, h, k, mm, y0, pad, px, paths: {name: d}, words: [{key, x, y, t, size, cls, more}]} */
export function layout(p, box, far, bold = false) {
  const g = frame(p, box, far), words = [];
  const paths = { ...ground(p, g), ...masts(p, g), ...feet(p, g), ...truss(p, g), ...barb(p, g, words) };
  limits(p, g, words, bold);
  footWords(p, g, words);
  offsetsTold(p, g, words);
  return { w: g.w, h: g.h, k: g.k, mm: g.mm, y0: g.y0, pad: g.pad, px: g.px, paths, words };
}

function frame(p, box, far) {
  const heads = p.heads, ends = [heads[0].x, heads.at(-1).x];
  const b = { deep: 24, foot: 88, top: 8, pad: 14, room: 66, big: 42, mast: 0, few: false, plan: true, tell: "left", ...box };
  const { px, k, mm, pad } = scale(p.length, ends, far, { width: b.w, reach: b.reach, pad: b.pad, room: Math.min(b.room, b.w / heads.length / 2) });
  const X = x => pad + x * px, floor = b.h - b.foot + .5;
  const y0 = b.mast ? floor - b.mast : Math.round(b.top + b.deep + b.reach) + .5;
  const gaps = heads.slice(1).map((head, i) => head.x - heads[i].x);
  const near = Math.min(...gaps, 9) * px, pads = Math.min(b.padsMost ?? 60, near * .42, X(ends[0]) - 4);
  return {
    ...b, px, k, mm, pad, X, floor, y0, near, pads, slim: clamp(near / 80, .45, 1),
    hx: X(middle(heads)), Y: x => y0 - (p.line ? p.line(x) : 0) * mm,
    dark: darkSpans(heads), light: lightSpans(p.length, darkSpans(heads)),
    rw: (p.warn ?? 0) * mm, rs: (p.stop ?? p.warn ?? 0) * mm,
  };
}

/** Whether there is room to tell the height in the drawing. */
const measures = (p, g) => !g.few && p.height !== null && p.line !== null && g.floor - g.y0 > 60 && g.near >= 60;

/** Ribbon, limits, floor, and the height of the line as a dimension. */
function ground(p, g) {
  const { w, y0, rw, rs, floor } = g, across = y => `M0 ${f(y)}H${w}`;
  const hx = g.hx, by = (y0 + floor) / 2 + 18, dim = measures(p, g);
  return {
    ribbon: p.warn ? `M0 ${f(y0 - rw)}H${w}V${f(y0 + rw)}H0z` : "",
    rim: p.warn ? across(y0 - rw) + across(y0 + rw) : "",
    far: p.stop ? across(y0 - rs) + across(y0 + rs) : "",
    floor: across(floor),
    dim: dim ? `M${f(hx)} ${f(y0)}V${f(by - 24)}M${f(hx)} ${f(by + 8)}V${f(floor)}` : "",
  };
}

function masts(p, g) {
  const out = { mast: "", bad: "", torn: "", body: "", pins: "", pinsSaid: "", cutg: "", cut: "", cradle: "" };
  for (const head of p.heads) {
    const lost = head.off === null, x = g.X(head.x), top = lost ? Math.min(g.floor - 34, g.y0 + g.rs) : g.Y(head.x);
    const tall = g.floor - top, kind = lost ? "torn" : head.id === p.who ? "bad" : "mast";
    JOINT.forEach((part, i) => {
      const half = MAST[i] / 2 * g.slim, a = g.floor - part * tall, b = i < 2 ? g.floor - JOINT[i + 1] * tall - 5 : top;
      const shoulder = i < 2 ? MAST[i + 1] / 2 * g.slim : 0;
      out.body += `M${f(x - half)} ${f(a)}V${f(b)}H${f(x + half)}V${f(a)}z`;
      for (const way of [-1, 1]) out[kind] += `M${f(x + way * half)} ${f(a)}V${f(b)}H${f(x + way * shoulder)}`;
      if (i && head.pins !== "none" && !lost) out[head.pins === "measured" ? "pins" : "pinsSaid"] += ringAt(x, a - 10, 4.5);
    });
    out.cutg += `M${f(x - 12)} ${f(g.floor - 20)}l24 -8v7l-24 8z`;
    out.cut += `M${f(x - 12)} ${f(g.floor - 20)}l24 -8M${f(x - 12)} ${f(g.floor - 12)}l24 -8`;
    if (!lost) out.cradle += `M${f(x - 9 * g.slim)} ${f(top - 7)}v7h${f(18 * g.slim)}v-7`;
  }
  return out;
}

const ringAt = (x, y, r) => `M${f(x - r)} ${f(y)}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`;

/** Load spreads from the mast: pads are the rating, ticks what is expected, the fill what is measured. */
function feet(p, g) {
  const out = { legs: "", legsTorn: "", box: "", boxTorn: "", fill: "", hot: "", tick: "", pad: "" };
  if (g.foot <= 20) return out;
  const y = g.floor + 8, P = g.pads;
  for (const head of p.heads) {
    const x = g.X(head.x), lost = head.blind, part = load => (load + head.adapter) / head.rated;
    out[lost ? "legsTorn" : "legs"] += `M${f(x - 6)} ${f(g.floor - 7)}L${f(x - P)} ${f(g.floor + 7)}M${f(x + 6)} ${f(g.floor - 7)}L${f(x + P)} ${f(g.floor + 7)}`;
    out[lost ? "boxTorn" : "box"] += `M${f(x - P)} ${f(y)}h${f(2 * P)}v11h${f(-2 * P)}z`;
    out.pad += `M${f(x - P)} ${f(y - 5)}v21M${f(x + P)} ${f(y - 5)}v21`;
    if (head.rated === null) continue;
    if (head.share !== null) {
      const half = clamp(part(head.share), 0, 1.3) * P;
      out[head.id === p.hot ? "hot" : "fill"] += `M${f(x - half)} ${f(y)}h${f(2 * half)}v11h${f(-2 * half)}z`;
    }
    if (head.expected !== null) {
      const half = clamp(part(head.expected), 0, 1.3) * P;
      out.tick += `M${f(x - half)} ${f(y - 4)}v19M${f(x + half)} ${f(y - 4)}v19`;
    }
  }
  return out;
}

/** The truss on its line, the line itself, the gap between them, and hatch where nothing is known. */
function truss(p, g) {
  const out = { gap: "", hatch: "", level: "", lace: "", chord: "" };
  for (const [from, to] of g.dark) {
    const a = from === -Infinity ? 0 : g.X(from), b = to === Infinity ? g.w : g.X(to), half = g.rs || 40;
    out.hatch += `M${f(a)} ${f(g.y0 - half)}H${f(b)}V${f(g.y0 + half)}H${f(a)}z`;
  }
  if (!p.line) return out;
  const bay = .5 * Math.max(1, Math.ceil(11 / (.5 * g.px)));
  for (const span of g.light) {
    out.level += `M${f(span.tornLeft ? g.X(span.from) : 0)} ${f(g.y0)}H${f(span.tornRight ? g.X(span.to) : g.w)}`;
    const xs = stations(span, bay), low = xs.map(x => `${f(g.X(x))} ${f(g.Y(x))}`), up = xs.map(x => `${f(g.X(x))} ${f(g.Y(x) - g.deep)}`);
    out.lace += "M" + xs.map((x, i) => Math.round(x / bay) % 2 ? up[i] : low[i]).join("L");
    out.chord += `M${low.join("L")}M${up.join("L")}` + endOf(g, span.from, span.tornLeft, -1) + endOf(g, span.to, span.tornRight, 1);
    const bad = p.heads.find(head => head.id === p.who);
    if (bad?.off) out.gap += `M${low.join("L")}L${f(g.X(span.to))} ${f(g.y0)}L${f(g.X(span.from))} ${f(g.y0)}z`;
  }
  return out;
}

function stations(span, bay) {
  const xs = [span.from];
  for (let i = Math.floor(span.from / bay) + 1; i * bay < span.to - .05; i++) xs.push(i * bay);
  xs.push(span.to);
  return xs;
}

function endOf(g, x, torn, way) {
  const at = `M${f(g.X(x))} ${f(g.Y(x))}`, d = g.deep;
  return torn ? `${at}l${-6 * way} ${f(-d * .3)}l${9 * way} ${f(-d * .35)}l${-5 * way} ${f(-d * .35)}` : `${at}v${-d}`;
}

/** Where the extra force acts, and how sure that is. */
function barb(p, g, words) {
  const c = p.caught;
  if (!c) return { barb: "", brack: "" };
  const x = g.X(c.x), y = g.Y(c.x) - g.deep, e = Math.max(6, c.sigma * g.px), right = x > g.w * .6;
  if (c.force !== null) {
    const told = `${amount(c.forceTold ?? c.force, p.units.force, true)} ${t("here")}`;
    words.push({ key: "caught", x: right ? x - e - 10 : x + e + 10, y: y - 24, t: told, size: 24, cls: right ? "num end" : "num" });
  }
  return {
    barb: `M${f(x)} ${f(y - 6)}L${f(x - 9)} ${f(y - 22)}h18z`,
    brack: `M${f(x)} ${f(y - 22)}V${f(y - 40)}M${f(x - e)} ${f(y - 31)}v-8h${f(2 * e)}v8`,
  };
}

/** The limits and the stretch, told where the eye already is. */
function limits(p, g, words, bold) {
  const u = p.units.offset, cls = bold ? "now" : "mute", stretch = `× ${g.k}`;
  const say = (x, y, end) => words.push(
    { key: "heights", x, y, t: t("heights"), size: 13, cls: end ? cls + " end" : cls },
    { key: "stretch", x, y: y + 15, t: stretch, size: 13, cls: end ? cls + " end" : cls },
  );
  if (g.few) {
    const end = Boolean(p.line) && p.line(0) < 0 && !g.dark.length;
    say(end ? g.w - 4 : 4, g.y0 + 17, end);
    return;
  }
  const right = g.tell === "right";
  say(right ? g.w - 6 : 4, g.y0 + g.rs + 15, right);
  const bare = right || g.dark.some(([from]) => from === -Infinity); // no figures on the hatch
  if (p.warn && !bare) words.push({ key: "warn", x: 4, y: g.y0 + g.rw - 5, t: figure(p.warn, u), size: 13, cls: "mute" });
  if (p.stop && !bare) words.push({ key: "stop", x: 4, y: g.y0 + g.rs - 5, t: amount(p.stop, u), size: 13, cls: "mute" });
  if (measures(p, g)) {
    words.push({ key: "height", x: g.hx, y: (g.y0 + g.floor) / 2 + 18, t: amount(p.height, p.units.height), size: 22, cls: "num mid" });
  }
}

/** Under each foot: load, name, and what the plan says. Close feet get smaller digits and no unit of their own. */
function footWords(p, g, words) {
  if (g.foot <= 20) return;
  const close = g.near < 52, u = p.units.force, y = g.floor + 50;
  p.heads.forEach((head, i) => {
    const x = g.X(head.x), hot = head.id === p.hot, key = `${head.id}${head.again ? "+" : ""}`;
    const size = Math.round(clamp(g.near * (close ? .62 : .34), 12, hot ? 32 : 26));
    const load = head.shareTold ?? head.share;
    const share = head.blind ? (close ? "?" : t("no-data")) : close ? figure(load, u) : amount(load, u);
    words.push({ key: `share ${key}`, x, y, t: share, size, cls: "num mid" });
    words.push({ key: `name ${key}`, x, y: y + (close ? 17 : 21), t: close ? head.id : head.name, size: close ? 13 : 16, cls: "strong mid" });
    if (g.plan && g.near >= 118) {
      const plan = t("plan-rated", { amount: figure(head.expectedTold ?? head.expected, u), limit: figure(head.rated, u) });
      words.push({ key: `plan ${key}`, x, y: y + 40, t: plan, size: 13, cls: "mute mid" });
    }
    if (close && i === 0 && g.foot >= 90) words.push({ key: "unit", x: 4, y: y + 36, t: t("units", { amount: u.name, limit: p.units.offset.name }), size: 13, cls: "mute" });
  });
}

/** The offset of the tower that a call names, large; in calm each head's own, small. */
function offsetsTold(p, g, words) {
  const u = p.units.offset, bad = p.heads.find(head => head.id === p.who);
  const most = Math.round(g.big * (p.heads.length > 2 ? .64 : 1));
  if (bad?.off) {
    const left = g.X(bad.x) > g.w / 2 || p.heads.indexOf(bad) > 0, way = left ? -1 : 1;
    // Under a head that is high it stands between the line and the legs of the foot, and shrinks where these are close.
    const foot = g.foot > 20 ? g.floor - 13 : Infinity, size = bad.off > 0 ? Math.round(clamp((foot - g.y0 - 6) / CAP, 28, most)) : most;
    const y = bad.off > 0 ? Math.min(g.y0 + size + 4, foot) : g.y0 - bad.off * g.mm + size + 4;
    const told = `${figure(Math.abs(bad.offTold ?? bad.off), u)} ${u.name}`;
    words.push({ key: "off", x: g.X(bad.x) + way * 18, y, t: told, size, cls: left ? "num end" : "num", more: ` ${t(bad.off > 0 ? "high" : "low")}`, moreSize: Math.round(size * .62) });
    return;
  }
  if (g.few) return;
  p.heads.forEach((head, i) => {
    if (head.off === null) return;
    const way = i === 0 ? 1 : -1, text = figure(head.offTold ?? head.off, u, true), small = g.near < 52;
    const told = Number(text.replace(MINUS, "-")) === 0 ? "0" : small ? text : `${text} ${u.name}`;
    const x = small ? g.X(head.x) : g.X(head.x) + way * 12, y = Math.max(g.y0, g.Y(head.x)) + (small ? -g.deep - 16 : 20);
    const cls = small ? "mute mid" : way > 0 ? "mute" : "mute end";
    words.push({ key: `off ${head.id}${head.again ? "+" : ""}`, x, y, t: told, size: small ? 12 : 15, cls });
  });
}

/** Slope of the drawn truss at the left edge, the middle and the right edge, px: the lower edge of a call repeats it. */
export function slopeOf(p, mm) {
  if (!p.line) return [0, 0, 0];
  return [0, .5, 1].map(part => p.line(p.length * part) * mm);
}
