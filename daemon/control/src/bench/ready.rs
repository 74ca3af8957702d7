//! What an operator does between switch-on and the start.

use core::time::Duration;

use super::rig::{Rig, job};
use crate::ask::{Ask, CheckId};
use crate::machine::checks;
use crate::view::Phase;

impl Rig {
    /// From switch-on to the start: referenced, confirmed, tested, vouched.
    #[track_caller]
    pub(crate) fn make_ready(&mut self) {
        self.until(5.0, |r| r.view().link.alive && r.m.line.usable());
        self.until(3.0, |r| r.phase() != Phase::Starting);
        if self.m.interrupted.is_none() {
            self.prove_buttons();
        }
        if self.m.loaded.is_none() {
            self.must(Ask::Load { job: job() });
        }
        if self.view().doubtful {
            self.reference();
        }
        self.test_permit();
        self.wait(0.2);
        self.vouch();
        self.read();
        self.be_tested();
        self.until(1.0, |r| r.phase() == Phase::Ready);
    }

    /// The hold button is pressed once, and the emergency stop, which is released and cleared.
    #[track_caller]
    pub(crate) fn prove_buttons(&mut self) {
        self.table.wrong.hold_button = true;
        self.wait(0.1);
        self.table.wrong.hold_button = false;
        self.table.wrong.estop = true;
        self.wait(0.1);
        self.table.wrong.estop = false;
        self.wait(0.1);
        self.clear_all();
        self.until(2.0, |r| r.m.line.listens());
    }

    /// With the start plug out, as the operator says.
    #[track_caller]
    pub(crate) fn test_permit(&mut self) {
        if self.table.wrong.source_on != Some(false) {
            self.must(Ask::Vouch {
                check: CheckId::SourceOff,
                yes: true,
            });
        }
        self.must(Ask::PermitTest);
        self.until(2.0, |r| r.m.readiness.permit_tested);
    }

    /// The whole process stands still; the table goes on, and what it says waits in the wire.
    pub(crate) fn stand_still(&mut self, s: f64) {
        let end = self.now + Duration::from_secs_f64(s);
        while self.now < end {
            self.now += Duration::from_millis(1);
            self.table.tick(self.now);
        }
    }

    /// Waits for a self-test that is due.
    #[track_caller]
    pub(crate) fn be_tested(&mut self) {
        self.until(5.0, |r| r.m.self_test.passed);
    }

    /// Reads every message.
    #[track_caller]
    pub(crate) fn read(&mut self) {
        for alarm in self.view().alarms.into_iter().filter(|a| !a.seen) {
            self.must(Ask::Seen { cause: alarm.cause });
        }
    }

    #[track_caller]
    pub(crate) fn vouch(&mut self) {
        for check in checks::VOUCHED {
            self.must(Ask::Vouch { check, yes: true });
        }
    }

    #[track_caller]
    pub(crate) fn reference(&mut self) {
        self.must(Ask::Home);
        self.until(30.0, |r| r.phase() != Phase::Homing);
        if self.view().datum.is_none() {
            self.must(Ask::ConfirmPlace);
            return;
        }
        self.check_datum(|_| (0.0, 0.0));
    }

    /// Makes the datum check; the operator sees each mark so far from where the torch is taken to.
    #[track_caller]
    pub(crate) fn check_datum(&mut self, off: impl Fn(usize) -> (f64, f64)) {
        let n = self.view().datum.expect("a check is due").marks.len();
        for k in 0..n {
            self.must(Ask::DatumGo);
            self.until(30.0, |r| r.view().datum.is_some_and(|d| d.over));
            let (dx_mm, dy_mm) = off(k);
            if dx_mm != 0.0 || dy_mm != 0.0 {
                self.must(Ask::DatumNudge { dx_mm, dy_mm });
                self.until(30.0, |r| r.view().datum.is_some_and(|d| d.over));
            }
            self.must(Ask::DatumHere);
        }
    }
}
