// Every kind of fault of the simulated table, in a real run: the pages of its stop, new, seen and
// cleared, and what happened, looked at on every glass. (`panel-killed` is for --headless alone; a
// panel that is gone is looked at in `stale.test.js`.)

import assert from "node:assert/strict";
import test from "node:test";
import { looked } from "./rig/audit.js";
import { cleared } from "./rig/cleared.js";
import { running } from "./rig/running.js";
import { GLASSES } from "./rig/screen.js";
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
    const { wrong } = await looked(s);
    const text = await s.status();
    const page = await s.page.evaluate(() => document.body.dataset.page);
    if (["held", "happened", "datum"].includes(page) && !/(^|\n)(Safe|Not safe) to go near/.test(text)) wrong.push("it does not say whether it is safe to go near");
    if (/(^|\n)Not safe to go near/.test(text) && /see flag|look at the flag/i.test(text)) wrong.push("it sends a person there");
    if (wrong.length > 0) bad.push(`${glass}, ${where}, page ${page}:\n  ${wrong.join("\n  ")}`);
  }
  await s.page.setViewportSize(GLASSES["10-inch"]);
}

for (const fault of KINDS) {
  test(`${fault}: its stop, seen and cleared, on every glass`, async (t) => {
    const s = await running(t, "10-inch", fault);
    const bad = [];
    await onEveryGlass(s, "new", bad);
    await s.shot(`kind-${fault.split("@")[0]}`);
    await until("what happened", async () => {
      if ((await s.page.evaluate(() => document.body.dataset.page)) === "happened") return true;
      await s.tap(".target:has-text('What happened')").catch(() => {});
      return false;
    }, { status: s.status });
    await s.on("happened");
    await s.see("the record", "[data-test=record] li");
    await onEveryGlass(s, "what happened", bad);
    await s.tap(".target:has-text('Back')");
    await s.on("held");
    await cleared(s, (act) => onEveryGlass(s, `after ${act}`, bad));
    assert.deepEqual(bad, [], bad.join("\n"));
    assert.deepEqual(s.troubles, []);
  });
}
