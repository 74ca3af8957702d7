// The word list: the same thing has the same word on every page. Far words have eight letters at
// most. What is said of causes, steps, waits and ways comes from the panel's own catalogue.

import { HELD, STEP } from "./catalogue.js";

export { CAUSE, WAITING, WAY } from "./catalogue.js";

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
    case "hand": return "BY HAND";
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

/** Why a finding is accepted that the accepted pauses put right. */
export const WITH_PAUSES = "With the pauses of the plan";

/** The lanes of a plan. */
export const LANE = { air: "Air, lowest", duty: "Arc in 10 min", wear: "Torch parts" };

/** What a proposed pause is for; how long, s. */
export const PAUSE = {
  "air-wait": (s) => `${Math.round(s)} s for the air.`,
  "duty-wait": (s) => `${Math.round(s)} s for the source to cool.`,
  "change-due": () => "change the torch parts.",
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
