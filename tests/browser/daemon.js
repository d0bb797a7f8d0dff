// The real program, rehearsing its own demo: broker, watch, simulator and pages in one process.
import { spawn } from "node:child_process";
import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

const built = fileURLToPath(new URL("../../target/debug/raisewatch", import.meta.url));
export const PROGRAM = process.env.RAISEWATCH ?? built;

/** Starts a rehearsal and waits until it has printed its pages. -> addresses by role, its lines, ways to end it. */
export const rehearse = (...options) => start("rehearse", "--listen", "127.0.0.1:0", ...options);

/** Watches with a kit alone, being its own broker at a port that is free. */
export async function watchKit(kit) {
  const port = await new Promise(done => { const probe = createServer().listen(0, "127.0.0.1", () => { const { port } = probe.address(); probe.close(() => done(port)); }); });
  return start("watch", "--kit", kit, "--listen", "127.0.0.1:0", "--own-broker", `127.0.0.1:${port}`);
}

async function start(...options) {
  if (!existsSync(PROGRAM)) throw new Error(`${PROGRAM} is not there; cargo build --workspace makes it`);
  const folder = mkdtempSync(join(tmpdir(), "raisewatch-"));
  const child = spawn(PROGRAM, [...options, "--record", folder], { stdio: ["ignore", "pipe", "pipe"] });
  const pages = new Map(), lines = [];
  let ended = null;
  const roles = ["spotter", "tower A", "tower B", "lead", "view"];
  const printed = new Promise((done, fail) => {
    let open = "";
    const read = bytes => {
      open += bytes;
      const whole = open.split("\n");
      open = whole.pop();
      for (const line of whole) {
        lines.push(line);
        const page = line.match(/^page (\S+(?: \S+)?) (http\S+)$/);
        if (page) pages.set(page[1], page[2]);
        if (roles.every(role => pages.has(role))) done();
      }
    };
    // A rehearsal shows its pages on standard output, a watch on standard error.
    child.stdout.on("data", read);
    child.stderr.on("data", read);
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
