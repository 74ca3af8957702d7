// What an operator does at a stop until the ways on are open, by touch.

import assert from "node:assert/strict";
import { audit } from "./audit.js";
import { press } from "./screen.js";
import { until } from "./wait.js";

/**
 * Clears what stands, one act at a time, until the ways on are open.
 * @param {(act: string) => Promise<void>} [look]  is told each act once it is done
 */
export async function cleared(s, look = async () => {}) {
  const done = [];
  for (;;) {
    const next = await until("a way on, or something to clear", async () => {
      if (await s.has(".target:has-text('Go on with cut')")) return "open";
      for (const words of ["Seen:", "Clear:", "The torch is where"]) if (await s.has(`.column .target:has-text('${words}')`)) return words;
      for (const words of ["Torch power is off", "The permit relay was seen"]) if (await s.has(`.column .target:has-text('${words}')`)) return words;
      if (await s.has(".starter:has-text('Test the permit')")) return "Test the permit";
      if (await s.has(".starter:has-text('Reference')")) return "Reference";
      if (await s.has(".starter:has-text('Torch to')")) return "Torch to";
      if (await s.has(".target:has-text('It stands right')")) return "It stands right";
      if (await s.has(".practice-only") && !done.includes("At the table")) return "At the table";
      return null;
    }, { status: s.status });
    if (done.length > 0) await look(done.at(-1));
    if (next === "open") return done;
    done.push(next);
    assert.ok(done.length < 40, `it does not get clear: ${done}`);
    const gone = (selector) => until(`${next} to be done`, async () => !(await s.has(selector)), { status: s.status });
    if (["Reference", "Torch to", "Test the permit"].includes(next)) {
      await s.keep(".starter");
      if (next !== "Torch to") await gone(`.starter:has-text('${next}')`);
    } else if (next === "It stands right") {
      await s.on("datum");
      await s.shot("14-datum");
      await audit(s, "datum");
      await press(s, ".target:has-text('It stands right')");
    } else if (next === "At the table") {
      await s.tap(".practice-only");
    } else if (next === "Clear:") {
      const words = await s.text(".column .target:has-text('Clear:')");
      await s.tap(".column .target:has-text('Clear:')");
      await until("a second step, or clear", async () => (await s.has(".first-step")) || !(await s.has(`.column .target:has-text(${JSON.stringify(words)})`)), { status: s.status });
      if (await s.has(".first-step")) {
        await s.on("clear");
        await audit(s, "clear");
        await s.tap(".first-step");
        await s.keep(".second-step.starter");
        await s.on("held");
      }
    } else {
      const words = await s.text(`.column .target:has-text('${next}')`);
      await press(s, `.column .target:has-text(${JSON.stringify(words)})`);
    }
  }
}
