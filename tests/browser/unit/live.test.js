// Live or not, digits that stay, turns of the voice, what stands on the page.
import "./english.js";
import { test } from "node:test";
import assert from "node:assert/strict";
import { Lag, LIVE_MS, Nap, Pulse } from "../../../daemon/pages/js/live.js";
import { byEvents, bySocket, Ways } from "../../../daemon/pages/js/way.js";
import { Steady } from "../../../daemon/pages/js/steady.js";
import { CODE, lasts, Turn } from "../../../daemon/pages/js/tones.js";
import { Standing } from "../../../daemon/pages/js/board.js";

test("a page is live for less than a second after the last fresh view", () => {
  const pulse = new Pulse();
  assert.equal(pulse.live(0), false, "nothing heard yet is not live");
  assert.equal(pulse.age(0), null);
  assert.equal(pulse.take({ t_ms: 5_000 }, 100), true);
  assert.ok(pulse.live(100 + LIVE_MS - 1));
  assert.ok(!pulse.live(100 + LIVE_MS));
  assert.ok(LIVE_MS < 1_000);
});

test("the same time again is no sign of life: the watch may be dead behind a living server", () => {
  const pulse = new Pulse();
  pulse.take({ t_ms: 5_000 }, 0);
  assert.equal(pulse.take({ t_ms: 5_000 }, 500), false);
  assert.equal(pulse.live(950), false);
});

test("a picture more than a second old is not the present, though it arrives in order", () => {
  const pulse = new Pulse();
  for (let i = 0; i < 20; i++) assert.equal(pulse.take({ t_ms: 1_000 + i * 100 }, i * 100), true);
  assert.equal(pulse.take({ t_ms: 3_000 }, 3_400), false, "1.4 s behind");
  assert.equal(pulse.take({ t_ms: 4_000 }, 3_600), true, "caught up");
  assert.ok(Math.abs(pulse.age(3_700) - 700) < 1, "100 ms since, 600 ms behind the quickest");
});

test("faster than life, lateness is not judged", () => {
  const pulse = new Pulse();
  for (let i = 0; i < 50; i++) assert.equal(pulse.take({ t_ms: i * 1_000, speed: 10 }, i * 100), true);
  for (let i = 50; i < 60; i++) assert.equal(pulse.take({ t_ms: 49_000 + i, speed: 10 }, i * 100), true);
});

test("a monitor that began anew has another clock", () => {
  const pulse = new Pulse();
  pulse.take({ t_ms: 900_000 }, 0);
  assert.equal(pulse.take({ t_ms: 100 }, 2_000), true, "time fell: learnt anew");
  pulse.renew();
  assert.equal(pulse.take({ t_ms: 50 }, 9_000), true, "new connection: learnt anew");
});

test("lag forgets old quick arrivals, so that clocks may drift apart", () => {
  const lag = new Lag();
  lag.take(0, 0);
  assert.equal(lag.take(100, 150), 50);
  lag.take(130_000, 130_500); lag.take(260_000, 260_500);
  assert.equal(lag.take(390_000, 390_500), 0);
});

test("digits change twice a second at most, and only when clearly off", () => {
  const steady = new Steady(2), at = (v, now) => steady.take("B", v, 1.5, now);
  assert.equal(at(10, 0), 10);
  assert.equal(at(11.4, 600), 10, "not far enough");
  assert.equal(at(12, 700), 12);
  assert.equal(at(20, 1_000), 12, "too soon");
  assert.equal(at(20, 1_200), 20);
  assert.equal(at(null, 1_300), null, "what is not known goes at once");
  assert.equal(at(20.1, 1_310), 20.1, "and the first number after it is shown at once");
});

test("tones lie between 500 and 2500 Hz and none is a bare click", () => {
  for (const [kind, { tones, shake }] of Object.entries(CODE)) {
    for (const tone of tones) assert.ok(tone.from >= 500 && tone.to >= 500 && tone.from <= 2_500 && tone.to <= 2_500 && tone.ms >= 60, kind);
    assert.ok(shake.every(ms => ms > 0), kind);
  }
  assert.equal(CODE.hold.tones.length, 2);
  assert.equal(CODE.stop.tones.length, 3);
  assert.equal(CODE.gone.tones.length, 4);
  assert.ok(lasts("stop") < 2_000, "over before the next stop is said");
  assert.equal(lasts("nothing"), 0);
});

test("one voice: no two orders within 2 s, a graver one at once", () => {
  const turn = new Turn();
  assert.equal(turn.wait("hold", 0), 0);
  turn.said("hold", 0);
  assert.equal(turn.wait("hold", 500), 1_500);
  assert.equal(turn.wait("over", 500), 1_500);
  assert.equal(turn.wait("stop", 500), 0);
  turn.said("stop", 500);
  assert.equal(turn.wait("blind", 600), 1_900);
  assert.equal(turn.wait("hold", 2_500), 0);
});

test("a call stands 1.5 s before a milder one takes its place; a graver one does so at once", () => {
  const standing = new Standing(), call = text => ({ text });
  assert.equal(standing.take(call("Level."), "calm", 0).look, "calm");
  assert.equal(standing.take(call("Hold Bravo."), "hold", 100).look, "hold");
  assert.equal(standing.take(call("Level."), "calm", 1_000).look, "hold");
  assert.equal(standing.take(call("Stop."), "stop", 1_100).look, "stop");
  assert.equal(standing.take(call("Level."), "calm", 2_500).look, "stop");
  assert.equal(standing.take(call("Level."), "calm", 2_700).look, "calm");
  standing.drop();
  assert.equal(standing.take(null, "none", 2_800).look, "none");
});

test("a phone that slept is told from one whose time of day is set back", () => {
  const nap = new Nap();
  assert.equal(nap.took(0, 1_000_000), false);
  assert.equal(nap.took(5_000, 1_005_000), false, "both went on alike");
  assert.equal(nap.took(5_100, 1_005_100 - 3_600_000), false, "set back an hour");
  assert.equal(nap.took(5_200, 1_005_200 - 3_600_000), false);
  assert.equal(nap.took(5_300, 1_009_300 - 3_600_000), true, "4 s passed that this page does not know of");
  assert.equal(nap.took(5_400, 1_009_400 - 3_600_000), false, "told once");
});

test("a socket is tried first, events where none works, and what worked is kept to", () => {
  const ways = new Ways(), tried = n => Array.from({ length: n }, () => { const way = ways.next(); ways.failed(); return way === bySocket ? "socket" : "events"; });
  assert.deepEqual(tried(6), ["socket", "socket", "events", "socket", "socket", "events"]);
  ways.works(byEvents);
  assert.deepEqual(tried(4), ["events", "events", "socket", "events"]);
  ways.works(bySocket);
  assert.deepEqual(tried(4), Array(4).fill("socket"), "six connections are for STOP once a socket is known to work");
  assert.equal(ways.tries, 4);
});

test("numbers of another call are let through at once, though its view comes a moment after it", () => {
  const steady = new Steady(2), at = (v, now) => steady.take("B", v, 1.5, now);
  steady.about("calm", 0);
  at(4, 0);
  steady.about("calm", 2_000);
  assert.equal(at(4.2, 2_000), 4);
  steady.about("hold", 2_010);
  assert.equal(at(4.2, 2_010), 4.2, "the call came first");
  assert.equal(at(58, 2_100), 58, "and then its view");
  assert.equal(at(64, 2_550), 58, "after that in their own pace");
});
