// The word list: the same thing has the same word on every page. Far words have eight letters at
// most.

const STEP = {
  "traverse": "MOVING",
  "sense-test": "PROBING",
  "probe-fast": "PROBING",
  "probe-slow": "PROBING",
  "validate": "PROBING",
  "pierce-height": "PROBING",
  "clear-test": "PROBING",
  "ready": "FIRING",
  "await-arc": "FIRING",
  "pierce": "PIERCING",
  "drop": "PIERCING",
  "cut": "CUTTING",
  "extinguish": "CUTTING",
  "arc-off-wait": "ARC OUT",
  "retract": "LIFTING",
  "park": "PARKING",
};

const HELD = {
  "arc-lost": "LOST ARC",
  "fire-dropped": "LOST ARC",
  "no-arc": "NO ARC",
  "estop": "E-STOP",
};

/** The far word of a view that is live. */
export function farWord(view) {
  // Whoever does not hear the controller cannot say that it stands: no STOPPED, and no HELD.
  if (unheard(view) && !view.alarms.some((a) => a.latched && a.cause === "estop")) return "NO LINK";
  switch (view.phase) {
    case "starting": return "STARTING";
    case "no-link": return "NO LINK";
    case "idle": return view.seal ? "CHECKS" : "AT REST";
    case "ready": return "READY";
    case "homing": return "HOMING";
    case "running": return STEP[view.step] ?? "RUNNING";
    case "stopping": return "BRAKING";
    // Once the stop is cleared it is a hold like any other.
    case "held": return view.hold?.cause === "estop" && !view.alarms.some((a) => a.latched) ? "HELD" : HELD[view.hold?.cause] ?? "HELD";
    case "latched": return firstCause(view) === "estop" ? "E-STOP" : "STOPPED";
    case "changing": return "PARTS";
    case "finished": return "FINISHED";
    default: return "?";
  }
}

/** Nothing is known of the motion of a machine that was under command. */
export function unheard(view) {
  return view.link.alive === false && ["held", "latched", "finished", "changing", "no-link"].includes(view.phase);
}

function firstCause(view) {
  const first = view.alarms.find((a) => a.latched && a.first) ?? view.alarms.find((a) => a.latched);
  return first?.cause ?? view.hold?.cause ?? null;
}

/** The machine's checks in few words; a daemon that knows more says it in its own. */
export const CHECK = {
  "job-sealed": "vetted job is loaded",
  "no-latch": "no alarm stands",
  "inputs-fresh": "inputs are fresh",
  "estop-closed": "e-stop is released",
  "link-alive": "controller answers",
  "referenced": "axes are referenced",
  "place-sure": "place is known",
  "arc-ok-open": "arc signal is off",
  "fire-on-open": "torch is not asked for",
  "contact-open": "torch touches nothing",
  "air-good": "air is right",
  "source-on": "torch power is on",
  "torch-seated": "torch is in its holder",
  "gate-closed": "gate is closed",
  "permit-open": "permit relay is open",
  "permit-tested": "permit relay was tested",
  "hold-released": "hold button is released",
  "hold-button-works": "hold button was seen to work",
  "estop-works": "e-stop was seen to work",
  "sense-isolated": "sensing circuit is off",
  "source-off": "source off, or start plug out",
  "relay-seen": "permit relay was seen",
  "self-tested": "self-test has passed",
  "record-kept": "journal is written",
  "parts-tested": "torch parts were tried",
};

/** What is waited for, long for 10 inches, short for 7. */
export const WAITING = {
  "nothing": ["nothing", "nothing"],
  "job": ["you to choose a program", "a program"],
  "checks": ["the checks", "the checks"],
  "start": ["you to press START", "you: START"],
  "torch-to-reach-place": ["torch to reach place", "torch"],
  "plate-to-be-found": ["plate to be found", "the plate"],
  "record-to-be-kept": ["record to be kept", "the record"],
  "arc-to-come-on": ["arc to come on", "the arc"],
  "pierce-time": ["pierce time", "the pierce"],
  "cut-height": ["height to settle", "height"],
  "torch-to-lift": ["torch to lift", "torch lift"],
  "arc-to-go-out": ["arc to go out", "arc to end"],
  "motion-to-stop": ["motion to stop", "the stop"],
  "your-move": ["your move", "your move"],
  "place-to-be-confirmed": ["place to be confirmed", "the place"],
  "reference": ["axes to be referenced", "reference"],
  "controller-to-answer": ["controller to answer", "controller"],
  "message-to-be-read": ["you to read a message", "you: read"],
  "parts-to-be-changed": ["torch parts to be changed", "the parts"],
  "estop-to-be-cleared": ["emergency stop to be cleared", "e-stop"],
};

/** Waits that are the operator's. */
export const YOUR_MOVE = new Set([
  "job", "checks", "start", "your-move", "place-to-be-confirmed", "reference",
  "message-to-be-read", "estop-to-be-cleared", "parts-to-be-changed",
]);

export const ARC = {
  "off": "arc off",
  "asked": "ARC ASKED",
  "on": "ARC ON",
  // Not "locked out": at a machine that says that its energy is isolated, and the panel cannot know it.
  "locked-out": "no permit",
  "unknown": "ARC ?",
};

export const VERDICT = {
  clear: "Fit to cut",
  warned: "Cut with care",
  refused: "Refused",
};

/** Reasons for accepting a warning that a gloved finger can choose. */
export const REASONS = [
  "Looked at on the sheet: it is meant so",
  "It will be watched while it is cut",
];

/** Names of causes in a line of the list of holds. */
export const CAUSE = {
  "no-arc": "no arc",
  "arc-lost": "lost arc",
  "fire-dropped": "fire dropped",
  "arc-stuck": "arc would not go out",
  "unasked-fire": "fire that nobody asked for",
  "contact-stuck": "torch contact stays on",
  "no-contact": "plate not found",
  "touch-unsure": "touches do not agree",
  "plate-moved": "plate is not where it was",
  "torch-touched": "torch touched",
  "torch-unseated": "torch was knocked",
  "estop": "emergency stop",
  "gate-open": "gate open",
  "hold": "held by you",
  "air-low": "air has dropped",
  "source-off": "source off",
  "volts-odd": "arc volts do not add up",
  "height-limit": "height at its limit",
  "starved": "controller ran short of path",
  "link-cut": "controller did not answer",
  "link-noise": "noise on the controller's line",
  "controller-reset": "controller started again",
  "controller-fault": "controller stopped by itself",
  "permit-stuck": "permit relay does not follow",
  "lease-lapsed": "panel was too slow",
  "sense-on": "sensing circuit on",
  "screen-lost": "screen was lost",
  "inputs-stale": "inputs were too old",
  "guard-late": "guard came too late",
  "record-failed": "record could not be kept",
  "record-lost": "earlier records are lost",
  "interrupted": "panel was interrupted",
  "place-drift": "place has drifted",
  "overdue": "a step took too long",
  "air-wait": "wait for air",
  "duty-wait": "wait for the source to cool",
  "change-due": "torch parts are due",
};

/** A way on from a stop, as a choice. */
export const WAY = {
  "kerf-end": "Open kerf",
  "lead-in": "New lead-in",
  restart: "Its pierce",
  tab: "Leave a tab",
  leave: "Leave it",
};

/** What is looked at in a datum check. */
export const MARK = {
  "hole-centre": "the centre of the hole",
  pierce: "the pierce",
  "left-edge": "the left edge of the sheet",
  "lower-edge": "the near edge of the sheet",
};

/** A torch part. */
export const PART = {
  nozzle: "nozzle",
  electrode: "electrode",
  shield: "shield",
  "swirl-ring": "swirl ring",
};
