// What goes wrong at the simulated table, and how it is put right by touch.

import assert from "node:assert/strict";
import test from "node:test";
import { audit } from "./rig/audit.js";
import { running } from "./rig/running.js";
import { pressOn, toGo } from "./rig/screen.js";
import { until } from "./rig/wait.js";

/** Clears what stands, one act at a time, until the ways on are open. */
async function cleared(s) {
  const done = [];
  for (;;) {
    const next = await until("a way on, or something to clear", async () => {
      if (await s.has(".target:has-text('Go on with cut')")) return "open";
      for (const words of ["Seen:", "Clear:", "The torch is where"]) if (await s.has(`.column > .target:has-text('${words}')`)) return words;
      if (await s.has(".starter:has-text('Reference')")) return "Reference";
      if (await s.has(".starter:has-text('Torch to')")) return "Torch to";
      if (await s.has(".target:has-text('It stands right')")) return "It stands right";
      if (await s.has(".practice-only") && !done.includes("At the table")) return "At the table";
      return null;
    }, { status: s.status });
    if (next === "open") return done;
    done.push(next);
    assert.ok(done.length < 40, `it does not get clear: ${done}`);
    const gone = (selector) => until(`${next} to be done`, async () => !(await s.has(selector)), { status: s.status });
    if (next === "Reference" || next === "Torch to") {
      await s.keep(".starter");
      if (next === "Reference") await gone(`.starter:has-text('${next}')`);
    } else if (next === "It stands right") {
      await s.on("datum");
      await s.shot("14-datum");
      await audit(s, "datum");
      await s.tap(".target:has-text('It stands right')");
      await gone(".target:has-text('It stands right')");
    } else if (next === "At the table") {
      await s.tap(".practice-only");
    } else if (next === "Clear:") {
      const words = await s.text(".column > .target:has-text('Clear:')");
      await s.tap(".column > .target:has-text('Clear:')");
      await until("a second step, or clear", async () => (await s.has(".first-step")) || !(await s.has(`.column > .target:has-text(${JSON.stringify(words)})`)), { status: s.status });
      if (await s.has(".first-step")) {
        await s.on("clear");
        await audit(s, "clear");
        await s.tap(".first-step");
        await s.keep(".second-step.starter");
        await s.on("held");
      }
    } else {
      const words = await s.text(`.column > .target:has-text('${next}')`);
      await s.tap(`.column > .target:has-text('${next}')`);
      await gone(`.column > .target:has-text(${JSON.stringify(words)})`);
    }
  }
}

async function goOn(s) {
  // A page that has only just come up takes no touch yet.
  await until("the page of the ways on", async () => {
    if ((await s.page.evaluate(() => document.body.dataset.page)) === "resume") return true;
    await s.tap(".target:has-text('Go on with cut')");
    return false;
  }, { status: s.status });
  await s.on("resume");
  await toGo(s);
  await pressOn(s);
}

test("a lost arc is flagged on the plate, told with its why and its remedy, and resumed", async (t) => {
  const s = await running(t, "10-inch", "arc-lost@2:80");
  assert.equal(await s.far(), "LOST ARC");
  assert.ok((await s.text("[data-test=why]")).startsWith("Why: "));
  assert.ok((await s.text("[data-test=do]")).startsWith("Do: "));
  assert.match(await s.text(".your-move"), /flag 1/);
  await cleared(s);
  await audit(s, "lost arc");
  await s.shot("10-lost-arc");
  await goOn(s);
  await s.farIs("FINISHED");
  await s.on("finish");
  assert.equal(await s.text("[data-test=done]"), "3 of 3 cut");
  await s.tap(".target:has-text('What happened')");
  await s.on("happened");
  await until("the lost arc in the record", async () => /arc/i.test(await s.text("[data-test=record]")), { status: s.status });
  await s.shot("11-happened");
  assert.deepEqual(s.troubles, []);
});

test("an emergency stop is cleared in its order, and nothing starts by itself", async (t) => {
  const s = await running(t, "10-inch", "estop@1:60");
  assert.equal(await s.far(), "E-STOP");
  assert.ok(!(await s.has(".target:has-text('Go on with cut')")), "no way on while the chain is open");
  await s.shot("12-e-stop");
  await audit(s, "e-stop");
  const done = await cleared(s);
  for (const [one, then] of [["At the table", "Clear:"], ["Clear:", "Reference"], ["Reference", "Torch to"], ["Torch to", "It stands right"]]) {
    assert.ok(done.indexOf(one) >= 0 && done.indexOf(one) < done.indexOf(then), `${one} before ${then}: ${done}`);
  }
  await s.shot("13-e-stop-cleared");
  assert.notEqual(await s.page.locator(".arc-block").getAttribute("data-shape"), "on");
  await goOn(s);
  await s.farIs("FINISHED");
  assert.deepEqual(s.troubles, []);
});

test("on the small glass an emergency stop is told and cleared as well", async (t) => {
  const s = await running(t, "7-inch", "estop@1:60");
  await audit(s, "e-stop");
  await s.shot("12-e-stop");
  await cleared(s);
  await audit(s, "ways on");
  await s.shot("13-e-stop-cleared");
  assert.deepEqual(s.troubles, []);
});
