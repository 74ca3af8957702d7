// What happened while this screen did not hear its panel, told once it hears it again.

import { CAUSE, farWord } from "./words.js";

/** So many new alarms are named; the others are counted. */
const NAMED = 2;

const done = (view) => view.cuts.filter((c) => c.state === "done").length;

/** The alarms that stand after and did not before. */
function fresh(before, after) {
  return after.alarms.filter((a) => !before.alarms.some((b) => b.cause === a.cause && (!b.gone || a.gone)));
}

/**
 * @param {{ view: any, at_s: number }} before  what was heard last
 * @param {{ view: any, at_s: number }} after   what is heard now
 * @param {number} ms  how long nothing was heard
 */
export function away(before, after, ms) {
  const told = [];
  // Its clock begins with it.
  if (after.at_s < before.at_s) told.push("The panel has started anew since.");
  const [was, is] = [farWord(before.view), farWord(after.view)];
  if (was !== is) told.push(`It was ${was}, it is ${is}.`);
  const cuts = before.view.seal === after.view.seal ? done(after.view) - done(before.view) : 0;
  if (cuts > 0) told.push(cuts === 1 ? "One cut was done." : `${cuts} cuts were done.`);
  if (before.view.seal !== after.view.seal) told.push(after.view.seal ? "Another job is loaded." : "The job was unloaded.");
  const alarms = fresh(before.view, after.view);
  for (const a of alarms.slice(0, NAMED)) told.push(`Alarm: ${CAUSE[a.cause] ?? a.cause}.`);
  if (alarms.length > NAMED) told.push(`${alarms.length - NAMED} more alarms.`);
  if (told.length === 0) told.push("Nothing that is shown here has changed.");
  return {
    says: `For ${(ms / 1000).toFixed(ms < 10_000 ? 1 : 0)} s this screen heard nothing. ${told.join(" ")}`,
    remedy: "Look at the table before you go on. The record tells the rest.",
  };
}
