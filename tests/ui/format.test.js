import assert from "node:assert/strict";
import test from "node:test";
import * as f from "../../ui-static/lib/format.js";

test("a length has its unit, tenths below ten, and a minus as wide as a digit", () => {
  assert.equal(f.mm(3.25), "3.3 mm");
  assert.equal(f.mm(5), "5 mm");
  assert.equal(f.mm(22.4), "22 mm");
  assert.equal(f.mm(-4.2), "\u22124.2 mm");
  assert.equal(f.mm(-0.01), "0.0 mm");
  assert.equal(f.length(999), "999 mm");
  assert.equal(f.length(4226), "4.2 m");
});

test("cuts are told as ranges", () => {
  assert.equal(f.cuts([]), "");
  assert.equal(f.cuts(undefined), "");
  assert.equal(f.cuts([4]), "cut 4");
  assert.equal(f.cuts([4, 5]), "cuts 4 and 5");
  assert.equal(f.cuts([3, 4, 5, 6, 22]), "cuts 3 to 6 and 22");
  assert.equal(f.cuts([1, 3, 5, 7, 9, 11, 13, 15]), "cuts 1, 3, 5, 7, 9, 11 and 2 more");
});

test("what is not known is dashes, never a number", () => {
  for (const none of [null, undefined, Number.NaN, Number.POSITIVE_INFINITY]) {
    assert.equal(f.mm(none), f.NOTHING);
    assert.equal(f.number(none), f.NOTHING);
    assert.equal(f.duration(none), f.NOTHING);
  }
});

test("a time to go reaches 0:00 only when it is over", () => {
  assert.equal(f.duration(400), "6:40");
  assert.equal(f.duration(0.2), "0:01");
  assert.equal(f.duration(0), "0:00");
  assert.equal(f.duration(-3), "0:00");
  assert.equal(f.duration(59.2), "1:00");
  assert.equal(f.duration(3723), "1:02:03");
});

test("a sheet does not break between number and unit", () => {
  assert.equal(f.size([600, 400]).replaceAll("\u00a0", " "), "600 \u00d7 400 mm");
  assert.ok(!f.size([600, 400]).includes(" "));
});

test("one is one and many are many", () => {
  assert.equal(f.count(1, "cut"), "1 cut");
  assert.equal(f.count(14, "cut"), "14 cuts");
  assert.equal(f.count(2, "warning is", "warnings are"), "2 warnings are");
});

test("what followed the first cause is told to the millisecond near it", () => {
  assert.equal(f.after(0.004), "+0.004 s");
  assert.equal(f.after(12.34), "+12.3 s");
});
