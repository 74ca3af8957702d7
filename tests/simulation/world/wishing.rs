//! Requests that are made when the machine comes to a state: [`Wish`]es. HOLD is answered and stands in
//! the journal once for each press, whatever the machine is at.

use std::collections::BTreeSet;
use std::time::Duration;

use control::view::{Allowed, Phase};
use control::{Ask, Event, PressId};
use units::Time;

use super::World;
use crate::random::wishes::{Seen, State, Wanted, Wish, cell};

/// Names of presses that nobody else gives.
const FIRST_PRESS: u64 = 1_000_000;

/// What is to be asked for, and what was.
#[derive(Debug, Default)]
pub struct Wishes {
    /// Still to come.
    pub open: Vec<Wish>,
    due: Vec<Due>,
    state: Option<State>,
    /// Something was published since the state was last looked at.
    pub(super) published: bool,
    /// A second try is under way.
    again: bool,
    presses: u64,
    /// Presses of HOLD that this panel was told, and how many stand in the journal.
    known: BTreeSet<PressId>,
    told: usize,
    /// Nobody asks for anything until then.
    quiet_until: Time,
    /// A change of torch parts is begun in the next hold.
    pub change: bool,
    /// How often each request was made at each state.
    pub seen: Seen,
}

#[derive(Debug)]
struct Due {
    at: Time,
    wanted: Wanted,
    /// Which press of HOLD.
    press: PressId,
    quiet: Duration,
}

impl Wishes {
    /// When the next is made.
    pub(super) fn next(&self) -> Option<Time> {
        let due = self.due.iter().map(|d| d.at).min();
        due.or_else(|| (self.quiet_until > Time::ZERO).then_some(self.quiet_until))
    }

    /// Nobody asks for anything now.
    pub(super) fn quiet(&self, now: Time) -> bool {
        now < self.quiet_until
    }

    /// An event goes to the journal.
    pub(super) fn event(&mut self, event: &Event) {
        match event {
            Event::HoldPressed { .. } => self.told += 1,
            Event::Retry { .. } => self.again = true,
            Event::Held { .. } | Event::CutDone { .. } | Event::Skipped { .. } => {
                self.again = false;
            }
            _ => {}
        }
    }

    /// The panel was killed: its next begins anew.
    pub(super) fn panel_died(&mut self) {
        (self.again, self.state, self.published) = (false, None, true);
        self.known.clear();
    }

    fn press(&mut self) -> PressId {
        self.presses += 1;
        PressId(FIRST_PRESS + self.presses)
    }

    /// The machine is in this state now.
    fn come_to(&mut self, now: Time, state: State) {
        if self.state == Some(state) {
            return;
        }
        self.state = Some(state);
        let mut come = Vec::new();
        self.open.retain_mut(|w| {
            if w.at != state {
                return true;
            }
            w.time = w.time.saturating_sub(1);
            if w.time == 0 {
                come.push(*w);
            }
            w.time > 0
        });
        for wish in come {
            let at = now + Duration::from_millis(wish.after_ms);
            let press = self.press();
            let quiet = Duration::from_millis(wish.quiet_ms);
            let wanted = wish.wanted;
            let due = |at, press| Due {
                at,
                wanted,
                press,
                quiet,
            };
            self.due.push(due(at, press));
            if let Some((later_ms, same)) = wish.again {
                let press = if same { press } else { self.press() };
                let at = at + Duration::from_millis(later_ms);
                self.due.push(due(at, press));
            }
        }
    }
}

impl World {
    /// Makes the requests whose state and time have come.
    pub(super) fn make_wishes(&mut self) {
        let now = self.now;
        let wanted = !self.wishes.open.is_empty() || self.wishes.change;
        // What a stop waits for may change without a word.
        let stops = matches!(self.wishes.state, Some(State::Stop(_)));
        if (std::mem::take(&mut self.wishes.published) || stops) && wanted {
            let state = self.state();
            self.wishes.come_to(now, state);
            let may = |a: &Allowed| a.ask == "change-begin" && a.refused.is_none();
            let held = self.wishes.change && state == State::Other(Phase::Held);
            if held && self.view().allowed.iter().any(may) {
                self.wishes.change = false;
                self.ask(Ask::ChangeBegin);
            }
        }
        while let Some(k) = self.wishes.due.iter().position(|d| d.at <= now) {
            let due = self.wishes.due.remove(k);
            let state = self.state();
            *self.wishes.seen.entry(cell(due.wanted, state)).or_default() += 1;
            self.wishes.quiet_until = self.wishes.quiet_until.max(now + due.quiet);
            self.make(&due);
        }
        if self.wishes.quiet_until <= now {
            self.wishes.quiet_until = Time::ZERO;
        }
    }

    fn state(&self) -> State {
        State::of(&self.machine, self.wishes.again, || self.view())
    }

    fn make(&mut self, due: &Due) {
        match due.wanted {
            Wanted::Hold => self.press_by_name(due.press),
            Wanted::HoldAfterCut => self.ask(Ask::HoldAfterCut),
            Wanted::GoOn => {
                let splice = self.best_way_on();
                self.ask(Ask::Resume { splice });
            }
            Wanted::Skip => self.ask(Ask::SkipCut),
            Wanted::End => self.ask(Ask::EndJob),
        }
    }

    fn best_way_on(&self) -> Option<std::sync::Arc<control::resume::Splice>> {
        let mut plans = control::plans(&self.job, &self.view(), 0.0)?.plans;
        plans.retain(|p| p.how.uncut_mm <= 0.0);
        let plan = plans.into_iter().next()?;
        plan.seal(&self.job, "as I like")
            .ok()
            .map(std::sync::Arc::new)
    }

    /// HOLD under a name of its own.
    pub(super) fn press_hold_once(&mut self) {
        let press = self.wishes.press();
        self.press_by_name(press);
    }

    /// HOLD under a name: a new press stands in the journal once, one that is sent again not anew.
    fn press_by_name(&mut self, press: PressId) {
        let before = self.wishes.told;
        let wanted = usize::from(self.wishes.known.insert(press));
        self.ask(Ask::Hold { press: Some(press) });
        let told = self.wishes.told - before;
        if told != wanted {
            self.told_wrong(format!(
                "HOLD was pressed and stands {told} times in the journal, not {wanted}"
            ));
        }
    }
}
