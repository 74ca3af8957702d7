// The curves of a trace: pure shapes.

import assert from "node:assert/strict";
import { test } from "node:test";
import { LANES, curve, lastSeconds, placeAt, sampleAt, ticks, times, values } from "../../ui-static/lib/curves.js";
import { lostArc } from "./rig/trace.js";

const lane = (key) => LANES.find((l) => l.key === key);

/** Fire on at -1 s, arc lost at 0; the contact is not fitted. Volts are known from the second sample on. */
const trace = {
  v: 1, start: 1, faults_us: [5_000_000, 5_004_000], from_us: 4_000_000,
  levels: ["fire", "arc-ok", "contact"],
  t_us: [0, 500_000, 1_000_000, 1_004_000, 2_000_000],
  known: [3, 3, 3, 3, 3], on: [3, 3, 1, 0, 0],
  volts: [null, 118, 131.5, null, 0], height_mm: [1.5, 1.5, 1.5, 4, 10], speed_mm_s: [20, 20, 20, 0, 0],
};

test("time counts from the first fault", () => {
  assert.deepEqual(times(trace), [-1, -0.5, 0, 0.004, 1]);
});

test("a level that is not known is neither on nor off", () => {
  assert.deepEqual(values(trace, lane("arc-ok")), [1, 1, 0, 0, 0]);
  assert.deepEqual(values(trace, lane("contact")), [null, null, null, null, null]);
  assert.deepEqual(values(trace, lane("permit")), [null, null, null, null, null], "a level that the trace has not");
});

test("speeds are told in mm/min", () => {
  assert.deepEqual(values(trace, lane("speed_mm_s")), [1200, 1200, 1200, 0, 0]);
});

test("the last sample at or before a moment", () => {
  const at = times(trace);
  assert.equal(sampleAt(at, -2), -1);
  assert.equal(sampleAt(at, -1), 0);
  assert.equal(sampleAt(at, 0.003), 2);
  assert.equal(sampleAt(at, 9), 4);
});

test("a level falls where its sample says so, and holds until then", () => {
  const drawn = curve(times(trace), values(trace, lane("arc-ok")), lane("arc-ok"), [-1, 1], [1000, 100]);
  assert.equal(drawn.d, "M0 88V18H500V88ZM500 88H1000", "a bar while it is on, then its foot");
  assert.equal(drawn.now, 0, "what it was at the fault");
});

test("where nothing is known nothing is drawn", () => {
  const drawn = curve(times(trace), values(trace, lane("volts")), lane("volts"), [-1, 1], [1000, 100]);
  assert.equal([...drawn.d.matchAll(/M/g)].length, 2, drawn.d);
  assert.ok(drawn.d.startsWith("M250 "), drawn.d);
  assert.ok(drawn.d.includes("H502M"), "it ends where the volts were lost: " + drawn.d);
  assert.equal(curve(times(trace), values(trace, lane("contact")), lane("contact"), [-1, 1], [1000, 100]).d, "");
});

test("a window in which no sample lies shows what held before it", () => {
  const drawn = curve(times(trace), values(trace, lane("fire")), lane("fire"), [0.1, 0.4], [1000, 100]);
  assert.equal(drawn.d, "M0 88H1000");
});

test("an edge shorter than a point of the drawing is drawn", () => {
  const short = { ...trace, t_us: [0, 500_000, 500_001, 1_000_000, 2_000_000], on: [0, 1, 0, 0, 0] };
  const { d } = curve(times(short), values(short, lane("fire")), lane("fire"), [-1, 1], [1000, 100]);
  assert.match(d, /M250 88V18H250V88Z/);
});

test("a window outside of the trace is empty", () => {
  assert.equal(curve(times(trace), values(trace, lane("fire")), lane("fire"), [-9, -8], [1000, 100]).d, "");
});

test("a curve never leaves its lane", () => {
  for (const l of LANES) {
    const { d } = curve(times(trace), values(trace, l), l, [-1, 1], [1000, 100]);
    for (const [, y] of d.matchAll(/V(-?[\d.]+)/g)) assert.ok(Number(y) >= 0 && Number(y) <= 100, `${l.key} ${d}`);
  }
});

test("five to twelve ticks, the fault among them", () => {
  for (const window of [[-6, 4], [-18, 12], [-0.18, 0.12], [-1.8, 1.2], [-0.6, 0.4]]) {
    const all = ticks(window);
    assert.ok(all.length >= 5 && all.length <= 16, `${window} ${all.length}`);
    assert.ok(all.some((t) => Math.abs(t) < 1e-9));
  }
});

test("the last seconds of a stop are told against what they should be, by what was last seen with the arc", () => {
  const trace = lostArc();
  const lanes = lastSeconds(trace, { volts: 120, height_mm: 1.5 }, [-5, 0.5], [1000, 100]);
  assert.deepEqual(lanes.map((l) => l.lane.key), ["arc-ok", "volts", "height_mm"]);
  const [arc, volts, height] = lanes;
  assert.equal(arc.line, null, "an arc has no target");
  assert.ok(volts.last > 125, String(volts.last));
  assert.ok(volts.line > 0 && volts.line < 50, String(volts.line));
  assert.equal(height.last, 1.5);
  const untold = lastSeconds(trace, { volts: null, height_mm: null }, [-5, 0.5], [1000, 100]);
  assert.deepEqual(untold.map((l) => l.line), [null, null, null]);
  const beyond = lastSeconds(trace, { volts: 900, height_mm: 1.5 }, [-5, 0.5], [1000, 100]);
  assert.equal(beyond[1].line, null, "what lies beyond the lane is not drawn at its edge");
});

test("the place at a fault is that of the last sample before it, or is not known", () => {
  const trace = lostArc();
  assert.deepEqual(placeAt(trace), [66, 225]);
  assert.equal(placeAt({ ...trace, x: trace.x.map(() => null) }), null);
});
