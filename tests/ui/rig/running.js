// A run under way on the glass, with or without a fault on its way.

import { practice, testPiece } from "./panel.js";
import { screen, throughChecks } from "./screen.js";

/** Starts our test piece with a fault on its way, and waits for the stop. */
export async function running(t, glass, fault, programs = testPiece()) {
  const { s } = await started(t, glass, ["--speed", "10", "--fault", fault], programs);
  await s.on("held");
  return s;
}

/** Starts our test piece. */
export async function started(t, glass, args, programs = testPiece()) {
  const panel = await practice(args, programs, "test-piece");
  t.after(() => panel.end());
  return { panel, s: await cutting(t, glass, panel) };
}

/** Opens the console of a panel that was started with our test piece, and starts that. */
export async function cutting(t, glass, panel) {
  const s = await screen(panel.address, glass);
  t.after(() => s.end());
  await taken(s);
  if (await s.has(".starter-like")) {
    await s.tap(".starter-like");
    await s.on("start");
    await s.tap(".first-step");
    await s.keep(".second-step.starter");
  } else {
    await s.keep(".starter");
  }
  return s;
}

/** From the report of our test piece, through its warnings and the checks. */
export async function taken(s) {
  await s.on("report");
  await s.see("a verdict", ".verdict[data-verdict]");
  while (await s.has(".target:has-text('Accept this warning')")) {
    await s.tap(".target:has-text('Accept this warning')");
    await s.on("accept");
    await s.tap(".reasons .target");
    await s.on("report");
  }
  await s.tap(".starter-like:has-text('Load 3 cuts')");
  await throughChecks(s);
}
