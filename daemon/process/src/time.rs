//! How long a job takes, reckoned as the machine moves and as the cycle waits.

use serde::{Deserialize, Serialize};
use units::Point;
use units::motion::stretch_s;

use crate::chart::ChartRow;
use crate::cycle::{CycleSettings, MotionLimits};
use crate::plane::Touch;
use crate::skip::{LastTouch, NextPierce};

/// Mean times of the power source and of the way between panel and controller, s.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct SourceTimes {
    /// The permit relay closes before torch-on is asked for.
    pub permit_s: f64,
    /// From the start contact to the pilot arc.
    pub pre_flow_s: f64,
    /// From the pilot to the arc on the sheet.
    pub transfer_s: f64,
    /// Arc OK follows the arc by this.
    pub arc_ok_lag_s: f64,
    /// Arc OK follows the end of the arc by this.
    pub arc_off_lag_s: f64,
    /// From the end of one step of the cycle to the start of the next: a report on the wire, and a
    /// line back.
    pub answer_s: f64,
    /// The same where the end shows only in the next report that comes by itself.
    pub report_s: f64,
}

impl Default for SourceTimes {
    /// Means of the simulated table (invented), at 115 200 baud and 50 reports a second.
    fn default() -> Self {
        Self {
            permit_s: 0.020,
            pre_flow_s: 0.35,
            transfer_s: 0.02,
            arc_ok_lag_s: 0.015,
            arc_off_lag_s: 0.012,
            answer_s: 0.012,
            report_s: 0.020,
        }
    }
}

/// A cut as far as its time goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CutShape {
    /// Where it is pierced.
    pub pierce: Point,
    /// Where its path ends.
    pub end: Point,
    /// Time along its path from rest to rest, s; `None`: it has no path, and is not cut.
    pub path_s: Option<f64>,
    /// Of the cuts before it the last that frees a piece near its pierce, from 0 (see
    /// [`crate::FREED_NEAR_MM`]).
    pub freed_by: Option<usize>,
}

/// All that the time of a job hangs on.
#[derive(Clone, Copy, Debug)]
pub struct Plan<'a> {
    /// The cuts in order.
    pub cuts: &'a [CutShape],
    /// Where the torch stands before the first, at traverse height; same coordinates as the cuts.
    pub start: Point,
    /// Where it goes after the last.
    pub park: Point,
    /// Thickness of the sheet, mm.
    pub thickness_mm: f64,
    /// Heights and pierce delay.
    pub row: &'a ChartRow,
    /// Heights, speeds and waits of the cycle.
    pub cycle: &'a CycleSettings,
    /// What the axes can do.
    pub motion: &'a MotionLimits,
    /// Mean times of the source and the link.
    pub source: &'a SourceTimes,
}

/// What was reckoned.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct JobTime {
    /// From the start to the torch parked, s.
    pub run_s: f64,
    /// With the arc on, s.
    pub arc_on_s: f64,
    /// Each cut with its traverse, touch-off and retract, s.
    pub cuts_s: Vec<f64>,
    /// When each arc burns; one for each cut.
    pub arcs: Vec<ArcTime>,
    /// Touch-offs that are skipped.
    #[serde(default)]
    pub touches_skipped: usize,
}

impl JobTime {
    /// Everything later: the run begins with something that was not reckoned.
    pub fn begin_later(&mut self, by_s: f64) {
        self.run_s += by_s;
        if let Some(first) = self.cuts_s.first_mut() {
            *first += by_s;
        }
        for arc in &mut self.arcs {
            arc.gas_s += by_s;
            arc.on_s += by_s;
            arc.off_s += by_s;
        }
    }
}

/// When an arc burns, s from the start of the run. A cut without a path burns for no time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ArcTime {
    /// The gas begins to flow: pre-flow.
    pub gas_s: f64,
    /// The arc is on the sheet.
    pub on_s: f64,
    /// The arc is out; post-flow begins.
    pub off_s: f64,
}

/// The arcs with waits before some of them: which, from 1 and in order, and how long, s.
#[must_use]
pub fn delayed(arcs: &[ArcTime], waits: impl Iterator<Item = (usize, f64)>) -> Vec<ArcTime> {
    let (mut waits, mut later) = (waits.peekable(), 0.0);
    let arcs = arcs.iter().zip(1..).map(|(arc, cut)| {
        while let Some((_, wait_s)) = waits.next_if(|(before, _)| *before <= cut) {
            later += wait_s;
        }
        ArcTime {
            gas_s: arc.gas_s + later,
            on_s: arc.on_s + later,
            off_s: arc.off_s + later,
        }
    });
    arcs.collect()
}

/// How long a job takes when nothing goes wrong.
#[must_use]
pub fn estimate(plan: &Plan<'_>) -> JobTime {
    let (m, t) = (plan.motion, plan.source);
    let rapid = |from: Point, to: Point| {
        stretch_s(from.distance(to), m.rapid_mm_s, 0.0, 0.0, m.accel_mm_s2)
    };
    let mut time = JobTime::default();
    let mut place = plan.start;
    let mut touched = Touched::default();
    for cut in plan.cuts {
        let arc_on = arc_s(plan, cut.path_s.unwrap_or(0.0));
        // Lift (already there), traverse with the sensing circuit connected behind it.
        let mut cut_s = t.report_s + rapid(place, cut.pierce) + t.report_s;
        cut_s += height_s(plan, &mut touched, &mut time, cut, cut_s);
        let mut arc = ArcTime {
            gas_s: time.run_s + cut_s + t.permit_s,
            on_s: time.run_s + cut_s + fire_s(plan),
            off_s: time.run_s + cut_s + fire_s(plan) + arc_on,
        };
        cut_s += fire_s(plan) + arc_on + retract_s(plan);
        if cut.path_s.is_none() {
            cut_s = 0.0;
            arc = ArcTime {
                gas_s: time.run_s,
                on_s: time.run_s,
                off_s: time.run_s,
            };
        } else {
            time.arc_on_s += arc_on;
        }
        time.arcs.push(arc);
        time.run_s += cut_s;
        time.cuts_s.push(cut_s);
        place = cut.end;
    }
    time.run_s += rapid(place, plan.park) + t.report_s;
    time
}

/// Touches as they are planned.
#[derive(Default)]
struct Touched {
    touches: Vec<Touch>,
    last: Option<(LastTouch, f64)>,
}

/// From above a pierce to its height: by a touch-off, or without one. On a sheet that lies flat.
fn height_s(
    plan: &Plan<'_>,
    touched: &mut Touched,
    time: &mut JobTime,
    cut: &CutShape,
    cut_s: f64,
) -> f64 {
    if cut.path_s.is_none() {
        return 0.0;
    }
    let there_s = time.run_s + cut_s;
    if let Some((last, at_s)) = &mut touched.last {
        let next = NextPierce {
            at: cut.pierce,
            age_s: there_s - *at_s,
            freed_by: cut.freed_by,
        };
        let (thick, touches) = (plan.thickness_mm, &touched.touches);
        if plan
            .cycle
            .height_without_touch(thick, touches, last, &next)
            .is_some()
        {
            last.skipped += 1;
            time.touches_skipped += 1;
            return no_touch_s(plan);
        }
    }
    let wait_s = post_flow_wait_s(plan, time, cut_s);
    let touch_s = touch_off_s(plan.row, plan.cycle, plan.motion, plan.source);
    let last = LastTouch {
        cut: time.arcs.len(),
        off_mm: 0.0,
        skipped: 0,
    };
    touched.touches.push((cut.pierce, 0.0));
    touched.last = Some((last, there_s + wait_s + touch_s));
    wait_s + touch_s
}

/// From above the pierce to pierce height without a touch-off, ready to fire.
fn no_touch_s(plan: &Plan<'_>) -> f64 {
    let (c, m, t) = (plan.cycle, plan.motion, plan.source);
    let down = z_s(
        m,
        c.safe_height_mm - plan.row.pierce_height_mm,
        m.z_rapid_mm_s,
    );
    down + t.answer_s + t.report_s + c.sense_settle_ms as f64 / 1000.0
}

/// What a touch-off that could begin `cut_s` after the cut before waits for the post-flow, s.
fn post_flow_wait_s(plan: &Plan<'_>, so_far: &JobTime, cut_s: f64) -> f64 {
    let Some(before) = so_far.arcs.last().filter(|a| a.off_s > a.on_s) else {
        return 0.0;
    };
    // The panel sees the arc's end by its signal.
    let off_s = before.off_s + plan.source.arc_off_lag_s;
    let blows_s = off_s + plan.cycle.post_flow_s - (so_far.run_s + cut_s);
    plan.cycle.post_flow_wait_s(plan.thickness_mm, blows_s)
}

fn z_s(m: &MotionLimits, length: f64, v: f64) -> f64 {
    stretch_s(
        length.abs(),
        v.min(m.z_rapid_mm_s),
        0.0,
        0.0,
        m.z_accel_mm_s2,
    )
}

/// From above the pierce to pierce height, sensing circuit off, ready to fire, s.
#[must_use]
pub fn touch_off_s(
    row: &ChartRow,
    c: &CycleSettings,
    motion: &MotionLimits,
    t: &SourceTimes,
) -> f64 {
    let rapid_z = |mm: f64| z_s(motion, mm, motion.z_rapid_mm_s);
    let sense = c.sense_settle_ms as f64 / 1000.0;
    // Contact ends a touch at full probing speed; what follows is the braking.
    let touch = |mm: f64| {
        let (v, a) = (c.probe_slow_mm_s, motion.z_accel_mm_s2.max(1.0));
        stretch_s(mm, v, 0.0, v, a) + v / a + t.answer_s
    };
    let fast = z_s(
        motion,
        c.safe_height_mm - c.probe_switch_mm,
        c.probe_fast_mm_s,
    ) + t.answer_s;
    let back_off = rapid_z(c.back_off_mm) + t.answer_s + c.touch_settle_ms as f64 / 1000.0;
    let height = rapid_z(row.pierce_height_mm + c.ohmic_offset_mm) + t.answer_s;
    let slow = touch(c.probe_switch_mm) + back_off + touch(c.back_off_mm);
    sense + fast + slow + height + t.report_s + sense
}

/// From ready to the arc on the sheet.
fn fire_s(plan: &Plan<'_>) -> f64 {
    let t = plan.source;
    t.permit_s + t.answer_s / 2.0 + t.pre_flow_s + t.transfer_s
}

/// From the arc on the sheet to the arc out.
fn arc_s(plan: &Plan<'_>, path_s: f64) -> f64 {
    let (c, t) = (plan.cycle, plan.source);
    let drop = z_s(
        plan.motion,
        plan.row.pierce_height_mm - plan.row.cut_height_mm,
        c.drop_mm_s,
    );
    // Both waits run from the first edge of arc OK.
    let pierce = plan
        .row
        .pierce_delay_s
        .max(c.arc_ok_accept_ms as f64 / 1000.0);
    t.arc_ok_lag_s + pierce + t.answer_s / 2.0 + drop + path_s
}

/// From the arc out to traverse height.
fn retract_s(plan: &Plan<'_>) -> f64 {
    let (c, t) = (plan.cycle, plan.source);
    let up = c.safe_height_mm - plan.row.cut_height_mm;
    t.arc_off_lag_s
        + c.lift_wait_ms as f64 / 1000.0
        + z_s(plan.motion, up, plan.motion.z_rapid_mm_s)
        + t.answer_s
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use units::Segment;
    use units::motion::{arc_mm_s, corner_mm_s, profile};

    /// Time along a path with look-ahead over its corners, s.
    fn path_s(path: &[(Segment, f64)], motion: &MotionLimits) -> f64 {
        let (path, accel) = (path.iter().copied(), motion.accel_mm_s2);
        let profile = profile(path, accel, motion.corner_step_mm_s);
        profile.iter().map(|s| s.time_s(accel)).sum()
    }

    const ACCEL: f64 = 400.0;

    /// Hinge plate hole of the demonstration: lead-in and circle (all invented).
    fn hole() -> Vec<(Segment, f64)> {
        let feed = 0.6 * 1100.0 / 60.0;
        let (a, b) = (Point::new(20.8, 20.0), Point::new(25.775, 20.0));
        let circle = Segment::Arc {
            from: b,
            to: b,
            centre: Point::new(20.0, 20.0),
            clockwise: false,
        };
        vec![(Segment::Line { from: a, to: b }, feed), (circle, feed)]
    }

    fn row() -> ChartRow {
        ChartRow {
            name: "mild-steel 5 mm 40 A".into(),
            material: "mild-steel".into(),
            amps: 40.0,
            thickness_mm: 5.0,
            feed_mm_min: 1100.0,
            pierce_height_mm: 3.5,
            cut_height_mm: 1.5,
            pierce_delay_s: 0.4,
            volts: 113.0,
            kerf_mm: 1.45,
        }
    }

    #[test]
    fn trapezoids_take_what_the_handbook_reckons() {
        // Process handbook 4.6, calculated there: a = 400 mm/s2.
        let v = 2600.0 / 60.0;
        assert_eq!(
            format!("{:.2}", stretch_s(50.0, v, 0.0, 0.0, ACCEL)),
            "1.26"
        );
        assert_eq!(format!("{:.2}", stretch_s(5.0, v, 0.0, 0.0, ACCEL)), "0.22");
    }

    #[test]
    fn corners_and_arcs_are_as_fast_as_the_handbook_reckons() {
        // Process handbook 4.6, calculated there.
        let mm_min = |mm_s: f64| format!("{:.0}", mm_s * 60.0);
        assert_eq!(mm_min(corner_mm_s(90_f64.to_radians(), 8.0)), "339");
        assert_eq!(mm_min(corner_mm_s(45_f64.to_radians(), 8.0)), "627");
        assert_eq!(mm_min(arc_mm_s(5.8, ACCEL)), "2890");
        assert_eq!(mm_min(arc_mm_s(3.0, ACCEL)), "2078");
    }

    #[test]
    fn a_hole_takes_what_the_handbooks_timeline_says() {
        // Process handbook 2.5, calculated there from the defaults and the invented chart: from
        // arrival above the pierce to traverse height again 8.2 s, arc on from 3.34 to 7.6 s.
        let path = hole();
        let cut = CutShape {
            pierce: Point::new(20.8, 20.0),
            end: path[1].0.to(),
            path_s: Some(path_s(&path, &MotionLimits::default())),
            freed_by: None,
        };
        let (at, end) = (cut.pierce, cut.end);
        let time = estimate(&Plan {
            cuts: &[cut],
            start: at,
            park: end,
            thickness_mm: 5.0,
            row: &row(),
            cycle: &CycleSettings::default(),
            motion: &MotionLimits::default(),
            source: &SourceTimes::default(),
        });
        assert!((time.run_s - 8.2).abs() < 0.2, "{time:?}");
        assert!((time.arc_on_s - 4.26).abs() < 0.1, "{time:?}");
    }

    #[test]
    fn a_line_cut_in_pieces_takes_as_long_as_in_one() {
        let (a, b) = (Point::new(0.0, 0.0), Point::new(30.0, 40.0));
        let whole = [(Segment::Line { from: a, to: b }, 30.0)];
        let pieces: Vec<(Segment, f64)> = (0..500)
            .map(|k| {
                (
                    whole[0].0.part(k as f64 / 10.0, (k + 1) as f64 / 10.0),
                    30.0,
                )
            })
            .collect();
        let m = MotionLimits::default();
        assert!((path_s(&whole, &m) - path_s(&pieces, &m)).abs() < 1e-6);
    }

    #[test]
    fn a_right_angle_costs_the_slowing_down_and_the_speeding_up() {
        let at = |x, y| Point::new(x, y);
        let l = [
            (
                Segment::Line {
                    from: at(0.0, 0.0),
                    to: at(50.0, 0.0),
                },
                40.0,
            ),
            (
                Segment::Line {
                    from: at(50.0, 0.0),
                    to: at(50.0, 50.0),
                },
                40.0,
            ),
        ];
        let corner = 8.0 / 2_f64.sqrt();
        let by_hand = 2.0 * stretch_s(50.0, 40.0, 0.0, corner, ACCEL);
        assert!((path_s(&l, &MotionLimits::default()) - by_hand).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn a_stretch_is_what_small_steps_of_time_make_of_it(
            length in 0.5_f64..200.0, v in 5.0_f64..200.0, v0 in 0.0_f64..200.0,
        ) {
            // Speed up from v0 as hard as may be, in steps; brake when the rest just suffices.
            let v0 = v0.min(v).min((2.0 * ACCEL * length).sqrt());
            let (mut s, mut now, mut t) = (0.0, v0, 0.0);
            let dt = 2e-5;
            while s < length && t < 100.0 {
                let brake = now * now / (2.0 * ACCEL) >= length - s;
                now = if brake { (now - ACCEL * dt).max(1e-3) } else { (now + ACCEL * dt).min(v) };
                s += now * dt;
                t += dt;
            }
            let reckoned = stretch_s(length, v, v0, 0.0, ACCEL);
            prop_assert!((reckoned - t).abs() < 0.02 * t + 0.01, "{reckoned} against {t}");
        }

        #[test]
        fn more_feed_never_takes_longer(feed in 1.0_f64..100.0, more in 1.0_f64..3.0) {
            let with = |f: f64| -> Vec<(Segment, f64)> {
                hole().into_iter().map(|(s, _)| (s, f)).collect()
            };
            let m = MotionLimits::default();
            prop_assert!(path_s(&with(feed * more), &m) <= path_s(&with(feed), &m) + 1e-9);
        }
    }
}
