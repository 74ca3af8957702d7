// Pictures of the states that matter most, on every glass and in every light, to be looked at one by
// one: `STANDCLEAR_SCREENS=folder node --test gallery.js`. It proves nothing by itself; the audits do.
// `STANDCLEAR_GLASS` and `STANDCLEAR_THEME` take one of each.

import test from "node:test";
import { fixture } from "./rig/fixtures.js";
import { laid, proofs, stops } from "./rig/glass.js";
import { manyParts } from "./rig/job.js";
import { GLASSES } from "./rig/screen.js";
import { forMs, until } from "./rig/wait.js";

const THEMES = (process.env.STANDCLEAR_THEME ?? "day,night,glare").split(",");
const SEEN_ON = (process.env.STANDCLEAR_GLASS ?? Object.keys(GLASSES).join(",")).split(",");

const allow = (...asks) => ["hold", ...asks].map((ask) => ({ ask, refused: null }));

/** Each state: its name, the view to lay, and what is touched then. */
function states(cutsOfJob) {
  const stop = Object.fromEntries(stops().map(({ name, view }) => [name, view]));
  const proof = Object.fromEntries(proofs().map(({ name, view }) => [name, view]));
  const turn = (start, says) => proof[Object.keys(proof).find((name) => name.startsWith(start) && (proof[name].commissioning.open?.says ?? "").includes(says))];
  const { view } = fixture("snapshot");
  const near = { safe: true, why: "Permit relay and arc are seen off. Nothing moves." };
  const more = (v, over = {}) => ({ ...v, cuts: Array.from({ length: cutsOfJob }, (_, k) => v.cuts[k] ?? { state: "to-do", done: [] }), ...over });
  const idle = { ...view, near, phase: "idle", hold: null, alarms: [], change: null, seal: null, cut: null, run: null, marks: [], entries: [], waiting_for: "job", allowed: allow("load", "unload", "change-begin") };
  const checks = ["job-sealed", "no-latch", "estop-closed", "link-alive", "referenced", "place-sure", "arc-ok-open", "fire-on-open", "contact-open", "air-good", "source-on", "torch-seated", "permit-open", "permit-tested", "record-kept", "parts-tested"]
    .map((check) => ({ check, says: fixture("checks")[check], remedy: "Look at the compressor. Open the tap of the air line.", vouched: false, holds: check !== "air-good" }));
  const vouched = [["clamp-on-skeleton", "the ground clamp bites the piece that stays"], ["sheet-fixed", "the sheet cannot shift"], ["slats-clear", "slats and path are clear"], ["eyes-and-ears", "eye shade and ear muffs are on"], ["nobody-inside", "nobody is inside the line"], ["extraction-on", "fume extraction runs"]]
    .map(([check, says], k) => ({ check, says, remedy: "", vouched: true, holds: k < 2 ? true : null }));
  const loaded = more({ ...idle, seal: "00aa", cuts: [], doubtful: false, waiting_for: "checks", allowed: allow("unload", "vouch") });
  const ready = { ...loaded, phase: "ready", waiting_for: "start", checks: [...checks, ...vouched].map((c) => ({ ...c, holds: true })), allowed: allow("unload", "vouch", "start") };
  const done = (v, n) => v.cuts.map((c, k) => (k < n ? { state: "done", done: [] } : k === n ? { state: "now", done: [[0, 71]] } : c));
  const run = more({ ...view, near, alarms: [], hold: null, change: null, marks: [], entries: [], phase: "running", step: "cut", waiting_for: "nothing", waited_s: 2, cuts: [], cut: 8 });
  const cutting = { ...run, cuts: done(run, 7), torch: { ...view.torch, place: [66, 225], arc: "on", moving: true, permit: true, height_mm: 1.5, feed_mm_s: 40 }, signals: { ...view.signals, volts: 118, arc_ok: true, fire_on: true } };
  const pierce = { ...cutting, step: "await-arc", waiting_for: "arc-to-come-on", waited_s: 1.3, torch: { ...cutting.torch, arc: "asked", moving: false } };
  const change = { ...view, near, phase: "changing", hold: null, alarms: [], marks: [], allowed: allow("change-isolated", "change-cancel"), change: { ...view.change, step: "isolate", power: "on", power_at_s: 60, changed: null }, parts: { ...view.parts, parts: ["nozzle", "electrode", "shield", "swirl-ring"].map((part, k) => ({ ...view.parts.parts[0], part, starts: 412 - 60 * k })) } };
  const finish = more({ ...view, near, phase: "finished", hold: null, alarms: [], change: null, marks: [], pierces: 17, allowed: allow("unload"), waiting_for: "job" });
  return [
    ["program", idle],
    ["report", idle, async (s) => { await s.tap("[data-program]"); await s.on("report"); await until("a verdict", () => s.has("[data-verdict]")); }],
    ["checks", { ...loaded, checks: [...checks, ...vouched] }],
    ["checks-confirm", { ...loaded, checks: [...checks, ...vouched] }, async (s, again) => { await s.tap(".column .feet .target:last-child"); await again(); }],
    ["ready", ready],
    ["cut", cutting],
    ["cut-pierce", pierce],
    ["stopping", more(stop["arc-lost, stopping"])],
    ["held-by-you", more(stop["hold, new"])],
    ["lost-arc-new", more(stop["arc-lost, new"])],
    ["lost-arc-ways", more(stop["arc-lost, cleared"])],
    ["resume", { ...more(stop["arc-lost, cleared"]), generation: 1 }, async (s, again) => { await s.tap(".target:has-text('Go on with cut')"); await s.on("resume"); await again(); await until("a way", () => s.has(".target:has-text('Go on this way')"), { limitMs: 4000 }).catch(() => {}); }],
    ["go", { ...more(stop["arc-lost, cleared"]), generation: 1 }, async (s, again) => { await s.tap(".target:has-text('Go on this way')"); await s.on("go"); await again(); await s.tap(".first-step"); await again(); }],
    ["estop-new", more(stop["estop, new"])],
    ["estop-seen", more(stop["estop, seen"])],
    ["knocked-new", more(stop["torch-unseated, new"])],
    ["no-link", more(stop["link-cut, still unplugged"])],
    ["air-low", more(stop["air-low, new"])],
    ["happened-estop", more(stop["estop, new"]), async (s, again) => { await s.tap(".target:has-text('What happened')"); await s.on("happened"); await again(); }],
    ["happened-lost-arc", more(stop["arc-lost, seen"]), async (s, again) => { await s.tap(".target:has-text('What happened')"); await s.on("happened"); await again(); }],
    ["curves", more(stop["arc-lost, seen"]), async (s, again) => { await s.tap(".target:has-text('What happened')"); await s.on("happened"); await again(); if (await s.has(".target:has-text('Record'):visible")) await s.tap(".target:has-text('Record')"); await s.tap(".target:has-text('Curves')"); await s.on("curves"); await again(); }],
    ["parts", change],
    ["finish", { ...finish, cuts: finish.cuts.map(() => ({ state: "done", done: [] })) }],
    ["datum", more(stop["estop, referenced"])],
    ["setup", idle, async (s, again) => { await s.tap(".target:has-text('Set up')"); await s.on("setup"); await again(); }],
    ["commission", proof["inputs, before"], async (s, again) => { await s.tap(".target:has-text('Set up')"); await s.on("setup"); await s.tap(".target:has-text('More')"); await s.tap(".target:has-text('Commission')"); await s.on("commission"); await again(); await s.tap(".target:has-text('Next step')"); await again(); }],
    ["commission-question", turn("papers", "wiring list")],
    ["commission-hand", turn("inputs", "Bridge the arc signal")],
    ["commission-pulse", turn("permit", "isolated")],
    ["commission-fire", turn("dry-fire", "eyes covered")],
    ["commission-over", proof["inputs, over"]],
    ["lamp", idle, async (s, again) => { await s.tap(".target:has-text('Set up')"); await s.on("setup"); await s.tap(".target:has-text('Lamp test')"); await s.on("lamp"); await s.tap(".target:has-text('Next')"); await s.tap(".target:has-text('Next')"); await again(); }],
  ];
}

test("pictures of the states that matter most", { concurrency: true }, async (t) => {
  await Promise.all(SEEN_ON.map(async (glass) => {
    const job = manyParts();
    const s = await laid(t, glass, { job });
    const only = process.env.STANDCLEAR_STATE?.split(",");
    const all = states(job.drawing.cuts.length);
    const [lying, going] = ["program", "cut"].map((wanted) => all.find(([name]) => name === wanted)[1]);
    for (const [name, view, enter] of all) {
      if (only && !only.includes(name) && !(name === "resume" && only.includes("go"))) continue;
      const table = { practice: process.env.STANDCLEAR_PRACTICE === "1" };
      // What was opened by hand for the last picture is closed again by a page of another state.
      if (name !== "go") await s.lay(view.phase === "running" ? lying : going, table);
      await s.lay(view, table);
      if (name === "program" || name === "report") await until("the programs", () => s.has(".verdict-line:not(:empty), [data-test=verdict]"), { status: s.status });
      else await s.drawn();
      await forMs(430);
      if (enter) await enter(s, () => s.lay(view, table)).catch((e) => console.error(glass, name, e.message.split("\n")[0]));
      for (const theme of THEMES) {
        await s.page.evaluate((to) => { document.documentElement.dataset.theme = to; }, theme);
        await s.lay(view, table);
        await s.lay(view, table);
        await s.shot(`${name}-${theme}`);
      }
      await s.page.evaluate(() => { document.documentElement.dataset.theme = "day"; });
    }
  }));
});
