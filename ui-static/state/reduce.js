// The only place where the state of the screen changes. Pure.

import { away } from "./away.js";
import { LATE_MS, LOST_MS, READY_MS, STEPS_MM } from "./model.js";
import { GOING_ON, basePage } from "./pages.js";
import { endsReplay } from "./replay.js";

const handlers = {
  /** A snapshot or a delta that was drawn up with the view before. */
  told(s, { view, table, n, at_s, now }) {
    const next = {
      ...s,
      now,
      view,
      table: table ?? s.table,
      heard: { at: now, n, at_s },
      trouble: null,
      // It was made ready by what was seen then: it does not outlive data that were late.
      readyAt: heardWithin(s, now, LATE_MS) ? s.readyAt : null,
      replay: s.replay && (endsReplay(s.replay, view) || !heardWithin(s, now, LATE_MS)) ? null : s.replay,
    };
    if (!s.view) {
      // What the panel opens on was chosen on its command line.
      if (table?.opens_on && !view.seal) return { ...next, page: "report", report: { id: table.opens_on, finding: 0 } };
      return next;
    }
    const said = s.heard && !heardWithin(s, now, LOST_MS) ? away({ view: s.view, at_s: s.heard.at_s }, { view, at_s }, now - s.heard.at) : null;
    if (basePage(s.view) !== basePage(view)) {
      const made = s.view.commissioning?.open && !view.commissioning?.open ? madeStep(s.view) : null;
      const page = s.commissioning || made !== null ? "commission" : null;
      return { ...next, page, proof: made ?? s.proof, commissioning: page !== null, said, from: null, swap: null, readyAt: null, checksPage: 0 };
    }
    if (said) return { ...next, said, readyAt: null };
    if (s.view.generation !== view.generation && next.readyAt !== null) return { ...next, readyAt: null };
    return next;
  },
  tick(s, { now }) {
    const lapsed = s.readyAt !== null && (now - s.readyAt > READY_MS || !heardWithin(s, now, LATE_MS));
    // A screen that does not hear its panel shows that, and nothing else.
    const replay = s.replay && !heardWithin(s, now, LATE_MS) ? null : s.replay;
    return { ...s, now, replay, readyAt: lapsed ? null : s.readyAt, hold: restAfter(s, now) };
  },
  trouble: (s, { why }) => ({ ...s, trouble: why, readyAt: null, replay: null }),
  /** Another part of the record is looked at. */
  seek(s, { by }) {
    return { ...s, seek: { ...s.seek, ...by, trouble: null }, said: null };
  },
  runs: (s, { list, trouble }) => ({ ...s, seek: { ...s.seek, runs: list ?? s.seek.runs, trouble: trouble ?? null } }),
  stop: (s, { stop }) => ({ ...s, stop }),
  instant: (s, { instant }) => ({ ...s, instant }),
  /** A replay begins, goes on, or ends. It begins only over the state that it was asked for in. */
  replay(s, { replay }) {
    if (replay === null || !s.view) return { ...s, replay: null };
    const next = { ...s.replay, ...replay };
    return next.over && endsReplay(next, s.view) ? { ...s, replay: null } : { ...s, replay: next, said: null };
  },
  page(s, { page }) {
    // To clear what a step let happen is no end of commissioning.
    const commissioning = page === "commission" || (s.commissioning && basePage(s.view) === "held");
    return { ...s, page, commissioning, said: null, readyAt: null, from: GOING_ON.includes(page) ? s.from : null, swap: null };
  },
  /** Another step of commissioning is looked at. */
  proof: (s, { proof }) => ({ ...s, proof, said: null }),
  programs: (s, { list, trouble }) => ({ ...s, programs: { ...s.programs, list: list ?? s.programs.list, trouble: trouble ?? null } }),
  list(s, { by }) {
    const last = Math.max(0, (s.programs.list?.length ?? 0) - 1);
    const from = s.programs.from + by;
    if (from < 0 || from > last) return s;
    return { ...s, programs: { ...s.programs, from } };
  },
  read: (s, { id, program }) => ({ ...s, read: { ...s.read, [id]: program } }),
  report: (s, { id }) => ({
    ...s,
    page: "report",
    said: null,
    report: { id, finding: 0 },
    accepted: id === s.report.id ? s.accepted : {},
    pauses: id === s.report.id && s.pauses,
  }),
  finding(s, { by }) {
    const n = s.read[s.report.id]?.report?.findings.length ?? 0;
    const finding = s.report.finding + by;
    return finding < 0 || finding >= n ? s : { ...s, report: { ...s.report, finding } };
  },
  accept(s, { finding, reason }) {
    const next = { ...s, page: "report", accepted: { ...s.accepted, [finding]: reason } };
    return handlers.finding(next, { by: 1 });
  },
  /** The pauses of the plan are accepted, or taken back; with them the findings that they put right. */
  pauses(s, { yes, reason }) {
    const read = s.read[s.report.id];
    const accepted = { ...s.accepted };
    for (const [k, f] of (read?.report?.findings ?? []).entries()) {
      if (f.severity !== "warn" || !read.plan?.cures.includes(f.rule)) continue;
      if (yes) accepted[k] = reason;
      else delete accepted[k];
    }
    return { ...s, accepted, pauses: yes, said: null };
  },
  checks: (s, { page }) => ({ ...s, checksPage: page, said: null }),
  job: (s, { job }) => ({ ...s, job }),
  trace: (s, { name, curves, trouble }) => ({ ...s, trace: { name, curves: curves ?? null, trouble: trouble ?? null } }),
  events(s, { list, trouble, of = null }) {
    const before = of === s.events.of ? s.events.list : null;
    return { ...s, events: { list: list ?? before, trouble: trouble ?? null, of } };
  },
  /** HOLD was touched. */
  "hold-asked": (s, { now }) => ({ ...s, now, hold: { stage: "asked", at: now, times: s.hold.times + 1 } }),
  /** The panel answered; `nothing`: there was nothing to hold. */
  "hold-taken": (s, { now, nothing }) =>
    s.hold.stage === "asked" ? { ...s, now, hold: { ...s.hold, stage: nothing ? "nothing" : "taken", at: now } } : s,
  back(s, { mm, least, most }) {
    const back = Math.min(most, Math.max(least, mm));
    return { ...s, from: { ...s.from, back }, readyAt: null };
  },
  step: (s) => ({ ...s, from: { ...s.from, step: ((s.from?.step ?? 0) + 1) % STEPS_MM.length } }),
  way: (s, { way }) => ({ ...s, from: { ...s.from, way }, page: "resume", readyAt: null }),
  "more-ways": (s, { pages }) => ({ ...s, from: { ...s.from, list: ((s.from?.list ?? 0) + 1) % pages } }),
  /** One more warning of a plan is accepted. Another plan begins anew. */
  weigh(s, { plan, reason }) {
    const before = s.from?.weighed?.plan === plan ? s.from.weighed.reasons : [];
    return { ...s, from: { ...s.from, weighed: { plan, reasons: [...before, reason] } } };
  },
  /** A torch part that was changed, or not after all; the set that is fitted. */
  swap(s, { part, set }) {
    const now = s.swap ?? { parts: [], set: undefined };
    const parts = part === undefined ? now.parts : now.parts.includes(part) ? now.parts.filter((p) => p !== part) : [...now.parts, part];
    return { ...s, swap: { parts, set: set === undefined ? now.set : set } };
  },
  // The same ways told again take no Make ready back.
  ways: (s, { ways }) => ({ ...s, ways, readyAt: JSON.stringify(s.ways?.ways) === JSON.stringify(ways.ways) ? s.readyAt : null }),
  ready: (s, { now }) => ({ ...s, now, readyAt: now, said: null }),
  unready: (s) => (s.readyAt === null ? s : { ...s, readyAt: null }),
  said: (s, { says, remedy }) => ({ ...s, said: says ? { says, remedy } : null, readyAt: null }),
};

/** The place of the step that is open, in its list. */
function madeStep(view) {
  const { steps, open } = view.commissioning;
  return steps.findIndex((row) => row.step === open.step);
}

/** Whether the last good message is no older than this. */
function heardWithin(s, now, ms) {
  return s.heard !== null && now - s.heard.at <= ms;
}

/** The bar comes back to rest once it has told how it went, after 3 s. */
function restAfter(s, now) {
  const { stage, at } = s.hold;
  const told = (stage === "nothing" || stage === "taken") && now - at > 3000;
  const moving = s.view && (s.view.torch.moving || s.view.phase === "stopping");
  return told && !moving ? { ...s.hold, stage: "rest" } : s.hold;
}

export function reduce(state, action) {
  const handler = handlers[action.type];
  return handler ? handler(state, action) : state;
}
