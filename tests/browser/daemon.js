// The real program, rehearsing its own demo: broker, watch, simulator and pages in one process.
import { spawn } from "node:child_process";
import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

const built = fileURLToPath(new URL("../../target/debug/raisewatch", import.meta.url));
export const PROGRAM = process.env.RAISEWATCH ?? built;

/** Starts a rehearsal and waits until it has printed its pages. -> addresses by role, its lines, ways to end it. */
export async function rehearse(...options) {
  if (!existsSync(PROGRAM)) throw new Error(`${PROGRAM} is not there; cargo build --workspace makes it`);
  const folder = mkdtempSync(join(tmpdir(), "raisewatch-"));
  const child = spawn(PROGRAM, ["rehearse", "--listen", "127.0.0.1:0", "--record", folder, ...options], { stdio: ["ignore", "pipe", "pipe"] });
  const pages = new Map(), lines = [];
  let ended = null;
  const roles = ["spotter", "tower A", "tower B", "lead", "view"];
  const printed = new Promise((done, fail) => {
    let open = "";
    child.stdout.on("data", bytes => {
      open += bytes;
      const whole = open.split("\n");
      open = whole.pop();
      for (const line of whole) {
        lines.push(line);
        const page = line.match(/^page (\S+(?: \S+)?) (http\S+)$/);
        if (page) pages.set(page[1], page[2]);
        if (roles.every(role => pages.has(role))) done();
      }
    });
    child.stderr.on("data", bytes => lines.push(`! ${bytes}`));
    child.on("exit", code => { ended = code; fail(new Error(`the program ended with ${code} before its pages were printed:\n${lines.join("\n")}`)); });
  });
  await printed;
  return {
    pages, lines, child, url: new URL(pages.get("spotter")).origin,
    kill(signal) { child.kill(signal); },
    async end() {
      if (ended === null && child.exitCode === null && child.signalCode === null) {
        const gone = new Promise(done => child.once("exit", done));
        child.kill("SIGCONT");
        child.kill("SIGKILL");
        await gone;
      }
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
