// The lit shape behind a tower's word: bar = hold, point up or down = up or down, bar with a hole = pin, stripes =
// blind, everything lit = stop, nothing = level. Told by shape, so that hue is never needed. Pure.

/** -> {lit, hole, stripes}: paths in a box of w x h px. */
export function shapeOf(word, w, h) {
  const none = { lit: "", hole: "", stripes: "" }, landscape = w > h;
  if (word === "hold") return { ...none, lit: `M-9 ${r(h * .2)}H${w + 9}V${r(h * .8)}H-9z` };
  // Easy: two bars with a gap, half the pace
  if (word === "easy") return { ...none, lit: `M-9 ${r(h * .2)}H${w + 9}V${r(h * .62)}H-9zM-9 ${r(h * .7)}H${w + 9}V${r(h * .8)}H-9z` };
  if (word === "up") return { ...none, lit: `M-9 ${r(h * .36)}L${w / 2} 8L${w + 9} ${r(h * .36)}V${h + 9}H-9z` };
  if (word === "down") return { ...none, lit: `M-9 ${r(h * .64)}L${w / 2} ${h - 8}L${w + 9} ${r(h * .64)}V-9H-9z` };
  if (word === "pin") {
    const hole = 26, x = w - 64, y = h / 2;
    return {
      ...none, lit: `M-9 ${r(h * .24)}H${w - 70}a${r(h * .13)} ${r(h * .26)} 0 0 1 0 ${r(h * .52)}H-9z`,
      hole: `M${x - hole} ${r(y)}a${hole} ${hole} 0 1 0 ${2 * hole} 0a${hole} ${hole} 0 1 0 ${-2 * hole} 0`,
    };
  }
  if (word === "blind" || word === "gone") return { ...none, stripes: stripes(w, h * (landscape ? .13 : .18)) + stripes(w, h * (landscape ? .13 : .18), h) };
  return none;
}

const r = v => Math.round(v * 10) / 10;

/** Slanting strokes across a band at the top (from 0) or the bottom (up from `foot`). */
function stripes(w, tall, foot = null) {
  const top = foot === null ? 0 : foot - tall, bottom = foot === null ? tall : foot;
  let d = "";
  for (let x = -tall; x < w + tall; x += 34) d += `M${r(x)} ${r(bottom)}L${r(x + tall)} ${r(top)}`;
  return d;
}
