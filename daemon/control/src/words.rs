//! What the panel says to a person: what happened, why, and what to do.
//!
//! Trade words; what the machine did; one instruction a sentence; a cause only if it was measured,
//! otherwise "usual", commonest first. No blame.

use crate::ask::CheckId;
use crate::cause::{Cause, Detail};
use crate::resume::Way;
use crate::view::{AlarmLevel, Waiting};

/// How bad it is.
#[must_use]
pub const fn level(cause: Cause) -> AlarmLevel {
    match cause {
        Cause::Estop
        | Cause::LinkCut
        | Cause::ArcStuck
        | Cause::UnaskedFire
        | Cause::ControllerReset
        | Cause::TorchTouched
        | Cause::TorchUnseated => AlarmLevel::Danger,
        Cause::AirWait | Cause::DutyWait | Cause::ChangeDue | Cause::RecordFailed => {
            AlarmLevel::Notice
        }
        _ => AlarmLevel::JobStopped,
    }
}

/// What happened, at most eight words. `cut`: which one, from 1.
#[must_use]
pub fn what(cause: Cause, cut: Option<usize>) -> String {
    let on = |text: &str| cut.map_or_else(|| format!("{text}."), |n| format!("{text} on cut {n}."));
    match cause {
        Cause::NoArc => cut.map_or_else(
            || "No arc at the pierce.".into(),
            |n| format!("No arc at pierce {n}."),
        ),
        Cause::ArcLost => on("Arc went out"),
        Cause::FireDropped => on("Torch signal dropped out"),
        Cause::ArcStuck => "Arc will not go out.".into(),
        Cause::UnaskedFire => "Torch is asked for with no cut.".into(),
        Cause::ContactStuck => "Torch contact stays on when lifted.".into(),
        Cause::NoContact => "Plate not found.".into(),
        Cause::TouchUnsure => "Two touches of the plate differ.".into(),
        Cause::PlateMoved => "Plate is not where it should be.".into(),
        Cause::TorchTouched => "Torch touched something while moving.".into(),
        Cause::TorchUnseated => "Torch was knocked.".into(),
        Cause::Estop => "Emergency stop was pressed.".into(),
        Cause::GateOpen => "Gate was opened.".into(),
        Cause::Hold => on("You held the machine"),
        Cause::AirLow => "Air has dropped.".into(),
        Cause::SourceOff => "Torch power went off.".into(),
        Cause::VoltsOdd => "Volts and arc signal disagree.".into(),
        Cause::HeightLimit => "Height is at its limit.".into(),
        Cause::Starved => "Lines came too late to the controller.".into(),
        Cause::LinkCut => "The controller does not answer.".into(),
        Cause::LinkNoise => "The line to the controller is noisy.".into(),
        Cause::ControllerReset => "The controller has started anew.".into(),
        Cause::ControllerFault => "The controller stopped by itself.".into(),
        Cause::PermitStuck => "Permit relay does not follow.".into(),
        Cause::LeaseLapsed => "The panel was too slow.".into(),
        Cause::SenseOn => "Sensing circuit was on the torch.".into(),
        Cause::ScreenLost => "The commanding screen is lost.".into(),
        Cause::InputsStale => "What the panel sees is too old.".into(),
        Cause::GuardLate => "The panel's guard came too late.".into(),
        Cause::RecordFailed => "The journal cannot be written.".into(),
        Cause::RecordLost => "Earlier records are lost.".into(),
        Cause::Interrupted => "A run was interrupted.".into(),
        Cause::PlaceDrift => "The place has drifted.".into(),
        Cause::Overdue => "A step took too long.".into(),
        Cause::AirWait => "Waiting for air.".into(),
        Cause::DutyWait => "Waiting for the power source to cool.".into(),
        Cause::ChangeDue => "Torch parts are near their end.".into(),
    }
}

/// The cause as a clause for the log.
#[must_use]
pub const fn plain(cause: Cause) -> &'static str {
    match cause {
        Cause::NoArc => "no arc came",
        Cause::ArcLost => "the arc went out",
        Cause::FireDropped => "the torch signal dropped out",
        Cause::ArcStuck => "the arc does not go out",
        Cause::UnaskedFire => "the torch is asked for with no cut",
        Cause::ContactStuck => "the torch contact stays on",
        Cause::NoContact => "the plate was not found",
        Cause::TouchUnsure => "two touches differ",
        Cause::PlateMoved => "the plate is not where it should be",
        Cause::TorchTouched => "the torch touched something while moving",
        Cause::TorchUnseated => "the torch left its seat",
        Cause::Estop => "the emergency stop was pressed",
        Cause::GateOpen => "the gate was opened",
        Cause::Hold => "the operator held the machine",
        Cause::AirLow => "the air dropped",
        Cause::SourceOff => "the torch power went off",
        Cause::VoltsOdd => "volts and arc signal disagree",
        Cause::HeightLimit => "the height is at its limit",
        Cause::Starved => "lines came too late",
        Cause::LinkCut => "the controller did not answer",
        Cause::LinkNoise => "the line is noisy",
        Cause::ControllerReset => "the controller started anew",
        Cause::ControllerFault => "the controller stopped by itself",
        Cause::PermitStuck => "the permit relay does not follow",
        Cause::LeaseLapsed => "the panel was too slow",
        Cause::SenseOn => "the sensing circuit was not off the torch",
        Cause::ScreenLost => "the commanding screen is lost",
        Cause::InputsStale => "the inputs were not seen afresh",
        Cause::GuardLate => "the guard came too late",
        Cause::RecordFailed => "the journal cannot be written",
        Cause::RecordLost => "earlier records are lost",
        Cause::Interrupted => "the panel started over an unfinished run",
        Cause::PlaceDrift => "the place has drifted",
        Cause::Overdue => "a step took too long",
        Cause::AirWait => "waiting for air",
        Cause::DutyWait => "waiting for the power source to cool",
        Cause::ChangeDue => "torch parts are near their end",
    }
}

/// What to do.
#[must_use]
pub const fn remedy(cause: Cause) -> &'static str {
    match cause {
        Cause::NoArc => {
            "Look whether the power source is on. Then check ground clamp, nozzle and electrode."
        }
        Cause::ArcLost => "Look at the flag. Then pierce again a bit back, or change torch parts.",
        Cause::FireDropped => "Check the start wire and the controller's torch relay.",
        Cause::ArcStuck => {
            "Not safe. Switch off at the power source. Stand clear. Do not touch the torch. Check its trigger setting and the start wires."
        }
        Cause::UnaskedFire => {
            "Not safe. Switch off at the power source. Look for a welded start contact or joined start wires."
        }
        Cause::ContactStuck => {
            "Switch torch power off. Clean the nozzle. Look for a wire rubbed through."
        }
        Cause::NoContact => {
            "Look under the torch: hole, sheet edge, thick rust or paint. Scrape it clean. Then try again."
        }
        Cause::TouchUnsure => "Clean the nozzle and the plate under it. Then try again.",
        Cause::PlateMoved => {
            "Look for a tipped piece or a bowed sheet. If a part is cut, check the sheet by it. Then try again."
        }
        Cause::TorchTouched => {
            "Look for a tipped piece under the torch. Free it. Then reference the axes."
        }
        Cause::TorchUnseated => {
            "Switch torch power off. Look for a tipped piece. Seat the torch. Then reference the axes."
        }
        Cause::Estop => {
            "Make it safe. Release the button. Clear this. Then reference the axes. Nothing starts by itself."
        }
        Cause::GateOpen => "Close the gate. Then clear this.",
        Cause::Hold => "Carry on, step back, or leave this cut.",
        Cause::AirLow => "Check the compressor. Drain the trap. Then carry on.",
        Cause::SourceOff => "Switch the power source on.",
        Cause::VoltsOdd => "Check the wires of volts and arc signal.",
        Cause::HeightLimit => "Look at the plate under the torch. Then find the plate again.",
        Cause::Starved => "Lower the feed. Then resume.",
        Cause::LinkCut => {
            "Use the red button. Do not go near. Then look at the controller's power and cable."
        }
        Cause::LinkNoise => "Check cable, screen and earth of the serial line.",
        Cause::ControllerReset => {
            "Look at the controller's power. Clear this. Then reference the axes."
        }
        Cause::ControllerFault => {
            "Look at limits and drives. Clear this. Then reference the axes if asked."
        }
        Cause::PermitStuck => "Switch torch power off. Then make the permit test.",
        Cause::LeaseLapsed => "Clear this. Then resume.",
        Cause::SenseOn => {
            "Switch torch power off. Look at the sensing relay: arc volts may reach its board. Then try again."
        }
        Cause::ScreenLost => "Take command at a screen.",
        Cause::InputsStale => "Look at the torch. Clear this. Then go on from the place.",
        Cause::GuardLate => "Look at the torch. Clear this. Then go on from the place.",
        Cause::RecordFailed => "Make room on the panel's disk. Then clear this.",
        Cause::RecordLost => "Look at torch and sheet. Clear this. Then reference the axes.",
        Cause::Interrupted => {
            "Read where it stopped. Load the same job to go on. Or clear this to leave it."
        }
        Cause::PlaceDrift => "Set a new zero.",
        Cause::Overdue => "Look at the torch and what is under it. Then try again.",
        Cause::AirWait => "Wait until the receiver is full.",
        Cause::DutyWait => "Wait until the power source is cool.",
        Cause::ChangeDue => "Change the torch parts now.",
    }
}

/// What happened, by what was measured beside the cause.
#[must_use]
pub fn what_of(cause: Cause, detail: Option<Detail>, cut: Option<usize>) -> String {
    match detail {
        Some(Detail::InputsUnread) => "The panel cannot read its inputs.".into(),
        _ => what(cause, cut),
    }
}

/// The cause as a clause for the log, by what was measured beside it.
#[must_use]
pub const fn plain_of(cause: Cause, detail: Option<Detail>) -> &'static str {
    match detail {
        Some(Detail::InputsUnread) => {
            "the inputs could not be read, as if the stop chain were open"
        }
        Some(Detail::VoltsNone) => "no arc came, and there were no volts",
        Some(Detail::VoltsOpenCircuit) => "no arc came, and no pilot arc",
        Some(Detail::VoltsPilot) => "no arc came, only a pilot arc",
        Some(Detail::VoltsOfArc) => "no arc was seen, but there were its volts",
        None => plain(cause),
    }
}

/// What to do, by what was measured beside the cause (process handbook, await-arc).
#[must_use]
pub const fn remedy_of(cause: Cause, detail: Option<Detail>) -> &'static str {
    match detail {
        Some(Detail::InputsUnread) => {
            "Use the red button. Look at the panel's input board and its wires. Clear this. Then reference the axes."
        }
        Some(Detail::VoltsNone) => "Switch the power source on. Then look at its start wire.",
        Some(Detail::VoltsOpenCircuit) => "Look at nozzle, electrode and air. Then try again.",
        Some(Detail::VoltsPilot) => {
            "Check that the ground clamp bites bright metal. Then look at height, nozzle and air."
        }
        Some(Detail::VoltsOfArc) => "Check the arc signal's wire.",
        None => remedy(cause),
    }
}

/// Whether its remedy sends a person to the torch, the sheet or the bridge.
const fn sends_near(cause: Cause) -> bool {
    matches!(
        cause,
        Cause::NoArc
            | Cause::ArcLost
            | Cause::FireDropped
            | Cause::ContactStuck
            | Cause::NoContact
            | Cause::TouchUnsure
            | Cause::PlateMoved
            | Cause::TorchTouched
            | Cause::TorchUnseated
            | Cause::GateOpen
            | Cause::VoltsOdd
            | Cause::HeightLimit
            | Cause::ControllerFault
            | Cause::Overdue
            | Cause::SenseOn
            | Cause::InputsStale
            | Cause::GuardLate
            | Cause::ChangeDue
    )
}

/// What to do while it may not be safe to go near.
const FROM_AFAR: &str = "Do not go near. Use the red button. Then look here again.";

/// What to do now. `near`: it is safe to go near; where it is not, nobody is sent there.
#[must_use]
pub const fn remedy_now(cause: Cause, detail: Option<Detail>, near: bool) -> &'static str {
    if !near && sends_near(cause) {
        FROM_AFAR
    } else {
        remedy_of(cause, detail)
    }
}

/// What is waited for, in words.
#[must_use]
pub const fn waiting(what: Waiting) -> &'static str {
    match what {
        Waiting::Nothing => "nothing",
        Waiting::Job => "you to choose a program",
        Waiting::Checks => "the checks to be true",
        Waiting::Start => "you to press START",
        Waiting::TorchToReachPlace => "torch to reach place",
        Waiting::PlateToBeFound => "plate to be found",
        Waiting::RecordToBeKept => "the journal to be written",
        Waiting::ArcToComeOn => "arc to come on",
        Waiting::PierceTime => "pierce time",
        Waiting::CutHeight => "height to settle",
        Waiting::TorchToLift => "torch to lift",
        Waiting::ArcToGoOut => "arc to go out",
        Waiting::MotionToStop => "torch to stop",
        Waiting::YourMove => "you to choose how to go on",
        Waiting::PlaceToBeConfirmed => "place to be confirmed",
        Waiting::Reference => "you to reference the axes",
        Waiting::ControllerToAnswer => "controller to answer",
        Waiting::MessageToBeRead => "you to read a message",
        Waiting::EstopToBeCleared => "emergency stop to be cleared",
        Waiting::PartsToBeChanged => "you to change torch parts",
    }
}

/// A check in words, and what to do when it is not true.
#[must_use]
pub const fn check(check: CheckId) -> (&'static str, &'static str) {
    match check {
        CheckId::JobSealed => ("a vetted job is loaded", "Choose a program and load it."),
        CheckId::NoLatch => ("no alarm bars the start", "Read the alarms and clear them."),
        CheckId::InputsFresh => (
            "what the panel sees is fresh",
            "Wait a second. If it stays, look at the panel's pins and cable.",
        ),
        CheckId::EstopClosed => (
            "the emergency stop is released",
            "Make it safe. Release the button.",
        ),
        CheckId::LinkAlive => (
            "the controller answers",
            "Look at the controller's power and cable.",
        ),
        CheckId::Referenced => ("the axes are referenced", "Reference the axes."),
        CheckId::PlaceSure => (
            "the place is known",
            "Reference the axes. Then confirm where the torch is.",
        ),
        CheckId::ArcOkOpen => (
            "the arc signal is off",
            "Switch torch power off. Check the arc signal's wire.",
        ),
        CheckId::FireOnOpen => (
            "the torch is not asked for",
            "Check the start wires and the controller's torch relay.",
        ),
        CheckId::ContactOpen => (
            "the torch touches nothing",
            "Lift the torch. Clean the nozzle.",
        ),
        CheckId::AirGood => ("air pressure is right", "Check compressor and regulator."),
        CheckId::SourceOn => ("torch power is on", "Switch the power source on."),
        CheckId::TorchSeated => ("the torch sits in its holder", "Seat the torch."),
        CheckId::GateClosed => ("the gate is closed", "Close the gate."),
        CheckId::PermitOpen => (
            "the permit relay is open",
            "Switch torch power off. Check the permit relay.",
        ),
        CheckId::PermitTested => (
            "the permit relay was tested since switch-on",
            "Pull the start plug. Make the permit test.",
        ),
        CheckId::SenseIsolated => (
            "the sensing circuit is off where it was told to be",
            "Switch torch power off. Look at the sensing relay.",
        ),
        CheckId::HoldReleased => ("the hold button is released", "Release the hold button."),
        CheckId::HoldButtonWorks => (
            "the hold button was seen to work",
            "Press the hold button once.",
        ),
        CheckId::EstopWorks => (
            "the emergency stop was seen to work",
            "Press the emergency stop once and release it.",
        ),
        CheckId::SourceOff => (
            "torch power is off, or the start plug is out",
            "Switch torch power off, or pull the start plug.",
        ),
        CheckId::RelaySeen => (
            "the permit relay was seen to follow the test",
            "Make the permit test again. Look at the relay, or measure it.",
        ),
        CheckId::SelfTested => (
            "the self-test has passed",
            "Wait: it is being made. What fails stands beside the check.",
        ),
        CheckId::RecordKept => (
            "the journal is being written",
            "Make room on the panel's disk.",
        ),
        CheckId::SetFits => (
            "the fitted set is for the job's current",
            "Change torch parts: fit the set for this current.",
        ),
        CheckId::PartsTested => (
            "the torch contact was tried after the change",
            "Open the change of torch parts. Make the contact test.",
        ),
        CheckId::ClampOnSkeleton => (
            "the ground clamp bites the piece that stays",
            "Put the clamp on bright metal of the skeleton.",
        ),
        CheckId::SheetFixed => ("the sheet cannot shift", "Clamp or weigh the sheet down."),
        CheckId::SlatsClear => ("slats and path are clear", "Take loose pieces away."),
        CheckId::EyesAndEars => (
            "eye shade and ear muffs are on",
            "Put eye shade and ear muffs on.",
        ),
        CheckId::NobodyInside => ("nobody is inside the line", "Wait until everybody is out."),
        CheckId::ExtractionOn => ("fume extraction runs", "Switch the extraction on."),
        CheckId::FireWatch => (
            "somebody watches for fire",
            "Stay at the table. Have water or an extinguisher at hand.",
        ),
        CheckId::RightParts => (
            "nozzle and electrode suit the current",
            "Fit the set that the chart row names.",
        ),
    }
}

/// A way on from a stop, in words.
#[must_use]
pub const fn way(way: Way) -> &'static str {
    match way {
        Way::KerfEnd => "from the end of the open kerf",
        Way::LeadIn => "by a new lead-in from the scrap",
        Way::Restart => "from its pierce",
        Way::Tab => "beyond a tab",
        Way::Leave => "left as it is",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Words that say nothing to a person at a table, or blame.
    const NEVER: [&str; 12] = [
        "error",
        "abort",
        "invalid",
        "exception",
        "timeout",
        "fatal",
        "illegal",
        "failed to",
        "unknown",
        "please",
        "sorry",
        "okay",
    ];

    fn texts(cause: Cause) -> [String; 3] {
        [
            what(cause, Some(12)),
            plain(cause).to_string(),
            remedy(cause).to_string(),
        ]
    }

    #[test]
    fn what_happened_is_told_in_at_most_eight_words() {
        for cause in Cause::ALL {
            for text in [what(cause, None), what(cause, Some(12))] {
                assert!(text.split(' ').count() <= 8, "{text}");
                assert!(text.ends_with('.'), "{text}");
            }
        }
    }

    #[test]
    fn an_instruction_is_one_sentence_of_at_most_twelve_words() {
        for cause in Cause::ALL {
            for sentence in remedy(cause).split_terminator('.') {
                assert!(sentence.split_whitespace().count() <= 12, "{sentence}");
            }
        }
    }

    #[test]
    fn where_it_is_not_safe_to_go_near_nobody_is_sent_there() {
        // Words that only a person at the torch or the sheet can follow.
        let there = [
            "look at the flag",
            "look under",
            "look at the torch",
            "look at nozzle",
            "clean",
            "scrape",
            "seat the torch",
            "free it",
            "tipped",
            "look at the plate",
            "clamp",
        ];
        for cause in Cause::ALL {
            let lower = remedy_now(cause, None, false).to_lowercase();
            for word in there {
                assert!(!lower.contains(word), "{cause}: {lower}");
            }
            assert_eq!(remedy_now(cause, None, true), remedy(cause));
        }
    }

    #[test]
    fn no_text_uses_a_word_that_the_trade_does_not() {
        for cause in Cause::ALL {
            for text in texts(cause) {
                let lower = text.to_lowercase();
                assert!(NEVER.iter().all(|w| !lower.contains(w)), "{text}");
            }
        }
    }
}
