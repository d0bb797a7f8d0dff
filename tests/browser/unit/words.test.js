// Numbers and calls in words.
import "./english.js";
import { test } from "node:test";
import assert from "node:assert/strict";
import { amount, DASH, figure, linesOf, list, MINUS, offsetWords, span, stepName, tail, unitsOf } from "../../../daemon/pages/js/words.js";

const si = unitsOf(["kg", "m"]), us = unitsOf(["lb", "ft"]);

test("forces: kilograms and pounds by standard gravity", () => {
  assert.equal(figure(950, si.force), "97"); // 950 N / 9.80665 = 96.87 kg
  assert.equal(amount(2224.11, us.force), "500 lb"); // 500 lb x 4.4482216 N (exact definition of the pound-force)
  assert.equal(amount(1500, unitsOf(["kN", "m"]).force), "1.50 kN");
});

test("offsets and heights in the plan's units", () => {
  assert.equal(offsetWords(58.4, si.offset), "58 mm high");
  assert.equal(offsetWords(-6, si.offset), "6 mm low");
  assert.equal(offsetWords(50.8, us.offset), "2.0 in high");
  assert.equal(amount(3.1234, si.height), "3.12 m");
  assert.equal(amount(3.048, us.height), "10.0 ft");
});

test("what is not known is a dash, never a zero", () => {
  for (const nothing of [null, undefined, NaN, Infinity]) {
    assert.equal(figure(nothing, si.force), DASH);
    assert.equal(amount(nothing, si.height), DASH);
    assert.equal(offsetWords(nothing, si.offset), DASH);
  }
});

test("real minus signs, no +0 and no −0", () => {
  assert.equal(figure(-6.2, si.offset), `${MINUS}6`);
  assert.equal(figure(-.3, si.offset, true), "0");
  assert.equal(figure(.3, si.offset, true), "0");
  assert.equal(figure(4, si.offset, true), "+4");
  assert.equal(offsetWords(-.2, si.offset), "on the line");
});

test("unknown or missing units fall back to kilograms and metres", () => {
  assert.equal(unitsOf(undefined).force.name, "kg");
  assert.equal(unitsOf(["stone", "cubit"]).height.name, "m");
});

test("spans of time", () => {
  for (const [ms, text] of [[0, "0.0 s"], [2_140, "2.1 s"], [9_940, "9.9 s"], [9_960, "10 s"], [59_400, "59 s"], [59_600, "1 min 0 s"], [400_000, "6 min 40 s"], [8_040_000, "2 h 14 min"], [null, DASH], [-5, DASH]])
    assert.equal(span(ms), text, String(ms));
});

test("a call is split into lines, and nothing of it is lost", () => {
  assert.deepEqual(linesOf("Hold Bravo. Alpha up two."), { order: ["Hold", "Bravo."], rest: ["Alpha up two."] });
  assert.deepEqual(linesOf("Stop. No data from Bravo."), { order: ["Stop."], rest: ["No data from Bravo."] });
  assert.deepEqual(linesOf("Level."), { order: ["Level."], rest: [] });
  assert.deepEqual(linesOf("Stop, said by Mara."), { order: ["Stop,"], rest: ["said by Mara."] });
  assert.deepEqual(linesOf("Not zeroed"), { order: ["Not", "zeroed"], rest: [] });
  assert.deepEqual(linesOf("Hold Northwest-corner. Up 1.5 here."), { order: ["Hold Northwest-corner."], rest: ["Up 1.5 here."] });
  assert.deepEqual(linesOf(""), { order: [], rest: [] });
  assert.deepEqual(linesOf(null), { order: [], rest: [] });
  for (const text of ["Hold Bravo. Alpha up two.", "Halt, Süd. Nord zwei hoch.", "Stop. Stop. Bravo high, four inches.", "待て。"]) {
    const { order, rest } = linesOf(text);
    assert.equal([...order, ...rest].join(" "), text);
  }
});

test("the full stop at the end of a line is split off, one inside a number is not", () => {
  assert.deepEqual(tail("Bravo."), ["Bravo", "."]);
  assert.deepEqual(tail("Stop,"), ["Stop", ","]);
  assert.deepEqual(tail("Up 1.5"), ["Up 1.5", ""]);
});

test("lists and steps", () => {
  assert.equal(list(["Alpha"]), "Alpha");
  assert.equal(list(["Alpha", "Bravo", "Charlie"]), "Alpha, Bravo and Charlie");
  assert.equal(list([]), "");
  assert.equal(stepName("test-lift"), "Test lift");
  assert.equal(stepName(null), DASH);
});
