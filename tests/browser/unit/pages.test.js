// The pages as files: nothing from outside, nothing that a strict content policy would refuse, no word that promises.
import { test } from "node:test";
import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { extname, join } from "node:path";
import { gzipSync } from "node:zlib";

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
    assert.match(text, /advises only; no safety function/);
    assert.match(text, /<html lang="en">/);
  });
}

test("all pages together, as they are sent, are under 150 kB", () => {
  const sent = files.filter(name => extname(name) && !name.includes("OFL")).map(name => { const bytes = readFileSync(join(root, name)); return name.endsWith(".woff2") ? bytes.length : gzipSync(bytes).length; });
  const whole = sent.reduce((sum, one) => sum + one, 0);
  console.log(`# all pages as sent: ${whole} bytes`);
  assert.ok(whole < 150_000, `${whole} bytes`);
});
