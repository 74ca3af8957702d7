//! Plans of invented arcs: pauses, moments, and what is hopeless.

use super::*;

fn arcs(number: usize, burns_s: f64, every_s: f64) -> Vec<ArcTime> {
    let begins = |k: usize| 5.0 + every_s * k as f64;
    (0..number)
        .map(|k| ArcTime {
            gas_s: begins(k),
            on_s: begins(k) + 0.4,
            off_s: begins(k) + 0.4 + burns_s,
        })
        .collect()
}

fn stop(cause: StopFor, before_cut: usize, wait_s: f64) -> PlannedStop {
    PlannedStop {
        cause,
        before_cut,
        wait_s,
    }
}

#[test]
fn pauses_begin_when_the_arc_before_is_out_and_earlier_ones_are_made() {
    let all = arcs(4, 10.0, 20.0);
    let stops = [
        stop(StopFor::DutyWait, 4, 60.0),
        stop(StopFor::AirWait, 2, 30.0),
        stop(StopFor::ChangeDue, 1, 0.0),
    ];
    let pauses = pauses(&stops, &all);
    let told: Vec<_> = pauses.iter().map(|p| (p.before_cut, p.at_s)).collect();
    // Out at 15.4 s; and at 55.4 s with 30 s of pause before it.
    assert_eq!(told, [(1, 0.0), (2, 15.4), (4, 85.4)]);
}

#[test]
fn a_page_says_each_pause_where_how_long_and_why() {
    let pause = Pause {
        before_cut: 12,
        at_s: 205.0,
        wait_s: 75.0,
        cause: StopFor::AirWait,
    };
    let mut plan = sample();
    plan.pauses = vec![pause];
    let text = page(&plan);
    assert!(
        text.contains("pause   75 s before cut 12, 3 min 25 s after the start, for the air"),
        "{text}"
    );
    plan.pauses.clear();
    plan.hopeless = vec!["Air is low in cut 1, and no pause helps.".into()];
    let text = page(&plan);
    assert!(text.contains("pauses  none are wanted"), "{text}");
    assert!(
        text.ends_with("! Air is low in cut 1, and no pause helps.\n"),
        "{text}"
    );
}

#[test]
fn only_what_the_pauses_put_right_is_told_as_put_right() {
    let mut plan = sample();
    assert_eq!(cures(&plan), ["air-short"]);
    plan.air.lowest_bar = 5.49;
    assert_eq!(cures(&plan), Vec::<String>::new());
    plan.duty.unpaused_s = 300.0;
    plan.duty.most_s = 285.0;
    assert_eq!(cures(&plan), ["duty-exceeded"]);
    plan.duty.most_s = 286.0;
    assert_eq!(cures(&plan), Vec::<String>::new());
    plan.wear = Some(WearPlan {
        before: 0.9,
        after: 0.2,
        sets: 0.3,
        changes: 1,
    });
    assert_eq!(cures(&plan), ["wear-out"]);
}

/// Numbers invented.
fn sample() -> JobPlan {
    JobPlan {
        run_s: 600.0,
        pauses_s: 75.0,
        arc_on_s: 300.0,
        pauses: Vec::new(),
        cures: Vec::new(),
        hopeless: Vec::new(),
        air: AirPlan {
            compressor: Compressor::Running,
            wanted_l: 900.0,
            low_bar: 5.5,
            full_bar: 8.0,
            unpaused_bar: 4.0,
            unpaused_at_s: 590.0,
            low_at_s: Some(200.0),
            lowest_bar: 5.6,
        },
        duty: DutyPlan {
            amps: 55.0,
            limit_s: 285.0,
            unpaused_s: 200.0,
            most_s: 180.0,
        },
        wear: None,
        hottest: None,
        cost: None,
        line: Vec::new(),
    }
}
