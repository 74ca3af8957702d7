// The real binary with its simulated table, started for one test and ended after it.

import { spawn } from "node:child_process";
import { mkdtemp, mkdir, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { until } from "./wait.js";

const BINARY = process.env.STANDCLEAR_BIN ?? new URL("../../../target/debug/standclear", import.meta.url).pathname;

/** A process of the real binary: what it has said, whether it has ended. */
function started(args) {
  const child = spawn(BINARY, args, { stdio: ["ignore", "pipe", "pipe"] });
  const self = { child, out: "", err: "", ended: null };
  child.stdout.on("data", (data) => { self.out += data; });
  child.stderr.on("data", (data) => { self.err += data; });
  child.on("error", (e) => { self.ended = String(e); });
  child.on("exit", (code, signal) => { self.ended = `exit ${code ?? signal}`; });
  self.status = () => `${BINARY}\n${self.out}\n${self.err}\n${self.ended ?? ""}`;
  self.over = (what) => until(what, () => self.ended, { limitMs: 10_000, status: self.status });
  return self;
}

/** Waits for the address of a panel's console. */
const addressOf = (panel) => until("the address of the console", () => {
  if (panel.ended) throw new Error(`the panel ended: ${panel.status()}`);
  return panel.out.match(/http:\/\/[^\s]+/)?.[0];
}, { status: panel.status });

/** A new folder with these programs, and the arguments that name one of them. */
async function folder(programs, given) {
  const state = await mkdtemp(join(tmpdir(), "standclear-ui-"));
  await mkdir(join(state, "programs"));
  for (const [name, text] of Object.entries(programs)) await writeFile(join(state, "programs", name), text);
  const named = given ? [join(state, "programs", `${given}.nc`), "--setup", join(state, "programs", `${given}.toml`)] : [];
  return { state, args: ["practice", ...named, "--state", state] };
}

/**
 * @param {string[]} [args]  further arguments of `practice`
 * @param {Record<string, string>} [programs]  files for the programs folder
 * @param {string} [given]  the one of them that is named on the command line, without its ending
 */
export async function practice(args = [], programs = {}, given = undefined) {
  const { state, args: named } = await folder(programs, given);
  const listen = args.includes("--listen") ? [] : ["--listen", "127.0.0.1:0"];
  const panel = started([...named, ...listen, ...args]);
  return {
    address: await addressOf(panel),
    status: panel.status,
    /** Stops and goes on with the whole process: a panel that hangs. */
    freeze: () => panel.child.kill("SIGSTOP"),
    thaw: () => panel.child.kill("SIGCONT"),
    async end() {
      panel.child.kill("SIGCONT");
      panel.child.kill("SIGTERM");
      try {
        await panel.over("the panel to end");
      } finally {
        panel.child.kill("SIGKILL");
        await rm(state, { recursive: true, force: true });
      }
    },
  };
}

/**
 * A panel beside a table that is a process of its own: the panel may be killed and started again,
 * at the same address, while the table goes on.
 * @param {string[]} args  further arguments of the table
 */
export async function ownTable(args, programs, given) {
  const { state, args: named } = await folder(programs, given);
  const dir = join(state, "table");
  await mkdir(dir);
  const table = started(["table", "--dir", dir, ...args]);
  // The panel itself waits for the table.
  const beside = (listen) => started([...named, "--table", dir, "--listen", listen]);
  let panel = beside("127.0.0.1:0");
  const address = await addressOf(panel);
  return {
    address,
    status: () => panel.status(),
    /** The power of the panel goes, without a word. */
    async kill() {
      panel.child.kill("SIGKILL");
      await panel.over("the panel to be gone");
    },
    async again() {
      panel = beside(new URL(address).host);
      await addressOf(panel);
    },
    async end() {
      for (const one of [panel, table]) one.child.kill("SIGKILL");
      await Promise.all([panel.over("the panel to end"), table.over("the table to end")]);
      await rm(state, { recursive: true, force: true });
    },
  };
}

/** Our own test piece: three squares on an invented sheet, the first so far from its edge. */
export function testPiece(fromEdge = 60) {
  const square = (x, y, s) => [`G0 X${x} Y${y}`, "M3", `G1 X${x + 5} F1100`, `X${x + 5 + s}`, `Y${y + s}`, `X${x + 5}`, `Y${y - 1}`, "M5"];
  const program = ["(INVENTED DATA - not for cutting metal)", "G21 G90", ...square(60, fromEdge, 60), ...square(160, 60, 60), ...square(60, 150, 60), "M30", ""];
  const setup = ["# INVENTED DATA - not for cutting metal", 'material = "mild-steel"', "thickness = 5", "sheet = [300, 250]", "origin = [0, 0]", "clamp = [270, 220]", 'chart = "mild-steel 5 mm 40 A"', ""];
  return { "test-piece.nc": program.join("\n"), "test-piece.toml": setup.join("\n") };
}
