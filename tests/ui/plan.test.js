// The plan of a job before START: its shapes, and its page on every glass.

import assert from "node:assert/strict";
import test, { describe } from "node:test";
import { bands, lanes, shape, ticks } from "../../ui-static/lib/timeline.js";
import { initial } from "../../ui-static/state/model.js";
import { reduce } from "../../ui-static/state/reduce.js";
import { planned, report } from "../../ui-static/state/select.js";
import { audit } from "./rig/audit.js";
import { fixture } from "./rig/fixtures.js";
import { laid } from "./rig/glass.js";
import { GLASSES } from "./rig/screen.js";
import { until } from "./rig/wait.js";

/** Twelve minutes with two pauses for the air (all invented). */
const RUN_S = 734;
const pauses = [
  { before_cut: 20, at_s: 189, wait_s: 180, cause: "air-wait" },
  { before_cut: 34, at_s: 560, wait_s: 75, cause: "air-wait" },
];
const bar = (t) => (t < 189 ? 8 - 2.4 * (t / 189) : t < 369 ? 5.6 + 2.4 * ((t - 189) / 180) : t < 560 ? 8 - 2.3 * ((t - 369) / 191) : t < 635 ? 5.7 + (t - 560) / 75 : 6.7 - (t - 635) / 100);
const line = Array.from({ length: 241 }, (_, k) => ({ at_s: (RUN_S * k) / 240, bar: bar((RUN_S * k) / 240), duty: 0.45 * (k / 240), wear: 0.3 + 0.1 * (k / 240) }));
const plan = { ...fixture("program").plan, run_s: RUN_S, pauses_s: 255, arc_on_s: 306, pauses, cures: ["air-short"], line };

test("a lane that keeps its limit holds, and one that does not says so", () => {
  const [air, duty, wear] = lanes(plan);
  assert.deepEqual([air.key, duty.key, wear.key], ["air", "duty", "wear"]);
  for (const lane of [air, duty, wear]) assert.ok(shape(lane, line, RUN_S, [1000, 100]).holds, lane.key);
  const low = line.map((m, k) => (k === 60 ? { ...m, bar: 5.4 } : m));
  const broken = lanes({ ...plan, line: low })[0];
  assert.equal(shape(broken, low, RUN_S, [1000, 100]).holds, false);
  const worn = line.map((m) => ({ ...m, wear: m.wear + 0.65 }));
  assert.equal(shape(lanes({ ...plan, line: worn })[2], worn, RUN_S, [1000, 100]).holds, false);
});

test("every curve and its limit lie within their lane", () => {
  for (const lane of lanes(plan)) {
    const { d, limit } = shape(lane, line, RUN_S, [1000, 100]);
    const numbers = `${d}${limit}`.match(/-?\d+(\.\d+)?/g).map(Number);
    assert.ok(numbers.every((v) => v >= 0 && v <= 1000), lane.key);
    const heights = d.match(/ (-?\d+(\.\d+)?)/g).map(Number);
    assert.ok(heights.every((v) => v >= 0 && v <= 100), lane.key);
  }
});

test("wear that is not known has no lane", () => {
  const unknown = { ...plan, line: line.map((m) => ({ ...m, wear: null })) };
  assert.deepEqual(lanes(unknown).map((l) => l.key), ["air", "duty"]);
});

test("a pause is as wide as it is long, and a change of parts is seen all the same", () => {
  const [one, two] = bands([pauses[0], { ...pauses[1], wait_s: 0 }], RUN_S);
  assert.ok(Math.abs(one.from - 189 / RUN_S) < 1e-9 && Math.abs(one.wide - 180 / RUN_S) < 1e-9);
  assert.ok(two.wide > 0.004);
  assert.deepEqual(ticks(RUN_S), [0, 300, 600]);
  assert.deepEqual(ticks(44), [0, 10, 20, 30, 40]);
});

const air = { rule: "air-short", severity: "warn", line: null, column: null, cut: 21, cuts: [21], at: [100, 100], says: "The receiver is low 203 s after the start.", remedy: "Wait 180 s before cut 20, 75 s before cut 34: 2 waits." };
const edge = { ...air, rule: "near-edge", says: "The path passes 3 mm from the edge." };
const read = { ...fixture("program"), plan, report: { ...fixture("program").report, verdict: "warned", findings: [edge, air] } };

test("accepted pauses put right what they cure, nothing else, and are taken back whole", () => {
  const open = [{ type: "read", id: "a", program: read }, { type: "report", id: "a" }].reduce(reduce, initial());
  assert.equal(planned(open).accepted, false);
  const yes = reduce(open, { type: "pauses", yes: true, reason: "With the pauses" });
  assert.deepEqual(report(yes).accepted, [{ finding: 1, rule: "air-short", reason: "With the pauses" }]);
  assert.equal(report(yes).missing, 1, "the other warning is still to be looked at");
  assert.equal(yes.pauses, true);
  const no = reduce(yes, { type: "pauses", yes: false });
  assert.deepEqual([report(no).accepted, report(no).missing, no.pauses], [[], 2, false]);
  assert.equal(reduce(yes, { type: "report", id: "b" }).pauses, false, "another program's pauses are its own");
});

const { view } = fixture("snapshot");
const near = { safe: true, why: "Permit is off. Arc is seen off. Nothing moves." };
const allowed = ["hold", "load", "unload", "change-begin"].map((ask) => ({ ask, refused: null }));
const idle = { ...view, near, phase: "idle", hold: null, alarms: [], change: null, seal: null, cut: null, run: null, marks: [], entries: [], waiting_for: "job", allowed };
const many = Array.from({ length: 14 }, (_, k) => ({ before_cut: 3 + k * 3, at_s: 40 + 45 * k, wait_s: 20, cause: ["air-wait", "duty-wait", "change-due"][k % 3] }));
const long = { ...plan, pauses: [{ before_cut: 1, at_s: 0, wait_s: 0, cause: "change-due" }, ...many], hottest: { cut: 412, rise_k: 128 }, cost: { parts: 12.34, time: 123.45, per_metre: 9 }, hopeless: ["Air is low in cut 412, and no pause helps: a full receiver does not last for this cut alone: a larger receiver or compressor."] };

describe("on each glass", { concurrency: true }, () => {
  for (const glass of Object.keys(GLASSES)) {
    test(`the plan is read, its pauses are accepted and the job can be loaded on ${glass}`, async (t) => {
      const given = { ...read, report: { ...read.report, findings: [air] } };
      const s = await laid(t, glass, { api: { "/api/program": () => given } });
      const button = (words) => `.target:has-text(${JSON.stringify(words)}):visible`;
      await s.lay(idle);
      // A page that has just come takes no touch yet.
      await s.on("program");
      await s.tap("[data-program]");
      await s.on("report");
      await until("the finding", () => s.has("[data-test=finding]"), { status: s.status });
      await s.shot("plan-report");
      await audit(s, `${glass}: report`);
      await s.tap('.target:has(span:text-is("Plan"))');
      await s.on("plan");
      await until("the curves", () => s.has(".plan-lanes .curve[d]:not([d=''])"), { status: s.status });
      await s.shot("plan");
      await audit(s, `${glass}: plan`);
      assert.match(await s.text("[data-test=plan-says]"), /Not accepted yet/);
      await s.tap(button("Accept 2 pauses"));
      await s.on("report");
      await until("a job that can be loaded", () => s.has(button("Load")), { status: s.status });
      await s.tap('.target:has(span:text-is("Plan"))');
      await s.on("plan");
      assert.match(await s.text("[data-test=plan-says]"), /the run stands there/);
      await s.tap(button("Take the pauses back"));
      await s.tap('.target:has(span:text-is("Back"))');
      await s.on("report");
      assert.equal(await s.has(button("Load")), false);
    });

    test(`a plan with much to tell pushes nothing away on ${glass}`, async (t) => {
      const s = await laid(t, glass, { api: { "/api/program": () => ({ ...read, plan: long }) } });
      await s.lay(idle);
      // A page that has just come takes no touch yet.
      await s.on("program");
      await s.tap("[data-program]");
      await s.on("report");
      await until("the finding", () => s.has("[data-test=finding]"), { status: s.status });
      await s.tap('.target:has(span:text-is("Plan"))');
      await s.on("plan");
      await until("the curves", () => s.has(".plan-lanes .curve[d]:not([d=''])"), { status: s.status });
      await audit(s, `${glass}: long plan`);
      await s.shot("plan-long");
    });
  }
});
