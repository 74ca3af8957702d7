use super::*;
use crate::cause::Cause;
use proptest::prelude::*;

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

/// Any event of the catalogue, with other numbers in it.
fn any_event() -> impl Strategy<Value = Event> {
    let each = crate::event::catalogue::one_of_each();
    let numbers = (1_u64..4, 1_u64..4, 0.0..90.0_f64);
    (0..each.len(), numbers).prop_map(move |(k, (run, cut, mm))| {
        let mut fields = serde_json::to_value(&each[k]).expect("a form");
        let named = fields.as_object_mut().expect("fields");
        for (name, value) in named.iter_mut().filter(|(_, value)| value.is_number()) {
            match name.as_str() {
                "run" => *value = run.into(),
                "cut" => *value = cut.into(),
                "at_mm" | "sure_mm" | "high_mm" | "from_mm" | "length_mm" | "arc_s" => {
                    *value = mm.into();
                }
                _ => {}
            }
        }
        serde_json::from_value(fields).expect("an event")
    })
}

proptest! {
    /// S-12.
    #[test]
    fn a_fold_that_was_kept_at_any_place_and_gone_on_from_is_the_fold_of_all(
        events in proptest::collection::vec(any_event(), 0..60),
    ) {
        let all = Restored::from_events(events.iter().cloned());
        for at in 0..=events.len() {
            let begun = Restored::from_events(events[..at].iter().cloned());
            let text = serde_json::to_string(&begun).expect("a form");
            let mut known: Restored = serde_json::from_str(&text).expect("it comes back");
            prop_assert_eq!(&known, &begun);
            for event in &events[at..] {
                known.take(event.clone());
            }
            prop_assert_eq!(&known, &all, "kept after {}", at);
        }
    }
}

/// If this differs, what an event does to the fold has changed: give [`Restored::FOLD`] a new number,
/// or a start goes on from what the old fold has made.
#[test]
fn the_fold_is_the_one_that_its_number_names() {
    let each = crate::event::catalogue::one_of_each();
    let mut known = Restored::default();
    let mut told = format!("fold {}\n", Restored::FOLD);
    // Twice: most events say nothing before a run has begun.
    for event in each.iter().chain(&each) {
        known.take(event.clone());
        let state = serde_json::to_string(&known).expect("a form");
        told.push_str(&format!("{}: {state}\n", event.name()));
    }
    insta::assert_snapshot!(told);
}
