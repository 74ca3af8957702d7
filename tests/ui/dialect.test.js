// A controller that can do less: what is off for that is said where it would be, and on the Set up page.

import assert from "node:assert/strict";
import { mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import test from "node:test";
import { audit } from "./rig/audit.js";
import { practice } from "./rig/panel.js";
import { GLASSES, press, screen, throughChecks } from "./rig/screen.js";
import { forMs, until } from "./rig/wait.js";

const CONFIG = new URL("../../config/", import.meta.url).pathname;

/** The practice table with a controller that speaks `quill`, as a person would write its machine file. */
async function machine(folder) {
  const text = await readFile(join(CONFIG, "machines/practice.toml"), "utf8");
  const file = join(folder, "machine.toml");
  await writeFile(file, `${text.replace("/plain.toml", "/quill.toml").replaceAll('"../', `"${CONFIG}`)}\n[arc_signal]\nreports_ms = 56\n`);
  return file;
}

for (const glass of Object.keys(GLASSES)) {
  test(`${glass}: what the controller cannot do is told, and what is off for that`, async (t) => {
    const folder = await mkdtemp(join(tmpdir(), "standclear-quill-"));
    t.after(() => rm(folder, { recursive: true, force: true }));
    const panel = await practice(["--config", await machine(folder)]);
    t.after(() => panel.end());
    const s = await screen(panel.address, glass);
    t.after(() => s.end());
    await s.on("report");
    await s.see("a verdict", ".verdict[data-verdict]");
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

    await s.tap(".target:has-text('Set up')");
    await s.on("setup");
    await audit(s, "setup, what is off");
    await s.tap(".target:has-text('Size of a millimetre')");
    await audit(s, "setup, size");
    await s.tap(".target:has-text('Off on this table: 9')");
    const told = await s.text("[data-test=lacks]");
    for (const what of ["permit relay alone", "carry no check", "panel is gone", "the sheet tries them"]) {
      assert.ok(told.includes(what), `${what}: ${told}`);
    }
    await s.shot("quill-setup");
    await s.tap(".target:has-text('Back')");
    await s.on("program");

    await s.tap(".target:has-text('Move by hand')");
    await s.on("hand");
    await audit(s, "hand");
    await s.tap(".target:has-text('Up and down')");
    await s.see("the key up", ".target:has-text('Up')");
    await audit(s, "hand, up and down");
    assert.equal(await s.page.locator(".target:visible:has-text('Down')").count(), 0);
    assert.match(await s.text("[data-test=lacks]"), /not down: no contact would be seen/);
    await s.shot("quill-hand");
  });
}
