// Every stop, from the stop to the way on, as the machine itself shows it, laid on every glass: nothing
// cut off, covered, over one another, beside the glass or nearer than its gap, HOLD in its place, and
// nobody sent near where it is not safe.

import assert from "node:assert/strict";
import test, { describe } from "node:test";
import { CAUSE } from "../../ui-static/state/words.js";
import { looked } from "./rig/audit.js";
import { laid, proofs, stops } from "./rig/glass.js";
import { GLASSES } from "./rig/screen.js";
import { until } from "./rig/wait.js";

/** Words that send a person to the torch or the sheet. */
const THERE = /look at flag|look under|look at the torch|look at nozzle|clean|scrape|seat the torch|tipped/i;

/** What is wrong with a page that says how safe it is. */
async function judged(s, view, wrong) {
  const text = await s.status();
  if (view.near.safe) {
    if (!/(^|\n)Safe to go near/.test(text)) wrong.push("it does not say that it is safe to go near");
  } else {
    if (!/(^|\n)Not safe to go near/.test(text)) wrong.push("it does not say that it is not safe to go near");
    if (THERE.test(await s.page.locator("#middle").innerText())) wrong.push(`it sends a person there: ${text}`);
  }
  // Where it is safe and there is a choice, why it is safe stands where what happened is told.
  const short = view.near.safe && (await s.has("[data-page=held][data-chooses]"));
  if (!short && !text.includes(view.near.why)) wrong.push(`it does not say why: ${view.near.why}`);
}

async function each(t, glass, page, enter) {
  const s = await laid(t, glass);
  const bad = [];
  let hold = null;
  // What is opened by hand stays open while the page under it is the same.
  const order = (stop) => ["stopping", "idle", "no-link"].indexOf(stop.view.phase);
  for (const { name, view } of stops().sort((a, b) => order(b) - order(a))) {
    await s.lay(view);
    await enter(s, view);
    const shown = await s.page.evaluate(() => document.body.dataset.page);
    const seen = await looked(s);
    const wrong = [...seen.wrong];
    hold ??= seen.hold;
    try {
      assert.deepEqual(seen.hold, hold);
    } catch {
      wrong.push("HOLD has moved");
    }
    if (["held", "happened", "datum", "finish"].includes(shown)) await judged(s, view, wrong);
    if (wrong.length > 0) {
      bad.push(`${name}, page ${shown}:\n  ${wrong.join("\n  ")}`);
      await s.shot(`wrong-${page}-${name.replaceAll(/\W+/g, "-")}`);
    }
  }
  assert.deepEqual(s.troubles, []);
  assert.equal(bad.length, 0, `${bad.length} pages are wrong\n${bad.join("\n")}`);
}

test("every cause that the machine knows has its name on the glass", () => {
  const causes = new Set(stops().flatMap(({ view }) => view.alarms.map((a) => a.cause)));
  assert.ok(causes.size > 25, String(causes.size));
  for (const cause of causes) assert.ok(CAUSE[cause], cause);
});

// The glasses are looked at beside one another: each has a page of its own in the one browser.
describe("on every glass", { concurrency: true }, () => {
  for (const glass of Object.keys(GLASSES)) {
    test(`${glass}: the page of every stop`, async (t) => {
      await each(t, glass, "stop", async () => {});
    });

    test(`${glass}: what happened, after and during every stop`, async (t) => {
      await each(t, glass, "happened", async (s, view) => {
        if ((await s.page.evaluate(() => document.body.dataset.page)) === "happened") return;
        const way = ".target:has-text('What happened'), .messages";
        if (!(await s.has(way))) return;
        await until("what happened", async () => {
          if ((await s.page.evaluate(() => document.body.dataset.page)) === "happened") return true;
          await s.tapNow(way);
          return false;
        });
        await s.lay(view);
      });
    });
  }
});

describe("every step of commissioning, turn by turn", { concurrency: true }, () => {
  for (const glass of Object.keys(GLASSES)) {
    test(glass, async (t) => {
      const s = await laid(t, glass);
      const bad = [];
      let hold = null;
      for (const { name, view } of proofs()) {
        await s.lay(view);
        if (!view.commissioning.open && (await s.page.evaluate(() => document.body.dataset.page)) !== "commission") continue;
        for (const made of [false, true]) {
          // What fires is made ready first: both are looked at.
          if (made && !(await s.has(".first-step"))) break;
          if (made) await s.tapNow(".first-step");
          const seen = await looked(s);
          hold ??= seen.hold;
          const wrong = [...seen.wrong];
          if (JSON.stringify(seen.hold) !== JSON.stringify(hold)) wrong.push("HOLD has moved");
          if (wrong.length > 0) bad.push(`${name}:\n  ${wrong.join("\n  ")}`);
          if (wrong.length > 0) await s.shot(`wrong-proof-${name.replaceAll(/\W+/g, "-")}`);
        }
      }
      assert.deepEqual(s.troubles, []);
      assert.equal(bad.length, 0, `${bad.length} turns are wrong\n${bad.join("\n")}`);
    });
  }
});
