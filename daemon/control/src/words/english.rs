//! Everything in English. Nothing can lack its words: a table or `match` that is not whole is not
//! built. Another language is another file with the same functions.

use super::{CauseWords, CheckWords, DetailWords, WaitWords, WayWords};
use crate::ask::CheckId;
use crate::cause::{Cause, Detail};
use crate::resume::Way;
use crate::view::{Step, Waiting};

/// A name in a list, what happened, a clause for the log, what to do; no cut is named, and the far word is
/// that of any hold.
const fn said(
    name: &'static str,
    what: &'static str,
    clause: &'static str,
    remedy: &'static str,
) -> CauseWords {
    CauseWords {
        name,
        what,
        on_cut: None,
        clause,
        remedy,
        far: None,
    }
}

/// Of a cause.
pub(super) const fn cause(cause: Cause) -> CauseWords {
    CAUSES[cause as usize].1
}

/// In the order of the causes.
const CAUSES: [(Cause, CauseWords); Cause::ALL.len()] = [
    (Cause::NoArc, said(
            "no arc",
            "No arc at the pierce.",
            "no arc came",
            "Look whether the power source is on. Then check ground clamp, nozzle and electrode.",
        )
        .on_cut("No arc at pierce")
        .far("NO ARC")),
    (Cause::ArcLost, said(
            "lost arc",
            "Arc went out.",
            "the arc went out",
            "Look at the flag. Then pierce again a bit back, or change torch parts.",
        )
        .on_cut("Arc went out on cut")
        .far("LOST ARC")),
    (Cause::FireDropped, said(
            "fire dropped",
            "Torch signal dropped out.",
            "the torch signal dropped out",
            "Check the start wire and the controller's torch relay.",
        )
        .on_cut("Torch signal dropped out on cut")
        .far("LOST ARC")),
    (Cause::ArcStuck, said(
            "arc would not go out",
            "Arc will not go out.",
            "the arc does not go out",
            "Not safe. Switch off at the power source. Stand clear. Do not touch the torch. Check its trigger setting and the start wires.",
        )),
    (Cause::UnaskedFire, said(
            "fire that nobody asked for",
            "Torch is asked for with no cut.",
            "the torch is asked for with no cut",
            "Not safe. Switch off at the power source. Look for a welded start contact or joined start wires.",
        )),
    (Cause::ContactStuck, said(
            "torch contact stays on",
            "Torch contact stays on when lifted.",
            "the torch contact stays on",
            "Switch torch power off. Clean the nozzle. Look for a wire rubbed through.",
        )),
    (Cause::NoContact, said(
            "plate not found",
            "Plate not found.",
            "the plate was not found",
            "Look under the torch: hole, sheet edge, thick rust or paint. Scrape it clean. Then try again.",
        )),
    (Cause::TouchUnsure, said(
            "touches do not agree",
            "Two touches of the plate differ.",
            "two touches differ",
            "Clean the nozzle and the plate under it. Then try again.",
        )),
    (Cause::PlateMoved, said(
            "plate is not where it was",
            "Plate is not where it should be.",
            "the plate is not where it should be",
            "Look for a tipped piece or a bowed sheet. If a part is cut, check the sheet by it. Then try again.",
        )),
    (Cause::TorchTouched, said(
            "torch touched",
            "Torch touched something while moving.",
            "the torch touched something while moving",
            "Look for a tipped piece under the torch. Free it. Then reference the axes.",
        )),
    (Cause::TorchUnseated, said(
            "torch was knocked",
            "Torch was knocked.",
            "the torch left its seat",
            "Switch torch power off. Look for a tipped piece. Seat the torch. Then reference the axes.",
        )),
    (Cause::Estop, said(
            "emergency stop",
            "Emergency stop was pressed.",
            "the emergency stop was pressed",
            "Make it safe. Release the button. Clear this. Then reference the axes. Nothing starts by itself.",
        )
        .far("E-STOP")),
    (Cause::GateOpen, said(
            "gate open",
            "Gate was opened.",
            "the gate was opened",
            "Close the gate. Then clear this.",
        )),
    (Cause::Hold, said(
            "held by you",
            "You held the machine.",
            "the operator held the machine",
            "Carry on, step back, or leave this cut.",
        )
        .on_cut("You held the machine on cut")),
    (Cause::AirLow, said(
            "air has dropped",
            "Air has dropped.",
            "the air dropped",
            "Check the compressor. Drain the trap. Then carry on.",
        )),
    (Cause::SourceOff, said(
            "source off",
            "Torch power went off.",
            "the torch power went off",
            "Switch the power source on.",
        )),
    (Cause::VoltsOdd, said(
            "arc volts do not add up",
            "Volts and arc signal disagree.",
            "volts and arc signal disagree",
            "Check the wires of volts and arc signal.",
        )),
    (Cause::HeightLimit, said(
            "height at its limit",
            "Height is at its limit.",
            "the height is at its limit",
            "Look at the plate under the torch. Then find the plate again.",
        )),
    (Cause::Starved, said(
            "controller ran short of path",
            "Lines came too late to the controller.",
            "lines came too late",
            "Lower the feed. Then resume.",
        )),
    (Cause::LinkCut, said(
            "controller did not answer",
            "The controller does not answer.",
            "the controller did not answer",
            "Use the red button. Do not go near. Then look at the controller's power and cable.",
        )),
    (Cause::LinkNoise, said(
            "noise on the controller's line",
            "The line to the controller is noisy.",
            "the line is noisy",
            "Check cable, screen and earth of the serial line.",
        )),
    (Cause::ControllerReset, said(
            "controller started again",
            "The controller has started anew.",
            "the controller started anew",
            "Look at the controller's power. Clear this. Then reference the axes.",
        )),
    (Cause::ControllerFault, said(
            "controller stopped by itself",
            "The controller stopped by itself.",
            "the controller stopped by itself",
            "Look at limits and drives. Clear this. Then reference the axes if asked.",
        )),
    (Cause::PermitStuck, said(
            "permit relay does not follow",
            "Permit relay does not follow.",
            "the permit relay does not follow",
            "Switch torch power off. Then make the permit test.",
        )),
    (Cause::LeaseLapsed, said(
            "panel was too slow",
            "The panel was too slow.",
            "the panel was too slow",
            "Clear this. Then resume.",
        )),
    (Cause::SenseOn, said(
            "sensing circuit on",
            "Sensing circuit was on the torch.",
            "the sensing circuit was not off the torch",
            "Switch torch power off. Look at the sensing relay: arc volts may reach its board. Then try again.",
        )),
    (Cause::ScreenLost, said(
            "screen was lost",
            "The commanding screen is lost.",
            "the commanding screen is lost",
            "Take command at a screen.",
        )),
    (Cause::InputsStale, said(
            "inputs were too old",
            "What the panel sees is too old.",
            "the inputs were not seen afresh",
            "Look at the torch. Clear this. Then go on from the place.",
        )),
    (Cause::GuardLate, said(
            "guard came too late",
            "The panel's guard came too late.",
            "the guard came too late",
            "Look at the torch. Clear this. Then go on from the place.",
        )),
    (Cause::RecordFailed, said(
            "record could not be kept",
            "The journal cannot be written.",
            "the journal cannot be written",
            "Make room on the panel's disk. Then clear this.",
        )),
    (Cause::RecordLost, said(
            "earlier records are lost",
            "Earlier records are lost.",
            "earlier records are lost",
            "Look at torch and sheet. Clear this. Then reference the axes.",
        )),
    (Cause::Interrupted, said(
            "panel was interrupted",
            "A run was interrupted.",
            "the panel started over an unfinished run",
            "Read where it stopped. Load the same job to go on. Or clear this to leave it.",
        )),
    (Cause::PlaceDrift, said(
            "place has drifted",
            "The place has drifted.",
            "the place has drifted",
            "Set a new zero.",
        )),
    (Cause::Overdue, said(
            "a step took too long",
            "A step took too long.",
            "a step took too long",
            "Look at the torch and what is under it. Then try again.",
        )),
    (Cause::AirWait, said(
            "wait for air",
            "Waiting for air.",
            "waiting for air",
            "Wait until the receiver is full.",
        )),
    (Cause::DutyWait, said(
            "wait for the source to cool",
            "Waiting for the power source to cool.",
            "waiting for the power source to cool",
            "Wait until the power source is cool.",
        )),
    (Cause::ChangeDue, said(
            "torch parts are due",
            "Torch parts are near their end.",
            "torch parts are near their end",
            "Change the torch parts now.",
        )),
];

// Built only if each row stands in its cause's place.
const _: () = {
    let mut row = 0;
    while row < CAUSES.len() {
        assert!(CAUSES[row].0 as usize == row, "a row out of its place");
        row += 1;
    }
};

/// What to do while it may not be safe to go near.
pub(super) const FROM_AFAR: &str = "Do not go near. Use the red button. Then look here again.";

/// Of what was measured beside a cause.
pub(super) const fn detail(detail: Detail) -> DetailWords {
    let (clause, remedy) = match detail {
        Detail::InputsUnread => (
            "the inputs could not be read, as if the stop chain were open",
            "Use the red button. Look at the panel's input board and its wires. Clear this. Then reference the axes.",
        ),
        Detail::VoltsNone => (
            "no arc came, and there were no volts",
            "Switch the power source on. Then look at its start wire.",
        ),
        Detail::VoltsOpenCircuit => (
            "no arc came, and no pilot arc",
            "Look at nozzle, electrode and air. Then try again.",
        ),
        Detail::VoltsPilot => (
            "no arc came, only a pilot arc",
            "Check that the ground clamp bites bright metal. Then look at height, nozzle and air.",
        ),
        Detail::VoltsOfArc => (
            "no arc was seen, but there were its volts",
            "Check the arc signal's wire.",
        ),
        Detail::VoltsWireOff => (
            "the wire of the arc volts is off",
            "Switch torch power off. Put the wire of the arc volts back on. Then try again.",
        ),
        Detail::VoltsInverted => (
            "the arc volts have the wrong sign",
            "Switch torch power off. Swap the two wires of the arc volts. Then try again.",
        ),
        Detail::VoltsUnmoving => (
            "the arc volts stood still while the arc was on",
            "Switch torch power off. Look at the wire of the arc volts and its converter. Then try again.",
        ),
        Detail::VoltsDivider => (
            "no arc came, and volts were above any open circuit",
            "Compare the divider in the machine file with the power source's book.",
        ),
        Detail::VoltsSilent => (
            "the volts were not seen afresh",
            "Look at the converter of the arc volts and its cable. Clear this. Then go on from the place.",
        ),
    };
    let what = match detail {
        Detail::InputsUnread => Some("The panel cannot read its inputs."),
        _ => None,
    };
    // The volts are what says that it is not safe, until they are mended.
    let from_afar = match detail {
        Detail::VoltsSilent => Some(
            "Do not go near. Use the red button. Isolate the power source. Then look at the converter of the arc volts and its cable.",
        ),
        Detail::VoltsWireOff => Some(
            "Do not go near. Use the red button. Isolate the power source. Then put the wire of the arc volts back on.",
        ),
        _ => None,
    };
    DetailWords {
        what,
        clause,
        remedy,
        from_afar,
    }
}

/// Of a check.
pub(super) const fn check(check: CheckId) -> CheckWords {
    let (says, remedy) = match check {
        CheckId::JobSealed => ("vetted job is loaded", "Choose a program and load it."),
        CheckId::NoLatch => ("no alarm stands", "Read the alarms and clear them."),
        CheckId::InputsFresh => (
            "inputs are fresh",
            "Wait a second. If it stays, look at the panel's pins and cable.",
        ),
        CheckId::EstopClosed => ("e-stop is released", "Make it safe. Release the button."),
        CheckId::LinkAlive => (
            "controller answers",
            "Look at the controller's power and cable.",
        ),
        CheckId::Referenced => ("axes are referenced", "Reference the axes."),
        CheckId::PlaceSure => (
            "place is known",
            "Reference the axes. Then confirm where the torch is.",
        ),
        CheckId::ArcOkOpen => (
            "arc signal is off",
            "Switch torch power off. Check the arc signal's wire.",
        ),
        CheckId::FireOnOpen => (
            "torch is not asked for",
            "Check the start wires and the controller's torch relay.",
        ),
        CheckId::ContactOpen => ("torch touches nothing", "Lift the torch. Clean the nozzle."),
        CheckId::AirGood => ("air is right", "Check compressor and regulator."),
        CheckId::SourceOn => ("torch power is on", "Switch the power source on."),
        CheckId::TorchSeated => ("torch is in its holder", "Seat the torch."),
        CheckId::GateClosed => ("gate is closed", "Close the gate."),
        CheckId::PermitOpen => (
            "permit relay is open",
            "Switch torch power off. Check the permit relay.",
        ),
        CheckId::PermitTested => (
            "permit relay was tested",
            "Pull the start plug. Make the permit test.",
        ),
        CheckId::SenseIsolated => (
            "sensing circuit is off",
            "Switch torch power off. Look at the sensing relay.",
        ),
        CheckId::HoldReleased => ("hold button is released", "Release the hold button."),
        CheckId::HoldButtonWorks => (
            "hold button was seen to work",
            "Press the hold button once.",
        ),
        CheckId::EstopWorks => (
            "e-stop was seen to work",
            "Press the emergency stop once and release it.",
        ),
        CheckId::SourceOff => (
            "source off, or start plug out",
            "Switch torch power off, or pull the start plug.",
        ),
        CheckId::RelaySeen => (
            "permit relay was seen",
            "Make the permit test again. Look at the relay, or measure it.",
        ),
        CheckId::SelfTested => (
            "self-test has passed",
            "Wait: it is being made. What fails stands beside the check.",
        ),
        CheckId::Commissioned => (
            "table is commissioned",
            "Make the open step on the page Commission.",
        ),
        CheckId::RecordKept => ("journal is written", "Make room on the panel's disk."),
        CheckId::SetFits => (
            "the fitted set is for the job's current",
            "Change torch parts: fit the set for this current.",
        ),
        CheckId::PartsTested => (
            "torch parts were tried",
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
    };
    CheckWords { says, remedy }
}

/// Of what is waited for.
pub(super) const fn waiting(what: Waiting) -> WaitWords {
    let (long, short) = match what {
        Waiting::Nothing => ("nothing", "nothing"),
        Waiting::Job => ("you to choose a program", "a program"),
        Waiting::Checks => ("the checks", "the checks"),
        Waiting::Start => ("you to press START", "you: START"),
        Waiting::TorchToReachPlace => ("torch to reach place", "torch"),
        Waiting::PlateToBeFound => ("plate to be found", "the plate"),
        Waiting::RecordToBeKept => ("record to be kept", "the record"),
        Waiting::ArcToComeOn => ("arc to come on", "the arc"),
        Waiting::PierceTime => ("pierce time", "the pierce"),
        Waiting::CutHeight => ("height to settle", "height"),
        Waiting::TorchToLift => ("torch to lift", "torch lift"),
        Waiting::ArcToGoOut => ("arc to go out", "arc to end"),
        Waiting::MotionToStop => ("motion to stop", "the stop"),
        Waiting::YourMove => ("your move", "your move"),
        Waiting::PlaceToBeConfirmed => ("place to be confirmed", "the place"),
        Waiting::Reference => ("axes to be referenced", "reference"),
        Waiting::ControllerToAnswer => ("controller to answer", "controller"),
        Waiting::MessageToBeRead => ("you to read a message", "you: read"),
        Waiting::EstopToBeCleared => ("emergency stop to be cleared", "e-stop"),
        Waiting::KeyToBeLetGo => ("you to let go", "you: let go"),
        Waiting::PartsToBeChanged => ("torch parts to be changed", "the parts"),
    };
    WaitWords { long, short }
}

/// Of a way on from a stop.
pub(super) const fn way(way: Way) -> WayWords {
    let (name, clause) = match way {
        Way::KerfEnd => ("Open kerf", "from the end of the open kerf"),
        Way::LeadIn => ("New lead-in", "by a new lead-in from the scrap"),
        Way::Restart => ("Its pierce", "from its pierce"),
        Way::Tab => ("Leave a tab", "beyond a tab"),
        Way::Leave => ("Leave it", "left as it is"),
    };
    WayWords { name, clause }
}

/// The far word of a step of a cut.
pub(super) const fn step(step: Step) -> &'static str {
    match step {
        Step::Traverse => "MOVING",
        Step::SenseTest
        | Step::ProbeFast
        | Step::ProbeSlow
        | Step::Validate
        | Step::PierceHeight
        | Step::ClearTest => "PROBING",
        Step::Ready | Step::AwaitArc => "FIRING",
        Step::Pierce | Step::Drop => "PIERCING",
        Step::Cut | Step::Extinguish => "CUTTING",
        Step::ArcOffWait => "ARC OUT",
        Step::Retract => "LIFTING",
        Step::Park => "PARKING",
    }
}
