//! What is seen late, or only by its edge.

use super::*;

#[test]
fn a_chain_seat_or_gate_that_opened_for_a_moment_trips_as_an_open_one_does() {
    for (opened, cause) in [
        (
            Opened {
                estop: true,
                ..Opened::default()
            },
            Cause::Estop,
        ),
        (
            Opened {
                torch_seated: true,
                ..Opened::default()
            },
            Cause::TorchUnseated,
        ),
        (
            Opened {
                gate: true,
                ..Opened::default()
            },
            Cause::GateOpen,
        ),
    ] {
        let mut t = Told::cutting();
        t.s.torch_seated = Some(true);
        t.wait(1);
        t.opened = opened;
        t.wait(1);
        assert_eq!(t.trips().last(), Some(&(cause, 0)), "{cause}");
        assert!(!t.rules.pulsing(), "{cause}");
        t.wait(20);
        assert_eq!(t.rules.latches().collect::<Vec<_>>(), vec![cause]);
        // Asked to clear in the step that sees it open again, it stands.
        t.opened = opened;
        t.rules.order(t.now, &GuardOrder::Clear { cause });
        t.wait(1);
        assert!(t.rules.latches().any(|c| c == cause), "{cause}");
        t.rules.order(t.now, &GuardOrder::Clear { cause });
        t.wait(1);
        assert_eq!(t.rules.latches().count(), 0, "{cause}");
    }
}

#[test]
fn what_is_not_fitted_cannot_open() {
    let mut t = Told::cutting();
    t.s.torch_seated = None;
    t.s.gate_closed = None;
    t.wait(1);
    t.opened = Opened {
        torch_seated: true,
        gate: true,
        ..Opened::default()
    };
    t.wait(1);
    assert_eq!(t.trips(), vec![]);
}

/// The permit's levels, at steps so far apart.
fn stepped_late(t: &mut Told, ms: u64) {
    t.now += Duration::from_millis(ms);
    t.levels.clear();
    t.step();
}

#[test]
fn a_gap_that_the_relay_may_not_hold_over_latches_before_any_pulse() {
    for (ms, late) in [(24, false), (31, true), (600, true)] {
        let mut t = Told::cutting();
        let before = t.now;
        stepped_late(&mut t, ms);
        assert_eq!(
            t.rules.latches().any(|c| c == Cause::GuardLate),
            late,
            "{ms} ms"
        );
        if late {
            assert_eq!(t.trips(), vec![(Cause::GuardLate, u128::from(ms))]);
            assert_eq!(t.levels, vec![(t.now, false)]);
            assert_eq!(t.take_aways, 1);
            // The lease is fresh, and control has heard and asks again: no pulse under the fire.
            t.handle();
            t.phase(Phase::Closing);
            t.wait(4);
            t.phase(Phase::Firing);
            t.wait(500);
            assert!(t.levels.iter().all(|(_, level)| !level), "since {before}");
        }
    }
}

#[test]
fn a_gap_while_nothing_is_permitted_is_no_trip() {
    let mut t = Told::new();
    t.wait(1200);
    stepped_late(&mut t, 3000);
    assert_eq!(t.trips(), vec![]);
}

#[test]
fn an_edge_that_is_seen_late_is_told_as_one_of_the_gap() {
    let mut t = Told::cutting();
    let last = t.now;
    t.s.arc_ok = false;
    stepped_late(&mut t, 300);
    let arc = t.reports.iter().find_map(|r| match r {
        GuardReport::Edge {
            input: EdgeInput::ArcOk,
            level: false,
            at,
            after,
        } => Some((*at, *after)),
        _ => None,
    });
    assert_eq!(arc, Some((t.now, Some(last))));
}

#[test]
fn the_permit_does_not_begin_under_a_fire_that_is_closed() {
    let mut t = Told::new();
    t.wait(1200);
    t.s.fire_on = true;
    t.phase(Phase::Closing);
    assert!(!t.rules.pulsing());
    t.wait(100);
    assert!(t.levels.iter().all(|(_, level)| !level));
}

/// The edges that were told of this input: level, moment, and whether it is only known to be after.
fn edges_of(t: &Told, of: EdgeInput) -> Vec<(bool, Time, bool)> {
    let edge = |r: &GuardReport| match *r {
        GuardReport::Edge {
            input,
            level,
            at,
            after,
        } if input == of => Some((level, at, after.is_some())),
        _ => None,
    };
    t.reports.iter().filter_map(edge).collect()
}

#[test]
fn the_kernels_moment_of_an_edge_is_told_however_late_the_guard_comes() {
    for (told, late_ms) in [(false, 1), (true, 1), (false, 80), (true, 80)] {
        let mut t = Told::cutting();
        t.reports.clear();
        let before = t.now;
        t.now += Duration::from_millis(late_ms);
        t.s.arc_ok = false;
        let edge = before + Duration::from_micros(300);
        if told {
            t.opened.moments.arc_ok = Some(edge);
        }
        t.step();
        let at = if told { edge } else { t.now };
        let unsure = !told && late_ms == 80;
        assert_eq!(
            edges_of(&t, EdgeInput::ArcOk),
            [(false, at, unsure)],
            "told {told}, {late_ms} ms late"
        );
    }
}

#[test]
fn a_moment_that_cannot_be_is_brought_between_the_look_before_and_this_one() {
    for (told, is) in [(Time::ZERO, 0), (Time::from_ms(1_000_000), 1)] {
        let mut t = Told::cutting();
        t.reports.clear();
        let before = t.now;
        t.s.arc_ok = false;
        t.opened.moments.arc_ok = Some(told);
        t.now += Duration::from_millis(1);
        t.step();
        let at = before + Duration::from_millis(is);
        assert_eq!(edges_of(&t, EdgeInput::ArcOk), [(false, at, false)]);
    }
}

#[test]
fn how_long_the_arc_is_lost_counts_from_its_edge_and_an_emergency_stop_is_told_at_its_own() {
    let mut t = Told::cutting();
    t.reports.clear();
    let edge = t.now + Duration::from_millis(1);
    t.s.arc_ok = false;
    t.opened.moments.arc_ok = Some(edge);
    t.now += Duration::from_millis(6);
    t.step();
    while t.trips().is_empty() {
        t.wait(1);
    }
    assert_eq!(t.now, edge + Duration::from_millis(30));
    let mut t = Told::cutting();
    t.reports.clear();
    let edge = t.now + Duration::from_micros(200);
    t.s.estop_open = true;
    t.opened.moments.estop = Some(edge);
    t.now += Duration::from_millis(1);
    t.step();
    let told = t
        .reports
        .iter()
        .any(|r| matches!(r, GuardReport::Tripped { cause: Cause::Estop, at, .. } if *at == edge));
    assert!(told, "{:?}", t.reports);
}
