//! What the outside is shown. Made afresh from the machine's state; never read back by it.

mod commissioning;
mod outputs;

pub use commissioning::{CommissioningView, Follows, LevelView, OpenStepView, StepView};
pub use outputs::OutputsView;
use serde::{Deserialize, Serialize};
use strum::VariantArray;
use units::{Point, Segment};

use crate::ask::CheckId;
use crate::cause::{AlarmLevel, Cause};
use crate::datum::DatumMark;
use crate::parts::{Part, SetTag};
use crate::resume::Stop;
use crate::signals::Signals;

/// The whole published state. Places are in sheet coordinates, mm, unless a name says otherwise.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct View {
    /// Grows whenever what may be asked for changes. A request names the one it saw.
    pub generation: u64,
    /// The big state.
    pub phase: Phase,
    /// The step of the cut's cycle, while one runs.
    pub step: Option<Step>,
    /// The one thing that is waited for.
    pub waiting_for: Waiting,
    /// How long that wait has lasted, s, and its limit, s, where it has one.
    pub waited_s: f64,
    /// Limit of the wait, s.
    pub wait_limit_s: Option<f64>,
    /// The number of the run, once one was started.
    pub run: Option<u64>,
    /// Seal of the loaded job.
    pub seal: Option<String>,
    /// The cut in hand, counted from 1.
    pub cut: Option<usize>,
    /// How far along that cut the torch is, mm.
    pub station_mm: Option<f64>,
    /// Where the torch is.
    pub torch: TorchView,
    /// Each cut's progress, in order.
    pub cuts: Vec<CutView>,
    /// Ways into cuts that were burnt beside their paths: new lead-ins.
    #[serde(default)]
    pub entries: Vec<Vec<Segment>>,
    /// Lost arcs, holds and the like, numbered in the order they came.
    pub marks: Vec<Mark>,
    /// Why it is held, and the ways on.
    pub hold: Option<HoldView>,
    /// The check of the sheet that is due after a doubtful place.
    #[serde(default)]
    pub datum: Option<DatumView>,
    /// Alarms, the first cause first.
    pub alarms: Vec<Alarm>,
    /// The checks before a start.
    pub checks: Vec<CheckView>,
    /// What may be asked now, and what may not and why.
    pub allowed: Vec<Allowed>,
    /// Predicted time left, s.
    pub left_s: Option<f64>,
    /// Time since the start of the run, s.
    pub run_s: Option<f64>,
    /// Time with the arc on in this run, s.
    pub arc_on_s: f64,
    /// Pierces made in this run.
    pub pierces: u32,
    /// Second tries that cured a fault without a hold.
    pub retries: Vec<Retry>,
    /// Where lines came too slowly in this run.
    #[serde(default)]
    pub faltered: Vec<Faltered>,
    /// Every hold of this run.
    pub holds: Vec<HoldRecord>,
    /// The place cannot be trusted until it was referenced and confirmed.
    pub doubtful: bool,
    /// Whether a person may go near.
    #[serde(default)]
    pub near: Near,
    /// The controller's line is alive.
    pub link: LinkView,
    /// The inputs as last read.
    pub signals: Signals,
    /// What the torch parts have been through.
    #[serde(default)]
    pub parts: PartsView,
    /// The change of torch parts that is open.
    #[serde(default)]
    pub change: Option<ChangeView>,
    /// The self-test after switch-on.
    #[serde(default)]
    pub self_test: SelfTestView,
    /// Noise on the inputs at the starts of the torch.
    #[serde(default)]
    pub short_edges: ShortEdgesView,
    /// Commissioning: what is on record, and the step that is open; `None`: it is not asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub commissioning: Option<CommissioningView>,
    /// The optional outputs; `None`: the table has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outputs: Option<OutputsView>,
}

impl View {
    /// Why a recorded run may not be shown on the glass now; `None`: it may. It may where nothing moves or burns,
    /// no run is in hand and nothing is to be read: what is live is never hidden behind what was.
    #[must_use]
    pub fn bars_replay(&self) -> Option<&'static str> {
        if !matches!(self.phase, Phase::Idle | Phase::Ready | Phase::Finished)
            || self.hold.is_some()
        {
            return Some("the machine is in use, or stopped");
        }
        if self.torch.moving || matches!(self.torch.arc, ArcView::On | ArcView::Asked) {
            return Some("something moves or burns");
        }
        if self.change.is_some()
            || self
                .commissioning
                .as_ref()
                .is_some_and(|c| c.open.is_some())
        {
            return Some("the machine is in use, or stopped");
        }
        if self
            .alarms
            .iter()
            .any(|a| !a.seen || a.level == AlarmLevel::Danger)
        {
            return Some("an alarm is to be read");
        }
        None
    }
}

/// Edges shorter than their input's debounce, from the fire to the end of the pierce.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ShortEdgesView {
    /// At the last start; `None`: there was none.
    pub last: Option<u64>,
    /// The mean of the last starts; `None`: there were too few.
    pub usual: Option<f64>,
    /// The last start had far more than was usual: look at the screens of the input leads.
    pub rising: bool,
}

/// The self-test: nothing is started before it has passed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SelfTestView {
    /// Everything was as it must be.
    pub passed: bool,
    /// What is looked at; inputs that are not fitted are left out.
    pub items: Vec<SelfTestItem>,
    /// The slowest answer of the controller in it, ms.
    pub longest_ms: f64,
}

/// One thing that the self-test looks at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SelfTestItem {
    /// What.
    pub name: String,
    /// It is as it must be; `None`: not known yet.
    pub holds: Option<bool>,
    /// How it is, where it is not as it must be; else nothing.
    pub says: String,
}

/// The torch parts as they are fitted.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PartsView {
    /// Each part, and what it has been through since it was fitted.
    pub parts: Vec<PartView>,
    /// The set that is fitted, once the operator has said so.
    pub fitted: Option<SetTag>,
    /// The sets of this shop.
    pub sets: Vec<SetTag>,
    /// The current of the loaded job, A.
    pub wanted_amps: Option<f64>,
    /// The sensing circuit was tried since parts were last touched.
    pub tested: bool,
    /// What vetting has to reckon with; `None`: wear is not reckoned.
    pub supplies: Option<process::Set>,
}

/// One torch part.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PartView {
    /// Which.
    pub part: Part,
    /// Starts since it was fitted.
    pub starts: u32,
    /// Starts that no arc followed.
    pub failed: u32,
    /// Arcs that went out by themselves.
    pub lost: u32,
    /// Arc time, s.
    pub arc_s: f64,
    /// How much of it is used, 1 being its change point; `None`: not reckoned.
    pub worn: Option<f64>,
}

/// A change of torch parts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChangeView {
    /// Which step is due.
    pub step: ChangeStep,
    /// The torch moves.
    pub moving: bool,
    /// It stands at the place for changing parts.
    pub parked: bool,
    /// What is known of the source's power.
    pub power: Power,
    /// Since when that is seen, s on the panel's clock; `None`: not wired, or so since the start.
    pub power_at_s: Option<f64>,
    /// The operator vouched that the source is isolated.
    pub vouched: bool,
    /// What was changed, once that was said.
    pub changed: Option<Vec<Part>>,
    /// The sensing circuit is closed now.
    pub contact_closed: bool,
    /// It was seen closed in this test, and is to be opened.
    pub contact_seen: bool,
    /// The contact test has passed.
    pub tested: bool,
    /// It was left to the touch of the sheet.
    pub by_touch: bool,
    /// The sheet could be touched now.
    pub may_touch: bool,
    /// The new parts touch the sheet this far from where it was touched before, mm.
    pub off_mm: Option<f64>,
    /// What did not go as it should, and what to do.
    pub trouble: Option<String>,
    /// What the parts had been through when the change began.
    pub before: Vec<PartView>,
}

/// The steps of a change of torch parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ChangeStep {
    /// The torch goes to the place for it.
    Park,
    /// The source is to be isolated.
    Isolate,
    /// Parts are to be changed, and said which.
    Swap,
    /// The sensing circuit is tried with metal in a hand.
    Contact,
    /// The source is to be switched on again, everybody clear of the torch.
    Source,
    /// The sheet is to be touched with the new parts.
    Touch,
    /// All is done: to be read.
    Done,
}

/// What is known of the source's power.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Power {
    /// Its own contact says off.
    Off,
    /// Its own contact says on, or there are volts at the torch.
    On,
    /// Nothing that is wired tells.
    CannotTell,
}

/// The state that the far word shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// Just started: outputs off, inputs being read.
    Starting,
    /// The controller does not answer.
    NoLink,
    /// Nothing loaded, or loaded and not ready.
    Idle,
    /// Every check is true: START is there.
    Ready,
    /// Referencing, or on the way to a mark.
    Homing,
    /// Moved by hand.
    Hand,
    /// A run is under way.
    Running,
    /// Being brought to a stop.
    Stopping,
    /// Stands still in the middle of a run.
    Held,
    /// Torch parts are being changed.
    Changing,
    /// A latch is set; an operator must clear it.
    Latched,
    /// All cuts are done, skipped or given up.
    Finished,
}

/// The steps of one cut.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, VariantArray,
)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "named as in the state table of `cycle`")]
pub enum Step {
    Traverse,
    SenseTest,
    ProbeFast,
    ProbeSlow,
    Validate,
    PierceHeight,
    ClearTest,
    Ready,
    AwaitArc,
    Pierce,
    Drop,
    Cut,
    Extinguish,
    ArcOffWait,
    Retract,
    Park,
}

/// What is waited for: always one of these.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, VariantArray)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "each is described by `words::waiting`")]
pub enum Waiting {
    Nothing,
    Job,
    Checks,
    Start,
    TorchToReachPlace,
    PlateToBeFound,
    RecordToBeKept,
    ArcToComeOn,
    PierceTime,
    CutHeight,
    TorchToLift,
    ArcToGoOut,
    MotionToStop,
    YourMove,
    PlaceToBeConfirmed,
    Reference,
    ControllerToAnswer,
    MessageToBeRead,
    EstopToBeCleared,
    PartsToBeChanged,
    KeyToBeLetGo,
}

/// Where the torch is and what the arc does.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TorchView {
    /// On the sheet; `None` when not known.
    pub place: Option<Point>,
    /// Tip above the touched sheet, mm; above the expected sheet before the first touch.
    pub height_mm: Option<f64>,
    /// Age of the report that says so, s.
    pub age_s: Option<f64>,
    /// Speed along the path, mm/s.
    pub feed_mm_s: Option<f64>,
    /// It is moving.
    pub moving: bool,
    /// The arc.
    pub arc: ArcView,
    /// The permit is pulsing.
    pub permit: bool,
}

/// What is known of the arc.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ArcView {
    /// Seen out.
    Off,
    /// Asked for, not yet seen.
    Asked,
    /// Seen on.
    On,
    /// Cannot fire: no permit can be given now.
    LockedOut,
    /// Not known.
    Unknown,
}

/// How far one cut has come.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CutView {
    /// Its state.
    pub state: CutState,
    /// Stretches of its path that are surely cut, mm along it.
    pub done: Vec<[f64; 2]>,
}

/// The state of one cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "plain words")]
pub enum CutState {
    ToDo,
    Now,
    Done,
    Skipped,
}

/// A numbered flag on the plate.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// Its number, from 1.
    pub number: u32,
    /// Which cut, from 1.
    pub cut: usize,
    /// How far along, mm.
    pub at_mm: f64,
    /// Where.
    pub place: Point,
    /// Surely cut up to here, and surely not beyond there, mm along the cut; `None` in older
    /// fixtures, and where nothing of the cut was cut.
    #[serde(default)]
    pub between_mm: Option<[f64; 2]>,
    /// Why.
    pub cause: Cause,
}

/// Why it is held, and what may be done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HoldView {
    /// Why.
    pub cause: Cause,
    /// Which cut, from 1.
    pub cut: Option<usize>,
    /// How far along, mm.
    pub at_mm: Option<f64>,
    /// What happened, at most eight words.
    pub what: String,
    /// The measured fact with value and limit, or "not known".
    pub why: String,
    /// What to do.
    pub remedy: String,
    /// Ways on that are open now.
    pub choices: Vec<Choice>,
    /// How far the torch ran on without an arc, mm; `None`: it did not, or it is not known.
    pub ran_on_mm: Option<f64>,
    /// The torch stands below the height of travel: whatever comes next lifts it first. `None`: it
    /// is not known, or it still moves.
    #[serde(default)]
    pub torch_down: Option<bool>,
    /// The stop that ways on are asked for ([`crate::plans`]).
    pub stop: Option<Stop>,
}

/// A datum check that is due or under way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DatumView {
    /// What is looked at, in this order.
    pub marks: Vec<DatumMark>,
    /// So many are done.
    pub seen: usize,
    /// The torch stands over the next: it can be nudged, or said to stand right.
    pub over: bool,
}

/// A way on from a hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "plain words")]
pub enum Choice {
    CarryOn,
    StepBack,
    Restart,
    Skip,
    End,
}

/// An alarm: stays until its cause has gone and the operator has cleared it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Alarm {
    /// Why.
    pub cause: Cause,
    /// How bad.
    pub level: AlarmLevel,
    /// When, s on the panel's clock.
    pub at_s: f64,
    /// It came before all others of this stop.
    pub first: bool,
    /// Somebody has seen it.
    pub seen: bool,
    /// Its cause has gone.
    pub gone: bool,
    /// It bars a start until it is cleared.
    pub latched: bool,
    /// What happened.
    pub what: String,
    /// Why, with value and limit.
    pub why: String,
    /// What to do.
    pub remedy: String,
}

/// A check before a start.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CheckView {
    /// Which.
    pub check: CheckId,
    /// The operator vouches for it; otherwise the machine sees it.
    pub vouched: bool,
    /// `Some(true)` true, `Some(false)` false, `None` not known or not yet vouched for.
    pub holds: Option<bool>,
    /// The condition in words.
    pub says: String,
    /// What to do when it is not true.
    pub remedy: String,
}

/// Whether a kind of request would be accepted now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Allowed {
    /// The request's `kind` as in [`crate::Ask`].
    pub ask: String,
    /// Why not; `None` when it would be accepted.
    pub refused: Option<String>,
}

/// Whether a person may go near the machine now. Nothing known is not safe, so that is the default.
/// It says nothing of touching the torch.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Near {
    /// Arc, permit relay and start signal are seen open, and it reports standstill; all of it fresh.
    pub safe: bool,
    /// What was seen, or what speaks against it.
    pub why: String,
}

/// A hold of this run.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct HoldRecord {
    /// Why.
    pub cause: Cause,
    /// Which cut, from 1; 0 between cuts before the first.
    pub cut: usize,
    /// How far along, mm.
    pub at_mm: f64,
    /// Where it was resumed, mm along the cut; `None` while held or when left.
    pub resumed_mm: Option<f64>,
}

/// A fault that an automatic second try cured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Retry {
    /// Why.
    pub cause: Cause,
    /// Which cut, from 1.
    pub cut: usize,
}

/// Lines came too slowly in a cut: the torch went slower than it was told.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Faltered {
    /// Which cut, from 1; once for each start of it.
    pub cut: usize,
    /// For how long, s.
    pub for_s: f64,
    /// How fast it went meanwhile, on the average, mm/s.
    pub mm_s: f64,
    /// The feed there, mm/s.
    pub wanted_mm_s: f64,
}

/// The controller's line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LinkView {
    /// Reports are fresh.
    pub alive: bool,
    /// Age of the last good word, s.
    pub age_s: Option<f64>,
    /// Axes referenced, as the controller says.
    pub referenced: bool,
    /// Lines sent again.
    pub resent: u64,
    /// Frames that did not check.
    pub bad_frames: u64,
}
