//! What is planned before START against what the simulated table then does: time, air, duty and wear over
//! the demonstration's order, and jobs that lack a supply until their pauses are accepted.

use std::sync::Arc;
use std::time::Duration;

use control::Cause;
use control::view::{Phase, View};
use planning::{JobPlan, Pauses, Prepared, plan};
use process::{Compressor, Set};
use program::Setup;
use simulator::harness::{Supplied, SupplyState};
use standclear::config::Config;
use standclear::job::prepare;
use standclear::practice::table::table_settings;

use crate::world::World;

/// The sheets of the order.
const ORDER: [&str; 5] = [
    "garden-corners",
    "guard-brackets",
    "hinge-plates",
    "latch-plates",
    "row-markers",
];
/// A job that has not ended by then does not end, table time.
const LIMIT: Duration = Duration::from_secs(3 * 3600);

/// A table whose compressor is the demonstration's small one, L/min.
fn config(at_start: Compressor) -> Config {
    let mut config = Config::built_in();
    (config.air.compressor_l_min, config.air.compressor) = (90.0, at_start);
    config
}

fn demonstration(config: &Config, name: &str) -> Prepared {
    let demo = standclear::library::demo(name).expect("built in");
    prepare(config, name, &demo.text, Some(demo.setup))
}

/// The longest that the source blows on.
const POST_FLOW: Duration = Duration::from_secs(10);

struct Done {
    plan: JobPlan,
    view: View,
    supplied: Supplied,
    run_s: f64,
    story: String,
}

/// Plans a job and cuts it on a calm table whose supplies are as the plan takes them.
fn cut(config: &Config, prepared: &Prepared, pauses: Pauses) -> Done {
    let plan = plan(prepared, &config.table()).expect("a plan");
    let accepted = prepared.report.accepted_for("a test");
    let job = prepared.seal_with(&config.table(), &accepted, pauses);
    let mut settings = table_settings(config, 1, false);
    settings.supplies = Some(match config.air.compressor {
        Compressor::Running => SupplyState::Running,
        Compressor::Resting => SupplyState::Resting,
        Compressor::Off => SupplyState::Off,
    });
    let job = job.expect("accepted");
    let mut world = World::on(config.clone(), Arc::clone(&job), settings, &[]);
    let view = world.run(LIMIT);
    let (truth, supplied) = {
        let mut table = world.table.lock().expect("one thread");
        // The source blows on after the last arc, when the run is over.
        let rests = table.now() + POST_FLOW;
        table.advance(rests);
        (table.truth(), table.supplied())
    };
    assert_eq!(truth.violations, Vec::<String>::new());
    Done {
        plan,
        run_s: view.run_s.expect("it ran"),
        view,
        supplied: supplied.expect("calm"),
        story: world.story(30),
    }
}

fn faults(done: &Done) -> Vec<Cause> {
    let planned = [Cause::AirWait, Cause::DutyWait, Cause::ChangeDue];
    let holds = done.view.holds.iter().map(|h| h.cause);
    holds.filter(|c| !planned.contains(c)).collect()
}

/// Within a share of what was measured.
#[track_caller]
fn near(what: &str, planned: f64, measured: f64, share: f64) {
    assert!(
        (planned - measured).abs() <= share * measured.abs(),
        "{what}: planned {planned}, measured {measured}"
    );
}

#[test]
fn over_the_whole_order_time_air_duty_and_wear_come_out_as_planned() {
    for at_start in [Compressor::Running, Compressor::Resting] {
        let config = config(at_start);
        for name in ORDER {
            let prepared = demonstration(&config, name);
            let done = cut(&config, &prepared, Pauses::Accepted);
            let what = format!("{name}, {at_start:?}");
            assert_eq!(done.view.phase, Phase::Finished, "{what}: {}", done.story);
            assert_eq!(faults(&done), vec![], "{what}: {}", done.story);
            let (plan, seen) = (&done.plan, &done.supplied);
            assert_eq!(plan.hopeless, Vec::<String>::new(), "{what}");
            near(&format!("{what}: time"), plan.run_s, done.run_s, 0.01);
            near(
                &format!("{what}: air"),
                plan.air.lowest_bar,
                seen.lowest_bar,
                0.05,
            );
            assert_eq!(seen.low, 0, "{what}: the switch never opens");
            // Arc time, cut by cut, is known to some milliseconds of the source's and the link's own.
            let arcs = f64::from(done.view.pierces);
            let off_s = (plan.duty.most_s - seen.most_arc_s).abs();
            assert!(off_s <= 0.02 * arcs, "{what}: {:?} {seen:?}", plan.duty);
            let wear = plan.wear.expect("known").sets;
            assert!(
                (wear - seen.wear).abs() <= 1e-5 * arcs,
                "{what}: {wear} {}",
                seen.wear
            );
        }
    }
}

#[test]
fn the_low_point_that_nobody_pauses_for_comes_when_and_as_deep_as_planned() {
    // 90 L/min, full and running: the hinge plates want two pauses, and run low without them.
    let config = config(Compressor::Running);
    let prepared = demonstration(&config, "hinge-plates");
    let done = cut(&config, &prepared, Pauses::Declined);
    let plan = &done.plan;
    assert_eq!(plan.pauses.len(), 2, "{:?}", plan.pauses);
    assert!(
        plan.cures.iter().any(|r| r == "air-short"),
        "{:?}",
        plan.air
    );
    assert!(faults(&done).contains(&Cause::AirLow), "{}", done.story);
    assert!(done.supplied.low > 0);
    // Up to the first low moment nothing has been held yet: the receiver falls as planned.
    let low_at_s = plan.air.low_at_s.expect("low");
    assert_eq!(done.view.holds[0].cause, Cause::AirLow);
    // The gas of the first arc flows from when the plan says, so from there both clocks are one.
    let first_s = prepared.planned.as_ref().expect("planned").arcs[0].on_s;
    let seen_s = done.supplied.first_low_s.expect("low") - done.supplied.arcs[0][0] + first_s;
    near("the low moment", low_at_s, seen_s, 0.05);
}

#[test]
fn left_off_from_a_full_receiver_a_small_job_lasts_and_a_larger_one_says_that_no_pause_helps() {
    let config = config(Compressor::Off);
    let prepared = demonstration(&config, "hinge-plates");
    let large = plan(&prepared, &config.table()).expect("a plan");
    assert!(
        large.hopeless[0].contains("left off"),
        "{:?}",
        large.hopeless
    );
    // 247 L in 100 L from 8 to 5.5 bar: a hole or two.
    let text = b"G21 G90\nG0 X50 Y50\nM3\nG1 X90 F1100\nM5\nG0 X50 Y80\nM3\nG1 X90\nM5\nM2\n";
    let setup = Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [200, 120]\norigin = [0, 0]\nclamp = [150, 20]\nchart = \"mild-steel 5 mm 40 A\"\n",
    );
    let prepared = prepare(&config, "small", text, Some(setup.expect("a setup")));
    let done = cut(&config, &prepared, Pauses::Accepted);
    assert_eq!(done.plan.hopeless, Vec::<String>::new());
    assert_eq!(done.view.phase, Phase::Finished, "{}", done.story);
    assert_eq!(faults(&done), vec![]);
    near(
        "air",
        done.plan.air.lowest_bar,
        done.supplied.lowest_bar,
        0.02,
    );
}

/// Long cuts at 55 A in 8 mm sheet: more arc than the source may burn.
fn long_cuts(config: &Config) -> Prepared {
    let mut text = String::from("G21 G90\n");
    for k in 0..7 {
        let y = 40 + 40 * k;
        text.push_str(&format!("G0 X40 Y{y}\nM3\nG1 X1060 F800\nM5\n"));
    }
    text.push_str("M2\n");
    let setup = Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 8\nsheet = [1200, 360]\norigin = [0, 0]\nclamp = [1150, 20]\nchart = \"mild-steel 8 mm 55 A\"\n",
    );
    prepare(
        config,
        "long",
        text.as_bytes(),
        Some(setup.expect("a setup")),
    )
}

#[test]
fn a_job_that_lacks_duty_and_air_says_so_with_the_pauses_that_cure_it_and_then_runs_with_no_fault()
{
    let config = config(Compressor::Resting);
    let prepared = long_cuts(&config);
    let done = cut(&config, &prepared, Pauses::Accepted);
    let plan = &done.plan;
    assert_eq!(
        plan.cures,
        ["air-short", "duty-exceeded"],
        "{:?}",
        plan.pauses
    );
    assert!(plan.duty.unpaused_s > plan.duty.limit_s && plan.duty.most_s <= plan.duty.limit_s);
    assert_eq!(done.view.phase, Phase::Finished, "{}", done.story);
    assert_eq!(faults(&done), vec![], "{}", done.story);
    assert!(
        done.supplied.most_arc_s <= plan.duty.limit_s + 0.2,
        "{:?}",
        done.supplied
    );
    assert_eq!(done.supplied.low, 0, "{}", done.story);
}

#[test]
fn a_job_that_lacks_a_fresh_nozzle_says_so_and_stands_for_the_change() {
    let mut config = config(Compressor::Running);
    config.air.compressor_l_min = 170.0;
    config.supplies = Some(Set {
        starts: 585.0,
        ..Set::default()
    });
    let prepared = demonstration(&config, "latch-plates");
    let done = cut(&config, &prepared, Pauses::Accepted);
    let plan = &done.plan;
    assert!(
        plan.cures.iter().any(|r| r == "wear-out"),
        "{:?}",
        plan.wear
    );
    assert_eq!(plan.wear.expect("known").changes, 1);
    let change = plan
        .pauses
        .iter()
        .find(|p| p.wait_s == 0.0)
        .expect("a change");
    let held = done.view.holds.iter().find(|h| h.cause == Cause::ChangeDue);
    assert_eq!(held.expect("it stands").cut, change.before_cut);
    assert_eq!(faults(&done), vec![], "{}", done.story);
    assert_eq!(done.view.phase, Phase::Finished);
}
