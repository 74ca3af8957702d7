//! The self-test at start: what it waits for, what it names, and that nothing starts before it.

use super::rig::{Rig, job};
use super::stories::running;
use crate::ask::{Answer, Ask, CheckId};
use crate::cause::Cause;
use crate::event::Event;
use crate::signals::Signals;
use crate::view::Phase;

fn told(rig: &Rig) -> Vec<Vec<String>> {
    let of = |e: &Event| match e {
        Event::SelfTested { failed, .. } => Some(failed.clone()),
        _ => None,
    };
    rig.events.iter().filter_map(of).collect()
}

fn passed(rig: &Rig) -> bool {
    rig.view().self_test.passed
}

/// Everything that a start wants but the self-test.
#[track_caller]
fn ready_but_for_it(rig: &mut Rig) {
    rig.until(5.0, |r| r.phase() == Phase::Idle && r.m.line.usable());
    rig.must(Ask::Load { job: job() });
    rig.prove_buttons();
    rig.reference();
    rig.test_permit();
    rig.wait(0.2);
    rig.vouch();
    rig.read();
}

#[test]
fn at_rest_it_passes_after_200_lines_and_is_kept_with_its_figures() {
    let mut rig = Rig::new();
    rig.until(4.0, passed);
    let found = rig.events.iter().find_map(|e| match e {
        Event::SelfTested {
            failed,
            trips,
            longest_ms,
            bad,
        } => Some((failed.len(), *trips, *longest_ms, *bad)),
        _ => None,
    });
    let (failed, trips, longest_ms, bad) = found.expect("kept");
    assert_eq!((failed, trips, bad), (0, 200, 0));
    assert!(longest_ms > 0.0 && longest_ms < 60.0, "{longest_ms}");
    let items = rig.view().self_test.items;
    assert!(items.iter().all(|i| i.holds == Some(true)), "{items:?}");
    assert_eq!(rig.table.fires, 0);
}

#[test]
fn each_input_that_is_not_at_rest_is_named_and_bars_the_start_until_it_is() {
    type Wrong = (&'static str, fn(&mut Signals));
    let wrongs: [Wrong; 5] = [
        ("float switch", |s| s.float_switch = Some(true)),
        ("air", |s| s.air_ok = Some(false)),
        ("3.0 V", |s| s.volts = Some(3.0)),
        ("torch contact", |s| s.contact = true),
        ("not in its holder", |s| s.torch_seated = Some(false)),
    ];
    for (name, wrong) in wrongs {
        let mut rig = Rig::new();
        rig.bend = Some(wrong);
        rig.wait(5.0);
        assert!(!passed(&rig), "{name}");
        let all = told(&rig);
        assert_eq!(all.len(), 1, "told once: {all:?}");
        assert_eq!(all[0].len(), 1, "{all:?}");
        assert!(all[0][0].contains(name), "{all:?}");
        let check = rig.view().checks.into_iter();
        let check = check.clone().find(|c| c.check == CheckId::SelfTested);
        let check = check.expect("shown");
        assert_eq!(check.holds, Some(false));
        assert!(check.remedy.contains(&all[0][0]), "{}", check.remedy);
        rig.bend = None;
        let right = rig.now;
        rig.until(3.0, passed);
        let after_ms = rig.now.since(right).as_millis();
        assert!(after_ms >= 1000, "{after_ms} ms");
        assert_eq!(told(&rig).last(), Some(&vec![]));
    }
}

#[test]
fn a_line_refused_at_rest_is_let_go_and_the_controller_is_spoken_to_again() {
    let mut rig = Rig::new();
    rig.until(2.0, |r| r.m.line.usable());
    let ready = |r: &Rig| {
        let opened = |e: &&Event| matches!(e, Event::LinkReady);
        r.events.iter().filter(opened).count()
    };
    let before = ready(&rig);
    rig.table.wrong.refuses_once = true;
    rig.until(2.0, |r| !r.table.wrong.refuses_once);
    rig.until(2.0, |r| ready(r) > before && r.m.line.usable());
    rig.until(8.0, passed);
    rig.reference();
    assert!(rig.view().alarms.is_empty(), "{:?}", rig.view().alarms);
}

#[test]
fn without_it_nothing_starts() {
    let mut rig = Rig::new();
    rig.bend = Some(|s| s.float_switch = Some(true));
    ready_but_for_it(&mut rig);
    assert!(matches!(
        rig.ask(Ask::Start),
        Answer::Refused { says, .. } if says.contains("self-test")
    ));
    rig.bend = None;
    rig.until(3.0, passed);
    rig.must(Ask::Start);
}

#[test]
fn a_line_that_spoils_or_is_slow_does_not_pass_and_is_tried_again() {
    let mut rig = Rig::new();
    rig.table.wrong.noisy = true;
    rig.wait(6.0);
    assert!(!passed(&rig));
    assert!(told(&rig).concat().iter().any(|t| t.contains("spoilt")));
    rig.table.wrong.noisy = false;
    rig.until(6.0, passed);
    let mut rig = Rig::new();
    rig.until(2.0, |r| r.m.line.usable());
    rig.table.wrong.deaf = true;
    rig.wait(0.1);
    rig.table.wrong.deaf = false;
    rig.wait(1.5);
    assert!(!passed(&rig));
    rig.until(2.0, |r| !told(r).is_empty());
    assert!(told(&rig)[0][0].contains("60 ms"), "{:?}", told(&rig));
    rig.until(6.0, passed);
}

#[test]
fn lines_that_are_sent_again_are_told_and_a_few_of_them_pass() {
    let mut rig = Rig::new();
    // Every twentieth line, on its first way.
    rig.table.wrong.spoils_every = Some(20);
    rig.until(8.0, passed);
    let bad = rig.events.iter().find_map(|e| match e {
        Event::SelfTested { failed, bad, .. } if failed.is_empty() => Some(*bad),
        _ => None,
    });
    let bad = bad.expect("kept");
    assert!((8..=30).contains(&bad), "{bad} of 200 lines");
}

#[test]
fn an_emergency_stop_asks_for_a_new_one() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    assert!(passed(&rig));
    rig.table.wrong.estop = true;
    rig.until_held();
    assert!(!passed(&rig));
    rig.wait(3.0);
    assert!(!passed(&rig), "not over an open chain");
    rig.table.wrong.estop = false;
    rig.wait(0.1);
    rig.clear_all();
    rig.until(4.0, passed);
    rig.reference();
    rig.resume_as_offered();
    rig.finish();
    rig.all_is_well();
}

#[test]
fn a_torch_that_was_asked_for_by_nobody_is_cleared_only_after_a_new_one() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.table.wrong.arc_stuck = true;
    rig.until(30.0, |r| r.m.alarms.is_latched(Cause::ArcStuck));
    rig.until_held();
    rig.table.wrong.arc_stuck = false;
    assert!(!passed(&rig));
    rig.wait(0.05);
    rig.read();
    let cause = Cause::ArcStuck;
    assert!(matches!(
        rig.ask(Ask::Clear { cause }),
        Answer::Refused { reason, .. } if reason == "still-there"
    ));
    rig.until(5.0, passed);
    rig.must(Ask::Clear { cause });
}
