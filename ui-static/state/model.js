// What this screen knows before it has heard anything.

/** A screen is late or lost by the age of the last good message, ms. */
export const LATE_MS = 500;
export const LOST_MS = 2000;
/** HOLD that is not taken in this time is not confirmed, ms. */
export const TAKEN_MS = 500;
/** Make ready lapses after so long, ms. */
export const READY_MS = 5000;
/** Steps along a cut, mm: the first is the one that is set. */
export const STEPS_MM = [5, 1];
/** Vouches on a page of the checks. */
export const VOUCHES_A_PAGE = 4;

export function initial(now = 0) {
  return {
    /** Moment of the last look at the clock, ms. */
    now,
    /** When listening began, ms: a panel that is never heard is lost too. */
    began: now,
    /** The last good message: when it came (ms), its number, its time on the panel's clock (s). */
    heard: null,
    /** Why the socket is down, if it is. */
    trouble: null,
    table: null,
    view: null,
    /** The page that was opened by hand; `null`: the one that the state asks for. */
    page: null,
    programs: { list: null, from: 0, trouble: null },
    /** Programs that were read, by id. */
    read: {},
    /** The program whose report is open, and the finding in hand. */
    report: { id: null, finding: 0 },
    /** Reasons for accepted warnings, by finding; only of `report.id`. */
    accepted: {},
    /** The pauses that the plan of `report.id` proposes are accepted. */
    pauses: false,
    checksPage: 0,
    /** A table is being commissioned: its page comes back after alarms were cleared. */
    commissioning: false,
    /** The step of commissioning that is looked at, from 0; `null`: the first that wants making. */
    proof: null,
    job: null,
    /** What happened, and what of it was asked for (`eventsWanted`, as text). */
    events: { list: null, trouble: null, of: null },
    /**
     * What of the record is looked at: runs or faults, of one run or of all (`null`), the runs themselves, the
     * fault that is open (its key; `null`: the latest) and its run, and why they are not there.
     */
    seek: { list: "faults", run: null, runs: null, fault: null, of: null, trouble: null },
    /** What was measured about the stop in hand, of the generation that it is of. */
    stop: null,
    /** How things stood at the fault that is looked at: `{ key, view, job }`. */
    instant: null,
    /**
     * A recorded run that is shown: `{ run, parts, start, us, view, job, playing, reached, over }`; `over`: the
     * generation and the phase that it was begun over. `null`: the machine is shown.
     */
    replay: null,
    /** The curves that are looked at: which fault's, and why they are not there. */
    trace: { name: null, curves: null, trouble: null },
    hold: { stage: "rest", at: 0, times: 0 },
    /**
     * How a resume is to go: so much earlier, mm, by which way, which step moves it, which page of
     * the ways is open, and the reasons for the warnings of one plan so far.
     */
    from: null,
    /** What is being said of the parts that were changed: which, and the set that is fitted. */
    swap: null,
    /** The ways on that the panel has shown last. */
    ways: null,
    /** Made ready for the second step at this moment, ms. */
    readyAt: null,
    /** The panel's last word to a request that it did not take. */
    said: null,
  };
}
