import assert from "node:assert/strict";
import test from "node:test";
import { applied, decode, follows } from "../../ui-static/link/decode.js";
import { fixture, text } from "./rig/fixtures.js";

test("every message of the contract is understood", () => {
  for (const name of ["snapshot", "delta", "beat", "dropped"]) {
    const { ok, message, why } = decode(text(name));
    assert.ok(ok, `${name}: ${why}`);
    assert.deepEqual(message, fixture(name));
  }
});

test("what is no message of ours is told and never thrown", () => {
  const snapshot = fixture("snapshot");
  for (const bad of [
    "", "{", "[]", "null", "7", "\"x\"", "{}",
    JSON.stringify({ ...snapshot, v: 2 }),
    JSON.stringify({ ...snapshot, kind: "weather" }),
    JSON.stringify({ ...snapshot, n: -1 }),
    JSON.stringify({ ...snapshot, n: "1" }),
    JSON.stringify({ ...snapshot, view: null }),
    JSON.stringify({ ...snapshot, view: { ...snapshot.view, torch: null } }),
    JSON.stringify({ ...snapshot, view: { ...snapshot.view, allowed: undefined } }),
    JSON.stringify({ ...fixture("delta"), set: [] }),
    JSON.stringify({ ...fixture("delta"), set: { signals: null } }),
    JSON.stringify({ ...fixture("delta"), cuts: 3 }),
    JSON.stringify({ ...fixture("dropped"), missed: null }),
  ]) {
    const { ok, why } = decode(bad);
    assert.equal(ok, false, bad.slice(0, 60));
    assert.ok(why.length > 0);
  }
  assert.equal(decode(new ArrayBuffer(3)).ok, false);
});

test("a delta follows its neighbour and nothing else", () => {
  const delta = fixture("delta");
  assert.ok(follows(120, delta));
  for (const before of [null, 119, 121, 122]) assert.ok(!follows(before, delta), String(before));
  assert.ok(follows(null, fixture("snapshot")) && follows(5, fixture("snapshot")));
});

test("a delta changes what it names and leaves the view before as it was", () => {
  const { view } = fixture("snapshot");
  const before = structuredClone(view);
  const next = applied(view, fixture("delta"));
  assert.equal(next.generation, 42);
  assert.equal(next.phase, "running");
  assert.equal(next.hold, null);
  assert.deepEqual(next.cuts[1].done, [[0, 61.5], [58, 64]]);
  assert.equal(next.cuts[0], view.cuts[0], "a cut that has not changed is the same one");
  assert.deepEqual(view, before);
  assert.deepEqual(applied(view, fixture("beat")), view);
});
