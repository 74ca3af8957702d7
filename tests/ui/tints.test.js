// The tints of each light against what they stand on, by the ratio of WCAG 2.2 (1.4.3): words of 7 to 1
// are the aim, 4.5 the floor, edges and marks 3. From the sheet of styles itself.

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import test from "node:test";

const css = await readFile(new URL("../../ui-static/styles/variables.css", import.meta.url), "utf8");

/** The tints of a light: those of day, with what it sets otherwise. */
function tints(light) {
  const of = (selector) => {
    const from = css.indexOf(`${selector} {`);
    assert.ok(from >= 0, selector);
    return Object.fromEntries([...css.slice(from, css.indexOf("\n}", from)).matchAll(/--([a-z0-9-]+): (#[0-9A-F]{6});/g)].map(([, name, hex]) => [name, hex]));
  };
  return { ...of(":root"), ...(light === "day" ? {} : of(`:root[data-theme="${light}"]`)) };
}

/** Relative luminance, 0 to 1 (WCAG 2.2). */
function luminance(hex) {
  const [r, g, b] = [1, 3, 5].map((k) => Number.parseInt(hex.slice(k, k + 2), 16) / 255).map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

function ratio(a, b) {
  const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y);
  return (high + 0.05) / (low + 0.05);
}

/** What stands on what, and the least ratio. */
const PAIRS = [
  ["ink", "ground", 10], ["ink", "pane", 10], ["ink", "raised", 10],
  ["ink-2", "ground", 7], ["ink-2", "pane", 7],
  ["danger-word", "danger", 7], ["amber-word", "amber", 7], ["move-word", "move", 7], ["arc-word", "arc", 7],
  ["start-word", "start", 10], ["hold-word", "hold-fill", 10],
  ["rule", "ground", 3], ["rule", "pane", 3], ["chalk", "plate", 3], ["slot", "plate", 3],
];

test("white is to red as 7 to 1 by night as well", () => {
  assert.ok(Math.abs(ratio("#FFFFFF", "#000000") - 21) < 1e-9);
  assert.ok(ratio("#FFFFFF", "#C4201A") < 7, "the red that was there before is told apart");
});

for (const light of ["day", "night", "glare"]) {
  test(`${light}: words and edges stand out from their ground`, () => {
    const has = tints(light);
    const weak = PAIRS.map(([on, under, least]) => ({ on, under, least, is: ratio(has[on], has[under]) })).filter((p) => p.is < p.least);
    assert.deepEqual(weak.map((p) => `${p.on} on ${p.under}: ${p.is.toFixed(2)}, not ${p.least}`), []);
  });
}
