// What a page says aloud: the word first, by the browser's own voice, then the tones; the hand feels it as well.

import { lookOf } from "./picture.js";
import { language, t } from "./phrases.js";
import { CODE, Turn } from "./tones.js";

const VOICE_STARTS_MS = 700, VOICE_ENDS_MS = 4_000, RAMP_S = 0.01, GONE_EVERY_MS = 2_000;
const HARMONICS = [[1, .62], [2, .25], [3, .13]]; // small speakers carry the second and third better than the first

export class Sound {
  #dumb = false; // an attempt to speak was not begun in time: no voice here, until one is loaded
  #context = null; #turn = new Turn(); #pending = null; #gone = null; #speaking = 0;
  onChange = () => {};
  /** A replay is looked at, not heard. */
  quiet = false;

  /** Whether this page can be heard: the browser lets sound out only after a touch. */
  get on() { return this.#context?.state === "running"; }
  /** Whether the browser has a voice. A list that is still empty may fill: then speaking is tried, and told by its silence. */
  get voice() { return "speechSynthesis" in globalThis && (speechSynthesis.getVoices().length > 0 || !this.#dumb); }
  get shakes() { return typeof navigator.vibrate === "function"; }

  /** Call from a touch or a key. */
  async open() {
    const Context = globalThis.AudioContext ?? globalThis.webkitAudioContext;
    if (!Context) return false;
    if (!this.#context) {
      this.#context = new Context();
      this.#context.onstatechange = () => this.onChange();
    }
    await this.#context.resume().catch(() => {});
    this.onChange();
    return this.on;
  }

  /** A call as it is said or repeated: the watch decides when, this page only gives it a voice. */
  call(call) {
    const look = lookOf(call);
    if (look !== "none") this.say(look === "calm" ? "over" : look, call.text);
  }

  /** Says `text`, then the tones of `kind`. One voice: what waits is replaced by what is newer; a graver one cuts in. */
  say(kind, text) {
    if (this.quiet) return;
    const now = performance.now(), wait = this.#turn.wait(kind, now);
    clearTimeout(this.#pending);
    if (wait > 0) { this.#pending = setTimeout(() => this.say(kind, text), wait); return; }
    this.#turn.said(kind, now);
    const mine = ++this.#speaking;
    this.#shake(kind);
    this.#speak(text).then(() => { if (mine === this.#speaking) this.#tones(kind); });
  }

  /** The page's own alarm: it has lost the monitor. Until `found`. */
  lost() {
    if (this.#gone !== null) return;
    clearTimeout(this.#pending);
    this.say("gone", t("not-live"));
    this.#gone = setInterval(() => { this.#shake("gone"); this.#tones("gone"); }, GONE_EVERY_MS);
  }
  found() {
    if (this.#gone === null) return;
    clearInterval(this.#gone);
    this.#gone = null;
    this.say("note", t("live-again"));
  }

  #speak(text) {
    if (!this.on || !text || !this.voice) return Promise.resolve();
    return new Promise(done => {
      speechSynthesis.cancel();
      const words = new SpeechSynthesisUtterance(text);
      words.lang = language();
      words.rate = 1.05;
      const dumb = setTimeout(() => { this.#dumb = true; this.onChange(); done(); }, VOICE_STARTS_MS);
      const long = setTimeout(done, VOICE_ENDS_MS);
      words.onstart = () => { this.#dumb = false; clearTimeout(dumb); };
      words.onend = words.onerror = () => { clearTimeout(dumb); clearTimeout(long); done(); };
      speechSynthesis.speak(words);
    });
  }

  #tones(kind) {
    if (!this.on) return;
    const start = this.#context.currentTime + .02;
    for (const tone of CODE[kind]?.tones ?? []) this.#tone(start + tone.at / 1000, tone);
  }

  #tone(at, { from, to, ms }) {
    const end = at + ms / 1000, gain = this.#context.createGain();
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(.9, at + RAMP_S);
    gain.gain.setValueAtTime(.9, end - RAMP_S);
    gain.gain.linearRampToValueAtTime(0, end);
    gain.connect(this.#context.destination);
    for (const [times, loud] of HARMONICS) {
      const voice = this.#context.createOscillator(), part = this.#context.createGain();
      part.gain.value = loud;
      voice.frequency.setValueAtTime(from * times, at);
      voice.frequency.linearRampToValueAtTime(to * times, end);
      voice.connect(part).connect(gain);
      voice.start(at);
      voice.stop(end);
    }
  }

  #shake(kind) {
    const pattern = CODE[kind]?.shake ?? [];
    if (this.shakes && pattern.length) navigator.vibrate(pattern);
  }
}
