// A lost arc from the flag to the last of the cut, and torch parts changed on the way, on both glasses.

import assert from "node:assert/strict";
import test from "node:test";
import { audit } from "./rig/audit.js";
import { testPiece } from "./rig/panel.js";
import { running } from "./rig/running.js";
import { GLASSES, keepOn, pressOn, seen, toGo } from "./rig/screen.js";
import { until } from "./rig/wait.js";

const from = (s) => s.page.locator("[data-test=from]").textContent();
const alongMm = (text) => Number(text.match(/from ([\d.]+) mm/)[1]);

for (const glass of Object.keys(GLASSES)) {
  test(`${glass}: a lost arc is gone on with from another point, by a way that was chosen`, async (t) => {
    const s = await running(t, glass, "arc-lost@2:80");
    await seen(s);
    assert.match(await s.text("[data-test=at]"), /Ran on [\d.]+ mm/);
    const hold = await audit(s, "held");
    await s.shot("20-held");
    await s.tap(".target:has-text('Go on with cut')");
    await s.on("resume");
    await until("the best way", async () => (await s.text("[data-test=way]")).startsWith("Best: "), { status: s.status });
    assert.ok(!(await s.has(".starter, .first-step")), "nothing on this page starts anything");
    await audit(s, "resume", hold);
    await s.shot("21-resume");

    // Every way is in reach, each with its why.
    await s.tap(".target:has-text('Other ways')");
    await s.on("ways");
    await audit(s, "ways", hold);
    await s.shot("22-ways");
    const ways = await s.page.locator("[data-way]").evaluateAll((nodes) => nodes.map((n) => n.dataset.way));
    assert.ok(ways.length >= 2, ways.join());
    assert.equal(ways[1], "lead-in");
    await s.tap("[data-way=lead-in]");
    await s.on("resume");
    await until("the way that was chosen", async () => !(await s.text("[data-test=way]")).startsWith("Best: "), { status: s.status });
    await audit(s, "another way", hold);
    await s.shot("23-resume-lead-in");

    // Back by 5 mm, then on by 1 mm: the point follows, and what is cut again with it.
    const first = alongMm(await from(s));
    await s.tap(".target:has-text('5 mm back')");
    await until("5 mm earlier", async () => Math.abs(first - 5 - alongMm(await from(s))) < 1.01, { status: s.status });
    const five = alongMm(await from(s));
    await s.tap(".target:has-text('Steps of 1 mm')");
    await s.tap(".target:has-text('1 mm on')");
    await until("1 mm on", async () => Math.abs(five + 1 - alongMm(await from(s))) < 0.51, { status: s.status });
    assert.match(await s.text("[data-test=leaves]"), /mm cut again/);
    await s.shot("24-resume-back");

    await toGo(s);
    await audit(s, "go", hold);
    await s.shot("26-go");
    assert.ok(!(await s.has(".second-step.starter")), "made ready first");
    await pressOn(s);
    await s.farIs("FINISHED");
    await s.on("finish");
    assert.equal(await s.text("[data-test=done]"), "3 of 3 cut");
    assert.deepEqual(s.troubles, []);
  });

  test(`${glass}: what vetting warns of in a way on is weighed before it can be taken`, async (t) => {
    // Between the first square and the sheet's edge there is room for a pierce, and not much.
    const s = await running(t, glass, "arc-lost@1:40", testPiece(9));
    await seen(s);
    const hold = await audit(s, "held");
    await s.tap(".target:has-text('Go on with cut')");
    await s.on("resume");
    await until("the best way", async () => (await s.text("[data-test=way]")).startsWith("Best: "), { status: s.status });
    await s.tap(".target:has-text('Other ways')");
    await s.on("ways");
    assert.match(await s.text("[data-way=lead-in]"), /1 to accept/);
    await s.tap("[data-way=lead-in]");
    await s.on("resume");
    await until("the way that was chosen", async () => !(await s.text("[data-test=way]")).startsWith("Best: "), { status: s.status });
    await s.tap(".target:has-text('Go on this way')");
    await s.on("weigh");
    assert.match(await s.text("[data-test=warning]"), /^1 of 1 .*of the sheet's edge/);
    await audit(s, "weigh", hold);
    await s.shot("27-weigh");
    // Back out of it: it is still to be weighed.
    await s.tap(".target:has-text('Back')");
    await s.on("resume");
    let weighed = 0;
    await toGo(s, async () => { weighed += 1; });
    assert.ok(weighed > 0);
    await pressOn(s);
    await s.farIs("FINISHED");
    assert.deepEqual(s.troubles, []);
  });

  test(`${glass}: torch parts are changed at a stop, one step at a time, and the cut goes on`, async (t) => {
    const s = await running(t, glass, "arc-lost@2:80");
    await seen(s);
    const hold = await audit(s, "held");
    const step = (n) => until(`step ${n}`, async () => (await s.has("[data-test=step]")) && (await s.text("[data-test=step]")) === String(n), { status: s.status });
    const starts = (part) => s.page.locator(`[data-test=counts] tr[data-key=${part}] td`).evaluateAll((cells) => cells.map((c) => c.textContent));

    // Left again before anything was touched.
    await s.tap(".target:has-text('Change torch parts')");
    await s.on("parts");
    assert.equal(await s.far(), "PARTS");
    await step(2);
    await s.tap(".target:has-text('Cancel the change')");
    await s.on("held");
    await s.see("the way on", ".target:has-text('Go on with cut')");

    // Left again with a new shield that nobody has tried: no way on, and the page says why.
    await s.tap(".target:has-text('Change torch parts')");
    await s.on("parts");
    await step(2);
    await s.tap(".target:has-text('It is off at the isolator')");
    await step(3);
    await s.tap("[data-part=shield]");
    await s.tap(".target:has-text('This 1 is new')");
    await step(4);
    await s.tap(".target:has-text('Cancel the change')");
    await s.on("held");
    assert.ok(!(await s.has(".target:has-text('Go on with cut')")), "no way on before the contact test");
    await s.tap(".target:has-text('Seen:')");
    await until("why there is no way on", async () => /^No way on yet: .*(contact|parts)/.test(await s.text("[data-test=do]")), { status: s.status });
    await audit(s, "held, parts not tried", hold);
    await s.shot("29-not-tried");

    await s.tap(".target:has-text('Change torch parts')");
    await s.on("parts");
    await step(2);
    assert.match(await s.text("[data-test=power]"), /cannot tell - switch off at the isolator|OFF/);
    await audit(s, "isolate", hold);
    await s.shot("30-isolate");
    const before = await starts("nozzle");
    await s.tap(".target:has-text('It is off at the isolator')");
    await step(3);
    await s.tap("[data-part=nozzle]");
    await s.tap("[data-part=electrode]");
    await s.see("two chosen", ".target:has-text('These 2 are new')");
    await audit(s, "swap", hold);
    await s.shot("31-swap");
    await s.tap(".target:has-text('These 2 are new')");
    await step(4);
    await audit(s, "contact", hold);
    await s.shot("32-contact");
    assert.ok(!(await s.has(".target:has-text('Go on with cut')")), "no way on before the contact test");
    const now = await starts("nozzle");
    assert.equal(now[0], before[1], "what it had been through before");
    assert.equal(now[1], "0", "a new nozzle begins at nothing");
    assert.equal((await starts("shield"))[1], "0", "the shield stays new");
    assert.equal((await starts("swirl-ring"))[1], before[1], "the swirl ring was not changed");
    await s.tap(".target:has-text('Let the sheet test it')");
    await step(5);
    await audit(s, "source", hold);
    await s.shot("33-source");
    await s.tap(".target:has-text('On again')");
    await step(6);
    await audit(s, "touch", hold);
    await s.shot("34-touch");
    await keepOn(s, ".starter:has-text('Touch the sheet')");
    await step(7);
    assert.match(await s.text("[data-test=says]"), /contact test has passed/);
    await audit(s, "done", hold);
    await s.shot("35-done");
    await s.tap(".target:has-text('Parts are done')");
    await s.on("held");
    await s.tap(".target:has-text('Go on with cut')");
    await s.on("resume");
    await toGo(s);
    await pressOn(s);
    await s.farIs("FINISHED");
    await s.on("finish");
    assert.equal(await s.text("[data-test=done]"), "3 of 3 cut");
    assert.deepEqual(s.troubles, []);
  });
}
