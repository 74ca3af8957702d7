//! The permit's own limits: its pulses, its test, its gaps, and what yields to a request to clear.

use super::limits::{at_rest, sense_stays};
use super::*;

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
fn no_pulse_begins_while_the_sensing_circuit_is_on_the_torch() {
    let begins = |isolated, stays, phase| {
        let mut t = Told::on(sense_stays(stays));
        t.s.sense_isolated = isolated;
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
