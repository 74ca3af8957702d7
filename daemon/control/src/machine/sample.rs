//! How the machine stands at this moment, for the recorder.

use units::Time;

use super::{Act, Machine};
use crate::guard;
use crate::trace::{Level, Levels, Sample};

impl Machine {
    /// The levels that a trace shows.
    #[must_use]
    pub fn levels(&self) -> Levels {
        let mut levels = Levels::default();
        let s = &self.signals;
        let seen = |level: bool| (self.signals_heard && !s.unreadable).then_some(level);
        let fitted = |level: Option<bool>| level.and_then(seen);
        for (level, on) in [
            (Level::Fire, seen(s.fire_on)),
            (Level::ArcOk, seen(s.arc_ok)),
            (Level::Contact, seen(s.contact)),
            (Level::EstopOpen, seen(s.estop_open)),
            (Level::TorchSeated, fitted(s.torch_seated)),
            (Level::GateClosed, fitted(s.gate_closed)),
            (Level::SourceOn, fitted(s.source_on)),
            (Level::AirOk, fitted(s.air_ok)),
            (Level::Permit, Some(self.guard.phase != guard::Phase::Off)),
            (Level::Hold, Some(self.held_or_stopping())),
            (
                Level::Moving,
                self.line.status.is_some().then(|| self.moves()),
            ),
        ] {
            levels.set(level, on);
        }
        levels
    }

    /// Being stopped, or at rest with a latch or in the middle of a run.
    fn held_or_stopping(&self) -> bool {
        match &self.act {
            Act::Stopping(_) => true,
            Act::Rest => {
                self.alarms.any_latch() || self.run.as_ref().is_some_and(|run| !run.over())
            }
            _ => false,
        }
    }

    /// The levels, and what was measured last.
    #[must_use]
    pub fn sample(&self, now: Time) -> Sample {
        let torch = self.torch_view(now);
        let volts = self.signals.volts.filter(|_| self.signals_heard);
        Sample {
            at: now,
            levels: self.levels(),
            place: torch.place.map(|p| (p.x as f32, p.y as f32)),
            height_mm: torch.height_mm.map(|mm| mm as f32),
            speed_mm_s: torch.feed_mm_s.map(|v| v as f32),
            volts: volts.map(|v| v as f32),
            cut: self.cut_number().map_or(0, |n| n as u32),
        }
    }
}
