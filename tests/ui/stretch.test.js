import assert from "node:assert/strict";
import test from "node:test";
import * as stretch from "../../ui-static/lib/stretch.js";

const near = (a, b, within = 1e-6) => assert.ok(Math.abs(a - b) <= within, `${a} is not ${b}`);
const line = (from, to) => ({ line: { from, to } });
const arc = (from, to, centre, clockwise) => ({ arc: { from, to, centre, clockwise } });
/** A square of 40 mm with 5 mm of lead. */
const SQUARE = [[0, 0, 0], [5, 0, 5], [45, 0, 45], [45, 40, 85], [5, 40, 125], [5, 0, 165]];

test("lines and arcs become places with their true distance along", () => {
  const quarter = stretch.trail([line([0, 0], [10, 0]), arc([10, 0], [20, 10], [10, 10], false)]);
  assert.deepEqual(quarter[0], [0, 0, 0]);
  assert.deepEqual(quarter[1], [10, 0, 10]);
  assert.deepEqual(quarter.at(-1).slice(0, 2), [20, 10]);
  near(quarter.at(-1)[2], 10 + 5 * Math.PI);
  for (const [x, y] of quarter.slice(1)) near(Math.hypot(x - 10, y - 10), 10, 1e-9);
});

test("a clockwise arc goes the other way round, and equal ends are a whole circle", () => {
  const long = stretch.trail([arc([10, 0], [20, 10], [10, 10], true)]);
  near(long.at(-1)[2], 15 * Math.PI);
  assert.ok(long.some(([x]) => x < 0.1), "it passes the left side");
  const whole = stretch.trail([arc([10, 0], [10, 0], [0, 0], false)]);
  near(whole.at(-1)[2], 20 * Math.PI);
  assert.ok(whole.some(([x]) => x < -9.9));
});

test("no way in is no trail", () => {
  assert.deepEqual(stretch.trail([]), []);
});

test("chords stay within a hair of their arc", () => {
  const places = stretch.trail([arc([100, 0], [0, 100], [0, 0], false)]);
  for (let k = 1; k < places.length; k += 1) {
    const [a, b] = [places[k - 1], places[k]];
    near(Math.hypot((a[0] + b[0]) / 2, (a[1] + b[1]) / 2), 100, 0.021);
  }
});

test("a cut in doubt has three tones that cover it once", () => {
  const lost = { low_mm: 60, high_mm: 62 };
  assert.deepEqual(stretch.tones([[0, 61]], 165, lost), { sure: [[0, 60]], perhaps: [60, 62], toCome: [[62, 165]] });
  assert.deepEqual(stretch.tones([[0, 61], [90, 120]], 165, lost), { sure: [[0, 60], [90, 120]], perhaps: [60, 62], toCome: [[62, 90], [120, 165]] });
  assert.deepEqual(stretch.tones([[0, 80]], 165, lost).sure, [[0, 60], [62, 80]]);
});

test("a doubt over an end of the cut ends with it", () => {
  assert.deepEqual(stretch.tones([[0, 164]], 165, { low_mm: 163, high_mm: 168 }), { sure: [[0, 163]], perhaps: [163, 165], toCome: [] });
  assert.deepEqual(stretch.tones([], 165, { low_mm: -1, high_mm: 2 }), { sure: [], perhaps: [0, 2], toCome: [[2, 165]] });
});

test("a place without doubt has two tones", () => {
  assert.deepEqual(stretch.tones([[0, 61]], 165, null), { sure: [[0, 61]], perhaps: null, toCome: [[61, 165]] });
  assert.equal(stretch.tones([[0, 61]], 165, { low_mm: 61, high_mm: 61 }).perhaps, null);
});

test("a path is headed where it goes on, at its end where it came from", () => {
  assert.deepEqual(stretch.heading(SQUARE, 20), [1, 0]);
  assert.deepEqual(stretch.heading(SQUARE, 45), [0, 1]);
  assert.deepEqual(stretch.heading(SQUARE, 165), [0, -1]);
  assert.equal(stretch.heading([[3, 3, 0]], 0), null);
});

test("a bracket lies beside its stretch and reaches back to both ends", () => {
  const [along, low, high] = stretch.bracket(SQUARE, 10, 14, 2);
  assert.deepEqual(along, [[10, 2], [14, 2]]);
  assert.deepEqual(low, [[10, 0], [10, 2]]);
  assert.deepEqual(high, [[14, 0], [14, 2]]);
  assert.deepEqual(stretch.bracket(SQUARE, 10, 14, -2)[0], [[10, -2], [14, -2]]);
});

test("a bracket goes round a corner", () => {
  const [along] = stretch.bracket(SQUARE, 40, 50, 2);
  assert.equal(along.length, 3);
  assert.deepEqual(along.at(-1), [43, 5]);
});

test("a zigzag begins and ends on the path and crosses it between", () => {
  const places = stretch.zigzag(SQUARE, 10, 20, 2, 1);
  assert.deepEqual(places[0], [10, 0]);
  assert.deepEqual(places.at(-1), [20, 0]);
  assert.deepEqual(places.slice(1, -1).map(([, y]) => Math.sign(y)), [1, -1, 1, -1]);
});

test("a close-up holds all of its places, and is never closer than it may be", () => {
  assert.deepEqual(stretch.closeUp([[0, 0], [40, 10], null], 12, 5), { at: [20, 5], half_mm: [25, 12] });
  assert.deepEqual(stretch.closeUp([[3, 3]], 12, 5), { at: [3, 3], half_mm: [12, 12] });
  assert.equal(stretch.closeUp([null], 12, 5), null);
});

test("a way on is drawn from where the arc comes on to where it meets the path", () => {
  const cut = { points: SQUARE };
  const entry = [line([20, -6], [24, 0])];
  const drawn = stretch.wayDrawn({ way: "lead-in", entry, pierce: [20, -6], from_mm: 24 }, cut);
  assert.deepEqual(drawn.fires, [20, -6]);
  assert.deepEqual(drawn.meets, [24, 0]);
  assert.deepEqual(drawn.entry.at(-1).slice(0, 2), drawn.meets);
  assert.deepEqual(stretch.wayDrawn({ way: "kerf-end", entry: [], pierce: [24, 0], from_mm: 24 }, cut).fires, [24, 0]);
  assert.equal(stretch.wayDrawn({ way: "leave", entry: [], pierce: [0, 0], from_mm: 165 }, cut), null);
});
