// From the list of programs to a finished cut, by touch alone, on both glasses.

import assert from "node:assert/strict";
import test from "node:test";
import { audit } from "./rig/audit.js";
import { practice, testPiece } from "./rig/panel.js";
import { GLASSES, keepOn, pressOn, screen, throughChecks, toGo } from "./rig/screen.js";
import { until } from "./rig/wait.js";

for (const glass of Object.keys(GLASSES)) {
  test(`${glass}: from the list through the checks to a finished cut, held and resumed on the way`, async (t) => {
    const panel = await practice(["--speed", "4"], testPiece());
    t.after(() => panel.end());
    const s = await screen(panel.address, glass);
    t.after(() => s.end());

    // What the command line named is open; its list is one touch away.
    await s.on("report");
    await s.see("a verdict", ".verdict[data-verdict]");
    await s.tap(".target:has-text('Back')");
    await s.on("program");
    await s.see("our test piece", "[data-program='own/test-piece.nc'] .verdict-line:not(:empty)");
    const hold = await audit(s, "program");
    await s.shot("01-program");

    await s.tap("[data-program='own/test-piece.nc']");
    await s.on("report");
    await s.see("a verdict", ".verdict[data-verdict]");
    await audit(s, "report", hold);
    await s.shot("02-report");
    // Warnings are accepted one by one, each with its reason.
    while (await s.has(".target:has-text('Accept this warning')")) {
      await s.tap(".target:has-text('Accept this warning')");
      await s.on("accept");
      await audit(s, "accept", hold);
      await s.tap(".reasons .target");
      await s.on("report");
    }
    await s.tap(".starter-like:has-text('Load 3 cuts')");

    await s.on("checks");
    assert.ok(!(await s.has(".starter:has-text('START')")), "START is not there before the checks");
    await audit(s, "checks", hold);
    await s.shot("03-checks");
    await throughChecks(s);
    await audit(s, "ready", hold);
    await s.shot("04-ready");
    assert.equal(await s.far(), "READY");

    if (await s.has(".starter-like")) {
      await s.tap(".starter-like");
      await s.on("start");
      await audit(s, "start", hold);
      await pressOn(s);
    } else {
      // Let go too soon: nothing happens.
      await s.keep(".starter", 700);
      assert.ok((await s.text(".starter")).includes("let go too soon"));
      assert.equal(await s.far(), "READY");
      await keepOn(s, ".starter:has-text('START')");
    }
    await s.on("cut");
    await s.farIs("CUTTING");
    await until("the arc on the glass", async () => (await s.page.locator(".arc-block").getAttribute("data-shape")) === "on", { status: s.status });

    // HOLD acts on contact, before the finger is lifted.
    await s.down(await s.place(".hold"));
    await s.farIs("HELD");
    await s.up();
    await s.on("held");
    await until("the arc to be seen out", async () => ["off", "locked-out"].includes(await s.page.locator(".arc-block").getAttribute("data-shape")), { status: s.status });
    await s.see("the ways on", ".target:has-text('Go on with cut')");
    await audit(s, "held", hold);
    await s.shot("06-held");

    await s.tap(".target:has-text('Go on with cut')");
    await s.on("resume");
    const before = await s.page.locator("[data-test=from]").textContent();
    // Held in the lead, the whole cut is offered, and the way from there is on.
    const back = await s.has(".target:has-text('5 mm back')");
    await s.tap(`.target:has-text('5 mm ${back ? "back" : "on"}')`);
    await until("another point", async () => (await s.page.locator("[data-test=from]").textContent()) !== before, { status: s.status });
    assert.ok(!(await s.has(".starter, .first-step")), "nothing on this page starts anything");
    await s.shot("07-resume");
    await audit(s, "resume", hold);
    await toGo(s, () => audit(s, "weigh", hold));
    assert.ok(!(await s.has(".second-step.starter")), "nothing can be kept pressed before it is made ready");
    await s.tap(".first-step");
    await s.see("the second step", ".second-step.starter");
    await s.shot("07-go");
    await audit(s, "go", hold);
    // Any other touch takes Make ready back: on the words, say.
    await s.tap("[data-test=leaves]");
    await until("the second step shut", async () => !(await s.has(".second-step.starter")), { status: s.status });
    await pressOn(s);
    await s.on("cut");
    await s.farIs("CUTTING");
    await s.shot("05-cut");
    await audit(s, "cut", hold);
    assert.ok(!(await s.has(".target")), "HOLD is the one target of the run page");

    await s.farIs("FINISHED");
    await s.on("finish");
    assert.equal(await s.text("[data-test=done]"), "3 of 3 cut");
    await audit(s, "finish", hold);
    await s.shot("08-finish");

    await s.tap(".target:has-text('What happened')");
    await s.on("happened");
    await s.see("the record", "[data-test=record] li");
    await audit(s, "happened", hold);
    await s.shot("09-happened");
    await s.tap(".target:has-text('Back')");
    await s.on("finish");
    await s.tap(".target:has-text('Unload the job')");
    await s.on("program");
    await s.tap(".target:has-text('Set up')");
    await s.on("setup");
    await audit(s, "setup", hold);
    assert.deepEqual(s.troubles, []);
  });
}
