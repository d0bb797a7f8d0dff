// The desk's lists, its past, its climb; and the lit shapes of a tower's page.
import "./english.js";
import { test } from "node:test";
import assert from "node:assert/strict";
import { instruments, may, order, refusedWords } from "../../../daemon/pages/js/lists.js";
import { gaps, Past, range, runs, strip } from "../../../daemon/pages/js/strip.js";
import { checksOf, climb, nextSteps } from "../../../daemon/pages/js/climb.js";
import { shapeOf } from "../../../daemon/pages/js/order.js";
import { pictureOf } from "../../../daemon/pages/js/picture.js";
import { STEP_ORDER } from "../../../daemon/pages/js/words.js";
import { VIEWS } from "../fixture/views.js";

const of = point => point.v, at = (t, v) => ({ t, v });

test("a trace is cut where nothing was known or nothing came", () => {
  const points = [at(0, 1), at(100, 2), at(200, null), at(300, 3), at(2_000, 4), at(2_100, 5)];
  assert.deepEqual(runs(points, of, 1_000).map(run => run.map(one => one.t)), [[0, 100], [300], [2_000, 2_100]]);
  assert.deepEqual(gaps(points, of, 1_000, 2_200), [[200, 300], [300, 2_000]]);
  assert.deepEqual(gaps([at(0, 1), at(100, null)], of, 1_000, 900), [[100, 900]], "open to now");
  assert.deepEqual(runs([], of, 1_000), []);
});

test("a zero is a value, not a gap", () => {
  assert.equal(runs([at(0, 0), at(100, 0)], of, 1_000)[0].length, 2);
});

test("the past keeps 90 s of a moving lift, and begins anew with another recording", () => {
  const past = new Past(), heads = [{ id: "A", off: 0, share: 1, expected: 1 }];
  for (let t = 0; t <= 200_000; t += 100) past.take(t, heads);
  const fine = past.seen(true);
  assert.ok(fine.points[0].t >= 110_000 && fine.points.length <= 901, `${fine.points.length}`);
  assert.equal(past.seen(false).window_ms, 600_000);
  past.take(50, heads);
  assert.equal(past.seen(true).points.length, 1);
});

test("what the monitor remembers takes its place before what this page saw; its gaps stay gaps", () => {
  const past = new Past(), head = (id, off) => ({ id, off, share: 900, expected: 910 });
  for (const t of [50_000, 50_100, 50_200]) past.take(t, [head("A", 5), head("B", 6)]);
  const track = { t_ms: [30_000, 30_200, 40_000, 40_200, 50_100], offset_mm: [[1, 1, 1, null, 1], [2, 2, 2, 2, 2]], measured_n: [[9, 9, 9, 9, 9], [9, 9, 9, 9, 9]], expected_n: [[9, 9, 9, 9, 9], [9, 9, 9, 9, 9]] };
  past.seed({ towers: ["A", "B"], fine: track, coarse: track });
  const { points } = past.seen(true);
  assert.deepEqual(points.map(point => point.t), [30_000, 30_200, 40_000, 40_200, 50_100, 50_200]);
  assert.deepEqual(runs(points, point => point.off.A, 1_000).map(run => run.map(one => one.t)), [[30_000, 30_200], [40_000], [50_100, 50_200]]);
  past.take(50_050, [head("A", 5)]); // a view a moment older than what is remembered is no other recording
  assert.equal(past.seen(true).points[0].t, 30_000);
  past.seed(null); past.seed({ towers: ["A"] });
  assert.equal(new Past().seen(true).points.length, 0);
});

test("faster than life, the times between two views are no gaps", () => {
  const past = new Past();
  for (let t = 0; t <= 20_000; t += 2_000) past.take(t, [{ id: "A", off: 1, share: 1, expected: 1 }]);
  const { points, gap_ms } = past.seen(true, 20);
  assert.equal(runs(points, point => point.off.A, gap_ms).length, 1);
});

test("the strip's end lies on the elevation's own line and scale", () => {
  const view = VIEWS.hold(), picture = pictureOf(view, view.calls.lead), past = new Past();
  for (let t = 0; t <= 5_000; t += 100) past.take(t, picture.heads);
  const box = { w: 860, x0: 24, right: 836, y0: 150.5, mm: .8, most: 140, half: 80, shareTop: 322, shareBottom: 386, timeY: 288 };
  const drawn = strip(past.seen(true), picture, 5_000, box);
  assert.ok(drawn.traces[1].endsWith(`836 ${150.5 - 58 * .8}`.replace(/(\.\d)\d*$/, "$1")), drawn.traces[1].slice(-20));
  assert.equal(drawn.hatch, "");
  past.take(5_100, picture.heads.map(head => ({ ...head, off: null })));
  assert.notEqual(strip(past.seen(true), picture, 6_000, box).hatch, "");
});

test("round ranges", () => {
  assert.deepEqual(range([98, 104], 10, 5), { low: 95, high: 110 });
  assert.equal(range([], 10, 5), null);
});

test("gravest first, what is over last", () => {
  const one = (id, severity, state, since_ms) => ({ id, severity, state, since_ms });
  const list = [one("n", "note", "raised", 5), one("r", "warn", "returned", 9), one("s", "stop", "latched", 1), one("w", "warn", "raised", 2), one("w2", "warn", "raised", 3)];
  assert.deepEqual(order(list).map(each => each.id), ["s", "w2", "w", "n", "r"]);
});

test("what the lead may say of a finding follows its life", () => {
  const words = (severity, state) => may({ severity, state });
  assert.deepEqual(words("stop", "raised"), ["seen"], "seen first, and a stop is never shelved");
  assert.deepEqual(words("stop", "acknowledged"), ["release"]);
  assert.deepEqual(words("stop", "mending"), []);
  assert.deepEqual(words("warn", "raised"), ["seen", "shelve"]);
  assert.deepEqual(words("warn", "acknowledged"), ["shelve"]);
  assert.deepEqual(words("stop", "latched"), ["seen", "release"]);
  assert.deepEqual(words("warn", "shelved"), ["unshelve"]);
});

test("instruments: per column the worst channel; not fitted is not blind", () => {
  const rows = instruments([
    { node: "n1", tower: "A", channel: "truss-along", state: "heard", age_ms: 60 }, { node: "n1", tower: "A", channel: "mast-along", state: "silent", age_ms: 2_000 },
    { node: "n1", tower: "A", channel: "height", state: "not-fitted", age_ms: null }, { node: "n2", tower: "B", channel: "head-load", state: "heard", age_ms: 10 },
  ], [{ id: "A", name: "Alpha" }]);
  assert.equal(rows[0].name, "Alpha");
  assert.deepEqual([rows[0].cells[0].bad, rows[0].cells[0].state], [true, "silent"]);
  assert.equal(rows[0].cells[2].bad, false);
  assert.equal(rows[1].cells[0], null);
});

test("refused counts in words", () => {
  assert.equal(refusedWords({ n1: { late: 3, unit: 0 }, n2: 2 }), "Refused: n1: late 3, n2 2");
  assert.equal(refusedWords({}), "");
  assert.equal(refusedWords(undefined), "");
});

test("every step has its place on the climb and a usual next one", () => {
  for (const step of STEP_ORDER) {
    assert.notEqual(climb(step).here, "", step);
    assert.ok(nextSteps(step).every(next => STEP_ORDER.includes(next)), step);
    assert.equal(climb(step).names.filter(name => name.cls.startsWith("now")).length, 1);
  }
  assert.equal(climb(null).here, "", "no lift: no thick part");
});

test("measured, said and open are never swapped", () => {
  const view = VIEWS.stand(), checks = checksOf(view, pictureOf(view, null));
  assert.deepEqual(checks.map(one => one.how), ["measured", "said", "open"]);
  assert.match(checks[1].by, /Jo|said/);
  assert.equal(checks[1].say, null);
  assert.deepEqual(checks[2].say, { said: "slack-set" });
  const blind = VIEWS.blind();
  assert.deepEqual(checksOf(blind, pictureOf(blind, null)).slice(0, 1).map(one => [one.how, one.by]), [["open", "not known"]]);
});

test("a turn is said for its own tower, and may be said again", () => {
  const view = VIEWS.notproved(), turns = checksOf(view, pictureOf(view, null)).filter(one => one.say?.said === "turn");
  assert.deepEqual(turns.map(one => one.say), [{ said: "turn", tower: "A", value: 1 }, { said: "turn", tower: "B", value: 1 }]);
});

test("a tower's order is told by shape alone", () => {
  const shapes = ["hold", "easy", "up", "down", "pin", "blind", "calm", "stop"].map(word => JSON.stringify(shapeOf(word, 390, 500)));
  assert.equal(new Set(shapes.slice(0, 6)).size, 6);
  for (const word of ["calm", "none", "stop"]) assert.deepEqual(shapeOf(word, 390, 500), { lit: "", hole: "", stripes: "" });
});
