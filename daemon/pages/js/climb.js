// The lift drawn as the height it goes through; where it is, is the thick part. And what each step still asks for.

import { t } from "./phrases.js";
import { STEP_ORDER, stepName } from "./words.js";

const W = 352, FLOOR = 100;
const WAY = [[0, 0], [34, 0], [42, 10], [64, 10], [176, 80], [190, 80], [196, 74], [270, 74], [330, 0], [352, 0]];
// Where each step lies on the way, and where its name stands.
const PLACES = {
  rig: { part: [[0, 0], [34, 0]], name: [0, FLOOR + 20, ""] },
  "test-lift": { part: [[34, 0], [42, 10], [64, 10]], name: [72, FLOOR + 20, ""] },
  raise: { part: [[64, 10], [148, 62.5]], name: [96, FLOOR - 44, "end"] },
  section: { part: [[120, 45], [140, 57.5]], name: [126, FLOOR - 68, "end"] },
  land: { part: [[176, 80], [190, 80], [196, 74]], name: [186, FLOOR - 84, "end"] },
  stand: { part: [[196, 74], [236, 74]], name: [214, FLOOR - 80, ""] },
  change: { part: [[236, 74], [270, 74]], name: [262, FLOOR - 80, ""] },
  lower: { part: [[270, 74], [330, 0]], name: [310, FLOOR - 38, ""] },
  strike: { part: [[330, 0], [352, 0]], name: [352, FLOOR + 20, "end"] },
};
const path = part => "M" + part.map(([x, y]) => `${x} ${FLOOR - y}`).join("L");

/** -> {w, h, way, here, floor, names: [{t, x, y, cls, size, now}]} */
export function climb(step) {
  return {
    w: W, h: 124, way: path(WAY), floor: `M0 ${FLOOR + 3.5}H${W}`, here: PLACES[step] ? path(PLACES[step].part) : "",
    names: STEP_ORDER.map(one => ({ key: one, t: stepName(one).toLowerCase(), x: PLACES[one].name[0], y: PLACES[one].name[1], cls: `${one === step ? "now" : "mute"} ${PLACES[one].name[2]}`, size: one === step ? 17 : 13 })),
  };
}

/** The trade's order (docs/forms.md, steps): any other step may be set too, and is recorded as unusual. */
const NEXT = {
  rig: ["test-lift"], "test-lift": ["raise", "rig"], raise: ["section", "land"], section: ["raise", "lower", "land"], land: ["stand", "raise"],
  stand: ["change", "lower"], change: ["stand"], lower: ["section", "strike", "rig"], strike: ["rig"],
};
export const nextSteps = step => NEXT[step] ?? ["rig"];

/** What the present step asks for: {text, how: measured|said|open, by, say: what to send where it is open}. */
export function checksOf(view, picture) {
  if (!picture) return [];
  const said = new Map((view.said ?? []).map(one => [`${one.said} ${one.tower ?? ""}`, one])), heads = picture.heads.filter(head => !head.again);
  const spoken = (word, text, tower = null) => {
    const one = said.get(`${word} ${tower ?? ""}`);
    return { text, how: one ? "said" : "open", by: one ? t("desk-said-by", { what: one.by ?? t("desk-nobody") }) : t("desk-open"), say: one ? null : { said: word, ...(tower ? { tower } : {}) } };
  };
  const within = () => {
    if (picture.warn === null) return [];
    const known = heads.every(head => head.off !== null), inside = known && heads.every(head => Math.abs(head.off) <= picture.warn);
    return [{ text: t("desk-within"), how: inside ? "measured" : "open", by: t(!known ? "desk-not-known" : inside ? "desk-measured" : "desk-not-now"), say: null }];
  };
  const pins = () => heads.map(head => head.pins === "measured" ? { text: t("desk-on-pins", { tower: head.name }), how: "measured", by: t("desk-measured"), say: null } : { ...spoken("pinned", t("desk-on-pins", { tower: head.name }), head.id), ...(head.pins === "said" ? { how: "said", say: null } : {}) });
  const free = () => [spoken("clear-under", t("desk-clear-under")), spoken("tails-free", t("desk-tails-free"))];
  const flag = (is, text) => ({ text, how: is ? "measured" : "open", by: t(is ? "desk-measured" : "desk-open"), say: null });
  switch (view.step) {
    case "rig": return [flag(view.zeroed === true, t("desk-zeroed")), ...free()];
    case "test-lift": return [flag(view.proved === true, t("desk-proved")), ...heads.map(head => ({ ...spoken("turn", t("desk-turn", { tower: head.name }), head.id) })).map((one, i) => ({ ...one, say: { said: "turn", tower: heads[i].id, value: 1 } })), ...free()];
    case "raise": case "lower": return [...within(), ...free()];
    case "section": return [...within(), ...pins()];
    case "land": return [...within(), ...pins(), spoken("slack-set", t("desk-slack-set"))];
    case "stand": case "change": return [...pins(), spoken("slack-set", t("desk-slack-set"))];
    default: return [];
  }
}
