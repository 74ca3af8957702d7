//! HOLD at every step of a job, of jobs with each kind of fault, and of every stop and second try:
//! it always ends held, and after it nothing fires and nothing moves but the stop's own until
//! somebody has asked for it. Then the job is gone on with, and must end whole.
//!
//! `STANDCLEAR_HOLDS=all` takes every moment at which anything happens (hours); a number takes so
//! many of each job.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use control::view::{Phase, Step};
use control::{Ask, Event, PressId};
use simulator::harness::{FaultKind, FaultSpec};
use standclear::config::Config;
use standclear::job::prepare;
use units::{Point, Time};

use crate::chance::Chance;
use crate::jobs::{fault, finish_whole, world};
use crate::world::World;

/// Moments of each job that are tried when nothing else is said: of all, and of its stops and tries.
const PLACES: (usize, usize) = (7, 7);
/// Everything must stand within this, a lost controller included.
const STANDS: Duration = Duration::from_secs(20);
/// ... and stays so for this long.
const STAYS: Duration = Duration::from_secs(5);
/// A hand keeps the button pressed for so long.
const PRESSED: Duration = Duration::from_millis(120);

/// How HOLD is pressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum By {
    Screen,
    Button,
    /// Twice on a screen, and the second press sent again: the torch stays down.
    Twice,
}

fn presses(world: &World) -> usize {
    let is = |(_, e, _): &&(Time, Event, bool)| matches!(e, Event::HoldPressed { .. });
    world.events.iter().filter(is).count()
}

fn fires(world: &World) -> usize {
    let is = |(_, e, _): &&(Time, Event, bool)| matches!(e, Event::FireAsked { .. });
    world.events.iter().filter(is).count()
}

fn turns(world: &mut World, time: Duration) {
    let end = world.now + time;
    while world.now < end {
        world.turn();
    }
}

fn ask(world: &mut World, press: u64) {
    world.ask(Ask::Hold {
        press: Some(PressId(press)),
    });
}

fn press(world: &mut World, by: By, id: u64) {
    match by {
        By::Screen => ask(world, id),
        By::Button => {
            world.table.lock().expect("one thread").press_hold(true);
            turns(world, PRESSED);
            world.table.lock().expect("one thread").press_hold(false);
            turns(world, Duration::from_millis(20));
        }
        By::Twice => {
            ask(world, id);
            turns(world, Duration::from_millis(350));
            ask(world, id + 1);
            ask(world, id + 1);
        }
    }
}

fn torch(world: &World) -> (Point, f64) {
    world.table.lock().expect("one thread").torch()
}

fn arc_s(world: &World) -> f64 {
    world.table.lock().expect("one thread").truth().arc_on_s
}

/// Presses HOLD and watches what comes of it while nobody asks for anything.
fn held_by(world: &mut World, by: By, id: u64) -> Result<(), String> {
    world.nobody_asks = true;
    let (asked, pressed) = (fires(world), presses(world));
    let run = world.view().run.is_some();
    press(world, by, id);
    let wrong = |what: &str, world: &World| Err(format!("{what}\n{:#?}", world.view()));
    let end = world.now + STANDS;
    world.turn();
    while world.machine_moves() {
        if world.permitting() {
            return wrong("the permit pulses after HOLD", world);
        }
        if world.now > end {
            return wrong("does not come to stand", world);
        }
        world.turn();
    }
    // A controller that was lost may still be braking.
    turns(world, Duration::from_secs(2));
    let (stands, burnt) = (torch(world), arc_s(world));
    let end = world.now + STAYS;
    while world.now < end {
        world.turn();
        if world.permitting() {
            return wrong("the permit pulses by itself", world);
        }
    }
    if fires(world) != asked {
        return wrong("fired after HOLD", world);
    }
    let now = torch(world);
    if now.0.distance(stands.0) > 1e-6 || (now.1 - stands.1).abs() > 1e-6 {
        return wrong("moved by itself after HOLD", world);
    }
    let stuck = world.view().signals.arc_ok;
    if arc_s(world) > burnt + 1e-9 && !stuck {
        return wrong("burned after HOLD", world);
    }
    let view = world.view();
    let over = matches!(view.phase, Phase::Finished);
    if run && !over && view.hold.is_none() {
        return wrong("not held", world);
    }
    // A panel that is dead hears nobody.
    let told = presses(world) - pressed;
    let wanted = if by == By::Twice { 2 } else { 1 };
    if told != wanted && !world.was_killed {
        return wrong(&format!("{told} presses in the journal"), world);
    }
    world.nobody_asks = false;
    Ok(())
}

/// One job with HOLD at its n-th moment after the start; `false`: it has ended before that.
fn one(faults: &[FaultSpec], n: usize, by: By) -> Result<(), String> {
    let mut world = world(faults);
    for _ in 0..n {
        world.turn();
    }
    // The operator who tries the button after switch-on keeps it down: nobody can press it then.
    if by == By::Button && world.table.lock().expect("one thread").levels().hold_button {
        return Ok(());
    }
    let at = world.now;
    held_by(&mut world, by, 1000).map_err(|why| format!("{at}: {why}\n{}", world.story(30)))?;
    let ended = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        finish_whole(world, faults);
    }));
    ended.map_err(|panic| {
        let says = panic.downcast_ref::<String>().cloned();
        format!("{at}: {}", says.unwrap_or_default())
    })
}

/// The moments to try: of all, and of the stops and second tries.
fn moments(faults: &[FaultSpec]) -> Vec<usize> {
    let mut world = world(faults);
    let (mut all, mut stops) = (Vec::new(), Vec::new());
    for n in 0.. {
        let view = world.view();
        if view.phase == Phase::Finished || world.now > Time::from_ms(600_000) {
            break;
        }
        let tries = !view.holds.is_empty() || world.tried_again();
        let fires = matches!(view.step, Some(Step::Ready | Step::AwaitArc | Step::Pierce));
        if view.phase == Phase::Stopping || (tries && fires) {
            stops.push(n);
        } else {
            all.push(n);
        }
        world.turn();
    }
    let some = |of: &[usize], most: usize| -> Vec<usize> {
        let step = of.len().div_ceil(most.max(1)).max(1);
        of.iter().copied().skip(step / 2).step_by(step).collect()
    };
    let (of_all, of_stops) = match std::env::var("STANDCLEAR_HOLDS").as_deref() {
        Ok("all") => (all.len(), stops.len()),
        Ok(n) => {
            let n = n.parse().expect("STANDCLEAR_HOLDS=all or a number");
            (n, n)
        }
        Err(_) => PLACES,
    };
    [some(&all, of_all), some(&stops, of_stops)].concat()
}

fn everywhere(jobs: &[Vec<FaultSpec>]) {
    let mut places = Vec::new();
    for faults in jobs {
        places.extend(moments(faults).into_iter().map(|n| (faults, n)));
    }
    let next = AtomicUsize::new(0);
    let failed = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let k = next.fetch_add(1, Ordering::Relaxed);
                    let Some((faults, n)) = places.get(k) else {
                        return;
                    };
                    let by = [By::Screen, By::Button, By::Twice][k % 3];
                    if let Err(why) = one(faults, *n, by) {
                        let told = format!("{faults:?}, moment {n}, {by:?}: {why}");
                        failed.lock().expect("no panic").push(told);
                    }
                }
            });
        }
    });
    let failed = failed.into_inner().expect("no panic");
    assert!(
        failed.is_empty(),
        "{} of {} places\n{}",
        failed.len(),
        places.len(),
        failed
            .iter()
            .take(3)
            .cloned()
            .collect::<Vec<_>>()
            .join("\n")
    );
}

/// A fault at its pierce or touch-off, and one in the middle of a cut.
fn of(kinds: &[FaultKind]) -> Vec<Vec<FaultSpec>> {
    let both = |k: &FaultKind| [vec![fault(*k, 2, None)], vec![fault(*k, 2, 60.0)]];
    kinds.iter().flat_map(both).collect()
}

#[test]
fn hold_at_every_step_of_a_clean_job_is_held() {
    everywhere(&[vec![]]);
}

#[test]
fn hold_at_every_step_of_jobs_whose_arc_fails_is_held() {
    everywhere(&of(&FaultKind::ALL[..3]));
}

#[test]
fn hold_at_every_step_of_jobs_whose_touch_off_fails_or_are_stopped_is_held() {
    everywhere(&of(&FaultKind::ALL[3..6]));
}

#[test]
fn hold_at_every_step_of_jobs_with_a_lost_controller_air_torch_or_panel_is_held() {
    everywhere(&of(&FaultKind::ALL[6..]));
}

#[test]
fn the_demonstration_held_a_hundred_times_ends_whole() {
    let mut config = Config::built_in();
    // Worn parts are not what this is about.
    config.supplies = None;
    let demo = standclear::library::demo("hinge-plates").expect("built in");
    let prepared = prepare(&config, &demo.name, &demo.text, Some(demo.setup));
    let accepted = prepared.report.accepted_for("a test");
    let job = prepared.seal(&config.table(), &accepted).expect("a seal");
    let mut world = World::new(config, job, 3, &[]);
    let mut chance = Chance::of(11, 5);
    let mut id = 0;
    let mut held = 0;
    while held < 100 && world.view().phase != Phase::Finished {
        // Each second time in the cut itself, so that the same pierce is not held for ever.
        if held % 2 == 1 {
            let end = world.now + Duration::from_secs(60);
            while world.view().step != Some(Step::Cut) && world.now < end {
                world.turn();
            }
        }
        turns(&mut world, Duration::from_secs_f64(chance.within(0.2, 9.0)));
        id += 10;
        let by = chance.pick(&[By::Screen, By::Button, By::Twice]);
        if let Err(why) = held_by(&mut world, by, id) {
            panic!("hold {held}: {why}\n{}", world.story(40));
        }
        held += 1;
    }
    let view = world.run(Duration::from_secs(7200));
    assert_eq!(view.phase, Phase::Finished, "{}", world.story(40));
    let truth = world.table.lock().expect("one thread").truth();
    assert_eq!(truth.violations, Vec::<String>::new());
    assert_eq!(world.watch.wrongs, Vec::<String>::new());
    assert!(truth.uncut_mm < 0.05, "{truth:?}");
    assert!(held > 60, "{held}");
}
