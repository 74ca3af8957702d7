//! What an event says to a person.

use process::commissioning::Step;

use super::{Event, Outcome};
use crate::ask::HandAxis;
use crate::resume::Plan;
use crate::words;

impl Event {
    /// What happened, in words.
    #[must_use]
    pub fn says(&self) -> String {
        match self {
            Self::PanelStarted => "The panel started.".into(),
            Self::LinkOpened => "The line to the controller was opened.".into(),
            Self::LinkLost { why } => format!("The line to the controller was lost: {why}."),
            Self::LinkReady => "The controller listens, with an empty queue.".into(),
            Self::ControllerGreeting => "The controller has just started.".into(),
            Self::ControllerAlarm { words } => format!("The controller gave an alarm: {words}."),
            Self::ControllerRefused { words } => {
                format!("The controller did not carry out a line: {words}.")
            }
            Self::JobLoaded { seal, name } => {
                format!("Job {name} was loaded, seal {}.", short(seal))
            }
            Self::JobUnloaded { seal } => {
                format!("The job with seal {} was unloaded.", short(seal))
            }
            Self::Vouched { check, yes: true } => {
                format!("Confirmed: {}.", words::check(*check).says)
            }
            Self::Vouched { check, yes: false } => {
                format!("Taken back: {}.", words::check(*check).says)
            }
            Self::HomingStarted => "Referencing began.".into(),
            Self::Homed => "The axes are referenced.".into(),
            Self::PlaceDoubted { cause: Some(cause) } => {
                format!("The place is doubtful: {}.", words::plain(*cause))
            }
            Self::PlaceDoubted { cause: None } => {
                "The place is doubtful: the axes are not referenced.".into()
            }
            Self::PlaceProven => "The controller never lost count: the place holds.".into(),
            Self::PlaceConfirmed => "The operator confirmed the place.".into(),
            Self::RunStarted {
                run, name, cuts, ..
            } => {
                format!("Run {run} of {name} started: {cuts} cuts.")
            }
            Self::RunTakenUp {
                run, cut, from_mm, ..
            } => {
                format!("Run {run} goes on at cut {cut}, {from_mm:.1} mm along it.")
            }
            Self::CutStarted {
                cut,
                try_number,
                from_mm,
                ..
            } => format!("Cut {cut} begins at {from_mm:.1} mm, try {try_number}."),
            Self::TouchedOff {
                cut,
                z_mm,
                by_float,
                ..
            } => {
                let how = if *by_float {
                    " Degraded: by the float switch alone."
                } else {
                    ""
                };
                format!("The sheet at cut {cut} lies at height {z_mm:.3} mm.{how}")
            }
            Self::FireAsked { cut, .. } => format!("The torch was asked for at cut {cut}."),
            Self::ArcOn { cut, after_s, .. } => match after_s {
                Some(s) => format!("The arc came on at cut {cut}, {s:.2} s after fire on."),
                None => format!("The arc came on at cut {cut}."),
            },
            Self::ArcOff { cut, arc_s, .. } => {
                format!("The arc was seen out at cut {cut} after {arc_s:.1} s.")
            }
            Self::CutReached { cut, at_mm, .. } => {
                format!("Cut {cut} is surely cut up to {at_mm:.1} mm.")
            }
            Self::CutDone { cut, length_mm, .. } => {
                format!("Cut {cut} is done: {length_mm:.1} mm.")
            }
            Self::Held {
                cause,
                cut,
                at_mm,
                detail,
                ..
            } => format!(
                "Held at cut {cut}, {at_mm:.1} mm along it: {}.",
                words::plain_of(*cause, *detail)
            ),
            Self::HoldExplained { was, cause, .. } => format!(
                "What was seen as {} came from this: {}.",
                was.name(),
                words::plain(*cause)
            ),
            Self::RunEnded {
                run,
                outcome,
                cuts_done,
                cuts,
                ..
            } => {
                let how = ended(*outcome);
                format!("Run {run} {how}: {cuts_done} of {cuts} cuts done.")
            }
            Self::RunInterrupted {
                run,
                cut,
                sure_mm,
                cut_off,
            } => interrupted(*run, *cut, *sure_mm, *cut_off),
            Self::LatchSet { cause, detail, .. } => {
                format!("Latched: {}.", words::plain_of(*cause, *detail))
            }
            Self::LatchCleared { cause } => format!("The operator cleared {}.", cause.name()),
            Self::CauseFollowed { cause, .. } => format!("Then: {}.", words::plain(*cause)),
            Self::AlarmSeen { cause } => format!("The alarm {} was seen.", cause.name()),
            Self::Refused { ask, reason } => format!("The request {ask} was refused: {reason}."),
            Self::RecordFailed { why } => format!("The journal could not be written: {why}."),
            _ => self.says_of_going_on(),
        }
    }

    /// Of the ways on from a stop.
    fn says_of_going_on(&self) -> String {
        match self {
            Self::PlaceFound { cut, at_mm, .. } => found(*cut, *at_mm),
            Self::TouchSkipped { cut, z_mm, .. } => format!(
                "The sheet at cut {cut} was not touched: by the touches before, it lies at height {z_mm:.3} mm."
            ),
            Self::SelfTested {
                failed,
                trips,
                longest_ms,
                bad,
            } => self_tested(failed, *trips, *longest_ms, *bad),
            Self::ShortEdges {
                cut, edges, usual, ..
            } => short_edges(*cut, *edges, *usual),
            Self::Faltered {
                cut,
                mm_s,
                wanted_mm_s,
                ..
            } => format!(
                "Lines come too slowly in cut {cut}: the torch goes at {:.0} mm/min, and should at {:.0}.",
                mm_s * 60.0,
                wanted_mm_s * 60.0
            ),
            Self::TabLeft {
                cut,
                from_mm,
                tab_mm,
                ..
            } => tab(*cut, *from_mm, *tab_mm),
            Self::Retry {
                cut,
                cause,
                try_number,
                ..
            } => format!(
                "Cut {cut} is tried again by itself, try {try_number}, after: {}.",
                words::plain(*cause)
            ),
            Self::Resumed {
                cut, from_mm, plan, ..
            } => gone_on(*cut, *from_mm, plan.as_deref()),
            Self::Skipped { cut, sure_mm, .. } => {
                format!("Cut {cut} was skipped; {sure_mm:.1} mm of it are cut.")
            }
            Self::DatumSeen { dx_mm, dy_mm, .. } => format!(
                "The torch stands over a mark, {dx_mm:.2} mm and {dy_mm:.2} mm from where it was believed."
            ),
            Self::TakeAwayLate {
                late_ms, lost: 0, ..
            } => format!(
                "The stop's own bytes reached the line {late_ms} ms late: it took nothing before. The \
                 permit had ended at once."
            ),
            Self::TakeAwayLate { late_ms, lost, .. } => format!(
                "{lost} of the stop's own bytes never went out: the line was dead for {late_ms} ms. \
                 The permit had ended at once."
            ),
            Self::PowerCut => {
                "The computer was started anew and the panel had not ended in order: the last records \
                 may be lost."
                    .into()
            }
            Self::RecordLost { why } => format!(
                "Records of an earlier life of the panel are lost: {why}. The place is in doubt."
            ),
            Self::EdgesMissed { edges } => format!(
                "{edges} edges of inputs were not told one by one: an input is noisy, or the panel was \
                 kept waiting."
            ),
            Self::DatumFitted {
                off_mm,
                residual_mm,
                sheet_at,
            } => format!(
                "The sheet lies {off_mm:.2} mm off, {residual_mm:.2} mm unexplained{}",
                if sheet_at.is_some() {
                    ": its place was corrected."
                } else {
                    "."
                }
            ),
            Self::PermitTestBroken { cause } => format!(
                "The permit test was broken off: {}.",
                cause.map_or("the guard gave no answer", words::plain)
            ),
            Self::HandMoved {
                axis,
                forward,
                step_mm,
            } => hand_moved(*axis, *forward, *step_mm),
            Self::Commissioned {
                step,
                passed,
                measured,
                simulated,
                ..
            } => commissioned(*step, *passed, measured, *simulated),
            Self::OutputFailed { output, why } => output_failed(output.name(), why),
            Self::OutputWorks { output } => format!("The {} can be driven again.", output.name()),
            Self::LampsTested => "Beacon, sounder and extraction were tried, those that are fitted.".into(),
            Self::DryFire => "The torch was asked for, for a dry fire.".into(),
            Self::CameCommissioned { covered } => format!(
                "The simulated table came commissioned: {} steps count as made on it.",
                covered.len()
            ),
            Self::HoldPressed { button: true } => "The hold button was pressed.".into(),
            Self::HoldPressed { button: false } => "HOLD was pressed on a screen.".into(),
            Self::PermitTested { passed } => match passed {
                Some(true) => "The permit relay closed and dropped out as it should.".into(),
                Some(false) => "The permit relay did not follow the permit.".into(),
                None => {
                    "The permit was pulsed. Not proved: no mirror contact shows the relay.".into()
                }
            },
            _ => self.says_of_change(),
        }
    }

    fn says_of_change(&self) -> String {
        match self {
            Self::ChangePlace { parked: true, .. } => {
                "The torch stands at the place for changing parts.".into()
            }
            Self::ChangePlace { .. } => "The torch stays where it stands for the change.".into(),
            Self::SourceIsolated { seen: true, .. } => {
                "The source was isolated: its own contact says off.".into()
            }
            Self::SourceIsolated { .. } => "The operator confirmed: the source is isolated.".into(),
            Self::PartsChanged { parts, set, .. } => changed(parts, set.as_deref()),
            Self::ContactTested { by_touch: true, .. } => {
                "The contact test passed: the sheet was touched.".into()
            }
            Self::ContactTested { .. } => {
                "The contact test passed: the circuit closed and opened.".into()
            }
            Self::SourceBack { seen: true, .. } => "The source was seen on again.".into(),
            Self::SourceBack { .. } => "The operator says that the source is on again.".into(),
            Self::TouchCompared { z_mm, off_mm, .. } => match off_mm {
                Some(off) => format!(
                    "The new parts touch the sheet at {z_mm:.3} mm, {off:+.2} mm from before."
                ),
                None => format!("The new parts touch the sheet at {z_mm:.3} mm."),
            },
            Self::ChangeEnded {
                cancelled: true, ..
            } => "The change of torch parts was cancelled.".into(),
            Self::ChangeEnded { .. } => "The change of torch parts is done.".into(),
            Self::ChangeBegun { .. } => "A change of torch parts was begun.".into(),
            _ => format!("{}.", self.name().replace('-', " ")),
        }
    }

    /// What to do about it.
    #[must_use]
    pub fn advice(&self) -> Option<&'static str> {
        match self {
            Self::Held { cause, detail, .. } | Self::LatchSet { cause, detail, .. } => {
                Some(words::remedy_of(*cause, *detail))
            }
            Self::PermitTested {
                passed: Some(false),
            } => Some(words::remedy(crate::Cause::PermitStuck)),
            Self::PlaceDoubted {
                cause: Some(crate::Cause::PlateMoved),
            } => Some("Check the sheet by what is cut of it."),
            Self::PlaceDoubted { .. } => {
                Some("Reference the axes. Then confirm where the torch is.")
            }
            Self::RunInterrupted { .. } => Some(words::remedy(crate::Cause::Interrupted)),
            Self::RecordFailed { .. } => Some(words::remedy(crate::Cause::RecordFailed)),
            Self::RecordLost { .. } => Some(words::remedy(crate::Cause::RecordLost)),
            Self::LinkLost { .. } => Some(words::remedy(crate::Cause::LinkCut)),
            Self::TakeAwayLate { .. } => Some(
                "If it comes again, look at the serial cable and at what else loads this computer.",
            ),
            Self::EdgesMissed { .. } => Some(
                "Look at the wires of the inputs: shields, clamps, and a contact that chatters.",
            ),
            Self::OutputFailed { .. } => {
                Some("Look at the board and its lines. Then try the lamps in Set up.")
            }
            Self::Commissioned { passed: false, .. } => {
                Some("Put right what it names. Then make the step again.")
            }
            _ => None,
        }
    }
}

fn interrupted(run: u64, cut: usize, sure_mm: f64, cut_off: bool) -> String {
    let perhaps = if cut_off {
        ", perhaps further: the last records were lost with the power"
    } else {
        ""
    };
    format!("Run {run} was interrupted at cut {cut}; surely cut up to {sure_mm:.1} mm{perhaps}.")
}

fn gone_on(cut: usize, from_mm: f64, plan: Option<&Plan>) -> String {
    match plan {
        Some(plan) => format!(
            "Gone on with at cut {cut}, from {from_mm:.1} mm along it, {}; at most {:.1} mm cut again.",
            words::way(plan.how.way).clause,
            plan.how.overlap_mm
        ),
        None => format!("Resumed at cut {cut}, from {from_mm:.1} mm along it."),
    }
}

fn tab(cut: usize, from_mm: f64, tab_mm: f64) -> String {
    if tab_mm <= 0.0 {
        return format!(
            "Cut {cut} was left {from_mm:.1} mm along it: what is behind holds no part."
        );
    }
    format!(
        "A tab of {tab_mm:.1} mm stays in cut {cut}, {from_mm:.1} mm along it: break it by hand."
    )
}

fn found(cut: usize, at_mm: f64) -> String {
    format!("Cut {cut} has come to {at_mm:.1} mm by all that is known.")
}

fn changed(parts: &[crate::Part], set: Option<&str>) -> String {
    let what = if parts.is_empty() {
        "No part was changed".to_owned()
    } else {
        let names: Vec<&str> = parts.iter().map(|p| p.name()).collect();
        format!("Changed: {}", names.join(", "))
    };
    match set {
        Some(set) => format!("{what}. Set {set} is fitted."),
        None => format!("{what}."),
    }
}

fn output_failed(name: &str, why: &str) -> String {
    format!("The {name} could not be driven: {why}. Nothing was stopped for it.")
}

const fn ended(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Finished => "finished",
        Outcome::Ended => "was ended by the operator",
        Outcome::GivenUp => "was given up after the interruption",
    }
}

fn short(seal: &str) -> &str {
    seal.get(..12).unwrap_or(seal)
}

fn self_tested(failed: &[String], trips: u32, longest_ms: f64, bad: u64) -> String {
    let line = format!("{trips} lines answered, the slowest in {longest_ms:.1} ms, {bad} spoilt");
    if failed.is_empty() {
        format!("Self-test passed: {line}.")
    } else {
        format!("Self-test not passed: {} ({line}).", failed.join("; "))
    }
}

fn short_edges(cut: usize, edges: u64, usual: Option<f64>) -> String {
    let more = usual.map_or_else(String::new, |usual| {
        format!(" Usual were {usual:.0}: look at the screens of the input leads.")
    });
    format!("{edges} edges were too short to count at the start of cut {cut}.{more}")
}

fn commissioned(step: Step, passed: bool, measured: &str, simulated: bool) -> String {
    let how = if passed { "passed" } else { "did not pass" };
    let table = if simulated { " (simulated)" } else { "" };
    let (number, name) = (step.number(), step.facts().name);
    format!("Commissioning step {number}, {name}, {how}{table}. {measured}")
}

fn hand_moved(axis: HandAxis, forward: bool, step_mm: Option<f64>) -> String {
    let way = match (axis, forward) {
        (HandAxis::X, true) => "along X",
        (HandAxis::X, false) => "back along X",
        (HandAxis::Y, true) => "along Y",
        (HandAxis::Y, false) => "back along Y",
        (HandAxis::Z, true) => "up",
        (HandAxis::Z, false) => "down",
    };
    match step_mm {
        Some(mm) => format!("Moved by hand: {way} by {mm} mm."),
        None => format!("Moved by hand: {way}, as long as the key was pressed."),
    }
}
