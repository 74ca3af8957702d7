//! The table of causes: a row for each, and nowhere else a list of them.
//!
//! A row makes the variant of [`Cause`], its name in text and its [`Facts`], so that no cause can lack
//! one. What is said of a cause stands in `words/english.rs`.

use super::AlarmLevel::{Danger, JobStopped, Notice};
use super::Clears::*;
use super::Facts;
use super::Latch::{Guard, Machine, Nobody};
use super::Look::{No, PartsKept, SourceUnseen, Yes};
use super::Place::{Doubtful, Kept, Unseen};
use super::Quality::{AtTorch, Planned, SelfTestAnew, ShownByReset, TriesAgain, Trip};

/// Makes [`Cause`], [`Cause::ALL`] and the table from its rows.
macro_rules! causes {
    ($($cause:ident $name:literal $level:ident $latch:ident $clears:ident $look:ident $place:ident $lifts:literal [$($quality:ident)*],)*) => {
        /// Why a run is held or a latch is set. The names in text are a contract; `panel-killed` and other
        /// faults of a practice table are named by the cause that they lead to.
        #[derive(
            Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash,
            serde::Serialize, serde::Deserialize,
        )]
        #[allow(missing_docs, reason = "each is described by `words::cause`")]
        pub enum Cause {
            $(#[serde(rename = $name)] $cause,)*
        }

        impl Cause {
            /// Every cause, in the order of the table.
            pub const ALL: [Self; [$($name),*].len()] = [$(Self::$cause),*];
        }

        /// The facts, in the order of [`Cause::ALL`].
        pub(super) static TABLE: [Facts; Cause::ALL.len()] = [$(Facts {
            name: $name,
            level: $level,
            latch: $latch,
            clears: $clears,
            look: $look,
            place: $place,
            lifts: $lifts,
            qualities: &[$($quality),*],
        }),*];
    };
}

causes! {
//  variant         name               level      latch   clears            look         place    lifts  qualities
    NoArc           "no-arc"           JobStopped Nobody TorchDead         No           Kept     true  [Trip TriesAgain AtTorch],
    ArcLost         "arc-lost"         JobStopped Nobody FireAndArcOpen    No           Kept     true  [Trip TriesAgain ShownByReset AtTorch],
    FireDropped     "fire-dropped"     JobStopped Nobody FireAndArcOpen    No           Kept     true  [Trip ShownByReset AtTorch],
    ArcStuck        "arc-stuck"        Danger     Guard   SourceIsolated    SourceUnseen Kept     true  [SelfTestAnew],
    UnaskedFire     "unasked-fire"     Danger     Guard   SourceIsolated    SourceUnseen Kept     true  [SelfTestAnew],
    ContactStuck    "contact-stuck"    JobStopped Nobody ContactOpenedUp   No           Kept     true  [AtTorch],
    NoContact       "no-contact"       JobStopped Nobody Standing          Yes          Kept     true  [AtTorch],
    TouchUnsure     "touch-unsure"     JobStopped Nobody Standing          Yes          Kept     true  [AtTorch],
    PlateMoved      "plate-moved"      JobStopped Nobody Standing          Yes          Kept     true  [AtTorch],
    TorchTouched    "torch-touched"    Danger     Guard   ContactOpen       No           Doubtful false [AtTorch],
    TorchUnseated   "torch-unseated"   Danger     Guard   TorchSeated       No           Doubtful false [AtTorch],
    Estop           "estop"            Danger     Guard   ChainClosed       No           Doubtful false [SelfTestAnew],
    GateOpen        "gate-open"        JobStopped Guard   GateClosed        No           Kept     true  [AtTorch],
    Hold            "hold"             JobStopped Nobody WhenAsked         No           Kept     true  [Trip],
    AirLow          "air-low"          JobStopped Nobody AirGood           No           Kept     true  [],
    SourceOff       "source-off"       JobStopped Nobody SourceOn          No           Kept     true  [],
    VoltsOdd        "volts-odd"        JobStopped Nobody Standing          Yes          Kept     true  [AtTorch],
    HeightLimit     "height-limit"     JobStopped Nobody Standing          Yes          Kept     true  [AtTorch],
    Starved         "starved"          JobStopped Nobody Standing          Yes          Kept     true  [],
    LinkCut         "link-cut"         Danger     Machine ControllerListens No           Kept     false [ShownByReset],
    LinkNoise       "link-noise"       JobStopped Nobody Standing          Yes          Kept     true  [],
    ControllerReset "controller-reset" Danger     Machine ControllerListens No           Kept     false [],
    ControllerFault "controller-fault" JobStopped Machine ControllerListens No           Kept     false [ShownByReset AtTorch],
    PermitStuck     "permit-stuck"     JobStopped Machine PermitTested      No           Kept     true  [],
    LeaseLapsed     "lease-lapsed"     JobStopped Guard   WhenAsked         No           Kept     true  [],
    SenseOn         "sense-on"         JobStopped Guard   SenseIsolated     Yes          Kept     true  [AtTorch],
    ScreenLost      "screen-lost"      JobStopped Nobody ScreenThere       No           Kept     true  [],
    InputsStale     "inputs-stale"     JobStopped Machine SeenAfresh        No           Unseen   true  [ShownByReset AtTorch],
    GuardLate       "guard-late"       JobStopped Guard   WhenAsked         No           Unseen   true  [AtTorch],
    RecordFailed    "record-failed"    Notice     Machine RecordWritten     No           Kept     true  [],
    RecordLost      "record-lost"      JobStopped Machine Standing          Yes          Kept     true  [],
    Interrupted     "interrupted"      JobStopped Nobody Standing          Yes          Kept     true  [],
    PlaceDrift      "place-drift"      JobStopped Nobody NewDatum          No           Kept     true  [],
    Overdue         "overdue"          JobStopped Nobody Standing          Yes          Kept     true  [ShownByReset AtTorch],
    AirWait         "air-wait"         Notice     Nobody AirRecovered      No           Kept     true  [Planned],
    DutyWait        "duty-wait"        Notice     Nobody TimeOver          No           Kept     true  [Planned],
    ChangeDue       "change-due"       Notice     Nobody Standing          PartsKept    Kept     true  [Planned AtTorch],
}
