// Every kind of fault of the simulated table, in a real run: the pages of its stop, new, seen and
// cleared, and what happened, looked at on every glass; a wire with noise; a panel that is killed in
// mid-cut and started again.

import assert from "node:assert/strict";
import test from "node:test";
import { looked } from "./rig/audit.js";
import { cleared } from "./rig/cleared.js";
import { ownTable, testPiece } from "./rig/panel.js";
import { cutting, running, started, taken } from "./rig/running.js";
import { GLASSES, press } from "./rig/screen.js";
import { until } from "./rig/wait.js";

const KINDS = ["arc-lost@2:40", "no-arc@2", "arc-stuck@2", "contact-stuck@2", "no-contact@2", "estop@2:40", "link-cut@2:40", "controller-reset@2:40", "air-low@2:40", "tip-over@2"];

/** The page as it stands on every glass. */
async function onEveryGlass(s, where, bad) {
  for (const [glass, size] of Object.entries(GLASSES)) {
    await s.page.setViewportSize(size);
    await s.page.evaluate(async () => {
      const frame = () => new Promise((done) => requestAnimationFrame(done));
      for (let k = 0; k < 4; k += 1) await frame();
    });
    if (process.env.STANDCLEAR_SCREENS) await s.shot(`kind-${where.replaceAll(/[^a-z0-9]+/gi, "-")}`, glass);
    const { wrong } = await looked(s);
    const text = await s.status();
    const page = await s.page.evaluate(() => document.body.dataset.page);
    if (["held", "happened", "datum"].includes(page) && !/(^|\n)(Safe|Not safe) to go near/.test(text)) wrong.push("it does not say whether it is safe to go near");
    if (/(^|\n)Not safe to go near/.test(text) && /see flag|look at the flag/i.test(text)) wrong.push("it sends a person there");
    if (wrong.length > 0) bad.push(`${glass}, ${where}, page ${page}:\n  ${wrong.join("\n  ")}`);
  }
  await s.page.setViewportSize(GLASSES["10-inch"]);
}

/** From a stop that is new to its ways on, with every page between. */
async function throughItsPages(s, name) {
  const bad = [];
  await onEveryGlass(s, "new", bad);
  await s.shot(`kind-${name}`);
  await until("what happened", async () => {
    if ((await s.page.evaluate(() => document.body.dataset.page)) === "happened") return true;
    await s.tapNow(".target:has-text('What happened')");
    return false;
  }, { status: s.status });
  await s.on("happened");
  await s.see("the record", "[data-test=record] li");
  await onEveryGlass(s, "what happened", bad);
  await press(s, ".target:has-text('Back')");
  await s.on("held");
  await cleared(s, (act) => onEveryGlass(s, `after ${act}`, bad));
  assert.deepEqual(bad, [], bad.join("\n"));
}

/** The curves of an arc that was lost, ten seconds after it: the arc out, the torch still asked for. */
async function curvesOfIt(s) {
  await press(s, ".target:has-text('What happened')");
  await s.on("happened");
  await s.see("that there are curves", ".target:has-text('Curves')");
  await press(s, ".target:has-text('Curves')");
  await s.on("curves");
  const lane = (key) => s.text(`[data-lane=${key}] b`);
  await until("the curves", async () => (await lane("fire")) === "on", { status: s.status });
  assert.deepEqual([await lane("arc-ok"), await lane("hold"), await lane("moving")], ["off", "on", "on"]);
  assert.match(await lane("height_mm"), /^1\.[3-7] mm$/);
  const bad = [];
  await onEveryGlass(s, "its curves", bad);
  assert.deepEqual(bad, [], bad.join("\n"));
  await press(s, ".target:has-text('Back')");
  await press(s, ".target:has-text('Back')");
  await s.on("held");
}

for (const fault of KINDS) {
  test(`${fault}: its stop, seen and cleared, on every glass`, async (t) => {
    const s = await running(t, "10-inch", fault);
    await throughItsPages(s, fault.split("@")[0]);
    if (fault.startsWith("arc-lost")) await curvesOfIt(s);
    assert.deepEqual(s.troubles, []);
  });
}

test("a panel killed in mid-cut: the glass without it, and the stop that it tells when it is back", async (t) => {
  const panel = await ownTable(["--speed", "10"], testPiece(), "test-piece");
  t.after(() => panel.end());
  const s = await cutting(t, "10-inch", panel);
  await s.farIs("CUTTING");
  await panel.kill();
  await s.farIs("NO PANEL");
  const bad = [];
  await onEveryGlass(s, "without a panel", bad);
  await s.shot("kind-panel-killed-gone");
  assert.deepEqual(bad, [], bad.join("\n"));
  await panel.again();
  await s.on("held");
  await onEveryGlass(s, "interrupted, new", bad);
  await s.shot("kind-panel-killed");
  // What happened while it was away lies over what the page tells, and over no target.
  await s.see("what happened meanwhile", ".said:has-text('this screen heard nothing')");
  await press(s, ".said .target:has-text('Seen')");
  await onEveryGlass(s, "interrupted, read", bad);
  await press(s, ".column .target:has-text('Seen:')");
  await s.on("program");
  await s.see("what was left unfinished", ".say-line:has-text('A run was interrupted')");
  await onEveryGlass(s, "interrupted, programs", bad);
  await s.shot("kind-panel-killed-programs");
  await s.tap(".target:has-text('Give that run up')");
  await s.on("leave");
  await onEveryGlass(s, "interrupted, giving it up", bad);
  await s.shot("kind-panel-killed-leave");
  await s.tap(".target:has-text('Back')");
  await s.on("program");
  // Its job is loaded again and gone on with.
  await s.tap('[data-program="own/test-piece.nc"]');
  await taken(s);
  await s.on("held");
  await throughItsPages(s, "panel-killed-held");
  assert.deepEqual(bad, [], bad.join("\n"));
  // What the browser itself says of a panel that is not there is no fault of the page.
  assert.deepEqual(s.troubles.filter((x) => !/ERR_CONNECTION_REFUSED|WebSocket connection/.test(x)), []);
});

test("noise on the wire: the pages of a cut, and of a stop if it comes to one, on every glass", async (t) => {
  const { s } = await started(t, "10-inch", ["--speed", "2", "--fault", "noise=1e-4"]);
  const bad = [];
  let cutting = 0;
  const now = await until("the end, or a stop", async () => {
    const page = await s.page.evaluate(() => document.body.dataset.page);
    if (page !== "cut") return page;
    await onEveryGlass(s, "noise", bad);
    cutting += 1;
    return null;
  }, { limitMs: 120_000, status: s.status });
  assert.ok(cutting > 3, `${cutting} looks at the cut`);
  await s.shot("kind-noise");
  await onEveryGlass(s, `noise, ${now}`, bad);
  assert.deepEqual([...new Set(bad)], [], bad.join("\n"));
  assert.deepEqual(s.troubles, []);
});
