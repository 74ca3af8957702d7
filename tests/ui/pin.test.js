// The PIN for screens elsewhere: made at the console, shown once, taken away again.

import assert from "node:assert/strict";
import { mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { networkInterfaces, tmpdir } from "node:os";
import { join } from "node:path";
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
    await s.tap(".target:has-text('More')");
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
    await s.tap(".target:has-text('More')");
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

/** An address of this machine that is not its own loopback: who comes from there is elsewhere. */
const beyond = () => Object.values(networkInterfaces()).flat().find((a) => a.family === "IPv4" && !a.internal)?.address;

test("elsewhere: the PIN is given, a program is sent, and one that is there is replaced only when that is said", async (t) => {
  const folder = await mkdtemp(join(tmpdir(), "standclear-lan-"));
  t.after(() => rm(folder, { recursive: true, force: true }));
  const config = new URL("../../config/", import.meta.url).pathname;
  const text = await readFile(join(config, "machines/practice.toml"), "utf8");
  await writeFile(join(folder, "machine.toml"), `${text.replaceAll('"../', `"${config}`)}\n[access]\nwatch = "lan"\n`);
  await writeFile(join(folder, "sent.nc"), "G21\nM30\n");
  await writeFile(join(folder, "again.nc"), "G21 G90\nM30\n");
  const panel = await practice(["--config", join(folder, "machine.toml"), "--listen", "0.0.0.0:0"]);
  t.after(() => panel.end());
  const here = new URL(panel.address);
  const set = await fetch(new URL("/api/pin", here), { method: "POST", headers: { "content-type": "application/json" }, body: '{"pin":"428613"}' });
  assert.equal(set.status, 200);
  const address = beyond();
  assert.ok(address, "this test needs a machine with a network: one address besides 127.0.0.1");
  const s = await screen(`http://${address}:${here.port}/`, "10-inch");
  t.after(() => s.end());
  // It opens on the program of the command line, which it may not read.
  await s.on("report");
  await s.tap(".target:has-text('Back')");
  await s.on("program");
  await s.tap(".target:has-text('Set up')");
  await s.on("setup");
  await s.tap(".target:has-text('More')");
    await s.tap(".target:has-text('Other screens')");
  await s.on("screens");
  const says = (words) => until(words, async () => (await s.text("[data-test=so]")).includes(words), { status: s.status });
  await says("Give the PIN");
  await s.page.fill("[data-test=pin]", "428613");
  await s.tap(".target:has-text('Give the PIN')");
  await says("The PIN is taken.");
  const send = async (file) => s.page.setInputFiles("[data-test=files]", { name: "sent.nc", mimeType: "text/plain", buffer: await readFile(join(folder, file)) });
  await send("sent.nc");
  await s.tap(".target:has-text('Send')");
  await says("sent.nc is in the list.");
  await s.shot("screens-elsewhere");
  await send("again.nc");
  await s.tap(".target:has-text('Send')");
  await says("is there already.");
  await s.tap(".target:has-text('Replace the one there')");
  await says("sent.nc is in the list.");
  const listed = await (await fetch(new URL("/api/programs", here))).json();
  assert.equal(listed.programs.filter((p) => p.file === "sent.nc").length, 1);
});
