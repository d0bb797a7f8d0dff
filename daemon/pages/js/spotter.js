// The spotter's page: call, drawing, Heard, STOP. Draws only what the watch has sent; words nothing anew.

import { Board, Standing } from "./board.js";
import { Elevation } from "./elevation.js";
import { slopeOf } from "./layout.js";
import { Live } from "./live.js";
import { Painter, StopBar } from "./painter.js";
import { farthest, heardOf, lookOf, pictureOf } from "./picture.js";
import { agree, language, t } from "./phrases.js";
import { Sheet } from "./sheet.js";
import { $, here, hide, make, put, say, set, stayAwake, StopButton, theme } from "./shell.js";
import { Sound } from "./sound.js";
import { DECK, settle, Steady } from "./steady.js";
import { list, offsetWords, amount, placeOf, plainly, span } from "./words.js";

const B = document.body, place = () => "spotter";
const wide = () => innerWidth > innerHeight && innerHeight <= 700;
const WEDGE_PX = 46, FRAME = ["loading", "calm", "none", "hold", "pin", "stop", "blind", "gone", "lit", "solo"];

theme();
const sound = new Sound(), standing = new Standing(), steady = new Steady(DECK.perSecond);
const board = new Board($("#call"), sizes), elevation = new Elevation($("#elevation"));
const stop = new StopButton($("#stop"), place), sheet = new Sheet($("#sheet"), $("#more"), sound, place);
const painter = new Painter(draw), bar = new StopBar();
let view = null, shown = null, silent = true, rehearsed = -Infinity, heardCall = null;

function sizes(lines) {
  if (wide()) return { order: lines > 1 ? 124 : 150, then: 52 };
  const look = shown?.look ?? "loading", tall = Math.min(1, innerHeight / 844); // a shorter phone keeps room for the truss
  if (look === "calm" || look === "none" || look === "loading") return { order: 92 * tall, then: 44 };
  if (look === "gone") return { order: 120, then: 62 };
  return { order: (lines > 1 ? 132 : 210) * tall ** 1.2, then: Math.max(40, 62 * tall) };
}

const live = new Live({
  view(fresh) { view = fresh; painter.ask(hear()); },
  call(call) {
    if (call.to !== "spotter") return;
    sound.call(call);
    if (view?.calls) { view.calls.spotter = call; painter.ask(true); } // at once, not with the next view
  },
  state(state) {
    if (state === "gone") lost();
    else if (state === "loading" && live?.reason) waiting();
    else if (state === "live") sound.found();
    sheet.live(state, live?.age ?? null);
  },
}, "/live?deck");
setInterval(() => sheet.live(live.state, live.age), 500);

/** What is for the ear of every view, drawn or not. -> whether this page was not live before. */
function hear() {
  const call = view.calls?.spotter ?? null, look = lookOf(call), calm = look === "calm" || look === "none", now = performance.now();
  agree(view.words);
  sound.quiet = Boolean(view.replay);
  if (silent && !calm) sound.call(call); // a page opened late says at once what stands
  const first = silent;
  silent = false;
  if (view.rehearsal && now - rehearsed > 60_000 && sound.on && look === "calm") { rehearsed = now; sound.say("note", t("rehearsal")); }
  return first;
}

function draw() {
  const now = performance.now(), call = view.calls?.spotter ?? null;
  shown = standing.take(call, lookOf(call), now);
  const picture = settle(pictureOf(view, shown.call), steady, DECK, now), { look } = shown;
  B.dataset.shown = view.t_ms;
  frame(look);
  head();
  set($("#call"), "lang", language());
  const text = shown.call?.text ?? (view.plan === false ? t("no-plan") : view.not_claimed ?? t("nothing-known"));
  board.show(text, look, subOf(picture, look));
  answer(look);
  stop.show(true, look === "stop" || look === "blind");
  sheet.giveWay(look === "calm" || look === "none" ? null : text);
  hide($("#gone"), true);
  hide($("#elevation"), false);
  drawing(picture, look, now);
}

function frame(look) {
  const want = new Set([look, look === "stop" ? "lit" : "", look === "calm" || look === "none" ? "solo" : ""]);
  for (const name of FRAME) B.classList.toggle(name, want.has(name));
  bar.show(want.has("lit"));
  B.classList.toggle("train", view?.rehearsal === true);
  B.classList.toggle("replay", Boolean(view?.replay));
}

function head() {
  hide($("#flag"), view.rehearsal !== true);
  put($("#step"), placeOf(view));
  put($("#title"), (view.rehearsal || view.replay) && !wide() ? "" : view.title ?? "");
}

/** Facts that stand below the call; never an order, never a promise. */
function subOf(picture, look) {
  if (!picture) return null;
  const u = picture.units, blind = picture.heads.filter(head => head.blind && !head.again);
  if (look === "blind") return blind.filter(head => head.age !== null).map(head => t("last-heard", { tower: head.name, amount: span(head.age) }))[0] ?? null;
  if (look === "none" && picture.heads.every(head => head.off === null)) return picture.heads.every(head => head.share === null) ? t("no-level-no-share") : t("no-level");
  if (look !== "calm" && look !== "none") return null;
  const pins = pinsOf(picture), far = farthest(picture.heads);
  if (pins) return pins;
  if (!far) return null;
  const off = far.offTold ?? far.off, limit = picture.warn === null ? "" : ` ${t("hold-limit", { amount: amount(picture.warn, u.offset) })}`;
  const height = picture.heads.length > 5 && picture.height !== null ? ` ${t("line-at", { amount: amount(picture.height, u.height) })}` : "";
  const ahead = view.ahead_s ? ` ${view.ahead_s.text}` : "";
  return `${plainly(far.name)} ${offsetWords(off, u.offset)}.${limit}${height}${ahead}`;
}

function pinsOf(picture) {
  const named = kind => picture.heads.filter(head => head.pins === kind && !head.again).map(head => head.name);
  const measured = named("measured"), saidOnly = named("said");
  if (!measured.length && !saidOnly.length) return null;
  const parts = [measured.length ? t("pins-measured", { tower: list(measured) }) : null, saidOnly.length ? t("pins-said", { tower: list(saidOnly) }) : null];
  return t("on-pins", { what: parts.filter(Boolean).join(", ") });
}

/** Heard: quiets nothing that stands; tells who heard, and slows the repeats of a hold. */
function answer(look) {
  const button = $("#ack"), call = shown.call, asks = ["hold", "pin", "stop", "blind"].includes(look);
  hide(button, !asks);
  if (!asks) { heardCall = null; return; }
  const heard = heardOf(view, call);
  const mine = heardCall === call.text;
  button.classList.toggle("done", Boolean(heard) || mine);
  const goes = look === "stop" || look === "blind" ? t("until-released") : t(call.reason === "uneven" ? "until-level" : "until-over");
  put($("small", button), heard?.by ? `${t("heard-by", { what: heard.by })}; ${goes}` : goes);
}

$("#ack").addEventListener("click", async () => {
  const call = shown?.call;
  if (!call) return;
  const said = { said: "heard", by: here(place()) };
  if (call.finding) said.finding = call.finding;
  const answered = await say(said);
  if (answered.ok) heardCall = call.text;
  else put($("#ack small"), answered.text);
});

function drawing(picture, look, now, again = true) {
  const room = $("#draw"), w = room.clientWidth, h = room.clientHeight;
  $("#elevation").classList.toggle("bare", !picture);
  if (!picture || w < 100 || h < 60) return;
  // The reach, and with it the stretch, is the page's: it does not change when the call takes more room.
  const few = look !== "calm" && look !== "none", landscape = wide(), low = few && h < 190, deep = low ? 16 : 22, top = landscape ? 16 : 10;
  const foot = low ? 14 : few ? (landscape ? 84 : 76) : (landscape ? 102 : 96);
  const reach = low ? Math.max(16, (h - foot - deep - 8) / 2) : landscape ? 72 : Math.min(80, innerHeight / 10.5);
  const free = h - foot - deep - reach;
  const mast = low ? h - foot - deep - reach - 4 : few && !landscape ? Math.min(70, Math.max(44, free)) : free - top < 60 ? Math.max(40, free) : 0;
  const box = { w, h, reach, deep, foot, few, plan: !few, mast, top, big: low ? 30 : 42 };
  const laid = elevation.draw(picture, box, now);
  wedge(picture, look, laid.mm, w);
  // The call's lower edge has taken room from the drawing, or given it back: once more, so that no foot is cut off.
  if (again && room.clientHeight !== h) drawing(picture, look, now, false);
}

/** The call stands on the truss: its lower edge has the drawn slope, at most 46 px of it. */
function wedge(picture, look, mm, width) {
  const block = $("#call");
  if (look !== "hold") { block.style.removeProperty("--drop"); return; }
  const slope = slopeOf(picture, mm), top = Math.max(...slope), steep = Math.min(1, WEDGE_PX / Math.max(1, top - Math.min(...slope)));
  const drop = slope.map(v => Math.round((top - v) * steep)), most = Math.max(...drop), key = drop.join();
  if (block.dataset.wedge === `${key} ${block.offsetHeight} ${width}`) return;
  block.style.setProperty("--drop", `${most}px`);
  const tall = block.offsetHeight, cut = e => `polygon(0 ${e}px,100% ${e}px,100% ${tall - most + drop[2] - e}px,50% ${tall - most + drop[1] - e}px,0 ${tall - most + drop[0] - e}px)`;
  block.style.setProperty("--wedge", cut(0));
  block.style.setProperty("--wedge-in", cut(6));
  block.dataset.wedge = `${key} ${tall} ${width}`;
}

/** Not live: numbers and drawing are taken away, not greyed; this page can only shout. */
function lost() {
  painter.drop();
  silent = true;
  delete B.dataset.shown;
  standing.drop();
  shown = { call: null, look: "gone" };
  frame("gone");
  board.show(t("not-live"), "gone", null);
  sheet.giveWay("gone");
  hide($("#ack"), true);
  hide($("#elevation"), true);
  elevation.clear();
  hide($("#gone"), false);
  put($("#step"), "");
  stop.show(false, false);
  $("#gonewords").replaceChildren(
    make("p", {}, live.reason ?? t("lost")),
    make("p", {}, t("lost-look")),
    make("p", { class: "m" }, t("lost-again")),
  );
  sound.lost();
}

function waiting() { put($("#gonewords"), live.reason); }

const again = () => { board.refit(); if (live.state === "live") draw(); };
addEventListener("resize", again);
document.fonts?.ready.then(again);
stop.show(false, false);
put($("#gonewords"), t("waiting"));
stayAwake(words => sheet.sleeps(words));
