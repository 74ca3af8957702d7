//! The steps, one entry each: names, instructions and limits are those of the process handbook, section 6.
//! No limit of it is published anywhere: all are common practice with invented numbers, but for the
//! formulas of step 10.

use super::{Step, StepFacts};

/// The source of a limit that nobody has published.
const PRACTICE: &str = "common practice, no source; the numbers are invented";

const NOTHING: StepFacts = StepFacts {
    key: "",
    name: "",
    todo: "",
    watches: &[],
    every_input: false,
    limit: "",
    source: PRACTICE,
    covers: &[],
    dialect: false,
    guards: false,
};

/// What is known of a step.
pub(super) const fn facts(step: Step) -> StepFacts {
    match step {
        Step::Papers | Step::Inputs | Step::Estop | Step::Permit | Step::Contact | Step::Volts => {
            at_rest(step)
        }
        Step::Direction
        | Step::CoarseScale
        | Step::Home
        | Step::Speed
        | Step::PenTrace
        | Step::Repeat
        | Step::TouchOff => with_motion(step),
        _ => with_arc(step),
    }
}

/// Steps for which nothing moves by the controller.
const fn at_rest(step: Step) -> StepFacts {
    match step {
        Step::Papers => StepFacts {
            key: "papers",
            name: "Papers",
            todo: "Lay wiring list, choice of the stop category and the earthing record beside the table. \
                   Compare each line of the list with its wire. Sign it.",
            limit: "signed",
            covers: &["pins"],
            guards: true,
            ..NOTHING
        },
        Step::Inputs => StepFacts {
            key: "inputs",
            name: "Inputs by hand",
            todo: "Isolate the power source. Work each input by hand as it is asked for.",
            every_input: true,
            limit: "only the input that is worked changes, in the right sense, at rest within 20 ms; a wire \
                    that is taken off reads as the safe state",
            covers: &["pins.backend", "pins.chip", "pins.inputs"],
            guards: true,
            ..NOTHING
        },
        Step::Estop => StepFacts {
            key: "estop",
            name: "Emergency stop",
            todo: "Press the emergency stop five times, with the permit relay pulled. Look each time that \
                   the drives go off. Release it.",
            watches: &["estop", "permit_closed"],
            limit: "drives off within 0.3 s, permit relay open within 100 ms, and the panel cannot start \
                    again by itself: 5 of 5",
            covers: &[
                "pins.backend",
                "pins.chip",
                "pins.permit",
                "pins.inputs.estop",
                "pins.inputs.permit_closed",
                "guard.relay_drop_ms",
                "estop",
            ],
            guards: true,
            ..NOTHING
        },
        Step::Permit => StepFacts {
            key: "permit",
            name: "Permit relay",
            todo: "Isolate the power source. Let the panel end its pulses. Then end its process, stall it, \
                   and pull the serial plug, each with the relay pulled.",
            watches: &["permit_closed"],
            limit: "relay open within 100 ms of the end of pulses and of the process, 300 ms of a stall, \
                    350 ms of the serial plug",
            covers: &[
                "pins.backend",
                "pins.chip",
                "pins.permit",
                "pins.inputs.permit_closed",
                "guard.permit_hz",
                "guard.lease_ms",
                "guard.relay_drop_ms",
                "guard.relay_holds_ms",
                "link.silence_ms",
            ],
            guards: true,
            ..NOTHING
        },
        Step::Contact => StepFacts {
            key: "contact",
            name: "Torch contact",
            todo: "Isolate the power source. Leave the torch in the air, touch it with metal, hold a wet rag \
                   to it, take the wire off, as it is asked for.",
            watches: &["contact", "sense_isolated"],
            limit: "open, closed and open again; wet reads as open or is told; a broken wire is told apart \
                    where the input has a bleed resistor, else by the touch with metal",
            covers: &[
                "pins.backend",
                "pins.chip",
                "pins.inputs.contact",
                "pins.inputs.sense_isolated",
                "guard.sense_stays_connected",
                "cycle.sense_settle_ms",
            ],
            guards: true,
            ..NOTHING
        },
        _ => StepFacts {
            key: "volts",
            name: "Arc volts at rest",
            todo: "With the source off read the volts. Put 2.00 V on the input of a 50 to 1 divider and read \
                   again.",
            watches: &["volts"],
            limit: "0 V within 2 V; 100 V within 1 V",
            covers: &["volts", "source.divider"],
            ..NOTHING
        },
    }
}

/// Steps for which the axes move and the source is isolated.
const fn with_motion(step: Step) -> StepFacts {
    match step {
        Step::Direction => StepFacts {
            key: "direction",
            name: "Directions",
            todo: "Move each axis by 10 mm. Say which way the torch went as seen from the console.",
            limit: "each as it was asked for",
            covers: &["link.port", "table.travel"],
            dialect: true,
            ..NOTHING
        },
        Step::CoarseScale => StepFacts {
            key: "coarse-scale",
            name: "Coarse scale",
            todo: "Move each axis by 500 mm along a rule. Type what the rule says.",
            limit: "within 1 mm",
            covers: &["link.port", "table.travel"],
            dialect: true,
            ..NOTHING
        },
        Step::Home => StepFacts {
            key: "home",
            name: "Reference ten times",
            todo: "Let the axes be referenced ten times against a dial gauge. Type each reading.",
            limit: "spread below 0.1 mm",
            covers: &["link.port", "table.travel"],
            dialect: true,
            ..NOTHING
        },
        Step::Speed => StepFacts {
            key: "speed",
            name: "Speed",
            todo: "Raise the speed until a motor stalls and enter 60 % of it. Let 200 moves be made and come \
                   back to a mark.",
            limit: "back at the mark within 0.1 mm",
            covers: &["motion", "link.port"],
            dialect: true,
            ..NOTHING
        },
        Step::PenTrace => StepFacts {
            key: "pen-trace",
            name: "Pen trace",
            todo: "Clamp a pen to the torch. Let the trace be drawn. Measure lengths, diagonals, circle and \
                   the gap of the cross-hair.",
            limit: "scale 0.3 mm a metre, squareness 0.5 mm a metre, lost motion 0.15 mm",
            covers: &["motion", "link.port", "table.travel"],
            dialect: true,
            ..NOTHING
        },
        Step::Repeat => StepFacts {
            key: "repeat",
            name: "Repeatability",
            todo: "Approach each of five targets five times from either side. Type each reading.",
            limit: "R below 0.2 mm",
            source: "R in the manner of ISO 230-2, its formulas from memory; the limit is common practice, \
                     no source",
            covers: &["motion", "link.port"],
            dialect: true,
            ..NOTHING
        },
        _ => StepFacts {
            key: "touch-off",
            name: "Touch-off",
            todo: "Let the sheet be touched ten times by contact and ten times by the floating head. Measure \
                   the gap with a feeler.",
            watches: &["contact", "float_switch"],
            limit: "four standard deviations below 0.15 mm by contact, 0.4 mm by the floating head",
            covers: &[
                "pins.inputs.contact",
                "pins.inputs.float_switch",
                "cycle.probe_fast_mm_s",
                "cycle.probe_slow_mm_s",
                "cycle.ohmic_offset_mm",
                "cycle.float_offset_mm",
                "link.port",
            ],
            dialect: true,
            ..NOTHING
        },
    }
}

/// Steps for which the torch fires.
const fn with_arc(step: Step) -> StepFacts {
    match step {
        Step::DryFire => StepFacts {
            key: "dry-fire",
            name: "Dry fire",
            todo: "Switch the source on. Set the torch 20 mm over heavy scrap with the clamp on it. Stand \
                   clear. Let it fire three times for 0.5 s.",
            watches: &["fire_on", "arc_ok", "permit_closed", "volts"],
            limit: "the start contact closes and opens, no arc is transferred, the controller does not start \
                    anew; where volts are measured 200 to 400 V open, positive: 3 of 3",
            covers: &[
                "pins.backend",
                "pins.chip",
                "pins.permit",
                "pins.inputs.fire_on",
                "pins.inputs.arc_ok",
                "volts",
                "source.divider",
                "source.starting",
                "link.port",
            ],
            dialect: true,
            guards: true,
            ..NOTHING
        },
        Step::Transfer => StepFacts {
            key: "transfer",
            name: "Transfer",
            todo: "Let it fire five times at pierce height without motion.",
            watches: &["fire_on", "arc_ok"],
            limit: "arc OK within 0.5 s, on and off",
            covers: &[
                "pins.inputs.arc_ok",
                "guard.arc_ok_within_s",
                "guard.arc_out_within_s",
            ],
            ..NOTHING
        },
        Step::FirstLine => StepFacts {
            key: "first-line",
            name: "First line",
            todo: "Cut 200 mm without height control, then with it. Raise the set-point by 3 V.",
            watches: &["volts"],
            limit: "3 V more lift the torch by about 0.5 mm",
            covers: &["volts", "source.divider", "chart"],
            ..NOTHING
        },
        Step::SpeedLadder => StepFacts {
            key: "speed-ladder",
            name: "Speed ladder",
            todo: "Cut five lines of 60 mm at 70 to 130 % of the chart's feed. Look at drag lines and dross.",
            limit: "the chart's feed leaves the least dross",
            covers: &["chart"],
            ..NOTHING
        },
        Step::Delays => StepFacts {
            key: "delays",
            name: "Delay of arc OK",
            todo: "Cut off the sheet's edge at three feeds, five times each. Type how far the torch ran on.",
            watches: &["arc_ok"],
            limit: "mean and largest are in the machine file",
            covers: &["arc_signal", "pins.inputs.arc_ok"],
            ..NOTHING
        },
        Step::Kerf => StepFacts {
            key: "kerf",
            name: "Kerf",
            todo: "Cut a square of 100 mm with one of 50 mm in it, without allowance. Type both sizes.",
            limit: "within 0.1 mm of the chart",
            covers: &["chart"],
            ..NOTHING
        },
        Step::GaugePlate => StepFacts {
            key: "gauge-plate",
            name: "Gauge plate",
            todo: "Cut the gauge plate. Measure it cold, dross off. Give the readings to `standclear article`.",
            limit: "the sums of the first article hold",
            covers: &["chart", "reached_tolerance_mm"],
            ..NOTHING
        },
        _ => StepFacts {
            key: "noise-soak",
            name: "Noise",
            todo: "Let it fire fifty times with the axes creeping.",
            every_input: true,
            limit: "the controller does not start anew; short edges are counted",
            covers: &["pins.inputs", "source.starting", "link.port"],
            ..NOTHING
        },
    }
}
