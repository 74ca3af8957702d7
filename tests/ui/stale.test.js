// A screen that is not told anything says so; it never looks live.

import assert from "node:assert/strict";
import test from "node:test";
import { practice, testPiece } from "./rig/panel.js";
import { GLASSES, screen } from "./rig/screen.js";
import { until } from "./rig/wait.js";

for (const glass of Object.keys(GLASSES)) {
  test(`${glass}: late data is hatched, lost data is taken away, and both come back`, async (t) => {
    const panel = await practice([], testPiece());
    t.after(() => panel.end());
    const s = await screen(panel.address, glass);
    t.after(() => s.end());
    await s.on("report");
    await s.see("the job may be taken", ".starter-like, .target:has-text('Accept')");
    const frame = () => s.page.evaluate(() => document.body.dataset.frame ?? "none");
    assert.equal(await frame(), "practice");
    const beat = () => s.page.evaluate(() => [...document.querySelectorAll(".beat i")].findIndex((i) => "on" in i.dataset));
    const first = await beat();
    await until("the beat to step", async () => (await beat()) !== first, { status: s.status });

    // The levels pass quickly: the page itself notes each one that it has shown.
    await s.page.evaluate(() => {
      window.shown = [];
      new MutationObserver(() => window.shown.push({
        frame: document.body.dataset.frame,
        takes: [...document.querySelectorAll(".starter, .starter-like")].some((n) => n.getClientRects().length > 0),
        old: document.querySelector(".old").innerText,
      })).observe(document.body, { attributes: true, attributeFilter: ["data-frame"] });
    });
    panel.freeze();
    await s.farIs("NO PANEL");
    assert.equal(await frame(), "lost");
    const shown = await s.page.evaluate(() => window.shown);
    assert.ok(shown.some((x) => x.frame === "late"), `late was shown before lost: ${JSON.stringify(shown)}`);
    assert.equal(await s.page.locator(".arc-block").innerText(), "ARC ?");
    assert.ok((await s.text(".hold")).includes("HOLD CANNOT BE SENT"));
    assert.ok(!(await s.has(".starter, .starter-like")), "what starts is taken away, not greyed");
    const still = await beat();
    await s.tap(".hold");
    await until("HOLD to be told as not confirmed", async () => (await s.text(".hold")).includes("HOLD NOT CONFIRMED"), { status: s.status });
    assert.ok((await s.text(".hold")).includes("use the red button"));
    assert.equal(await beat(), still, "no beat without a message");
    await s.shot("14-lost");

    panel.thaw();
    await until("the panel to be heard again", async () => (await frame()) === "practice", { status: s.status });
    await until("the page to say what happened meanwhile", async () => (await s.text(".said")).includes("this screen heard nothing"), { status: s.status });
    await s.tap(".said .target:has-text('Seen')");
    await until("that to be put away", async () => !(await s.has("[data-said]")), { status: s.status });
    await until("the bar to come to rest", async () => (await s.page.locator(".hold").getAttribute("data-look")) === "rest", { status: s.status });
  });
}

test("a finger that slides off, a second finger and a short press start nothing", async (t) => {
  const panel = await practice([], testPiece());
  t.after(() => panel.end());
  const s = await screen(panel.address, "10-inch");
  t.after(() => s.end());
  await s.on("report");
  const back = await s.place(".target:has-text('Back')");
  await s.down(back);
  await s.move({ x: back.x, y: back.y - 300 });
  await s.up();
  assert.ok(await s.has("[data-page=report].page"), "slid off");
  await s.down(back, { x: 300, y: 300 });
  await s.up();
  assert.ok(await s.has("[data-page=report].page"), "two fingers");
  await s.tap(".target:has-text('Back')");
  await s.on("program");
});
