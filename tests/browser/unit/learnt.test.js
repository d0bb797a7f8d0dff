// What is handed on and learnt, as the desk words it.
import "./english.js";
import { test } from "node:test";
import assert from "node:assert/strict";
import { cardOf, learntOf } from "../../../daemon/pages/js/learnt.js";

const card = (more = {}) => ({
  t_ms: 600_000, step: "stand", since_ms: 0, step_by: "Ines", height_m: null, zeros: [], findings: [], shelved: [], limits: [], counted_turn: null,
  towers: [{ id: "A", name: "Alpha", pinned: null, pins_measured: null, hole: null, hole_m: null, slack_set: null, proved: true, share_n: null }],
  expected: null, last_said: null, read_back: ["Step stand.", "Nothing open.", "Limits."], handed: null, ...more,
});
const text = (rows, what) => rows.find(one => one.what === what)?.text;

test("what nobody said is not made up", () => {
  const rows = cardOf(card());
  assert.equal(text(rows, "Step"), "stand, since 10 min 0 s, said by Ines");
  assert.equal(text(rows, "Alpha"), "no pin said");
  assert.equal(text(rows, "Zeros"), "0 of 0");
  assert.deepEqual(rows.map(one => one.what), ["Step", "Alpha", "Zeros"]);
});

test("pins said and measured stand beside each other, and a rope that carries is told", () => {
  const tower = more => ({ ...card().towers[0], pinned: { t_ms: 540_000, by: "Ivo" }, hole: 3, hole_m: 5, ...more });
  assert.equal(text(cardOf(card({ towers: [tower({ pins_measured: true })] })), "Alpha"), "pin said 1 min 0 s ago by Ivo; measured on its pins; hole 3, 5.00 m");
  assert.equal(text(cardOf(card({ towers: [tower({ pins_measured: false, proved: false })] })), "Alpha"), "pin said 1 min 0 s ago by Ivo; its rope carries; hole 3, 5.00 m; not proved");
});

test("a missing zero, an end, a person's change and what was put aside are told", () => {
  const zeros = [{ tower: "A", channel: "head-load", value: null, valid_until: null }, { tower: "B", channel: "truss-along", value: .1, valid_until: "2031-05-15T01:40:00Z" }];
  const limits = [{ limit: "rake", warn: 50, stop: null, unit: "mm", origin: "override", by: "Mara", reason: "long span" }, { limit: "lean", warn: 0.3, stop: 0.6, unit: "deg", origin: "default", by: null, reason: "" }];
  const rows = cardOf(card({ zeros, limits, shelved: [{ finding: { id: "skew-A-1", text: "Clock jumped." }, until_ms: 660_000 }] }));
  assert.equal(text(rows, "Zeros"), "1 of 2, the kit's until 2031-05-15T01:40:00Z; none for A head-load");
  assert.equal(text(rows, "Limit rake"), "50 mm, changed by Mara: long span");
  assert.equal(text(rows, "Limit lean"), "0.3 / 0.6 deg, default");
  assert.equal(text(rows, "Aside skew-A-1"), "Clock jumped. For 1 min 0 s; ends at the hand-over.");
});

test("advice and what was learnt are shown as sent, and only where they belong", () => {
  const view = { step: "raise", next_turns: { text: "Next." }, ahead_s: { text: "At this rate." }, hung: [{ text: "20 kg." }], learnt: { towers: [{ departs: null, text: "Alpha." }, { departs: 0.5, text: "Bravo does less." }] } };
  assert.deepEqual(learntOf(view), ["Next.", "At this rate.", "Bravo does less."]);
  assert.deepEqual(learntOf({ ...view, step: "rig", next_turns: null, ahead_s: null }), ["Bravo does less.", "20 kg."]);
  assert.deepEqual(learntOf({ step: "rig" }), []);
});
