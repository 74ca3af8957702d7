//! Dealing with a turn of a clock that waits for the service.
//!
//! A turn is over when every byte that was sent has been read, every report has come in, a record
//! that the machine stands still for is on the disk, the guard has taken in its orders, every
//! byte has been written, and no record is older than a journal may keep it in hand. So no real
//! delay of this process is seen as time on the table. A disk or a guard that does not answer is
//! waited for once, and briefly: HOLD comes before it.

use std::time::Duration;

use control::{AskId, Input};
use tokio::sync::oneshot;
use tokio::time::timeout;
use units::Time;

use super::Runner;
use crate::guard_thread::ToGuard;
use crate::pins::Turn;

/// The automatic operator looks at least this often, table time.
const LOOK_EVERY: Duration = Duration::from_millis(100);

/// What is recorded is in the file within this, table time, as it is within real time elsewhere.
const WRITTEN_WITHIN: Duration = Duration::from_millis(80);

/// A guard or a disk that has not answered within this is not waited for, real time: HOLD is to be
/// answered within 1 s.
const ANSWERS_WITHIN: Duration = Duration::from_millis(250);

/// A machine whose deadline does not move on is stepped again after this.
const LEAST_STRIDE: Duration = Duration::from_millis(1);

impl Runner {
    /// Ends the turn in hand if nothing that belongs to it is still under way.
    pub(super) async fn end_turn_if_quiet(&mut self) {
        while let Some(turn) = self.turn {
            if !self.is_quiet(turn) {
                return;
            }
            let now = self.clock.now();
            if self.machine.deadline().is_some_and(|at| at <= now) {
                self.step(Input::Tick);
                if self.machine.deadline().is_none_or(|at| at > now) {
                    continue;
                }
                // It asks for this very moment again: let time pass before it gets another.
            }
            if self.orders_told {
                self.orders_told = false;
                self.settle_guard().await;
                continue;
            }
            if self
                .unwritten
                .is_some_and(|since| now.since(since) >= WRITTEN_WITHIN)
            {
                self.unwritten = None;
                self.settle_journal().await;
                continue;
            }
            if self.ask_for_automatic(now) {
                continue;
            }
            if !self.is_quiet(turn) {
                return;
            }
            self.turn = None;
            let next = Time::sooner(self.machine.deadline(), self.guard.shared().next())
                .map(|at| at.max(now + LEAST_STRIDE));
            let written = self.guard.shared().written();
            if let Some(end) = &mut self.turn_end {
                end.ended(turn, written, next);
            }
        }
    }

    fn is_quiet(&self, turn: Turn) -> bool {
        // A count of an earlier opening says nothing about this one.
        let counts = self.port.is_some() && turn.opens == self.opens;
        let all_read = !counts || self.received >= turn.sent;
        all_read
            && self.from_guard.is_empty()
            && self.from_journal.is_empty()
            && !self.machine.awaits_record()
            && self.outbox.is_empty()
            && !self.opening.is_under_way()
            && !self.guard.shared().away_waits()
    }

    async fn settle_guard(&mut self) {
        let (done, settled) = oneshot::channel();
        self.guard.tell(ToGuard::Settle(done));
        // A guard that has gone is seen by its closed queue.
        let _ = timeout(ANSWERS_WITHIN, settled).await;
    }

    /// Waits until everything is written. While an earlier wait is still without its answer nobody waits
    /// again: a disk that hangs would hold up every turn.
    async fn settle_journal(&mut self) {
        let hangs = self
            .settling
            .as_mut()
            .is_some_and(|s| matches!(s.try_recv(), Err(oneshot::error::TryRecvError::Empty)));
        if hangs {
            return;
        }
        self.settling = self.journal.settle();
        if let Some(settled) = &mut self.settling
            && timeout(ANSWERS_WITHIN, settled).await.is_ok()
        {
            self.settling = None;
        }
    }

    /// Lets the automatic operator look; true if it asked for something.
    fn ask_for_automatic(&mut self, now: Time) -> bool {
        let Some(automatic) = &mut self.automatic else {
            return false;
        };
        let generation = self.machine.generation();
        let due = self
            .considered
            .is_none_or(|(seen, at)| seen != generation || now.since(at) >= LOOK_EVERY);
        if !due {
            return false;
        }
        self.considered = Some((generation, now));
        let Some(ask) = automatic.consider(now, &self.machine.view(now)) else {
            return false;
        };
        self.step(Input::Ask {
            id: AskId(0),
            generation,
            ask,
        });
        true
    }
}
