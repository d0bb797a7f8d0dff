// The first page: which pages there are for this lift.
import { Live } from "./live.js";
import { agree, t } from "./phrases.js";
import { $, make, put, theme } from "./shell.js";
import { stepName } from "./words.js";

theme();
let drawn = null;
const frame = state => { for (const name of ["loading", "gone", "live"]) document.body.classList.toggle(name, name === state); };

const live = new Live({
  view(view) {
    agree(view.words);
    document.body.classList.toggle("train", view.rehearsal === true);
    put($("#title"), view.title ?? "raisewatch");
    put($("#how"), view.plan === false ? t("no-plan") : `${view.rehearsal ? `${t("rehearsal-flag")}. ` : ""}${t("index-live", { step: stepName(view.step).toLowerCase() })}`);
    const towers = view.towers ?? [], key = JSON.stringify(towers.map(tower => [tower.id, tower.name]));
    if (key === drawn) return;
    drawn = key;
    $("#towers").replaceChildren(...towers.map(tower => make("a", { class: "place", href: `/tower/${encodeURIComponent(tower.id)}` },
      make("b", { class: "c" }, tower.name ?? tower.id), make("span", {}, t("index-tower")))));
  },
  call() {},
  state(state) {
    frame(state);
    if (live.reason) put($("#how"), live.reason);
    else if (state === "gone") put($("#how"), t("index-gone"));
  },
}, "/live?deck");
