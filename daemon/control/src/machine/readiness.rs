//! What has been confirmed and proved of the table before anything is started.

use std::collections::BTreeSet;

use units::Time;

use crate::ask::CheckId;

/// What an operator has confirmed, and what the permit's test has shown.
#[derive(Clone, Debug, Default)]
pub(crate) struct Readiness {
    confirmed: BTreeSet<CheckId>,
    confirmed_at: Option<Time>,
    /// The permit's test has come to its end since the relay was last in doubt.
    pub permit_tested: bool,
    /// ... and a mirror contact has shown that the relay follows.
    pub permit_proved: bool,
}

impl Readiness {
    /// The operator says that it is so: true of the table as it is now, not for ever.
    pub(crate) fn confirm(&mut self, check: CheckId, now: Time) {
        self.confirmed.insert(check);
        self.confirmed_at = Some(now);
    }

    /// It is not so any more, or the operator takes the word back.
    pub(crate) fn withdraw(&mut self, check: CheckId) {
        self.confirmed.remove(&check);
    }

    /// Takes everything back; what was confirmed.
    pub(crate) fn withdraw_all(&mut self) -> BTreeSet<CheckId> {
        core::mem::take(&mut self.confirmed)
    }

    /// An operator has confirmed it.
    pub(crate) fn is_confirmed(&self, check: CheckId) -> bool {
        self.confirmed.contains(&check)
    }

    /// When the last of what is confirmed was; `None`: nothing is.
    pub(crate) fn confirmed_at(&self) -> Option<Time> {
        self.confirmed_at.filter(|_| !self.confirmed.is_empty())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_confirmed_counts_from_the_last_of_it_until_it_is_withdrawn() {
        let mut ready = Readiness::default();
        assert_eq!(ready.confirmed_at(), None);
        ready.confirm(CheckId::SourceOff, Time::from_ms(1));
        ready.confirm(CheckId::RelaySeen, Time::from_ms(2));
        assert_eq!(ready.confirmed_at(), Some(Time::from_ms(2)));
        ready.withdraw(CheckId::RelaySeen);
        assert!(ready.is_confirmed(CheckId::SourceOff) && !ready.is_confirmed(CheckId::RelaySeen));
        assert_eq!(ready.withdraw_all(), BTreeSet::from([CheckId::SourceOff]));
        assert_eq!(ready.confirmed_at(), None);
    }
}
