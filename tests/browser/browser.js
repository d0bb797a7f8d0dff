// Debian's Chromium, driven by playwright-core.
import { existsSync } from "node:fs";
import { mkdirSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

export const SHOTS = fileURLToPath(new URL("../shots/", import.meta.url));
export const SCREENS = {
  phone: { viewport: { width: 390, height: 844 }, deviceScaleFactor: 2, hasTouch: true, isMobile: true },
  small: { viewport: { width: 360, height: 640 }, deviceScaleFactor: 2, hasTouch: true, isMobile: true },
  landscape: { viewport: { width: 844, height: 390 }, deviceScaleFactor: 2, hasTouch: true, isMobile: true },
  laptop: { viewport: { width: 1440, height: 900 } },
};

export async function launch(...more) {
  const path = ["/usr/bin/chromium", "/usr/bin/chromium-browser"].find(existsSync);
  if (!path) throw new Error("no Chromium at /usr/bin/chromium; tests/setup installs it");
  mkdirSync(SHOTS, { recursive: true });
  return chromium.launch({ executablePath: path, args: ["--no-sandbox", "--autoplay-policy=no-user-gesture-required", ...more] });
}
