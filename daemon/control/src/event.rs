//! The closed catalogue of what the journal can hold.
//!
//! Numbers and names are for ever: an event that is no longer written keeps its place. Lengths are
//! mm, times s on the panel's clock, volts V; a place is on the sheet.

#[cfg(test)]
mod catalogue;
mod proved;
mod restored;
mod says;
mod wear;

pub use restored::{Restored, Unfinished};

use std::collections::BTreeMap;

use process::commissioning::Step;
use serde::{Deserialize, Serialize};
use units::{Placement, Point};

use crate::ask::{CheckId, HandAxis, ResumeFrom};
use crate::cause::{Cause, Detail};
use crate::datum::DatumMark;
use crate::outputs::Output;
use crate::parts::Part;
use crate::resume::Plan;

/// New parts that touch the sheet further than this from where it is expected are told, mm
/// (process handbook, invented).
pub const OFFSET_TOLD_MM: f64 = 0.5;

/// How a run came to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Every cut was cut or skipped.
    Finished,
    /// The operator ended it.
    Ended,
    /// The operator gave an interrupted run up.
    GivenUp,
}

/// Something that happened. Variants are never reused for another meaning.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "event")]
#[allow(
    missing_docs,
    reason = "fields are named with their units; runs and cuts count from 1"
)]
pub enum Event {
    /// The service started.
    PanelStarted,
    /// The serial port was opened.
    LinkOpened,
    /// The serial port was lost or the controller fell silent.
    LinkLost { why: String },
    /// The controller opened a new epoch: it listens.
    LinkReady,
    /// The controller said that it has just started.
    ControllerGreeting,
    /// The controller spoke of a limit, a drive alarm or the like.
    ControllerAlarm { words: String },
    /// The controller would not carry out a command.
    ControllerRefused { words: String },
    /// A sealed job was taken.
    JobLoaded { seal: String, name: String },
    /// The job was put away.
    JobUnloaded { seal: String },
    /// The operator vouched for a check, or took it back.
    Vouched { check: CheckId, yes: bool },
    /// The permit relay was tried. `passed`: `None` where no mirror contact shows it.
    PermitTested { passed: Option<bool> },
    /// Referencing began: until it ends the place is not known.
    HomingStarted,
    /// The axes are referenced.
    Homed,
    /// The place cannot be trusted.
    PlaceDoubted { cause: Option<Cause> },
    /// The controller proved that its count was never broken.
    PlaceProven,
    /// The operator confirmed the place.
    PlaceConfirmed,
    /// A run began.
    RunStarted {
        run: u64,
        seal: String,
        name: String,
        cuts: usize,
    },
    /// A run that was interrupted goes on.
    RunTakenUp {
        run: u64,
        cut: usize,
        from_mm: f64,
        /// Where the cut may have come to before; `None` in older journals.
        #[serde(default)]
        at_mm: Option<f64>,
        /// Surely not cut beyond here; `None`: nothing of the cut is cut, or an older journal.
        #[serde(default)]
        high_mm: Option<f64>,
    },
    /// About to fire: on the disk before the torch is asked for.
    CutStarted {
        run: u64,
        cut: usize,
        try_number: u32,
        from_mm: f64,
    },
    /// The sheet was found, machine height.
    TouchedOff {
        run: u64,
        cut: usize,
        z_mm: f64,
        /// By the floating head's switch alone: degraded.
        #[serde(default)]
        by_float: bool,
    },
    /// A torch-on went to the controller.
    FireAsked { run: u64, cut: usize },
    /// The arc was seen, after how long from `fire_on`.
    ArcOn {
        run: u64,
        cut: usize,
        at_s: f64,
        after_s: Option<f64>,
        volts: Option<f64>,
    },
    /// The arc was seen out.
    ArcOff {
        run: u64,
        cut: usize,
        at_s: f64,
        arc_s: f64,
    },
    /// The cut is surely cut up to here.
    CutReached {
        run: u64,
        cut: usize,
        at_mm: f64,
        /// Time that the arc of this start has burnt, s; `None` in older journals.
        #[serde(default)]
        arc_s: Option<f64>,
    },
    /// A cut is done.
    CutDone {
        run: u64,
        cut: usize,
        length_mm: f64,
    },
    /// The machine is being stopped. `sure_mm`: surely cut up to here.
    Held {
        run: u64,
        cause: Cause,
        cut: usize,
        at_mm: f64,
        sure_mm: f64,
        place: Option<Point>,
        volts: Option<f64>,
        /// Surely not cut beyond here; `None`: nothing of the cut is cut, or an older journal.
        #[serde(default)]
        high_mm: Option<f64>,
        /// What was measured beside the cause; `None`: nothing, or an older journal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        detail: Option<Detail>,
    },
    /// What the hold was first put down to was the doing of something else.
    HoldExplained { run: u64, was: Cause, cause: Cause },
    /// The machine tries again by itself.
    Retry {
        run: u64,
        cut: usize,
        cause: Cause,
        try_number: u32,
    },
    /// A hold was ended by going on.
    Resumed {
        run: u64,
        cut: usize,
        /// In older journals, which knew no plans.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        way: Option<ResumeFrom>,
        from_mm: f64,
        /// The accepted plan; `None` in older journals.
        #[serde(default)]
        plan: Option<Box<Plan>>,
    },
    /// A cut was left out.
    Skipped { run: u64, cut: usize, sure_mm: f64 },
    /// A run came to its end.
    RunEnded {
        run: u64,
        outcome: Outcome,
        cuts_done: usize,
        cuts: usize,
        holds: usize,
        pierces: u32,
        arc_on_s: f64,
        run_s: f64,
    },
    /// A service found a run that no service had ended.
    /// `cut_off`: what was recorded of it since the last full sync may be lost.
    RunInterrupted {
        run: u64,
        cut: usize,
        sure_mm: f64,
        #[serde(default, skip_serializing_if = "core::ops::Not::not")]
        cut_off: bool,
    },
    /// A latch was set: it stays until an operator clears it.
    LatchSet {
        cause: Cause,
        at_s: f64,
        /// What was measured beside the cause; `None`: nothing, or an older journal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        detail: Option<Detail>,
    },
    /// A latch was cleared.
    LatchCleared { cause: Cause },
    /// A second cause, under the first.
    CauseFollowed { cause: Cause, at_s: f64 },
    /// An alarm was seen.
    AlarmSeen { cause: Cause },
    /// A request was refused.
    Refused { ask: String, reason: String },
    /// The journal could not be written for a while.
    RecordFailed { why: String },
    /// When all stands still: how far the held cut has come, by the arc's own edge, or by where the
    /// controller stands after a lost line.
    PlaceFound {
        run: u64,
        cut: usize,
        at_mm: f64,
        /// Surely cut up to here; `None` in older journals.
        #[serde(default)]
        sure_mm: Option<f64>,
        /// Surely not cut beyond here; `None` in older journals.
        #[serde(default)]
        high_mm: Option<f64>,
    },
    /// A change of torch parts was begun, in the middle of a run or between runs.
    ChangeBegun { run: Option<u64> },
    /// The torch stands where parts are changed; `parked`: at the place for it, else where it was.
    ChangePlace { run: Option<u64>, parked: bool },
    /// The source is isolated; `seen` by its own contact, else the operator vouches for it.
    SourceIsolated { run: Option<u64>, seen: bool },
    /// These parts were changed, and this set is fitted now: their counts begin anew.
    PartsChanged {
        run: Option<u64>,
        parts: Vec<Part>,
        set: Option<String>,
        amps: Option<f64>,
    },
    /// The sensing circuit closed and opened; `by_touch`: on the sheet, else on metal in a hand.
    ContactTested { run: Option<u64>, by_touch: bool },
    /// The source is on again; `seen` by its own contact, else the operator says so.
    SourceBack { run: Option<u64>, seen: bool },
    /// The sheet was touched with the new parts: machine height, and how far from the expected.
    TouchCompared {
        run: Option<u64>,
        z_mm: f64,
        off_mm: Option<f64>,
    },
    /// The change is over; `cancelled`: before its last step.
    ChangeEnded { run: Option<u64>, cancelled: bool },
    /// In a datum check the torch stands over a mark, so far from where it was believed.
    DatumSeen {
        mark: DatumMark,
        dx_mm: f64,
        dy_mm: f64,
    },
    /// A datum check is made. `sheet_at`: how the sheet lies from here on, if it was corrected.
    DatumFitted {
        off_mm: f64,
        residual_mm: f64,
        sheet_at: Option<Placement>,
    },
    /// The guard's own take-away bytes were late on the wire by so much, ms, after so many tries
    /// that the port took nothing of; so many bytes never went out.
    TakeAwayLate {
        late_ms: u64,
        refused: u32,
        lost: u32,
    },
    /// The computer was started anew since the last start of the panel, which had not ended in order:
    /// what was recorded after the last full sync may be lost.
    PowerCut,
    /// An earlier life of the panel shows, and the journal that told of it is gone or cannot be read.
    RecordLost {
        /// What shows, and what is gone.
        why: String,
    },
    /// So many edges of inputs were let fall while control did not listen.
    EdgesMissed { edges: u32 },
    /// A stretch of a cut was left uncut, as planned and accepted.
    TabLeft {
        run: u64,
        cut: usize,
        from_mm: f64,
        to_mm: f64,
        tab_mm: f64,
    },
    /// HOLD was pressed: the wired button, or HOLD on a screen. Once for each press.
    HoldPressed { button: bool },
    /// The torch was moved by hand: a press began, or one step.
    HandMoved {
        /// Along which axis.
        axis: HandAxis,
        /// Toward greater coordinates.
        forward: bool,
        /// The step; `None`: as long as the key was pressed.
        step_mm: Option<f64>,
    },
    /// A permit test was broken off before the relay could be judged. `cause`: what came in between;
    /// `None`: the guard gave no answer.
    PermitTestBroken { cause: Option<Cause> },
    /// The sheet was not touched: its height is that of the last touch and the plane's slope.
    TouchSkipped { run: u64, cut: usize, z_mm: f64 },
    /// The self-test at start came to its end. `failed`: what was not as it must be, in words.
    SelfTested {
        failed: Vec<String>,
        trips: u32,
        longest_ms: f64,
        bad: u64,
    },
    /// A step of commissioning was made. `covered`: hash of the parts of the machine file that it rests on.
    Commissioned {
        step: Step,
        passed: bool,
        /// What was measured or seen, in a sentence.
        measured: String,
        covered: String,
        /// On the simulated table.
        #[serde(default)]
        simulated: bool,
    },
    /// The simulated table came commissioned: these steps count as made on it.
    CameCommissioned { covered: BTreeMap<Step, String> },
    /// The torch is to be fired without an arc, over scrap and without motion.
    DryFire,
    /// Edges shorter than their input's debounce from the fire to the end of the pierce. `usual`: the
    /// mean of the starts before, where they are far fewer.
    ShortEdges {
        run: u64,
        cut: usize,
        edges: u64,
        usual: Option<f64>,
    },
    /// Lines come too slowly: the torch goes slower in this cut than it was told. Speeds: the mean since
    /// it began, and the feed there.
    Faltered {
        run: u64,
        cut: usize,
        mm_s: f64,
        wanted_mm_s: f64,
    },
    /// An optional output could not be driven. It stops nothing.
    OutputFailed { output: Output, why: String },
    /// It can be driven again.
    OutputWorks { output: Output },
    /// The operator had the outputs tried.
    LampsTested,
}

/// How much an event matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "plain words")]
pub enum Severity {
    Trace,
    Normal,
    Notice,
    Stop,
    Danger,
}

impl Event {
    /// Number, name, severity.
    fn entry(&self) -> (u16, &'static str, Severity) {
        use Severity::{Danger, Normal, Notice, Stop, Trace};
        match self {
            Self::PanelStarted => (1, "panel-started", Normal),
            Self::LinkOpened => (2, "link-opened", Normal),
            Self::LinkLost { .. } => (3, "link-lost", Notice),
            Self::LinkReady => (4, "link-ready", Trace),
            Self::ControllerGreeting => (5, "controller-greeting", Notice),
            Self::ControllerAlarm { .. } => (6, "controller-alarm", Notice),
            Self::ControllerRefused { .. } => (7, "controller-refused", Notice),
            Self::JobLoaded { .. } => (8, "job-loaded", Normal),
            Self::JobUnloaded { .. } => (9, "job-unloaded", Normal),
            Self::Vouched { .. } => (10, "vouched", Normal),
            Self::PermitTested { passed } => (
                11,
                "permit-tested",
                if *passed == Some(false) {
                    Notice
                } else {
                    Normal
                },
            ),
            Self::HomingStarted => (12, "homing-started", Normal),
            Self::Homed => (13, "homed", Normal),
            Self::PlaceDoubted { .. } => (14, "place-doubted", Notice),
            Self::PlaceProven => (15, "place-proven", Normal),
            Self::PlaceConfirmed => (16, "place-confirmed", Normal),
            Self::RunStarted { .. } => (17, "run-started", Normal),
            Self::RunTakenUp { .. } => (18, "run-taken-up", Normal),
            Self::CutStarted { .. } => (19, "cut-started", Normal),
            Self::TouchedOff { .. } => (20, "touched-off", Trace),
            Self::FireAsked { .. } => (21, "fire-asked", Normal),
            Self::ArcOn { .. } => (22, "arc-on", Normal),
            Self::ArcOff { .. } => (23, "arc-off", Normal),
            Self::CutReached { .. } => (24, "cut-reached", Trace),
            Self::CutDone { .. } => (25, "cut-done", Normal),
            Self::Held { cause, .. } => (
                26,
                "held",
                if cause.facts().level == crate::cause::AlarmLevel::Danger {
                    Danger
                } else {
                    Stop
                },
            ),
            Self::HoldExplained { .. } => (27, "hold-explained", Notice),
            Self::Retry { .. } => (28, "retry", Notice),
            Self::Resumed { .. } => (29, "resumed", Normal),
            Self::Skipped { .. } => (30, "skipped", Notice),
            Self::RunEnded { .. } => (31, "run-ended", Normal),
            Self::RunInterrupted { .. } => (32, "run-interrupted", Stop),
            Self::LatchSet { .. } => (33, "latch-set", Danger),
            Self::LatchCleared { .. } => (34, "latch-cleared", Notice),
            Self::CauseFollowed { .. } => (35, "cause-followed", Notice),
            Self::AlarmSeen { .. } => (36, "alarm-seen", Trace),
            Self::Refused { .. } => (37, "refused", Trace),
            Self::RecordFailed { .. } => (38, "record-failed", Stop),
            Self::PlaceFound { .. } => (39, "place-found", Normal),
            Self::ChangeBegun { .. } => (40, "change-begun", Normal),
            Self::ChangePlace { .. } => (41, "change-place", Trace),
            Self::SourceIsolated { .. } => (42, "source-isolated", Normal),
            Self::PartsChanged { .. } => (43, "parts-changed", Normal),
            Self::ContactTested { .. } => (44, "contact-tested", Normal),
            Self::SourceBack { .. } => (45, "source-back", Normal),
            Self::TouchCompared { off_mm, .. } => (
                46,
                "touch-compared",
                if off_mm.is_some_and(|mm| mm.abs() > OFFSET_TOLD_MM) {
                    Notice
                } else {
                    Normal
                },
            ),
            Self::ChangeEnded { .. } => (47, "change-ended", Normal),
            Self::TabLeft { .. } => (48, "tab-left", Notice),
            Self::DatumSeen { .. } => (49, "datum-seen", Normal),
            Self::DatumFitted { .. } => (50, "datum-fitted", Notice),
            Self::HoldPressed { .. } => (51, "hold-pressed", Notice),
            Self::PermitTestBroken { .. } => (52, "permit-test-broken", Notice),
            Self::TakeAwayLate { .. } => (53, "take-away-late", Notice),
            Self::EdgesMissed { .. } => (54, "edges-missed", Notice),
            Self::PowerCut => (55, "power-cut", Notice),
            Self::TouchSkipped { .. } => (56, "touch-skipped", Trace),
            Self::SelfTested { failed, .. } => (
                57,
                "self-tested",
                if failed.is_empty() { Normal } else { Notice },
            ),
            Self::ShortEdges { usual, .. } => (
                58,
                "short-edges",
                if usual.is_some() { Notice } else { Trace },
            ),
            Self::RecordLost { .. } => (59, "record-lost", Stop),
            Self::HandMoved { .. } => (60, "hand-moved", Trace),
            Self::Commissioned { passed, .. } => {
                (61, "commissioned", if *passed { Normal } else { Notice })
            }
            Self::CameCommissioned { .. } => (62, "came-commissioned", Normal),
            Self::DryFire => (63, "dry-fire", Normal),
            Self::Faltered { .. } => (64, "faltered", Notice),
            Self::OutputFailed { .. } => (65, "output-failed", Notice),
            Self::OutputWorks { .. } => (66, "output-works", Normal),
            Self::LampsTested => (67, "lamps-tested", Trace),
        }
    }

    /// Its stable number in the catalogue.
    #[must_use]
    pub fn id(&self) -> u16 {
        self.entry().0
    }

    /// Its stable name, kebab case.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.entry().1
    }

    /// How much it matters.
    #[must_use]
    pub fn severity(&self) -> Severity {
        self.entry().2
    }

    /// The run it belongs to.
    #[must_use]
    pub fn run(&self) -> Option<u64> {
        match *self {
            Self::RunStarted { run, .. }
            | Self::RunTakenUp { run, .. }
            | Self::PlaceFound { run, .. }
            | Self::TabLeft { run, .. }
            | Self::CutStarted { run, .. }
            | Self::TouchedOff { run, .. }
            | Self::TouchSkipped { run, .. }
            | Self::ShortEdges { run, .. }
            | Self::Faltered { run, .. }
            | Self::FireAsked { run, .. }
            | Self::ArcOn { run, .. }
            | Self::ArcOff { run, .. }
            | Self::CutReached { run, .. }
            | Self::CutDone { run, .. }
            | Self::Held { run, .. }
            | Self::HoldExplained { run, .. }
            | Self::Retry { run, .. }
            | Self::Resumed { run, .. }
            | Self::Skipped { run, .. }
            | Self::RunEnded { run, .. }
            | Self::RunInterrupted { run, .. } => Some(run),
            Self::ChangeBegun { run }
            | Self::ChangePlace { run, .. }
            | Self::SourceIsolated { run, .. }
            | Self::PartsChanged { run, .. }
            | Self::ContactTested { run, .. }
            | Self::SourceBack { run, .. }
            | Self::TouchCompared { run, .. }
            | Self::ChangeEnded { run, .. } => run,
            _ => None,
        }
    }
}
