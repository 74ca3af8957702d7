//! The self-test (process handbook 3.5, limits invented there): after every switch-on, and again where
//! a cause is cleared by it. Nothing can be started before it has passed.
//!
//! It is made while the table stands still, beside whatever a person does meanwhile: the inputs must
//! be as at rest for a second, 200 lines must be answered in time and unspoilt, and the controller
//! must show that it counts. It performs nothing: the line that is sent is torch-off.

use core::time::Duration;
use std::borrow::Cow;

use link::{Command, Ticket};
use process::VoltsInput;
use units::Time;

use super::{Act, Machine};
use crate::cause::{Cause, Quality};
use crate::event::Event;
use crate::view::{SelfTestItem, SelfTestView};

/// Serial round trips.
const TRIPS: u32 = 200;
/// None may take longer.
const TRIP_LIMIT: Duration = Duration::from_millis(60);
/// ... and a line that was spoilt and sent again no longer than this (ours).
const CURED_LIMIT: Duration = Duration::from_secs(1);
/// Of a controller whose lines can be sent again, at most this many may be spoilt in one series: one
/// in four (ours). At a bit error rate of 1e-4 about 10 are.
const SPOILT_MOST: u64 = (TRIPS / 4) as u64;
/// The inputs are as at rest for this long.
const AT_REST: Duration = Duration::from_secs(1);
/// Volts at rest are 0 within this, V.
const VOLTS_ZERO: f64 = 2.0;
/// After a series that failed the line is tried again after this (ours).
const AGAIN: Duration = Duration::from_secs(2);
/// The count is seen to rise within this of the last line (ours).
const COUNT_LIMIT: Duration = Duration::from_secs(1);
/// What fails is told once it has stood for this long (ours).
const TOLD_AFTER: Duration = Duration::from_secs(1);

/// How far the lines have come.
#[derive(Clone, Debug, Default)]
struct Trips {
    asked: Option<(Ticket, Time)>,
    last: Option<Ticket>,
    done: u32,
    longest: Duration,
    /// Spoilt or repeated lines, and the controller's up-time, when the series began.
    began: Option<(u64, Option<u64>)>,
    bad: u64,
    /// `bad` when the line that is waited for was sent.
    bad_before: u64,
    ended: Option<Time>,
    failed: Option<String>,
}

/// The self-test and how far it has come.
#[derive(Clone, Debug, Default)]
pub(crate) struct SelfTest {
    pub passed: bool,
    rest_since: Option<Time>,
    trips: Trips,
    counts: bool,
    /// What fails, and since when it is just that.
    failing: (Vec<&'static str>, Option<Time>),
    told: Vec<&'static str>,
}

impl Machine {
    /// The inputs at rest: what each is called, whether it is as it must be, and what is said of it if
    /// not. What is not fitted is left out.
    fn rest_pattern(&self) -> Vec<(&'static str, bool, Cow<'static, str>)> {
        let s = &self.signals;
        let mut all = vec![
            (
                "start contact",
                !s.fire_on,
                "the start contact is closed".into(),
            ),
            ("arc signal", !s.arc_ok, "the arc signal is on".into()),
            (
                "torch contact",
                !s.contact,
                "the torch contact is on".into(),
            ),
        ];
        let mut fitted = |name, level: Option<bool>, wrong: bool, says: &'static str| {
            if let Some(level) = level {
                all.push((name, level != wrong, says.into()));
            }
        };
        fitted(
            "permit relay",
            s.permit_closed,
            true,
            "the permit relay is closed",
        );
        fitted(
            "torch seat",
            s.torch_seated,
            false,
            "the torch is not in its holder",
        );
        fitted(
            "float switch",
            s.float_switch,
            true,
            "the float switch is on",
        );
        fitted("air", s.air_ok, false, "the air is low");
        if let Some(v) = s.volts {
            let off = s.volts_input == VoltsInput::WireOff;
            let zero = v.abs() <= VOLTS_ZERO && !off;
            let wrong = || match off {
                true => "the wire of the arc volts is off".to_owned(),
                false => format!("{v:.1} V at rest; limit {VOLTS_ZERO:.0} V"),
            };
            let says = if zero { String::new() } else { wrong() };
            all.push(("volts", zero, says.into()));
        }
        if let Some(status) = &self.line.status {
            let limits = status.doing != link::Doing::Faulted;
            let says = "the controller stands in a fault: limits, drives".into();
            all.push(("limits", limits, says));
        }
        all
    }

    /// It has to be made anew.
    pub(super) fn self_test_anew(&mut self, cause: Cause) {
        if cause.facts().is(Quality::SelfTestAnew) {
            self.self_test = SelfTest::default();
            self.out.publish();
        }
    }

    /// A line of it was taken.
    pub(super) fn trip_taken(&mut self, ticket: Ticket) {
        let now = self.now;
        let trips = &mut self.self_test.trips;
        if let Some((asked, at)) = trips.asked
            && ticket >= asked
        {
            trips.asked = None;
            trips.done += 1;
            // A line that was sent again is judged by its own limit.
            if trips.bad == trips.bad_before {
                trips.longest = trips.longest.max(now.since(at));
            }
        }
    }

    pub(super) fn watch_self_test(&mut self) {
        if self.self_test.passed || !self.signals_heard {
            return;
        }
        let still = matches!(self.act, Act::Starting | Act::Rest);
        let right = still && self.rest_pattern().iter().all(|(_, holds, _)| *holds);
        let rest = &mut self.self_test.rest_since;
        *rest = if right { rest.or(Some(self.now)) } else { None };
        let at_rest = self.self_test.rest_since.map(|t| t + AT_REST);
        let at_rest = at_rest.is_some_and(|t| self.due(t));
        if still && self.line.usable() {
            self.try_line();
        } else {
            self.self_test.trips.asked = None;
        }
        self.tell_failing();
        if at_rest && self.line_passed() && self.self_test.counts {
            self.self_test.passed = true;
            self.tell_self_test(Vec::new());
        }
    }

    fn line_passed(&self) -> bool {
        let trips = &self.self_test.trips;
        trips.done >= TRIPS && trips.failed.is_none()
    }

    fn spoilt(&self) -> u64 {
        let c = self.line.session.counters();
        c.bad_frames + c.lines_resent + c.asked_again
    }

    /// One line after the other, each answered before the next.
    fn try_line(&mut self) {
        let spoilt = self.spoilt();
        let up_ms = self.line.status.as_ref().and_then(|s| s.up_ms);
        if let Some(at) = self.self_test.trips.ended {
            self.look_at_count(at, up_ms);
            return;
        }
        let (before, _) = *self.self_test.trips.began.get_or_insert((spoilt, up_ms));
        self.self_test.trips.bad = spoilt - before.min(spoilt);
        let most = if self.line.sends_again() {
            SPOILT_MOST
        } else {
            0
        };
        let trips = &self.self_test.trips;
        let (done, bad, longest) = (trips.done, trips.bad, trips.longest);
        let limit = if bad > trips.bad_before && bad <= most {
            CURED_LIMIT
        } else {
            TRIP_LIMIT
        };
        let waits = trips.asked.map(|(_, at)| at + limit);
        let late = longest >= TRIP_LIMIT || waits.is_some_and(|t| self.due(t));
        if late || bad > most {
            let ms = limit.as_millis();
            self.self_test.trips.failed = Some(if late {
                format!("a line was not answered within {ms} ms")
            } else {
                format!("of {} lines {bad} were spoilt", done + 1)
            });
            self.self_test.trips.ended = Some(self.now);
        } else if done >= TRIPS {
            self.self_test.trips.ended = Some(self.now);
        } else if waits.is_none() && self.line.session.unsent() == 0 {
            let ticket = self.line.say(Command::TorchOff);
            let trips = &mut self.self_test.trips;
            trips.asked = Some((ticket, self.now));
            trips.last = Some(ticket);
            trips.bad_before = trips.bad;
        }
    }

    /// All lines are through: the controller shows that it counts. What failed is tried again.
    fn look_at_count(&mut self, ended: Time, up_ms: Option<u64>) {
        let trips = &self.self_test.trips;
        let up_before = trips.began.and_then(|(_, up)| up);
        let rises = up_before.zip(up_ms).is_some_and(|(a, b)| b > a);
        let executed = trips.last.is_some_and(|t| self.executed(t));
        self.self_test.counts |= rises || executed;
        if self.line_passed() && (self.self_test.counts || !self.due(ended + COUNT_LIMIT)) {
            return;
        }
        if self.due(ended + AGAIN) {
            self.self_test.trips = Trips::default();
        }
    }

    /// What is not as it must be, by name and in words; `None`: not known yet.
    fn self_test_items(&self) -> Vec<(&'static str, Option<bool>, Cow<'static, str>)> {
        let mut all: Vec<_> = self
            .rest_pattern()
            .into_iter()
            .map(|(name, holds, says)| (name, Some(holds || self.self_test.passed), says))
            .collect();
        let trips = &self.self_test.trips;
        let line = match &trips.failed {
            Some(why) => (Some(false), why.clone()),
            None if trips.done >= TRIPS => (Some(true), String::new()),
            None => (None, format!("{} of {TRIPS} lines answered", trips.done)),
        };
        all.push(("line", line.0, line.1.into()));
        let overdue = trips.ended.is_some_and(|t| self.now >= t + COUNT_LIMIT);
        let counts = match (self.self_test.counts, overdue) {
            (true, _) => Some(true),
            (false, true) => Some(false),
            (false, false) => None,
        };
        let says = "neither the controller's count nor its up-time rises";
        all.push(("count", counts, says.into()));
        all
    }

    /// What fails is kept in the journal, once for each state that stands.
    fn tell_failing(&mut self) {
        let failing: Vec<_> = self
            .self_test_items()
            .into_iter()
            .filter(|(_, holds, _)| *holds == Some(false))
            .collect();
        let names: Vec<&'static str> = failing.iter().map(|(name, ..)| *name).collect();
        if self.self_test.failing.0 != names {
            self.self_test.failing = (names.clone(), Some(self.now));
            self.out.publish();
        }
        let since = self.self_test.failing.1;
        let started = !matches!(self.act, Act::Starting);
        if started
            && !names.is_empty()
            && self.self_test.told != names
            && since.is_some_and(|t| self.due(t + TOLD_AFTER))
        {
            self.self_test.told = names;
            let says = failing.into_iter().map(|(_, _, says)| says.into_owned());
            self.tell_self_test(says.collect());
        }
    }

    fn tell_self_test(&mut self, failed: Vec<String>) {
        let trips = &self.self_test.trips;
        let event = Event::SelfTested {
            failed,
            trips: trips.done,
            longest_ms: trips.longest.as_secs_f64() * 1000.0,
            bad: trips.bad,
        };
        self.record(event, false);
        self.out.publish();
    }

    /// What keeps it from being passed, in a sentence.
    pub(super) fn self_test_remedy(&self) -> String {
        let items = self.self_test_items();
        let failing: Vec<&str> = items
            .iter()
            .filter(|(_, holds, _)| *holds == Some(false))
            .map(|(_, _, says)| says.as_ref())
            .collect();
        if failing.is_empty() {
            "Wait: it is being made.".into()
        } else {
            format!("Not passed: {}.", failing.join("; "))
        }
    }

    pub(super) fn self_test_view(&self) -> SelfTestView {
        SelfTestView {
            passed: self.self_test.passed,
            items: self
                .self_test_items()
                .into_iter()
                .map(|(name, holds, says)| SelfTestItem {
                    name: name.into(),
                    holds,
                    says: if holds == Some(true) {
                        String::new()
                    } else {
                        says.into_owned()
                    },
                })
                .collect(),
            longest_ms: self.self_test.trips.longest.as_secs_f64() * 1000.0,
        }
    }
}
