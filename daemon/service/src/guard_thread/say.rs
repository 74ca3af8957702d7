//! What the guard says, without ever waiting for whoever listens and without growing: what does not
//! go through now is kept, as far as it can still matter.
//!
//! A listener that stands still lets the lease lapse, so nothing hangs on what it hears late. Kept
//! are: the newest levels, one trip for each cause (at its first moment, with its newest epoch),
//! answers to orders (no orders come from a listener that stands still), and so many edges. Edges
//! above that are counted, and the count is told.

use std::collections::VecDeque;

use control::guard::GuardReport;
use tokio::sync::mpsc;

use super::FromGuard;

/// Edges that are kept while nobody listens. A cut has some ten.
const EDGES: usize = 256;

/// The guard's mouth.
#[derive(Debug)]
pub struct Mouth {
    to: mpsc::Sender<FromGuard>,
    kept: VecDeque<FromGuard>,
    edges: usize,
    /// Edges that were let fall and not told yet.
    missed: u32,
}

impl Mouth {
    pub fn new(to: mpsc::Sender<FromGuard>) -> Self {
        Self {
            to,
            kept: VecDeque::new(),
            edges: 0,
            missed: 0,
        }
    }

    /// Nobody will ever listen again.
    pub fn is_closed(&self) -> bool {
        self.to.is_closed()
    }

    /// Says what was kept, then this; or keeps it.
    pub fn say(&mut self, what: FromGuard) {
        self.go_on();
        if self.kept.is_empty() {
            match self.to.try_send(what) {
                Err(mpsc::error::TrySendError::Full(back)) => self.keep(back),
                Ok(()) | Err(mpsc::error::TrySendError::Closed(_)) => {}
            }
        } else {
            self.keep(what);
        }
    }

    /// Says what was kept, as far as there is room.
    pub fn go_on(&mut self) {
        while let Some(next) = self.kept.pop_front() {
            let edge = is_edge(&next);
            match self.to.try_send(next) {
                Ok(()) => self.edges -= usize::from(edge),
                Err(mpsc::error::TrySendError::Full(back)) => {
                    self.kept.push_front(back);
                    return;
                }
                Err(mpsc::error::TrySendError::Closed(_)) => return,
            }
        }
        if self.missed > 0 {
            let edges = self.missed;
            let told = FromGuard::Report(GuardReport::EdgesMissed { edges });
            if self.to.try_send(told).is_ok() {
                self.missed = 0;
            }
        }
    }

    fn keep(&mut self, what: FromGuard) {
        match &what {
            FromGuard::Signals(signals, seen) => {
                // The newest levels alone, but what was missed before them stays missed.
                let mut seen = *seen;
                self.kept.retain(|k| match k {
                    FromGuard::Signals(_, earlier) => {
                        seen.missed |= earlier.missed;
                        false
                    }
                    _ => true,
                });
                self.kept.push_back(FromGuard::Signals(*signals, seen));
                return;
            }
            FromGuard::Failed(_) => self.kept.retain(|k| !matches!(k, FromGuard::Failed(_))),
            FromGuard::Report(GuardReport::Edge { .. }) => {
                if self.edges >= EDGES {
                    self.missed = self.missed.saturating_add(1);
                    return;
                }
                self.edges += 1;
            }
            FromGuard::Report(report) => {
                let joined = self.kept.iter_mut().any(|k| match k {
                    FromGuard::Report(earlier) => join(earlier, report),
                    _ => false,
                });
                if joined {
                    return;
                }
            }
            FromGuard::Turn(_) => {}
        }
        self.kept.push_back(what);
    }

    #[cfg(test)]
    pub fn kept(&self) -> usize {
        self.kept.len()
    }
}

fn is_edge(what: &FromGuard) -> bool {
    matches!(what, FromGuard::Report(GuardReport::Edge { .. }))
}

/// Whether `earlier`, which waits, was made to tell of `later` as well.
fn join(earlier: &mut GuardReport, later: &GuardReport) -> bool {
    match (earlier, later) {
        (
            GuardReport::Tripped {
                cause: was,
                epoch,
                latched,
                ..
            },
            GuardReport::Tripped {
                cause,
                epoch: newer,
                latched: also,
                ..
            },
        ) if was == cause => {
            *epoch = *newer;
            *latched |= also;
            true
        }
        (
            GuardReport::TakeAwayLate {
                late_ms,
                refused,
                lost,
            },
            GuardReport::TakeAwayLate {
                late_ms: l,
                refused: r,
                lost: n,
            },
        ) => {
            *late_ms = (*late_ms).max(*l);
            *refused = refused.saturating_add(*r);
            *lost = lost.saturating_add(*n);
            true
        }
        (was, now) => was == now,
    }
}

#[cfg(test)]
mod tests {
    use control::guard::EdgeInput;
    use control::{Cause, Seen, Signals};
    use units::Time;

    use super::*;

    fn edge(k: u64) -> FromGuard {
        FromGuard::Report(GuardReport::Edge {
            input: EdgeInput::EstopOpen,
            level: k.is_multiple_of(2),
            at: Time::from_us(k),
            after: None,
        })
    }

    fn trip(cause: Cause, epoch: u64) -> FromGuard {
        FromGuard::Report(GuardReport::Tripped {
            cause,
            at: Time::from_us(epoch),
            epoch,
            latched: true,
            unread: false,
        })
    }

    fn signals(k: u64) -> FromGuard {
        let levels = Signals {
            fire_on: k.is_multiple_of(2),
            ..Signals::default()
        };
        let seen = Seen {
            missed: k == 50_000,
            ..Seen::at(Time::from_us(k))
        };
        FromGuard::Signals(levels, seen)
    }

    #[test]
    fn a_noisy_input_before_a_listener_that_stands_still_grows_nothing_and_is_counted() {
        let (to, mut from) = mpsc::channel(4);
        let mut mouth = Mouth::new(to);
        for k in 1..=100_000 {
            mouth.say(edge(k));
            mouth.say(trip(Cause::Estop, k));
            mouth.say(trip(Cause::Hold, k));
            mouth.say(signals(k));
        }
        assert!(mouth.kept() <= EDGES + 3, "{} are kept", mouth.kept());
        let (mut edges, mut missed, mut epochs, mut last) = (0, 0, Vec::new(), None);
        loop {
            mouth.go_on();
            let Ok(said) = from.try_recv() else { break };
            match said {
                FromGuard::Report(GuardReport::Edge { .. }) => edges += 1,
                FromGuard::Report(GuardReport::EdgesMissed { edges }) => missed += edges,
                FromGuard::Report(GuardReport::Tripped { cause, epoch, .. }) => {
                    epochs.push((cause, epoch));
                }
                FromGuard::Signals(s, seen) => last = Some((s.fire_on, seen.missed)),
                other => panic!("{other:?}"),
            }
        }
        assert_eq!(edges + missed, 100_000, "each is told or counted");
        assert!(epochs.contains(&(Cause::Estop, 100_000)), "{epochs:?}");
        assert!(epochs.contains(&(Cause::Hold, 100_000)), "{epochs:?}");
        assert_eq!(
            last,
            Some((true, true)),
            "the newest levels, and that edges were missed"
        );
    }

    #[test]
    fn what_is_kept_comes_in_order_before_what_is_said_later() {
        let (to, mut from) = mpsc::channel(1);
        let mut mouth = Mouth::new(to);
        for k in 1..=3 {
            mouth.say(edge(k));
        }
        let mut at = Vec::new();
        for _ in 0..3 {
            let said = from.try_recv().expect("something");
            if let FromGuard::Report(GuardReport::Edge { at: when, .. }) = said {
                at.push(when.as_us());
            }
            mouth.go_on();
        }
        assert_eq!(at, [1, 2, 3]);
    }
}
