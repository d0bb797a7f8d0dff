// The line of the truss, from the heads' offsets: pure sums, no page.
// Units: metres along, millimetres up (+ high), pixels on the page.

const NEAR_M = 0.01; // ends closer than this are one joint (the plan's own rule)

/** How high the truss stands at x: through the heads, straight for two, natural cubic spline for more, straight on
 *  the overhangs. xs rising, one y each; at least one head. The curve between heads is drawn, not measured. */
export function through(xs, ys) {
  const n = xs.length;
  if (n === 1) return () => ys[0];
  const bend = bends(xs, ys);
  return x => {
    let i = 0;
    while (i < n - 2 && x > xs[i + 1]) i++;
    const h = xs[i + 1] - xs[i];
    if (x < xs[0]) return ys[0] + slope(xs, ys, bend, 0, 0) * (x - xs[0]);
    if (x > xs[n - 1]) return ys[n - 1] + slope(xs, ys, bend, n - 2, 1) * (x - xs[n - 1]);
    const a = (xs[i + 1] - x) / h, b = 1 - a;
    return a * ys[i] + b * ys[i + 1] + ((a ** 3 - a) * bend[i] + (b ** 3 - b) * bend[i + 1]) * h * h / 6;
  };
}

/** Second derivatives of the natural cubic spline at its knots. Source: any numerical handbook; tridiagonal sweep. */
function bends(xs, ys) {
  const n = xs.length, m = Array(n).fill(0), up = Array(n).fill(0), mid = Array(n).fill(0), right = Array(n).fill(0);
  for (let i = 1; i < n - 1; i++) {
    const h0 = xs[i] - xs[i - 1], h1 = xs[i + 1] - xs[i];
    const k = i > 1 ? h0 / mid[i - 1] : 0;
    up[i] = h1;
    mid[i] = 2 * (h0 + h1) - k * (i > 1 ? up[i - 1] : 0);
    right[i] = 6 * ((ys[i + 1] - ys[i]) / h1 - (ys[i] - ys[i - 1]) / h0) - k * (i > 1 ? right[i - 1] : 0);
  }
  for (let i = n - 2; i > 0; i--) m[i] = (right[i] - up[i] * m[i + 1]) / mid[i];
  return m;
}

/** Slope at the left (end 0) or right (end 1) end of span j. */
function slope(xs, ys, bend, j, end) {
  const h = xs[j + 1] - xs[j], chord = (ys[j + 1] - ys[j]) / h;
  return end ? chord + h * (bend[j] + 2 * bend[j + 1]) / 6 : chord - h * (2 * bend[j] + bend[j + 1]) / 6;
}

/** Through the heads by straight lines: sides of a frame, which bend at their corners only. */
export function straight(xs, ys) {
  const n = xs.length;
  if (n === 1) return () => ys[0];
  return x => {
    let i = 0;
    while (i < n - 2 && x > xs[i + 1]) i++;
    return ys[i] + (ys[i + 1] - ys[i]) * (x - xs[i]) / (xs[i + 1] - xs[i]);
  };
}

/** Lays the pieces end to end on one line, each turned as it is met.
 *  pieces: [{id, length_m, from_m, to_m}] -> {length, at: {id: {start, turned}}, joints: [x], ring} (metres).
 *  A closed chain is a ring: its first corner comes again at the end. Pieces that touch nothing follow at the end. */
export function unfold(pieces) {
  const left = pieces.slice(1), at = {}, joints = [];
  let length = 0, end = null, ring = false;
  const lay = (piece, turned) => {
    if (length > 0) joints.push(length);
    at[piece.id] = { start: length, turned, length: piece.length_m };
    length += piece.length_m;
    end = turned ? piece.from_m : piece.to_m;
  };
  if (pieces.length) lay(pieces[0], false);
  while (left.length) {
    const ahead = left.findIndex(p => touch(p.from_m, end)), back = left.findIndex(p => touch(p.to_m, end));
    if (ahead >= 0) lay(left.splice(ahead, 1)[0], false);
    else if (back >= 0) lay(left.splice(back, 1)[0], true);
    else lay(left.shift(), false);
  }
  if (pieces.length > 2) ring = touch(pieces[0].from_m, end);
  return { length, at, joints, ring };
}

const touch = (a, b) => Array.isArray(a) && Array.isArray(b) && Math.hypot(a[0] - b[0], a[1] - b[1]) <= NEAR_M;

/** Where a point of a piece comes to lie on the unfolded line. */
export function along(unfolded, piece, x) {
  const place = unfolded.at[piece] ?? Object.values(unfolded.at)[0];
  if (!place) return x;
  return place.start + (place.turned ? place.length - x : x);
}

export const STRETCHES = [200, 100, 50, 20, 10, 5, 2, 1];

/** Across true to scale, and how much heights are stretched: the largest told factor that keeps `far` mm in reach.
 *  box: {width, reach, pad, room}; room is what the outermost feet need to their outer side, px. */
export function scale(length, ends, far, box) {
  const spare = Math.min(ends[0], length - ends[1]) / length;
  const pad = Math.max(box.pad, (box.room - spare * box.width) / (1 - 2 * spare));
  const px = (box.width - 2 * pad) / length;
  const k = STRETCHES.find(k => far * px / 1000 * k <= box.reach) ?? 1;
  return { pad, px, k, mm: px / 1000 * k };
}

const PAST = 1.1, ROOM = 1.15, BACK_MS = 10_000, BOLD_MS = 3_000;

/** Which offset the stretch must hold: the stop limit, or what is past 1.1 x that, until 10 s back inside.
 *  Jumps, never glides; `bold` for 3 s after a jump. All times from one monotonic clock, ms. */
export class Reach {
  #stop = null; #far = 0; #insideSince = null; #jumped = -Infinity;
  hold(stop, offsets, now) {
    const worst = Math.max(0, ...offsets.map(v => Math.abs(v ?? 0)));
    const first = this.#stop === null;
    let far = stop === this.#stop ? this.#far : stop;
    const inside = worst <= stop && far > stop;
    this.#insideSince = inside ? this.#insideSince ?? now : null;
    if (worst > (far === stop ? PAST * stop : far)) far = worst * ROOM;
    else if (inside && now - this.#insideSince >= BACK_MS) far = stop;
    if (far !== this.#far && !first) this.#jumped = now;
    this.#stop = stop;
    this.#far = far;
    return { far, bold: now - this.#jumped < BOLD_MS };
  }
}
