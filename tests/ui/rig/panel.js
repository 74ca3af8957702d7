// The real binary with its simulated table, started for one test and ended after it.

import { spawn } from "node:child_process";
import { mkdtemp, mkdir, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { until } from "./wait.js";

const BINARY = process.env.STANDCLEAR_BIN ?? new URL("../../../target/debug/standclear", import.meta.url).pathname;

/**
 * @param {string[]} [args]  further arguments of `practice`
 * @param {Record<string, string>} [programs]  files for the programs folder
 * @param {string} [given]  the one of them that is named on the command line, without its ending
 */
export async function practice(args = [], programs = {}, given = undefined) {
  const state = await mkdtemp(join(tmpdir(), "standclear-ui-"));
  await mkdir(join(state, "programs"));
  for (const [name, text] of Object.entries(programs)) await writeFile(join(state, "programs", name), text);
  const named = given ? [join(state, "programs", `${given}.nc`), "--setup", join(state, "programs", `${given}.toml`)] : [];
  const child = spawn(BINARY, ["practice", ...named, "--state", state, "--listen", "127.0.0.1:0", ...args], { stdio: ["ignore", "pipe", "pipe"] });
  let out = "";
  let err = "";
  let ended = null;
  child.stdout.on("data", (data) => { out += data; });
  child.stderr.on("data", (data) => { err += data; });
  child.on("error", (e) => { ended = String(e); });
  child.on("exit", (code, signal) => { ended = `exit ${code ?? signal}`; });
  const status = () => `${BINARY}\n${out}\n${err}\n${ended ?? ""}`;
  const address = await until("the address of the console", () => {
    if (ended) throw new Error(`the panel ended: ${status()}`);
    return out.match(/http:\/\/[^\s]+/)?.[0];
  }, { status });
  return {
    address,
    status,
    /** Stops and goes on with the whole process: a panel that hangs. */
    freeze: () => child.kill("SIGSTOP"),
    thaw: () => child.kill("SIGCONT"),
    async end() {
      child.kill("SIGCONT");
      child.kill("SIGTERM");
      try {
        await until("the panel to end", () => ended, { limitMs: 10_000, status });
      } finally {
        child.kill("SIGKILL");
        await rm(state, { recursive: true, force: true });
      }
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
