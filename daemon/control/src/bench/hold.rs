//! HOLD at every odd moment: it always leaves the run held, and nothing comes of itself after it.

use super::rig::Rig;
use super::stories::running;
use crate::ask::{Answer, Ask, PressId};
use crate::cause::Cause;
use crate::event::Event;
use crate::machine::Act;
use crate::view::{Phase, Step, Waiting};

const fn press(id: u64) -> Ask {
    Ask::Hold {
        press: Some(PressId(id)),
    }
}

fn by_screen(rig: &mut Rig) {
    rig.must(press(7));
}

fn by_button(rig: &mut Rig) {
    rig.table.wrong.hold_button = true;
    rig.wait(0.08);
    rig.table.wrong.hold_button = false;
}

fn presses(rig: &Rig) -> usize {
    let is = |e: &&Event| matches!(e, Event::HoldPressed { .. });
    // Two of them have shown that the button works.
    rig.events.iter().filter(is).count() - 1
}

fn second_try_pending(rig: &Rig) -> bool {
    matches!(&rig.m.act, Act::Stopping(s) if s.retry)
}

/// A pierce without an arc: the machine stops, and will try once more by itself.
fn before_a_second_try() -> Rig {
    let mut rig = running();
    rig.table.wrong.source_off = true;
    rig.until(30.0, second_try_pending);
    rig.table.wrong.source_off = false;
    rig
}

/// Held, and so it stays: no fire and no motion until somebody asks for it.
#[track_caller]
fn stays_held(rig: &mut Rig) {
    rig.until(15.0, |r| !r.m.active() && r.phase() == Phase::Held);
    let (fires, z, place) = (rig.table.fires, rig.table.z, rig.table.place);
    rig.wait(8.0);
    assert_eq!(rig.phase(), Phase::Held);
    assert_eq!(rig.table.fires, fires, "fired by itself");
    assert_eq!(
        (rig.table.z, rig.table.place),
        (z, place),
        "moved by itself"
    );
    assert!(!rig.guard.pulsing());
}

fn a_second_try_is_cancelled_by(hold: fn(&mut Rig)) {
    let mut length = 0;
    let mut rig = before_a_second_try();
    while second_try_pending(&rig) {
        rig.tick();
        length += 1;
    }
    assert!(length > 100, "{length}");
    for ms in (0..length).step_by(23).chain([length - 2, length - 1]) {
        let mut rig = before_a_second_try();
        rig.wait(f64::from(ms) / 1000.0);
        assert!(second_try_pending(&rig), "after {ms} ms");
        hold(&mut rig);
        stays_held(&mut rig);
        let v = rig.view();
        assert_eq!(v.hold.expect("held").cause, Cause::NoArc, "after {ms} ms");
        assert_eq!(v.holds.len(), 1);
        assert_eq!(presses(&rig), 1);
        rig.resume_as_offered();
        rig.finish();
        rig.all_is_well();
    }
}

#[test]
fn a_hold_on_a_screen_cancels_a_second_try_whenever_it_comes() {
    a_second_try_is_cancelled_by(by_screen);
}

#[test]
fn the_wired_hold_button_cancels_a_second_try_whenever_it_comes() {
    a_second_try_is_cancelled_by(by_button);
}

/// In a cut, held, and so far lifted that a new press finds the torch on its way up.
fn lifting() -> Rig {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.must(press(1));
    rig.until(10.0, |r| {
        r.view().waiting_for == Waiting::TorchToLift && r.table.z > 12.0
    });
    rig
}

#[test]
fn a_press_that_is_sent_again_changes_nothing() {
    let mut rig = lifting();
    assert_eq!(rig.ask(press(1)), Answer::AlreadySo);
    rig.until_held();
    assert!(rig.table.z > 25.0, "the lift went on");
    assert_eq!(rig.view().hold.expect("held").torch_down, Some(false));
    rig.resume_as_offered();
    // One that was on its way for a long time.
    assert_eq!(rig.ask(press(1)), Answer::AlreadySo);
    rig.finish();
    rig.all_is_well();
    assert_eq!(presses(&rig), 1);
}

#[test]
fn a_new_press_ends_the_lift_and_the_held_page_says_that_the_torch_is_down() {
    for hold in [|r: &mut Rig| r.must(press(2)), by_button] {
        let mut rig = lifting();
        hold(&mut rig);
        stays_held(&mut rig);
        assert!(rig.table.z < 14.0, "{}", rig.table.z);
        let hold = rig.view().hold.expect("held");
        assert_eq!(hold.cause, Cause::Hold);
        assert_eq!(hold.torch_down, Some(true));
        assert!(hold.why.contains("The torch is down."), "{}", hold.why);
        assert_eq!(presses(&rig), 2);
    }
}

#[test]
fn every_way_on_from_a_torch_that_is_down_lifts_first() {
    let ways: [fn(&mut Rig); 5] = [
        |r| drop(r.resume_as_offered()),
        |r| r.must(Ask::SkipCut),
        |r| r.must(Ask::EndJob),
        |r| r.must(Ask::ChangeBegin),
        |r| r.must(Ask::Home),
    ];
    for way in ways {
        let mut rig = lifting();
        rig.must(press(2));
        stays_held(&mut rig);
        let place = rig.table.place;
        way(&mut rig);
        // The stand-in controller names a rapid that is too low.
        rig.until(60.0, |r| {
            !r.m.active() || r.table.place.distance(place) > 20.0
        });
        assert_eq!(rig.table.violations, Vec::<String>::new());
        assert!(rig.table.z > 25.0 || rig.m.active(), "{}", rig.table.z);
    }
}

#[test]
fn who_has_not_seen_the_last_hold_starts_nothing() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.must(press(1));
    rig.until_held();
    rig.wait(0.3);
    rig.read();
    let seen = rig.m.generation();
    let resume = rig.accept(&rig.plans(0.0).plans[0].clone());
    rig.must(press(2));
    rig.until(2.0, |r| r.m.line.listens());
    assert!(matches!(
        rig.ask_seen(seen, resume.clone()),
        Answer::Refused { reason, .. } if reason == "stale"
    ));
    stays_held(&mut rig);
    rig.must(resume);
}

/// Presses, and what moved stands within its braking.
#[track_caller]
fn ends_what_moves(rig: &mut Rig, hold: fn(&mut Rig)) {
    assert!(rig.m.active());
    hold(rig);
    let (z, place) = (rig.table.z, rig.table.place);
    rig.until(15.0, |r| !r.m.active());
    assert!(!rig.guard.pulsing());
    assert!(rig.table.place.distance(place) < 0.01, "went on");
    // The stop may lift: never lower.
    assert!(rig.table.z >= z - 0.01);
    let (z, place) = (rig.table.z, rig.table.place);
    rig.wait(3.0);
    assert_eq!((rig.table.z, rig.table.place), (z, place));
}

#[test]
fn without_a_run_hold_ends_whatever_moves_or_pulses() {
    for hold in [by_screen, by_button] {
        let mut rig = Rig::new();
        rig.until(5.0, |r| r.phase() == Phase::Idle);
        rig.prove_buttons();
        rig.must(Ask::Home);
        rig.wait(0.3);
        ends_what_moves(&mut rig, hold);
        assert!(rig.view().doubtful && !rig.m.reference.homed);

        rig.must(Ask::Home);
        rig.until(30.0, |r| r.phase() != Phase::Homing);
        rig.must(Ask::ChangeBegin);
        rig.wait(0.05);
        ends_what_moves(&mut rig, |r| r.must(press(8)));
        rig.must(Ask::ChangeCancel);

        rig.must(Ask::Vouch {
            check: crate::CheckId::SourceOff,
            yes: true,
        });
        rig.must(Ask::PermitTest);
        rig.tick();
        assert!(rig.guard.pulsing());
        ends_what_moves(&mut rig, |r| r.must(press(9)));
        assert!(!rig.m.readiness.permit_tested);
        assert_eq!(rig.view().alarms.len(), 0, "{:?}", rig.view().alarms);
    }
}

#[test]
fn hold_on_the_way_home_after_a_job_ended_or_done_leaves_it_held() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.must(press(1));
    rig.until_held();
    rig.must(Ask::EndJob);
    rig.wait(0.4);
    ends_what_moves(&mut rig, |r| r.must(press(2)));
    stays_held(&mut rig);
    let mut rig = running();
    rig.until(120.0, |r| r.view().step == Some(Step::Park));
    rig.wait(0.3);
    ends_what_moves(&mut rig, by_button);
    stays_held(&mut rig);
}

#[test]
fn hold_just_when_going_on_was_accepted_leaves_it_held() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    rig.must(press(1));
    rig.until_held();
    rig.wait(0.3);
    rig.resume_as_offered();
    rig.must(press(2));
    stays_held(&mut rig);
    assert_eq!(rig.view().holds.len(), 2);
}

#[test]
fn a_button_that_bounces_is_one_press() {
    let mut rig = running();
    rig.run_to(2, 40.0);
    for _ in 0..4 {
        rig.table.wrong.hold_button = true;
        rig.wait(0.004);
        rig.table.wrong.hold_button = false;
        rig.wait(0.003);
    }
    rig.until_held();
    assert!(rig.table.z > 25.0, "lifted");
    assert_eq!(presses(&rig), 1);
}
