//! Motion along one length: trapezoids of speed, exact in time, and the speed through corners.

/// One block under way: `s` mm of `length` done, at speed `v`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Run {
    pub(crate) s: f64,
    pub(crate) v: f64,
    pub(crate) length: f64,
    pub(crate) v_max: f64,
    /// Highest speed at the end of the block.
    pub(crate) v_end: f64,
    pub(crate) accel: f64,
    /// Slow down to a stand, along the path.
    pub(crate) braking: bool,
}

/// Speed up, go on, slow down: from where the run is to its end.
struct Phases {
    up_s: f64,
    flat_s: f64,
    down_s: f64,
    v_peak: f64,
    v_end: f64,
}

/// Closer than this to the end is the end, mm.
const AT_END: f64 = 1e-7;

impl Run {
    pub(crate) fn new(length: f64, v_max: f64, accel: f64) -> Self {
        Self {
            s: 0.0,
            v: 0.0,
            length,
            v_max: v_max.max(1e-3),
            v_end: 0.0,
            accel,
            braking: false,
        }
    }

    fn phases(&self) -> Phases {
        let (a, v, left) = (self.accel, self.v, (self.length - self.s).max(0.0));
        let v_end = self.v_end.min((v * v + 2.0 * a * left).sqrt());
        let v_peak = ((2.0 * a * left + v * v + v_end * v_end) / 2.0)
            .sqrt()
            .min(self.v_max)
            .max(v);
        let (up_s, down_s) = ((v_peak - v) / a, (v_peak - v_end).max(0.0) / a);
        let flat = left
            - (v_peak * v_peak - v * v) / (2.0 * a)
            - (v_peak * v_peak - v_end * v_end).max(0.0) / (2.0 * a);
        Phases {
            up_s,
            flat_s: if v_peak > 0.0 {
                flat.max(0.0) / v_peak
            } else {
                0.0
            },
            down_s,
            v_peak,
            v_end,
        }
    }

    /// Time until the block ends, or until it stands while braking, s.
    pub(crate) fn time_left(&self) -> f64 {
        if self.ended() {
            return 0.0;
        }
        if self.braking {
            let rest = self.v * self.v - 2.0 * self.accel * (self.length - self.s);
            return (self.v - rest.max(0.0).sqrt()) / self.accel;
        }
        let p = self.phases();
        p.up_s + p.flat_s + p.down_s
    }

    /// Goes on for `dt` s, at most to the end of the block.
    pub(crate) fn advance(&mut self, dt: f64) {
        let a = self.accel;
        if self.ended() {
            self.s = self.length;
            return;
        }
        if self.braking {
            let left_s = self.time_left();
            let t = dt.min(left_s);
            self.s = (self.s + self.v * t - a * t * t / 2.0).min(self.length);
            self.v = (self.v - a * t).max(0.0);
            if left_s - dt < 1e-10 && self.length - self.s > AT_END {
                self.v = 0.0;
            }
        } else {
            let p = self.phases();
            if dt >= p.up_s + p.flat_s + p.down_s - 1e-10 {
                self.s = self.length;
                self.v = p.v_end;
                return;
            }
            let mut t = dt;
            let up = t.min(p.up_s);
            self.s += self.v * up + a * up * up / 2.0;
            self.v += a * up;
            t -= up;
            if t > 0.0 {
                let flat = t.min(p.flat_s);
                self.v = p.v_peak;
                self.s += p.v_peak * flat;
                t -= flat;
            }
            if t > 0.0 {
                self.s += self.v * t - a * t * t / 2.0;
                self.v = (self.v - a * t).max(0.0);
            }
            self.s = self.s.min(self.length);
        }
        if self.length - self.s <= AT_END {
            self.s = self.length;
        }
    }

    pub(crate) fn ended(&self) -> bool {
        self.length - self.s <= AT_END
    }

    /// Stands because it was told to brake.
    pub(crate) fn stands(&self) -> bool {
        self.braking && self.v <= 0.0
    }
}

/// The speed through a corner that turns the direction of travel from `a` to `b` (unit vectors),
/// when the velocity may step by `step` mm/s: `step / (2 sin(phi / 2))`.
pub(crate) fn corner_speed(a: (f64, f64), b: (f64, f64), step: f64) -> f64 {
    let cos = (a.0 * b.0 + a.1 * b.1).clamp(-1.0, 1.0);
    let twice_sin_half = (2.0 - 2.0 * cos).sqrt();
    if twice_sin_half < 1e-9 {
        f64::INFINITY
    } else {
        step / twice_sin_half
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MIN: f64 = 60.0;

    #[test]
    fn fifty_mm_at_2600_take_1_26_s_and_five_take_0_22() {
        // Handbook 4.6, calculated there: a = 400 mm/s2.
        let t = Run::new(50.0, 2600.0 / MIN, 400.0).time_left();
        assert!((t - 1.262).abs() < 5e-4, "{t}");
        let t = Run::new(5.0, 2600.0 / MIN, 400.0).time_left();
        assert!((t - 0.2237).abs() < 5e-4, "{t}");
    }

    #[test]
    fn a_run_does_not_depend_on_the_size_of_the_steps() {
        for steps in [1, 7, 100, 5000] {
            let mut run = Run::new(30.0, 80.0, 400.0);
            run.v = 10.0;
            run.v_end = 20.0;
            let whole = run.time_left();
            for _ in 0..steps {
                run.advance(whole / f64::from(steps));
            }
            assert!(run.ended(), "{steps}");
            assert!((run.v - 20.0).abs() < 1e-6);
        }
    }

    #[test]
    fn braking_from_2600_takes_2_35_mm() {
        // Handbook 4.7: braking at 2600 mm/min, a = 400: 2.35 mm.
        let mut run = Run::new(50.0, 2600.0 / MIN, 400.0);
        run.advance(0.5);
        let from = run.s;
        run.braking = true;
        let t = run.time_left();
        assert!((t - 2600.0 / MIN / 400.0).abs() < 1e-9);
        run.advance(t);
        assert!(run.stands());
        assert!((run.s - from - 2.347).abs() < 1e-3);
    }

    #[test]
    fn corners_are_taken_at_the_handbook_speeds() {
        // Handbook 4.6: step 8 mm/s: 90 degrees 339 mm/min, 45 degrees 627.
        let turned = |deg: f64| (deg.to_radians().cos(), deg.to_radians().sin());
        let v = |deg| corner_speed((1.0, 0.0), turned(deg), 8.0) * MIN;
        assert!((v(90.0) - 339.4).abs() < 0.1);
        assert!((v(45.0) - 627.2).abs() < 0.1);
        assert!(v(0.0).is_infinite());
        assert!((v(180.0) - 240.0).abs() < 0.1);
    }
}
