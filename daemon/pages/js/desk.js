// The desk: the lead's page. Call and who heard it; the line with its past; step, towers, findings, instruments, people.

import { Board, Standing } from "./board.js";
import { checksOf, climb, nextSteps } from "./climb.js";
import { Elevation, node, write } from "./elevation.js";
import { button, findings, instrumentRows, instruments, keep, people, refusedWords, table } from "./lists.js";
import { Learnt } from "./learnt.js";
import { Live } from "./live.js";
import { Painter } from "./painter.js";
import { farthest, heardOf, lookOf, pictureOf } from "./picture.js";
import { agree, language, t } from "./phrases.js";
import { Sheet } from "./sheet.js";
import { $, here, hide, make, put, say, set, stayAwake, StopButton, theme, whoami } from "./shell.js";
import { Sound } from "./sound.js";
import { DESK, settle, Steady } from "./steady.js";
import { Past, strip } from "./strip.js";
import { placeOf, span, STEP_ORDER, stepName } from "./words.js";

const B = document.body, place = () => "lead";
const FRAME = ["loading", "calm", "none", "hold", "pin", "stop", "blind", "gone"];
const TALL = 396, REACH = 120, LEVEL_Y = 150.5, SLOW_MS = 250;

theme();
const sound = new Sound(), standing = new Standing(), steady = new Steady(DESK.perSecond), past = new Past();
const board = new Board($("#call"), () => innerWidth > 760 ? { order: 70, then: 46 } : { order: 56, then: 40 });
const elevation = new Elevation($("#elevation")), stop = new StopButton($("#stop"), place), sheet = new Sheet($("#sheet"), $("#more"), sound, place);
const learnt = new Learnt($("#learnt"), said => tell(said));
let view = null, shown = null, saidAt = null, times = 0, stepSince = null, slowAt = -Infinity, slowFor = null, me = null, silent = true, noted = new Set();
const painter = new Painter(draw);

const live = new Live({
  view(fresh) { view = fresh; painter.ask(hear()); },
  call(call) {
    if (call.to !== "lead") return;
    if (call.state === "repeated") times += 1;
    sound.call(call);
    if (view?.calls) { view.calls.lead = call; painter.ask(true); } // at once, not with the next view
  },
  state(state) {
    if (state === "gone") lost();
    else if (state === "loading" && live?.reason) waiting();
    else if (state === "live") { sound.found(); whoami().then(one => { me = one; }); remembered(); }
    sheet.live(state, live?.age ?? null);
  },
});
setInterval(() => sheet.live(live.state, live.age), 500);

/** The last minutes as the monitor remembers them: a desk opened late, or cut off for a while, shows them at once. */
async function remembered() {
  try {
    const answer = await fetch("/past", { credentials: "same-origin" });
    if (answer.ok) past.seed(await answer.json());
  } catch { /* the past then begins with this page; the present does not wait for it */ }
}

/** Why the lead's words cannot be said here; null where they can. */
function barred() {
  if (live.state !== "live") return t("desk-not-live");
  if (view?.replay) return t("desk-replay");
  return me && me.role !== "lead" ? t("desk-lead-only") : null;
}

async function tell(said) {
  const why = barred();
  const answer = why ? { ok: false, text: why } : await say({ ...said, by: here(place()) });
  put($("#reply"), answer.ok ? "" : answer.text);
  return answer.ok;
}

const callOf = view => view.calls?.lead ?? view.calls?.spotter ?? null;

/** What is for the ear, and for the memory, of every view, drawn or not. -> whether this page was not live before. */
function hear() {
  const call = callOf(view), look = lookOf(call);
  agree(view.words);
  sound.quiet = Boolean(view.replay);
  if (silent && look !== "calm" && look !== "none") sound.call(call); // a page opened late says at once what stands
  const first = silent;
  silent = false;
  notes(look);
  const picture = pictureOf(view, call);
  if (picture) past.take(view.t_ms, picture.heads);
  return first;
}

function draw() {
  const now = performance.now(), call = callOf(view);
  shown = standing.take(call, lookOf(call), now);
  const { look } = shown, picture = settle(pictureOf(view, shown.call), steady, DESK, now);
  for (const name of FRAME) B.classList.toggle(name, name === look);
  B.classList.toggle("live", true);
  B.dataset.shown = view.t_ms;
  B.classList.toggle("train", view.rehearsal === true);
  B.classList.toggle("replay", Boolean(view.replay));
  hide($("#flag"), view.rehearsal !== true && !view.replay);
  put($("#flag"), view.replay ? placeOf(view) : t("desk-flag"));
  set($("#call"), "lang", language());
  const text = shown.call?.text ?? (view.plan === false ? t("no-plan") : view.not_claimed ?? t("nothing-known"));
  const anew = board.show(text, look, null);
  if (anew) { saidAt = view.t_ms; times = 1; }
  const standsStop = look === "stop" || look === "blind";
  stop.show(true, standsStop);
  hide($("#ack"), !["hold", "pin", "stop", "blind"].includes(look));
  sheet.giveWay($("#ack").hidden ? null : text);
  line(picture, now);
  // Another call, step or finding: tables and lists tell of it in the same frame as the drawing.
  const about = [view.title, view.revision, view.step, ...(view.findings ?? []).map(one => one.id + one.state + one.severity)].join();
  if (anew || about !== slowFor || now - slowAt >= SLOW_MS) { slowAt = now; slowFor = about; slow(picture, look); }
}

/** What changes at most four times a second. */
function slow(picture, look) {
  const heard = heardOf(view, shown.call);
  const asks = !$("#ack").hidden;
  $("#said").replaceChildren(...(asks && saidAt !== null ? [
    make("b", {}, t("desk-said-ago", { amount: span(view.t_ms - saidAt) })), times > 1 ? `, ${t("desk-times", { amount: times })}` : "", make("br"),
    heard ? t(heard.after_ms == null ? "heard-by" : "desk-heard-after", { what: heard.by ?? t("desk-someone"), amount: span(heard.after_ms) }) : t("desk-heard-nobody")] : []));
  $("#ack").classList.toggle("done", Boolean(heard));
  put($("#title"), view.title ?? "");
  put($("#plan"), view.revision == null ? "" : t("desk-plan", { amount: view.revision }));
  stepPart(picture);
  if (picture) {
    table($("#table tbody"), picture);
    put($("#tableunit"), picture.units.force.name);
  } else $("#table tbody").replaceChildren();
  zeroPart();
  const open = (view.findings ?? []).filter(one => one.state !== "cleared");
  findings($("#findings"), open, view.t_ms, (word, finding) => tell({ said: word, finding: finding.id }), barred());
  put($("#findcount"), open.length ? t("desk-to-answer", { amount: open.filter(one => one.state === "raised" || one.state === "latched").length }) : "");
  learnt.draw(view, barred());
  instrumentRows($("#inst tbody"), instruments(view.health ?? [], view.towers ?? []));
  put($("#refused"), refusedWords(view.refused));
  people($("#people"), view.people ?? [], new Map((view.towers ?? []).map(tower => [tower.id, tower.name ?? tower.id])));
  put($("#recording"), recordingWords(view.recording));
  put($("#clock"), view.clock ?? "");
}

/** A new note for the lead ticks once; it lights nothing. */
function notes(look) {
  const now = new Set((view.findings ?? []).filter(one => one.severity === "note" && one.state === "raised").map(one => one.id));
  if ([...now].some(id => !noted.has(id)) && look === "calm") sound.say("note", "");
  noted = now;
}

function recordingWords(r) {
  if (!r) return t("desk-not-recording");
  const size = n => n >= 1e9 ? `${(n / 1e9).toFixed(1)} GB` : `${(n / 1e6).toFixed(1)} MB`;
  const free = typeof r.free_bytes === "number" ? `, ${t("desk-free", { amount: size(r.free_bytes) })}` : "";
  if (r.state === "recording") return t("desk-recording", { what: `${r.file ?? ""}${typeof r.bytes === "number" ? `, ${size(r.bytes)}` : ""}${free}` });
  return t("desk-recording-state", { what: t(`desk-recording-${r.state}`), reason: r.text ?? t("desk-no-reason") });
}

function line(picture, now) {
  const room = $("#line"), all = room.clientWidth, wide = innerWidth > 760, split = wide ? Math.round(all * .597) : 0, w = all - split - (wide ? 10 : 0);
  if ($("#elevation").style.left !== `${split}px`) $("#elevation").style.left = `${split}px`;
  room.classList.toggle("bare", !picture);
  if (!picture || w < 100) { elevation.clear(); pastNodes?.svg.setAttribute("class", "sr"); return; }
  const box = wide
    ? { w, h: TALL, reach: REACH, top: LEVEL_Y - .5 - 30 - REACH, deep: 30, foot: 92, pad: 20, room: 90, padsMost: 84, tell: "right", big: 44, plan: true }
    : { w, h: 330, reach: 72, deep: 22, foot: 96, top: 10, big: 42, plan: true };
  const laid = elevation.draw(picture, box, now);
  if (wide) drawPast(picture, laid, split);
}

let pastNodes = null;
function drawPast(picture, laid, split) {
  pastNodes ??= pastMade();
  const { svg } = pastNodes, half = picture.stop === null ? 60 : picture.stop * laid.mm, warn = (picture.warn ?? 0) * laid.mm;
  set(svg, "class", "past");
  const all = $("#line").clientWidth;
  for (const [name, value] of [["width", all], ["height", TALL], ["viewBox", `0 0 ${all} ${TALL}`]]) set(svg, name, String(value));
  const drawn = strip(past.seen(view.moving !== "still", view.speed), picture, view.t_ms, { w: split, x0: 24, right: split - 24, y0: laid.y0, mm: laid.mm, most: REACH + 20, half, shareTop: 322, shareBottom: 386, timeY: 288 });
  const y = v => Math.round(v * 10) / 10, across = v => `M0 ${y(v)}H${split}`;
  const d = {
    ribbon: picture.warn === null ? "" : `M0 ${y(laid.y0 - warn)}H${split}V${y(laid.y0 + warn)}H0z`,
    rim: picture.warn === null ? "" : across(laid.y0 - warn) + across(laid.y0 + warn), far: picture.stop === null ? "" : across(laid.y0 - half) + across(laid.y0 + half),
    hatch: drawn.hatch, level: across(laid.y0), grid: drawn.grid, plans: drawn.plans.join(""), thin: drawn.shares.join(""), traces: drawn.traces.join(""), ticks: drawn.ticks, tie: tieOf(picture, laid, split),
  };
  for (const [name, path] of Object.entries(pastNodes.paths)) set(path, "d", d[name] ?? "");
  const u = picture.units.offset;
  if (picture.warn !== null) drawn.words.push({ key: "w+", x: 24, y: laid.y0 - warn + 16, t: t("desk-limit-hold", { amount: `${(picture.warn * u.per).toFixed(u.digits)} ${u.name}` }), size: 14, cls: "mute" });
  if (picture.stop !== null) drawn.words.push({ key: "s+", x: 24, y: laid.y0 - half + 16, t: t("desk-limit-stop", { amount: `${(picture.stop * u.per).toFixed(u.digits)} ${u.name}` }), size: 14, cls: "mute" });
  write(pastNodes.svg, pastNodes.words, drawn.words);
}

/** A dotted line carries the end of the trace of the head that is farthest off to that head. */
function tieOf(picture, laid, split) {
  const far = farthest(picture.heads);
  if (!far || Math.abs(far.off * laid.mm) < 6) return "";
  const y = Math.round((laid.y0 - far.off * laid.mm) * 10) / 10;
  return `M${split - 24} ${y}H${Math.round(split + laid.pad + far.x * laid.px)}`;
}

function pastMade() {
  const svg = node("svg", { "aria-hidden": "true" });
  $("#past").append(svg);
  const paths = {};
  for (const [name, cls] of [["ribbon", "e-ribbon"], ["rim", "e-rim"], ["far", "e-far"], ["hatch", "e-hatch"], ["level", "e-level"], ["grid", "p-hair"], ["plans", "p-plan"], ["thin", "p-thin"], ["traces", "p-trace"], ["ticks", "p-trace"], ["tie", "p-tie"]]) paths[name] = node("path", { class: cls }, svg);
  return { svg, paths, words: new Map() };
}

let climbed = null;
function stepPart(picture) {
  if (stepSince?.step !== view.step) stepSince = { step: view.step, t: view.t_ms };
  put($("#stepname"), t("desk-step", { step: stepName(view.step).toLowerCase() }));
  put($("#stepage"), span(view.t_ms - stepSince.t));
  if (climbed !== view.step) { climbed = view.step; climbDrawn(view.step); stepButtons(view.step); }
  for (const one of $("#steps").children) set(one, "aria-disabled", String(barred() !== null));
  keep($("#checks"), checksOf(view, picture), one => `${one.text}`, one => make("li", {}, make("i"), make("span", {}, one.text), make("span", { class: "m" })), (row, one) => {
    set(row.children[0], "class", one.how);
    const wants = one.say ? `say ${JSON.stringify(one.say)}` : one.by;
    if (row.dataset.wants === wants) return;
    row.dataset.wants = wants;
    row.children[2].replaceChildren(one.say ? button(t(one.how === "said" ? "desk-say-again" : "desk-say"), "btn", () => tell(one.say)) : one.by);
    row.querySelector("button")?.setAttribute("aria-label", t("desk-say-what", { what: one.text }));
  });
}

function climbDrawn(step) {
  const c = climb(step), svg = node("svg", { width: c.w, height: c.h, viewBox: `0 0 ${c.w} ${c.h}`, role: "img", "aria-label": t("desk-step", { step: stepName(step) }) });
  node("path", { class: "k-floor", d: c.floor }, svg);
  node("path", { class: "k-way", d: c.way }, svg);
  node("path", { class: "k-here", d: c.here }, svg);
  for (const name of c.names) node("text", { x: name.x, y: name.y, "font-size": name.size, class: name.cls }, svg).textContent = name.t;
  $("#climb").replaceChildren(svg);
}

/** The usual next steps as buttons, any other behind a choice: the lead says where the lift is, and is always believed. */
function stepButtons(step) {
  const go = to => tell({ step: to }), next = nextSteps(step);
  const other = make("select", { "aria-label": t("desk-step-other") }, make("option", { value: "" }, t("desk-step-other")), ...STEP_ORDER.filter(one => one !== step && !next.includes(one)).map(one => make("option", { value: one }, stepName(one))));
  other.addEventListener("change", () => { if (other.value) go(other.value); other.value = ""; });
  $("#steps").replaceChildren(...next.map(one => button(stepName(one), "btn step", () => go(one))), other);
}
$("#steps").addEventListener("keydown", key => {
  const way = { ArrowRight: 1, ArrowLeft: -1 }[key.key], all = [...$("#steps").children], at = all.indexOf(document.activeElement);
  if (way && at >= 0 && document.activeElement.tagName === "BUTTON") { key.preventDefault(); all[(at + way + all.length) % all.length].focus(); }
});

const ZEROED = { "truss-along": "tilt", "truss-across": "roll", "mast-along": "mast", "mast-across": "mast-across", "head-load": "load", "rope-load": "rope" };
let zeroes = null;
function zeroPart() {
  const inRig = view.step === "rig", fitted = (view.plan === false ? [] : view.health ?? []).filter(one => one.channel in ZEROED && one.state !== "not-fitted");
  const key = `${inRig} ${fitted.map(one => `${one.tower}${one.channel}`).join()}`;
  if (key === zeroes) return;
  zeroes = key;
  const names = new Map((view.towers ?? []).map(tower => [tower.id, tower.name ?? tower.id]));
  if (view.plan === false) return $("#zero").replaceChildren();
  if (!inRig) return $("#zero").replaceChildren(make("span", { class: "m" }, t("desk-zero-rig")));
  $("#zero").replaceChildren(...fitted.map(one => button(t("desk-zero", { tower: names.get(one.tower) ?? one.tower, what: t(`desk-zero-${ZEROED[one.channel]}`) }), "btn", () => tell({ said: "zero", tower: one.tower, channel: one.channel }))));
}

async function heard() {
  const call = shown?.call;
  if (!call || $("#ack").hidden) return;
  const said = { said: "heard", by: here(place()) };
  if (call.finding) said.finding = call.finding;
  const answer = await say(said);
  if (!answer.ok) put($("#reply"), answer.text);
}
$("#ack").addEventListener("click", heard);
const list = $("#keylist");
$("#keys").addEventListener("click", () => list.showModal());
addEventListener("keydown", key => {
  if (key.key === "F1") { key.preventDefault(); list.open ? list.close() : list.showModal(); }
  if (view?.replay) return;
  if (key.key === "F2") { key.preventDefault(); heard(); }
  if (key.key === "F4" && !key.altKey) { key.preventDefault(); if (!key.repeat) stop.press(); }
});

function lost() {
  painter.drop();
  silent = true;
  delete B.dataset.shown;
  standing.drop();
  shown = { call: null, look: "gone" };
  for (const name of FRAME) B.classList.toggle(name, name === "gone");
  B.classList.remove("live");
  board.show(t("not-live"), "gone", null);
  sheet.giveWay("gone");
  elevation.clear();
  if (pastNodes) write(pastNodes.svg, pastNodes.words, []);
  learnt.clear();
  for (const what of ["#table tbody", "#inst tbody", "#findings", "#checks", "#people", "#said", "#steps", "#zero", "#climb"]) $(what).replaceChildren();
  climbed = zeroes = null;
  for (const what of ["#stepname", "#stepage", "#findcount", "#refused", "#recording", "#clock"]) put($(what), "");
  hide($("#ack"), true);
  stop.show(false, false);
  $("#gonewords").replaceChildren(make("p", {}, live.reason ?? t("lost")), make("p", {}, t("desk-lost-look")), make("p", { class: "m" }, t("lost-again")));
  sound.lost();
}

function waiting() { put($("#gonewords"), live.reason); }

const again = () => { board.refit(); if (live.state === "live") draw(); };
addEventListener("resize", again);
document.fonts?.ready.then(again);
stop.show(false, false);
put($("#gonewords"), t("waiting"));
stayAwake(words => sheet.sleeps(words));
