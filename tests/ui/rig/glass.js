// The console in a real browser without a panel behind it: messages as the panel writes them are laid
// on the glass one by one. Quick, and every state can be had.

import { createServer } from "node:http";
import { readFile } from "node:fs/promises";
import { readFileSync } from "node:fs";
import { extname } from "node:path";
import { fixture } from "./fixtures.js";
import { screen } from "./screen.js";
import { lostArc } from "./trace.js";

const ROOT = new URL("../../../ui-static/", import.meta.url);
const TYPES = { ".html": "text/html", ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".woff2": "font/woff2" };

/** The views of every stop, by name, each whole. Written by a test of the machine itself. */
export const stops = () => views("stops");

/** The views of every step of commissioning, turn by turn. */
export const proofs = () => views("steps");

function views(file) {
  const text = readFileSync(new URL(`../../fixtures/messages/${file}.snap`, import.meta.url), "utf8");
  const lines = text.slice(text.indexOf("\n---\n") + 5).split("\n").filter((line) => line.startsWith("["));
  const parsed = lines.map((line) => JSON.parse(line));
  let view = {};
  return parsed.map(([name, set]) => {
    view = { ...view, ...set };
    return { name, view };
  });
}

/** Two squares on a sheet: the cuts that the views of the stops speak of. */
export function twoSquares(name) {
  const square = (x, y, s) => {
    const corners = [[x, y], [x + 5, y], [x + 5 + s, y], [x + 5 + s, y + s], [x + 5, y + s], [x + 5, y]];
    let along = 0;
    const points = corners.map(([px, py], k) => {
      if (k > 0) along += Math.hypot(px - corners[k - 1][0], py - corners[k - 1][1]);
      return [px, py, along];
    });
    return { pierce: [x, y], length_mm: along, points };
  };
  const { drawing } = fixture("job");
  return { ...fixture("job"), name, drawing: { ...drawing, sheet: [400, 300], clamp: [370, 270], keepouts: [], used: [], loose: [], cuts: [square(100, 60, 60), square(225, 90, 60)] } };
}

/** A socket that is told what to say by the test, and lives. */
function fakeSocket() {
  window.WebSocket = class {
    constructor() {
      window.told = this;
      this.n = 0;
      this.at_s = 100;
      setInterval(() => this.n > 0 && this.say({ kind: "delta", set: {} }), 100);
    }
    say(message) {
      this.n += 1;
      this.at_s += 0.1;
      this.onmessage({ data: JSON.stringify({ v: 1, n: this.n, at_s: this.at_s, ...message }) });
    }
    close() {}
  };
}

/**
 * @param {keyof typeof import("./screen.js").GLASSES} glass
 * @param {{ api?: Record<string, any>, jobName?: string, job?: any }} [given]  answers to GET by path
 */
export async function laid(t, glass, given = {}) {
  const job = given.job ?? twoSquares(given.jobName ?? "Hinge plates");
  const answers = {
    "/api/programs": () => fixture("programs"),
    "/api/program": () => fixture("program"),
    "/api/job": (url) => ({ ...job, seal: url.searchParams.get("seal") }),
    "/api/ways": (url) => ({ ...fixture("ways"), generation: 1, back_mm: Number(url.searchParams.get("back_mm")) }),
    "/api/events": () => fixture("events"),
    "/api/trace": () => lostArc(),
    "/api/stop": () => ({ v: 1, generation: 1, likely: "likely a corner, 2.0 mm ahead", volts: 120, height_mm: 1.5, trace: lostArc() }),
    "/api/runs": () => fixture("runs"),
    "/api/replay": () => fixture("replay"),
    ...given.api,
  };
  const server = createServer(async (request, response) => {
    const url = new URL(request.url, "http://glass");
    const answer = answers[url.pathname];
    try {
      const path = url.pathname === "/" ? "index.html" : url.pathname.slice(1);
      const body = answer ? JSON.stringify(answer(url)) : await readFile(new URL(path, ROOT));
      response.writeHead(200, { "content-type": answer ? "application/json" : TYPES[extname(path)] ?? "text/plain" });
      response.end(body);
    } catch {
      response.writeHead(404).end("{}");
    }
  });
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  t.after(() => server.close());
  const { table } = fixture("snapshot");
  const s = await screen(`http://127.0.0.1:${server.address().port}/`, glass, fakeSocket);
  t.after(() => s.end());
  return Object.assign(s, {
    /** Lays a view on the glass, as a panel would that starts anew, and waits until it is drawn. */
    async lay(view, over = {}) {
      await s.page.evaluate(async (message) => {
        const frame = () => new Promise((done) => requestAnimationFrame(done));
        window.told.say(message);
        // Once for the state, once for what follows from the sizes of what was drawn.
        await frame();
        await frame();
        await frame();
      }, { kind: "snapshot", table: { ...table, opens_on: null, ...over }, view });
    },
    /** Waits until the drawing of the job is at hand. */
    async drawn() {
      await s.page.waitForFunction(() => document.fonts.status === "loaded");
      await s.page.waitForFunction(() => performance.getEntriesByType("resource").some((r) => r.name.includes("/api/job")));
    },
  });
}
