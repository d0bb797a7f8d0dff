// The line of the truss: spline, unfolding, stretch.
import "./english.js";
import { test } from "node:test";
import assert from "node:assert/strict";
import { along, Reach, scale, straight, through, unfold } from "../../../daemon/pages/js/shape.js";

const near = (found, expected, what) => assert.ok(Math.abs(found - expected) < 1e-9, `${what}: expected ${expected}, found ${found}`);

test("two heads: straight, overhangs included", () => {
  const at = through([1, 7], [0, 60]);
  for (const [x, y] of [[0, -10], [1, 0], [4, 30], [7, 60], [8, 70]]) near(at(x), y, `at ${x} m`);
});

test("three heads: the natural cubic spline", () => {
  // M1 = 3 (d1 - d0) / (2 (h0 + h1)) x 2 by the tridiagonal row of a natural spline: -1.5 per m2 for a bump of 1 at spans
  // of 1 m (6 x -2 = 4 M1 -> M1 = -3); the middle of a span then stands at 1/2 + 3/16 = 0.6875. By hand.
  const at = through([0, 1, 2], [0, 1, 0]);
  near(at(1), 1, "head"); near(at(.5), .6875, "mid span"); near(at(1.5), .6875, "other mid span");
  near(at(-1), -1.5, "overhang: slope 1 + 3/6 at the end"); near(at(3), -1.5, "other overhang");
});

test("heads in one straight line give that line, however many", () => {
  const xs = [0, 2, 3, 7, 11], at = through(xs, xs.map(x => 3 + 2 * x));
  for (const x of [-1, 0, 1, 2.5, 5, 9, 12]) near(at(x), 3 + 2 * x, `at ${x}`);
});

test("the spline does not kink at its heads", () => {
  const xs = [0, 3, 5, 9], at = through(xs, [0, 12, -4, 6]), e = 1e-5;
  for (const x of xs) {
    const left = (at(x) - at(x - e)) / e, right = (at(x + e) - at(x)) / e;
    assert.ok(Math.abs(left - right) < 1e-3, `at ${x}: ${left} and ${right}`);
  }
});

test("one head alone: its own height; sides of a frame: straight", () => {
  near(through([2], [7])(5), 7, "one");
  const at = straight([0, 6, 10], [0, 0, 26]);
  near(at(3), 0, "first side"); near(at(8), 13, "second side"); near(straight([2], [7])(5), 7, "one");
});

const side = (id, from_m, to_m) => ({ id, from_m, to_m, length_m: Math.hypot(to_m[0] - from_m[0], to_m[1] - from_m[1]) });

test("a ring is unfolded in the order in which its sides meet, a reversed one turned", () => {
  const line = unfold([side("s", [0, 0], [6, 0]), side("n", [6, 4], [0, 4]), side("e", [6, 4], [6, 0]), side("w", [0, 4], [0, 0])]);
  assert.equal(line.length, 20);
  assert.equal(line.ring, true);
  assert.deepEqual(line.joints, [6, 10, 16]);
  near(along(line, "e", 1), 9, "a turned side counts from its other end");
  near(along(line, "n", 1), 11, "the third side");
  near(along(line, "w", 4), 20, "the last corner is the first again");
});

test("one piece, or pieces that touch nothing, still lie on one line", () => {
  const one = unfold([side("front", [0, 0], [9, 0])]);
  assert.deepEqual([one.length, one.ring, one.joints], [9, false, []]);
  near(along(one, "unknown", 2), 2, "an unknown piece is the first");
  assert.equal(unfold([side("a", [0, 0], [3, 0]), side("b", [10, 0], [12, 0])]).length, 5);
  assert.equal(unfold([]).length, 0);
});

test("the stretch is the largest told factor that keeps the stop limit in reach", () => {
  const box = { width: 390, reach: 80, pad: 14, room: 66 };
  const two = scale(9, [1.2, 7.8], 100, box);
  assert.equal(two.k, 20);
  assert.ok(100 * two.mm <= 80 && 100 * two.mm / 20 * 50 > 80);
  assert.equal(scale(11, [.5, 10.5], 20, box).k, 100);
  assert.equal(scale(9, [1.2, 7.8], 1e6, box).k, 1, "never less than true");
  assert.ok(scale(10, [0, 10], 100, box).pad >= 66, "a foot at the very end stays on the page");
});

test("the stretch jumps only past 1.1 x the stop limit, and comes back after 10 s inside", () => {
  const reach = new Reach(), at = (v, now) => reach.hold(100, [0, v], now);
  assert.deepEqual(at(0, 0), { far: 100, bold: false });
  assert.equal(at(109, 100).far, 100);
  assert.deepEqual(at(111, 200), { far: 111 * 1.15, bold: true });
  assert.equal(at(111, 3_100).bold, true);
  assert.equal(at(111, 3_300).bold, false);
  assert.equal(at(90, 4_000).far, 111 * 1.15, "not at once");
  assert.equal(at(105, 9_000).far, 111 * 1.15, "outside again: the time starts anew");
  assert.equal(at(90, 10_000).far, 111 * 1.15);
  assert.equal(at(90, 19_900).far, 111 * 1.15);
  assert.deepEqual(at(90, 20_000), { far: 100, bold: true });
});

test("another step's limit is taken at once; what is not known stretches nothing", () => {
  const reach = new Reach();
  reach.hold(100, [null, undefined], 0);
  assert.equal(reach.hold(50, [null], 100).far, 50);
});
