// Written from the panel's catalogue of words: change them there (daemon/control/src/words).

/** Names of causes in a list. */
export const CAUSE = {
  "air-low": "air has dropped",
  "air-wait": "wait for air",
  "arc-lost": "lost arc",
  "arc-stuck": "arc would not go out",
  "change-due": "torch parts are due",
  "contact-stuck": "torch contact stays on",
  "controller-fault": "controller stopped by itself",
  "controller-reset": "controller started again",
  "duty-wait": "wait for the source to cool",
  "estop": "emergency stop",
  "fire-dropped": "fire dropped",
  "gate-open": "gate open",
  "guard-late": "guard came too late",
  "height-limit": "height at its limit",
  "hold": "held by you",
  "inputs-stale": "inputs were too old",
  "interrupted": "panel was interrupted",
  "lease-lapsed": "panel was too slow",
  "link-cut": "controller did not answer",
  "link-noise": "noise on the controller's line",
  "no-arc": "no arc",
  "no-contact": "plate not found",
  "overdue": "a step took too long",
  "permit-stuck": "permit relay does not follow",
  "place-drift": "place has drifted",
  "plate-moved": "plate is not where it was",
  "record-failed": "record could not be kept",
  "record-lost": "earlier records are lost",
  "screen-lost": "screen was lost",
  "sense-on": "sensing circuit on",
  "source-off": "source off",
  "starved": "controller ran short of path",
  "torch-touched": "torch touched",
  "torch-unseated": "torch was knocked",
  "touch-unsure": "touches do not agree",
  "unasked-fire": "fire that nobody asked for",
  "volts-odd": "arc volts do not add up"
};

/** Far words of holds, where a cause has its own. */
export const HELD = {
  "arc-lost": "LOST ARC",
  "estop": "E-STOP",
  "fire-dropped": "LOST ARC",
  "no-arc": "NO ARC"
};

/** Far words of the steps of a cut. */
export const STEP = {
  "arc-off-wait": "ARC OUT",
  "await-arc": "FIRING",
  "clear-test": "PROBING",
  "cut": "CUTTING",
  "drop": "PIERCING",
  "extinguish": "CUTTING",
  "park": "PARKING",
  "pierce": "PIERCING",
  "pierce-height": "PROBING",
  "probe-fast": "PROBING",
  "probe-slow": "PROBING",
  "ready": "FIRING",
  "retract": "LIFTING",
  "sense-test": "PROBING",
  "traverse": "MOVING",
  "validate": "PROBING"
};

/** What is waited for, long for 10 inches, short for 7. */
export const WAITING = {
  "arc-to-come-on": [
    "arc to come on",
    "the arc"
  ],
  "arc-to-go-out": [
    "arc to go out",
    "arc to end"
  ],
  "checks": [
    "the checks",
    "the checks"
  ],
  "controller-to-answer": [
    "controller to answer",
    "controller"
  ],
  "cut-height": [
    "height to settle",
    "height"
  ],
  "estop-to-be-cleared": [
    "emergency stop to be cleared",
    "e-stop"
  ],
  "job": [
    "you to choose a program",
    "a program"
  ],
  "key-to-be-let-go": [
    "you to let go",
    "you: let go"
  ],
  "message-to-be-read": [
    "you to read a message",
    "you: read"
  ],
  "motion-to-stop": [
    "motion to stop",
    "the stop"
  ],
  "nothing": [
    "nothing",
    "nothing"
  ],
  "parts-to-be-changed": [
    "torch parts to be changed",
    "the parts"
  ],
  "pierce-time": [
    "pierce time",
    "the pierce"
  ],
  "place-to-be-confirmed": [
    "place to be confirmed",
    "the place"
  ],
  "plate-to-be-found": [
    "plate to be found",
    "the plate"
  ],
  "record-to-be-kept": [
    "record to be kept",
    "the record"
  ],
  "reference": [
    "axes to be referenced",
    "reference"
  ],
  "start": [
    "you to press START",
    "you: START"
  ],
  "torch-to-lift": [
    "torch to lift",
    "torch lift"
  ],
  "torch-to-reach-place": [
    "torch to reach place",
    "torch"
  ],
  "your-move": [
    "your move",
    "your move"
  ]
};

/** A way on from a stop, as a choice. */
export const WAY = {
  "kerf-end": "Open kerf",
  "lead-in": "New lead-in",
  "leave": "Leave it",
  "restart": "Its pierce",
  "tab": "Leave a tab"
};
