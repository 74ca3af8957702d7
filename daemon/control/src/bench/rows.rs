//! Rows of the process handbook's table of states (2.4), each by what the table does when it is not
//! as it should be.

use core::time::Duration;

use planning::{Job, JobElement};
use units::Point;

use super::planned::started;
use super::rig::{Rig, job};
use super::stories::running;
use crate::cause::Cause;
use crate::view::{Phase, Step};

/// A run that has come to this step.
#[track_caller]
fn at(step: Step) -> Rig {
    let mut rig = running();
    rig.until(60.0, |r| r.view().step == Some(step));
    rig
}

/// Ticks until held; the steps that were seen on the way.
#[track_caller]
fn steps_until_held(rig: &mut Rig) -> Vec<Step> {
    let mut seen = Vec::new();
    for _ in 0..60_000 {
        rig.tick();
        if let Some(step) = rig.m.cycle_step()
            && seen.last() != Some(&step)
        {
            seen.push(step);
        }
        if matches!(rig.phase(), Phase::Held | Phase::Latched) {
            return seen;
        }
    }
    panic!("never held: {:#?}", rig.view());
}

#[track_caller]
fn held_for(rig: &Rig) -> (Cause, String) {
    let hold = rig.view().hold.expect("held");
    (hold.cause, hold.why)
}

/// The job of the rig on a sheet of 2 mm.
fn thin() -> Job {
    let mut job = (*job()).clone();
    job.thickness_mm = 2.0;
    job.row.thickness_mm = 2.0;
    job
}

#[test]
fn one_closed_reading_of_the_sense_test_lifts_the_torch_before_it_probes() {
    let mut rig = at(Step::SenseTest);
    rig.wait(0.012);
    let z = rig.table.z;
    rig.table.wrong.metal_at_nozzle = true;
    rig.wait(0.003);
    rig.table.wrong.metal_at_nozzle = false;
    let mut highest = z;
    while rig.m.cycle_step() != Some(Step::ProbeFast) {
        rig.tick();
        highest = highest.max(rig.table.z);
        assert_eq!(rig.phase(), Phase::Running);
    }
    assert!(
        (highest - z - 5.0).abs() < 0.1,
        "lifted from {z} to {highest}"
    );
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_circuit_that_closes_in_both_sense_tests_holds_the_run() {
    let mut rig = at(Step::SenseTest);
    let began = rig.now;
    while rig.phase() == Phase::Running {
        // Closed for 2 ms of every 10.
        rig.table.wrong.metal_at_nozzle = rig.now.since(began).as_millis() % 10 >= 8;
        rig.tick();
        assert_ne!(rig.m.cycle_step(), Some(Step::ProbeFast));
    }
    rig.table.wrong.metal_at_nozzle = false;
    rig.until_held();
    assert_eq!(held_for(&rig).0, Cause::ContactStuck);
    assert_eq!(rig.table.fires, 0);
}

/// From the end of the first arc to the start of the second touch-off, s.
fn rest_before_the_second_touch(job: Job) -> f64 {
    let plate_z = job.thickness_mm + 0.4;
    let mut rig = Rig::new();
    rig.table.plate_z = plate_z;
    let mut rig2 = started_on(rig, job);
    rig2.until(60.0, |r| {
        r.view().cut == Some(2) && r.view().step == Some(Step::SenseTest)
    });
    let there = rig2.now;
    rig2.until(60.0, |r| r.view().step == Some(Step::ProbeFast));
    let waited = rig2.now.since(there).as_secs_f64();
    rig2.finish();
    assert_eq!(rig2.table.violations, Vec::<String>::new());
    waited
}

fn started_on(mut rig: Rig, job: Job) -> Rig {
    rig.until(5.0, |r| r.phase() == Phase::Idle && r.m.line.usable());
    rig.must(crate::Ask::Load {
        job: std::sync::Arc::new(job),
    });
    rig.make_ready();
    rig.must(crate::Ask::Start);
    rig
}

#[test]
fn on_thin_sheet_the_post_flow_is_waited_for_and_no_longer_than_three_seconds() {
    let thick = rest_before_the_second_touch((*job()).clone());
    assert!(thick < 0.2, "{thick} s on 5 mm");
    let waited = rest_before_the_second_touch(thin());
    assert!((waited - 3.0).abs() < 0.2, "{waited} s on 2 mm");
}

#[test]
fn volts_that_no_arc_has_are_not_taken_for_one_and_no_pierce_begins() {
    for volts in [55.0, 255.0] {
        let mut rig = at(Step::AwaitArc);
        rig.table.wrong.volts = Some(volts);
        let steps = steps_until_held(&mut rig);
        assert!(!steps.contains(&Step::Pierce), "{volts} V: {steps:?}");
        let (cause, why) = held_for(&rig);
        assert_eq!(cause, Cause::VoltsOdd, "{why}");
        assert!(why.contains(&format!("{volts:.0} V")), "{why}");
        assert!(!rig.table.has_path());
    }
    // Where volts are not wired, the arc signal alone says it.
    let mut rig = running();
    rig.bend = Some(|s| s.volts = None);
    rig.finish();
    rig.all_is_well();
}

#[test]
fn volts_that_settle_soon_after_the_arc_came_on_are_no_fault() {
    let mut rig = at(Step::AwaitArc);
    rig.table.wrong.volts = Some(280.0);
    rig.until(3.0, |r| r.view().signals.arc_ok);
    rig.wait(0.05);
    assert_eq!(rig.m.cycle_step(), Some(Step::AwaitArc));
    rig.table.wrong.volts = None;
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_double_arc_in_the_pierce_is_a_lost_try() {
    let mut rig = at(Step::Pierce);
    rig.table.wrong.volts = Some(35.0);
    rig.until(3.0, |r| r.phase() != Phase::Running);
    rig.table.wrong.volts = None;
    rig.finish();
    assert_eq!(rig.view().retries.len(), 1);
    rig.all_is_well();
}

#[test]
fn the_path_is_sent_when_the_torch_is_nearly_at_cut_height() {
    let mut rig = at(Step::Pierce);
    rig.table.wrong.slow_z = Some(20.0);
    let cut_z = rig.table.plate_z - 0.05 + job().row.cut_height_mm;
    rig.until(3.0, |r| r.view().step == Some(Step::Drop));
    rig.until(3.0, |r| r.table.has_path());
    let above = rig.table.z - cut_z;
    assert!((0.0..=0.3).contains(&above), "{above} mm above cut height");
    rig.table.wrong.slow_z = None;
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_torch_that_does_not_come_down_within_a_second_is_stopped_over_its_pierce() {
    let mut rig = at(Step::Pierce);
    rig.table.wrong.slow_z = Some(100.0);
    let pierce = rig.table.place;
    let steps = steps_until_held(&mut rig);
    assert_eq!(steps.last(), Some(&Step::Drop), "{steps:?}");
    let (cause, why) = held_for(&rig);
    assert_eq!(cause, Cause::Overdue);
    assert!(why.contains("cut height") && why.contains("1.0 s"), "{why}");
    assert!(rig.table.burnt.iter().all(|p| p.distance(pierce) < 0.01));
    rig.table.wrong.slow_z = None;
    rig.read();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_torch_off_its_start_height_does_not_fire() {
    let mut rig = at(Step::PierceHeight);
    rig.table.wrong.short_z = 0.5;
    steps_until_held(&mut rig);
    let (cause, why) = held_for(&rig);
    assert_eq!(cause, Cause::Overdue);
    assert!(why.contains("0.5 mm") && why.contains("0.2 mm"), "{why}");
    assert_eq!(rig.table.fires, 0);
    let mut rig = at(Step::PierceHeight);
    rig.table.wrong.short_z = 0.15;
    rig.until(20.0, |r| r.table.fires == 1);
}

#[test]
fn a_sensing_circuit_that_comes_back_on_before_the_fire_bars_it() {
    let mut rig = at(Step::ClearTest);
    rig.bend = Some(|s| s.volts = Some(12.0));
    rig.until(3.0, |r| r.view().step == Some(Step::Ready));
    rig.bend = Some(|s| s.sense_isolated = Some(false));
    steps_until_held(&mut rig);
    assert_eq!(rig.table.fires, 0);
    let why = held_for(&rig).1;
    assert!(why.contains("sensing circuit"), "{why}");
}

#[test]
fn a_start_where_the_record_says_that_the_metal_is_gone_does_not_fire() {
    let mut job = (*job()).clone();
    // On the kerf of the circle that is cut before it.
    let (from, to) = (Point::new(100.0, 120.0), Point::new(100.0, 150.0));
    job.cuts[1].pierce = from;
    job.cuts[1].path = vec![JobElement {
        segment: units::Segment::Line { from, to },
        feed_mm_s: 20.0,
        line: 1,
    }];
    let mut rig = started(job);
    rig.until(60.0, |r| r.view().cut == Some(2));
    steps_until_held(&mut rig);
    let (cause, why) = held_for(&rig);
    assert_eq!(cause, Cause::NoContact, "{why}");
    assert!(why.contains("1.0 mm"), "{why}");
    assert_eq!(rig.table.fires, 1);
}

#[test]
fn a_count_of_lines_that_falls_is_a_reset_and_one_odd_report_is_none() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.table.wrong.count_back = 6;
    rig.until(1.0, |r| r.phase() != Phase::Running);
    rig.until_held();
    let (cause, why) = held_for(&rig);
    assert_eq!(cause, Cause::ControllerReset, "{why}");
    assert!(rig.view().doubtful);

    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.table.wrong.count_back = 6;
    let last = rig.m.line.status.as_ref().map(|s| s.at);
    rig.until(1.0, |r| r.m.line.status.as_ref().map(|s| s.at) != last);
    rig.table.wrong.count_back = 0;
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_place_that_jumps_is_a_reset_and_one_odd_report_is_none() {
    for (cut, mm) in [(1, 20.0), (2, 40.0)] {
        let mut rig = running();
        rig.run_to(cut, mm);
        rig.table.wrong.shoved_mm = -120.0;
        rig.until(1.0, |r| r.phase() != Phase::Running);
        rig.until_held();
        let (cause, why) = held_for(&rig);
        assert_eq!(cause, Cause::ControllerReset, "{why}");
        assert!(rig.view().doubtful);
        assert!(!rig.table.arc);
    }
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.table.wrong.shoved_mm = -120.0;
    let last = rig.m.line.status.as_ref().map(|s| s.at);
    rig.until(1.0, |r| r.m.line.status.as_ref().map(|s| s.at) != last);
    rig.table.wrong.shoved_mm = 0.0;
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_panel_that_was_kept_waiting_takes_no_distance_for_a_jump() {
    // 50 ms in which nothing of the controller's is heard, in a traverse over the sheet: 10 mm.
    let mut rig = running();
    rig.until(60.0, |r| {
        r.view().cut == Some(2) && r.view().step == Some(Step::Traverse)
    });
    let until = rig.now + Duration::from_millis(50);
    while rig.now < until {
        rig.table.wrong.mute = true;
        rig.tick();
    }
    rig.table.wrong.mute = false;
    rig.finish();
    rig.all_is_well();
}

/// Runs the second cut up to its middle and lets the arc signal open there for 50 ms.
fn blink(crossings: Vec<[f64; 2]>) -> Rig {
    let mut job = (*job()).clone();
    job.cuts[1].crossings = crossings;
    let mut rig = started(job);
    rig.run_to(2, 40.0);
    rig.bend = Some(|s| s.arc_ok = false);
    rig.wait(0.05);
    rig.bend = None;
    rig
}

#[test]
fn an_arc_may_blink_for_longer_where_vetting_predicts_a_crossing_and_nowhere_else() {
    let mut rig = blink(vec![[38.0, 41.0]]);
    rig.finish();
    assert_eq!(rig.view().holds, vec![]);
    rig.all_is_well();
    for elsewhere in [vec![], vec![[10.0, 12.0], [60.0, 63.0]]] {
        let mut rig = blink(elsewhere);
        rig.until_held();
        assert_eq!(held_for(&rig).0, Cause::ArcLost);
    }
}

/// A run in which the first touch-off meets nothing; then so much of the table changes.
fn missed(change: impl Fn(&mut Rig)) -> String {
    let mut rig = at(Step::ProbeSlow);
    let pierce = rig.table.place;
    rig.table.wrong.no_metal = true;
    rig.until(30.0, |r| {
        r.view().step == Some(Step::Traverse) || !r.m.active()
    });
    change(&mut rig);
    rig.until(60.0, |r| matches!(r.phase(), Phase::Held));
    let (cause, why) = held_for(&rig);
    assert_eq!(cause, Cause::NoContact, "{why}");
    assert_eq!(rig.table.fires, 0);
    assert_eq!(rig.table.violations, Vec::<String>::new());
    let off = rig.table.place.distance(pierce);
    assert!((off - 5.0).abs() < 0.01, "{off} mm beside the pierce");
    // Away from the circle, which the lead-in leads to along X.
    assert!(rig.table.place.x < pierce.x - 4.9);
    assert!(rig.table.z > 25.0, "up");
    why
}

#[test]
fn after_a_touch_that_met_nothing_one_beside_it_says_what_is_wrong() {
    let why = missed(|rig| rig.table.wrong.no_metal = false);
    assert!(why.contains("etal beside it"), "{why}");
    let why = missed(|_| ());
    assert!(why.contains("sheet moved, or sense wire broken"), "{why}");
    let why = missed(|rig| {
        rig.table.wrong.no_metal = false;
        rig.until(20.0, |r| r.view().step == Some(Step::ProbeFast));
        rig.table.wrong.metal_at_nozzle = true;
        rig.wait(0.3);
        rig.table.wrong.metal_at_nozzle = false;
    });
    assert!(why.contains("etal beside it"), "{why}");
}

#[test]
fn a_touch_that_meets_nothing_where_the_record_has_no_metal_is_in_a_void() {
    let mut job = (*job()).clone();
    let (from, to) = (Point::new(100.0, 120.0), Point::new(100.0, 150.0));
    job.cuts[1].pierce = from;
    job.cuts[1].path = vec![JobElement {
        segment: units::Segment::Line { from, to },
        feed_mm_s: 20.0,
        line: 1,
    }];
    let mut rig = started(job);
    rig.until(60.0, |r| {
        r.view().cut == Some(2) && r.view().step == Some(Step::ProbeSlow)
    });
    rig.table.wrong.no_metal = true;
    let steps = steps_until_held(&mut rig);
    assert_eq!(steps, vec![Step::ProbeSlow]);
    let why = held_for(&rig).1;
    assert!(why.contains("ierce in a void"), "{why}");
}

/// Four short cuts round a square of 100 mm, and two more near the last of them.
fn short_cuts() -> Job {
    let mut job = (*job()).clone();
    let places = [
        (50.0, 50.0),
        (150.0, 50.0),
        (150.0, 150.0),
        (60.0, 150.0),
        (70.0, 140.0),
        (75.0, 165.0),
    ];
    job.cycle.skip_touch_mm = 40.0;
    job.cuts = places
        .map(|(x, y)| {
            let (from, to) = (Point::new(x, y), Point::new(x + 4.0, y));
            planning::JobCut {
                pierce: from,
                path: vec![JobElement {
                    segment: units::Segment::Line { from, to },
                    feed_mm_s: 20.0,
                    line: 1,
                }],
                crossings: Vec::new(),
                freed_by: None,
            }
        })
        .into();
    job
}

fn touched_and_skipped(rig: &Rig) -> (Vec<usize>, Vec<usize>) {
    use crate::event::Event;
    let (mut touched, mut skipped) = (Vec::new(), Vec::new());
    for e in &rig.events {
        match e {
            Event::TouchedOff { cut, .. } => touched.push(*cut),
            Event::TouchSkipped { cut, .. } => skipped.push(*cut),
            _ => {}
        }
    }
    (touched, skipped)
}

#[test]
fn touch_offs_near_the_last_one_are_skipped_once_the_plane_is_known() {
    let mut rig = started(short_cuts());
    rig.finish();
    assert_eq!(touched_and_skipped(&rig), (vec![1, 2, 3, 4], vec![5, 6]));
    assert_eq!(rig.table.fires, 6);
    assert_eq!(rig.table.violations, Vec::<String>::new());
    let mut job = short_cuts();
    job.cycle.skip_touch_mm = 0.0;
    let mut rig = started(job);
    rig.finish();
    assert!(touched_and_skipped(&rig).1.is_empty(), "off by default");
    let mut job = short_cuts();
    job.cuts[4].freed_by = Some(3);
    let mut rig = started(job);
    rig.finish();
    assert_eq!(
        touched_and_skipped(&rig).1,
        vec![6],
        "a piece came free beside it"
    );
}

#[test]
fn after_a_hold_the_next_pierce_is_touched() {
    let mut rig = started(short_cuts());
    rig.until(120.0, |r| {
        r.view().cut == Some(5) && r.view().step == Some(Step::Traverse)
    });
    rig.must(crate::Ask::Hold { press: None });
    rig.until_held();
    rig.resume_as_offered();
    rig.finish();
    let (touched, skipped) = touched_and_skipped(&rig);
    assert_eq!(
        (touched, skipped),
        (vec![1, 2, 3, 4, 5], vec![6]),
        "touched anew, and the plane is known"
    );
}

#[test]
fn a_contact_on_the_way_to_a_height_that_was_not_touched_stops_the_torch() {
    let mut rig = started(short_cuts());
    rig.until(120.0, |r| {
        r.view().cut == Some(5) && r.view().step == Some(Step::PierceHeight)
    });
    rig.table.plate_z += 10.0;
    steps_until_held(&mut rig);
    assert_eq!(held_for(&rig).0, Cause::PlateMoved);
    assert_eq!(rig.table.fires, 4);
}

/// Cuts the job with so many short edges in each pierce.
fn with_edges(edges: [u64; 6]) -> Rig {
    let mut rig = started(short_cuts());
    let mut total = 100;
    rig.short_edges = Some(total);
    for (i, n) in edges.into_iter().enumerate() {
        rig.until(120.0, |r| {
            r.view().cut == Some(i + 1) && r.view().step == Some(Step::AwaitArc)
        });
        total += n;
        rig.short_edges = Some(total);
        rig.until(20.0, |r| r.view().step == Some(Step::Cut));
        // Those of a cut are none of its start.
        total += 1000;
        rig.short_edges = Some(total);
    }
    rig.finish();
    rig
}

#[test]
fn edges_too_short_to_count_are_kept_for_each_start_and_a_rising_count_is_noticed() {
    use crate::event::{Event, Severity};
    let told = |rig: &Rig| {
        let of = |e: &Event| match e {
            Event::ShortEdges { cut, edges, .. } => Some((*cut, *edges, e.severity())),
            _ => None,
        };
        rig.events.iter().filter_map(of).collect::<Vec<_>>()
    };
    let quiet = Severity::Trace;
    let rig = with_edges([4, 5, 3, 6, 0, 7]);
    let expected: Vec<_> = [(1, 4), (2, 5), (3, 3), (4, 6), (6, 7)]
        .map(|(cut, n)| (cut, n, quiet))
        .into();
    assert_eq!(told(&rig), expected);
    let shown = rig.view().short_edges;
    assert_eq!((shown.last, shown.rising), (Some(7), false));
    let rig = with_edges([4, 5, 3, 6, 4, 40]);
    assert_eq!(told(&rig).last(), Some(&(6, 40, Severity::Notice)));
    assert!(rig.view().short_edges.rising);
}
