// Every page with the longest that it may have to show, on every glass.

import assert from "node:assert/strict";
import test, { describe } from "node:test";
import { looked } from "./rig/audit.js";
import { axed } from "./rig/axe.js";
import { fixture } from "./rig/fixtures.js";
import { laid } from "./rig/glass.js";
import { GLASSES } from "./rig/screen.js";
import { until } from "./rig/wait.js";

/** The one glass on which names, roles and contrast are looked at as well. */
const AXED_ON = "10-inch";

const NAMES = [
  "Gearbox side plate with slotted mounting holes, left hand, revision C",
  "bracket_left_upper_reinforced_with_gusset_6mm_revision_C_corrected",
  "Hinge plates",
  "Ring, outer diameter 480, inner diameter 320, eight holes on the circle",
];
const LONG = "The lead-in of this cut crosses the slot of cut 27 at 12.4 mm from its pierce, where the piece that was cut before may have tipped and stand up to 38.5 mm above the sheet; the limit is 4 mm.";
const REMEDY = "Put cut 28 before cut 27 in the program, or move the pierce at least 9 mm into the scrap. Then have the program read again.";

const { view } = fixture("snapshot");
const near = { safe: true, why: "Permit is off, its relay cannot be seen. Arc is seen off. Nothing moves." };
const allow = (...asks) => ["hold", ...asks].map((ask) => ({ ask, refused: null }));
const idle = { ...view, near, phase: "idle", hold: null, alarms: [], change: null, seal: null, cut: null, run: null, waiting_for: "job", allowed: allow("load", "unload", "change-begin") };

const VOUCHED = [
  ["clamp-on-skeleton", "the ground clamp bites the piece that stays", "Put the clamp on bright metal of the skeleton."],
  ["sheet-fixed", "the sheet cannot shift", "Clamp or weigh the sheet down."],
  ["slats-clear", "slats and path are clear", "Take loose pieces away."],
  ["eyes-and-ears", "eye shade and ear muffs are on", "Put eye shade and ear muffs on."],
  ["nobody-inside", "nobody is inside the line", "Wait until everybody is out."],
  ["extraction-on", "fume extraction runs", "Switch the extraction on."],
  ["fire-watch", "somebody watches for fire", "Stay at the table. Have water or an extinguisher at hand."],
  ["right-parts", "nozzle and electrode suit the current", "Fit the set that the chart row names."],
].map(([check, says, remedy]) => ({ check, says, remedy, vouched: true, holds: null }));
const SEEN = ["job-sealed", "no-latch", "estop-closed", "link-alive", "referenced", "place-sure", "arc-ok-open", "fire-on-open", "contact-open", "air-good", "source-on", "torch-seated", "gate-closed", "permit-open", "permit-tested", "record-kept", "parts-tested"]
  .map((check) => ({ check, says: fixture("checks")[check], remedy: "Open the change of torch parts. Make the contact test.", vouched: false, holds: false }));
const ready = { ...idle, seal: "00aa", phase: "idle", allowed: allow("unload", "vouch", "change-begin") };
const checked = (holds) => [...SEEN.map((c) => ({ ...c, holds })), ...VOUCHED.map((c) => ({ ...c, holds }))];

const findings = [
  { rule: "tip-over-in-the-way", severity: "warn", line: 1204, column: 4, cut: 28, at: [100, 100], says: LONG, remedy: REMEDY },
  { rule: "near-edge", severity: "note", line: 12, column: 4, cut: 1, at: [120, 100], says: LONG, remedy: REMEDY },
];
const program = (id) => ({ ...fixture("program"), id, name: NAMES[Number(id)] ?? NAMES[0], material: "stainless-steel", thickness_mm: 12.7, sheet: [2500, 1250], amps: 125, report: { ...fixture("program").report, cuts: 412, cut_mm: 123456, time_s: 48321, findings } });
const API = {
  "/api/programs": () => ({ v: 1, programs: NAMES.map((name, k) => ({ id: String(k), name, file: `${name}.nc`, invented: true })) }),
  "/api/program": (url) => program(url.searchParams.get("id")),
  "/api/events": () => ({ v: 1, events: Array.from({ length: 60 }, (_, k) => ({ id: k + 1, run: 7, at_s: k, wall_ms: 1_790_000_000_000 + k * 1000, unsure: k % 3 === 0, name: "held", severity: k % 5 ? "normal" : "stop", says: k % 2 ? LONG : "Arc went out on cut 2.", advice: null, ...(k < 45 ? {} : { trace: `start-1-${Math.floor(k / 5)}-0` }) })) }),
  "/api/ways": (url) => ({ ...longWays(), generation: view.generation, back_mm: Number(url.searchParams.get("back_mm")) }),
};
function longWays() {
  const told = fixture("ways");
  const why = "A new pierce in the scrap, its lead-in meets the cut before the place where the arc was lost.";
  const plans = told.ways.plans.map((p) => ({ ...p, why, overlap_mm: 12.4, uncut_mm: 3.5, tab_mm: 0, warns: [{ rule: "a", says: LONG }, { rule: "b", says: REMEDY }] }));
  const barred = ["restart", "tab", "leave"].map((way) => ({ way, why: "From there the torch would pass over what may have tipped up." }));
  return { ...told, ways: { ...told.ways, plans, barred } };
}
const held = { ...view, near, change: null, hold: { ...view.hold, why: LONG, remedy: REMEDY }, alarms: [{ ...view.alarms[0], why: LONG, remedy: REMEDY }], allowed: allow("seen", "clear", "resume", "skip-cut", "end-job", "change-begin"), holds: [view.holds[0], view.holds[0], { ...view.holds[0], resumed_mm: 57.1 }] };
const parts = ["nozzle", "electrode", "shield", "swirl-ring"].map((part) => ({ ...view.parts.parts[0], part, starts: 1412, arc_s: 18300 }));
const changing = (step, over = {}) => ({
  ...view, near, phase: "changing", hold: null, alarms: [],
  parts: { ...view.parts, parts, sets: [{ tag: "40 fine cut", amps: 40 }, { tag: "85", amps: 85 }], fitted: { tag: "40 fine cut", amps: 40 } },
  allowed: allow("change-isolated", "change-parts", "change-contact-by-touch", "change-source-on", "change-touch", "change-end", "change-cancel"),
  change: { ...view.change, step, before: parts, power: "cannot-tell", ...over },
});

/** The pages of one glass: what to look at, and how to come there from where the last one ended. */
async function tour(s, look) {
  const tap = async (selector, page) => {
    await until(`${selector} to open ${page}`, async () => {
      if ((await s.page.evaluate(() => document.body.dataset.page)) === page) return true;
      await s.tapNow(selector);
      return false;
    }, { status: s.status });
    await s.on(page);
  };
  // Back alone is no step back along a cut.
  const button = (words) => (words === "Back" ? '.target:has(span:text-is("Back"))' : `.target:has-text(${JSON.stringify(words)})`);

  await s.lay(idle);
  await until("the programs to be read", async () => (await s.page.locator(".verdict-line:not(:empty)").count()) >= 2, { status: s.status });
  await look("program");
  await tap("[data-program='0']", "report");
  await until("the finding", () => s.has("[data-test=finding]"), { status: s.status });
  await look("report");
  await tap(button("Accept this warning"), "accept");
  await look("accept");
  await tap(".reasons .target", "report");
  await tap(button("Back"), "program");
  await tap(button("Set up"), "setup");
  await look("setup");
  await tap(button("Lamp test"), "lamp");
  const shapes = [];
  for (let turn = 1; ; turn++) {
    await look(`lamp test, ${turn}`);
    shapes.push(await s.page.evaluate(() => {
      const seen = (selector) => [...document.querySelectorAll(`.page[data-page=lamp] ${selector}`)].find((node) => node.checkVisibility());
      return seen(".arc-block")?.dataset.shape ?? `${seen(".sign-ground").dataset.alarm} ${seen(".sign-ground").dataset.look}`;
    }));
    await s.tap(button("Next"));
    if (await s.has(`${button("Next, 1 of")}`)) break;
  }
  assert.deepEqual(shapes, [
    "off", "asked", "on", "locked-out", "unknown", "danger new", "job-stopped new", "danger seen", "job-stopped gone",
  ], "every shape of the arc and of an alarm");
  // What is shown is no state: the band above and the whole body keep what is so.
  assert.equal(await s.text("[data-test=far]"), "AT REST");
  assert.equal(await s.page.evaluate(() => document.body.dataset.alarm ?? null), null);
  await tap(button("Back"), "setup");

  await s.lay({ ...ready, checks: checked(false) });
  await s.on("checks");
  await look("checks, nothing true");
  for (const [name, over] of [
    ["reference", { allowed: allow("unload", "vouch", "home") }],
    ["permit test", { allowed: allow("unload", "vouch", "permit-test"), checks: checked(false).map((c) => (c.check === "referenced" ? { ...c, holds: true } : c)) }],
    ["place", { doubtful: true, allowed: allow("unload", "vouch", "confirm-place") }],
    ["start", { phase: "ready", checks: checked(true), allowed: allow("unload", "vouch", "start") }],
  ]) {
    await s.lay({ ...ready, checks: checked(false), ...over });
    await look(`checks, ${name}`);
  }
  await s.lay({ ...ready, checks: checked(false) });
  for (const tab of [1, 2]) {
    await s.tap(".column .feet .target:last-child");
    await s.lay({ ...ready, checks: checked(false) });
    await look(`checks, vouching ${tab}`);
  }
  const begun = { ...ready, phase: "ready", checks: checked(true), allowed: allow("unload", "vouch", "start") };
  await s.lay(begun);
  await s.tap(".column .feet .target:last-child");
  await until("the first page of the checks", () => s.has(".starter-like, .starter"), { status: s.status });
  await tap(".starter-like", "start");
  await look("start");

  for (const step of ["traverse", "await-arc", "cut"]) {
    await s.lay({ ...view, near, phase: "running", change: null, step, waiting_for: "torch-to-reach-place", waited_s: 12.3, wait_limit_s: 25, torch: { ...view.torch, moving: true, arc: step === "cut" ? "on" : "asked" }, hold: null, alarms: view.alarms });
    if (step === "traverse") await s.on("cut");
    await look(`cut, ${step}`);
  }
  await s.lay(held);
  await s.on("held");
  await look("held, all long");
  await tap(button("What happened"), "happened");
  await look("happened, all long");
  while (await s.has(".first-cause [data-pages]:not([data-pages='1'])") && /^Later/.test(await s.text(".turn"))) {
    await s.tap(".turn");
    await look("happened, another page");
  }
  // Where there is room for one of the two, the curves are reached from the record.
  if (await s.has(`${button("Record")}:visible`)) await s.tap(button("Record"));
  await tap(button("Curves"), "curves");
  await until("the curves", () => s.has(".curve[d]:not([d=''])"), { status: s.status });
  await look("curves");
  // Each of the three faults, and each window: nothing may push another thing away.
  await s.tap(button("Fault before"));
  await look("curves, the fault before");
  await s.tap(button("Fault after"));
  for (const words of ["Closer", "Closer", "Closer", "Whole", "Earlier", "Later", "Later", "Later"]) {
    await s.tap(button(words));
    await look(`curves, ${words}`);
  }
  await tap(button("Back"), "happened");
  await tap(button("Back"), "held");
  await tap(button("Go on with cut"), "resume");
  await until("the ways on", () => s.has(button("Other ways")), { status: s.status });
  await look("resume");
  await tap(button("Other ways"), "ways");
  await look("ways");
  await tap(button("Back"), "resume");
  await tap(button("Go on this way"), "weigh");
  await look("weigh");
  await s.tap(".reasons .target");
  await tap(".reasons .target", "go");
  await look("go");
  await s.tap(".first-step");
  await look("go, made ready");
  await tap(button("Back"), "resume");
  await tap(button("Back"), "held");
  await tap(button("Leave cut"), "skip");
  await look("skip");
  await tap(button("Back"), "held");
  await tap(button("End the job"), "end");
  await look("end");
  const estop = { ...view.alarms[0], cause: "estop", level: "danger", latched: true, seen: true, gone: true, what: "Torch touched something while moving." };
  const latched = { ...held, phase: "latched", alarms: [estop], allowed: allow("clear") };
  await s.lay(latched);
  await tap(button("Back"), "held");
  await tap(button("Clear:"), "clear");
  await look("clear");
  for (const seen of [0, 2]) {
    const marks = [{ place: [100, 100], feature: "hole-centre", cut: 12 }, { place: [1, 1], feature: "left-edge", cut: null }, { place: [100, 1], feature: "lower-edge", cut: null }];
    await s.lay({ ...held, alarms: [], datum: { marks, seen, over: true }, allowed: allow("datum-here", "datum-nudge") });
    if (seen === 0) await s.on("datum");
    await look(`datum ${seen}`);
  }
  for (const [step, over] of [["park", { moving: true }], ["isolate", {}], ["swap", {}], ["contact", { trouble: LONG, contact_closed: true }], ["source", { power: "on", power_at_s: 60 }], ["touch", {}], ["touch", { trouble: LONG }], ["done", { tested: true, off_mm: -0.4, power: "off", power_at_s: 60 }]]) {
    await s.lay(changing(step, over));
    if (step === "park") await s.on("parts");
    await look(`parts, ${step}${over.trouble ? ", trouble" : ""}`);
  }
  await s.lay({ ...view, near, phase: "finished", change: null, hold: null, alarms: [], holds: held.holds, cuts: view.cuts, pierces: 1412, arc_on_s: 12345, run_s: 45678, allowed: allow("unload") });
  await s.on("finish");
  await look("finish");
}

// The glasses are looked at beside one another: each has a page of its own in the one browser.
describe("on every glass", { concurrency: true }, () => {
  for (const glass of Object.keys(GLASSES)) {
    test(`${glass}: every page with the longest that it may have to show`, async (t) => {
      const s = await laid(t, glass, { api: API, jobName: NAMES[0] });
      const bad = [];
      let hold = null;
      await tour(s, async (where) => {
        const seen = await looked(s);
        hold ??= seen.hold;
        if (JSON.stringify(hold) !== JSON.stringify(seen.hold)) seen.wrong.push("HOLD has moved");
        // Names, roles and tints are the same on every glass.
        if (glass === AXED_ON) seen.wrong.push(...(await axed(s)));
        await s.shot(`page-${where.replaceAll(/\W+/g, "-")}`);
        if (seen.wrong.length > 0) bad.push(`${where}:\n  ${seen.wrong.join("\n  ")}`);
      });
      assert.deepEqual(s.troubles, []);
      assert.equal(bad.length, 0, `${bad.length} pages are wrong\n${bad.join("\n")}`);
    });
  }
});
