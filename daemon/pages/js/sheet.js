// The sheet behind the header: what this program is not, sound check, name, theme. Open at first, closed for good by
// an answer; it never covers the call or STOP.

import { t } from "./phrases.js";
import { $, here, kept, make, put, say, set, theme, whoami } from "./shell.js";
import { span } from "./words.js";

const WAVES = "M1 6h4l5-5v16l-5-5H1z M13 5q3 4 0 8M16 2q6 7 0 14", CROSSED = "M1 6h4l5-5v16l-5-5H1z M13 5l7 8M20 5l-7 8";

export class Sheet {
  #sheet; #button; #sound; #place; #heard = null; #sleep = null; #state = "loading"; #age = null; #stands = null; #aside = false; #unrecorded = null;

  constructor(sheet, button, sound, place) {
    this.#sheet = sheet;
    this.#button = button;
    this.#sound = sound;
    this.#place = place;
    this.#fill();
    const icon = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    for (const [name, value] of [["width", "22"], ["height", "18"], ["viewBox", "0 0 22 18"], ["aria-hidden", "true"]]) icon.setAttribute(name, value);
    const path = icon.appendChild(document.createElementNS("http://www.w3.org/2000/svg", "path"));
    for (const [name, value] of [["fill", "currentColor"], ["stroke", "currentColor"], ["stroke-width", "1.5"], ["fill-opacity", "0.9"]]) path.setAttribute(name, value);
    this.icon = path;
    button.append(icon, make("span", { class: "how" }), make("span", { "aria-hidden": "true" }, "·"), make("b", { class: "alive" }));
    button.addEventListener("click", () => { this.#aside = false; this.open(sheet.hidden); });
    sound.onChange = () => this.draw();
    this.open(true);
    this.draw();
  }

  #fill() {
    const name = make("input", { id: "who", autocomplete: "nickname", maxlength: 40 });
    name.value = kept("name") ?? "";
    name.addEventListener("change", () => { kept("name", name.value.trim()); if (name.value.trim()) whoami(name.value.trim()); });
    const button = (text, cls, act) => { const made = make("button", { class: cls, type: "button" }, text); made.addEventListener("click", act); return made; };
    this.#sheet.append(
      make("h2", {}, t("sound-title")),
      make("p", {}, make("b", {}, `${t("advises")}.`), ` ${t("sound-how")}`),
      make("div", { class: "row" }, make("label", { for: "who" }, t("sound-name")), name),
      make("div", { class: "row" },
        button(t("sound-play"), "btn pri play", () => this.#play()),
        button(t("sound-heard"), "btn heardit", () => this.#heardIt())),
      make("p", { class: "m can", role: "status" }),
      make("div", { class: "row" },
        button(t("sound-theme"), "btn", () => theme(true)),
        button(t("sound-close-off"), "btn close", () => this.open(false))),
    );
  }

  async #play() {
    await this.#sound.open();
    this.#sound.say("over", t("sound-check"));
    this.draw();
  }

  async #heardIt() {
    await this.#sound.open();
    const answer = await say({ said: "sound-heard", by: here(this.#place()) });
    this.#heard = new Date();
    this.#unrecorded = answer.ok ? null : t("sound-not-recorded", { what: answer.text });
    if (answer.ok) this.open(false);
    this.draw();
  }

  /** A standing call is never covered: the sheet gives way to it, and comes back when it is over if it was not answered.
   *  stands: what tells one call from another; null where none stands. */
  giveWay(stands) {
    if (stands === this.#stands) return;
    this.#stands = stands;
    if (stands !== null && !this.#sheet.hidden) {
      const within = this.#sheet.contains(document.activeElement);
      this.open(false);
      this.#aside = true;
      if (within) this.#button.focus();
    } else if (stands === null && this.#aside) {
      this.#aside = false;
      this.open(true);
    }
  }

  open(wide) {
    this.#sheet.hidden = !wide;
    this.#button.setAttribute("aria-expanded", String(wide));
  }

  sleeps(words) { this.#sleep = words; this.draw(); }
  live(state, age) { this.#state = state; this.#age = age; this.draw(); }

  draw() {
    const on = this.#sound.on, time = this.#heard?.toTimeString().slice(0, 5);
    set(this.icon, "d", on ? WAVES : CROSSED);
    const how = $(".how", this.#button);
    how.classList.toggle("off", !on);
    put(how, !on ? t("sound-off") : this.#heard ? t("sound-answered", { amount: time }) : t("sound-on"));
    put($(".alive", this.#button), this.#state === "live" ? (this.#age > 450 ? t("live-old", { amount: span(this.#age) }) : t("live")) : t(this.#state));
    put($(".close", this.#sheet), t(on ? "sound-close" : "sound-close-off"));
    const can = [this.#sound.shakes ? null : t("sound-no-shake"), this.#sleep, this.#sound.voice ? null : t("sound-no-voice")];
    put($(".can", this.#sheet), this.#unrecorded ?? can.filter(Boolean).join(" "));
  }
}
