// Numbers and calls in words: units of the plan, real minus signs, a dash for what is not known. Pure.

import { t } from "./phrases.js";

const G = 9.80665, LB = 0.45359237, FT = 0.3048, IN = 25.4; // exact by definition (standard gravity, pound, foot, inch)
export const DASH = "—", MINUS = "−";

/** How to show forces, heights and offsets in the plan's units (`["kg", "m"]`): factor, decimals, name. */
export function unitsOf(names) {
  const force = {
    kg: { per: 1 / G, digits: 0, name: "kg", spoken: "kilograms" },
    lb: { per: 1 / G / LB, digits: 0, name: "lb", spoken: "pounds" },
    N: { per: 1, digits: 0, name: "N", spoken: "newtons" },
    kN: { per: 1e-3, digits: 2, name: "kN", spoken: "kilonewtons" },
  };
  const length = {
    m: { height: { per: 1, digits: 2, name: "m" }, offset: { per: 1, digits: 0, name: "mm", spoken: "millimetres" } },
    ft: { height: { per: 1 / FT, digits: 1, name: "ft" }, offset: { per: 1 / IN, digits: 1, name: "in", spoken: "inches" } },
  };
  const list = Array.isArray(names) ? names : [];
  const f = list.find(name => name in force) ?? "kg", l = list.find(name => name in length) ?? "m";
  return { force: force[f], height: length[l].height, offset: length[l].offset };
}

const known = v => typeof v === "number" && Number.isFinite(v);

/** A number in its unit's digits, without the unit: "104", "−6"; a dash where it is not known. Never "−0". */
export function figure(value, unit, signed = false) {
  if (!known(value)) return DASH;
  const text = Math.abs(value * unit.per).toFixed(unit.digits);
  if (Number(text) === 0) return text;
  return (value < 0 ? MINUS : signed ? "+" : "") + text;
}

/** The same with its unit; the dash stands alone. */
export const amount = (value, unit, signed = false) => known(value) ? `${figure(value, unit, signed)} ${unit.name}` : DASH;

/** "58 mm high", "6 mm low", "on the line", or a dash. */
export function offsetWords(offset_mm, unit) {
  if (!known(offset_mm)) return DASH;
  const text = figure(Math.abs(offset_mm), unit);
  return Number(text) === 0 ? t("on-line") : `${text} ${unit.name} ${t(offset_mm > 0 ? "high" : "low")}`;
}

/** An age or a time span as people say it: tenths under 10 s. */
export function span(ms) {
  if (!known(ms) || ms < 0) return DASH;
  const s = ms / 1000;
  if (s < 9.95) return `${s.toFixed(1)} s`;
  if (s < 59.5) return `${Math.round(s)} s`;
  const whole = Math.round(s);
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${whole % 60} s`;
  const minutes = Math.floor(whole / 60);
  return `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

/** A name before a number: "Tower 6: 6 mm low" is not to be read as 66. */
export const plainly = name => /\d$/.test(name) ? `${name}:` : name;

/** Lines of a call as it was sent: nothing is left out, added or reworded.
 *  -> {order: [lines], rest: [sentences]}. A short order has a word a line; the rest stands below it. */
export function linesOf(text) {
  const sentences = (text ?? "").trim().split(/(?<=[.?!。])\s+/u).filter(Boolean);
  const opened = (sentences[0] ?? "").match(/^(\p{L}{1,8},)\s+(.+)$/u); // "Stop, said by Mara."
  if (opened) return { order: [opened[1]], rest: [opened[2], ...sentences.slice(1)] };
  const first = sentences[0] ?? "", words = first.split(/\s+/);
  const short = words.length === 2 && words.every(word => word.replace(/\p{P}+$/u, "").length <= 8);
  return { order: short ? words : first ? [first] : [], rest: sentences.slice(1) };
}

/** Full stops and commas that end a line are said, not drawn: splits them off. */
export function tail(line) {
  const end = line.match(/[.,。]$/u);
  return end ? [line.slice(0, -1), end[0]] : [line, ""];
}

/** "Alpha", "Alpha and Bravo", "Alpha, Bravo and Charlie". */
export function list(names) {
  return names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} ${t("and")} ${names.at(-1)}`;
}

export const STEP_ORDER = ["rig", "test-lift", "raise", "section", "land", "stand", "change", "lower", "strike"];
export const stepName = step => STEP_ORDER.includes(step) ? t(`step-${step}`) : step ? String(step) : DASH;
/** Where the lift is: the step, or what is replayed and how fast. */
export const placeOf = view => view.replay ? `${t("replay", { what: view.replay })}${view.speed && view.speed !== 1 ? `, × ${view.speed}` : ""}` : view.step ? stepName(view.step) : "";
