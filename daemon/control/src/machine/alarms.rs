//! What is wrong: the alarms that are shown, the latches that bar a start, and what was measured beside
//! each cause. Plain bookkeeping: what is recorded, sent and shown of it is the machine's affair.

use std::collections::BTreeMap;

use units::Time;

use crate::cause::{Cause, Detail};

/// An alarm until it is cleared.
#[derive(Clone, Debug)]
pub(crate) struct Alarmed {
    pub cause: Cause,
    pub at: Time,
    /// It was the first of those that stand.
    pub first: bool,
    /// The operator has seen it.
    pub seen: bool,
    pub latched: bool,
    /// In which cut, from 1.
    pub cut: Option<usize>,
    pub why: String,
}

/// The alarms and latches that stand.
#[derive(Clone, Debug, Default)]
pub(crate) struct Alarms {
    raised: Vec<Alarmed>,
    latches: BTreeMap<Cause, Time>,
    details: BTreeMap<Cause, Detail>,
}

impl Alarms {
    /// Raises an alarm, or brings a standing one up to date: it is unseen again.
    pub(crate) fn raise(&mut self, alarm: Alarmed) {
        match self.raised.iter_mut().find(|a| a.cause == alarm.cause) {
            Some(a) => {
                a.latched |= alarm.latched;
                a.seen = false;
                a.why = alarm.why;
            }
            None => {
                self.raised.push(alarm);
                // An edge that was stamped before the others was the first, whenever it was told.
                let first = (0..self.raised.len()).min_by_key(|&i| self.raised[i].at);
                for (k, a) in self.raised.iter_mut().enumerate() {
                    a.first = Some(k) == first;
                }
            }
        }
    }

    /// The alarm of a cause.
    pub(crate) fn of(&self, cause: Cause) -> Option<&Alarmed> {
        self.raised.iter().find(|a| a.cause == cause)
    }

    /// A cause has an alarm.
    pub(crate) fn stands(&self, cause: Cause) -> bool {
        self.of(cause).is_some()
    }

    /// All of them, in the order in which they came.
    pub(crate) fn iter(&self) -> impl Iterator<Item = &Alarmed> {
        self.raised.iter()
    }

    /// The operator has seen it, or not.
    pub(crate) fn set_seen(&mut self, cause: Cause, seen: bool) {
        for a in self.raised.iter_mut().filter(|a| a.cause == cause) {
            a.seen = seen;
        }
    }

    /// Takes an alarm away; a latch stays.
    pub(crate) fn lower(&mut self, cause: Cause) {
        self.raised.retain(|a| a.cause != cause);
    }

    /// Takes all alarms away but those of latches.
    pub(crate) fn lower_unlatched(&mut self) {
        self.raised.retain(|a| a.latched);
    }

    /// Sets a latch; `true`: it was not set before. Of one that was, the moment is the new one.
    pub(crate) fn latch(&mut self, cause: Cause, at: Time) -> bool {
        self.latches.insert(cause, at).is_none()
    }

    /// Takes a latch away; `true`: there was one.
    pub(crate) fn unlatch(&mut self, cause: Cause) -> bool {
        self.latches.remove(&cause).is_some()
    }

    /// When a latch was set; `None`: it is not.
    pub(crate) fn latched_at(&self, cause: Cause) -> Option<Time> {
        self.latches.get(&cause).copied()
    }

    /// A latch is set.
    pub(crate) fn is_latched(&self, cause: Cause) -> bool {
        self.latches.contains_key(&cause)
    }

    /// The latches that are set, in the order of the causes.
    pub(crate) fn latches(&self) -> impl Iterator<Item = Cause> {
        self.latches.keys().copied()
    }

    /// Any latch is set.
    pub(crate) fn any_latch(&self) -> bool {
        !self.latches.is_empty()
    }

    /// What was measured beside a cause when it last came.
    pub(crate) fn detail(&self, cause: Cause) -> Option<Detail> {
        self.details.get(&cause).copied()
    }

    /// Notes what was measured beside a cause that comes; `None`: nothing.
    pub(crate) fn measured(&mut self, cause: Cause, detail: Option<Detail>) {
        match detail {
            Some(detail) => self.details.insert(cause, detail),
            None => self.details.remove(&cause),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn alarm(cause: Cause, ms: u64, latched: bool) -> Alarmed {
        Alarmed {
            cause,
            at: Time::from_ms(ms),
            first: false,
            seen: false,
            latched,
            cut: None,
            why: format!("at {ms}"),
        }
    }

    fn first(alarms: &Alarms) -> Vec<Cause> {
        let first = alarms.iter().filter(|a| a.first);
        first.map(|a| a.cause).collect()
    }

    #[test]
    fn the_first_alarm_is_the_one_that_was_stamped_first_whenever_it_was_told() {
        let mut alarms = Alarms::default();
        alarms.raise(alarm(Cause::LinkCut, 20, false));
        assert_eq!(first(&alarms), [Cause::LinkCut]);
        alarms.raise(alarm(Cause::Estop, 10, true));
        assert_eq!(first(&alarms), [Cause::Estop]);
        alarms.raise(alarm(Cause::AirLow, 30, false));
        assert_eq!(first(&alarms), [Cause::Estop]);
    }

    #[test]
    fn an_alarm_that_comes_again_is_unseen_and_keeps_its_moment_and_its_latch() {
        let mut alarms = Alarms::default();
        alarms.raise(alarm(Cause::Estop, 10, true));
        alarms.set_seen(Cause::Estop, true);
        alarms.raise(alarm(Cause::Estop, 50, false));
        let a = alarms.of(Cause::Estop).expect("it stands");
        assert_eq!((a.at, a.seen, a.latched), (Time::from_ms(10), false, true));
        assert_eq!(a.why, "at 50");
        assert_eq!(alarms.iter().count(), 1);
    }

    #[test]
    fn alarms_and_latches_go_each_by_their_own_way() {
        let mut alarms = Alarms::default();
        assert!(alarms.latch(Cause::Estop, Time::from_ms(1)));
        assert!(!alarms.latch(Cause::Estop, Time::from_ms(2)));
        alarms.raise(alarm(Cause::Estop, 1, true));
        alarms.raise(alarm(Cause::Hold, 3, false));
        alarms.lower_unlatched();
        assert!(alarms.stands(Cause::Estop) && !alarms.stands(Cause::Hold));
        alarms.lower(Cause::Estop);
        assert!(alarms.is_latched(Cause::Estop) && !alarms.stands(Cause::Estop));
        assert!(alarms.unlatch(Cause::Estop) && !alarms.unlatch(Cause::Estop));
        assert!(!alarms.any_latch());
    }
}
