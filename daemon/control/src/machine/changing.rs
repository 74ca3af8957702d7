//! Changing torch parts, one step at a time.
//!
//! ```text
//! Park -> Isolate -> Swap -> Contact -> Source -> Touch -> Done -> (back in the hold, or at rest)
//!            ^---------+--------'  the source is seen on
//! ```
//!
//! Nothing in it can give a permit: while a change is open admission refuses every request that
//! could fire or reference, and the machine's own moves here ask the guard for nothing. The contact
//! is tried while the source is still isolated, because a hand does it. If the panel dies in the
//! middle, the counts are right by the journal, and parts that were changed and not tried bar a
//! start until they were.

mod touch;

use core::time::Duration;

use link::Ticket;
use units::{Point, Time};

use super::{Act, Machine};
use crate::cause::Cause;
use crate::event::Event;
use crate::parts::{Counts, Part, SetTag};
use crate::view::{ChangeStep, ChangeView, PartView, PartsView, Power};
pub(crate) use touch::Going;

/// Above this the torch is not dead, V (process handbook, invented).
const DEAD_V: f64 = 5.0;
/// Contact counts after this: it flickers where metal slides on metal (process handbook, invented).
const CONTACT_ACCEPT: Duration = Duration::from_millis(10);

/// A change of torch parts that is open.
#[derive(Clone, Debug)]
pub(crate) struct Change {
    pub step: ChangeStep,
    /// The run that is held meanwhile.
    run: Option<u64>,
    /// It stands at the place for changing parts.
    parked: bool,
    /// The operator said that the source is isolated.
    vouched: bool,
    /// What was changed, once that was said.
    changed: Option<Vec<Part>>,
    contact: Contact,
    /// The sensing circuit was asked for, and when that was.
    sense: Option<(Ticket, Time)>,
    /// The contact is left to the touch-off.
    by_touch: bool,
    pub tested: bool,
    off_mm: Option<f64>,
    trouble: Option<String>,
    before: Counts,
}

/// The sensing circuit is on the torch this long after it was asked for (invented).
const SENSE_SETTLE: Duration = Duration::from_millis(200);
/// It is asked for again after this.
const SENSE_AGAIN: Duration = Duration::from_secs(2);

/// How far the contact test has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Contact {
    /// It must be seen open first.
    Unseen,
    /// It is open: metal is to be held to the nozzle.
    Open,
    /// It was closed: the metal is to be taken away.
    Closed,
}

/// What the source's power is known to be.
pub(crate) fn power(m: &Machine) -> Power {
    match m.signals.source_on {
        Some(true) => Power::On,
        Some(false) => Power::Off,
        None if volts(m) => Power::On,
        None => Power::CannotTell,
    }
}

/// The torch is seen not to be dead.
pub(crate) fn volts(m: &Machine) -> bool {
    m.signals.volts.is_some_and(|v| v.abs() >= DEAD_V)
}

/// The set with this tag.
pub(crate) fn set<'a>(m: &'a Machine, tag: &str) -> Option<&'a SetTag> {
    m.settings.sets.iter().find(|s| s.tag == tag)
}

/// The current that the loaded job is cut with, A.
pub(crate) fn wanted_amps(m: &Machine) -> Option<f64> {
    m.loaded.as_ref().map(|l| l.job.row.amps)
}

impl Machine {
    fn change_run(&self) -> Option<u64> {
        self.change.as_ref().and_then(|c| c.run)
    }

    pub(super) fn begin_change(&mut self) {
        let held = self.run.as_ref().filter(|r| !r.over()).map(|r| r.id);
        let run = held.or(self.interrupted.as_ref().map(|u| u.run));
        self.change = Some(Change {
            step: ChangeStep::Park,
            run,
            parked: false,
            vouched: false,
            changed: None,
            contact: Contact::Unseen,
            sense: None,
            by_touch: false,
            tested: false,
            off_mm: None,
            trouble: None,
            before: self.parts.counts(),
        });
        self.record(Event::ChangeBegun { run }, true);
        let unseen = self
            .run
            .as_ref()
            .and_then(|r| r.held.as_ref())
            .is_some_and(|h| h.unseen.is_some());
        if self.may_move() && crate::machine::checks::bars_moving(self).is_none() && !unseen {
            self.go_to_change();
        } else {
            self.at_change_place(false);
        }
    }

    pub(super) fn at_change_place(&mut self, parked: bool) {
        let run = self.change_run();
        self.record(Event::ChangePlace { run, parked }, false);
        if let Some(c) = &mut self.change {
            c.parked = parked;
            c.step = ChangeStep::Isolate;
        }
        self.out.publish();
    }

    pub(super) fn source_isolated(&mut self) {
        let run = self.change_run();
        let seen = self.signals.source_on == Some(false);
        self.record(Event::SourceIsolated { run, seen }, true);
        if let Some(c) = &mut self.change {
            c.vouched = !seen;
            c.trouble = None;
            // Power that came back in the middle takes nothing back that was said of the parts.
            c.step = if c.changed.is_some() {
                ChangeStep::Contact
            } else {
                ChangeStep::Swap
            };
        }
        self.begin_contact_test();
    }

    pub(super) fn parts_changed(&mut self, mut parts: Vec<Part>, tag: Option<String>) {
        parts.sort_unstable();
        parts.dedup();
        let run = self.change_run();
        let amps = tag.as_deref().and_then(|t| set(self, t)).map(|s| s.amps);
        let event = Event::PartsChanged {
            run,
            parts: parts.clone(),
            set: tag,
            amps,
        };
        self.record(event, true);
        if !parts.is_empty() {
            self.parts_changed_at = Some(self.now);
        }
        if let Some(c) = &mut self.change {
            c.changed = Some(parts);
            c.step = ChangeStep::Contact;
        }
        self.begin_contact_test();
    }

    fn begin_contact_test(&mut self) {
        let Some(c) = &mut self.change else { return };
        if c.step != ChangeStep::Contact {
            return;
        }
        if !self.line.switches_sense() {
            // Metal in a hand closes no circuit: the parts are tried by the sheet.
            self.contact_by_touch();
            return;
        }
        c.contact = Contact::Unseen;
        c.sense = None;
        self.ask_for_sense();
    }

    fn ask_for_sense(&mut self) {
        if !self.line.usable() {
            return;
        }
        let ticket = self.connect_sense();
        let now = self.now;
        if let Some(c) = &mut self.change {
            c.sense = Some((ticket, now));
        }
    }

    /// The sensing circuit is on the torch: before that an open contact says nothing.
    fn senses(&mut self) -> bool {
        match self.change.as_ref().and_then(|c| c.sense) {
            None => {
                self.ask_for_sense();
                false
            }
            Some((ticket, at)) => {
                if self.executed(ticket) && self.signals.sense_isolated != Some(true) {
                    return self.due(at + SENSE_SETTLE);
                }
                // A stop in between throws away what waits: it is asked for again.
                if self.due(at + SENSE_AGAIN) {
                    self.ask_for_sense();
                }
                false
            }
        }
    }

    /// The operator leaves the contact test to the touch-off.
    pub(super) fn contact_by_touch(&mut self) {
        if let Some(c) = &mut self.change {
            c.by_touch = true;
            c.trouble = None;
            c.step = ChangeStep::Source;
        }
    }

    pub(super) fn source_back(&mut self) {
        let run = self.change_run();
        let seen = self.signals.source_on == Some(true);
        self.record(Event::SourceBack { run, seen }, true);
        let touch = self.may_touch().is_some();
        if let Some(c) = &mut self.change {
            c.step = if touch {
                ChangeStep::Touch
            } else {
                ChangeStep::Done
            };
        }
    }

    pub(super) fn end_change(&mut self, cancelled: bool) {
        if let Some(c) = self.change.take() {
            let run = c.run;
            self.record(Event::ChangeEnded { run, cancelled }, true);
        }
        self.out.publish();
    }

    /// Leaves it where it stands; the torch, where it moves, is stopped.
    pub(super) fn cancel_change(&mut self) {
        if matches!(self.act, Act::Changing(_)) {
            let why = "The change of torch parts was cancelled.".into();
            self.stop_why(Cause::Hold, self.now, why);
        }
        self.end_change(true);
    }

    pub(super) fn contact_tested(&mut self, by_touch: bool) {
        let run = self.change_run();
        self.record(Event::ContactTested { run, by_touch }, true);
        if let Some(c) = &mut self.change {
            c.tested = true;
            c.trouble = None;
        }
    }

    /// What comes by itself while a change is open and nothing moves.
    pub(super) fn watch_change(&mut self) {
        let Some(step) = self.change.as_ref().map(|c| c.step) else {
            return;
        };
        match step {
            // It was stopped on its way.
            ChangeStep::Park => self.at_change_place(false),
            ChangeStep::Swap | ChangeStep::Contact => {
                if power(self) == Power::On {
                    if let Some(c) = &mut self.change {
                        c.step = ChangeStep::Isolate;
                        c.vouched = false;
                        c.trouble =
                            Some("Torch power came on. Hands off. Switch it off again.".into());
                    }
                    self.out.publish();
                } else if step == ChangeStep::Contact {
                    self.watch_contact();
                }
            }
            _ => {}
        }
    }

    fn watch_contact(&mut self) {
        if !self.senses() {
            return;
        }
        let closed = self
            .since
            .contact_closed
            .map(|at| self.due(at + CONTACT_ACCEPT));
        let Some(c) = &mut self.change else { return };
        let next = match (c.contact, closed) {
            (Contact::Unseen, None) => Contact::Open,
            (Contact::Open, Some(true)) => Contact::Closed,
            (Contact::Closed, None) => {
                c.step = ChangeStep::Source;
                self.contact_tested(false);
                self.out.publish();
                return;
            }
            (Contact::Unseen, Some(true)) if c.trouble.is_none() => {
                c.trouble = Some(
                    "The contact is on and nothing should touch. Clean nozzle and shield.".into(),
                );
                self.out.publish();
                return;
            }
            _ => return,
        };
        c.contact = next;
        c.trouble = None;
        self.out.publish();
    }

    fn change_trouble(&mut self, says: String) {
        if let Some(c) = &mut self.change {
            c.trouble = Some(says);
        }
    }

    /// The place of a touch for a change, if one can be made now, machine coordinates.
    pub(crate) fn may_touch(&self) -> Option<Point> {
        (self.may_move()
            && !self.reference.doubtful
            && crate::machine::checks::bars_moving(self).is_none())
        .then(|| self.touch_place())
        .flatten()
    }

    pub(super) fn change_view(&self) -> Option<ChangeView> {
        let c = self.change.as_ref()?;
        Some(ChangeView {
            step: c.step,
            moving: matches!(self.act, Act::Changing(_)),
            parked: c.parked,
            power: power(self),
            power_at_s: self.since.source.map(Time::as_s),
            vouched: c.vouched,
            changed: c.changed.clone(),
            contact_closed: self.signals.contact,
            contact_seen: c.contact == Contact::Closed,
            tested: c.tested,
            by_touch: c.by_touch,
            may_touch: self.may_touch().is_some(),
            off_mm: c.off_mm,
            trouble: c.trouble.clone(),
            before: self.part_views(&c.before),
        })
    }

    fn part_views(&self, counts: &Counts) -> Vec<PartView> {
        Part::ALL
            .into_iter()
            .map(|part| {
                let used = counts.used.get(&part).copied().unwrap_or_default();
                PartView {
                    part,
                    starts: used.starts,
                    failed: used.failed,
                    lost: used.lost,
                    arc_s: used.arc_s,
                    worn: self
                        .settings
                        .supplies
                        .filter(|_| matches!(part, Part::Nozzle | Part::Electrode))
                        .map(|told| counts.wear(part, &told).used()),
                }
            })
            .collect()
    }

    pub(super) fn parts_view(&self) -> PartsView {
        PartsView {
            parts: self.part_views(&self.parts.counts()),
            fitted: self.parts.fitted.clone(),
            sets: self.settings.sets.clone(),
            wanted_amps: wanted_amps(self),
            tested: !self.parts.untested,
            supplies: self.supplies(),
        }
    }

    fn supplies(&self) -> Option<process::Set> {
        let told = self.settings.supplies?;
        let pending = self.interrupted.is_some() || self.run.as_ref().is_some_and(|r| !r.over());
        Some(self.parts.supplies(&told, pending))
    }

    pub(super) fn stopped_in_change(&mut self, cause: Cause) {
        self.change_trouble(format!("It was stopped: {}.", crate::words::plain(cause)));
    }
}
