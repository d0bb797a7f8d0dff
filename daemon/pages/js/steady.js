// Digits that do not jump: a shown number stays until the true one is clearly off it, and changes only so often. Pure.

/** How calm a page's digits are: at most `perSecond` changes of one number, and none for less than these amounts. */
export const DECK = { perSecond: 2, mm: 1.5, newtons: 0.7 * 9.80665 };
export const DESK = { perSecond: 4, mm: 0.7, newtons: 0.7 * 9.80665 };

export class Steady {
  #shown = new Map(); #gap; #about = null; #turned = -Infinity;
  constructor(perSecond) { this.#gap = 1000 / perSecond; }

  /** Another lift or another call: its numbers are shown at once, not settled from those before; and so are those of the
   *  views that follow at once, for a call may come a moment before the view that it is about. */
  about(what, now) {
    if (what !== this.#about) { this.#shown.clear(); this.#turned = now; }
    this.#about = what;
  }
  /** What to show for `key` now. Nothing known is shown at once, and so is the first number after it. */
  take(key, value, off, now) {
    const last = this.#shown.get(key);
    if (value === null || value === undefined) { this.#shown.delete(key); return null; }
    const moved = !last || (Math.abs(value - last.value) >= off && (now - last.at >= this.#gap || now - this.#turned < this.#gap));
    if (moved) this.#shown.set(key, { value, at: now });
    return moved ? value : last.value;
  }
}

/** The picture with the numbers told beside the true ones that are drawn. */
export function settle(picture, steady, calm, now) {
  if (!picture) return null;
  steady.about(`${picture.plan} ${picture.look} ${picture.who} ${picture.hot}`, now);
  const heads = picture.heads.map(head => ({
    ...head,
    offTold: steady.take(`off ${head.id}`, head.off, calm.mm, now),
    shareTold: steady.take(`share ${head.id}`, head.share, calm.newtons, now),
    expectedTold: steady.take(`expected ${head.id}`, head.expected, calm.newtons, now),
  }));
  const caught = picture.caught && { ...picture.caught, forceTold: steady.take("caught", picture.caught.force, calm.newtons, now) };
  return { ...picture, heads, caught };
}
