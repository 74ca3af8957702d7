//! How old what is known of the table is. Stale means bad: while anything may move or burn, old levels
//! stop it; nothing starts or moves on them; and what was lost meanwhile is not known better than the
//! last look tells.

use core::time::Duration;

use units::Time;

use super::{Act, Machine};
use crate::cause::{Cause, Detail};
use crate::signals::Seen;

/// At rest, pins and volts that were not seen for longer are told of (process handbook, invented).
const AT_REST: Duration = Duration::from_millis(1000);
/// Seen afresh for this long they are believed again (process handbook, invented).
const AFRESH_FOR: Duration = Duration::from_millis(1000);
/// Volts and reports are stale after so many of their own intervals (process handbook, invented).
const INTERVALS: u32 = 3;

/// What may be old.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Source {
    Pins,
    Volts,
    Reports,
}

/// What is too old.
#[derive(Clone, Copy, Debug)]
struct Stale {
    source: Source,
    /// When it was last seen.
    since: Time,
    limit: Duration,
}

/// The moments at which things were last seen.
#[derive(Clone, Debug, Default)]
pub(crate) struct Aging {
    pins: Option<Time>,
    volts: Option<Time>,
    /// Nothing was stale since then.
    pub(crate) fresh_since: Option<Time>,
    /// What was last found stale, and when that was noticed.
    noticed: Option<(Source, Time)>,
    /// It is stale still.
    told: bool,
    /// The machine itself was not stepped from the first moment to the second.
    slept: Option<(Time, Time)>,
    /// Pins were not looked at while something could move: the next look says whether the chain can
    /// have opened unseen.
    blind: bool,
    /// This look comes too long after the one before it, while something could move.
    gap: Option<Time>,
    /// A panel was started over a place that only the controller can vouch for.
    chain_unproved: bool,
}

impl Machine {
    /// Notes whether it stood still itself since the step before, `before`.
    pub(super) fn come(&mut self, before: Time) {
        let limit = if self.active() {
            self.pins_limit()
        } else {
            AT_REST
        };
        if self.started.is_some() && self.now > before + limit {
            self.aging.slept = Some((before, self.now));
        }
    }

    /// Words of the controller that are heard in this step may have been said at any moment since
    /// then: they lay in the port while the machine stood still.
    pub(super) fn said_since(&self) -> Time {
        let slept = self.aging.slept.filter(|(_, woke)| *woke == self.now);
        slept.map_or(self.now, |(from, _)| from)
    }

    /// Silence counts from here on: while the machine stood still it could not have heard anything.
    pub(super) fn listening_since(&self, heard: Time) -> Time {
        self.aging.slept.map_or(heard, |(_, woke)| woke.max(heard))
    }

    pub(super) fn looked(&mut self, seen: Option<Seen>) {
        let seen = seen.unwrap_or(Seen::at(self.now));
        if let Some(before) = self.aging.pins
            && self.active()
            && seen.pins > before + self.pins_limit()
        {
            self.aging.gap = Some(before);
            self.aging.blind = true;
        }
        self.aging.pins = self.aging.pins.max(Some(seen.pins));
        self.aging.volts = seen.volts;
        if core::mem::take(&mut self.aging.blind) && seen.missed && !self.chain_proved() {
            self.doubt(Some(Cause::InputsStale));
        }
    }

    /// The next look at the pins must say whether the chain can have opened unseen.
    pub(super) fn was_blind(&mut self) {
        self.aging.blind = true;
    }

    /// When the pins were last looked at.
    pub(crate) fn seen_at(&self) -> Time {
        self.aging.pins.unwrap_or(Time::ZERO).min(self.now)
    }

    fn pins_limit(&self) -> Duration {
        Duration::from_millis(self.settings.guard.inputs_stale_ms)
    }

    fn stale_levels(&self) -> Option<Stale> {
        let old = |source, since: Time, limit| {
            (self.now > since + limit).then_some(Stale {
                source,
                since,
                limit,
            })
        };
        let volts = Duration::from_millis(self.settings.guard.volts_every_ms) * INTERVALS;
        old(Source::Pins, self.seen_at(), self.pins_limit())
            .or_else(|| old(Source::Volts, self.aging.volts?, volts))
    }

    /// The first source that is older than its bound. Reports count only from a controller that is
    /// being listened to: else the line itself is what is wrong.
    fn stale(&self) -> Option<Stale> {
        let limit = self.line.report_every * INTERVALS;
        self.stale_levels().or_else(|| {
            let status = self.line.status.as_ref().filter(|_| self.line.listens())?;
            let since = self.listening_since(status.at);
            (self.now > since + limit).then_some(Stale {
                source: Source::Reports,
                since,
                limit,
            })
        })
    }

    /// The levels are young enough to be acted on.
    pub(crate) fn levels_fresh(&self) -> bool {
        self.signals_heard && self.stale_levels().is_none()
    }

    /// What is seen is young enough to be acted on.
    pub(crate) fn inputs_fresh(&self) -> bool {
        self.signals_heard && self.stale().is_none()
    }

    /// ... and has been for as long as it takes to be believed again.
    pub(super) fn afresh(&self) -> bool {
        let long = |t: Time| self.now >= t + AFRESH_FOR;
        self.inputs_fresh() && self.aging.fresh_since.is_some_and(long)
    }

    /// Wakes it when a source grows stale, and when all were seen afresh for long enough.
    fn wake_for_age(&mut self) {
        if self.active() {
            self.due(self.seen_at() + self.pins_limit() + Duration::from_micros(1));
        }
        let shown = self.alarms.stands(Cause::InputsStale);
        if shown && let Some(t) = self.aging.fresh_since {
            self.due(t + AFRESH_FOR);
        }
    }

    /// Old levels stop whatever moves or burns; at rest they are told of.
    pub(super) fn watch_age(&mut self) {
        let limit = self.pins_limit();
        let gap = self.aging.gap.take().map(|since| Stale {
            source: Source::Pins,
            since,
            limit,
        });
        let Some(stale) = gap.or_else(|| self.stale()) else {
            self.aging.fresh_since.get_or_insert(self.now);
            self.aging.told = false;
            self.wake_for_age();
            return;
        };
        self.aging.fresh_since = None;
        let active = self.active();
        // Reports are told of by the line itself.
        let input = stale.source != Source::Reports;
        let long = input && self.now > stale.since + AT_REST;
        let rest = matches!(self.act, Act::Rest) && self.signals_heard && long;
        // A controller that is being stopped is waited for anyhow.
        let matters = active && !(self.stopping() && stale.source == Source::Reports);
        if self.aging.told || !(matters || rest) {
            return;
        }
        self.aging.told = true;
        self.aging.noticed = Some((stale.source, self.now));
        let why = self.why_stale(stale);
        let silent = (stale.source == Source::Volts).then_some(Detail::VoltsSilent);
        self.alarms.measured(Cause::InputsStale, silent);
        if !active {
            self.alarm(Cause::InputsStale, self.now, false, why);
            return;
        }
        let at = if stale.source == Source::Reports {
            self.now
        } else {
            self.aging.blind |= stale.source == Source::Pins;
            self.latch(Cause::InputsStale, self.now, why.clone());
            stale.since
        };
        self.stop_why(Cause::InputsStale, at, why);
    }

    fn why_stale(&self, stale: Stale) -> String {
        let what = match stale.source {
            Source::Pins => "The inputs were",
            Source::Volts => "The volts were",
            Source::Reports => "The controller's reports were",
        };
        let age = self.now.since(stale.since).as_millis();
        let limit = stale.limit.as_millis();
        match self.aging.slept.filter(|(_, woke)| *woke == self.now) {
            Some((from, woke)) => {
                let slept = woke.since(from).as_millis();
                format!(
                    "The panel itself stood still for {slept} ms. {what} {age} ms old; limit {limit} ms."
                )
            }
            None => format!("{what} {age} ms old; limit {limit} ms."),
        }
    }

    /// Whether this was the cause of what was first noticed by old inputs: the guard's own measure is
    /// the better one, and so is a line that stays silent.
    pub(super) fn explains_stale(&self, cause: Cause, at: Time) -> bool {
        let Some((source, noticed)) = self.aging.noticed else {
            return false;
        };
        let silent = cause == Cause::LinkCut && source == Source::Reports;
        (cause.told_by_guard() || silent) && at <= noticed
    }

    /// The emergency stop chain is known not to have opened unseen: an opening would still show.
    fn chain_proved(&self) -> bool {
        let proof = self.settings.estop;
        let says = self.line.status.as_ref().and_then(|s| s.referenced);
        proof.latching || (proof.told_to_controller && says == Some(true))
    }

    /// A panel that has just been started was blind before: while it was, the chain may have taken the
    /// drives, and a controller that is not told counts on.
    pub(super) fn doubt_the_chain(&mut self) {
        let proof = self.settings.estop;
        if proof.latching || self.reference.doubtful {
            return;
        }
        if proof.told_to_controller {
            self.aging.chain_unproved = true;
            return;
        }
        let cause = self.interrupted.as_ref().map(|_| Cause::Interrupted);
        self.doubt(cause);
    }

    /// The controller's first word after that.
    pub(super) fn prove_the_chain(&mut self, referenced: Option<bool>) {
        if core::mem::take(&mut self.aging.chain_unproved)
            && referenced != Some(true)
            && !self.reference.doubtful
        {
            let cause = self.interrupted.as_ref().map(|_| Cause::Interrupted);
            self.doubt(cause);
        }
    }
}
