// The PIN for screens elsewhere: made at the console, shown once, taken away again.

import assert from "node:assert/strict";
import test from "node:test";
import { audit } from "./rig/audit.js";
import { practice } from "./rig/panel.js";
import { GLASSES, screen } from "./rig/screen.js";
import { until } from "./rig/wait.js";

/** Whether the panel takes this PIN from whoever gives it. */
async function taken(address, pin) {
  const answer = await fetch(new URL("/api/enter", address), {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ pin }),
  });
  return answer.status === 200;
}

for (const glass of Object.keys(GLASSES)) {
  test(`${glass}: a PIN is made, shown once and taken, and is none any more when it is taken away`, async (t) => {
    const panel = await practice();
    t.after(() => panel.end());
    const s = await screen(panel.address, glass);
    t.after(() => s.end());
    await s.on("report");
    await s.tap(".target:has-text('Back')");
    await s.on("program");
    await s.tap(".target:has-text('Set up')");
    await s.on("setup");
    await s.tap(".target:has-text('Other screens')");
    await s.on("screens");
    const says = (words) => until(words, async () => (await s.text("[data-test=so]")).includes(words), { status: s.status });
    await says("No PIN is set.");
    await audit(s, "other screens");
    await s.tap(".target:has-text('Make a PIN')");
    await says("It is shown once.");
    await audit(s, "other screens, with a PIN");
    await s.shot("screens");
    const first = (await s.text("[data-test=pin]")).replace(/\s/g, "");
    assert.match(first, /^\d{6}$/);
    assert.ok(await taken(panel.address, first));

    await s.tap(".target:has-text('Make another PIN')");
    await until("another PIN", async () => (await s.text("[data-test=pin]")).replace(/\s/g, "") !== first, { status: s.status });
    const second = (await s.text("[data-test=pin]")).replace(/\s/g, "");
    assert.ok(!(await taken(panel.address, first)), "the first is none any more");
    assert.ok(await taken(panel.address, second));

    await s.tap(".target:has-text('Back')");
    await s.on("setup");
    await s.tap(".target:has-text('Other screens')");
    await s.on("screens");
    await says("A PIN is set.");
    assert.equal(await s.page.locator("[data-test=pin]").isVisible(), false, "it is shown once");
    await s.tap(".target:has-text('No PIN')");
    await says("No PIN is set.");
    assert.ok(!(await taken(panel.address, second)));
    assert.deepEqual(s.troubles, []);
  });
}
