//! Carrying out the queue: moving, touching off, referencing.

mod plan;

use units::{Point, Segment};

use super::{Controller, MS};
use crate::motion::Run;
use crate::settings::Tongue;

/// The sensing relay takes this long.
const SENSE_NS: u64 = 10 * MS;
/// The touch-off input is looked at this often; the height itself is latched.
const TOUCH_POLL_NS: u64 = 12 * MS;

/// A command in the queue.
#[derive(Clone, Debug)]
pub(super) struct Queued {
    pub(super) number: u32,
    pub(super) work: Work,
}

#[derive(Clone, Debug)]
pub(super) enum Work {
    Path(Path),
    RapidXy(Point),
    MoveZ { z: f64, mm_s: f64 },
    TorchOn,
    TorchOff,
    Sense(bool),
    Touch { z: f64, mm_s: f64 },
    Home,
}

/// A piece of path and what the planner knows about it.
#[derive(Clone, Debug)]
pub(super) struct Path {
    segment: Segment,
    length: f64,
    v_max: f64,
    /// Highest speed through the corner in front of it; 0 where no path comes before.
    corner: f64,
    /// Planned speed at its start.
    entry: f64,
    /// Direction at its end.
    out: (f64, f64),
}

/// The command that is being carried out.
#[derive(Clone, Debug)]
pub(super) struct Active {
    number: u32,
    kind: Kind,
}

#[derive(Clone, Debug)]
enum Kind {
    Path { path: Path, run: Run },
    Rapid { segment: Segment, run: Run },
    Z { from: f64, to: f64, run: Run },
    Touch(Touch),
    HomeZ { from: f64, run: Run },
    HomeXy { segment: Segment, run: Run },
    Sense { on: bool, until: u64 },
}

#[derive(Clone, Debug)]
struct Touch {
    from: f64,
    run: Run,
    latched: Option<(f64, u64)>,
}

impl Active {
    fn run(&self) -> Option<&Run> {
        match &self.kind {
            Kind::Path { run, .. }
            | Kind::Rapid { run, .. }
            | Kind::Z { run, .. }
            | Kind::HomeZ { run, .. }
            | Kind::HomeXy { run, .. } => Some(run),
            Kind::Touch(touch) => Some(&touch.run),
            Kind::Sense { .. } => None,
        }
    }

    fn run_mut(&mut self) -> Option<&mut Run> {
        match &mut self.kind {
            Kind::Path { run, .. }
            | Kind::Rapid { run, .. }
            | Kind::Z { run, .. }
            | Kind::HomeZ { run, .. }
            | Kind::HomeXy { run, .. } => Some(run),
            Kind::Touch(touch) => Some(&mut touch.run),
            Kind::Sense { .. } => None,
        }
    }

    pub(super) fn speed(&self) -> f64 {
        self.run().map_or(0.0, |r| r.v)
    }

    pub(super) fn word(&self) -> &'static str {
        match self.kind {
            Kind::Touch(_) => "touch",
            Kind::HomeZ { .. } | Kind::HomeXy { .. } => "home",
            _ => "run",
        }
    }

    pub(super) fn next(&self, now: u64) -> u64 {
        let end = match &self.kind {
            Kind::Sense { until, .. } => return *until,
            _ => self.run().map_or(now, |r| after(now, r.time_left())),
        };
        match &self.kind {
            Kind::Touch(Touch {
                latched: Some((_, at)),
                run,
                ..
            }) if !run.braking => end.min(*at + TOUCH_POLL_NS),
            _ => end,
        }
    }
}

fn after(now: u64, seconds: f64) -> u64 {
    now + (seconds * 1e9).ceil().max(1.0) as u64
}

impl Controller {
    pub(super) fn brake(&mut self) {
        if let Some(run) = self.active.as_mut().and_then(Active::run_mut) {
            run.braking = true;
        }
    }

    /// Moves what is under way by `dt` ns.
    pub(super) fn work(&mut self, now: u64, dt: u64) {
        let Some(mut active) = self.active.take() else {
            return;
        };
        let dt_s = dt as f64 / 1e9;
        if let Kind::Touch(touch) = &mut active.kind
            && touch
                .latched
                .is_some_and(|(_, at)| now > at + TOUCH_POLL_NS)
        {
            touch.run.braking = true;
        }
        if let Some(run) = active.run_mut() {
            run.advance(dt_s);
        }
        let place = match &active.kind {
            Kind::Path {
                path: Path { segment, .. },
                run,
            }
            | Kind::Rapid { segment, run } => Some(segment.point_at(run.s)),
            Kind::HomeXy { segment, run } => {
                let real = segment.point_at(run.s);
                Some(real.moved(-self.off[0], -self.off[1]))
            }
            Kind::Z { from, to, run } => {
                self.at[2] = from + (to - from).signum() * run.s;
                None
            }
            Kind::Touch(Touch { from, run, .. }) => {
                self.at[2] = from - run.s;
                None
            }
            Kind::HomeZ { from, run } => {
                self.at[2] = from + run.s;
                None
            }
            Kind::Sense { .. } => None,
        };
        if let Some(p) = place {
            self.at[0] = p.x;
            self.at[1] = p.y;
        }
        if let Kind::Touch(touch) = &mut active.kind
            && touch
                .latched
                .is_some_and(|(_, at)| now >= at + TOUCH_POLL_NS)
        {
            touch.run.braking = true;
        }
        self.ended(now, active);
    }

    /// Puts the command back if it goes on, or ends it.
    fn ended(&mut self, now: u64, mut active: Active) {
        let number = active.number;
        let (ended, stands) = active
            .run()
            .map_or((false, false), |r| (r.ended(), r.stands()));
        match &mut active.kind {
            Kind::Sense { on, until } => {
                if now < *until {
                    self.active = Some(active);
                } else {
                    self.sense = *on;
                    self.sense_told += u64::from(*on);
                    self.done(number);
                }
            }
            Kind::Touch(touch) => match touch.latched {
                Some((z, _)) if ended || stands => {
                    self.done(number);
                    self.report_due = true;
                    self.touched(now, number, Some(z));
                }
                None if ended && !touch.run.braking => {
                    self.done(number);
                    self.report_due = true;
                    self.touched(now, number, None);
                }
                None if stands || ended => self.break_off(),
                _ => self.active = Some(active),
            },
            Kind::Path { run, .. } if ended => {
                let run = *run;
                self.done(number);
                self.path_goes_on(run);
            }
            Kind::HomeZ { .. } if ended && !self.halted() => self.home_xy(number),
            Kind::HomeXy { .. } if ended && !self.halted() => {
                self.off = [0.0; 3];
                let (low, high) = (self.settings.travel_low, self.settings.travel_high);
                self.at = [low[0], low[1], high[2]];
                self.referenced = true;
                self.done(number);
                self.report_due = true;
            }
            Kind::Rapid { .. } | Kind::Z { .. } if ended => {
                self.done(number);
                self.report_due = true;
            }
            _ if stands || ended => self.break_off(),
            _ => self.active = Some(active),
        }
    }

    fn touched(&mut self, now: u64, number: u32, z: Option<f64>) {
        let body = match (self.settings.tongue, z) {
            (Tongue::Plain, Some(z)) => format!("touched {number} z{z:.3}"),
            (Tongue::Plain, None) => format!("missed {number}"),
            (Tongue::Quill, found) => self.quill_found(found),
        };
        self.say(now, &body);
    }

    fn break_off(&mut self) {
        self.quill_seek_ends();
        self.broken_off = true;
        self.report_due = true;
    }

    fn done(&mut self, number: u32) {
        self.executed = number;
        if let Some(epoch) = self.epoch {
            self.done_log.push((epoch, number));
        }
    }

    /// At the end of a piece of path: goes on into the next without stopping, if there is one.
    fn path_goes_on(&mut self, before: Run) {
        if before.v > 0.0
            && let Some(Queued {
                work: Work::Path(_),
                ..
            }) = self.queue.front()
            && let Some(Queued {
                number,
                work: Work::Path(path),
            }) = self.queue.pop_front()
        {
            let mut run = Run::new(path.length, path.v_max, self.settings.accel_mm_s2);
            run.v = before.v;
            run.braking = before.braking;
            self.active = Some(Active {
                number,
                kind: Kind::Path { path, run },
            });
            self.plan();
        } else {
            self.dry += u32::from(self.torch && self.queue.is_empty());
            self.report_due = true;
        }
    }

    /// Begins what is next in the queue, as long as it takes no time.
    pub(super) fn pump(&mut self, now: u64) {
        loop {
            if let Some(active) = &self.active {
                let over = active.run().is_some_and(|r| r.ended() || r.stands());
                if !over {
                    break;
                }
                if let Some(active) = self.active.take() {
                    self.ended(now, active);
                }
                self.hear_waiting(now);
                continue;
            }
            if self.halted() {
                break;
            }
            let Some(Queued { number, work }) = self.queue.pop_front() else {
                break;
            };
            self.begin_work(now, number, work);
            self.plan();
            self.hear_waiting(now);
        }
    }

    fn begin_work(&mut self, now: u64, number: u32, work: Work) {
        let here = Point::new(self.at[0], self.at[1]);
        let z_run = |length: f64, mm_s: f64| Run::new(length, mm_s, self.settings.z_accel_mm_s2);
        let xy_run = |length: f64, mm_s: f64| Run::new(length, mm_s, self.settings.accel_mm_s2);
        let kind = match work {
            Work::Path(path) => {
                let run = xy_run(path.length, path.v_max);
                Kind::Path { path, run }
            }
            Work::RapidXy(to) => {
                let segment = Segment::Line { from: here, to };
                Kind::Rapid {
                    segment,
                    run: xy_run(segment.length(), self.settings.rapid_mm_s),
                }
            }
            Work::MoveZ { z, mm_s } => Kind::Z {
                from: self.at[2],
                to: z,
                run: z_run((z - self.at[2]).abs(), mm_s),
            },
            Work::Touch { z, mm_s } => {
                let run = z_run((self.at[2] - z).max(0.0), mm_s);
                self.quill_seek_begins();
                Kind::Touch(Touch {
                    from: self.at[2],
                    run,
                    latched: None,
                })
            }
            Work::Home => {
                self.referenced = false;
                let up = (self.settings.travel_high[2] - self.at[2] - self.off[2]).max(0.0);
                Kind::HomeZ {
                    from: self.at[2],
                    run: z_run(up, self.settings.z_rapid_mm_s),
                }
            }
            Work::Sense(on) => Kind::Sense {
                on,
                until: now + SENSE_NS,
            },
            Work::TorchOn | Work::TorchOff => {
                let on = matches!(work, Work::TorchOn);
                if !on || !self.no_fire {
                    self.set_torch(now, on);
                }
                self.done(number);
                return;
            }
        };
        self.active = Some(Active { number, kind });
    }

    fn home_xy(&mut self, number: u32) {
        let from = self.true_place().0;
        let low = self.settings.travel_low;
        let segment = Segment::Line {
            from,
            to: Point::new(low[0], low[1]),
        };
        let run = Run::new(
            segment.length(),
            self.settings.rapid_mm_s,
            self.settings.accel_mm_s2,
        );
        self.active = Some(Active {
            number,
            kind: Kind::HomeXy { segment, run },
        });
    }

    /// The touch-off input closed; `z` is where the torch met it, as the drives count.
    pub(crate) fn met(&mut self, now: u64, z: f64) {
        if let Some(Active {
            kind: Kind::Touch(touch),
            ..
        }) = &mut self.active
            && touch.latched.is_none()
        {
            touch.latched = Some((z, now));
        }
    }

    /// Where the drives count the torch to be, of a height in the world.
    pub(crate) fn counted_z(&self, z: f64) -> f64 {
        z - self.off[2]
    }

    /// Touching off: how far it has to go down yet before the next look, and not before.
    pub(crate) fn touching(&self) -> bool {
        matches!(&self.active, Some(a) if matches!(a.kind, Kind::Touch(_)))
    }

    /// The XY rapid under way: where it goes, and how far that is yet, mm.
    pub(crate) fn rapid_to(&self) -> Option<(Point, f64)> {
        match &self.active {
            Some(Active {
                kind: Kind::Rapid { segment, run },
                ..
            }) => Some((segment.to(), run.length - run.s)),
            _ => None,
        }
    }

    /// Speed in the plane, mm/s.
    pub(crate) fn xy_speed(&self) -> f64 {
        match &self.active {
            Some(Active {
                kind: Kind::Path { run, .. } | Kind::Rapid { run, .. } | Kind::HomeXy { run, .. },
                ..
            }) => run.v,
            _ => 0.0,
        }
    }
}
