// The first page: which pages there are for this lift.
import { Live } from "./live.js";
import { $, make, put, theme } from "./shell.js";
import { stepName } from "./words.js";

theme();
let drawn = null;
const frame = state => { for (const name of ["loading", "gone", "live"]) document.body.classList.toggle(name, name === state); };

const live = new Live({
  view(view) {
    document.body.classList.toggle("train", view.rehearsal === true);
    put($("#title"), view.title ?? "raisewatch");
    put($("#how"), view.plan === false ? "No plan. Recording only." : `${view.rehearsal ? "REHEARSAL. " : ""}Step: ${stepName(view.step).toLowerCase()}. Live.`);
    const towers = view.towers ?? [], key = JSON.stringify(towers.map(tower => [tower.id, tower.name]));
    if (key === drawn) return;
    drawn = key;
    $("#towers").replaceChildren(...towers.map(tower => make("a", { class: "place", href: `/tower/${encodeURIComponent(tower.id)}` },
      make("b", { class: "c" }, tower.name ?? tower.id), make("span", {}, "one word for the person at this winch"))));
  },
  call() {},
  state(state) {
    frame(state);
    if (live.reason) put($("#how"), live.reason);
    else if (state === "gone") put($("#how"), "Not live. Trying again.");
  },
}, "/live?deck");
