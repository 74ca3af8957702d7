//! Why the table stands still: the closed list of causes, and the facts of each.

mod table;

use planning::StopFor;
use serde::{Deserialize, Serialize};

pub use table::Cause;

/// How bad a cause is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AlarmLevel {
    /// Act before the next start.
    Notice,
    /// Act in minutes.
    JobStopped,
    /// Act in seconds.
    Danger,
}

/// Who sets a latch for a cause. A latch stays until the operator clears it, over a restart too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Latch {
    /// The guard, which alone may take it back.
    Guard,
    /// The machine of `control`.
    Machine,
    /// Nobody: a run is held by it, or it stops no run.
    Nobody,
}

/// The condition, seen by the panel, under which a cause counts as gone (`machine/clearing.rs` looks).
/// Nothing clears by it: it only allows the operator to clear.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clears {
    /// Always: the operator's asking is enough.
    WhenAsked,
    /// Nothing is being brought to a stop. The panel sees no more of it.
    Standing,
    /// Fire signal and arc signal are open.
    FireAndArcOpen,
    /// Both open, and no volts.
    TorchDead,
    /// All that, the source seen switched off since where that is fitted, and a new self-test passed.
    SourceIsolated,
    /// The torch contact is open.
    ContactOpen,
    /// The torch contact was seen open with the torch up.
    ContactOpenedUp,
    /// The torch sits in its holder.
    TorchSeated,
    /// The emergency stop chain is closed.
    ChainClosed,
    /// The gate is closed.
    GateClosed,
    /// Air was good for 5 s.
    AirGood,
    /// The planned time is over and air is good.
    AirRecovered,
    /// The planned time is over.
    TimeOver,
    /// The source is on.
    SourceOn,
    /// The sensing circuit is off the torch.
    SenseIsolated,
    /// The controller reports and takes lines.
    ControllerListens,
    /// The permit relay was tested since, and is open.
    PermitTested,
    /// A screen has taken the seat.
    ScreenThere,
    /// The inputs were seen afresh for 1 s.
    SeenAfresh,
    /// The journal is being written.
    RecordWritten,
    /// The place was confirmed.
    NewDatum,
}

/// Whether clearing takes the operator's word that he has looked, besides what the panel sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// It does not.
    No,
    /// It does.
    Yes,
    /// It does where no contact tells the panel that the source is off.
    SourceUnseen,
    /// It does unless torch parts were changed since.
    PartsKept,
}

/// What the cause alone says of the place. What controller, journal or inputs say of it besides is
/// asked where they are heard (`machine/line.rs`, `machine/aging.rs`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// It says nothing against the place where it stopped.
    Kept,
    /// The inputs were not seen since: the place of the cut is known from a least to a most.
    Unseen,
    /// Doubtful: a reference and a check on the sheet come first.
    Doubtful,
}

/// What else is true of a cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quality {
    /// The guard ends one firing by it and latches nothing.
    Trip,
    /// Before the path begins the machine may try once more by itself.
    TriesAgain,
    /// The self-test is made anew after it.
    SelfTestAnew,
    /// It may be the first sign of a controller that was reset: its outputs fall, its reports stop.
    ShownByReset,
    /// A planned stop between cuts, no fault.
    Planned,
    /// What is to be done is done at the torch, the sheet or the bridge: nobody is sent there while it
    /// is not safe.
    AtTorch,
}

/// The facts of one cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Facts {
    /// Its name in text, JSON and the journal: the contract.
    pub name: &'static str,
    /// How bad it is.
    pub level: AlarmLevel,
    /// Who latches it.
    pub latch: Latch,
    /// When it counts as gone.
    pub clears: Clears,
    /// Whether the operator must say that he has looked.
    pub look: Look,
    /// What is known of the place afterwards.
    pub place: Place,
    /// Whether the torch may be lifted after it: not when the place is not sure, nor when it may be
    /// hooked, nor over a line that was lost.
    pub lifts: bool,
    qualities: &'static [Quality],
}

impl Facts {
    /// Whether `quality` is true of the cause.
    #[must_use]
    pub fn is(&self, quality: Quality) -> bool {
        self.qualities.contains(&quality)
    }
}

impl Cause {
    /// What is true of it.
    #[must_use]
    pub const fn facts(self) -> &'static Facts {
        // The table has one row for each variant, made by the same macro.
        &table::TABLE[self as usize]
    }

    /// Its name in text, JSON and the journal: the contract.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.facts().name
    }

    /// A planned stop between cuts, no fault.
    #[must_use]
    pub fn is_planned(self) -> bool {
        self.facts().is(Quality::Planned)
    }

    /// Whether the guard holds its latch; the others are control's own.
    #[must_use]
    pub const fn belongs_to_guard(self) -> bool {
        matches!(self.facts().latch, Latch::Guard)
    }

    /// Whether the guard tells of it: it latches it, or ends a firing by it.
    #[must_use]
    pub fn told_by_guard(self) -> bool {
        self.belongs_to_guard() || self.facts().is(Quality::Trip)
    }
}

impl From<StopFor> for Cause {
    fn from(planned: StopFor) -> Self {
        match planned {
            StopFor::AirWait => Self::AirWait,
            StopFor::DutyWait => Self::DutyWait,
            StopFor::ChangeDue => Self::ChangeDue,
        }
    }
}

/// What was measured beside a cause, where that decides what is said of it and what is to be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Detail {
    /// `estop`: the panel could not read its inputs, which counts as an open chain.
    InputsUnread,
    /// `no-arc`: volts stayed at about nothing.
    VoltsNone,
    /// `no-arc`: volts stood at open circuit.
    VoltsOpenCircuit,
    /// `no-arc`: volts pulsed as with a pilot arc that does not reach the plate.
    VoltsPilot,
    /// `no-arc`: volts stood where an arc's are.
    VoltsOfArc,
    /// `no-arc`, `volts-odd`: the volts' input stands where only a loose wire puts it.
    VoltsWireOff,
    /// `no-arc`, `volts-odd`: the volts have the wrong sign.
    VoltsInverted,
    /// `volts-odd`: the volts did not move while an arc burnt.
    VoltsUnmoving,
    /// `no-arc`: volts stood above any open circuit.
    VoltsDivider,
    /// `inputs-stale`: the volts' converter was not heard.
    VoltsSilent,
}

impl core::fmt::Display for Cause {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(self.name())
    }
}
