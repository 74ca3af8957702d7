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

fn at_rest() -> Told {
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

/// A table whose sensing circuit stays connected while it cuts.
fn connected() -> Told {
    let mut t = Told::cutting();
    t.rules.settings.sense_stays_connected = true;
    t
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
    let change: [(&str, fn(&mut Signals)); 3] = [
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
fn after_a_trip_nothing_pulses_before_control_asks_anew() {
    let mut t = Told::cutting();
    t.s.hold_button = Some(true);
    t.wait(1);
    t.s.hold_button = Some(false);
    t.s.fire_on = false;
    t.s.arc_ok = false;
    t.handle();
    t.wait(500);
    assert!(!t.rules.pulsing(), "handled, and both seen open");
    t.phase(Phase::Closing);
    assert!(t.rules.pulsing(), "asked anew");
    // The same where control itself gave the permit back: fire and arc of before must have gone.
    let mut t = Told::cutting();
    t.phase(Phase::Off);
    t.s.fire_on = false;
    t.wait(1);
    t.phase(Phase::Closing);
    t.wait(5);
    assert!(!t.rules.pulsing(), "the arc was not seen out");
}

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
fn no_pulse_begins_while_the_sensing_circuit_is_on_the_torch() {
    let begins = |isolated, stays, phase| {
        let mut t = Told::new();
        t.s.sense_isolated = isolated;
        t.rules.settings.sense_stays_connected = stays;
        t.wait(1200);
        t.phase(phase);
        t.rules.pulsing()
    };
    assert!(begins(Some(true), false, Phase::Closing));
    assert!(begins(None, false, Phase::Closing));
    assert!(!begins(Some(false), false, Phase::Closing));
    assert!(begins(Some(false), true, Phase::Closing));
    assert!(
        begins(Some(false), false, Phase::Test),
        "the relay is tested"
    );
    assert!(!begins(Some(true), false, Phase::Off));
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
    let mut t = Told::firing();
    t.rules.settings.sense_stays_connected = true;
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
fn levels_are_told_twice_before_they_are_stale_and_every_50_ms_at_least() {
    for (stale_ms, every_ms) in [(1, 1), (50, 25), (100, 50), (500, 50)] {
        let settings = GuardSettings {
            inputs_stale_ms: stale_ms,
            ..GuardSettings::default()
        };
        let every = Duration::from_millis(every_ms);
        assert_eq!(settings.signals_every(), every, "stale after {stale_ms} ms");
    }
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
fn each_latch_yields_to_its_request_when_its_own_cause_has_gone() {
    type Change = fn(&mut Signals);
    let good = Signals {
        gate_closed: Some(true),
        torch_seated: Some(true),
        sense_isolated: Some(true),
        volts: Some(4.9),
        ..Signals::default()
    };
    let cases: [(Cause, &[Change], &[Change]); 7] = [
        (Cause::Estop, &[|s| s.estop_open = true], &[]),
        (
            Cause::GateOpen,
            &[|s| s.gate_closed = Some(false)],
            &[|s| s.gate_closed = None],
        ),
        (
            Cause::TorchUnseated,
            &[|s| s.torch_seated = Some(false)],
            &[|s| s.torch_seated = None],
        ),
        (Cause::TorchTouched, &[|s| s.contact = true], &[]),
        (
            Cause::SenseOn,
            &[|s| s.sense_isolated = Some(false)],
            &[|s| s.sense_isolated = None],
        ),
        (
            Cause::ArcStuck,
            &[
                |s| s.fire_on = true,
                |s| s.arc_ok = true,
                |s| s.volts = Some(5.0),
                |s| s.volts = Some(-5.0),
            ],
            &[
                |s| s.volts = None,
                |s| s.volts = Some(-4.9),
                |s| s.contact = true,
            ],
        ),
        (
            Cause::UnaskedFire,
            &[
                |s| s.fire_on = true,
                |s| s.arc_ok = true,
                |s| s.volts = Some(5.0),
            ],
            &[|s| s.volts = None],
        ),
    ];
    let asked = |cause, s: Signals| {
        let mut t = Told::new();
        t.s = good;
        t.wait(1200);
        t.rules.order(t.now, &GuardOrder::Restore { cause });
        t.s = s;
        t.rules.order(t.now, &GuardOrder::Clear { cause });
        t.step();
        (
            t.reports.contains(&GuardReport::Cleared { cause }),
            t.reports.contains(&GuardReport::StillThere { cause }),
        )
    };
    for (cause, stands, gone) in cases {
        assert_eq!(asked(cause, good), (true, false), "{cause}");
        for (k, change) in stands.iter().enumerate() {
            let mut s = good;
            change(&mut s);
            assert_eq!(asked(cause, s), (false, true), "{cause} stands, {k}");
        }
        for (k, change) in gone.iter().enumerate() {
            let mut s = good;
            change(&mut s);
            assert_eq!(asked(cause, s), (true, false), "{cause} has gone, {k}");
        }
    }
    // Others have no level of their own.
    assert_eq!(asked(Cause::GuardLate, good), (true, false));
}

#[test]
fn a_lapsed_lease_yields_once_control_is_alive_again() {
    let cause = Cause::LeaseLapsed;
    for (ahead_us, cleared) in [(0, true), (-1, false)] {
        let mut t = at_rest();
        t.rules.order(t.now, &GuardOrder::Restore { cause });
        t.rules.order(t.now, &GuardOrder::Clear { cause });
        let lease = if ahead_us < 0 {
            Time::from_ms(6199) + Duration::from_micros(999)
        } else {
            t.now
        };
        t.step_leased(lease);
        assert_eq!(
            t.reports.contains(&GuardReport::Cleared { cause }),
            cleared,
            "{ahead_us} us"
        );
    }
}

#[test]
fn a_permit_test_waits_300_ms_without_a_mirror_100_for_the_pull_and_105_for_the_drop() {
    let tested = |t: &mut Told| {
        (0..1000).find_map(|n| {
            t.wait(1);
            t.reports.iter().find_map(|r| match r {
                GuardReport::Tested { passed } => Some((n + 1, *passed)),
                _ => None,
            })
        })
    };
    let begun = |mirror| {
        let mut t = at_rest();
        t.s.permit_closed = mirror;
        t.wait(1);
        t.phase(Phase::Test);
        assert!(t.rules.pulsing());
        t
    };
    // Judged from the first step that pulses: that of the order.
    assert_eq!(tested(&mut begun(None)), Some((300, None)));
    assert_eq!(tested(&mut begun(Some(false))), Some((100, Some(false))));
    for (drops_after_ms, passed) in [(105, true), (106, false)] {
        let mut t = begun(Some(false));
        t.wait(30);
        t.s.permit_closed = Some(true);
        t.wait(1);
        assert!(!t.rules.pulsing(), "it has pulled");
        t.wait(drops_after_ms - 1);
        t.s.permit_closed = Some(false);
        t.wait(1);
        let said = t.reports.iter().find_map(|r| match r {
            GuardReport::Tested { passed } => Some(*passed),
            _ => None,
        });
        assert_eq!(said, Some(Some(passed)), "{drops_after_ms} ms");
        assert!(!t.rules.pulsing(), "a test is over once");
        t.wait(50);
        assert!(!t.rules.pulsing());
    }
    // One that cannot begin is not judged.
    let mut t = at_rest();
    t.s.arc_ok = true;
    t.s.permit_closed = Some(false);
    t.phase(Phase::Test);
    t.wait(5);
    t.s.arc_ok = false;
    assert_eq!(tested(&mut t), Some((101, Some(false))));
}

#[test]
fn the_relays_gap_counts_from_the_last_edge_and_a_late_pulse_is_not_hurried_after() {
    for (gap_ms, late) in [(29, false), (30, true)] {
        let mut t = Told::cutting();
        // To the very step of an edge.
        let level = |t: &Told| t.levels.last().expect("stepped").1;
        let was = level(&t);
        while level(&t) == was {
            t.wait(1);
        }
        t.now += Duration::from_millis(gap_ms);
        let out = t.rules.step(
            t.now,
            &t.s,
            Opened::default(),
            t.now + Duration::from_millis(200),
        );
        assert_eq!(
            t.rules.latches().any(|c| c == Cause::GuardLate),
            late,
            "{gap_ms} ms"
        );
        if !late {
            assert_eq!(out.permit_level, was, "one edge, however late");
            assert_eq!(
                out.deadline,
                Some(t.now + Duration::from_micros(2500)),
                "half of a half wave"
            );
        }
    }
}

#[test]
fn a_step_is_in_time_within_5_ms_of_when_it_was_wanted() {
    for (ms, late) in [(55, false), (56, true)] {
        let mut t = at_rest();
        let last = t.now;
        t.s.contact = true;
        t.now += Duration::from_millis(ms);
        t.step();
        let after = t.reports.iter().find_map(|r| match r {
            GuardReport::Edge { after, .. } => Some(*after),
            _ => None,
        });
        assert_eq!(after, Some(late.then_some(last)), "{ms} ms");
    }
    // Sooner wanted, sooner late: a contact in a traverse is judged after 10 ms.
    let mut t = at_rest();
    t.doing(true, false, false);
    t.s.contact = true;
    t.wait(1);
    let last = t.now;
    t.s.fire_on = true;
    t.now += Duration::from_millis(16);
    t.step();
    assert!(t.reports.iter().any(|r| matches!(r, GuardReport::Edge { input: EdgeInput::FireOn, after, .. } if *after == Some(last))));
}
