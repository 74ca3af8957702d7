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

/** The steps of commissioning: what is done, when it has passed and where that limit is from. */
export const PROOF = {
  "coarse-scale": {
    "guards": false,
    "limit": "within 1 mm",
    "name": "Coarse scale",
    "number": 6,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Move each axis by 500 mm along a rule. Type what the rule says."
  },
  "contact": {
    "guards": true,
    "limit": "open, closed and open again; wet reads as open or is told; a broken wire is told apart where the input has a bleed resistor, else by the touch with metal",
    "name": "Torch contact",
    "number": 12,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Isolate the power source. Leave the torch in the air, touch it with metal, hold a wet rag to it, take the wire off, as it is asked for."
  },
  "delays": {
    "guards": false,
    "limit": "mean and largest are in the machine file",
    "name": "Delay of arc OK",
    "number": 18,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Cut off the sheet's edge at three feeds, five times each. Type how far the torch ran on."
  },
  "direction": {
    "guards": false,
    "limit": "each as it was asked for",
    "name": "Directions",
    "number": 5,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Move each axis by 10 mm. Say which way the torch went as seen from the console."
  },
  "dry-fire": {
    "guards": true,
    "limit": "the start contact closes and opens, no arc is transferred, the controller does not start anew; where volts are measured 200 to 400 V open, positive: 3 of 3",
    "name": "Dry fire",
    "number": 14,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Switch the source on. Set the torch 20 mm over heavy scrap with the clamp on it. Stand clear. Let it fire three times for 0.5 s."
  },
  "estop": {
    "guards": true,
    "limit": "drives off within 0.3 s, permit relay open within 100 ms, and the panel cannot start again by itself: 5 of 5",
    "name": "Emergency stop",
    "number": 3,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Press the emergency stop five times, with the permit relay pulled. Look each time that the drives go off. Release it."
  },
  "first-line": {
    "guards": false,
    "limit": "3 V more lift the torch by about 0.5 mm",
    "name": "First line",
    "number": 16,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Cut 200 mm without height control, then with it. Raise the set-point by 3 V."
  },
  "gauge-plate": {
    "guards": false,
    "limit": "the sums of the first article hold",
    "name": "Gauge plate",
    "number": 20,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Cut the gauge plate. Measure it cold, dross off. Give the readings to `standclear article`."
  },
  "home": {
    "guards": false,
    "limit": "spread below 0.1 mm",
    "name": "Reference ten times",
    "number": 7,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Let the axes be referenced ten times against a dial gauge. Type each reading."
  },
  "inputs": {
    "guards": true,
    "limit": "only the input that is worked changes, in the right sense, at rest within 20 ms; a wire that is taken off reads as the safe state",
    "name": "Inputs by hand",
    "number": 2,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Isolate the power source. Work each input by hand as it is asked for."
  },
  "kerf": {
    "guards": false,
    "limit": "within 0.1 mm of the chart",
    "name": "Kerf",
    "number": 19,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Cut a square of 100 mm with one of 50 mm in it, without allowance. Type both sizes."
  },
  "noise-soak": {
    "guards": false,
    "limit": "the controller does not start anew; short edges are counted",
    "name": "Noise",
    "number": 21,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Let it fire fifty times with the axes creeping."
  },
  "papers": {
    "guards": true,
    "limit": "signed",
    "name": "Papers",
    "number": 1,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Lay wiring list, choice of the stop category and the earthing record beside the table. Compare each line of the list with its wire. Sign it."
  },
  "pen-trace": {
    "guards": false,
    "limit": "scale 0.3 mm a metre, squareness 0.5 mm a metre, lost motion 0.15 mm",
    "name": "Pen trace",
    "number": 9,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Clamp a pen to the torch. Let the trace be drawn. Measure lengths, diagonals, circle and the gap of the cross-hair."
  },
  "permit": {
    "guards": true,
    "limit": "relay open within 100 ms of the end of pulses and of the process, 300 ms of a stall, 350 ms of the serial plug",
    "name": "Permit relay",
    "number": 4,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Isolate the power source. Let the panel end its pulses. Then end its process, stall it, and pull the serial plug, each with the relay pulled."
  },
  "repeat": {
    "guards": false,
    "limit": "R below 0.2 mm",
    "name": "Repeatability",
    "number": 10,
    "source": "R in the manner of ISO 230-2, its formulas from memory; the limit is common practice, no source",
    "todo": "Approach each of five targets five times from either side. Type each reading."
  },
  "speed": {
    "guards": false,
    "limit": "back at the mark within 0.1 mm",
    "name": "Speed",
    "number": 8,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Raise the speed until a motor stalls and enter 60 % of it. Let 200 moves be made and come back to a mark."
  },
  "speed-ladder": {
    "guards": false,
    "limit": "the chart's feed leaves the least dross",
    "name": "Speed ladder",
    "number": 17,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Cut five lines of 60 mm at 70 to 130 % of the chart's feed. Look at drag lines and dross."
  },
  "touch-off": {
    "guards": false,
    "limit": "four standard deviations below 0.15 mm by contact, 0.4 mm by the floating head",
    "name": "Touch-off",
    "number": 11,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Let the sheet be touched ten times by contact and ten times by the floating head. Measure the gap with a feeler."
  },
  "transfer": {
    "guards": false,
    "limit": "arc OK within 0.5 s, on and off",
    "name": "Transfer",
    "number": 15,
    "source": "common practice, no source; the numbers are invented",
    "todo": "Let it fire five times at pierce height without motion."
  },
  "volts": {
    "guards": false,
    "limit": "0 V within 2 V; 100 V within 1 V",
    "name": "Arc volts at rest",
    "number": 13,
    "source": "common practice, no source; the numbers are invented",
    "todo": "With the source off read the volts. Put 2.00 V on the input of a 50 to 1 divider and read again."
  }
};
