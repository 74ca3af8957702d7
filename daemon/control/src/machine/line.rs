//! The line to the controller: opened, heard, lost, silent, reset.
//!
//! A controller that is alive reports every 20 ms. Silence while something runs is `link-cut`.
//! Nothing un-latches by reconnecting.

use core::time::Duration;
use std::sync::Arc;

use link::{Capability, Command, Dialect, Doing, Session, Status, TakeAway, Ticket, Word};
use units::{Point, Time};

use super::jump::Sight;
use super::out::Out;
use super::stamps::Stamps;
use super::{Act, Machine};
use crate::cause::Cause;
use crate::event::Event;
use crate::guard::{GuardOrder, Phase};
use crate::settings::Settings;

/// The port is asked for again after this.
const RETRY: Duration = Duration::from_millis(250);
/// The controller's up-time may differ from the panel's clock by this much and still prove an
/// unbroken count, ms (invented).
const UP_TIME_SLACK_MS: f64 = 1000.0;
/// What lay unread in the wire is read within this: some seconds of reports, at its speed (invented).
const READ_UP: Duration = Duration::from_millis(500);
/// A complaint of the controller waits this long for a cause from the guard.
const COMPLAINT_WAITS: Duration = Duration::from_millis(20);
/// Speed below which it is at rest, mm/s.
const AT_REST_MM_S: f64 = 0.01;

/// The controller refused a line or gave an alarm.
#[derive(Clone, Debug)]
pub(crate) struct Complaint {
    at: Time,
    why: String,
    doubtful: bool,
}

/// What is known of the line.
pub(crate) struct Line {
    pub session: Session,
    pub open: bool,
    opening: bool,
    retry_at: Option<Time>,
    silence: Duration,
    /// The controller reports this often.
    pub report_every: Duration,
    pub status: Option<Status>,
    pub stamps: Stamps,
    /// A report has come since the epoch was opened.
    fresh: bool,
    was_ready: bool,
    pub alive: bool,
    /// A greeting was heard in this connection before it was ever ready: no reset, but not
    /// referenced either.
    ever_ready: bool,
    /// Contact with the controller was lost: its last up-time, ms, and when that was.
    pub unproven: Option<(Option<u64>, Time)>,
    /// Reports that lag behind the clock have come since then: what lay in the wire while nobody
    /// read it.
    behind: Option<Time>,
    heard: Vec<Word>,
    sends_again: bool,
    /// The dialect has words for the sensing circuit's relay.
    switches_sense: bool,
    /// Where it was seen last, to notice a place that jumps.
    pub sight: Sight,
}

impl Line {
    pub(crate) fn new(dialect: Arc<Dialect>, settings: &Settings) -> Self {
        let report_every = dialect.report_every();
        let sends_again =
            dialect.has(Capability::LineCheck) && dialect.has(Capability::LineNumbers);
        Self {
            sends_again,
            switches_sense: dialect.has(Capability::Sense),
            session: Session::new(dialect, settings.baud),
            report_every,
            open: false,
            opening: false,
            retry_at: None,
            silence: Duration::from_millis(settings.link_silence_ms),
            status: None,
            stamps: Stamps::default(),
            fresh: false,
            was_ready: false,
            alive: false,
            ever_ready: false,
            unproven: None,
            behind: None,
            heard: Vec::new(),
            sight: Sight::default(),
        }
    }

    /// Whether a spoilt line is found and may be sent again: lines carry a check sum and a number.
    pub(crate) const fn sends_again(&self) -> bool {
        self.sends_again
    }

    /// The sensing circuit can be told on and off. Where it cannot, a contact is seen in a touch-off alone.
    pub(crate) const fn switches_sense(&self) -> bool {
        self.switches_sense
    }

    pub(crate) fn want_open(&mut self, now: Time, out: &mut Out) {
        if self.open || self.opening || self.retry_at.is_some_and(|t| now < t) {
            return;
        }
        self.retry_at = None;
        self.opening = true;
        out.open_link();
    }

    /// `listening`: silence counts from no earlier than this.
    pub(crate) fn deadline(&self, listening: Time) -> Option<Time> {
        let own = if self.open {
            self.session.deadline()
        } else {
            self.retry_at
        };
        let silence = self
            .status
            .as_ref()
            .filter(|_| self.alive)
            .map(|s| s.at.max(listening) + self.silence + Duration::from_millis(1));
        Time::sooner(own, silence)
    }

    /// How long it may be silent.
    pub(crate) const fn silence(&self) -> Duration {
        self.silence
    }

    /// A controller that cannot switch the sensing circuit sees to it by itself, or touches by
    /// something else. In its place it is told torch-off, which nothing but a fire follows: the
    /// ticket is carried out in its order as the switching would be.
    pub(crate) fn say(&mut self, c: Command) -> Ticket {
        let c = match c {
            Command::SenseOn | Command::SenseOff if !self.switches_sense => Command::TorchOff,
            c => c,
        };
        self.session.say(c)
    }

    /// It listens, reports and stands in no fault.
    pub(crate) fn usable(&self) -> bool {
        self.listens()
            && self
                .status
                .as_ref()
                .is_some_and(|s| s.doing != Doing::Faulted)
    }

    /// It listens and reports.
    pub(crate) fn listens(&self) -> bool {
        self.open && self.alive && self.session.ready() && self.fresh
    }

    pub(crate) fn at_rest(&self) -> bool {
        self.fresh
            && self.status.as_ref().is_some_and(|s| {
                let still = s.feed_mm_s.is_none_or(|v| v.abs() <= AT_REST_MM_S);
                match s.doing {
                    Doing::Idle => true,
                    Doing::Faulted | Doing::Holding => s.feed_mm_s.is_some() && still,
                    Doing::Running | Doing::Homing | Doing::Touching => false,
                }
            })
    }

    pub(crate) fn referenced(&self, homed: bool) -> bool {
        self.status
            .as_ref()
            .is_some_and(|s| s.referenced.unwrap_or(homed))
    }

    pub(crate) fn z(&self) -> Option<f64> {
        self.status.as_ref().map(|s| s.z)
    }

    pub(crate) fn place(&self) -> Option<Point> {
        self.status.as_ref().map(|s| s.place)
    }
}

impl Machine {
    pub(super) fn link_opened(&mut self) {
        self.line.opening = false;
        self.line.open = true;
        self.line.fresh = false;
        self.line.was_ready = false;
        self.line.ever_ready = false;
        self.line.session.opened(self.now);
        self.record(Event::LinkOpened, false);
        self.out.publish();
    }

    pub(super) fn link_lost(&mut self, why: &str) {
        let was_open = self.line.open;
        self.line.opening = false;
        self.line.open = false;
        self.line.fresh = false;
        self.line.retry_at = Some(self.now + RETRY);
        if was_open {
            self.line.session.lost();
            if self.line.alive {
                self.fell_silent(why);
            }
        }
    }

    /// Reports have stopped.
    fn fell_silent(&mut self, why: &str) {
        self.line.alive = false;
        self.line.sight.forget();
        if self.line.unproven.is_none() {
            let last = self.line.status.as_ref();
            self.line.unproven =
                Some((last.and_then(|s| s.up_ms), last.map_or(self.now, |s| s.at)));
        }
        self.record(Event::LinkLost { why: why.into() }, true);
        let last = self.line.status.as_ref().map_or(self.now, |s| s.at);
        if self.active() {
            let since = self.now.since(last);
            // A line that ends (a cable pulled) is told as that, not as a silence of a moment.
            let says = if since > self.line.silence {
                format!(
                    "No word from it for {} ms; limit {} ms. Motion and place: not known.",
                    since.as_millis(),
                    self.line.silence.as_millis()
                )
            } else {
                format!("The line itself ended: {why}. Motion and place: not known.")
            };
            self.latch(Cause::LinkCut, self.now, says.clone());
            self.stop_why(Cause::LinkCut, last, says);
        }
        self.out.publish();
    }

    pub(super) fn watch_link(&mut self) {
        self.line.want_open(self.now, &mut self.out);
        if self.line.alive
            && let Some(at) = self.line.status.as_ref().map(|s| s.at)
            && self.now > self.listening_since(at) + self.line.silence
        {
            self.fell_silent("it fell silent");
        }
    }

    pub(super) fn hear(&mut self, bytes: &[u8]) {
        let mut words = core::mem::take(&mut self.line.heard);
        words.clear();
        self.line.session.receive(self.now, bytes, &mut words);
        for word in words.drain(..) {
            self.hear_word(word);
        }
        self.line.heard = words;
    }

    fn hear_word(&mut self, word: Word) {
        match word {
            Word::Greeting => self.greeted(),
            Word::Ready => {
                self.line.was_ready = true;
                self.line.ever_ready = true;
                self.line.fresh = false;
                self.record(Event::LinkReady, false);
                // It has taken torch-off: from here a fire is unasked.
                self.tell_guard_torch_off();
            }
            Word::CountFell { from, to } => {
                self.controller_reset(&format!("Its count of lines fell from {from} to {to}."));
            }
            Word::Status(status) => self.hear_status(status),
            Word::Taken(ticket) => self.taken(ticket),
            Word::Refused { why, .. } => {
                self.record(Event::ControllerRefused { words: why.clone() }, true);
                if self.line.session.ready() {
                    self.complain(format!("It refused a line: {why}."), false);
                    self.flush_at_rest();
                }
            }
            Word::Touched { ticket, z } => self.touched(ticket, Some(z)),
            Word::Missed { ticket } => self.touched(ticket, None),
            Word::Stamped(stamped) => {
                let place = self.to_sheet(stamped.place);
                self.line.stamps.keep(&stamped, place);
            }
            Word::Alarm(words) => {
                self.record(
                    Event::ControllerAlarm {
                        words: words.clone(),
                    },
                    true,
                );
                self.complain(format!("It gave an alarm: {words}."), true);
            }
        }
    }

    /// After a line that was refused or never answered nothing more is said before a new epoch. A run is
    /// stopped by it, and that opens one; at rest nothing would, and the controller might stand in its
    /// fault for ever.
    fn flush_at_rest(&mut self) {
        if !self.active() {
            self.line.session.flush(self.now);
            self.line.fresh = false;
            self.sense_unknown();
        }
    }

    fn complain(&mut self, why: String, doubtful: bool) {
        if self.active() && !self.stopping() && self.complaint.is_none() {
            self.complaint = Some(Complaint {
                at: self.now,
                why,
                doubtful,
            });
        }
    }

    /// A controller that complains stands already. What the guard saw in the same moment is the
    /// better cause, so it is waited for.
    pub(super) fn watch_fault(&mut self) {
        if !self.active() || self.stopping() {
            self.complaint = None;
        }
        let Some(at) = self.complaint.as_ref().map(|c| c.at) else {
            return;
        };
        if self.signals.estop_open {
            self.complaint = None;
            self.stop(Cause::Estop, at);
        } else if self.due(at + COMPLAINT_WAITS)
            && let Some(c) = self.complaint.take()
        {
            self.latch(Cause::ControllerFault, c.at, c.why.clone());
            if c.doubtful {
                self.doubt(Some(Cause::ControllerFault));
            }
            self.stop_why(Cause::ControllerFault, c.at, c.why);
        }
    }

    fn greeted(&mut self) {
        self.record(Event::ControllerGreeting, true);
        let reset = self.line.ever_ready || self.line.unproven.is_some();
        self.line.fresh = false;
        self.line.status = None;
        if reset {
            self.controller_reset("It greeted as after switch-on.");
        } else {
            self.line.session.flush(self.now);
        }
        if !self.reference.doubtful {
            self.doubt(None);
        }
    }

    fn controller_reset(&mut self, why: &str) {
        self.line.sight.forget();
        self.lose_sight();
        self.line.stamps.clear();
        self.line.unproven = None;
        self.sense_off = super::SenseOff::No;
        self.line.session.flush(self.now);
        if !self.reference.doubtful {
            self.doubt(Some(Cause::ControllerReset));
        }
        self.reference.homed = false;
        let busy = self.active() || self.run.as_ref().is_some_and(|r| !r.over());
        if busy {
            self.latch(Cause::ControllerReset, self.now, why.into());
            if !self.explain(Cause::ControllerReset) && self.active() && !self.stopping() {
                self.stop_why(Cause::ControllerReset, self.now, why.into());
            }
        }
    }

    fn hear_status(&mut self, status: Status) {
        let up_before = self.line.status.as_ref().and_then(|s| s.up_ms);
        if let (Some(up), Some(before)) = (status.up_ms, up_before)
            && up < before
        {
            self.controller_reset("Its up-time fell.");
        }
        if let Some(why) = self.place_jumped(&status) {
            self.controller_reset(&why);
        }
        self.prove_the_chain(status.referenced);
        if let Some((up_then, then)) = self.line.unproven
            && !self.heard_late(&status, up_then, then)
        {
            self.line.unproven = None;
            let elapsed = status.at.since(then).as_secs_f64() * 1000.0;
            let slack = UP_TIME_SLACK_MS + elapsed * 0.01;
            let unbroken = match (up_then, status.up_ms) {
                (Some(then), Some(up)) => (up as f64 - then as f64 - elapsed).abs() < slack,
                _ => false,
            };
            if unbroken && status.referenced != Some(false) {
                if !self.reference.doubtful {
                    self.record(Event::PlaceProven, true);
                }
            } else if up_then.is_some() && status.up_ms.is_some() && !unbroken {
                self.controller_reset("Its up-time does not fit the time that has passed.");
            } else if !self.reference.doubtful {
                self.doubt(Some(Cause::LinkCut));
            }
        }
        if status.referenced == Some(false) {
            if matches!(self.act, Act::Cutting(_) | Act::Parking(_)) {
                self.controller_reset("It says that its axes are not referenced.");
            }
            self.reference.homed = false;
            if !self.reference.doubtful {
                self.doubt(None);
            }
        }
        if self.line.session.ready() {
            self.line.fresh = true;
        }
        self.line.alive = true;
        let place = self.to_sheet(status.place);
        let said_since = self.said_since();
        if let Act::Cutting(cycle) = &mut self.act {
            cycle.report(&status, place, said_since);
        }
        self.report_braking(&status);
        self.line.status = Some(status);
        self.note_where_it_stood();
        self.find_unseen_place();
        self.out.publish();
    }

    /// Whether it is a report of before, heard only now: a panel that stood still finds them in the
    /// wire, one after the other, and the last of them tells the time. It proves nothing yet.
    fn heard_late(&mut self, status: &Status, up_then: Option<u64>, then: Time) -> bool {
        let (Some(up_then), Some(up)) = (up_then, status.up_ms) else {
            return false;
        };
        let elapsed_ms = status.at.since(then).as_secs_f64() * 1000.0;
        let lags = up >= up_then && ((up - up_then) as f64) + UP_TIME_SLACK_MS < elapsed_ms;
        if !lags {
            self.line.behind = None;
            return false;
        }
        let since = *self.line.behind.get_or_insert(self.now);
        if self.due(since + READ_UP) {
            self.line.behind = None;
            return false;
        }
        true
    }

    /// The panel before this one died in a run; its controller has not, and stands where the hold
    /// has stopped it. Believed only while the count of its steps was never in doubt.
    fn note_where_it_stood(&mut self) {
        let still = matches!(self.act, Act::Starting | Act::Rest) && self.line.at_rest();
        if self.interrupted.is_some()
            && self.found.stood.is_none()
            && still
            && !self.reference.doubtful
        {
            self.found.stood = self.last_place();
        }
    }

    /// Whether motion or fire is under way.
    pub(crate) fn active(&self) -> bool {
        !matches!(self.act, Act::Starting | Act::Rest)
    }

    pub(crate) fn stopping(&self) -> bool {
        matches!(self.act, Act::Stopping(_))
    }

    /// A torch that is being stopped in a traverse can still run into something: that is watched
    /// until it stands.
    pub(super) fn traverse_over(&mut self) {
        let stopped = matches!(self.act, Act::Starting | Act::Rest | Act::Stopping(_));
        if self.guard.doing.0 && stopped && self.line.listens() && self.line.at_rest() {
            self.traversing(false);
        }
    }

    /// Hold, torch-off and an empty queue, past everything that waits.
    pub(super) fn halt(&mut self) {
        self.set_phase(Phase::Off);
        if self.line.open {
            self.line.session.take_away(TakeAway::Hold);
            self.line.session.take_away(TakeAway::TorchOff);
            self.line.session.flush(self.now);
            self.line.fresh = false;
            self.sense_unknown();
            self.poll_link();
        }
        let epoch = self.guard.epoch;
        self.out.order(GuardOrder::Handled { epoch });
    }

    pub(super) fn poll_link(&mut self) {
        if !self.line.open {
            return;
        }
        let arc_on = self.guard.phase == Phase::Firing || self.signals.fire_on;
        let outgoing = self.line.session.poll(self.now, arc_on);
        self.out.take_away(&outgoing.take_away);
        self.out.lines(&outgoing.lines);
    }
}
