//! The one machine, taken apart by idea: the line to the controller, the cycle of a cut, stopping
//! and going on, what the guard says, what is known of a run, what is shown.
//!
//! ```text
//! Starting --1 s of inputs--> Rest
//!
//! Rest --Home------------> Homing ---referenced-----------> Rest
//! Rest --PermitTest------> Testing --the guard has judged--> Rest
//! Rest --Start, Resume---> Cutting --one cut after another--> Parking --parked: finished--> Rest
//! Rest --EndJob, SkipCut of the last cut--> Parking
//! Rest --DatumGo, DatumNudge--> ToMark ---over the mark---------> Rest
//! Rest --HandMove, HandGo--> Hand ---let go, not renewed, contact, there--> Rest
//! Rest --dry fire of an open step--> DryFire ---out again--> Rest
//! Rest --ChangeBegin, ChangeTouch--> Changing --at the place, touched--> Rest
//!
//! Cutting --held after this cut, planned stop--> Rest (held)
//! any act --a cause, HOLD--> Stopping: flush, arc out, wait, lift --> Rest (held)
//! Stopping after `no-arc` or `arc-lost` before the path, tries left --> Cutting (second try)
//! Homing, Parking, ToMark, Hand beyond their limit --> Rest with the alarm `overdue`
//! ```
//!
//! The permit is off before anything else of a stop. Each act's handler returns what comes next
//! ([`Next`]). Neighbouring questions have owners of their own: what may be asked, `admission`; what
//! bars a start, `checks`; when a cause has gone, `clearing`; where an arc was lost, `track` and
//! `place`; what is wrong, `alarms`; since when inputs say what they say, `since` and `aging`; what
//! the guard says, `guarding`; what is shown, `show`.
//!
//! If the power goes, nothing here remains: the journal tells the next service what was latched,
//! in doubt and surely cut.

pub(crate) mod admission;
mod aging;
pub(crate) mod alarms;
mod between;
pub(crate) mod changing;
pub(crate) mod checks;
mod clearing;
mod commission;
mod cycle;
pub(crate) mod datum;
mod dry_fire;
mod going_on;
mod guarding;
pub(crate) mod hand;
mod holding;
mod home;
mod jump;
mod line;
mod near;
mod on_path;
mod out;
mod outputs;
mod place;
mod readiness;
mod reference;
mod refusals;
pub(crate) mod run;
mod sample;
mod self_test;
mod sensing;
mod short_edges;
mod show;
mod since;
mod stamps;
mod stop;
mod track;
mod watching;

use core::time::Duration;
use std::collections::BTreeMap;
use std::sync::Arc;

use link::{Dialect, Ticket};
use units::{Placement, Point, Time};

use crate::ask::{Answer, Ask, AskId};
use crate::cause::Cause;
use crate::commissioning::Records;
use crate::event::{Event, Restored, Unfinished};
use crate::guard::{GuardOrder, Phase};
use crate::io::{Effects, Input, RecordId};
use crate::machine::admission::Fingerprint;
use crate::parts::PartsUsed;
use crate::settings::Settings;
use crate::signals::Signals;
use crate::view::{Step, View};
use alarms::Alarms;
use changing::{Change, Going};
pub(crate) use changing::{power, set, volts, wanted_amps};
pub(crate) use cycle::Cycle;
use datum::ToMark;
use hand::{Hand, LastPress};
pub(crate) use home::Parking;
use line::Line;
use out::Out;
use readiness::Readiness;
use reference::Reference;
use run::{Loaded, Run};
use sensing::SenseOff;
use since::Since;
use stop::Stopping;

/// Inputs are read this long before anything is believed.
const STARTING: Duration = Duration::from_millis(1000);
/// The lease must be renewed while nothing else happens: stepped at least this often when active.
const BEAT_ACTIVE: Duration = Duration::from_millis(20);
/// ... and when at rest.
const BEAT_AT_REST: Duration = Duration::from_millis(100);
/// A permit test is answered within this.
const TEST_LIMIT: Duration = Duration::from_secs(2);
/// A chain of states in one step is never longer than this: a bound, not a schedule.
const CHAIN: usize = 24;

/// What was vouched for is taken back if nothing is started within this (process handbook,
/// invented).
const ARMED: Duration = Duration::from_secs(600);

/// What it is about.
#[derive(Clone, Debug)]
pub(crate) enum Act {
    Starting,
    Rest,
    Homing { ticket: Ticket, since: Time },
    Testing { since: Time },
    Cutting(Box<Cycle>),
    Parking(Parking),
    ToMark(ToMark),
    Hand(Hand),
    Changing(Box<Going>),
    DryFire(dry_fire::DryFire),
    Stopping(Box<Stopping>),
}

/// What comes of an act when its handler has looked at it. A handler that forgot to say would not
/// compile: nothing comes to rest by being dropped.
pub(crate) enum Next {
    /// It goes on; nothing more in this step.
    Stays(Act),
    /// This comes now, and is looked at in the same step.
    Becomes(Act),
    /// What the handler called has set the act: a stop, the next cut, the way to the parking place.
    Set,
}

/// What the guard was told and has said.
#[derive(Clone, Debug, Default)]
pub(crate) struct Guarding {
    pub phase: Phase,
    pub epoch: u64,
    doing: (bool, bool),
    /// It was told that the sensing circuit must be off the torch.
    pub isolated: bool,
    pub fire_rise: Option<Time>,
    pub fire_fall: Option<Time>,
    pub arc_rise: Option<Time>,
    pub arc_fall: Option<Time>,
    /// The guard came late to it: it fell at some moment after this.
    pub arc_fall_after: Option<Time>,
}

impl Guarding {
    /// A guard that is away for longer than this may have missed that the arc was lost before its
    /// torch-off: the permit relay holds no longer for certain.
    const AWAY: Duration = Duration::from_millis(30);

    /// The earliest moment at which the arc can have gone out, where the guard was away for long.
    pub(crate) fn arc_fell_first(&self) -> Option<Time> {
        let at = self.arc_fall?;
        let away = self.arc_fall_after.filter(|t| at.since(*t) >= Self::AWAY);
        Some(away.unwrap_or(at))
    }
}

/// What is known of the records.
#[derive(Clone, Debug, Default)]
pub(crate) struct Keeping {
    pub durable: Option<RecordId>,
    pub failing: bool,
}

/// The one machine.
pub struct Machine {
    pub(crate) settings: Settings,
    pub(crate) now: Time,
    pub(crate) started: Option<Time>,
    pub(crate) line: Line,
    pub(crate) signals: Signals,
    pub(crate) signals_heard: bool,
    pub(crate) aging: aging::Aging,
    pub(crate) since: Since,
    /// The permit relay's mirror has differed from what is asked since then.
    mirror_odd: Option<Time>,
    /// The sensing circuit was told to be off the torch, and was not told otherwise since.
    sense_off: SenseOff,
    noise: watching::Noise,
    pub(crate) short_edges: short_edges::ShortEdges,
    /// What must have passed before anything is started.
    pub(crate) self_test: self_test::SelfTest,
    /// Until when each planned stop in hand waits.
    pub(crate) waits: BTreeMap<Cause, Time>,
    /// Torch parts were last changed then.
    parts_changed_at: Option<Time>,
    pub(crate) screen: watching::Screen,
    /// The controller complained; the guard may know better why.
    complaint: Option<line::Complaint>,
    pub(crate) guard: Guarding,
    pub(crate) alarms: Alarms,
    pub(crate) loaded: Option<Loaded>,
    pub(crate) readiness: Readiness,
    pub(crate) reference: Reference,
    pub(crate) run: Option<Run>,
    pub(crate) act: Act,
    pub(crate) interrupted: Option<Unfinished>,
    /// What was found over an interrupted run.
    pub(crate) found: run::Found,
    /// Presses of HOLD, on a screen or of the wired button.
    pub(crate) presses: holding::Presses,
    last_press: LastPress,
    last_run: u64,
    /// The change of torch parts that is open.
    pub(crate) change: Option<Change>,
    /// What the torch parts have been through, by the same events that the journal gets.
    pub(crate) parts: PartsUsed,
    /// How the steps of commissioning went, by the same events.
    pub(crate) records: Records,
    /// The step of commissioning that is open.
    pub(crate) commission: Option<commission::OpenStep>,
    pub(crate) keeping: Keeping,
    refusals: refusals::Refusals,
    outputs: outputs::Outputs,
    restored_latches: Vec<Cause>,
    pub(crate) generation: u64,
    fingerprint: Fingerprint,
    last_step: Option<Step>,
    pub(crate) out: Out,
    wake: Option<Time>,
}

impl Machine {
    /// A machine that has just been switched on. `restored`: what the journal says of before.
    #[must_use]
    pub fn new(settings: Settings, dialect: Arc<Dialect>, restored: Restored) -> Self {
        let line = Line::new(dialect, &settings);
        let sheet_at = restored.sheet_at.unwrap_or(Placement {
            origin: settings.sheet_corner,
            rotation_deg: 0.0,
        });
        let mut machine = Self {
            settings,
            now: Time::ZERO,
            started: None,
            line,
            signals: Signals::default(),
            signals_heard: false,
            aging: aging::Aging::default(),
            since: Since::default(),
            mirror_odd: None,
            sense_off: SenseOff::default(),
            noise: watching::Noise::default(),
            short_edges: short_edges::ShortEdges::default(),
            self_test: self_test::SelfTest::default(),
            waits: BTreeMap::new(),
            parts_changed_at: None,
            screen: watching::Screen::default(),
            complaint: None,
            guard: Guarding::default(),
            alarms: Alarms::default(),
            loaded: None,
            readiness: Readiness::default(),
            reference: Reference {
                doubtful: restored.doubtful,
                homed: false,
                sheet_at,
                checking: None,
            },
            run: None,
            act: Act::Starting,
            interrupted: restored.unfinished,
            found: run::Found::default(),
            presses: holding::Presses::default(),
            last_press: LastPress::default(),
            last_run: restored.last_run,
            change: None,
            parts: restored.parts,
            records: restored.commissioning,
            commission: None,
            keeping: Keeping::default(),
            refusals: refusals::Refusals::default(),
            outputs: outputs::Outputs::default(),
            restored_latches: restored.latches.into_iter().collect(),
            generation: 1,
            fingerprint: Fingerprint::default(),
            last_step: None,
            out: Out::default(),
            wake: None,
        };
        if machine.restored_latches.contains(&Cause::RecordFailed) {
            machine.keeping.failing = true;
        }
        machine
    }

    /// The only way it changes.
    pub fn step(&mut self, now: Time, input: Input) -> Effects {
        let before = self.now;
        self.now = self.now.max(now);
        self.kept_waiting(before);
        self.wake = None;
        self.come(before);
        if self.started.is_none() {
            self.begin();
        }
        self.take(input);
        self.watch_age();
        self.watch_link();
        self.watch_fault();
        self.watch_mirror();
        self.watch_sense();
        self.watch_noise();
        self.watch_screen();
        self.watch_self_test();
        self.watch_commission();
        for _ in 0..CHAIN {
            if !self.advance() {
                break;
            }
        }
        self.poll_link();
        self.settle_generation();
        self.watch_outputs();
        self.out.take()
    }

    /// When it must be stepped again even if nothing happens.
    #[must_use]
    pub fn deadline(&self) -> Option<Time> {
        let beat = match self.act {
            Act::Rest => BEAT_AT_REST,
            _ => BEAT_ACTIVE,
        };
        let own = Time::sooner(self.wake, Some(self.now + beat));
        Time::sooner(own, self.line.deadline(self.listening_since(Time::ZERO)))
    }

    /// It stands still until a record is on the disk: firing waits for its start record.
    #[must_use]
    pub fn awaits_record(&self) -> bool {
        matches!(&self.act, Act::Cutting(c) if c.record_awaited().is_some_and(|id| !self.is_kept(id)))
    }

    /// Grows whenever what may be asked changes. Cheap.
    #[must_use]
    pub fn generation(&self) -> u64 {
        self.generation
    }

    /// The whole published state as it is at `now`.
    #[must_use]
    pub fn view(&self, now: Time) -> View {
        self.show(now.max(self.now))
    }

    fn begin(&mut self) {
        self.started = Some(self.now);
        self.record(Event::PanelStarted, true);
        self.come_commissioned();
        for cause in core::mem::take(&mut self.restored_latches) {
            self.alarms.latch(cause, self.now);
            let why = match cause {
                Cause::RecordLost => "Latches, doubt and counts of before are not known.",
                _ => "Restored from the journal.",
            };
            self.alarm(cause, self.now, true, why.into());
            if cause.belongs_to_guard() {
                self.out.order(GuardOrder::Restore { cause });
            }
        }
        if let Some(u) = self.interrupted.clone() {
            self.record(
                Event::RunInterrupted {
                    run: u.run,
                    cut: u.cut,
                    sure_mm: u.sure(),
                    cut_off: u.cut_off,
                },
                true,
            );
            let why = format!(
                "The panel started over run {} of {}. Surely cut: cut {} up to {:.1} mm{}.",
                u.run,
                u.name,
                u.cut,
                u.sure(),
                if u.cut_off {
                    "; with the power the last records were lost, it may be cut further"
                } else {
                    ""
                }
            );
            self.alarm(Cause::Interrupted, self.now, false, why);
        }
        self.fume_of_before();
        self.doubt_the_chain();
        self.line.want_open(self.now, &mut self.out);
    }

    fn take(&mut self, input: Input) {
        match input {
            Input::Tick => {}
            Input::LinkOpened => self.link_opened(),
            Input::LinkLost { why } => self.link_lost(&why),
            Input::Bytes { bytes } => self.hear(&bytes),
            Input::Signals { signals, seen } => {
                if let Some(seen) = seen {
                    self.short_edges.total = seen.short_edges;
                }
                self.sense(signals, seen);
            }
            Input::Guard { report } => self.hear_guard(report),
            Input::Ask {
                id,
                generation,
                ask,
            } => self.asked(id, generation, ask),
            Input::Durable { id } => self.kept(id),
            Input::RecordFailed { why } => self.not_kept(why),
            Input::Screen { there } => self.hear_screen(there),
            Input::Output { output, failed } => self.output_failed(output, failed),
        }
    }

    fn kept(&mut self, id: RecordId) {
        self.keeping.durable = self.keeping.durable.max(Some(id));
        self.keeping.failing = false;
    }

    fn not_kept(&mut self, why: String) {
        if !self.keeping.failing {
            self.keeping.failing = true;
            let says = format!("The disk said: {why}. A cut in progress is finished.");
            self.record(Event::RecordFailed { why }, true);
            self.latch(Cause::RecordFailed, self.now, says);
            // A cut in progress is finished; nothing new starts.
            if let Some(run) = &mut self.run
                && !run.over()
                && run.held.is_none()
            {
                run.hold_after = true;
            }
        }
    }

    pub(crate) fn is_kept(&self, id: RecordId) -> bool {
        !self.keeping.failing && self.keeping.durable.is_some_and(|d| d >= id)
    }

    pub(crate) fn record(&mut self, event: Event, durable: bool) -> RecordId {
        self.parts.take(&event);
        self.records.take(&event);
        self.out.record(event, durable)
    }

    fn asked(&mut self, id: AskId, generation: u64, ask: Ask) {
        let verdict = if generation != self.generation && !admission::any_generation(self, &ask) {
            Err(admission::No::Stale)
        } else {
            admission::admit(self, &ask)
        };
        let answer = match verdict {
            Ok(admission::Yes::AlreadySo) => Answer::AlreadySo,
            Ok(admission::Yes::Do) => {
                self.carry_out(ask);
                Answer::Accepted
            }
            Err(no) => {
                if self.refusals.is_told(self.now) {
                    let (ask, reason) = (admission::kind(&ask).into(), no.name().into());
                    self.record(Event::Refused { ask, reason }, false);
                }
                no.answer()
            }
        };
        self.out.answer(id, answer);
        self.out.publish();
    }

    /// One move from act to act; `true` if there may be another.
    fn advance(&mut self) -> bool {
        self.traverse_over();
        // While its handler has the act in hand, the machine counts as at rest.
        let next = match core::mem::replace(&mut self.act, Act::Rest) {
            Act::Rest => {
                self.look_at_rest();
                return false;
            }
            Act::Starting => self.advance_starting(),
            Act::Homing { ticket, since } => self.advance_homing(ticket, since),
            Act::Testing { since } => self.advance_testing(since),
            Act::Cutting(cycle) => self.advance_cycle(cycle),
            Act::Parking(parking) => self.advance_parking(parking),
            Act::ToMark(to) => self.advance_to_mark(to),
            Act::Hand(hand) => self.advance_hand(hand),
            Act::Changing(going) => self.advance_changing(going),
            Act::DryFire(fire) => self.advance_dry_fire(fire),
            Act::Stopping(stopping) => self.advance_stopping(stopping),
        };
        match next {
            Next::Stays(act) => {
                self.act = act;
                false
            }
            Next::Becomes(act) => {
                self.act = act;
                true
            }
            Next::Set => true,
        }
    }

    fn advance_starting(&mut self) -> Next {
        let ready = self.started.map_or(self.now, |t| t + STARTING);
        if self.signals_heard && self.due(ready) {
            return Next::Becomes(Act::Rest);
        }
        Next::Stays(Act::Starting)
    }

    fn advance_testing(&mut self, since: Time) -> Next {
        if self.due(since + TEST_LIMIT) {
            self.set_phase(Phase::Off);
            self.permit_test_broken(None);
            return Next::Becomes(Act::Rest);
        }
        Next::Stays(Act::Testing { since })
    }

    /// What was vouched for is true of the table as it was then, not for ever.
    fn lapse(&mut self) {
        if self.run.is_none()
            && let Some(at) = self.readiness.confirmed_at()
            && self.due(at + ARMED)
        {
            for check in self.readiness.withdraw_all() {
                self.record(Event::Vouched { check, yes: false }, false);
            }
        }
    }

    fn look_at_rest(&mut self) {
        self.lapse();
        self.watch_change();
        self.watch_recovery();
        self.free_sense();
    }

    /// Whether a moment has come; if not, a step is wanted then.
    pub(crate) fn due(&mut self, at: Time) -> bool {
        if self.now >= at {
            return true;
        }
        self.wake = Time::sooner(self.wake, Some(at));
        false
    }

    /// Longest time that a traverse may take: three times the predicted, and 5 s.
    pub(crate) fn travel_limit(&self, from: Point, to: Point) -> Duration {
        let s = from.distance(to) / self.settings.rapid_mm_s.max(1.0)
            + self.settings.rapid_mm_s / self.settings.accel_mm_s2.max(1.0)
            + self.settings.top_z.abs() / self.settings.rapid_z_mm_s.max(1.0);
        Duration::from_secs_f64(3.0 * s + 5.0)
    }

    pub(crate) fn executed(&self, ticket: Ticket) -> bool {
        self.line.session.ready()
            && self
                .line
                .status
                .as_ref()
                .and_then(|s| s.executed)
                .is_some_and(|e| e >= ticket)
    }

    fn settle_generation(&mut self) {
        let mut fingerprint = core::mem::take(&mut self.fingerprint);
        let news = admission::renew(&mut fingerprint, self);
        self.fingerprint = fingerprint;
        if news {
            self.generation += 1;
            self.out.publish();
        }
        let step = self.cycle_step();
        if step != self.last_step {
            self.last_step = step;
            self.out.publish();
        }
    }
}
