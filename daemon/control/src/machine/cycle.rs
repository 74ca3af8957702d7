//! The cycle of one cut, from the traverse to the lift after it.
//!
//! ```text
//! Lift -> Traverse -> Sense -> Fast -> Slow -> BackOff -+-> Height -> Isolate -> Ready -> Closing
//!                       ^ Relift        ^--- again -----'     ^ Raise                        |
//! next <- Retract <- OutWait <- Extinguish <- Path <- Pierce <- Fire <----------------------'
//! ```
//!
//! Every wait has a limit. Nothing of a path is sent before arc OK and pierce delay are over.

mod beside;
mod faltering;
mod finding;
mod firing;
mod height;
mod metal;
mod path;
mod start;
mod touching;
mod travel;
mod untouched;
mod volts;

use core::time::Duration;

use link::{Command, Status, Ticket};
use units::{Point, Time};

use beside::Beside;
use firing::{RECORD_LIMIT, VoltsSeen};
use path::DROP_LIMIT;
use start::Start;

use super::track::Track;
use super::watching::RELAY_PULLS;
use super::{Act, Machine, Next};
use crate::cause::Cause;
use crate::io::RecordId;
use crate::view::{CutState, Step, Waiting};

/// Lift before a second look at a closed contact, mm.
const RETEST_LIFT_MM: f64 = 5.0;
/// Inputs must be at rest before a fire within this.
const REST_LIMIT: Duration = Duration::from_secs(3);
/// Torch-off carried out: fire and arc must be seen open within this; the guard acts before.
const OUT_LIMIT: Duration = Duration::from_secs(2);
/// Contact counts after this: slag flickers.
const CONTACT_ACCEPT: Duration = Duration::from_millis(10);

/// Where in the cycle.
#[derive(Clone, Copy, Debug)]
enum Stage {
    Lift(Ticket),
    Traverse(Ticket),
    PostFlow(Time),
    SenseConnect(Ticket),
    SenseSettle,
    Relift(Ticket),
    Fast(Ticket),
    Slow(Ticket),
    BackOff(Ticket),
    BackSettle(Time),
    FloatOnly(Ticket),
    Beside(Beside),
    Height(Ticket),
    Raise(Ticket),
    Isolate(Ticket),
    Isolated(Time),
    Ready,
    Closing,
    Fire(Ticket),
    Pierce(Time),
    Path,
    Extinguish,
    OutWait(Time),
    Retract(Ticket),
}

/// Looks at the sensing circuit, one after the other.
#[derive(Clone, Copy, Debug, Default)]
struct Readings {
    taken: u32,
    last: Time,
    closed: bool,
}

/// One try at one cut.
#[derive(Clone, Debug)]
pub(crate) struct Cycle {
    stage: Stage,
    since: Time,
    limit: Duration,
    target: Point,
    expected_z: f64,
    surface_z: f64,
    /// Where it is fired, by a touch-off made for this start, machine coordinates, mm.
    start_z: Option<f64>,
    touches: Vec<f64>,
    /// Contact failed: the float switch alone decides.
    by_float: bool,
    /// The touch-off was skipped.
    untouched: bool,
    /// What a touch-off that met nothing came to, in words.
    missed: String,
    answer: Option<(Ticket, Option<f64>)>,
    /// The sensing circuit is only just being connected: its relay must come to rest.
    connecting: bool,
    settled: Option<Time>,
    retested: bool,
    readings: Readings,
    raised: bool,
    record: Option<(RecordId, Time)>,
    taken: Option<Time>,
    /// Fired where it is cut through already: from cut height, without pierce time.
    open_kerf: bool,
    from_mm: f64,
    until_crossed_mm: f64,
    /// When the arc was seen to come on.
    fired: Time,
    track: Option<Track>,
    /// On the way down to this height, machine coordinates, mm: the path is not sent yet.
    drop_to: Option<f64>,
    /// The controller's queue was filled once on this path.
    fed: bool,
    faltering: faltering::Faltering,
    volts: VoltsSeen,
}

/// What a look at the cycle came to.
enum Move {
    Stay,
    On(Stage),
    Stop(Cause, String),
    Next,
}

/// Where a stopped cycle stood.
pub(crate) struct Stand {
    /// The cut was done when it was stopped.
    pub done: bool,
    /// The torch was asked for and no path was sent: one more try may cure it.
    pub before_path: bool,
}

impl Cycle {
    /// Takes a report of the place, sheet coordinates; it was made after `since`.
    pub(super) fn report(&mut self, status: &Status, place: Point, since: Time) {
        if matches!(self.stage, Stage::Path)
            && let Some(track) = &mut self.track
        {
            track.report_made(status, place, since);
        }
    }

    /// How far along the cut the torch is, mm.
    pub(crate) fn station(&self) -> f64 {
        let on_path = self.track.as_ref().map(|t| t.station);
        on_path.map_or(self.from_mm, |s| s.max(self.from_mm))
    }

    /// `unseen_from`: the inputs were not seen from then on.
    pub(super) fn stand(
        &self,
        arc_fall: Option<Time>,
        fire_fall: Option<Time>,
        unseen_from: Option<Time>,
    ) -> Stand {
        let past = matches!(
            self.stage,
            Stage::Extinguish | Stage::OutWait(_) | Stage::Retract(_)
        );
        // An older arc's end says nothing of one that burns still.
        let fell = arc_fall.filter(|t| *t > self.fired);
        let early = arc_early(fell, fire_fall, self.since);
        // An arc that was not seen to burn up to torch-off may have been lost before it.
        let unseen = matches!(self.stage, Stage::Extinguish)
            && unseen_from.is_some_and(|from| from < self.since);
        let done = past && !early && !unseen;
        Stand {
            done,
            before_path: matches!(self.stage, Stage::Fire(_) | Stage::Pierce(_)),
        }
    }

    /// The path that it is on, and since when its arc can have gone out.
    pub(super) fn take_path(&mut self) -> Option<(Track, Time)> {
        match self.stage {
            Stage::Path | Stage::Extinguish => Some((self.track.take()?, self.fired)),
            _ => None,
        }
    }

    pub(super) fn surface(&self) -> Option<f64> {
        (!self.touches.is_empty()).then_some(self.surface_z)
    }

    pub(crate) fn step(&self) -> Step {
        match self.stage {
            Stage::Lift(_) | Stage::Traverse(_) => Step::Traverse,
            Stage::PostFlow(_) | Stage::SenseConnect(_) | Stage::SenseSettle | Stage::Relift(_) => {
                Step::SenseTest
            }
            Stage::Fast(_) => Step::ProbeFast,
            Stage::Slow(_) => Step::ProbeSlow,
            Stage::BackOff(_) | Stage::BackSettle(_) | Stage::FloatOnly(_) => Step::Validate,
            Stage::Beside(at) => at.step(),
            Stage::Height(_) => Step::PierceHeight,
            Stage::Raise(_) | Stage::Isolate(_) | Stage::Isolated(_) => Step::ClearTest,
            Stage::Ready | Stage::Closing => Step::Ready,
            Stage::Fire(_) => Step::AwaitArc,
            Stage::Pierce(_) => Step::Pierce,
            Stage::Path if self.drop_to.is_some() => Step::Drop,
            Stage::Path => Step::Cut,
            Stage::Extinguish => Step::Extinguish,
            Stage::OutWait(_) => Step::ArcOffWait,
            Stage::Retract(_) => Step::Retract,
        }
    }

    /// What is waited for, since when, and the limit of it.
    pub(crate) fn waiting(
        &self,
        guard: &crate::guard::GuardSettings,
    ) -> (Waiting, Time, Option<Duration>) {
        let (what, limit) = match self.stage {
            Stage::Lift(_) | Stage::Traverse(_) => (Waiting::TorchToReachPlace, Some(self.limit)),
            Stage::Ready => (Waiting::RecordToBeKept, Some(RECORD_LIMIT)),
            Stage::Closing => (Waiting::ArcToComeOn, Some(RELAY_PULLS)),
            Stage::Fire(_) => (
                Waiting::ArcToComeOn,
                Some(Duration::from_secs_f64(guard.arc_ok_within_s)),
            ),
            Stage::Pierce(_) => (Waiting::PierceTime, Some(self.limit)),
            Stage::Path if self.drop_to.is_some() => (Waiting::CutHeight, Some(DROP_LIMIT)),
            Stage::Path => (Waiting::Nothing, None),
            Stage::Extinguish | Stage::OutWait(_) => (Waiting::ArcToGoOut, Some(OUT_LIMIT)),
            Stage::Retract(_) => (Waiting::TorchToLift, Some(self.limit)),
            _ => (Waiting::PlateToBeFound, Some(self.limit)),
        };
        (what, self.since, limit)
    }

    /// The start record that firing waits for now.
    pub(crate) fn record_awaited(&self) -> Option<RecordId> {
        let (id, _) = self.record?;
        matches!(self.stage, Stage::Ready).then_some(id)
    }

    /// The arc is on, or may be.
    pub(crate) fn hot(&self) -> bool {
        matches!(
            self.stage,
            Stage::Fire(_) | Stage::Pierce(_) | Stage::Path | Stage::Extinguish
        )
    }
}

/// Whether the arc went out before the start contact opened: then the end is not surely cut.
fn arc_early(arc_fall: Option<Time>, fire_fall: Option<Time>, since: Time) -> bool {
    // The two edges come by different wires; within this they are together.
    const TOGETHER: Duration = Duration::from_millis(2);
    match (arc_fall, fire_fall) {
        (Some(arc), Some(fire)) => arc + TOGETHER < fire && fire + Duration::from_secs(1) > since,
        _ => false,
    }
}

impl Machine {
    /// Traverse height: above the sheet as expected and as touched, machine coordinates, mm.
    pub(super) fn safe_z(&self) -> f64 {
        let Some(loaded) = &self.loaded else {
            return self.settings.top_z;
        };
        let plane = self.settings.slat_top_z + loaded.job.thickness_mm;
        let highest = self
            .run
            .as_ref()
            .and_then(|r| r.highest_z)
            .map_or(plane, |z| z.max(plane));
        (highest + loaded.job.cycle.safe_height_mm).min(self.settings.top_z)
    }

    /// Begins the cut in hand where the run says, or goes to park when there is none left.
    pub(super) fn begin_cut(&mut self) {
        let Some(loaded) = &self.loaded else { return };
        let Some(run) = &mut self.run else { return };
        if run.cut >= loaded.job.cuts.len() {
            self.park();
            return;
        }
        if let Some(p) = run.cuts.get_mut(run.cut) {
            p.state = CutState::Now;
        }
        let start = Start::of(run);
        let from_mm = start.from_mm;
        let place = start
            .beside
            .unwrap_or_else(|| loaded.point_at(run.cut, from_mm));
        let target = self.reference.sheet_at.place(place);
        let plane = self.settings.slat_top_z + loaded.job.thickness_mm;
        let expected_z = crate::plane::expected(&run.touches, target).unwrap_or(plane);
        let watched = core::mem::take(&mut run.sensing);
        let safe = self.safe_z();
        let from = self.line.place().unwrap_or(target);
        let limit = self.travel_limit(from, target);
        let connecting = !watched && self.sense_for_traverse();
        let ticket = self.line.say(Command::RapidZ(safe));
        self.act = Act::Cutting(Box::new(Cycle {
            stage: Stage::Lift(ticket),
            since: self.now,
            limit,
            target,
            expected_z,
            surface_z: expected_z,
            start_z: None,
            touches: Vec::new(),
            by_float: false,
            untouched: false,
            missed: String::new(),
            answer: None,
            connecting,
            settled: None,
            retested: false,
            readings: Readings::default(),
            raised: false,
            record: None,
            taken: None,
            open_kerf: start.open_kerf,
            from_mm,
            until_crossed_mm: start.until_crossed_mm,
            fired: self.now,
            track: None,
            drop_to: None,
            fed: false,
            faltering: faltering::Faltering::default(),
            volts: VoltsSeen::default(),
        }));
    }

    pub(super) fn touched(&mut self, ticket: Ticket, z: Option<f64>) {
        match &mut self.act {
            Act::Cutting(c) => c.answer = Some((ticket, z)),
            Act::Changing(going) => going.touched(ticket, z),
            _ => {}
        }
    }

    pub(super) fn taken(&mut self, ticket: Ticket) {
        self.trip_taken(ticket);
        if let Act::Cutting(c) = &mut self.act
            && let Stage::Fire(fire) = c.stage
            && ticket >= fire
        {
            c.taken.get_or_insert(self.now);
        }
    }

    pub(super) fn advance_cycle(&mut self, mut c: Box<Cycle>) -> Next {
        if let Some(v) = self.signals.volts
            && matches!(c.stage, Stage::Fire(_))
        {
            c.volts.add(self.now, v);
        }
        let next = match self.watch_cut(&c) {
            Some((cause, why)) => Move::Stop(cause, why),
            None => self.look(&mut c),
        };
        match next {
            Move::Stay => Next::Stays(Act::Cutting(c)),
            Move::On(stage) => {
                c.stage = stage;
                c.since = self.now;
                Next::Becomes(Act::Cutting(c))
            }
            Move::Stop(cause, why) => {
                self.act = Act::Cutting(c);
                if matches!(cause, Cause::PermitStuck | Cause::SenseOn) {
                    self.latch(cause, self.now, why.clone());
                }
                self.stop_why(cause, self.now, why);
                Next::Set
            }
            Move::Next => {
                self.next_cut();
                Next::Set
            }
        }
    }

    /// What stops a cut in any of its states.
    fn watch_cut(&mut self, c: &Cycle) -> Option<(Cause, String)> {
        if self.air_low() {
            return Some((
                Cause::AirLow,
                "The air switch said low for 0.3 s. The machine put the arc out.".into(),
            ));
        }
        if self.signals.source_on == Some(false) {
            return Some((
                Cause::SourceOff,
                "The power source's own contact says off.".into(),
            ));
        }
        if let Some(odd) = self.volts_odd(c) {
            return Some(odd);
        }
        let untouched = matches!(c.stage, Stage::Height(_)) && c.untouched;
        let beside = matches!(c.stage, Stage::Beside(Beside::Down(_)));
        if (matches!(c.stage, Stage::Fast(_)) || untouched || beside)
            && let Some(t) = self.contact_since()
            && self.due(t + CONTACT_ACCEPT)
        {
            if beside {
                return Some((Cause::NoContact, beside::told(&c.missed, self.line.z())));
            }
            if untouched {
                let why = "Contact on the way to a pierce height that was reckoned, not touched.";
                return Some((Cause::PlateMoved, why.into()));
            }
            let high = self
                .loaded
                .as_ref()
                .map_or(0.0, |l| l.job.cycle.probe_high_mm);
            return Some((
                Cause::PlateMoved,
                format!("Contact more than {high:.1} mm above where the plate should be."),
            ));
        }
        None
    }

    fn contact_since(&self) -> Option<Time> {
        self.signals
            .contact
            .then_some(self.since.contact_closed)
            .flatten()
    }

    fn look(&mut self, c: &mut Cycle) -> Move {
        let Some(cs) = self.loaded.as_ref().map(|l| l.job.cycle) else {
            return Move::Stay;
        };
        match c.stage {
            Stage::Lift(_) | Stage::Traverse(_) => self.look_travel(c, &cs),
            Stage::PostFlow(_) | Stage::SenseConnect(_) | Stage::SenseSettle | Stage::Relift(_) => {
                self.look_sense(c, &cs)
            }
            Stage::Fast(_)
            | Stage::Slow(_)
            | Stage::BackOff(_)
            | Stage::BackSettle(_)
            | Stage::FloatOnly(_) => self.look_touch(c, &cs),
            Stage::Beside(at) => self.look_touch_beside(c, at, &cs),
            Stage::Height(_) | Stage::Raise(_) | Stage::Isolate(_) | Stage::Isolated(_) => {
                self.look_height(c, &cs)
            }
            Stage::Ready => self.look_ready(c, cs.refire_gap_s),
            Stage::Closing => self.look_closing(c),
            Stage::Fire(t) => self.look_fire(c, t, &cs),
            Stage::Pierce(until) => self.look_pierce(c, until),
            Stage::Path => self.look_path(c),
            Stage::Extinguish | Stage::OutWait(_) | Stage::Retract(_) => self.look_out(c, &cs),
        }
    }

    fn overdue(&mut self, c: &Cycle, limit: Duration, what: &str) -> Move {
        if self.due(c.since + limit) {
            return Move::Stop(
                Cause::Overdue,
                format!("{what} within {:.1} s.", limit.as_secs_f64()),
            );
        }
        Move::Stay
    }

    /// Three times what a move along Z takes, and 5 s.
    fn z_limit(&self, to: f64, mm_s: f64) -> Duration {
        let from = self.line.z().unwrap_or(self.settings.top_z);
        Duration::from_secs_f64(3.0 * (from - to).abs() / mm_s.max(0.1) + 5.0)
    }

    /// The step of the cut's cycle, while one runs, as in the whole view.
    #[must_use]
    pub fn cycle_step(&self) -> Option<Step> {
        match &self.act {
            Act::Cutting(c) => Some(c.step()),
            Act::Parking(_) => Some(Step::Park),
            _ => None,
        }
    }
}
