//! Requests at the edge of what is taken: asked for twice, as far as may be and a little further; and what
//! counts as news to whoever asks.

use super::rig::Rig;
use super::stories::running;
use crate::ask::Ask;
use crate::machine::admission::no::ChangeNo;
use crate::machine::admission::{Fingerprint, No, Yes, admit, renew};
use crate::machine::checks;
use crate::machine::datum::NUDGE_MM;
use crate::view::Phase;

#[test]
fn a_hold_after_this_cut_that_is_asked_for_again_is_so_already() {
    let mut rig = running();
    rig.run_to(1, 10.0);
    assert_eq!(admit(&rig.m, &Ask::HoldAfterCut), Ok(Yes::Do));
    rig.must(Ask::HoldAfterCut);
    assert_eq!(admit(&rig.m, &Ask::HoldAfterCut), Ok(Yes::AlreadySo));
    rig.until_held();
    assert_eq!(admit(&rig.m, &Ask::HoldAfterCut), Err(No::NotRunning));
}

#[test]
fn a_message_that_was_read_is_read_already() {
    let mut rig = running();
    rig.run_to(1, 10.0);
    rig.table.wrong.estop = true;
    rig.until_held();
    let cause = rig.view().alarms[0].cause;
    let seen = Ask::Seen { cause };
    assert_eq!(admit(&rig.m, &seen), Ok(Yes::Do));
    rig.must(seen.clone());
    assert_eq!(admit(&rig.m, &seen), Ok(Yes::AlreadySo));
}

#[test]
fn a_nudge_over_a_mark_is_taken_as_far_as_its_limit_and_no_further() {
    let mut rig = running();
    rig.run_to(1, 10.0);
    rig.table.wrong.estop = true;
    rig.until_held();
    rig.table.wrong.estop = false;
    rig.wait(0.5);
    rig.read();
    rig.clear_all();
    rig.must(Ask::Home);
    rig.until(30.0, |r| r.phase() != Phase::Homing);
    rig.must(Ask::DatumGo);
    rig.until(30.0, |r| r.view().datum.is_some_and(|d| d.over));
    let nudge = |dx_mm: f64, dy_mm: f64| admit(&rig.m, &Ask::DatumNudge { dx_mm, dy_mm });
    assert_eq!(nudge(NUDGE_MM, 0.0), Ok(Yes::Do));
    assert_eq!(nudge(-0.6 * NUDGE_MM, 0.8 * NUDGE_MM), Ok(Yes::Do));
    for (dx, dy) in [
        (1.01 * NUDGE_MM, 0.0),
        (-0.8 * NUDGE_MM, -0.8 * NUDGE_MM),
        (0.0, f64::INFINITY),
        (f64::NAN, 0.0),
    ] {
        assert_eq!(nudge(dx, dy), Err(No::NudgeTooLong), "{dx}, {dy}");
    }
}

#[test]
fn each_word_that_the_operator_gives_is_news() {
    let mut rig = Rig::new();
    rig.make_ready();
    let open: Vec<_> = checks::to_vouch(&rig.m).collect();
    assert!(open.len() > 1, "{open:?}");
    for check in &open {
        rig.m.readiness.withdraw(*check);
    }
    for check in open {
        let mut seen = Fingerprint::default();
        renew(&mut seen, &rig.m);
        rig.m.readiness.confirm(check, rig.m.now);
        assert!(renew(&mut seen, &rig.m), "{check:?}");
        assert!(!renew(&mut seen, &rig.m), "{check:?}: nothing new");
    }
}

#[test]
fn parts_are_touched_only_where_neither_contact_nor_volts_speak_of_a_live_torch() {
    let mut rig = running();
    rig.run_to(1, 10.0);
    rig.must(Ask::Hold { press: None });
    rig.until_held();
    rig.must(Ask::ChangeBegin);
    rig.until(30.0, |r| r.view().change.is_some_and(|c| !c.moving));
    let mut says = |source_on: Option<bool>, volts: Option<f64>| {
        (rig.m.signals.source_on, rig.m.signals.volts) = (source_on, volts);
        admit(&rig.m, &Ask::ChangeIsolated)
    };
    let (off, dead) = (Some(false), Some(0.0));
    assert_eq!(says(off, dead), Ok(Yes::Do));
    assert_eq!(says(off, None), Ok(Yes::Do));
    assert_eq!(
        says(None, None),
        Ok(Yes::Do),
        "the operator's look is all there is"
    );
    let there: No = ChangeNo::VoltsThere.into();
    for volts in [Some(250.0), Some(-250.0)] {
        for source_on in [off, None, Some(true)] {
            assert_eq!(
                says(source_on, volts),
                Err(there),
                "{source_on:?} {volts:?}"
            );
        }
    }
    assert_eq!(says(Some(true), dead), Err(ChangeNo::PowerOn.into()));
    assert_eq!(says(Some(true), None), Err(ChangeNo::PowerOn.into()));
}
