// Which page the machine's state asks for, and which may be opened from there.

const mayGoOn = (view) => view.allowed.some((a) => a.ask === "resume" && a.refused === null);

/** What is told of a run that an earlier start of the panel did not end, while no job is loaded. */
export function interruption(view) {
  return view?.seal ? null : view?.alarms.find((a) => a.cause === "interrupted") ?? null;
}

/** The page that the state asks for. */
export function basePage(view) {
  if (!view) return "wait";
  // Whatever its own walk lets happen: the step is gone through first.
  if (view.commissioning?.open) return "commission";
  const stopped = view.hold !== null && view.hold !== undefined;
  if (view.datum?.over && (view.phase === "held" || stopped)) return "datum";
  const alarmed = view.alarms.some((a) => a.latched || (a.level === "danger" && !a.seen));
  switch (view.phase) {
    // What latches in the middle of a change is cleared as ever; then the change is there again.
    case "changing": return "parts";
    case "stopping": return view.change ? "parts" : "cut";
    case "running": return "cut";
    case "held": return "held";
    case "latched": return "held";
    case "finished": return "finish";
    case "hand":
    case "homing": return stopped ? "held" : view.seal ? "checks" : "program";
    case "starting":
    case "no-link":
    default:
      // A run that was interrupted is gone on with like any stop, once the checks are made.
      if (stopped && !alarmed && view.seal && !mayGoOn(view)) return "checks";
      if (stopped || alarmed) return "held";
      // What was left unfinished is read before anything else is chosen.
      if (interruption(view)?.seen === false) return "held";
      return view.seal ? "checks" : "program";
  }
}

/** The pages on which a way on is chosen, weighed and taken. */
export const GOING_ON = ["resume", "ways", "weigh", "go"];

/** The pages of the record. */
export const RECORD = ["happened", "curves", "runs", "run", "save"];

/** From a page of the state only these can be opened by hand. */
const OPENS = {
  wait: [],
  program: ["report", "plan", "accept", ...RECORD, "setup", "lamp", "screens", "leave", "hand", "commission"],
  checks: ["start", ...RECORD],
  cut: [...RECORD],
  held: [...GOING_ON, "skip", "end", "clear", ...RECORD, "commission"],
  commission: [],
  parts: [...RECORD],
  datum: [...RECORD],
  finish: [...RECORD],
};

export function pageOf(state) {
  const base = basePage(state.view);
  return state.page && OPENS[base].includes(state.page) ? state.page : base;
}
