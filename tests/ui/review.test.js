// What is looked at afterwards, by touch on every glass: runs and faults, one run, what is saved, a replay; and the
// last seconds of a stop.

import assert from "node:assert/strict";
import test, { describe } from "node:test";
import { audit } from "./rig/audit.js";
import { fixture } from "./rig/fixtures.js";
import { laid, stops } from "./rig/glass.js";
import { cleared } from "./rig/cleared.js";
import { running } from "./rig/running.js";
import { GLASSES, pressOn, toGo } from "./rig/screen.js";
import { until } from "./rig/wait.js";

const { view } = fixture("snapshot");
const near = { safe: true, why: "Permit relay and arc are seen off. Nothing moves." };
const allow = (...asks) => ["hold", ...asks].map((ask) => ({ ask, refused: null }));
const over = { change: null, hold: null, alarms: [], marks: [], near, signals: { ...view.signals, source_on: false } };
const finished = { ...view, ...over, phase: "finished", waiting_for: "job", torch: { ...view.torch, moving: false, arc: "off" }, cuts: [{ state: "done", done: [] }, { state: "done", done: [] }], allowed: allow("unload") };
const says = "Arc went out on cut 2.";
const events = [
  ["run-started", "normal", "Run 7 began: Hinge plates, 2 cuts.", 10, null],
  ["held", "stop", says, 62.31, "start-3-62310000-62310000"],
  ["arc-off", "normal", "Arc out.", 62.314, null],
  ["resumed", "normal", "Went on with cut 2.", 65, null],
].map(([name, severity, text, at_s, trace], k) => ({ id: k + 1, run: 7, start: 3, at_s, wall_ms: 1_790_000_000_000 + k * 4, unsure: false, name, severity, says: text, advice: severity === "stop" ? "Look at the flag." : null, ...(trace ? { trace } : {}) }));
const was = { ...view, ...over, phase: "running", step: "cut", waiting_for: "nothing", generation: 3, cut: 2, torch: { ...view.torch, place: [230, 90], arc: "on", moving: true, age_s: 0.02 }, signals: { ...view.signals, source_on: true, arc_ok: true }, allowed: view.allowed.map((a) => ({ ...a, refused: "this is a replay" })) };

/** A panel that shows what was asked for, and remembers that. */
function answers(asked) {
  const { parts } = fixture("replay");
  return {
    "/api/events": (url) => {
      asked.push(`events ${url.searchParams}`);
      return { v: 1, events: url.searchParams.get("faults") ? events.filter((e) => e.severity === "stop") : events };
    },
    "/api/replay": () => ({ ...fixture("replay"), parts }),
    "/api/replay/at": (url) => {
      const [start, us] = [Number(url.searchParams.get("start")), Number(url.searchParams.get("us"))];
      asked.push(`at ${start} ${us}`);
      return { v: 1, start, us, reached: true, view: { ...was, seal: finished.seal, station_mm: us / 1e6 } };
    },
    "/api/replay/job": (url) => ({ ...fixture("job"), seal: url.searchParams.get("seal") }),
  };
}

for (const glass of Object.keys(GLASSES)) {
  describe(glass, () => {
    test("runs are listed and opened, their faults, and what can be saved of them", async (t) => {
      const asked = [];
      const s = await laid(t, glass, { api: answers(asked) });
      await s.lay(finished);
      await s.on("finish");
      await s.tap(".target:has-text('What happened')");
      await s.on("happened");
      await s.tap(".target:has-text('Runs')");
      await s.on("runs");
      await s.see("runs", ".record-row:has-text('Run 9')");
      const hold = await audit(s, "runs");
      await s.shot("runs");
      const first = await s.text(".record-row");
      await s.tap(".target:has-text('Earlier')");
      await until("older runs", async () => (await s.text(".record-row")) !== first, { status: s.status });
      await s.tap(".target:has-text('Later')");
      await s.tap(".record-row:has-text('Run 7')");
      await s.on("run");
      await s.see("its record", "[data-test=record] li");
      assert.ok(asked.includes("events run=7"), asked.join("; "));
      assert.match(await s.status(), /30 of 36 cuts, 2 stops/);
      await audit(s, "run", hold);
      await s.shot("run");
      await s.tap(".target:has-text('Save')");
      await s.on("save");
      await audit(s, "save", hold);
      await s.shot("save");
      const to = await s.page.$$eval("a.target:not([hidden])", (all) => all.map((a) => a.getAttribute("href")));
      assert.deepEqual(to, ["/api/export/bundle?run=7", "/api/export/events?run=7", "/api/export/trace?name=start-3-62310000-62310000"]);
      await s.tap(".target:has-text('Back')");
      await s.on("run");
      await s.tap(".target:has-text('Its faults')");
      await s.on("runs");
      await s.see("its fault", `.record-row:has-text('${says}')`);
      await audit(s, "faults", hold);
      await s.tap(".record-row");
      await s.on("curves");
      await until("the curves", () => s.has(".curve[d]:not([d=''])"), { status: s.status });
      await audit(s, "a fault", hold);
      await s.shot("fault");
      if (glass !== "7-inch") {
        await s.see("the plate at that instant", "[data-test=instant] canvas");
        assert.match(await s.status(), /FIRST[\s\S]*Do: Look at the flag[\s\S]*\+0\.004 s\s+Arc out/);
        assert.match(await s.status(), /Safe to go near/);
      }
      assert.ok(asked.includes("at 3 62310000"), asked.join("; "));
      assert.deepEqual(s.troubles, []);
    });

    test("a run is shown again: nothing but its keys and HOLD can be pressed, and what is live ends it", async (t) => {
      const asked = [];
      const s = await laid(t, glass, { api: answers(asked) });
      await s.lay(finished);
      await s.on("finish");
      const hold = await audit(s, "finish");
      await s.tap(".target:has-text('What happened')");
      await s.on("happened");
      await s.tap(".target:has-text('Runs')");
      await s.on("runs");
      await s.tap(".record-row:has-text('Run 7')");
      await s.on("run");
      await s.tap(".target:has-text('Replay')");
      await s.on("cut");
      await s.see("its keys", ".replay-bar");
      assert.equal(await s.far(), "REPLAY");
      assert.equal(await s.page.evaluate(() => document.body.dataset.frame), "replay");
      await audit(s, "replay", hold);
      await s.shot("replay");
      const keys = await s.page.$$eval(".target", (all) => all.filter((n) => n.getClientRects().length > 0).map((n) => n.innerText.trim()));
      assert.deepEqual(keys.sort(), ["Earlier", "Later", "Leave", "Play", "Step"]);
      const wide = await s.page.evaluate(() => Number.parseFloat(getComputedStyle(document.body, "::after").left) / Number.parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--px-per-mm")));
      assert.ok(wide >= 11.9, `the frame is ${wide} mm`);

      const last = () => Number(asked.findLast((a) => a.startsWith("at ")).split(" ")[2]);
      assert.equal(last(), 10_000_000);
      await s.tap(".target:has-text('Step')");
      await until("a step", () => last() === 10_100_000, { status: s.status });
      await s.tap(".target:has-text('Later')");
      await until("ten seconds later", () => last() === 20_100_000, { status: s.status });
      await s.tap(".target:has-text('Earlier')");
      await until("and earlier", () => last() === 10_100_000, { status: s.status });
      await s.tap(".target:has-text('Play')");
      await until("that it plays", () => last() > 10_400_000, { status: s.status });
      await s.tap(".target:has-text('Pause')");
      await s.see("that it stands", ".target:has-text('Play')");

      // HOLD goes to the machine, at first contact.
      const pressed = s.page.waitForRequest("**/api/hold");
      await s.tap(".hold");
      await pressed;
      assert.equal(await s.far(), "REPLAY");
      await s.tap(".target:has-text('Leave')");
      await s.on("run");
      assert.equal(await s.far(), "FINISHED");

      await s.tap(".target:has-text('Replay')");
      await s.on("cut");
      await s.lay(stops().find(({ name }) => name === "estop, new").view);
      await s.on("held");
      assert.equal(await s.far(), "E-STOP");
      assert.equal(await s.has(".replay-bar"), false);
      // The press of HOLD has no panel behind it here.
      assert.deepEqual(s.troubles.filter((words) => !/40[45]/.test(words)), []);
    });

    test("a stop shows its last seconds, and no more than 30 words stand before a choice", async (t) => {
      const s = await laid(t, glass);
      const bad = [];
      let chosen = 0;
      for (const { name, view: stop } of stops()) {
        await s.lay({ ...stop, generation: 1 });
        if (!(await s.has("[data-page=held][data-chooses]"))) continue;
        chosen += 1;
        // What the pictures say is seen, not read.
        const text = (await s.page.locator(".page .left > .heads, .page .left .told .pager-text").allInnerTexts()).join("\n");
        const words = text.split(/\s+/).filter((w) => /[\p{L}\p{N}]/u.test(w)).length;
        if (words > 30) bad.push(`${name}: ${words} words: ${text}`);
      }
      assert.ok(chosen > 20, String(chosen));
      assert.deepEqual(bad, [], bad.join("\n"));
      await s.lay({ ...stops().find(({ name }) => name === "arc-lost, new").view, generation: 1 });
      if (glass !== "7-inch") {
        await s.see("the last seconds", ".last-seconds .curve:not([d=''])");
        assert.match(await s.text("[data-test=last-seconds]"), glass === "10-inch" ? /of 120[\s\S]*of 1\.5/ : /of 120/);
        await until("the likely cause", async () => (await s.text("[data-test=why]")) === "Why: likely a corner, 2.0 mm ahead.", { status: s.status });
      }
      await audit(s, "held");
      await s.shot("held-last-seconds");
      assert.deepEqual(s.troubles, []);
    });
  });
}

test("a run with a lost arc is shown again by the panel that cut it, and saved", async (t) => {
  const s = await running(t, "10-inch", "arc-lost@2:80");
  await s.see("the last seconds", ".last-seconds .curve:not([d=''])");
  assert.match(await s.text("[data-test=why]"), /^Why: (likely .*|not known)\.$/);
  await cleared(s);
  await until("the page of the ways on", async () => {
    if ((await s.page.evaluate(() => document.body.dataset.page)) === "resume") return true;
    await s.tapNow(".target:has-text('Go on with cut')");
    return false;
  }, { status: s.status });
  await s.on("resume");
  await toGo(s);
  await pressOn(s);
  await s.farIs("FINISHED");
  await s.on("finish");
  await s.tap(".target:has-text('What happened')");
  await s.on("happened");
  await s.tap(".target:has-text('Runs')");
  await s.on("runs");
  await s.tap(".record-row:has-text('Run 1')");
  await s.on("run");
  assert.match(await s.status(), /3 of 3 cuts, 1 stop/);
  const get = async (path) => {
    const answer = await s.page.request.get(new URL(path, s.page.url()).href);
    return { status: answer.status(), body: await answer.body() };
  };
  const bundle = await get("/api/export/bundle?run=1");
  assert.equal(bundle.status, 200);
  assert.match(bundle.body.subarray(0, 100).toString("latin1"), /^manifest\.json/);
  assert.match((await get("/run/1")).body.toString(), /<h1>Run 1<\/h1>[\s\S]*<h2>Stops<\/h2>/);
  await s.tap(".target:has-text('Replay')");
  await s.see("its keys", ".replay-bar");
  assert.equal(await s.far(), "REPLAY");
  // Through the whole run, past the stop: the pages are those of the run.
  const pages = new Set();
  const at = async () => Number((await s.text("[data-test=replay-at]")).match(/([\d.]+) of/)?.[1] ?? Number.NaN);
  for (let before = -1, now = await at(); now > before;) {
    // A page that has just come takes no touch yet.
    const page = await s.page.evaluate(() => document.body.dataset.page);
    await s.on(page);
    pages.add(page);
    before = now;
    await s.tap(".target:has-text('Later')");
    await until("ten seconds later, or its end", async () => (now = await at()) > before || (await s.text("[data-test=replay-at]")).match(/^([\d.]+) of \1 s/), { status: s.status });
    now = await at();
  }
  pages.add(await s.page.evaluate(() => document.body.dataset.page));
  assert.ok(pages.has("cut") && pages.has("finish"), [...pages].join(", "));
  assert.equal(await s.far(), "REPLAY");
  await s.tap(".target:has-text('Leave')");
  await s.on("run");
  assert.equal(await s.far(), "FINISHED");
  assert.deepEqual(s.troubles, []);
});
