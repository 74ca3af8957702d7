//! Finding the plate: two slow touches that must agree, a third where they do not.

use process::CycleSettings;

use super::{Cycle, Move, REST_LIMIT, Stage};
use crate::cause::Cause;
use crate::event::Event;
use crate::machine::Machine;
use crate::machine::run::TouchedLast;
use link::Command;

/// Two of three touches agree within this, mm.
const MEDIAN_AGREE_MM: f64 = 0.15;
/// Two touches by the float switch agree within this, mm (process handbook, invented).
const FLOAT_AGREE_MM: f64 = 0.20;
/// So many touches in a row without contact, and the shield is to be cleaned.
const MISSES_TOLD: u32 = 3;

/// What a touch-off ended at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Met {
    Contact,
    Float,
    Neither,
}

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

    /// Something was met at this height: over it the torch travels from here on.
    pub(in crate::machine) fn stands_up(&mut self, z: f64) {
        if let Some(run) = &mut self.run {
            run.highest_z = Some(run.highest_z.map_or(z, |h| h.max(z)));
        }
    }

    pub(super) fn judge_touch(&mut self, c: &mut Cycle, z: Option<f64>) -> Move {
        let Some(cs) = self.loaded.as_ref().map(|l| l.job.cycle) else {
            return Move::Stay;
        };
        let Some(z) = z else {
            if c.touches.is_empty() {
                return self.look_beside(c, &cs);
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
        let met = self.met();
        if met == Met::Neither && c.by_float {
            return Move::Stop(
                Cause::TouchUnsure,
                "The touch-off ended, and the float switch is not on.".into(),
            );
        }
        if met == Met::Float && !c.by_float {
            // What was touched before, was touched by contact: another height.
            self.note_miss(c);
            c.touches.clear();
        }
        c.touches.push(z);
        match agreed(&c.touches, cs.touch_agree_mm, c.by_float) {
            Some(height) => {
                let surface = if c.by_float {
                    height + cs.float_offset_mm
                } else {
                    height - cs.ohmic_offset_mm
                };
                if let Some(why) = self.off_plane(c, surface) {
                    return Move::Stop(Cause::PlateMoved, why);
                }
                c.surface_z = surface;
                self.stands_up(surface);
                if let Some(run) = &mut self.run {
                    run.touched_z = Some(surface);
                    run.touches.push((c.target, surface));
                    let last = process::LastTouch {
                        cut: run.cut,
                        off_mm: surface - c.expected_z,
                        skipped: 0,
                    };
                    run.touched = (!c.by_float).then_some(TouchedLast {
                        last,
                        at: self.now,
                        holds: run.holds.len(),
                    });
                    if !c.by_float {
                        run.contact_misses = 0;
                    }
                    let event = Event::TouchedOff {
                        run: run.id,
                        cut: run.cut + 1,
                        z_mm: surface,
                        by_float: c.by_float,
                    };
                    self.record(event, false);
                }
                self.go_to_height(c)
            }
            None if c.by_float && c.touches.len() >= 2 => Move::Stop(
                Cause::TouchUnsure,
                format!(
                    "Two touches by the float switch differ by more than {FLOAT_AGREE_MM:.2} mm: {:.2}, {:.2}.",
                    c.touches[0], c.touches[1]
                ),
            ),
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

    /// The torch stands where the touch-off stopped it: what is closed there has stopped it.
    fn met(&self) -> Met {
        let s = &self.signals;
        match (s.contact, s.float_switch) {
            (true, _) => Met::Contact,
            (false, Some(true)) => Met::Float,
            _ => Met::Neither,
        }
    }

    /// Contact does not open where it must: the float switch is asked alone, without the circuit.
    pub(super) fn fall_back_to_float(&mut self, c: &mut Cycle, cs: &CycleSettings) -> Move {
        if self.signals.float_switch != Some(false) {
            return Move::Stop(
                Cause::TouchUnsure,
                format!(
                    "Contact stayed on {:.1} mm above the touch.",
                    cs.back_off_mm
                ),
            );
        }
        self.note_miss(c);
        c.touches.clear();
        c.limit = REST_LIMIT;
        Move::On(Stage::FloatOnly(self.disconnect_sense()))
    }

    /// A touch in which contact failed: the float switch decides from here on.
    fn note_miss(&mut self, c: &mut Cycle) {
        c.by_float = true;
        let Some(run) = &mut self.run else { return };
        run.contact_misses += 1;
        if run.contact_misses >= MISSES_TOLD {
            let why = format!(
                "Contact was missing in {} touches in a row; the float switch served. Clean the shield.",
                run.contact_misses
            );
            self.alarm(Cause::TouchUnsure, self.now, false, why);
        }
    }

    /// Why this is not the sheet as it was found so far; the next touch is a first one then.
    fn off_plane(&mut self, c: &Cycle, surface: f64) -> Option<String> {
        let run = self.run.as_mut()?;
        let why = crate::plane::judge(&run.touches, (c.target, surface)).err()?;
        run.touches.clear();
        run.touched_z = None;
        Some(why)
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
        c.start_z = Some(z);
        c.limit = self.z_limit(z, self.settings.rapid_z_mm_s);
        Move::On(Stage::Height(self.line.say(Command::RapidZ(z))))
    }
}

/// The contact height that the touches agree on; `None`: touch again.
fn agreed(touches: &[f64], agree_mm: f64, by_float: bool) -> Option<f64> {
    match *touches {
        [a, b] if by_float => ((a - b).abs() <= FLOAT_AGREE_MM).then_some((a + b) / 2.0),
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
