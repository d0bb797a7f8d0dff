// From the view to what is drawn: what is not known is never drawn as level.
import "./english.js";
import { test } from "node:test";
import assert from "node:assert/strict";
import { darkSpans, farthest, lightSpans, lookOf, pictureOf, rank, sayOf } from "../../../daemon/pages/js/picture.js";
import { layout, slopeOf } from "../../../daemon/pages/js/layout.js";
import { VIEWS } from "../fixture/views.js";

const BOX = { w: 390, h: 420, reach: 80, deep: 22, foot: 96, top: 10 };
const drawn = name => { const view = VIEWS[name](), picture = pictureOf(view, view.calls.spotter); return { picture, laid: layout(picture, BOX, picture.stop ?? 100) }; };
const numbers = laid => laid.words.map(word => word.t);

test("the look of a call", () => {
  const call = (word, more) => ({ call: word, state: "said", ...more });
  assert.equal(lookOf(call("level")), "calm");
  assert.equal(lookOf(call("hold", { state: "over" })), "calm");
  assert.equal(lookOf(call("none")), "none");
  assert.equal(lookOf(null), "none", "no call is not calm");
  for (const word of ["hold", "up", "down", "easy"]) assert.equal(lookOf(call(word)), "hold");
  assert.equal(lookOf(call("pin")), "pin");
  assert.equal(lookOf(call("stop", { reason: "uneven" })), "stop");
  assert.equal(lookOf(call("stop", { reason: "stop-said" })), "stop");
  for (const reason of ["silent", "never-heard", "frozen", "out-of-range"]) assert.equal(lookOf(call("stop", { reason })), "blind");
  assert.ok(rank("stop") > rank("hold") && rank("hold") > rank("calm") && rank("blind") === rank("stop"));
});

test("a blind tower gives no number, whatever else was sent", () => {
  const view = VIEWS.blind();
  Object.assign(view.towers[1], { offset_mm: 3, measured_n: 1000 });
  const head = pictureOf(view, view.calls.spotter).heads[1];
  assert.equal(head.off, null);
  assert.equal(head.share, null);
});

test("blind: hatch, torn truss, line that ends, no head, no number of that tower", () => {
  const { laid } = drawn("blind");
  assert.notEqual(laid.paths.hatch, "");
  assert.notEqual(laid.paths.torn, "");
  const ends = laid.paths.level.match(/H([\d.]+)/)[1];
  assert.ok(Number(ends) < 390 * .6, `the level line ends half-way, found ${ends}`);
  assert.ok(numbers(laid).includes("no data"));
  assert.equal(laid.paths.cradle.match(/M/g).length, 1, "one head only");
});

test("nothing known: no truss, no level line, no offset at all", () => {
  for (const name of ["notzeroed", "bothblind"]) {
    const { laid } = drawn(name);
    assert.equal(laid.paths.level, "", name);
    assert.equal(laid.paths.chord, undefined ?? "", name);
    assert.equal(laid.paths.gap, "", name);
    assert.notEqual(laid.paths.hatch, "", name);
    assert.ok(!numbers(laid).some(text => /mm$/.test(text) && !text.startsWith("100")), name);
  }
});

test("shares stay told where only the level is not claimed", () => {
  assert.ok(numbers(drawn("notproved").laid).includes("99 kg"));
  assert.ok(numbers(drawn("notzeroed").laid).filter(text => text === "—").length === 2);
});

test("a hold fills the gap and tells one offset; calm fills nothing", () => {
  const hold = drawn("hold").laid, calm = drawn("calm").laid;
  assert.notEqual(hold.paths.gap, "");
  assert.equal(hold.words.find(word => word.key === "off").t, "58 mm");
  assert.equal(calm.paths.gap, "");
  assert.deepEqual(calm.words.filter(word => word.key.startsWith("off ")).map(word => word.t), ["0", "+4 mm"]);
});

test("only a finding about load lights a foot", () => {
  assert.equal(drawn("hold").laid.paths.hot, "");
  assert.notEqual(drawn("caught").laid.paths.hot, "");
  assert.equal(drawn("caught").laid.words.find(word => word.key === "caught").t, "+33 kg here");
});

test("a share past the rating stands past the pads; one that is not known has no fill", () => {
  const view = VIEWS.calm();
  Object.assign(view.towers[1], { measured_n: view.towers[1].rated_n * 1.1 });
  view.towers[0].measured_n = null;
  const laid = layout(pictureOf(view, view.calls.spotter), BOX, 100);
  const pads = [...laid.paths.pad.matchAll(/M([\d.]+)/g)].map(m => Number(m[1])), fill = laid.paths.fill.match(/M([\d.]+) [\d.]+h([\d.]+)/);
  assert.equal(laid.paths.fill.match(/M/g).length, 1);
  assert.ok(Number(fill[1]) < pads[2] && Number(fill[1]) + Number(fill[2]) > pads[3]);
});

test("a ring shows its first corner again at the end, with the same tower", () => {
  const { picture, laid } = drawn("ring");
  assert.deepEqual(picture.heads.map(head => head.id), ["A", "B", "C", "D", "A"]);
  assert.equal(picture.length, 20);
  assert.equal(picture.heads.at(-1).again, true);
  assert.equal(laid.words.filter(word => word.key.startsWith("share ")).length, 5);
});

test("every part of a drawing stays on the page, for two, three, a ring and sixteen", () => {
  for (const name of ["calm", "hold", "three", "ring", "sixteen", "blind"]) {
    const { laid } = drawn(name);
    for (const word of laid.words) assert.ok(word.x >= 0 && word.x <= 390, `${name}: ${word.key} at ${word.x}`);
    for (const [path, d] of Object.entries(laid.paths)) assert.doesNotMatch(d, /NaN|undefined|Infinity/, `${name}: ${path}`);
  }
});

test("the told stretch", () => {
  assert.equal(drawn("calm").laid.words.find(word => word.key === "stretch").t, "× 20");
  assert.equal(drawn("three").laid.words.find(word => word.key === "stretch").t, "× 100");
});

test("the lower edge of a call has the slope of the truss", () => {
  const { picture, laid } = drawn("hold"), [left, middle, right] = slopeOf(picture, laid.mm);
  assert.ok(right > middle && middle > left);
  assert.deepEqual(slopeOf(drawn("bothblind").picture, laid.mm), [0, 0, 0]);
});

test("dark and light spans", () => {
  const heads = [{ x: 0, off: 1 }, { x: 4, off: null }, { x: 8, off: null }, { x: 12, off: 2 }];
  assert.deepEqual(darkSpans(heads), [[2, 10]]);
  assert.deepEqual(lightSpans(12, [[2, 10]]).map(({ from, to }) => [from, to]), [[0, 2], [10, 12]]);
  assert.deepEqual(lightSpans(12, [[-Infinity, Infinity]]), []);
  assert.deepEqual(lightSpans(12, []).map(span => [span.from, span.to, span.tornLeft, span.tornRight]), [[0, 12, false, false]]);
});

test("the drawing in words", () => {
  assert.equal(sayOf(drawn("hold").picture), "Line at 3.12 m. Alpha: on the line, 99 of 227 kilograms. Bravo: 58 millimetres high, 104 of 227 kilograms. Hold limit 50 millimetres.");
  assert.match(sayOf(drawn("blind").picture), /Bravo: no data/);
  assert.match(sayOf(drawn("notzeroed").picture), /Alpha: height not known, load not measured/);
  assert.equal(sayOf(null), "No plan, nothing to draw.");
});

test("no plan: no picture; no known head: no farthest one", () => {
  assert.equal(pictureOf(VIEWS.noplan(), null), null);
  assert.equal(pictureOf(null, null), null);
  assert.equal(farthest(drawn("bothblind").picture.heads), null);
  assert.equal(farthest(drawn("hold").picture.heads).id, "B");
});

test("limits that the plan switched off are not drawn", () => {
  const view = VIEWS.calm();
  view.limits = { warn_mm: null, stop_mm: null };
  const laid = layout(pictureOf(view, view.calls.spotter), BOX, 100);
  assert.equal(laid.paths.ribbon + laid.paths.rim + laid.paths.far, "");
});
