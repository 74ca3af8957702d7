// A recorded run in place of the machine: pure.

import assert from "node:assert/strict";
import test from "node:test";
import { initial } from "../../ui-static/state/model.js";
import { reduce } from "../../ui-static/state/reduce.js";
import { atEnd, moved, shownState, whereIn } from "../../ui-static/state/replay.js";
import * as select from "../../ui-static/state/select.js";
import { fixture } from "./rig/fixtures.js";

const { view, table } = fixture("snapshot");
const { parts } = fixture("replay");
const idle = { ...view, phase: "finished", hold: null, alarms: [], change: null, torch: { ...view.torch, moving: false, arc: "off" } };
const was = { ...view, phase: "running", generation: 3, alarms: [], hold: null, allowed: view.allowed.map((a) => ({ ...a, refused: "this is a replay" })) };
const told = (over = {}, now = 1000) => ({ type: "told", view: { ...idle, ...over }, table: { ...table, opens_on: null }, n: 1, at_s: 64, now });
const begun = { type: "replay", replay: { run: 7, parts, over: { generation: idle.generation, phase: "finished" }, start: 3, us: 10_000_000, view: was, job: null, playing: false, reached: true } };
const after = (...actions) => actions.reduce(reduce, initial(0));

test("a replay is shown on the pages of what it shows, under its own word, and nothing of it may be pressed", () => {
  const state = after(told(), begun);
  const shown = shownState(state);
  assert.equal(select.far(state), "FINISHED");
  assert.deepEqual([select.far(shown), select.frame(shown), select.pageOf(shown)], ["REPLAY", "replay", "cut"]);
  for (const { ask } of was.allowed) assert.equal(select.can(shown, ask), false, ask);
  const live = after(told());
  assert.equal(shownState(live), live, "without one the machine is shown");
});

test("HOLD is the machine's own whatever is shown", () => {
  const state = reduce(after(told(), begun), { type: "hold-asked", now: 1100 });
  assert.equal(select.holdBar(state).look, "asked");
});

test("anything live that wants a person ends a replay, and so does a panel that is not heard", () => {
  const replaying = after(told(), begun);
  assert.ok(reduce(replaying, told({}, 1100)).replay, "the same state goes on");
  const ends = {
    "another generation": { generation: idle.generation + 1 },
    "another phase": { phase: "latched" },
    "motion": { torch: { ...idle.torch, moving: true } },
    "an arc": { torch: { ...idle.torch, arc: "on" } },
    "an arc that is asked for": { torch: { ...idle.torch, arc: "asked" } },
    "an alarm": { alarms: [{ ...view.alarms[0], seen: false }] },
  };
  for (const [what, over] of Object.entries(ends)) assert.equal(reduce(replaying, told(over, 1100)).replay, null, what);
  assert.equal(reduce(replaying, { type: "tick", now: 1501 }).replay, null, "late");
  assert.equal(reduce(replaying, told({}, 1501)).replay, null, "heard again, and it was late meanwhile");
  assert.equal(reduce(replaying, { type: "trouble", why: "gone" }).replay, null);
  // One that was asked for before and comes after.
  assert.equal(after(told({ generation: idle.generation + 1 }), begun).replay, null);
});

test("a moment moves within the run, over its parts, and no further", () => {
  const at = (start, us) => ({ ...begun.replay, start, us });
  assert.deepEqual(moved(at(3, 10_000_000), 10), { start: 3, us: 20_000_000 });
  // What is pressed on the way counts from where it leads.
  assert.deepEqual(moved({ ...at(3, 10_000_000), to: { start: 3, us: 10_100_000 } }, 10), { start: 3, us: 20_100_000 });
  assert.deepEqual(moved(at(3, 10_000_000), -10), { start: 3, us: 10_000_000 });
  assert.deepEqual(moved(at(3, 69_000_000), 10), { start: 4, us: 2_000_000 });
  assert.deepEqual(moved(at(4, 3_000_000), -10), { start: 3, us: 70_000_000 });
  assert.deepEqual(moved(at(4, 8_000_000), 10), { start: 4, us: 9_000_000 });
  assert.ok(atEnd(at(4, 9_000_000)) && !atEnd(at(3, 70_000_000)));
  assert.deepEqual(whereIn(at(3, 12_500_000)), { at_s: 2.5, of_s: 60 });
});

test("a run is not shown again while the machine is in use, stopped, or has something to tell", () => {
  assert.equal(select.mayReplay(after(told())), null);
  for (const phase of ["running", "held", "stopping", "homing", "hand", "latched", "no-link"]) assert.ok(select.mayReplay(after(told({ phase }))), phase);
  assert.ok(select.mayReplay(after(told({ alarms: [{ ...view.alarms[0], seen: false }] }))));
  assert.ok(select.mayReplay(reduce(after(told()), { type: "tick", now: 1501 })));
});
