// What goes wrong at the simulated table, and how it is put right by touch.

import assert from "node:assert/strict";
import test from "node:test";
import { audit } from "./rig/audit.js";
import { cleared } from "./rig/cleared.js";
import { running } from "./rig/running.js";
import { pressOn, toGo } from "./rig/screen.js";
import { until } from "./rig/wait.js";

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
  assert.match(await s.text("[data-test=near]"), /^Safe to go near$/);
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
