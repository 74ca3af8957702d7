// The torch moved by hand: as long as a key is kept pressed, by a step, and not a hair further.

import assert from "node:assert/strict";
import test from "node:test";
import { audit } from "./rig/audit.js";
import { practice } from "./rig/panel.js";
import { GLASSES, press, screen, throughChecks } from "./rig/screen.js";
import { forMs, until } from "./rig/wait.js";

async function place(s) {
  const said = await s.text("[data-test=place]");
  return said.match(/-?[\d.]+/g).map(Number);
}

/** The place, once it does not change any more. */
async function stands(s) {
  let last = await place(s);
  await until("a torch that stands", async () => {
    await forMs(300);
    const now = await place(s);
    const still = now[0] === last[0] && now[1] === last[1];
    last = now;
    return still;
  }, { status: s.status });
  return last;
}

for (const glass of Object.keys(GLASSES)) {
  test(`${glass}: a key moves the torch while it is pressed, and a step as far as it says`, async (t) => {
    const panel = await practice();
    t.after(() => panel.end());
    const s = await screen(panel.address, glass);
    t.after(() => s.end());
    await s.on("report");
    await s.see("a verdict", ".verdict[data-verdict]");
    // A panel that has just been switched on changes its mind often: whatever it says is read, and asked again.
    await until("the job to be loaded", async () => {
      if ((await s.page.locator('[data-page="checks"].page').count()) > 0) return true;
      await s.tapNow("#middle .target:has-text('Seen')");
      await s.tapNow(".starter-like:has-text('Load 36 cuts')");
      await forMs(300);
      return false;
    }, { status: s.status });
    await throughChecks(s);
    await press(s, ".target:has-text('Unload the job')");
    await s.on("program");
    await s.tap(".target:has-text('Move by hand')");
    await s.on("hand");
    await audit(s, "hand");
    await s.shot("hand");

    const from = await stands(s);
    await s.keep(".target:has-text('Right')", 1000);
    const moved = await stands(s);
    assert.ok(moved[0] - from[0] > 8, `moved from ${from} to ${moved}`);
    assert.equal(moved[1], from[1]);
    await s.tap(".target:has-text('Steady')");
    await s.tap(".target:has-text('Away')");
    await until("a step of 10 mm", async () => Math.abs((await place(s))[1] - from[1] - 10) < 0.11, { status: s.status });
    assert.deepEqual(await stands(s), await place(s));
    await s.tap(".target:has-text('Up and down')");
    assert.ok(!(await s.has(".target:has-text('Left')")));
    await s.tap(".target:has-text('Back')");
    await s.on("program");
    assert.deepEqual(s.troubles, []);
  });
}
