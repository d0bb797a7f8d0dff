// The pages as files: nothing from outside, nothing that a strict content policy would refuse, no word that promises.
import "./english.js";
import { test } from "node:test";
import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { extname, join } from "node:path";
import { gzipSync } from "node:zlib";
import { english, fill } from "../fixture/words.js";

const root = fileURLToPath(new URL("../../../daemon/pages/", import.meta.url));
const files = readdirSync(root, { recursive: true }).map(String);
const texts = files.filter(name => [".html", ".css", ".js"].includes(extname(name)))
  .map(name => [name, readFileSync(join(root, name), "utf8")]);

test("there are pages to check", () => assert.ok(texts.length > 0));

for (const [name, text] of texts) {
  test(`${name} fetches nothing from outside`, () => {
    const outside = text.replaceAll("http://www.w3.org/2000/svg", "").match(/(https?:)?\/\/[\w-]+\.[\w.-]+/g);
    assert.equal(outside, null);
  });
}
for (const [name, text] of texts.filter(([name]) => name.endsWith(".html"))) {
  test(`${name} holds no script or style of its own, and says what it is not`, () => {
    assert.doesNotMatch(text, /<style|style=|<script>|\son\w+=/);
    assert.match(text, /\{\{advises\}\}/);
    assert.match(text, /<html lang="\{\{language\}\}">/);
  });
}

test("every word of the pages is in the phrase file, none of it lies about unused, and no page words anything itself", () => {
  const words = english(), source = texts.map(([, text]) => text).join("\n"), keys = Object.keys(words);
  // Some keys are made of what the monitor says: a step, a state, a look.
  const made = ["step-", "desk-state-", "desk-role-", "desk-zero-", "desk-recording-"];
  for (const [, key] of source.matchAll(/\bt\("([a-z-]+)"/g)) assert.ok(key in words, `no phrase page-${key}`);
  for (const key of keys) assert.ok(source.includes(`"${key}"`) || source.includes(`{{${key}}}`) || made.some(begin => key.startsWith(begin)) || /^desk-(seen|shelve|unshelve|release|note|warn|stop|raised|acknowledged|mending|returned|latched|shelved|cleared)$|^(language|gone|loading|kilograms|pounds|newtons|kilonewtons|millimetres|inches)$/.test(key), `page-${key} is never said`);
  for (const [name, text] of texts.filter(([name]) => name.endsWith(".html"))) {
    const own = text.replace(/<title>.*?<\/title>|<!--.*?-->|\{\{.*?\}\}|<[^>]*>/g, " ").replace(/F[124]|Tab|Shift|Enter|raisewatch/g, " ");
    assert.doesNotMatch(own, /[A-Za-z]{2}/, `${name} words something itself`);
    assert.doesNotMatch(text, /aria-label="[^{"]/, name);
  }
});

test("all pages together, as they are sent, are under 150 kB", () => {
  const sent = files.filter(name => extname(name) && !name.includes("OFL")).map(name => { const bytes = name.endsWith(".html") ? Buffer.from(fill(readFileSync(join(root, name), "utf8"), english())) : readFileSync(join(root, name)); return name.endsWith(".woff2") ? bytes.length : gzipSync(bytes).length; });
  const whole = sent.reduce((sum, one) => sum + one, 0);
  console.log(`# all pages as sent: ${whole} bytes`);
  assert.ok(whole < 150_000, `${whole} bytes`);
});
