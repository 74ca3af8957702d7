// What the page names before its script runs: every module that it will want, so that they come side by
// side and not one after another as each is read; and nothing that it will not want.

import assert from "node:assert/strict";
import { readFile, writeFile } from "node:fs/promises";
import test from "node:test";

const ROOT = new URL("../../ui-static/", import.meta.url);

/** Every module that the first imports, and that those import, by path below the root, in order of reading. */
async function tree(first) {
  const found = [];
  const open = [first];
  for (const path of open) {
    if (found.includes(path)) continue;
    found.push(path);
    const text = await readFile(new URL(path, ROOT), "utf8");
    for (const [, from] of text.matchAll(/^(?:import|export)\b[^"]*?from "(\.[^"]+)";$|^import "(\.[^"]+)";$/gm)) {
      open.push(new URL(from, new URL(path, ROOT)).href.slice(ROOT.href.length));
    }
  }
  return found;
}

test("the page names every module of its script beforehand, and none besides", async () => {
  const page = new URL("index.html", ROOT);
  const html = await readFile(page, "utf8");
  const wanted = (await tree("main.js")).slice(1).sort();
  const lines = wanted.map((path) => `<link rel="modulepreload" href="${path}">\n`).join("");
  if (process.env.STANDCLEAR_WRITE_FIXTURES) {
    await writeFile(page, html.replaceAll(/<link rel="modulepreload".*\n/g, "").replace(/<script type="module"/, `${lines}<script type="module"`));
    return;
  }
  const named = [...html.matchAll(/<link rel="modulepreload" href="([^"]+)">/g)].map(([, path]) => path);
  assert.deepEqual(named, wanted, "written anew by STANDCLEAR_WRITE_FIXTURES=1 node --test start.test.js");
});
