//! What must hold at every step, whatever happens: seen from outside, by the guard's levels, the
//! machine's words and the journal's events.

use std::collections::BTreeSet;
use std::time::Duration;

use control::commissioning::Step as ProofStep;
use control::guard::GuardRules;
use control::view::{Phase, Step, View};
use control::{Ask, Cause, Event, Machine, Signals};
use units::Time;

/// Something that takes a moment may bar every way on for so long.
const TRANSIENT: Duration = Duration::from_secs(2);
/// A relay has come to rest within this, and a turn of the world.
const SENSE_SETTLES: Duration = Duration::from_millis(25);
/// So many wrongs are kept.
const KEPT: usize = 12;

/// The watcher of one world.
#[derive(Debug, Default)]
pub struct Watch {
    pub wrongs: Vec<String>,
    pulsing: bool,
    testing: bool,
    /// Fire-on and arc-OK were both seen open since the last permit ended.
    open_since: bool,
    latches: BTreeSet<Cause>,
    asked_clear: BTreeSet<Cause>,
    tries: u32,
    /// Under the permit the sensing circuit's mirror says connected since then.
    sensing: Option<Time>,
    /// Held without a way on since then.
    stuck: Option<Time>,
}

impl Watch {
    /// A new panel over the same table: its guard begins anew.
    pub fn born_again(&mut self, tries: u32) {
        let wrongs = std::mem::take(&mut self.wrongs);
        *self = Self {
            wrongs,
            tries,
            ..Self::default()
        };
    }

    fn wrong(&mut self, now: Time, what: &str) {
        if self.wrongs.len() < KEPT {
            self.wrongs.push(format!("{now}: {what}"));
        }
    }

    fn must(&mut self, now: Time, holds: bool, what: &str) {
        if !holds {
            self.wrong(now, what);
        }
    }

    /// The guard has judged these levels.
    pub fn guard(&mut self, now: Time, s: &Signals, guard: &GuardRules, machine: &Machine) {
        let pulsing = guard.pulsing();
        if pulsing && !self.pulsing {
            self.permit_begins(now, s, machine);
        }
        if pulsing {
            self.must(
                now,
                !s.estop_open,
                "permit pulses with the emergency stop open",
            );
            let latched = guard.latches().next();
            if !self.testing
                && let Some(cause) = latched
            {
                self.wrong(now, &format!("permit pulses with the latch {cause:?} set"));
            }
            if s.sense_isolated == Some(false) && !self.testing {
                let since = *self.sensing.get_or_insert(now);
                self.must(
                    now,
                    now.since(since) < SENSE_SETTLES,
                    "permit pulses with the sensing circuit connected",
                );
            } else {
                self.sensing = None;
            }
            self.open_since = false;
        } else if !s.fire_on && !s.arc_ok {
            self.open_since = true;
        }
        self.pulsing = pulsing;
        let latches: BTreeSet<Cause> = guard.latches().collect();
        if latches != self.latches {
            let gone: Vec<Cause> = self.latches.difference(&latches).copied().collect();
            for cause in gone {
                if !self.asked_clear.remove(&cause) {
                    self.wrong(now, &format!("the latch {cause:?} cleared unasked"));
                }
            }
            self.latches = latches;
        }
    }

    fn permit_begins(&mut self, now: Time, s: &Signals, machine: &Machine) {
        let view = machine.view(now);
        self.testing = view.phase != Phase::Running;
        self.must(now, !s.fire_on, "the permit rose with fire-on closed");
        self.must(
            now,
            self.testing || s.sense_isolated != Some(false),
            "the permit rose with the sensing circuit connected",
        );
        if self.testing {
            let at_rest = matches!(
                view.phase,
                Phase::NoLink
                    | Phase::Finished
                    | Phase::Idle
                    | Phase::Ready
                    | Phase::Latched
                    | Phase::Held
            );
            self.must(
                now,
                at_rest,
                &format!("the permit rose in {:?}", view.phase),
            );
            self.must(now, !s.arc_ok, "a permit test with an arc");
            return;
        }
        self.must(
            now,
            self.open_since,
            "the permit rose before fire-on and arc-OK were seen open",
        );
        self.must(
            now,
            !view.doubtful,
            "the permit rose with the place in doubt",
        );
        let open = view.commissioning.as_ref().and_then(|c| c.open.as_ref());
        let dry = open.is_some_and(|o| o.step == ProofStep::DryFire);
        let step = matches!(view.step, Some(Step::Ready | Step::AwaitArc));
        self.must(
            now,
            step || dry,
            &format!("the permit rose in {:?}", view.step),
        );
        let latched = view.alarms.iter().any(|a| a.latched);
        self.must(now, !latched, "the permit rose with an alarm latched");
        self.must(
            now,
            view.change.is_none(),
            "the permit rose in a change of parts",
        );
        self.must(
            now,
            view.seal.is_some() || dry,
            "the permit rose without a sealed job",
        );
    }

    /// The start contact has closed; `kept`: the record of that start is on the disk.
    pub fn fires(&mut self, now: Time, kept: bool) {
        self.must(now, kept, "fired before its start was on the disk");
    }

    /// Somebody asks for something.
    pub fn asked(&mut self, ask: &Ask) {
        if let Ask::Clear { cause } = ask {
            self.asked_clear.insert(*cause);
        }
    }

    /// An event goes to the journal.
    pub fn event(&mut self, now: Time, event: &Event) {
        match event {
            Event::CutStarted { try_number, .. } if *try_number > self.tries => {
                self.wrong(now, &format!("try {try_number} of {}", self.tries));
            }
            Event::Held { sure_mm, at_mm, .. } if *sure_mm > at_mm + 1e-6 => {
                self.wrong(now, "surely cut further than it came");
            }
            _ => {}
        }
    }

    /// Somebody looks.
    pub fn seen(&mut self, now: Time, view: &View) {
        let held = view.phase == Phase::Held;
        self.must(now, !held || view.hold.is_some(), "held without a cause");
        let way_on = view.hold.as_ref().is_none_or(|h| !h.choices.is_empty())
            || view.change.is_some()
            || view.alarms.iter().any(|a| a.latched || !a.seen)
            || view.allowed.iter().any(|a| {
                let ways = ["skip-cut", "end-job", "resume", "home", "permit-test"];
                a.refused.is_none() && ways.contains(&a.ask.as_str())
            });
        if held && !way_on {
            let since = *self.stuck.get_or_insert(now);
            self.must(
                now,
                now.since(since) < TRANSIENT,
                &format!("held without a way on, waiting for {:?}", view.waiting_for),
            );
        } else {
            self.stuck = None;
        }
        for cut in &view.cuts {
            let sound = cut.done.iter().all(|[from, to]| from <= to)
                && cut.done.windows(2).all(|w| w[0][1] <= w[1][0] + 1e-6);
            self.must(now, sound, "stretches of a cut in disorder");
        }
    }
}
