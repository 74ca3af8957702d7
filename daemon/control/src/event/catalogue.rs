//! The catalogue as a person reviews it: a number or a name that changes is a mistake.

use std::fmt::Write as _;

use process::commissioning::Step;
use units::{Placement, Point};

use super::{Event, Outcome, Restored};
use crate::ask::{CheckId, HandAxis, ResumeFrom};
use crate::cause::Cause;
use crate::datum::{DatumMark, Feature};
use crate::parts::Part;

pub fn one_of_each() -> Vec<Event> {
    let cause = Cause::ArcLost;
    let (run, cut) = (7, 3);
    vec![
        Event::PanelStarted,
        Event::LinkOpened,
        Event::LinkLost {
            why: "it fell silent".into(),
        },
        Event::LinkReady,
        Event::ControllerGreeting,
        Event::ControllerAlarm {
            words: "limit X".into(),
        },
        Event::ControllerRefused {
            words: "beyond travel".into(),
        },
        Event::JobLoaded {
            seal: "aabbccddeeff00112233".into(),
            name: "gate hinge".into(),
        },
        Event::JobUnloaded {
            seal: "aabb".into(),
        },
        Event::Vouched {
            check: CheckId::SlatsClear,
            yes: true,
        },
        Event::PermitTested { passed: Some(true) },
        Event::HomingStarted,
        Event::Homed,
        Event::PlaceDoubted {
            cause: Some(Cause::Estop),
        },
        Event::PlaceProven,
        Event::PlaceConfirmed,
        Event::RunStarted {
            run,
            seal: "aabb".into(),
            name: "gate hinge".into(),
            cuts: 36,
        },
        Event::RunTakenUp {
            run,
            cut,
            from_mm: 41.25,
            at_mm: Some(46.5),
            high_mm: Some(46.8),
        },
        Event::CutStarted {
            run,
            cut,
            try_number: 1,
            from_mm: 0.0,
        },
        Event::TouchedOff {
            run,
            cut,
            z_mm: 5.432,
            by_float: false,
        },
        Event::FireAsked { run, cut },
        Event::ArcOn {
            run,
            cut,
            at_s: 12.5,
            after_s: Some(0.37),
            volts: Some(113.0),
        },
        Event::ArcOff {
            run,
            cut,
            at_s: 20.5,
            arc_s: 8.0,
        },
        Event::CutReached {
            run,
            cut,
            at_mm: 18.0,
            arc_s: Some(1.5),
        },
        Event::CutDone {
            run,
            cut,
            length_mm: 41.0,
        },
        Event::Held {
            run,
            cause,
            cut,
            at_mm: 22.0,
            sure_mm: 21.0,
            place: Some(Point::new(1.0, 2.0)),
            volts: Some(128.0),
            high_mm: Some(23.0),
            detail: None,
        },
        Event::HoldExplained {
            run,
            was: Cause::LinkCut,
            cause: Cause::ControllerReset,
        },
        Event::Retry {
            run,
            cut,
            cause: Cause::NoArc,
            try_number: 2,
        },
        Event::Resumed {
            run,
            cut,
            way: Some(ResumeFrom::Back { mm: 5.0 }),
            from_mm: 17.0,
            plan: None,
        },
        skipped(run, cut),
        Event::RunEnded {
            run,
            outcome: Outcome::Finished,
            cuts_done: 36,
            cuts: 36,
            holds: 1,
            pierces: 37,
            arc_on_s: 300.0,
            run_s: 510.0,
        },
        interrupted(run, cut),
        Event::LatchSet {
            cause: Cause::Estop,
            at_s: 3.0,
            detail: None,
        },
        Event::LatchCleared {
            cause: Cause::Estop,
        },
        Event::CauseFollowed { cause, at_s: 3.1 },
        Event::AlarmSeen { cause },
        Event::Refused {
            ask: "start".into(),
            reason: "check".into(),
        },
        Event::RecordFailed {
            why: "no space".into(),
        },
    ]
}

fn interrupted(run: u64, cut: usize) -> Event {
    Event::RunInterrupted {
        run,
        cut,
        sure_mm: 21.0,
        cut_off: false,
    }
}

fn skipped(run: u64, cut: usize) -> Event {
    let sure_mm = 21.0;
    Event::Skipped { run, cut, sure_mm }
}

/// What came after the first edition.
fn later() -> Vec<Event> {
    let run = Some(7);
    vec![
        Event::PlaceFound {
            run: 7,
            cut: 3,
            at_mm: 43.5,
            sure_mm: Some(43.0),
            high_mm: Some(44.0),
        },
        Event::ChangeBegun { run },
        Event::ChangePlace { run, parked: true },
        Event::SourceIsolated { run, seen: false },
        Event::PartsChanged {
            run,
            parts: vec![Part::Nozzle, Part::SwirlRing],
            set: Some("40".into()),
            amps: Some(40.0),
        },
        Event::ContactTested {
            run,
            by_touch: true,
        },
        Event::SourceBack { run, seen: true },
        Event::TouchCompared {
            run,
            z_mm: 25.1,
            off_mm: Some(-0.62),
        },
        Event::ChangeEnded {
            run,
            cancelled: false,
        },
        Event::TabLeft {
            run: 7,
            cut: 3,
            from_mm: 22.0,
            to_mm: 24.5,
            tab_mm: 1.0,
        },
        Event::DatumSeen {
            mark: DatumMark {
                place: Point::new(20.0, 30.0),
                feature: Feature::HoleCentre,
                cut: Some(1),
            },
            dx_mm: 0.8,
            dy_mm: -0.4,
        },
        Event::DatumFitted {
            off_mm: 0.9,
            residual_mm: 0.1,
            sheet_at: Some(Placement {
                origin: Point::new(50.8, 59.6),
                rotation_deg: 0.01,
            }),
        },
        Event::HoldPressed { button: true },
        Event::PermitTestBroken {
            cause: Some(Cause::Hold),
        },
        Event::TakeAwayLate {
            late_ms: 12,
            refused: 11,
            lost: 0,
        },
        Event::EdgesMissed { edges: 300 },
        Event::PowerCut,
        Event::TouchSkipped {
            run: 7,
            cut: 3,
            z_mm: 5.432,
        },
        Event::SelfTested {
            failed: vec!["the float switch is on".into()],
            trips: 200,
            longest_ms: 7.25,
            bad: 0,
        },
        Event::ShortEdges {
            run: 7,
            cut: 3,
            edges: 41,
            usual: Some(6.0),
        },
        Event::RecordLost {
            why: "recordings lie there, and no journal".into(),
        },
        Event::HandMoved {
            axis: HandAxis::Z,
            forward: true,
            step_mm: Some(0.1),
        },
        Event::Commissioned {
            step: Step::Inputs,
            passed: false,
            measured: "arc_ok changed while fire_on was worked: their wires are crossed.".into(),
            covered: "aabb".into(),
            simulated: false,
        },
        Event::CameCommissioned {
            covered: [(Step::Papers, "aabb".into())].into(),
        },
        Event::DryFire,
        Event::Faltered {
            run: 7,
            cut: 3,
            mm_s: 99.0,
            wanted_mm_s: 150.0,
        },
        Event::OutputFailed {
            output: crate::Output::Beacon,
            why: "the line is in use".into(),
        },
        Event::OutputWorks {
            output: crate::Output::Beacon,
        },
        Event::LampsTested,
    ]
}

fn each() -> Vec<Event> {
    let mut all = one_of_each();
    all.extend(later());
    all
}

#[test]
fn the_catalogue_is_closed_and_its_numbers_are_for_ever() {
    let all = each();
    let mut page = String::new();
    for (i, e) in all.iter().enumerate() {
        assert_eq!(usize::from(e.id()), i + 1, "{e:?}");
        let _ = writeln!(
            page,
            "{:>2} {} [{:?}] {}{}",
            e.id(),
            e.name(),
            e.severity(),
            e.says(),
            e.advice().map(|a| format!(" | {a}")).unwrap_or_default()
        );
    }
    insta::assert_snapshot!(page);
}

#[test]
fn events_survive_being_written_and_read_and_carry_their_name() {
    for e in each() {
        let text = serde_json::to_string(&e).expect("writes");
        assert!(
            text.contains(&format!("\"event\":\"{}\"", e.name())),
            "{text}"
        );
        assert_eq!(serde_json::from_str::<Event>(&text).expect("reads"), e);
    }
}

#[test]
fn the_fold_keeps_latches_doubt_and_the_place_surely_cut() {
    let (run, cut) = (4, 2);
    let known = Restored::from_events([
        Event::PlaceConfirmed,
        Event::RunStarted {
            run,
            seal: "s".into(),
            name: "n".into(),
            cuts: 5,
        },
        Event::CutStarted {
            run,
            cut: 1,
            try_number: 1,
            from_mm: 0.0,
        },
        Event::CutDone {
            run,
            cut: 1,
            length_mm: 40.0,
        },
        Event::CutStarted {
            run,
            cut,
            try_number: 1,
            from_mm: 0.0,
        },
        Event::CutReached {
            run,
            cut,
            at_mm: 12.0,
            arc_s: None,
        },
        Event::CutReached {
            run,
            cut,
            at_mm: 30.0,
            arc_s: None,
        },
        Event::LatchSet {
            cause: Cause::Estop,
            at_s: 1.0,
            detail: None,
        },
        Event::LatchSet {
            cause: Cause::GateOpen,
            at_s: 1.0,
            detail: None,
        },
        Event::LatchCleared {
            cause: Cause::GateOpen,
        },
    ]);
    assert_eq!(known.latches.iter().collect::<Vec<_>>(), [&Cause::Estop]);
    assert!(!known.doubtful);
    let open = known.unfinished.expect("not ended");
    assert_eq!(
        (open.run, open.cut, open.sure(), open.cuts),
        (4, 2, 30.0, 5)
    );
    assert!(open.done.contains(&1));
}

#[test]
fn an_ended_run_is_not_offered_and_what_cannot_be_read_is_doubted() {
    let run = 4;
    let known = Restored::from_events([
        Event::RunStarted {
            run,
            seal: "s".into(),
            name: "n".into(),
            cuts: 5,
        },
        Event::RunEnded {
            run,
            outcome: Outcome::Ended,
            cuts_done: 0,
            cuts: 5,
            holds: 0,
            pierces: 0,
            arc_on_s: 0.0,
            run_s: 1.0,
        },
    ]);
    assert_eq!(known.unfinished, None);
    assert_eq!(known.last_run, 4);
    assert!(known.doubtful, "nobody ever confirmed it");
    assert!(Restored::unreadable().doubtful);
}
