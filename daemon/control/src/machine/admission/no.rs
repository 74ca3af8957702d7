//! Why a request is refused, in words.

use crate::ask::{Answer, CheckId};
use crate::cause::Cause;
use crate::machine::datum::NUDGE_MM;
use crate::machine::hand::STEP_MM;
use crate::words;

/// Why not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum No {
    /// It named an older state than this.
    Stale,
    /// Inputs are still being read.
    Starting,
    /// Something is under way.
    Running,
    /// No run is under way.
    NotRunning,
    /// Nothing is held.
    NotHeld,
    /// A run is held: it must be ended first.
    Held,
    /// No job is loaded.
    JobMissing,
    /// The run that was interrupted is another job's.
    OtherJob,
    /// The job was run: it must be loaded again.
    JobUsed,
    /// A condition is not true.
    Check(CheckId),
    /// The operator cannot vouch for it: the machine sees it.
    NotVouched,
    /// There is no such alarm.
    AlarmMissing,
    /// Its cause stands.
    StillThere(Cause),
    /// It must be seen first.
    NotSeen,
    /// The place is not doubtful.
    NotDoubtful,
    /// The axes were not referenced since the place was doubted.
    NotHomed,
    /// No plan was accepted, or it is for another stop or job.
    PlanMissing,
    /// A run of this job was interrupted.
    Interrupted,
    /// The sheet itself must show where it lies.
    SheetToCheck,
    /// A nudge longer than a nudge may be.
    NudgeTooLong,
    /// The torch does not stand over a mark.
    NotOverMark,
    /// A step by hand longer than a step may be.
    StepTooLong,
    /// This press has ended: a key that is still down begins nothing.
    PressOver,
    /// There is no travel left that way.
    EndOfTravel,
    /// The torch would come down where contact with the sheet is not seen.
    ContactUnseen,
    /// A job without cuts.
    EmptyJob,
    /// A step of commissioning is open: nothing that could fire, move or change the job is taken.
    StepOpen,
    /// None is open, or it asks nothing.
    StepNotOpen,
    /// That step is not made by the panel.
    StepNotHere,
    /// The steps before it do not stand.
    StepsBefore,
    /// The table has no outputs to try.
    OutputMissing,
    /// Torch parts are being changed, or that step of it is not due.
    Change(ChangeNo),
}

impl No {
    /// A stable short name.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Stale => "stale",
            Self::Starting => "starting",
            Self::Running => "running",
            Self::NotRunning => "not-running",
            Self::NotHeld => "not-held",
            Self::Held => "held",
            Self::JobMissing => "no-job",
            Self::OtherJob => "other-job",
            Self::JobUsed => "job-used",
            Self::Check(_) => "check",
            Self::NotVouched => "not-vouched",
            Self::AlarmMissing => "no-alarm",
            Self::StillThere(_) => "still-there",
            Self::NotSeen => "not-seen",
            Self::NotDoubtful => "not-doubtful",
            Self::NotHomed => "not-homed",
            Self::PlanMissing => "no-plan",
            Self::Interrupted => "interrupted",
            Self::SheetToCheck => "sheet-to-check",
            Self::NudgeTooLong => "nudge-too-long",
            Self::NotOverMark => "not-over-mark",
            Self::StepTooLong => "step-too-long",
            Self::PressOver => "press-over",
            Self::EndOfTravel => "end-of-travel",
            Self::ContactUnseen => "no-contact-seen",
            Self::EmptyJob => "empty-job",
            Self::StepOpen => "step-open",
            Self::StepNotOpen => "no-step",
            Self::StepNotHere => "step-not-here",
            Self::StepsBefore => "steps-before",
            Self::OutputMissing => "no-output",
            Self::Change(no) => no.name(),
        }
    }

    /// The reason in words.
    pub(crate) fn says(self) -> String {
        match self {
            Self::Stale => "The screen showed an older state.".into(),
            Self::Starting => "The panel is still reading its inputs.".into(),
            Self::Running => "Something is under way.".into(),
            Self::NotRunning => "No run is under way.".into(),
            Self::NotHeld => "Nothing is held.".into(),
            Self::Held => "A run is held.".into(),
            Self::JobMissing => "No job is loaded.".into(),
            Self::OtherJob => "The interrupted run is of another program.".into(),
            Self::JobUsed => "This job was run.".into(),
            Self::Check(c) => format!("Not true: {}.", words::check(c).says),
            Self::NotVouched => "The machine sees this one itself.".into(),
            Self::AlarmMissing => "There is no such alarm.".into(),
            Self::StillThere(c) => format!("Its cause stands: {}.", words::plain(c)),
            Self::NotSeen => "The message was not read.".into(),
            Self::NotDoubtful => "The place is not doubtful.".into(),
            Self::NotHomed => "The axes are not referenced since then.".into(),
            Self::PlanMissing => "That way to go on is not for this stop.".into(),
            Self::Interrupted => "A run of this job was interrupted.".into(),
            Self::SheetToCheck => "What is cut already must fit the place.".into(),
            Self::NudgeTooLong => format!("One nudge is at most {NUDGE_MM:.0} mm."),
            Self::NotOverMark => "The torch does not stand over a mark.".into(),
            Self::StepTooLong => format!("One step by hand is at most {STEP_MM:.0} mm."),
            Self::PressOver => "That press has ended.".into(),
            Self::EndOfTravel => "There is no travel left that way.".into(),
            Self::ContactUnseen => {
                "This controller connects the sensing circuit for a touch-off alone.".into()
            }
            Self::EmptyJob => "The job has no cuts.".into(),
            Self::StepOpen => "A step of commissioning is open.".into(),
            Self::StepNotOpen => "No step of commissioning asks for an answer.".into(),
            Self::StepNotHere => "The panel does not make that step.".into(),
            Self::StepsBefore => "The steps that guard a person before it do not stand.".into(),
            Self::OutputMissing => "This table has no beacon, sounder or extraction.".into(),
            Self::Change(no) => no.says().into(),
        }
    }

    /// What to do.
    pub(crate) fn remedy(self) -> &'static str {
        match self {
            Self::Stale => "Look again. Then press again.",
            Self::Starting => "Wait a second.",
            Self::Running => "Press HOLD first, or wait for the end.",
            Self::NotRunning => "Start a job first.",
            Self::NotHeld => "Press HOLD first.",
            Self::Held => "Go on with it, or end it.",
            Self::JobMissing => "Choose a program and load it.",
            Self::OtherJob => "Load that program again, or clear its message to give the run up.",
            Self::JobUsed => "Load it again for another sheet.",
            Self::Check(c) => words::check(c).remedy,
            Self::NotVouched => "Make it true at the table.",
            Self::AlarmMissing => "Look at the alarms again.",
            Self::StillThere(c) => words::remedy(c),
            Self::NotSeen => "Read it. Then press Seen.",
            Self::NotDoubtful => "Go on.",
            Self::NotHomed => "Reference the axes first.",
            Self::PlanMissing => "Look at the ways to go on again. Then choose one.",
            Self::Interrupted => "Go on with it, or clear its message to give it up.",
            Self::SheetToCheck => "Take the torch to the marks of the datum check.",
            Self::NudgeTooLong => "Move it in smaller steps.",
            Self::NotOverMark => "Take it to the mark first.",
            Self::StepTooLong => "Move it in smaller steps, or keep the key pressed.",
            Self::PressOver => "Let go. Then press again.",
            Self::ContactUnseen => "Move it up, or over the sheet. A touch-off brings it down.",
            Self::EndOfTravel => "Move it another way.",
            Self::EmptyJob => "Load a program that cuts something.",
            Self::StepOpen => "Finish the step, or leave it.",
            Self::StepNotOpen => "Look what it asks for.",
            Self::StepNotHere => "Make it by hand and keep the sheet.",
            Self::StepsBefore => "Make steps 1 to 4 and 12 first.",
            Self::OutputMissing => "Wire one and name it in the machine file.",
            Self::Change(no) => no.remedy(),
        }
    }

    pub(crate) fn answer(self) -> Answer {
        Answer::Refused {
            reason: self.name().into(),
            says: self.says(),
            remedy: self.remedy().into(),
        }
    }
}

/// Why a step of a change is not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ChangeNo {
    /// A change is open: nothing that could fire or reference is taken.
    Open,
    /// None is open.
    Closed,
    /// It stands at another step.
    OtherStep,
    /// The source is seen on.
    PowerOn,
    /// The torch is seen not to be dead.
    VoltsThere,
    /// The source is seen off.
    PowerOff,
    /// There is no set with that tag.
    SetMissing,
    /// That set is for another current than the job's.
    SetMisfit,
    /// No touch can be made.
    NoTouch,
}

impl ChangeNo {
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Open => "change-open",
            Self::Closed => "no-change",
            Self::OtherStep => "other-step",
            Self::PowerOn => "power-on",
            Self::VoltsThere => "volts-there",
            Self::PowerOff => "power-off",
            Self::SetMissing => "no-such-set",
            Self::SetMisfit => "set-misfit",
            Self::NoTouch => "no-touch",
        }
    }

    pub(crate) const fn says(self) -> &'static str {
        match self {
            Self::Open => "Torch parts are being changed.",
            Self::Closed => "No change of torch parts is open.",
            Self::OtherStep => "The change of torch parts stands at another step.",
            Self::PowerOn => "The source's own contact says on.",
            Self::VoltsThere => "There are volts at the torch.",
            Self::PowerOff => "The source's own contact says off.",
            Self::SetMissing => "There is no set with that tag.",
            Self::SetMisfit => "That set is for another current than this job.",
            Self::NoTouch => "The sheet cannot be touched now.",
        }
    }

    pub(crate) const fn remedy(self) -> &'static str {
        match self {
            Self::Open => "Finish the change, or cancel it.",
            Self::Closed => "Begin one first.",
            Self::OtherStep => "Look which step is due.",
            Self::PowerOn | Self::VoltsThere => "Switch off at the isolator.",
            Self::PowerOff => "Switch the power source on.",
            Self::SetMissing => "Name a set of the machine file.",
            Self::SetMisfit => "Fit the set for the job's current.",
            Self::NoTouch => "Hold metal to the nozzle instead, or reference the axes first.",
        }
    }
}
