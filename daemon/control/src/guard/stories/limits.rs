//! Each limit to the millisecond: not a step before, and not a step after. And what is not judged.

use super::*;

/// How long after the step that first saw the present levels a cause trips, ms; at most 3 s.
fn trips_after(t: &mut Told, cause: Cause) -> Option<u64> {
    let before = t.trips().len();
    (0..=3000).find(|_| {
        t.wait(1);
        t.trips()[before..].iter().any(|(c, _)| *c == cause)
    })
}

/// Nothing trips in 3 s.
fn stands(t: &mut Told, what: &str) {
    let before = t.trips();
    t.wait(3000);
    let after: Vec<_> = t.trips().into_iter().map(|(c, _)| c).collect();
    assert_eq!(after.len(), before.len(), "{what}: {after:?}");
}

pub(super) fn at_rest() -> Told {
    let mut t = Told::new();
    t.s.volts = Some(0.0);
    t.s.sense_isolated = Some(true);
    t.s.torch_seated = Some(true);
    // The link is open: it began with a torch-off.
    t.doing(false, true, false);
    t.wait(1200);
    t
}

fn in_phase(phase: Phase) -> Told {
    let mut t = at_rest();
    t.phase(phase);
    t.wait(20);
    t
}

/// A table whose sensing circuit stays connected while it cuts, or does not.
pub(super) fn sense_stays(connected: bool) -> GuardSettings {
    GuardSettings {
        sense_stays_connected: connected,
        ..GuardSettings::default()
    }
}

fn connected() -> Told {
    Told::cutting_on(sense_stays(true))
}

#[test]
fn a_fire_or_an_arc_that_nobody_asks_for_latches_as_soon_as_it_is_believed() {
    for phase in [Phase::Off, Phase::Closing, Phase::Test] {
        let mut t = in_phase(phase);
        t.s.fire_on = true;
        assert_eq!(
            trips_after(&mut t, Cause::UnaskedFire),
            Some(5),
            "{phase:?}"
        );
    }
    for (phase, ms) in [(Phase::Off, 10), (Phase::Firing, 500)] {
        let mut t = in_phase(phase);
        t.s.arc_ok = true;
        assert_eq!(
            trips_after(&mut t, Cause::UnaskedFire),
            Some(ms),
            "{phase:?}"
        );
    }
    for (flicker, ms) in [("fire", 4), ("arc", 9)] {
        let mut t = at_rest();
        let level = |t: &mut Told, on| match flicker {
            "fire" => t.s.fire_on = on,
            _ => t.s.arc_ok = on,
        };
        level(&mut t, true);
        t.wait(ms + 1);
        level(&mut t, false);
        stands(&mut t, flicker);
    }
}

#[test]
fn volts_without_a_fire_latch_after_a_tenth_of_a_second_above_60_v() {
    let mut t = at_rest();
    t.s.volts = Some(60.1);
    assert_eq!(trips_after(&mut t, Cause::UnaskedFire), Some(100));

    let mut t = at_rest();
    t.s.volts = Some(60.0);
    stands(&mut t, "60 V are not above it");
    t.s.volts = Some(200.0);
    t.wait(100);
    t.s.volts = Some(0.0);
    stands(&mut t, "a tenth of a second short of a step");

    let mut t = Told::cutting();
    t.s.volts = Some(120.0);
    stands(&mut t, "an arc that is asked for has volts");
    let mut t = in_phase(Phase::Firing);
    t.s.volts = Some(200.0);
    stands(&mut t, "the torch is asked for, and its fire is on the way");
}

#[test]
fn the_volts_of_a_dying_arc_are_left_alone_for_two_and_a_half_seconds_after_the_fire() {
    let mut t = Told::cutting();
    t.s.volts = Some(120.0);
    t.wait(100);
    let last_fire = t.now;
    t.doing(false, true, false);
    t.s.fire_on = false;
    t.s.arc_ok = false;
    t.wait(10);
    t.phase(Phase::Off);
    trips_after(&mut t, Cause::UnaskedFire).expect("they never went away");
    assert_eq!(t.now.since(last_fire).as_millis(), 2500);
}

#[test]
fn what_stood_at_switch_on_is_judged_after_a_second() {
    type Change = fn(&mut Signals);
    let change: [(&str, Change); 3] = [
        ("arc", |s| s.arc_ok = true),
        ("volts", |s| s.volts = Some(200.0)),
        ("fire", |s| s.fire_on = true),
    ];
    for (what, change) in change {
        let mut t = Told::new();
        change(&mut t.s);
        t.doing(false, true, false);
        assert_eq!(
            trips_after(&mut t, Cause::UnaskedFire),
            Some(1000),
            "{what}"
        );
    }
    // A fire of before is shown until a torch-off was taken.
    let mut t = Told::new();
    t.s.fire_on = true;
    stands(&mut t, "no torch-off was taken");
    t.doing(false, true, false);
    // Taken between two steps: half a second from then is a step sooner.
    assert_eq!(trips_after(&mut t, Cause::UnaskedFire), Some(499));
}

#[test]
fn an_arc_that_comes_back_after_its_time_is_a_new_one() {
    let out = || {
        let mut t = Told::cutting();
        t.doing(false, true, false);
        t.s.fire_on = false;
        t.s.arc_ok = false;
        t.wait(1);
        t.phase(Phase::Off);
        t
    };
    let mut t = out();
    t.wait(300);
    t.s.arc_ok = true;
    assert_eq!(trips_after(&mut t, Cause::ArcStuck), Some(199));
    for (wait_ms, cause, ms) in [(498, Cause::ArcStuck, 1), (499, Cause::UnaskedFire, 10)] {
        let mut t = out();
        t.wait(wait_ms);
        t.s.arc_ok = true;
        assert_eq!(trips_after(&mut t, cause), Some(ms), "{wait_ms} ms later");
    }
}

#[test]
fn an_arc_counts_as_seen_after_10_ms_and_one_that_comes_at_the_last_moment_is_in_time() {
    // Too short to be one: it is still waited for.
    let mut t = Told::firing();
    t.wait(100);
    t.s.arc_ok = true;
    t.wait(10);
    t.s.arc_ok = false;
    assert_eq!(trips_after(&mut t, Cause::NoArc), Some(1500 - 100 - 10 - 1));
    // Long enough: it was lost.
    let mut t = Told::firing();
    t.wait(100);
    t.s.arc_ok = true;
    t.wait(11);
    t.s.arc_ok = false;
    assert_eq!(trips_after(&mut t, Cause::ArcLost), Some(30));
    let mut t = Told::firing();
    t.wait(1495);
    t.s.arc_ok = true;
    stands(&mut t, "it came 5 ms before the limit");
}

#[test]
fn the_fires_mirror_may_bounce_for_less_than_150_ms() {
    let mut t = Told::cutting();
    t.s.fire_on = false;
    t.wait(150);
    t.s.fire_on = true;
    stands(&mut t, "a bounce");
    t.s.fire_on = false;
    assert_eq!(trips_after(&mut t, Cause::FireDropped), Some(150));
}

#[test]
fn a_trip_that_is_not_handled_is_not_followed_by_those_of_the_firing_it_ended() {
    let mut t = Told::firing();
    t.s.hold_button = Some(true);
    t.wait(1);
    t.s.hold_button = Some(false);
    // Control has not heard of it and asks for the torch: its fire is nobody's, and is not waited for.
    t.phase(Phase::Firing);
    t.wait(2000);
    assert!(
        t.trips().iter().all(|(c, _)| *c != Cause::NoArc),
        "{:?}",
        t.trips()
    );
}

/// S-16.
#[test]
fn a_sensing_circuit_that_must_be_off_latches_20_ms_after_it_is_seen_on() {
    let isolated = |t: &mut Told, yes| t.rules.order(t.now, &GuardOrder::Isolated { yes });
    let mut t = at_rest();
    isolated(&mut t, true);
    t.s.sense_isolated = Some(false);
    assert_eq!(trips_after(&mut t, Cause::SenseOn), Some(20));
    // It was on by order: it may come to rest from the new order on.
    let mut t = at_rest();
    t.s.sense_isolated = Some(false);
    t.wait(100);
    isolated(&mut t, true);
    assert_eq!(trips_after(&mut t, Cause::SenseOn), Some(19));
    let mut t = at_rest();
    isolated(&mut t, true);
    isolated(&mut t, false);
    t.s.sense_isolated = Some(false);
    stands(&mut t, "it may be on");
    for phase in [Phase::Closing, Phase::Firing] {
        let mut t = in_phase(phase);
        t.s.sense_isolated = Some(false);
        assert_eq!(trips_after(&mut t, Cause::SenseOn), Some(20), "{phase:?}");
    }
    let mut t = in_phase(Phase::Closing);
    t.s.sense_isolated = None;
    stands(&mut t, "no mirror shows it");
    let mut t = connected();
    t.s.sense_isolated = Some(false);
    isolated(&mut t, true);
    stands(&mut t, "it stays connected");
}

#[test]
fn contact_is_judged_while_travelling_and_with_the_arc_on_where_the_circuit_stays_connected() {
    let mut t = at_rest();
    t.s.contact = true;
    stands(&mut t, "nothing moves");
    t.doing(true, false, false);
    stands(
        &mut t,
        "it was closed before the traverse: a bridge of slag",
    );
    t.s.contact = false;
    t.wait(5);
    t.s.contact = true;
    assert_eq!(trips_after(&mut t, Cause::TorchTouched), Some(10));

    let mut t = at_rest();
    t.doing(true, false, false);
    t.doing(false, false, false);
    t.s.contact = true;
    stands(&mut t, "the traverse is over");

    let mut t = connected();
    t.s.contact = true;
    assert_eq!(trips_after(&mut t, Cause::TorchTouched), Some(10));
    let mut t = Told::cutting();
    t.s.contact = true;
    stands(&mut t, "the circuit is off the torch");
    let mut t = Told::firing_on(sense_stays(true));
    t.s.contact = true;
    t.wait(1000);
    assert_eq!(t.trips(), vec![], "no arc yet");
    let mut t = connected();
    t.doing(false, true, false);
    t.s.fire_on = false;
    t.s.arc_ok = false;
    t.wait(1);
    t.phase(Phase::Off);
    t.s.contact = true;
    stands(&mut t, "the arc is out");
}

#[test]
fn a_traverse_that_is_told_again_does_not_excuse_a_contact_that_came_in_it() {
    let mut t = at_rest();
    t.doing(true, false, false);
    t.s.contact = true;
    t.wait(5);
    t.doing(true, false, true);
    assert_eq!(trips_after(&mut t, Cause::TorchTouched), Some(5));
}

#[test]
fn chain_and_button_trip_at_their_first_look_once_for_each_time_they_open() {
    for (cause, latched) in [(Cause::Estop, true), (Cause::Hold, false)] {
        let set = |t: &mut Told, on| match cause {
            Cause::Estop => t.s.estop_open = on,
            _ => t.s.hold_button = Some(on),
        };
        let trips = |t: &Told| t.trips().iter().filter(|(c, _)| *c == cause).count();
        let mut t = Told::new();
        set(&mut t, true);
        t.wait(100);
        assert_eq!(trips(&t), 1, "{cause} as the panel starts");
        set(&mut t, false);
        t.wait(100);
        set(&mut t, true);
        t.wait(100);
        assert_eq!(trips(&t), 2, "{cause} again, latched or not");
        assert_eq!(t.rules.latches().any(|c| c == cause), latched);
    }
}

#[test]
fn a_trip_by_inputs_that_cannot_be_read_says_so() {
    let unread = |t: &Told| {
        t.reports
            .iter()
            .filter_map(|r| match r {
                GuardReport::Tripped { unread, .. } => Some(*unread),
                _ => None,
            })
            .collect::<Vec<_>>()
    };
    let mut t = at_rest();
    t.s.estop_open = true;
    t.s.unreadable = true;
    t.wait(1);
    assert_eq!(unread(&t), [true]);
    let mut t = at_rest();
    t.s.estop_open = true;
    t.wait(1);
    assert_eq!(unread(&t), [false]);
    let mut t = at_rest();
    t.s.unreadable = true;
    t.s.hold_button = Some(true);
    t.wait(1);
    assert_eq!(unread(&t), [false], "the button was pressed");
}

#[test]
fn a_fire_that_comes_back_before_the_torch_off_of_a_stop_was_taken_is_one_of_before() {
    let mut t = Told::firing();
    t.s.hold_button = Some(true);
    t.wait(1);
    t.s.fire_on = false;
    t.wait(5);
    t.s.fire_on = true;
    stands(&mut t, "the torch-off is on its way");
    t.doing(false, true, false);
    assert_eq!(trips_after(&mut t, Cause::UnaskedFire), Some(499));
    // Taken, and seen open: any fire from here on is a new one.
    let mut t = Told::firing();
    t.s.hold_button = Some(true);
    t.wait(1);
    t.doing(false, true, false);
    t.s.fire_on = false;
    t.wait(5);
    t.s.fire_on = true;
    assert_eq!(trips_after(&mut t, Cause::UnaskedFire), Some(5));
}
