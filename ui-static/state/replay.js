// A recorded run on the glass: what the pages are shown in place of the machine. Pure.
//
// Nothing of it can be pressed: the panel refuses every request in a replayed view, and pages are shut. It ends by
// itself as soon as anything live wants a person, or this screen does not hear its panel.

/** Earlier and later go so far, s. */
export const JUMP_S = 10;
/** A step goes so far, s. */
export const STEP_S = 0.1;

/** What pages are shown: the machine as it was, or, without a replay, as it is. */
export function shownState(state) {
  const { replay } = state;
  if (!replay?.view) return state;
  return {
    ...state,
    view: replay.view,
    job: replay.job,
    heard: { at: state.now, n: replay.us, at_s: replay.us / 1e6 },
    page: null,
    said: null,
    from: null,
    swap: null,
    ways: null,
    stop: null,
    readyAt: null,
    replaying: true,
  };
}

/** Whether a live view ends the replay that was begun over another: anything that wants a person. */
export function endsReplay(replay, view) {
  return view.generation !== replay.over.generation || view.phase !== replay.over.phase || view.torch.moving || ["on", "asked"].includes(view.torch.arc) || view.alarms.some((a) => !a.seen);
}

/** The moment that is shown, or that is being gone to: what is pressed meanwhile counts from there. */
const aim = (replay) => replay.to ?? replay;

/** The part of the run in which a moment lies, and the moment that is so much later, within the run. */
export function moved(replay, by_s) {
  const parts = replay.parts.filter((p) => p.kept);
  const from = aim(replay);
  let k = Math.max(0, parts.findIndex((p) => p.start === from.start));
  let us = from.us + Math.round(by_s * 1e6);
  if (us > parts[k].to_us && k + 1 < parts.length) {
    k += 1;
    us = parts[k].from_us;
  } else if (us < parts[k].from_us && k > 0) {
    k -= 1;
    us = parts[k].to_us;
  }
  return { start: parts[k].start, us: Math.min(Math.max(us, parts[k].from_us), parts[k].to_us) };
}

/** Whether it stands at the end of what is recorded. */
export function atEnd(replay) {
  const last = replay.parts.findLast((p) => p.kept);
  return !last || (replay.start === last.start && replay.us >= last.to_us);
}

/** Where it is in the run, s from the beginning of its part, and how long that is. */
export function whereIn(replay) {
  const at = aim(replay);
  const part = replay.parts.find((p) => p.start === at.start);
  return part ? { at_s: (at.us - part.from_us) / 1e6, of_s: (part.to_us - part.from_us) / 1e6 } : { at_s: 0, of_s: 0 };
}
