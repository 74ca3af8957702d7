//! Finding the plate: two slow touches that must agree, a third where they do not.

use super::{Cycle, Move, Stage};
use crate::cause::Cause;
use crate::event::Event;
use crate::machine::Machine;
use link::Command;

/// Two of three touches agree within this, mm.
const MEDIAN_AGREE_MM: f64 = 0.15;

impl Machine {
    pub(super) fn keep_start(&mut self, c: &mut Cycle) {
        if c.record.is_some() {
            return;
        }
        let Some(run) = &self.run else { return };
        let event = Event::CutStarted {
            run: run.id,
            cut: run.cut + 1,
            try_number: run.tries + 1,
            from_mm: run.from_mm,
        };
        c.record = Some((self.record(event, true), self.now));
    }

    pub(super) fn touch(&mut self, c: &mut Cycle, to_z: f64, mm_s: f64) -> Move {
        c.answer = None;
        c.limit = self.z_limit(to_z, mm_s);
        Move::On(Stage::Slow(self.line.say(Command::TouchOff { to_z, mm_s })))
    }

    pub(super) fn judge_touch(&mut self, c: &mut Cycle, z: Option<f64>) -> Move {
        let Some(cs) = self.loaded.as_ref().map(|l| l.job.cycle) else {
            return Move::Stay;
        };
        let Some(z) = z else {
            if c.touches.is_empty() {
                let first = self.run.as_ref().is_some_and(|r| r.touched_z.is_none());
                let below = if first {
                    cs.probe_limit_first_mm
                } else {
                    cs.probe_limit_mm
                };
                return Move::Stop(
                    Cause::NoContact,
                    format!(
                        "Torch went {below:.0} mm below where the plate should be and touched nothing."
                    ),
                );
            }
            return Move::Stop(
                Cause::TouchUnsure,
                "The second touch did not meet the plate.".into(),
            );
        };
        if z > c.expected_z + cs.probe_high_mm {
            return Move::Stop(
                Cause::PlateMoved,
                format!(
                    "Touched {:.1} mm above where the plate should be; limit {:.1} mm.",
                    z - c.expected_z,
                    cs.probe_high_mm
                ),
            );
        }
        c.touches.push(z);
        match agreed(&c.touches, cs.touch_agree_mm) {
            Some(contact) => {
                let surface = contact - cs.ohmic_offset_mm;
                c.surface_z = surface;
                if let Some(run) = &mut self.run {
                    run.touched_z = Some(surface);
                    run.highest_z = Some(run.highest_z.map_or(surface, |h| h.max(surface)));
                    let event = Event::TouchedOff {
                        run: run.id,
                        cut: run.cut + 1,
                        z_mm: surface,
                    };
                    self.record(event, false);
                }
                self.go_to_height(c)
            }
            None if c.touches.len() >= 3 => Move::Stop(
                Cause::TouchUnsure,
                format!(
                    "Three touches differ by more than {MEDIAN_AGREE_MM:.2} mm: {:.2}, {:.2}, {:.2}.",
                    c.touches[0], c.touches[1], c.touches[2]
                ),
            ),
            None => {
                let up = z + cs.back_off_mm;
                c.limit = self.z_limit(up, self.settings.rapid_z_mm_s);
                Move::On(Stage::BackOff(self.line.say(Command::RapidZ(up))))
            }
        }
    }

    pub(super) fn go_to_height(&mut self, c: &mut Cycle) -> Move {
        let above = self.loaded.as_ref().map_or(0.0, |l| {
            if c.open_kerf {
                l.job.row.cut_height_mm
            } else {
                l.job.row.pierce_height_mm
            }
        });
        let z = c.surface_z + above;
        c.limit = self.z_limit(z, self.settings.rapid_z_mm_s);
        Move::On(Stage::Height(self.line.say(Command::RapidZ(z))))
    }
}

/// The contact height that the touches agree on; `None`: touch again.
fn agreed(touches: &[f64], agree_mm: f64) -> Option<f64> {
    match *touches {
        [a, b] => ((a - b).abs() <= agree_mm).then_some((a + b) / 2.0),
        [a, b, d] => {
            let mut all = [a, b, d];
            all.sort_by(f64::total_cmp);
            let near = (all[1] - all[0]).min(all[2] - all[1]);
            (near <= MEDIAN_AGREE_MM).then_some(all[1])
        }
        _ => None,
    }
}
