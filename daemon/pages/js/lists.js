// The desk's lists: findings with what may be done about each, towers, instruments, people. Rows are kept by key, so
// that a press is not lost to a redraw and a reader's place stays.

import { node } from "./elevation.js";
import { BLIND } from "./picture.js";
import { has, t } from "./phrases.js";
import { make, put, set } from "./shell.js";
import { DASH, figure, span } from "./words.js";

/** Keeps one child of `host` per key, in order; makes what is new, drops what is gone, lets `draw` fill each. Where there
 *  is nothing to keep, `empty` says so. */
export function keep(host, items, keyOf, build, draw, empty = null) {
  if (!items.length && empty) { items = [empty]; keyOf = () => "empty"; build = () => make("li", { class: "m" }, empty); draw = () => {}; }
  const old = new Map([...host.children].map(child => [child.dataset.key, child]));
  items.forEach((item, i) => {
    const key = String(keyOf(item));
    let child = old.get(key);
    if (!child) { child = build(item); child.dataset.key = key; }
    old.delete(key);
    if (host.children[i] !== child) host.insertBefore(child, host.children[i] ?? null);
    draw(child, item);
  });
  for (const child of old.values()) child.remove();
}

const GRAVITY = { stop: 2, warn: 1, note: 0 }, OVER = new Set(["returned", "shelved", "cleared"]);
/** Gravest first, what is over last, newest first among equals. Pure. */
export function order(findings) {
  const rank = one => (OVER.has(one.state) ? -10 : 0) + (GRAVITY[one.severity] ?? 0);
  return [...findings].sort((a, b) => rank(b) - rank(a) || b.since_ms - a.since_ms);
}

/** What the lead may say of a finding in its state (the table of docs/forms.md, life of a finding). Pure. */
export function may(finding) {
  const stop = finding.severity === "stop";
  switch (finding.state) {
    case "raised": return stop ? ["seen"] : ["seen", "shelve"];
    case "acknowledged": return stop ? ["release"] : ["shelve"];
    case "returned": return ["seen"];
    case "latched": return ["seen", "release"];
    case "shelved": return ["unshelve"];
    default: return [];
  }
}

function glyph(finding) {
  const svg = node("svg", { width: 22, height: 16, role: "img" });
  const [cls, d, name] = OVER.has(finding.state) || finding.state === "latched" && finding.severity !== "stop" ? ["g-over", "M1 8h20", "desk-over"]
    : BLIND.has(finding.kind) && finding.severity !== "note" ? ["g-blind", "M1 15L9 1M8 15L16 1M15 15l6-11", "no-data"]
    : finding.severity === "stop" ? ["g-stop", "M1 1h20v14H1z", "desk-stop"]
    : finding.severity === "warn" ? ["g-warn", "M1 14V8L21 2v12z", "desk-warn"] : ["g-line", "M1 8h20M11 8v6", "desk-note"];
  node("path", { class: cls, d }, svg);
  svg.setAttribute("aria-label", t(name));
  return svg;
}

/** does(word, finding): sends it. allowed: null, or why the lead's words cannot be said here. */
export function findings(host, list, now, does, allowed) {
  keep(host, order(list), one => `${one.id} ${one.state} ${one.severity}`, one => {
    const row = make("li", { class: `find${OVER.has(one.state) ? " over" : ""}` }, glyph(one),
      make("span", {}, make("b", {}), make("br"), make("span", { class: "m" })), make("span", { class: "does" }));
    for (const word of may(one)) row.lastChild.append(word === "release" ? releaseButton(() => does(word, one)) : button(t(`desk-${word}`), word === "seen" ? "btn pri" : "btn", () => does(word, one)));
    return row;
  }, (row, one) => {
    const [, texts, acts] = row.children;
    put(texts.querySelector("b"), one.text);
    const limit = one.limit !== null && one.limit !== undefined ? `, ${t("desk-limit", { amount: `${one.unit === "mm" ? Math.round(one.limit) : one.limit} ${one.unit ?? ""}` })}` : "";
    put(texts.querySelector(".m"), `${t(`desk-${one.severity}`)}, ${t(`desk-${one.state}`)}, ${span(now - one.since_ms)}${limit}`);
    for (const act of acts.children) { set(act, "aria-disabled", String(allowed !== null)); set(act, "title", allowed ?? ""); }
  }, t("desk-none-open"));
}

export function button(text, cls, act) {
  const made = make("button", { type: "button", class: cls }, text);
  made.addEventListener("click", () => { if (made.getAttribute("aria-disabled") !== "true") act(); });
  return made;
}

const HOLD_MS = 2_000, AGAIN_MS = 5_000;
/** Release: a press of 2 s, or two presses. */
function releaseButton(act) {
  const made = make("button", { type: "button", class: "btn" }, t("desk-release"));
  let holding = null, armed = null, fired = false;
  const barred = () => made.getAttribute("aria-disabled") === "true";
  const fire = () => { fired = true; clearTimeout(armed); armed = null; put(made, t("desk-release")); act(); };
  made.addEventListener("pointerdown", () => { fired = false; if (!barred()) holding = setTimeout(fire, HOLD_MS); });
  for (const ends of ["pointerup", "pointerleave", "pointercancel"]) made.addEventListener(ends, () => clearTimeout(holding));
  made.addEventListener("click", () => {
    if (fired || barred()) { fired = false; return; }
    if (armed !== null) return fire();
    put(made, t("desk-release-again"));
    armed = setTimeout(() => { armed = null; put(made, t("desk-release")); }, AGAIN_MS);
  });
  return made;
}

/** Plan and measured, tower by tower; the whole has no rating: a sum of ratings is the old trap. */
export function table(body, picture) {
  const u = picture.units.force, heads = picture.heads.filter(head => !head.again);
  const rows = heads.map(head => ({ key: head.id, name: head.name, blind: head.blind, expected: head.expectedTold, measured: head.shareTold, rated: head.rated, adapter: head.adapter }));
  const sum = pick => rows.every(row => row[pick] !== null) ? rows.reduce((total, row) => total + row[pick], 0) : null;
  rows.push({ key: "whole", name: t("desk-whole"), expected: sum("expected"), measured: sum("measured"), rated: null });
  keep(body, rows, row => `${row.key} ${row.name}`, row => {
    const made = make("tr", {}, make("th", { scope: "row" }, row.name));
    for (const cls of ["", "big", "", ""]) made.append(make("td", { class: cls }));
    return made;
  }, (made, row) => {
    const cells = made.children, differs = row.measured === null || row.expected === null ? null : Math.round((row.measured - row.expected) * u.per * 10 ** u.digits) / 10 ** u.digits / u.per;
    put(cells[1], figure(row.expected, u));
    put(cells[2], figure(row.measured, u));
    put(cells[3], differs === null ? DASH : figure(differs, u, true));
    const part = row.rated === null || row.measured === null ? null : (row.measured + row.adapter) / row.rated * 100;
    put(cells[4], row.key === "whole" ? "" : row.blind ? t("desk-not-heard") : part === null ? DASH : `${part.toFixed(0)} %`);
  });
}

const COLUMN = { "truss-along": 0, "truss-across": 0, "mast-along": 0, "mast-across": 0, "head-load": 1, "rope-load": 1, height: 2, battery: 3 };
/** One row a tower; per column the worst of its channels: an age where heard, else the word that says what is wrong. Pure. */
export function instruments(health, towers) {
  const names = new Map(towers.map(tower => [tower.id, tower.name ?? tower.id])), rows = new Map();
  for (const one of health) {
    const key = one.tower ?? one.node;
    if (!rows.has(key)) rows.set(key, { key, name: names.get(key) ?? key, cells: [null, null, null, null] });
    const at = COLUMN[one.channel];
    if (at === undefined) continue;
    const old = rows.get(key).cells[at], bad = one.state !== "heard" && one.state !== "not-fitted";
    if (!old || (bad && !old.bad) || (bad === old.bad && (one.age_ms ?? Infinity) > (old.age ?? Infinity))) rows.get(key).cells[at] = { bad, state: one.state, age: one.age_ms ?? null, value: one.value ?? null, unit: one.unit ?? "", renews: one.renews_s ?? null };
  }
  return [...rows.values()];
}

export function instrumentRows(body, rows) {
  keep(body, rows, row => `${row.key} ${row.name}`, row => {
    const made = make("tr", {}, make("th", { scope: "row" }, row.name));
    for (let i = 0; i < 4; i++) made.append(make("td"));
    return made;
  }, (made, row) => row.cells.forEach((cell, i) => {
    const at = made.children[i + 1];
    at.classList.toggle("gap", cell?.bad === true);
    put(at, !cell || cell.state === "not-fitted" ? DASH : cell.state === "too-slow" && cell.renews ? `new every ${span(cell.renews * 1000)}` : cell.bad ? `${has(`desk-state-${cell.state}`) ? t(`desk-state-${cell.state}`) : cell.state}${cell.age === null ? "" : ` ${span(cell.age)}`}` : i === 3 && cell.value !== null ? `${cell.value.toFixed(1)} ${cell.unit}` : span(cell.age));
  }));
}

const ROLES = ["spotter", "lead", "view"];
export function people(host, list, names) {
  const roleOf = one => one.role === "tower" ? t("desk-role-tower", { tower: names.get(one.tower) ?? one.tower }) : ROLES.includes(one.role) ? t(`desk-role-${one.role}`) : one.role;
  keep(host, list, one => `${one.role} ${one.tower} ${one.name}`, () => make("li", {}, make("i"), make("span"), make("span", { class: "m" })), (row, one) => {
    set(row.children[0], "class", one.live === false ? "open" : one.sound ? "measured" : "open");
    put(row.children[1], one.name ? `${one.name}, ${roleOf(one)}` : roleOf(one));
    put(row.children[2], t(one.live === false ? "desk-gone" : one.sound ? "desk-answered" : "desk-unanswered"));
  }, t("desk-nobody-here"));
}

/** Nested counts of what was refused, as words: "n1: late 3". Pure. */
export function refusedWords(refused) {
  const parts = [];
  for (const [node, reasons] of Object.entries(refused ?? {})) {
    if (typeof reasons === "number") { if (reasons) parts.push(`${node} ${reasons}`); continue; }
    for (const [reason, n] of Object.entries(reasons ?? {})) if (n) parts.push(`${node}: ${reason} ${n}`);
  }
  return parts.length ? t("desk-refused", { what: `${parts.slice(0, 6).join(", ")}${parts.length > 6 ? ", …" : ""}` }) : "";
}
