//! Each physical wrong is told when it is one, and not a moment before.

use super::*;

fn judge() -> Judge {
    Judge::new(Limits {
        permit_drop_ms: 60,
        rapid_floor_mm: 7.0,
    })
}

/// At rest at cut height, everything closed as in a cut.
fn seen(ms: u64) -> Seen {
    Seen {
        now: ms * MS,
        dt: MS,
        place: Point::new(10.0, 20.0),
        height_mm: 1.5,
        moved_mm: 0.01,
        driven_mm: 0.01,
        moved_z_mm: 0.0,
        arc: true,
        burning: true,
        stuck_on: false,
        k1_wrong: false,
        k2_wrong: false,
        circuit: true,
        k2: true,
        last_pulse: Some(ms * MS),
        chain_open: false,
        sensing: false,
        holding: false,
        rapid: false,
        outside_mm: 0.0,
        metal: true,
    }
}

#[track_caller]
fn tells(judge: &Judge, what: &str) {
    assert_eq!(judge.violations(), [what.to_owned()]);
}

#[test]
fn an_arc_20_ms_after_k2_opened_is_in_time_and_at_21_it_is_told() {
    let mut judge = judge();
    judge.see(&seen(100));
    for ms in 101..=121 {
        assert!(judge.violations().is_empty(), "{ms}");
        judge.see(&Seen {
            k2: false,
            circuit: false,
            ..seen(ms)
        });
    }
    for ms in 122..200 {
        judge.see(&Seen {
            k2: false,
            circuit: false,
            ..seen(ms)
        });
    }
    tells(
        &judge,
        "arc more than 20 ms after K2 opened (0.122 s at x 10.0 y 20.0)",
    );
}

#[test]
fn the_same_with_a_source_that_stays_on_by_itself_is_not_told() {
    let mut judge = judge();
    judge.see(&seen(100));
    for ms in 101..2000 {
        judge.see(&Seen {
            k2: false,
            circuit: false,
            stuck_on: true,
            chain_open: true,
            moved_mm: 0.0,
            driven_mm: 0.0,
            height_mm: 1.5 + ms as f64 / 100.0,
            ..seen(ms)
        });
    }
    assert_eq!(judge.violations(), [] as [String; 0]);
}

#[test]
fn k2_that_stays_closed_without_pulses_is_told() {
    let mut judge = judge();
    for ms in 100..=162 {
        judge.see(&Seen {
            last_pulse: Some(100 * MS),
            ..seen(ms)
        });
    }
    assert!(judge.violations().is_empty());
    judge.see(&Seen {
        last_pulse: Some(100 * MS),
        ..seen(163)
    });
    judge.see(&Seen {
        last_pulse: Some(100 * MS),
        ..seen(164)
    });
    tells(
        &judge,
        "K2 closed later than its drop-out time after the last pulse (0.163 s)",
    );
}

#[test]
fn an_arc_after_the_chain_opened_is_told() {
    let mut judge = judge();
    for ms in 100..=130 {
        judge.see(&Seen {
            chain_open: true,
            ..seen(ms)
        });
    }
    assert!(judge.violations().is_empty());
    judge.see(&Seen {
        chain_open: true,
        ..seen(131)
    });
    tells(
        &judge,
        "arc later than the relay time after the emergency stop opened (0.131 s at x 10.0 y 20.0)",
    );
}

#[test]
fn a_sheet_that_falls_away_below_the_torch_is_no_lift_and_its_own_rise_is() {
    let mut judge = judge();
    let at = |ms, height_mm, moved_z_mm| Seen {
        height_mm,
        moved_z_mm,
        ..seen(ms)
    };
    judge.see(&at(100, 1.5, 0.0));
    judge.see(&at(101, 3.0, 0.0));
    assert!(judge.violations().is_empty());
    judge.see(&at(102, 3.9, 0.9));
    judge.see(&at(103, 4.2, 0.3));
    assert_eq!(judge.violations().len(), 1, "{:?}", judge.violations());
}

#[test]
fn a_step_too_short_to_show_motion_is_no_standstill() {
    let mut judge = judge();
    let hold = |ms, dt, moved_mm| Seen {
        holding: true,
        dt,
        arc: false,
        burning: false,
        moved_mm,
        driven_mm: moved_mm,
        ..seen(ms)
    };
    judge.see(&hold(100, 1_000_000, 0.5));
    judge.see(&hold(100, 40, 0.0));
    judge.see(&hold(101, 999_960, 0.4));
    assert!(judge.violations().is_empty());
}

#[test]
fn braking_in_a_hold_is_right_and_moving_after_it_stood_is_not() {
    let mut judge = judge();
    let hold = |ms, moved_mm| Seen {
        holding: true,
        arc: false,
        burning: false,
        moved_mm,
        driven_mm: moved_mm,
        ..seen(ms)
    };
    judge.see(&hold(100, 0.5));
    judge.see(&hold(101, 0.0));
    assert!(judge.violations().is_empty());
    judge.see(&hold(102, 0.5));
    tells(
        &judge,
        "motion after standstill in a hold (0.102 s at x 10.0 y 20.0)",
    );
    let mut judge = super::tests::judge();
    judge.see(&hold(100, 0.0));
    judge.see(&Seen {
        holding: false,
        ..hold(101, 0.5)
    });
    assert!(judge.violations().is_empty());
}

#[test]
fn a_carriage_that_stands_while_its_drives_take_up_the_play_has_not_come_to_stand() {
    let mut judge = judge();
    let brakes = |ms, moved_mm, driven_mm| Seen {
        holding: true,
        arc: false,
        burning: false,
        moved_mm,
        driven_mm,
        ..seen(ms)
    };
    judge.see(&brakes(100, 0.03, 0.03));
    judge.see(&brakes(101, 0.0, 0.03));
    judge.see(&brakes(102, 0.0, 0.03));
    judge.see(&brakes(103, 0.02, 0.02));
    assert!(judge.violations().is_empty(), "{:?}", judge.violations());
    judge.see(&brakes(104, 0.0, 0.0));
    judge.see(&brakes(105, 0.0, 0.02));
    assert_eq!(judge.violations().len(), 1, "{:?}", judge.violations());
}

#[test]
fn lines_of_an_epoch_are_executed_once_each_in_order() {
    let mut judge = judge();
    for number in 1..=3 {
        judge.executed(MS, 1, number);
    }
    judge.executed(MS, 2, 1);
    assert!(judge.violations().is_empty());
    judge.executed(2 * MS, 2, 1);
    judge.executed(3 * MS, 2, 3);
    assert_eq!(
        judge.violations(),
        [
            "line 1 of epoch 2 was executed twice (0.002 s)",
            "line 2 of epoch 2 was never executed though line 3 was (0.003 s)"
        ]
    );
}

#[test]
fn a_sheet_that_is_laid_in_the_middle_of_an_epoch_makes_no_line_of_before_a_lost_one() {
    let mut before = judge();
    for number in 1..=5 {
        before.executed(MS, 7, number);
    }
    let mut judge = judge();
    judge.goes_on_from(&before);
    judge.executed(2 * MS, 7, 6);
    assert!(judge.violations().is_empty(), "{:?}", judge.violations());
    judge.executed(3 * MS, 7, 8);
    judge.executed(3 * MS, 7, 6);
    assert_eq!(judge.violations().len(), 2, "it still counts from there");
}

#[test]
fn a_second_episode_is_told_again() {
    let mut judge = judge();
    for ms in [101, 102, 103, 104] {
        judge.see(&Seen {
            sensing: ms % 2 == 1,
            ..seen(ms)
        });
    }
    assert_eq!(judge.violations().len(), 2);
}
