//! Planning ahead over the queue: how fast a piece of path may be entered, how long all of it takes.

use units::{Point, Segment};

use super::{Active, Controller, Kind, Path, Queued, Work};
use crate::motion::{Run, corner_speed};

impl Controller {
    /// A piece of path, with the speed that it may be entered at.
    pub(in crate::controller) fn path_work(&self, segment: Segment, mm_s: f64) -> Work {
        let a = self.settings.accel_mm_s2;
        let length = segment.length();
        let round = segment.radius().map_or(f64::INFINITY, |r| (a * r).sqrt());
        let v_max = mm_s.min(self.settings.rapid_mm_s).min(round);
        let before = match (self.queue.back(), &self.active) {
            (Some(Queued { work, .. }), _) => match work {
                Work::Path(path) => Some(path),
                _ => None,
            },
            (None, Some(active)) => match &active.kind {
                Kind::Path { path, .. } => Some(path),
                _ => None,
            },
            (None, None) => None,
        };
        let (corner, out) = match before {
            None => (0.0, segment.direction_at(length)),
            Some(before) if length < 1e-6 => (before.v_max, before.out),
            Some(before) => {
                let corner = corner_speed(
                    before.out,
                    segment.direction_at(0.0),
                    self.settings.corner_step_mm_s,
                );
                (
                    corner.min(before.v_max).min(v_max),
                    segment.direction_at(length),
                )
            }
        };
        Work::Path(Path {
            segment,
            length,
            v_max,
            corner,
            entry: 0.0,
            out,
        })
    }

    /// Looks ahead over the path in the queue: nothing may be entered faster than what follows
    /// lets it slow down from. The path that is queued last ends at a stand.
    pub(in crate::controller) fn plan(&mut self) {
        let ahead = self
            .queue
            .iter()
            .take_while(|q| matches!(q.work, Work::Path(_)))
            .count();
        let mut next = 0.0_f64;
        for queued in self.queue.iter_mut().take(ahead).rev() {
            if let Work::Path(path) = &mut queued.work {
                let slows = (next * next + 2.0 * self.settings.accel_mm_s2 * path.length).sqrt();
                path.entry = path.corner.min(slows);
                next = path.entry;
            }
        }
        if let Some(Active {
            kind: Kind::Path { run, .. },
            ..
        }) = &mut self.active
        {
            run.v_end = next;
        }
    }

    /// Motion that is left in the queue, ms.
    pub(in crate::controller) fn queued_ms(&self) -> u64 {
        let (a, az) = (self.settings.accel_mm_s2, self.settings.z_accel_mm_s2);
        let mut total = match &self.active {
            Some(active) => active.run().map_or(0.0, Run::time_left),
            None => 0.0,
        };
        let mut at = Point::new(self.at[0], self.at[1]);
        let mut z = self.at[2];
        if let Some(active) = &self.active {
            match &active.kind {
                Kind::Path { path, .. } => at = path.segment.to(),
                Kind::Rapid { segment, .. } => at = segment.to(),
                Kind::Z { to, .. } => z = *to,
                _ => {}
            }
        }
        for (index, queued) in self.queue.iter().enumerate() {
            total += match &queued.work {
                Work::Path(path) => {
                    let mut run = Run::new(path.length, path.v_max, a);
                    run.v = path.entry;
                    if let Some(Queued {
                        work: Work::Path(next),
                        ..
                    }) = self.queue.get(index + 1)
                    {
                        run.v_end = next.entry;
                    }
                    at = path.segment.to();
                    run.time_left()
                }
                Work::RapidXy(to) => {
                    let run = Run::new(at.distance(*to), self.settings.rapid_mm_s, a);
                    at = *to;
                    run.time_left()
                }
                Work::MoveZ { z: to, mm_s } | Work::Touch { z: to, mm_s } => {
                    let run = Run::new((to - z).abs(), *mm_s, az);
                    z = *to;
                    run.time_left()
                }
                Work::Sense(_) => 0.01,
                Work::TorchOn | Work::TorchOff | Work::Home => 0.0,
            };
        }
        (total * 1000.0) as u64
    }
}
