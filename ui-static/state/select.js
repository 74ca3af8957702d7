// What is shown, and what may be pressed. What may be pressed is the panel's word, never a guess
// of this screen: without a live word from it nothing that starts anything is there.

import { LATE_MS, LOST_MS, STEPS_MM, TAKEN_MS, VOUCHES_A_PAGE } from "./model.js";
import { interruption, pageOf } from "./pages.js";
import { whereIn } from "./replay.js";
import { PROOF } from "./catalogue.js";
import { ARC, CAUSE, REASONS, VERDICT, WAITING, YOUR_MOVE, farWord, unheard } from "./words.js";

export { ARC, LANE, MARK, PART, PAUSE, WAY, WITH_PAUSES } from "./words.js";
export { JUMP_S, STEP_S } from "./replay.js";

export { CAUSE, REASONS, VERDICT, VOUCHES_A_PAGE, interruption, pageOf };

/** Age of what this screen knows, ms. */
export function ageMs(state) {
  return state.now - (state.heard?.at ?? state.began);
}

/** `live`, `late` or `lost`. */
export function freshness(state) {
  const age = ageMs(state);
  if (!state.heard) return age > LOST_MS ? "lost" : "late";
  if (age > LOST_MS) return "lost";
  return age > LATE_MS ? "late" : "live";
}

/** The place is as old as the controller's report, even when the panel itself is live. */
export function placeFreshness(state) {
  const panel = freshness(state);
  if (panel !== "live" || !state.view) return panel;
  const age = state.view.torch.age_s;
  if (state.view.torch.place === null || age === null || age === undefined || age > 2) return "lost";
  return age > 0.5 ? "late" : "live";
}

/** Whether a kind of request would be taken now. Never while late or lost. */
export function can(state, ask) {
  if (freshness(state) !== "live" || !state.view) return false;
  const entry = state.view.allowed.find((a) => a.ask === ask);
  return entry !== undefined && !entry.refused;
}

export function whyNot(state, ask) {
  return state.view?.allowed.find((a) => a.ask === ask)?.refused ?? null;
}

export function far(state) {
  if (state.replaying) return "REPLAY";
  if (freshness(state) === "lost" || !state.view) return state.heard ? "NO PANEL" : state.now - state.began > LOST_MS ? "NO PANEL" : "STARTING";
  return farWord(state.view);
}

/**
 * The arc block. What does not add up is hatched: arc on with the source off, or without fire for
 * a live report.
 */
export function arc(state) {
  if (freshness(state) === "lost" || !state.view) return { shape: "unknown", word: ARC.unknown };
  const { torch, signals } = state.view;
  if (torch.arc === "on" && signals.source_on === false) return { shape: "odd", word: "does not add up" };
  return { shape: torch.arc, word: ARC[torch.arc] ?? ARC.unknown };
}

/** What is waited for: long and short words, whose move it is, how long, and the limit. */
export function waiting(state) {
  const live = freshness(state) !== "lost" && state.view;
  if (!live) return { long: "the panel to answer", short: "the panel", yours: false, waited: null, limit: null };
  const { waiting_for: what, waited_s: waited, wait_limit_s: limit } = state.view;
  const [long, short] = WAITING[what] ?? [what, what];
  const told = waited > 1 && what !== "nothing" && !YOUR_MOVE.has(what);
  return {
    long,
    short,
    yours: YOUR_MOVE.has(what),
    waited: told ? waited : null,
    limit: told && waited > 10 ? limit ?? null : null,
  };
}

/** The frame of what is not live or not real. */
export function frame(state) {
  const fresh = freshness(state);
  if (state.replaying) return "replay";
  if (fresh !== "live") return fresh;
  return state.table?.practice ? "practice" : null;
}

/**
 * What this table does without because its controller cannot do it; `place`: where that would be, else
 * all of it. A panel of before this is told of knows of nothing.
 */
export function lacks(state, place = null) {
  const all = state.table?.lacks ?? [];
  return place === null ? all : all.filter((lack) => lack.place === place);
}

/** Whether the band may be low: motion and arc are shut out. */
export function bandOf(state) {
  if (state.replaying) return "low";
  const page = pageOf(state);
  const still = state.view && !["running", "stopping", "homing", "hand"].includes(state.view.phase) && !state.view.torch.moving;
  if (["program", "report", "accept", "happened", "curves", "runs", "run", "save", "setup"].includes(page) && still && freshness(state) === "live") return "low";
  if (page === "commission" && still && !state.view.commissioning?.open && freshness(state) === "live") return "low";
  return page === "cut" ? "run" : "full";
}

/** HOLD's stage as drawn, and its words. */
export function holdBar(state) {
  const fresh = freshness(state);
  const { stage, at } = state.hold;
  const { view } = state;
  // Standstill that nobody reports is none: HOLD stays solid, and says what it cannot confirm.
  const blind = Boolean(view) && unheard(view);
  const something = !view || blind || fresh !== "live" || ["running", "stopping", "homing", "hand"].includes(view.phase) || view.torch.moving || view.torch.arc === "on" || view.torch.arc === "asked";
  if (stage === "asked") {
    if (state.now - at > TAKEN_MS) return { look: "danger", word: "HOLD NOT CONFIRMED", sub: "use the red button" };
    return { look: "asked", word: "HOLD asked", sub: "" };
  }
  if (fresh === "lost") return { look: "danger", word: "HOLD CANNOT BE SENT", sub: "use the red button" };
  if (stage === "taken" && something) return { look: "taken", word: "HOLD taken", sub: blind ? "permit is off, motion is not confirmed" : "coming to a stop" };
  if (stage === "taken") return { look: "stopped", word: "STOPPED", sub: view.torch.arc === "off" || view.torch.arc === "locked-out" ? "arc is out" : "arc not known" };
  if (stage === "nothing" && !something) return { look: "rest", word: "HOLD", sub: "there was nothing to hold" };
  if (something) return { look: "solid", word: "HOLD", sub: blind ? "motion is not known" : "" };
  const held = view.phase === "held" || (view.phase === "latched" && view.hold);
  return { look: "rest", word: "HOLD", sub: held ? "held: nothing is moving" : "nothing is moving" };
}

/** The line under the far word: where in the job. The best first, then what needs less room. */
export function jobLines(state) {
  const { view, job } = state;
  if (!view || freshness(state) === "lost") return [state.trouble ?? "", "no answer", ""];
  if (state.replaying) return [`${farWord(view)}, ${view.cut ? `cut ${view.cut} of ${view.cuts.length}` : "no cut"}`, farWord(view)];
  if (view.phase === "held" || view.phase === "latched" || (view.phase === "no-link" && view.hold)) {
    const stands = view.hold && view.alarms.some((a) => a.cause === view.hold.cause && !a.gone);
    const told = view.hold ?? leading(view);
    if (stands || !view.hold) return told ? [told.what, CAUSE[told.cause] ?? told.cause] : [""];
    const cause = CAUSE[view.hold.cause] ?? view.hold.cause;
    if (!view.hold.cut) return [view.hold.what, cause];
    return [`${cause}, cut ${view.hold.cut} of ${view.cuts.length}`, `${cause}, cut ${view.hold.cut}`, cause];
  }
  if (interruption(view)) return [interruption(view).what];
  const ours = job && job.seal === view.seal;
  const cut = view.cut && view.cuts.length ? `cut ${view.cut} of ${view.cuts.length}` : "";
  const line = (...parts) => parts.filter(Boolean).join("  ");
  // A name that has no room is left out whole: half of it may be another job's.
  return ours ? [line(cut, `${job.name}, ${job.thickness_mm} mm`), line(cut, `${job.thickness_mm} mm`), cut] : [cut];
}

/**
 * Whether it is safe to go near, and why or why not: the panel's word, while it is live. A screen that
 * does not hear the panel knows nothing.
 */
export function near(state) {
  if (freshness(state) !== "live" || !state.view) return { safe: false, why: "This screen does not hear the panel." };
  const told = state.view.near;
  if (typeof told?.safe !== "boolean") return { safe: false, why: "The panel does not say." };
  return { safe: told.safe, why: String(told.why ?? "") };
}

/** The alarm that heads the list. */
export function leading(view) {
  return view.alarms.find((a) => a.first) ?? view.alarms[0] ?? null;
}

const LEVELS = ["notice", "job-stopped", "danger"];

/**
 * How the alarms that stand look together: the worst level, and whether one of that level is `new`, all
 * are `seen`, or all have `gone` and wait to be cleared. `null`: none stands. A hold that the operator
 * asked for is no alarm.
 */
export function alarmLook(state) {
  const list = (state.view?.alarms ?? []).filter((a) => a.cause !== "hold");
  const level = LEVELS.findLast((l) => list.some((a) => a.level === l));
  if (freshness(state) === "lost" || !level) return null;
  const worst = list.filter((a) => a.level === level);
  return { level, look: worst.some((a) => !a.seen) ? "new" : worst.every((a) => a.gone) ? "gone" : "seen" };
}

/** Alarms in the order they came, with the time after the first cause. */
export function alarms(state) {
  const list = state.view?.alarms ?? [];
  const first = list.find((a) => a.first) ?? list[0];
  return list.map((a) => ({ ...a, after_s: first ? a.at_s - first.at_s : 0, head: a === first }));
}

/** Checks by who answers for them. */
export function checks(state) {
  const list = state.view?.checks ?? [];
  const machine = list.filter((c) => !c.vouched);
  const vouched = list.filter((c) => c.vouched);
  const pages = 1 + Math.ceil(vouched.length / VOUCHES_A_PAGE);
  const page = Math.min(state.checksPage, pages - 1);
  const from = (page - 1) * VOUCHES_A_PAGE;
  return {
    machine,
    vouched,
    page,
    pages,
    shown: page === 0 ? [] : vouched.slice(from, from + VOUCHES_A_PAGE),
    open: list.filter((c) => c.holds !== true),
  };
}

/**
 * The one thing at the top of the checks that starts something, or `null`: the reference, then the
 * permit test, then the start. Both buttons are tried before any of them: an emergency stop that is
 * pressed later takes the reference away again.
 */
export function starter(state) {
  const list = state.view?.checks ?? [];
  const open = (check) => list.some((c) => c.check === check && c.holds !== true);
  if (state.view?.phase === "homing") return null;
  if (can(state, "start")) return state.job?.accepted ? "start-in-two" : "start";
  if (!state.view?.hold && (open("hold-button-works") || open("estop-works"))) return null;
  if (can(state, "confirm-place") && state.view.doubtful) return "confirm-place";
  // Over what an interrupted run has cut already, the place is found by marks of the sheet.
  if (state.view?.doubtful && datum(state) && can(state, "datum-go")) return "datum-go";
  if (open("referenced") && can(state, "home")) return "home";
  if (open("permit-tested") && can(state, "permit-test")) return "permit-test";
  if (open("place-sure") && can(state, "home")) return "home";
  return null;
}

/** What the permit relay's test wants next at a stop, or `null`: vouched dead, tested, seen to follow. */
function relayAct(state) {
  const open = (check) => (state.view.checks ?? []).some((c) => c.check === check && c.holds !== true);
  if (open("permit-tested")) {
    if (can(state, "permit-test")) return { act: "permit-test" };
    return open("source-off") && can(state, "vouch") ? { act: "vouch", check: "source-off" } : null;
  }
  return open("relay-seen") && can(state, "vouch") ? { act: "vouch", check: "relay-seen" } : null;
}

/** The next act that clears a stop, or `null` when the ways on are open. */
export function nextAct(state) {
  const { view } = state;
  if (!view || freshness(state) !== "live") return null;
  const list = alarms(state);
  const unseen = list.find((a) => !a.seen);
  if (goesOn(state)) return null;
  if (unseen && can(state, "seen")) return { act: "seen", alarm: unseen };
  const latched = list.filter((a) => a.latched);
  const clearable = latched.find((a) => a.gone);
  if (clearable && can(state, "clear")) return { act: "clear", alarm: clearable };
  const relay = relayAct(state);
  if (relay && latched.some((a) => a.cause === "permit-stuck")) return relay;
  if (latched.length > 0) return { act: "wait", alarm: latched[0] };
  if (view.doubtful && can(state, "confirm-place")) return { act: "confirm-place" };
  if (view.doubtful && can(state, "datum-go")) return { act: "datum-go" };
  if (relay && view.link.referenced && !view.doubtful) return relay;
  // Parts that were not tried shut the way on: referencing again would not open it.
  if (view.parts?.tested === false && view.link.referenced && !view.doubtful) return null;
  // What has not gone is set right by hands. Referencing would not cure it, and would put the place in
  // doubt; only a torch that is still down is lifted by it.
  const standing = list.find((a) => !a.gone);
  const sure = view.link.referenced && !view.doubtful && view.hold?.torch_down !== true;
  if (standing && sure) return { act: "wait", alarm: standing };
  if (view.phase !== "homing" && can(state, "home")) return { act: "home" };
  return null;
}

/** Whether the cutting itself may go on: to end the job is always a way. */
export function goesOn(state) {
  return waysOn(state).some((ask) => ask !== "end-job");
}

/** Ways on from a hold that the panel would take now. */
export function waysOn(state) {
  const { view } = state;
  if (!view?.hold) return [];
  return ["resume", "skip-cut", "end-job"].filter((ask) => can(state, ask));
}

/** What is needed to clear a stop, in order, with what is done already. */
export function steps(state) {
  const { view } = state;
  if (!view) return [];
  const latched = view.alarms.some((a) => a.latched);
  const list = [];
  for (const a of view.alarms.filter((one) => one.latched || !one.gone)) list.push({ says: a.gone ? `${CAUSE[a.cause] ?? a.cause}: gone` : `set right: ${CAUSE[a.cause] ?? a.cause}`, done: a.gone });
  if (latched) list.push({ says: "clear it here", done: false });
  const referenced = view.link.referenced;
  if (!referenced || view.doubtful) {
    list.push({ says: "reference the axes", done: referenced });
    list.push({ says: view.datum ? "check it on the sheet" : "confirm where the torch is", done: false });
  }
  return list;
}

/** The mark of the datum check that is next, or `null`. */
export function datum(state) {
  const due = state.view?.datum;
  const mark = due?.marks[due.seen];
  return mark ? { mark, number: due.seen + 1, count: due.marks.length, over: due.over } : null;
}

/**
 * The way on that is chosen of those that the panel has shown for this very stop, or `null` while
 * none is at hand: `plan`, the others, and how much earlier than need be.
 */
export function wayOn(state) {
  const { view, from, ways: told } = state;
  const hold = view?.hold;
  if (!hold?.stop || told?.generation !== view.generation || !told.ways) return null;
  const { plans, barred, stop } = told.ways;
  const plan = plans.find((p) => p.way === from?.way) ?? plans[0] ?? null;
  return { cut: stop.cut, at: stop.lost?.at_mm ?? 0, back: told.back_mm, plan, plans, barred };
}

/** What the ways on are to be asked for: so much earlier, mm; `null`: they are at hand. */
export function waysWanted(state) {
  const { view, from, ways } = state;
  if (!view?.hold?.stop || !can(state, "resume")) return null;
  const back = from?.back ?? 0;
  return ways?.generation === view.generation && ways.back_mm === back ? null : back;
}

/** The step by which the point is moved along the cut, mm. */
export function stepMm(state) {
  return STEPS_MM[state.from?.step ?? 0];
}

/** The step that is set next, mm. */
export function nextStepMm(state) {
  return STEPS_MM[((state.from?.step ?? 0) + 1) % STEPS_MM.length];
}

/** A page of the ways on that the panel has shown, the best first; `most` of them at once. */
export function waysShown(state, most) {
  const on = wayOn(state);
  if (!on) return null;
  const pages = Math.max(1, Math.ceil(on.plans.length / most));
  const page = (state.from?.list ?? 0) % pages;
  const from = page * most;
  return { shown: on.plans.slice(from, from + most), best: on.plans[0] ?? null, chosen: on.plan, barred: on.barred, page, pages };
}

/**
 * What is to be accepted before a way on can be taken: the warning in hand, its place and how many
 * there are; `open` ends with 0. `reason`: all that was given so far.
 */
export function weighing(state) {
  const plan = wayOn(state)?.plan;
  if (!plan) return null;
  const reasons = state.from?.weighed?.plan === plan.id ? state.from.weighed.reasons : [];
  const place = Math.min(reasons.length, plan.warns.length);
  return {
    plan,
    warn: plan.warns[place] ?? null,
    place,
    count: plan.warns.length,
    open: plan.warns.length - place,
    reason: reasons.length > 0 ? [...new Set(reasons)].join("; ") : "Seen on the plate before it was made ready",
  };
}

/** A stop as it is drawn: the cut (from 0), its doubt, and where it ran on without arc. */
export function stopDrawn(state) {
  const hold = state.view?.hold;
  const cut = hold?.stop?.cut ?? hold?.cut;
  if (!cut || !state.view.cuts[cut - 1]) return null;
  const lost = hold.stop?.lost ?? null;
  const ran = lost && hold.ran_on_mm > 0 && hold.cut === cut ? [lost.at_mm, lost.at_mm + hold.ran_on_mm] : null;
  return { cut: cut - 1, lost, ran_on: ran };
}

/** How often the run was held for this cause, this time included. */
export function howOften(state) {
  const { view } = state;
  return view?.hold ? view.holds.filter((h) => h.cause === view.hold.cause).length : 0;
}

/** The wall clock's time of a moment on the panel's clock, s; `null` where it is not known. */
export function wallOf(state, at_s, wallNow) {
  if (!state.heard || at_s === null || at_s === undefined) return null;
  return new Date(wallNow - ageMs(state) - (state.heard.at_s - at_s) * 1000);
}

/** The steps of a change of torch parts, in order. */
const CHANGE_STEPS = ["park", "isolate", "swap", "contact", "source", "touch", "done"];

/**
 * The change of torch parts that is open: the step that is due and its number, what may be asked
 * there, and each part before and now.
 */
export function change(state) {
  const { view, swap } = state;
  const open = view?.change;
  if (!open) return null;
  const before = (part) => open.before.find((p) => p.part === part) ?? null;
  const sets = view.parts?.sets ?? [];
  const fitted = view.parts?.fitted?.tag ?? null;
  const set = swap?.set === undefined ? fitted : swap.set;
  return {
    ...open,
    number: CHANGE_STEPS.indexOf(open.step) + 1,
    count: CHANGE_STEPS.length,
    parts: (view.parts?.parts ?? []).map((p) => ({ ...p, before: before(p.part), fresh: open.changed?.includes(p.part) ?? false })),
    wanted_amps: view.parts?.wanted_amps ?? null,
    swapped: swap?.parts ?? [],
    sets,
    set: sets.find((s) => s.tag === set) ?? null,
    nextSet: sets[(sets.findIndex((s) => s.tag === set) + 1) % Math.max(1, sets.length)] ?? null,
  };
}

/**
 * Commissioning: every step with what the handbook says of it, which is looked at (the open one, the one
 * that was chosen, or the first that keeps START shut), and the one that is open. `null`: not asked for.
 */
export function proving(state) {
  const told = state.view?.commissioning;
  if (!told) return null;
  const rows = told.steps.map((row) => ({ ...row, ...PROOF[row.step] }));
  const due = Math.max(0, rows.findIndex((row) => row.guards && row.standing !== "stands"));
  const open = told.open ? rows.findIndex((row) => row.step === told.open.step) : -1;
  const at = open >= 0 ? open : Math.min(state.proof ?? due, rows.length - 1);
  return { rows, at, row: rows[at], open: told.open };
}

/** What has to be done before the step that is looked at can be begun, or `null`. */
export function proofAct(state) {
  const now = proving(state);
  const check = now && !now.open ? now.row.barred_by : null;
  if (check === "referenced" && can(state, "home")) return { act: "home" };
  return check === "permit-tested" ? relayAct(state) : null;
}

/** A finding with the number of what explains it, or with how many it explains. */
function inHand(findings, place) {
  const shown = findings[place];
  if (!shown) return null;
  const explainedBy = Number.isInteger(shown.under) ? shown.under + 1 : null;
  return { ...shown, explainedBy, explains: findings.filter((f) => f.under === place).length };
}

/** The report that is open, with what has been accepted of it. */
export function report(state) {
  const read = state.read[state.report.id];
  if (!read?.report) return read?.trouble ? { trouble: read.trouble } : null;
  const findings = read.report.findings;
  const warnings = findings.map((f, k) => ({ ...f, k })).filter((f) => f.severity === "warn");
  const missing = warnings.filter((f) => !state.accepted[f.k]);
  return {
    read,
    findings,
    shown: inHand(findings, state.report.finding),
    place: state.report.finding,
    reason: state.accepted[state.report.finding] ?? null,
    missing: missing.length,
    loads: read.report.verdict !== "refused" && missing.length === 0,
    accepted: warnings
      .filter((f) => state.accepted[f.k])
      .map((f) => ({ finding: f.k, rule: f.rule, reason: state.accepted[f.k] })),
  };
}

/** The plan of the program whose report is open; `null`: none can be made. */
export function planned(state) {
  const plan = state.read[state.report.id]?.plan;
  if (!plan) return null;
  // Before the first cut nothing stands: that is before START.
  const pauses = plan.pauses.filter((p) => p.before_cut > 1);
  return { plan, pauses, first: plan.pauses.find((p) => p.before_cut === 1) ?? null, accepted: state.pauses };
}

/** The record as a person reads it: traces (how far a cut had come at each moment) are for the log. */
export function record(state) {
  // What was read of one run is not told of another.
  if (state.events.of !== null && state.events.of !== JSON.stringify(eventsWanted(state))) return null;
  return state.events.list?.filter((e) => e.severity !== "trace") ?? null;
}

/** The stops that curves were kept of, the newest first, each with the events that its curves tell of. */
export const faultsDrawn = (state) => (faultsListed(state) ?? []).filter((f) => f.trace);

/** Which events the page that is open tells of. */
export function eventsWanted(state) {
  const page = pageOf(state);
  if (page === "runs") return { run: state.seek.list === "runs" ? null : state.seek.run, faults: true };
  if (page === "run" || page === "save") return { run: state.seek.run, faults: false };
  return { run: page === "curves" ? state.seek.of : null, faults: false };
}

/** So long after a stop what was measured about it is at hand, ms; asked for again so often until it is. */
const STOP_AGAIN_MS = 400;

/** The stop whose measured facts are to be asked for, by the generation; `null`: they are at hand, or none stands. */
export function stopWanted(state, now) {
  const { view, stop } = state;
  if (pageOf(state) !== "held" || !view?.hold || freshness(state) !== "live") return null;
  if (stop && stop.generation === view.generation && (stop.trace !== null || now - stop.asked < STOP_AGAIN_MS)) return null;
  return stop && stop.generation !== view.generation && now - stop.asked < STOP_AGAIN_MS ? null : view.generation;
}

/** What was measured about the stop in hand; `null`: nothing yet. */
export const stopMeasured = (state) => (state.view?.hold ? state.stop : null);

/** What of the record is looked at. */
export function seeking(state) {
  return { ...state.seek, trouble: state.seek.trouble ?? state.events.trouble };
}

/** The runs, the newest first; `null`: not read yet. */
export const runsListed = (state) => state.seek.runs;

/** The run that is looked at; `null`: it is not in the list. */
export const runInHand = (state) => state.seek.runs?.find((r) => r.run === state.seek.run) ?? null;

/**
 * What stopped the machine, the newest first: each with the events that its curves tell of, or, where no
 * curves were kept, by itself. `null`: not read yet.
 */
export function faultsListed(state) {
  const list = record(state);
  if (!list) return null;
  const by = new Map();
  for (const e of list) {
    if (!e.trace && !["stop", "danger"].includes(e.severity)) continue;
    const key = e.trace ?? `event ${e.id}`;
    if (!by.has(key)) by.set(key, { key, trace: e.trace ?? null, events: [] });
    by.get(key).events.push(e);
  }
  return [...by.values()].reverse();
}

/** What the machine did about a fault: what else is on record of the next 10 s of the same start. */
export function didAbout(state, fault) {
  const [head] = fault.events;
  const named = new Set(fault.events.map((e) => e.id));
  return (record(state) ?? []).filter((e) => !named.has(e.id) && e.start === head.start && e.at_s >= head.at_s && e.at_s <= head.at_s + 10);
}

/** Why no recorded run may be shown now; `null`: it may. The panel has the last word. */
export function mayReplay(state) {
  const { view } = state;
  if (freshness(state) !== "live" || !view) return "this screen does not hear the panel.";
  const still = ["idle", "ready", "finished"].includes(view.phase) && !view.hold && !view.torch.moving;
  if (!still) return "not while the machine is in use, or stopped.";
  return view.alarms.some((a) => !a.seen || a.level === "danger") ? "not while an alarm is to be read." : null;
}

/** Where the replay is; `null`: there is none. */
export function replayAt(state) {
  const { replay } = state;
  return replay?.view ? { ...whereIn(replay), playing: replay.playing, reached: replay.reached } : null;
}

/** What of the run in hand can be saved: its events, the curves of its last fault. */
export function savable(state) {
  const list = record(state);
  return { events: list === null || list.length > 0, trace: list?.findLast((e) => e.trace)?.trace ?? null };
}

/** How the job has gone. */
export function result(view) {
  const by = (state) => view.cuts.filter((c) => c.state === state).length;
  return { done: by("done"), skipped: by("skipped"), left: by("to-do") + by("now"), all: view.cuts.length };
}

/** Whether the job's numbers are invented. */
export function invented(state) {
  const page = pageOf(state);
  if (page === "report" || page === "accept") return state.read[state.report.id]?.invented === true;
  return Boolean(state.view?.seal && state.job?.seal === state.view.seal && state.job.invented);
}

/** The loaded job's drawing, if it is at hand. */
export function drawing(state) {
  return state.view?.seal && state.job?.seal === state.view.seal ? state.job.drawing : null;
}
