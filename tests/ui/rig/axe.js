// What a checker of WCAG 2.2 finds against a page as it stands: levels A and AA and the checker's own
// good practice, in each colouring that has its own tints.

import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { forMs } from "./wait.js";

const SOURCE = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

/** Everything that is found, in words: the rule, the theme, and the first place. */
export async function axed(s, themes = ["day", "night"]) {
  if (!(await s.page.evaluate(() => "axe" in window))) await s.page.evaluate(SOURCE);
  const found = await s.page.evaluate(async ([tags, names]) => {
    const before = document.documentElement.dataset.theme;
    const wrong = [];
    for (const name of names) {
      document.documentElement.dataset.theme = name;
      // What does not hang on colour is asked once.
      const run = name === names[0] ? { type: "tag", values: tags } : { type: "rule", values: ["color-contrast"] };
      const { violations } = await window.axe.run(document, { runOnly: run, resultTypes: ["violations"] });
      for (const v of violations) wrong.push(`axe, ${name}: ${v.id}, ${v.nodes.length} times: ${v.nodes[0].html.slice(0, 160)} ${v.nodes[0].any[0]?.message ?? v.help}`);
    }
    document.documentElement.dataset.theme = before;
    return wrong;
  }, [TAGS, themes]);
  // The checker keeps the page from drawing for longer than its messages stay live: the page says so.
  await forMs(250);
  while (await s.has(".said .target:has-text('Seen')")) {
    await s.tapNow(".said .target:has-text('Seen')");
    await forMs(150);
  }
  return found;
}
