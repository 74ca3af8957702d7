// The only place where the state of the screen changes. Pure.

import { READY_MS } from "./model.js";
import { basePage } from "./pages.js";

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
    };
    if (!s.view) {
      // What the panel opens on was chosen on its command line.
      if (table?.opens_on && !view.seal) return { ...next, page: "report", report: { id: table.opens_on, finding: 0 } };
      return next;
    }
    if (basePage(s.view) !== basePage(view)) {
      return { ...next, page: null, said: null, from: null, readyAt: null, checksPage: 0 };
    }
    if (s.view.generation !== view.generation && s.readyAt !== null) return { ...next, readyAt: null };
    return next;
  },
  tick(s, { now }) {
    const lapsed = s.readyAt !== null && now - s.readyAt > READY_MS;
    return { ...s, now, readyAt: lapsed ? null : s.readyAt, hold: restAfter(s, now) };
  },
  trouble: (s, { why }) => ({ ...s, trouble: why }),
  page(s, { page }) {
    return { ...s, page, said: null, readyAt: null, from: page === "resume" ? s.from : null };
  },
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
  checks: (s, { page }) => ({ ...s, checksPage: page, said: null }),
  job: (s, { job }) => ({ ...s, job }),
  events: (s, { list, trouble }) => ({ ...s, events: { ...s.events, list: list ?? s.events.list, trouble: trouble ?? null } }),
  earlier: (s, { by }) => ({ ...s, events: { ...s.events, back: Math.max(0, s.events.back + by) } }),
  /** HOLD was touched. */
  "hold-asked": (s, { now }) => ({ ...s, now, hold: { stage: "asked", at: now, times: s.hold.times + 1 } }),
  /** The panel answered; `nothing`: there was nothing to hold. */
  "hold-taken": (s, { now, nothing }) =>
    s.hold.stage === "asked" ? { ...s, now, hold: { ...s.hold, stage: nothing ? "nothing" : "taken", at: now } } : s,
  back(s, { mm, least, most }) {
    const back = Math.min(most, Math.max(least, mm));
    return { ...s, from: { ...s.from, back }, readyAt: null };
  },
  way: (s, { way }) => ({ ...s, from: { ...s.from, way }, readyAt: null }),
  // The same ways told again take no Make ready back.
  ways: (s, { ways }) => ({ ...s, ways, readyAt: JSON.stringify(s.ways?.ways) === JSON.stringify(ways.ways) ? s.readyAt : null }),
  ready: (s, { now }) => ({ ...s, now, readyAt: now, said: null }),
  unready: (s) => (s.readyAt === null ? s : { ...s, readyAt: null }),
  said: (s, { says, remedy }) => ({ ...s, said: says ? { says, remedy } : null, readyAt: null }),
};

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
