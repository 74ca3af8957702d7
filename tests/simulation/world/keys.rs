//! Keys that move the torch by hand, pressed now and then by somebody who is not careful: in holds, before
//! the start, over a check of the sheet.

use std::time::Duration;

use control::view::Phase;
use control::{Ask, HandAxis, HandMove, HandPlace, PressId};
use units::Time;

use super::World;
use super::stalls::Part;
use crate::chance::Chance;

/// A key that is kept pressed asks again so often.
const RENEWS: Duration = Duration::from_millis(60);

/// Whoever presses them.
pub struct Keys {
    chance: Chance,
    left: u32,
    next: Time,
    press: u64,
    /// What is pressed, and until when.
    down: Option<(HandMove, Time)>,
}

impl Keys {
    /// Presses so many times.
    pub fn new(chance: Chance, left: u32) -> Self {
        Self {
            chance,
            left,
            next: Time::ZERO,
            press: 0,
            down: None,
        }
    }

    /// When there is something to do.
    pub fn next(&self) -> Option<Time> {
        (self.left > 0 || self.down.is_some()).then_some(self.next)
    }

    fn act(&mut self, now: Time, phase: Phase) -> Option<Ask> {
        if now < self.next {
            return None;
        }
        if let Some((asked, until)) = self.down {
            self.next = now + RENEWS;
            if now < until {
                return Some(Ask::HandMove(asked));
            }
            self.down = None;
            self.rest(now);
            // Let go, or the screen is gone.
            return self.chance.happens(0.5).then_some(Ask::HandStop);
        }
        let stands = matches!(phase, Phase::Idle | Phase::Ready | Phase::Held);
        if self.left == 0 || !stands {
            self.next = now + Duration::from_millis(200);
            return None;
        }
        self.left -= 1;
        if self.chance.happens(0.1) {
            self.rest(now);
            return Some(Ask::HandGo {
                to: self.chance.pick(&[HandPlace::Corner, HandPlace::Park]),
            });
        }
        self.press += 1;
        let step = self.chance.happens(0.4);
        let asked = HandMove {
            axis: self.chance.pick(&[HandAxis::X, HandAxis::Y, HandAxis::Z]),
            forward: self.chance.happens(0.5),
            press: PressId(self.press),
            step_mm: step.then(|| self.chance.pick(&[0.1, 1.0, 10.0])),
        };
        if step {
            self.rest(now);
        } else {
            let s = self.chance.within(0.05, 3.0);
            self.down = Some((asked, now + Duration::from_secs_f64(s)));
            self.next = now + RENEWS;
        }
        Some(Ask::HandMove(asked))
    }

    fn rest(&mut self, now: Time) {
        let s = if self.chance.happens(0.4) {
            self.chance.within(0.0, 0.5)
        } else {
            self.chance.within(0.5, 30.0)
        };
        self.next = now + Duration::from_secs_f64(s);
    }
}

impl World {
    pub(super) fn press_keys(&mut self) {
        if self.nobody_asks || !self.awake(Part::Runner) {
            return;
        }
        let (now, phase) = (self.now, self.machine.phase());
        if let Some(ask) = self.keys.as_mut().and_then(|k| k.act(now, phase)) {
            self.ask(ask);
        }
    }
}
