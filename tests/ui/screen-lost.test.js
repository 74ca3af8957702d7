// The screen that commands is taken away while the torch burns; another one goes on.

import assert from "node:assert/strict";
import test from "node:test";
import { started } from "./rig/running.js";
import { pressOn, screen, seen, toGo } from "./rig/screen.js";
import { until } from "./rig/wait.js";

test("a run whose screen is gone is held, and a new screen takes it to its end", async (t) => {
  const glass = "10-inch";
  const { panel, s } = await started(t, glass, ["--speed", "5"]);
  await s.farIs("CUTTING");
  await s.page.close();

  // Asked as a script asks, so that nobody counts as a screen meanwhile.
  const happened = async () => (await (await fetch(new URL("/api/events", panel.address))).json()).events;
  await until("the run to be held", async () => (await happened()).some((e) => e.name === "held" && e.says.endsWith("the commanding screen is lost.")), {
    status: async () => JSON.stringify((await happened()).slice(-8)),
  });

  const next = await screen(panel.address, glass);
  t.after(() => next.end());
  await next.on("held");
  assert.ok((await next.status()).includes("screen"), await next.status());
  await next.shot("40-screen-lost");
  await seen(next);
  await next.tap(".target:has-text('Go on with cut')");
  await next.on("resume");
  await toGo(next);
  await pressOn(next);
  await next.farIs("FINISHED");
  await next.on("finish");
  assert.equal(await next.text("[data-test=done]"), "3 of 3 cut");
  assert.deepEqual(next.troubles, []);
});
