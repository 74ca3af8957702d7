//! Why the table stands still: the closed list of causes.

use planning::StopFor;
use serde::{Deserialize, Serialize};

/// Why a run is held or a latch is set. The names in text are a contract; `panel-killed` and other
/// faults of a practice table are named by the cause that they lead to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "each is described by `words::cause`")]
pub enum Cause {
    NoArc,
    ArcLost,
    FireDropped,
    ArcStuck,
    UnaskedFire,
    ContactStuck,
    NoContact,
    TouchUnsure,
    PlateMoved,
    TorchTouched,
    TorchUnseated,
    Estop,
    GateOpen,
    Hold,
    AirLow,
    SourceOff,
    VoltsOdd,
    HeightLimit,
    Starved,
    LinkCut,
    LinkNoise,
    ControllerReset,
    ControllerFault,
    PermitStuck,
    LeaseLapsed,
    SenseOn,
    ScreenLost,
    InputsStale,
    GuardLate,
    RecordFailed,
    RecordLost,
    Interrupted,
    PlaceDrift,
    Overdue,
    AirWait,
    DutyWait,
    ChangeDue,
}

impl Cause {
    /// Every cause, in the order of the handbook.
    pub const ALL: [Self; 37] = [
        Self::NoArc,
        Self::ArcLost,
        Self::FireDropped,
        Self::ArcStuck,
        Self::UnaskedFire,
        Self::ContactStuck,
        Self::NoContact,
        Self::TouchUnsure,
        Self::PlateMoved,
        Self::TorchTouched,
        Self::TorchUnseated,
        Self::Estop,
        Self::GateOpen,
        Self::Hold,
        Self::AirLow,
        Self::SourceOff,
        Self::VoltsOdd,
        Self::HeightLimit,
        Self::Starved,
        Self::LinkCut,
        Self::LinkNoise,
        Self::ControllerReset,
        Self::ControllerFault,
        Self::PermitStuck,
        Self::LeaseLapsed,
        Self::SenseOn,
        Self::ScreenLost,
        Self::InputsStale,
        Self::GuardLate,
        Self::RecordFailed,
        Self::RecordLost,
        Self::Interrupted,
        Self::PlaceDrift,
        Self::Overdue,
        Self::AirWait,
        Self::DutyWait,
        Self::ChangeDue,
    ];

    /// Its name in text, JSON and the journal: the contract.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::NoArc => "no-arc",
            Self::ArcLost => "arc-lost",
            Self::FireDropped => "fire-dropped",
            Self::ArcStuck => "arc-stuck",
            Self::UnaskedFire => "unasked-fire",
            Self::ContactStuck => "contact-stuck",
            Self::NoContact => "no-contact",
            Self::TouchUnsure => "touch-unsure",
            Self::PlateMoved => "plate-moved",
            Self::TorchTouched => "torch-touched",
            Self::TorchUnseated => "torch-unseated",
            Self::Estop => "estop",
            Self::GateOpen => "gate-open",
            Self::Hold => "hold",
            Self::AirLow => "air-low",
            Self::SourceOff => "source-off",
            Self::VoltsOdd => "volts-odd",
            Self::HeightLimit => "height-limit",
            Self::Starved => "starved",
            Self::LinkCut => "link-cut",
            Self::LinkNoise => "link-noise",
            Self::ControllerReset => "controller-reset",
            Self::ControllerFault => "controller-fault",
            Self::PermitStuck => "permit-stuck",
            Self::LeaseLapsed => "lease-lapsed",
            Self::SenseOn => "sense-on",
            Self::ScreenLost => "screen-lost",
            Self::InputsStale => "inputs-stale",
            Self::GuardLate => "guard-late",
            Self::RecordFailed => "record-failed",
            Self::RecordLost => "record-lost",
            Self::Interrupted => "interrupted",
            Self::PlaceDrift => "place-drift",
            Self::Overdue => "overdue",
            Self::AirWait => "air-wait",
            Self::DutyWait => "duty-wait",
            Self::ChangeDue => "change-due",
        }
    }
}

impl Cause {
    /// A planned stop between cuts, no fault.
    #[must_use]
    pub const fn is_planned(self) -> bool {
        matches!(self, Self::AirWait | Self::DutyWait | Self::ChangeDue)
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
}

impl core::fmt::Display for Cause {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(self.name())
    }
}
