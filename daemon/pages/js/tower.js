// A tower's page: one word for the person at the winch. No number is needed to act.

import { Standing } from "./board.js";
import { Live } from "./live.js";
import { Painter, StopBar } from "./painter.js";
import { farthest, heardOf, lookOf, pictureOf } from "./picture.js";
import { shapeOf } from "./order.js";
import { agree, language, t } from "./phrases.js";
import { Sheet } from "./sheet.js";
import { $, fit, here, hide, make, put, say, set, stayAwake, StopButton, theme } from "./shell.js";
import { Sound } from "./sound.js";
import { DECK, settle, Steady } from "./steady.js";
import { amount, linesOf, list, offsetWords, placeOf, plainly, span, tail } from "./words.js";

const B = document.body, id = decodeURIComponent(location.pathname.split("/").filter(Boolean)[1] ?? "");
const FRAME = ["loading", "calm", "none", "hold", "easy", "up", "down", "pin", "stop", "blind", "gone", "lit"];
const TELL_MM = 5; // an offset below this is not worth a glance (the level line's own deadband)
let view = null, shown = null, silent = true, drawn = null, heardCall = null, pinned = null;
const painter = new Painter(draw), bar = new StopBar();

theme();
const place = () => nameOf() ?? `${t("tower")} ${id}`;
const sound = new Sound(), standing = new Standing(), steady = new Steady(DECK.perSecond);
const stop = new StopButton($("#stop"), place), sheet = new Sheet($("#sheet"), $("#more"), sound, place);
const ownTower = () => view?.towers?.find(tower => tower.id === id) ?? null;
function nameOf() { return ownTower()?.name ?? null; }

const live = new Live({
  view(fresh) { view = fresh; painter.ask(hear()); },
  call(call) {
    if (call.to !== id) return;
    sound.call(call);
    if (view?.calls) { view.calls[id] = call; painter.ask(true); } // at once, not with the next view
  },
  state(state) {
    if (state === "gone") lost();
    else if (state === "loading" && live?.reason) waiting();
    else if (state === "live") sound.found();
    sheet.live(state, live?.age ?? null);
  },
}, "/live?deck");
setInterval(() => sheet.live(live.state, live.age), 500);

/** The word's own frame: the look, with the direction told apart. */
function wordOf(call, look) { return look === "hold" ? call.call : look; }

/** What is for the ear of every view, drawn or not. -> whether this page was not live before. */
function hear() {
  const call = view.calls?.[id] ?? null, look = lookOf(call);
  agree(view.words);
  sound.quiet = Boolean(view.replay);
  if (silent && look !== "calm" && look !== "none") sound.call(call); // a page opened late says at once what stands
  const first = silent;
  silent = false;
  return first;
}

function draw() {
  const now = performance.now(), call = view.calls?.[id] ?? null;
  shown = standing.take(call, ownTower() || view.plan === false ? lookOf(call) : "none", now);
  const word = wordOf(shown.call, shown.look);
  B.dataset.shown = view.t_ms;
  frame(word, shown.look === "stop");
  put($("#name"), nameOf() ?? id);
  hide($("#flag"), view.rehearsal !== true && !view.replay);
  put($("#flag"), view.replay ? placeOf(view) : t("rehearsal-flag"));
  set($("#call"), "lang", language());
  const text = view.plan === false ? shown.call?.text ?? t("no-plan") : ownTower() ? shown.call?.text ?? view.not_claimed ?? t("nothing-known") : t("no-tower", { what: id });
  buttons(word); // before the words: they take room from them
  sheet.giveWay(shown.look === "calm" || shown.look === "none" ? null : text);
  words(text, word);
  numbers(now);
  stop.show(true, shown.look === "stop" || shown.look === "blind");
}

function frame(word, lit) {
  for (const name of FRAME) B.classList.toggle(name, name === word || (name === "lit" && lit));
  bar.show(lit);
  B.classList.toggle("train", view?.rehearsal === true);
  B.classList.toggle("replay", Boolean(view?.replay));
}

/** "Alpha up one and a half." stands in three lines inside its arrow. */
function spread(lines, word) {
  const words = lines.order.length === 1 ? lines.order[0].split(" ") : [];
  if ((word !== "up" && word !== "down") || words.length < 3) return lines;
  return { order: [words[0], words[1], words.slice(2).join(" ")], rest: lines.rest };
}

/** The words as sent, as large as the lit shape lets them be. */
function words(text, word) {
  const host = $("#call"), w = host.clientWidth, h = host.clientHeight, key = `${word}|${text}|${w}|${h}`;
  if (key === drawn) return;
  drawn = key;
  host.setAttribute("role", word === "calm" || word === "none" || word === "loading" ? "status" : "alert");
  const shape = shapeOf(word, w, h), [lit, hole, stripes] = host.querySelectorAll(".shape path");
  lit.setAttribute("d", shape.lit); hole.setAttribute("d", shape.hole); stripes.setAttribute("d", shape.stripes);
  const { order, rest } = word === "gone" || word === "loading" ? { order: [text], rest: [] } : spread(linesOf(text), word);
  const lines = [...order, ...rest], caps = word === "stop" || word === "blind";
  const most = (h * (word === "up" || word === "down" ? .6 : word === "hold" || word === "pin" ? .5 : .62)) / lines.length;
  $(".words", host).replaceChildren(...lines.flatMap((line, i) => {
    const [shownWords, end] = tail(line), made = make("span", { class: `c ${i < order.length ? "order" : "then"}${caps && i === 0 ? " caps" : ""}` }, shownWords);
    if (end || i < lines.length - 1) made.append(make("span", { class: "dot" }, `${end} `));
    return [made];
  }));
  const room = (word === "pin" ? w - 150 : w - 28), size = order.length > 1 ? 190 : 230;
  for (const line of host.querySelectorAll(".order")) fit(line, room, Math.min(size, most), 30);
  for (const line of host.querySelectorAll(".then")) fit(line, room, Math.min(84, most), 28);
}

/** Beside the name: how fresh, height, own share. The short line: who stands high or low. */
function numbers(now) {
  const picture = settle(pictureOf(view, shown.call), steady, DECK, now), me = picture?.heads.find(head => head.id === id);
  if (!picture || !me) { put($("#own"), ""); put($("#short"), ""); return; }
  const u = picture.units;
  put($("#own"), me.blind ? (me.age === null ? t("never-heard") : t("not-heard-for", { amount: span(me.age) })) : [picture.height === null ? null : amount(picture.height, u.height), me.share === null ? null : amount(me.shareTold, u.force)].filter(Boolean).join(", "));
  const far = farthest(picture.heads), own = me.offTold ?? me.off, lost = picture.heads.filter(head => head.blind && !head.again);
  // Its own next part turn stands only where no order does.
  const next = shown.look === "calm" ? view.next_turns?.towers.find(tower => tower.tower === id) : null;
  // While any head is not known, nothing is said of the others: their line hangs on it.
  if (lost.length) put($("#short"), t("no-data-from", { tower: list(lost.map(head => head.name)) }));
  else if (next) put($("#short"), next.text);
  else if (own !== null && Math.abs(own) >= TELL_MM) put($("#short"), t("you-are", { what: offsetWords(own, u.offset) }));
  else if (far && far.id !== id && Math.abs(far.off) >= TELL_MM) put($("#short"), `${plainly(far.name)} ${offsetWords(far.offTold ?? far.off, u.offset)}`);
  else put($("#short"), own === null ? "" : t("on-line"));
}

function buttons(word) {
  const asks = ["hold", "easy", "up", "down", "stop", "blind"].includes(word), call = shown.call;
  hide($("#ack"), !asks);
  hide($("#did"), word !== "pin" || pinned === call?.text + view.step);
  if (!asks) heardCall = null;
  const heard = heardOf(view, call), mine = asks && heardCall === call?.text;
  $("#ack").classList.toggle("done", Boolean(heard) || mine);
  put($("#ack small"), heard?.by ? t("heard-by", { what: heard.by }) : t(mine ? "heard-told" : "heard-tell"));
}

$("#ack").addEventListener("click", async () => {
  const call = shown?.call;
  if (!call) return;
  const said = { said: "heard", tower: id, by: here(place()) };
  if (call.finding) said.finding = call.finding;
  const answer = await say(said);
  if (answer.ok) heardCall = call.text; else put($("#ack small"), answer.text);
});
$("#did").addEventListener("click", async () => {
  const answer = await say({ said: "pinned", tower: id, by: here(place()) });
  if (answer.ok) pinned = shown?.call?.text + view.step; else put($("#did small"), answer.text);
});

function lost() {
  painter.drop();
  silent = true;
  delete B.dataset.shown;
  standing.drop();
  shown = { call: null, look: "gone" };
  frame("gone", false);
  words(t("not-live"), "gone");
  sheet.giveWay("gone");
  put($("#own"), "");
  put($("#short"), live.reason ?? t("lost-short"));
  hide($("#ack"), true);
  hide($("#did"), true);
  stop.show(false, false);
  sound.lost();
}

function waiting() { put($("#short"), live.reason); }

const again = () => { drawn = null; if (live.state === "live") draw(); else if (shown?.look === "gone") words(t("not-live"), "gone"); else words(t("not-yet-live"), "loading"); };
addEventListener("resize", again);
document.fonts?.ready.then(again);
put($("#name"), id);
document.title = `${id}, raisewatch`;
stop.show(false, false);
again();
stayAwake(text => sheet.sleeps(text));
