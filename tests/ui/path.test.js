import assert from "node:assert/strict";
import test from "node:test";
import * as path from "../../ui-static/lib/path.js";

/** A lead of 5 mm, then a square of 40 mm. */
const SQUARE = [[0, 0, 0], [5, 0, 5], [45, 0, 45], [45, 40, 85], [5, 40, 125], [5, 0, 165]];

test("a place along a path is found by its true distance", () => {
  assert.deepEqual(path.pointAt(SQUARE, 0), [0, 0]);
  assert.deepEqual(path.pointAt(SQUARE, 25), [25, 0]);
  assert.deepEqual(path.pointAt(SQUARE, 65), [45, 20]);
  assert.deepEqual(path.pointAt(SQUARE, 165), [5, 0]);
});

test("a place before the start or past the end is held within the path", () => {
  assert.deepEqual(path.pointAt(SQUARE, -3), [0, 0]);
  assert.deepEqual(path.pointAt(SQUARE, 1e6), [5, 0]);
  assert.equal(path.pointAt([], 3), null);
});

test("a stretch keeps the corners inside it", () => {
  assert.deepEqual(path.slice(SQUARE, 40, 50), [[40, 0], [45, 0], [45, 5]]);
  assert.deepEqual(path.slice(SQUARE, 7, 7), []);
});

test("what is left of a cut is what no stretch has passed", () => {
  assert.deepEqual(path.left([], 100), [[0, 100]]);
  assert.deepEqual(path.left([[0, 40]], 100), [[40, 100]]);
  assert.deepEqual(path.left([[60, 80], [0, 40], [35, 50]], 100), [[50, 60], [80, 100]]);
  assert.deepEqual(path.left([[0, 100]], 100), []);
});

test("a path that comes back to itself encloses a piece, without its lead", () => {
  const loop = path.loop(SQUARE, 1);
  assert.deepEqual(loop.at(-1), [5, 0]);
  assert.ok(loop.every(([x]) => x >= 4), JSON.stringify(loop));
});

test("a slit encloses nothing", () => {
  assert.equal(path.loop([[0, 0, 0], [100, 0, 100]], 1), null);
  assert.equal(path.loop([], 1), null);
});

test("the bounds of nothing are nothing", () => {
  assert.equal(path.bounds([]), null);
  assert.deepEqual(path.bounds([{ points: SQUARE }]), [0, 0, 45, 40]);
});
