// One code for the ear and the hand: tones and vibration of each kind of call. Pure tables and sums.
// Tones keep 500 to 2500 Hz (ISO 7731); the word always comes first.

const beep = (at, from, ms, to = from) => ({ at, from, to, ms });
const row = (n, from, ms, gap, to = from) => Array.from({ length: n }, (_, i) => beep(i * (ms + gap), from, ms, to));

/** tones: {at, from, to, ms} in ms and Hz; shake: vibration in ms, on and off by turns. */
export const CODE = {
  hold: { tones: row(2, 880, 120, 100), shake: [200, 100, 200] },
  pin: { tones: row(2, 880, 120, 100), shake: [200, 100, 200] },
  stop: { tones: row(3, 600, 350, 60, 1400), shake: [600, 150, 600, 150, 600, 150] },
  blind: { tones: [beep(0, 1600, 150), beep(180, 800, 150)], shake: [80, 80, 80, 80, 80, 80, 80, 80, 80] },
  gone: { tones: row(4, 1250, 80, 80), shake: [80, 80, 80, 80, 80, 200, 500] },
  over: { tones: [beep(0, 660, 150, 880)], shake: [60] },
  note: { tones: [beep(0, 700, 60)], shake: [] },
};

/** How long a kind's tones last, ms. */
export const lasts = kind => Math.max(0, ...(CODE[kind]?.tones ?? []).map(tone => tone.at + tone.ms));

const RANK = { over: 0, note: 0, pin: 1, hold: 2, gone: 3, blind: 3, stop: 3 };
const APART_MS = 2_000;

/** When to say what: one voice, no two orders within 2 s, a graver one at once. Pure; the caller keeps the clock. */
export class Turn {
  #lastAt = -Infinity; #lastRank = 0;
  /** -> ms to wait before saying `kind`; 0: now. */
  wait(kind, now) {
    const rank = RANK[kind] ?? 0;
    if (rank > this.#lastRank) return 0;
    return Math.max(0, this.#lastAt + APART_MS - now);
  }
  said(kind, now) { this.#lastAt = now; this.#lastRank = RANK[kind] ?? 0; }
}
