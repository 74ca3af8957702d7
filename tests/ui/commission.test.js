// A table is commissioned at its console, by touch, with the hands of the simulated table: step by step,
// each on record in the end; and a wire that is wrong is told in words.

import assert from "node:assert/strict";
import test from "node:test";
import { audit } from "./rig/audit.js";
import { practice } from "./rig/panel.js";
import { GLASSES, press, screen } from "./rig/screen.js";
import { forMs, until } from "./rig/wait.js";

const page = (s) => s.page.evaluate(() => document.body.dataset.page);
const OPEN = ".page[data-page=commission][data-open]";
const LATE = "#middle:has-text('showed an older state') .target:has-text('Seen')";

/** From the first page to Commission. */
async function commission(s) {
  await until("the page Commission", async () => {
    const on = await page(s);
    if (on === "commission") return true;
    if (on === "setup") await audit(s, "setup, with commissioning");
    if (on === "setup" && (await s.has(".target:has-text('More'):visible"))) await s.tapNow(".target:has-text('More')");
    const way = { report: "Back", program: "Set up", setup: "Commission", held: "Seen:" }[on];
    if (way) await s.tapNow(`.target:has-text('${way}')`);
    await forMs(450);
    return false;
  }, { status: s.status });
  await forMs(450);
}

/** Reads and clears what the step has let happen, until the page Commission is there again. */
async function cleared(s) {
  await until("nothing to clear", async () => {
    const on = await page(s);
    if (on === "commission") {
      // Nothing that bars anything stands: Back would lead away from commissioning.
      if (!/E-STOP|STOPPED|HELD/.test(await s.far()) && !(await s.page.evaluate(() => document.body.dataset.look === "new"))) return true;
      await s.tapNow(".target:has-text('Back')");
    } else if (on === "program") {
      await commission(s);
    } else if (await s.has(".second-step.starter")) {
      await s.keep(".second-step.starter");
    } else {
      for (const act of [LATE, ".first-step", ".column .target:has-text('Seen:')", ".column .target:has-text('Clear:')"]) {
        if (!(await s.has(act))) continue;
        await s.tapNow(act);
        break;
      }
    }
    await forMs(450);
    return false;
  }, { limitMs: 60_000, status: s.status });
}

/** Makes a step, all as it should be; `look` is told each turn. */
async function made(s, number, look = async () => {}) {
  await until(`step ${number} to be open`, async () => {
    if (await s.has(OPEN)) return true;
    if (await s.has(LATE)) await s.tapNow(LATE);
    else await s.tapNow(`.target:has-text('step ${number}')`);
    await forMs(450);
    return false;
  }, { status: s.status });
  let before = null;
  await until(`step ${number} to be made`, async () => {
    if (!(await s.has(OPEN))) return true;
    const turn = await s.text("[data-test=step]").catch(() => null);
    if (turn !== before && turn !== null) {
      before = turn;
      await look(turn);
    }
    if (await s.has(LATE)) await s.tapNow(LATE);
    else if (await s.has(".starter")) await s.keep(".starter");
    else if (await s.has(".practice-only")) await s.tapNow(".practice-only");
    else await s.tapNow(".target:has-text('It is so')");
    await forMs(120);
    return false;
  }, { limitMs: 240_000, status: s.status });
  await forMs(450);
}

for (const glass of Object.keys(GLASSES)) {
  test(`${glass}: steps 1 to 4 are made by touch and are on record`, async (t) => {
    const panel = await practice(["--commission", "--speed", "5"]);
    t.after(() => panel.end());
    const s = await screen(panel.address, glass);
    t.after(() => s.end());
    await commission(s);
    const hold = await audit(s, "commissioning, nothing made");
    assert.match(await s.text("[data-test=step]"), /^Step 1 of 21: Papers/);
    for (const number of [1, 2, 3, 4]) {
      await made(s, number, (turn) => audit(s, turn, hold));
      // How it went is read before anything is cleared.
      assert.match(await s.text("[data-test=step]"), new RegExp(`^Step ${number} of 21`));
      assert.match(await s.text("[data-test=stands]"), /^Passed/);
      await audit(s, `step ${number}, made`, hold);
      await s.shot(`commission-made-${number}`);
      await cleared(s);
      await press(s, `.page:has([data-test=step]:has-text('Step ${number} of')) .target:has-text('Next step')`);
    }
    const record = await (await fetch(`${panel.address}commissioning/`)).text();
    for (const line of [" 1* Papers               passed", " 2* Inputs by hand       passed", " 3* Emergency stop       passed", " 4* Permit relay         passed", "12* Torch contact        not made"]) {
      assert.ok(record.includes(line), `${line}:\n${record}`);
    }
    assert.deepEqual(s.troubles, []);
  });
}

test("a wire that is wrong is told in words, START stays shut, and a step that is left keeps nothing", async (t) => {
  const panel = await practice(["--fault", "wire=arc_ok:open", "--speed", "20"]);
  t.after(() => panel.end());
  const s = await screen(panel.address, "7-inch");
  t.after(() => s.end());
  await commission(s);
  await made(s, 1);
  await press(s, ".target:has-text('Next step')").catch(() => {});
  await until("step 2", async () => {
    const step = await s.text("[data-test=step]");
    if (step.startsWith("Step 2 of")) return true;
    await s.tapNow(`.target:has-text('${step.startsWith("Step 1 of") ? "Next step" : "Step before"}')`);
    await forMs(300);
    return false;
  }, { status: s.status });
  // Left in its middle: nothing is on record.
  await until("step 2 to be open", async () => {
    if (await s.has(OPEN)) return true;
    await s.tapNow(".target:has-text('step 2')");
    await forMs(450);
    return false;
  }, { status: s.status });
  await press(s, ".target:has-text('Leave the step')");
  assert.match(await s.text("[data-test=stands]"), /^Not made/);
  await made(s, 2);
  assert.match(await s.text("[data-test=stands]"), /^It did not pass/);
  const measured = await s.text("[data-test=measured]");
  assert.match(measured, /arc_ok did not change when it was worked: it reads open whatever is done/);
  await audit(s, "a wrong wire");
  await s.shot("commission-wrong");
});
