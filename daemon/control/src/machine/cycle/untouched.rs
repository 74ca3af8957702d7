//! A touch-off that is skipped: near to the last one, on a sheet whose plane is known.

use process::{CycleSettings, NextPierce};

use super::{Cycle, Move};
use crate::event::Event;
use crate::machine::Machine;

impl Machine {
    /// The height of the sheet under the torch without a touch-off; `None`: it must be touched. After
    /// any hold, and for a second try or a way on, it is.
    pub(super) fn height_without_touch(&self, c: &Cycle, cs: &CycleSettings) -> Option<f64> {
        let (loaded, run) = (self.loaded.as_ref()?, self.run.as_ref()?);
        let touched = run.touched.as_ref()?;
        let as_planned = run.tries == 0 && run.plan().is_none() && run.from_mm == 0.0;
        if !as_planned || touched.holds != run.holds.len() {
            return None;
        }
        let next = NextPierce {
            at: c.target,
            age_s: self.now.since(touched.at).as_secs_f64(),
            freed_by: loaded.job.cuts.get(run.cut)?.freed_by,
        };
        let thick = loaded.job.thickness_mm;
        cs.height_without_touch(thick, &run.touches, &touched.last, &next)
    }

    /// Straight to pierce height. The sensing circuit is on: on the way down a contact stops the
    /// torch, and at pierce height it must be open.
    pub(super) fn skip_touch(&mut self, c: &mut Cycle, z: f64) -> Move {
        self.keep_start(c);
        c.untouched = true;
        c.surface_z = z;
        self.stands_up(z);
        if let Some(run) = &mut self.run {
            if let Some(touched) = &mut run.touched {
                touched.last.skipped += 1;
            }
            let event = Event::TouchSkipped {
                run: run.id,
                cut: run.cut + 1,
                z_mm: z,
            };
            self.record(event, false);
        }
        self.connect_sense();
        self.go_to_height(c)
    }
}
