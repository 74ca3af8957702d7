import assert from "node:assert/strict";
import test from "node:test";
import { PROOF } from "../../ui-static/state/catalogue.js";
import { initial } from "../../ui-static/state/model.js";
import { reduce } from "../../ui-static/state/reduce.js";
import * as select from "../../ui-static/state/select.js";
import { CAUSE, farWord } from "../../ui-static/state/words.js";
import { fixture } from "./rig/fixtures.js";

const { view, table } = fixture("snapshot");
const told = (over = {}, now = 1000) => ({ type: "told", view: { ...view, ...over }, table: { ...table, opens_on: null }, n: 1, at_s: 64, now });
const after = (...actions) => actions.reduce(reduce, initial(0));
const tick = (now) => ({ type: "tick", now });

test("data is live to half a second, late to two, then lost", () => {
  const live = after(told());
  assert.equal(select.freshness(reduce(live, tick(1500))), "live");
  assert.equal(select.freshness(reduce(live, tick(1501))), "late");
  assert.equal(select.freshness(reduce(live, tick(3000))), "late");
  assert.equal(select.freshness(reduce(live, tick(3001))), "lost");
});

test("a panel that was never heard is lost as well", () => {
  assert.equal(select.far(after(tick(1900))), "STARTING");
  assert.equal(select.far(after(tick(2100))), "NO PANEL");
  assert.equal(select.arc(after(tick(2100))).shape, "unknown");
});

test("while late or lost nothing that starts may be pressed", () => {
  const live = after(told());
  assert.ok(select.can(live, "resume"));
  assert.deepEqual(select.waysOn(live), ["resume"]);
  for (const now of [1501, 5000]) {
    const old = reduce(live, tick(now));
    assert.ok(!select.can(old, "resume"));
    assert.deepEqual(select.waysOn(old), []);
    assert.equal(select.nextAct(old), null);
    assert.equal(select.starter(old), null);
  }
});

test("what the panel does not name is not allowed, and its reason is shown", () => {
  const live = after(told());
  assert.ok(!select.can(live, "start"));
  assert.equal(select.whyNot(live, "start"), "A run is under way.");
  assert.ok(!select.can(live, "unload"), "not in the list");
});

test("a lost screen says NO PANEL and never that the arc is off", () => {
  const lost = reduce(after(told()), tick(9000));
  assert.equal(select.far(lost), "NO PANEL");
  assert.deepEqual(select.arc(lost), { shape: "unknown", word: "ARC ?" });
  assert.equal(select.holdBar(lost).word, "HOLD CANNOT BE SENT");
  assert.equal(select.frame(lost), "lost");
});

test("an arc with the source off does not add up", () => {
  const odd = after(told({ torch: { ...view.torch, arc: "on" }, signals: { ...view.signals, source_on: false } }));
  assert.equal(select.arc(odd).shape, "odd");
});

test("a place is as old as the controller's report", () => {
  const place = (age_s) => select.placeFreshness(after(told({ torch: { ...view.torch, age_s } })));
  assert.equal(place(0.5), "live");
  assert.equal(place(0.6), "late");
  assert.equal(place(2.1), "lost");
  assert.equal(place(null), "lost");
});

test("HOLD has three stages, and a fourth when nobody answers", () => {
  const running = told({ phase: "running", step: "cut", torch: { ...view.torch, moving: true, arc: "on" } });
  let s = after(running);
  assert.equal(select.holdBar(s).look, "solid");
  s = reduce(s, { type: "hold-asked", now: 1010 });
  assert.equal(select.holdBar(s).look, "asked");
  const late = reduce({ ...s, heard: { ...s.heard, at: 1500 } }, tick(1511));
  assert.deepEqual(select.holdBar(late), { look: "danger", word: "HOLD NOT CONFIRMED", sub: "use the red button" });
  s = reduce(s, { type: "hold-taken", now: 1100, nothing: false });
  assert.equal(select.holdBar(s).look, "taken");
  s = reduce(s, told({}, 1300));
  assert.equal(select.holdBar(s).look, "stopped");
  s = reduce(reduce(s, told({}, 4200)), tick(4250));
  assert.equal(select.holdBar(s).look, "rest");
});

test("a controller that is not heard is never told as standing", () => {
  const link = { ...view.link, alive: false };
  for (const phase of ["held", "latched"]) {
    const s = after(told({ phase, link, alarms: [{ ...view.alarms[0], cause: "link-cut", latched: phase === "latched" }] }));
    assert.equal(select.far(s), "NO LINK");
    assert.equal(select.holdBar(s).look, "solid");
    assert.ok(!/nothing is moving|STOPPED/.test(JSON.stringify(select.holdBar(s))), JSON.stringify(select.holdBar(s)));
    const taken = reduce(reduce(s, { type: "hold-asked", now: 1010 }), { type: "hold-taken", now: 1100, nothing: false });
    assert.match(select.holdBar(taken).sub, /motion is not confirmed/);
  }
  const estop = { ...view.alarms[0], cause: "estop", latched: true };
  assert.equal(select.far(after(told({ phase: "latched", link, alarms: [estop] }))), "E-STOP");
});

test("it is safe to go near only by the panel's own word, and only while that is live", () => {
  const s = after(told({ near: { safe: true, why: "seen" } }));
  assert.deepEqual(select.near(s), { safe: true, why: "seen" });
  assert.equal(select.near(reduce(s, tick(1501))).safe, false);
  assert.equal(select.near(after(told({ near: undefined }))).safe, false);
  assert.equal(select.near(after(told({ near: { safe: "yes" } }))).safe, false);
});

test("HOLD with nothing to hold is hollow and still live", () => {
  const s = after(told());
  assert.deepEqual(select.holdBar(s), { look: "rest", word: "HOLD", sub: "held: nothing is moving" });
});

test("make ready lapses after five seconds, and when the state moves on", () => {
  const ready = reduce(after(told()), { type: "ready", now: 1100 });
  // The panel is heard all the while.
  let late = ready;
  for (let now = 1200; now <= 6000; now += 400) late = reduce(late, told({}, now));
  assert.equal(reduce(late, tick(6100)).readyAt, 1100);
  assert.equal(reduce(late, tick(6101)).readyAt, null);
  assert.equal(reduce(ready, told({ generation: 42 }, 1200)).readyAt, null);
  assert.equal(reduce(ready, told({}, 1200)).readyAt, 1100);
});

test("the machine's state decides the page; only what fits may be opened from it", () => {
  let s = after(told());
  assert.equal(select.pageOf(s), "held");
  s = reduce(s, { type: "page", page: "resume" });
  assert.equal(select.pageOf(s), "resume");
  assert.equal(select.pageOf(reduce(s, { type: "page", page: "program" })), "held");
  s = reduce(s, told({ phase: "running", hold: null }, 1100));
  assert.equal(select.pageOf(s), "cut");
  s = reduce(s, told({ phase: "finished", hold: null }, 1200));
  assert.equal(select.pageOf(s), "finish");
  s = reduce(s, told({ phase: "idle", hold: null, seal: null, alarms: [] }, 1300));
  assert.equal(select.pageOf(s), "program");
  s = reduce(s, told({ phase: "idle", hold: null, alarms: [] }, 1400));
  assert.equal(select.pageOf(s), "checks");
});

test("a resume goes by the way that the panel shows best, or by another that is chosen", () => {
  const shown = (back_mm = 0) => ({ type: "ways", ways: { ...fixture("ways"), generation: view.generation, back_mm } });
  let s = after(told(), { type: "page", page: "resume" });
  assert.equal(select.wayOn(s), null, "nothing is shown before the panel has answered");
  assert.equal(select.waysWanted(s), 0);
  s = reduce(s, shown());
  assert.equal(select.waysWanted(s), null);
  assert.equal(select.wayOn(s).plan.way, "kerf-end");
  s = reduce(s, { type: "way", way: "lead-in" });
  assert.equal(select.wayOn(s).plan.way, "lead-in");
  s = reduce(s, { type: "back", mm: 5, least: 0, most: 61.5 });
  assert.equal(select.waysWanted(s), 5, "a step is asked for anew");
  s = reduce(s, shown(5));
  assert.equal(select.wayOn(s).back, 5);
  for (let k = 0; k < 30; k += 1) s = reduce(s, { type: "back", mm: s.from.back + 5, least: 0, most: 61.5 });
  assert.equal(select.waysWanted(s), 61.5, "the steps stay on the cut");
  const later = reduce(s, told({ generation: view.generation + 1 }, 1100));
  assert.equal(select.wayOn(later), null, "ways of an older state are gone");
});

test("a finding that another explains says by which, and that one how many it explains", () => {
  const program = fixture("program");
  const folded = structuredClone(program);
  folded.report.findings.push({ ...folded.report.findings[0], rule: "outside-sheet", severity: "refuse", under: 0 });
  const opened = reduce(after(told(), { type: "report", id: program.id }, { type: "read", id: program.id, program: folded }), { type: "finding", by: 1 });
  assert.equal(select.report(opened).shown.explainedBy, 1);
  assert.equal(select.report(reduce(opened, { type: "finding", by: -1 })).shown.explains, 1);
});

test("each warning is accepted by itself, and only then the job may be taken", () => {
  const program = fixture("program");
  let s = after(told({ phase: "idle", seal: null, hold: null, alarms: [] }), { type: "report", id: program.id }, { type: "read", id: program.id, program });
  assert.equal(select.report(s).missing, 1);
  assert.ok(!select.report(s).loads);
  s = reduce(s, { type: "accept", finding: 0, reason: "looked at" });
  assert.ok(select.report(s).loads);
  assert.deepEqual(select.report(s).accepted, [{ finding: 0, rule: "near-edge", reason: "looked at" }]);
  s = reduce(s, { type: "report", id: "another" });
  assert.deepEqual(s.accepted, {}, "an acceptance does not pass to another program");
});

test("a refused program is never taken, whatever is accepted", () => {
  const program = fixture("program");
  program.report.verdict = "refused";
  const s = after(told(), { type: "report", id: program.id }, { type: "read", id: program.id, program }, { type: "accept", finding: 0, reason: "x" });
  assert.ok(!select.report(s).loads);
});

test("clearing goes in order: seen, gone, cleared, referenced, confirmed", () => {
  const alarm = { ...view.alarms[0], cause: "estop", level: "danger", latched: true, seen: false, gone: false };
  const allow = (...asks) => asks.map((ask) => ({ ask, refused: null }));
  const state = (over, ...asks) => after(told({ phase: "latched", alarms: [alarm], allowed: allow(...asks), ...over }));
  assert.equal(select.nextAct(state({}, "seen")).act, "seen");
  const seen = { ...alarm, seen: true };
  assert.equal(select.nextAct(state({ alarms: [seen] }, "seen")).act, "wait");
  assert.equal(select.nextAct(state({ alarms: [{ ...seen, gone: true }] }, "clear")).act, "clear");
  assert.equal(select.nextAct(state({ phase: "held", alarms: [], doubtful: true }, "home")).act, "home");
  assert.equal(select.nextAct(state({ phase: "held", alarms: [], doubtful: true }, "home", "confirm-place")).act, "confirm-place");
  assert.equal(select.nextAct(state({ phase: "held", alarms: [], doubtful: true }, "home", "end-job")).act, "home", "to end the job is no reason to hide the reference");
  const open = state({ phase: "held", alarms: [] }, "resume", "skip-cut", "end-job");
  assert.equal(select.nextAct(open), null);
  assert.deepEqual(select.waysOn(open), ["resume", "skip-cut", "end-job"]);
});

test("a far word has eight letters at most, in every state", () => {
  const steps = ["traverse", "sense-test", "probe-fast", "probe-slow", "validate", "pierce-height", "clear-test", "ready", "await-arc", "pierce", "drop", "cut", "extinguish", "arc-off-wait", "retract", "park"];
  const words = steps.map((step) => farWord({ ...view, phase: "running", step }));
  for (const phase of ["starting", "no-link", "idle", "ready", "homing", "hand", "stopping", "held", "latched", "finished"]) words.push(farWord({ ...view, phase }));
  for (const cause of Object.keys(CAUSE)) words.push(farWord({ ...view, phase: "held", hold: { ...view.hold, cause } }));
  for (const word of words) {
    assert.ok(word.length <= 8 && word === word.toUpperCase() && word !== "?" && word !== "RUNNING", word);
  }
});

test("no word of the list is one that a person at the table should not read", async () => {
  const banned = /\b(error|abort|invalid|exception|timeout|fatal|illegal|unknown|please|sorry|ok|failed)\b/i;
  const words = await import("../../ui-static/state/words.js");
  const all = JSON.stringify([words.WAITING, words.ARC, words.VERDICT, words.REASONS, words.CAUSE]);
  assert.ok(!banned.test(all.replaceAll(/"[a-z-]+":/g, "")), all.match(banned)?.[0]);
});

test("an action that is not known changes nothing", () => {
  const s = after(told());
  assert.equal(reduce(s, { type: "weather" }), s);
});

test("a warning of a way on is accepted by itself, and for that plan alone", () => {
  const told_ways = fixture("ways");
  told_ways.ways.plans[0].warns = [{ rule: "a", says: "one" }, { rule: "b", says: "two" }];
  let s = after(told(), { type: "page", page: "resume" }, { type: "ways", ways: { ...told_ways, generation: view.generation } });
  const { id } = select.wayOn(s).plan;
  assert.equal(select.weighing(s).open, 2);
  assert.equal(select.weighing(s).warn.says, "one");
  s = reduce(s, { type: "weigh", plan: id, reason: "looked at" });
  assert.equal(select.weighing(s).warn.says, "two");
  s = reduce(s, { type: "weigh", plan: id, reason: "watched" });
  assert.equal(select.weighing(s).open, 0);
  assert.equal(select.weighing(s).reason, "looked at; watched");
  s = reduce(s, { type: "weigh", plan: "another", reason: "x" });
  assert.equal(select.weighing(s).open, 2, "a reason does not pass to another plan");
  s = reduce(s, { type: "page", page: "go" });
  assert.notEqual(s.from, null, "the way stays chosen on its pages");
  assert.equal(reduce(s, { type: "page", page: null }).from, null);
});

test("the ways on come in pages, the best first", () => {
  const s = after(told(), { type: "ways", ways: { ...fixture("ways"), generation: view.generation } });
  const { shown, pages, best } = select.waysShown(s, 1);
  assert.deepEqual([shown.length, pages, shown[0].way, best.way], [1, 2, "kerf-end", "kerf-end"]);
  assert.equal(select.waysShown(reduce(s, { type: "more-ways", pages }), 1).shown[0].way, "lead-in");
  assert.equal(select.waysShown(reduce(reduce(s, { type: "more-ways", pages }), { type: "more-ways", pages }), 1).shown[0].way, "kerf-end");
});

test("a stop is drawn with its doubt and with where it ran on", () => {
  assert.deepEqual(select.stopDrawn(after(told())), { cut: 1, lost: view.hold.stop.lost, ran_on: [61.5, 62.7] });
  const elsewhere = { ...view.hold, stop: { ...view.hold.stop, cut: 99 } };
  assert.equal(select.stopDrawn(after(told({ hold: elsewhere }))), null);
});

test("while torch parts are changed their page is there, but for what latches meanwhile", () => {
  const changing = { ...view.change, step: "swap" };
  const page = (over) => select.pageOf(after(told({ change: changing, ...over })));
  assert.equal(page({ phase: "changing" }), "parts");
  assert.equal(page({ phase: "stopping" }), "parts");
  assert.equal(page({ phase: "latched" }), "held");
  assert.equal(select.pageOf(after(told({ phase: "stopping", change: null }))), "cut");
});

test("what has not gone is set right by hands, not by referencing", () => {
  const stuck = { ...view.alarms[0], cause: "contact-stuck", seen: true, gone: false };
  const held = { phase: "held", alarms: [stuck], checks: [], allowed: [{ ask: "home", refused: null }], doubtful: false, link: { ...view.link, referenced: true } };
  assert.equal(select.nextAct(after(told(held))).act, "wait");
  assert.equal(select.nextAct(after(told({ ...held, doubtful: true }))).act, "home");
  assert.equal(select.nextAct(after(told({ ...held, hold: { ...view.hold, torch_down: true } }))).act, "home");
});

test("a stop that waits for the permit test offers it, and what it wants first", () => {
  const check = (name, holds) => ({ check: name, holds, says: name, remedy: "", vouched: name !== "permit-tested" });
  const allow = (...asks) => asks.map((ask) => ({ ask, refused: null }));
  const held = { phase: "held", alarms: [], doubtful: false, link: { ...view.link, referenced: true } };
  const next = (over) => select.nextAct(after(told({ ...held, ...over })));
  const open = [check("permit-tested", false), check("source-off", null)];
  assert.deepEqual(next({ checks: open, allowed: allow("home", "vouch") }), { act: "vouch", check: "source-off" });
  assert.deepEqual(next({ checks: open, allowed: allow("home", "vouch", "permit-test") }), { act: "permit-test" });
  assert.deepEqual(next({ checks: [check("relay-seen", null)], allowed: allow("home", "vouch") }), { act: "vouch", check: "relay-seen" });
  const stuck = { ...view.alarms[0], cause: "permit-stuck", latched: true, seen: true, gone: false };
  assert.deepEqual(next({ phase: "latched", alarms: [stuck], checks: open, allowed: allow("permit-test") }), { act: "permit-test" });
});

test("parts that were not tried shut the way on, and referencing is not offered for it", () => {
  const allowed = [{ ask: "home", refused: null }, { ask: "resume", refused: "Not tried. Try it." }, { ask: "change-begin", refused: null }];
  const held = { phase: "held", allowed, alarms: [], doubtful: false, link: { ...view.link, referenced: true } };
  assert.equal(select.nextAct(after(told({ ...held, parts: { ...view.parts, tested: false } }))), null);
  assert.equal(select.nextAct(after(told({ ...held, doubtful: true, parts: { ...view.parts, tested: false } }))).act, "home");
  assert.equal(select.nextAct(after(told(held))).act, "home");
});

test("each part is told before and now, and what was touched is what was changed", () => {
  let s = after(told({ phase: "changing" }));
  const nozzle = select.change(s).parts.find((p) => p.part === "nozzle");
  assert.equal(nozzle.before.starts, 412);
  assert.ok(nozzle.fresh);
  assert.equal(select.change(s).number, 4);
  assert.equal(select.change(s).set.tag, "40");
  for (const part of ["nozzle", "shield", "nozzle"]) s = reduce(s, { type: "swap", part });
  assert.deepEqual(select.change(s).swapped, ["shield"], "touched twice is not changed");
});

test("a moment on the panel's clock is told by the wall's", () => {
  const s = after(told({}, 1000), tick(1200));
  assert.equal(select.wallOf(s, 60, 1_000_000).getTime(), 1_000_000 - 200 - 4000);
  assert.equal(select.wallOf(s, null, 0), null);
});

test("a Make ready never survives data that were late or lost, nor a socket that broke", () => {
  const ready = reduce(after(told()), { type: "ready", now: 1100 });
  assert.equal(ready.readyAt, 1100);
  assert.equal(reduce(ready, told({}, 1400)).readyAt, 1100, "live all the time");
  assert.equal(reduce(ready, tick(1501)).readyAt, null, "late on the clock");
  assert.equal(reduce(ready, told({}, 1501)).readyAt, null, "late between two messages");
  assert.equal(reduce(ready, { type: "trouble", why: "closed" }).readyAt, null);
  // Nothing brings it back.
  assert.equal(reduce(reduce(ready, tick(1501)), told({}, 1600)).readyAt, null);
});

test("a screen that hears its panel again says what happened while it did not", () => {
  const before = after(told());
  assert.equal(before.said, null, "the first word is no return");
  assert.equal(reduce(before, told({}, 2900)).said, null, "late is not lost");
  const same = reduce(before, told({}, 13_500)).said;
  assert.match(same.says, /^For 13 s this screen heard nothing\. Nothing that is shown here has changed\.$/);
  assert.match(same.remedy, /Look at the table/);
  const alarm = { ...(view.alarms[0] ?? {}), cause: "record-failed", gone: false, seen: false, latched: true };
  const cuts = view.cuts.map((c) => ({ ...c, state: "done" }));
  const back = reduce(before, { ...told({ phase: "finished", hold: null, cuts, alarms: [...view.alarms, alarm], generation: view.generation + 9 }, 8000), at_s: 3 });
  assert.match(back.said.says, /^For 7\.0 s this screen heard nothing\. The panel has started anew since\./);
  assert.match(back.said.says, /it is FINISHED\./);
  assert.match(back.said.says, /cuts? (was|were) done\./);
  assert.match(back.said.says, /Alarm: record could not be kept\./);
  assert.equal(back.page, null);
  // It stays until it is put away.
  assert.equal(reduce(back, told({ phase: "finished", hold: null, cuts, alarms: [...view.alarms, alarm], generation: view.generation + 9 }, 8100)).said, back.said);
  assert.equal(reduce(back, { type: "said" }).said, null);
});

test("what the controller cannot do is told where it would be, and all of it together", () => {
  const lack = (id, place) => ({ id, says: `No ${id}.`, therefore: `${id} is off.`, place });
  const all = [lack("keepalive", "everywhere"), lack("sense-hand", "hand"), lack("sense-parts", "parts")];
  const live = reduce(initial(0), { ...told(), table: { ...table, opens_on: null, lacks: all } });
  assert.deepEqual(select.lacks(live).map((l) => l.id), ["keepalive", "sense-hand", "sense-parts"]);
  assert.deepEqual(select.lacks(live, "hand").map((l) => l.id), ["sense-hand"]);
  assert.deepEqual(select.lacks(live, "parts").map((l) => l.id), ["sense-parts"]);
  const { lacks: _, ...old } = table;
  assert.deepEqual(select.lacks(reduce(initial(0), { ...told(), table: old })), [], "a panel that does not tell");
});

const STEPS = Object.keys(PROOF).sort((a, b) => PROOF[a].number - PROOF[b].number);
const proofs = (open = null, over = {}) => ({ open, steps: STEPS.map((step) => ({ step, standing: "missing", here: true, measured: null, simulated: false, ...(over[step] ?? {}) })) });
const opened = (step) => ({ step, says: "Press it.", answer: false, follows: null, wire: null, left: 2, measured: [], found: [], levels: [] });
const resting = { phase: "idle", hold: null, alarms: [], change: null, seal: null, datum: null };

test("a step of commissioning that is open is the page, whatever its walk lets happen", () => {
  const alarm = { ...view.alarms[0], latched: true };
  const walk = after(told({ ...resting, alarms: [alarm], commissioning: proofs(opened("inputs")) }));
  assert.equal(select.pageOf(walk), "commission");
  assert.equal(select.proving(walk).row.number, 2);
});

test("how a step went is read before its alarms, and the page comes back once they are cleared", () => {
  const alarm = { ...view.alarms[0], latched: true };
  const walk = after(told({ ...resting, commissioning: proofs(opened("inputs")) }));
  const made = reduce(walk, told({ ...resting, alarms: [alarm], commissioning: proofs(null, { inputs: { standing: "stands" } }) }));
  assert.equal(select.pageOf(made), "commission");
  assert.equal(select.proving(made).row.step, "inputs", "the one that was made");
  const back = reduce(made, { type: "page", page: null });
  assert.equal(select.pageOf(back), "held");
  const clear = reduce(back, told({ ...resting, commissioning: proofs() }));
  assert.equal(select.pageOf(clear), "commission");
  const left = reduce(clear, { type: "page", page: null });
  assert.equal(select.pageOf(left), "program");
  // Left for good: no stop brings it back.
  const held = reduce(left, told({ ...resting, alarms: [alarm], commissioning: proofs() }));
  assert.equal(select.pageOf(reduce(held, told({ ...resting, commissioning: proofs() }))), "program");
});

test("of commissioning the first step that keeps START shut is shown, and each has its words", () => {
  const stands = { papers: { standing: "stands" }, inputs: { standing: "lapsed" } };
  const now = select.proving(after(told({ ...resting, commissioning: proofs(null, stands) })));
  assert.equal(now.row.step, "inputs");
  assert.deepEqual(now.rows.map((r) => r.number), STEPS.map((_, k) => k + 1));
  for (const row of now.rows) for (const text of [row.name, row.todo, row.limit, row.source]) assert.ok(text, row.step);
  assert.equal(select.proving(after(told(resting))), null, "a panel that does not ask for it");
});

test("what has to be done before a step is the panel's own reason and nothing else", () => {
  const allowed = ["home", "permit-test", "vouch", "commission-step"].map((ask) => ({ ask, refused: null }));
  const open = (check) => [{ check, holds: false, vouched: false, says: "", remedy: "" }];
  const act = (row, checks = []) => select.proofAct(reduce(after(told({ ...resting, allowed, checks, commissioning: proofs(null, { "dry-fire": row }) })), { type: "proof", proof: 13 }));
  assert.equal(act({}), null);
  assert.equal(act({ refused: "The steps before it do not stand." }), null);
  assert.deepEqual(act({ refused: "Not true.", barred_by: "referenced" }), { act: "home" });
  assert.deepEqual(act({ refused: "Not true.", barred_by: "permit-tested" }, open("permit-tested")), { act: "permit-test" });
  assert.equal(act({ refused: "Not true.", barred_by: "air-good" }), null);
});
