use super::*;
use crate::cause::Cause;

/// Rows of a run as they are recorded; durable ones are marked.
fn a_run_as_it_is_recorded() -> Vec<(Event, bool)> {
    let run = 4;
    let began = |cut| {
        (
            Event::CutStarted {
                run,
                cut,
                try_number: 1,
                from_mm: 0.0,
            },
            true,
        )
    };
    let arc_on = |cut| {
        let arc_on = Event::ArcOn {
            run,
            cut,
            at_s: 1.0,
            after_s: Some(0.3),
            volts: None,
        };
        (arc_on, false)
    };
    let reached = |cut, at_mm| {
        let arc_s = None;
        (
            Event::CutReached {
                run,
                cut,
                at_mm,
                arc_s,
            },
            false,
        )
    };
    let done = |cut, length_mm| {
        (
            Event::CutDone {
                run,
                cut,
                length_mm,
            },
            false,
        )
    };
    let started = Event::RunStarted {
        run,
        seal: "s".into(),
        name: "n".into(),
        cuts: 3,
    };
    vec![
        (started, true),
        began(1),
        arc_on(1),
        reached(1, 10.0),
        reached(1, 20.0),
        done(1, 40.0),
        began(2),
        arc_on(2),
        reached(2, 30.0),
        done(2, 50.0),
    ]
}

/// S-12.
#[test]
fn after_a_power_cut_nothing_lost_is_told_as_cut_and_all_that_may_be_cut_is_told() {
    let rows = a_run_as_it_is_recorded();
    // The power may go after any row; a full sync keeps all rows up to a durable one, and of those
    // after it any number may have come to the disk.
    for went in 1..=rows.len() {
        let synced = rows[..went].iter().rposition(|(_, durable)| *durable);
        let synced = synced.expect("the first row") + 1;
        for kept in synced..=went {
            let mut told: Vec<_> = rows[..kept].iter().map(|(e, _)| e.clone()).collect();
            told.push(Event::PowerCut);
            let u = Restored::from_events(told).unfinished.expect("not ended");
            let truth = Restored::from_events(rows[..went].iter().map(|(e, _)| e.clone()));
            let truth = truth.unfinished.expect("not ended");
            let case = format!("went after {went}, {kept} kept: {u:?}");
            for (cut, mm) in &u.sure_mm {
                assert!(truth.sure_mm.get(cut) >= Some(mm), "{case}");
            }
            assert!(u.done.is_subset(&truth.done), "{case}");
            // The arc burned in a cut that is not told as done: it may have come to its end.
            let begun = rows[..went]
                .iter()
                .any(|(e, _)| matches!(e, Event::CutStarted { cut, .. } if *cut == u.cut));
            assert_eq!(
                u.burning && u.cut_off,
                begun && !u.done.contains(&u.cut),
                "{case}"
            );
        }
    }
}

#[test]
fn after_a_power_cut_a_held_run_is_where_it_was_held() {
    let rows = a_run_as_it_is_recorded();
    let mut told: Vec<_> = rows[..8].iter().map(|(e, _)| e.clone()).collect();
    told.push(Event::ArcOff {
        run: 4,
        cut: 2,
        at_s: 2.0,
        arc_s: 1.0,
    });
    told.push(Event::Held {
        run: 4,
        cut: 2,
        at_mm: 12.0,
        sure_mm: 11.0,
        high_mm: Some(13.0),
        cause: Cause::ArcLost,
        place: None,
        volts: None,
        detail: None,
    });
    told.push(Event::PowerCut);
    let u = Restored::from_events(told).unfinished.expect("not ended");
    assert_eq!(
        (u.cut, u.sure(), u.burning, u.cut_off),
        (2, 11.0, false, false)
    );
}
