//! Admission held against a tiny model, over random sequences of requests and mishaps.

use proptest::prelude::*;

use super::rig::{Rig, job};
use crate::ask::{Answer, Ask};
use crate::cause::Cause;
use crate::machine::checks;
use crate::view::Phase;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Run {
    None,
    Going,
    Held,
    Over,
}

/// What a person would keep in mind to know whether a request is taken.
#[derive(Clone, Copy, Debug)]
struct Model {
    loaded: bool,
    vouched: bool,
    tested: bool,
    doubtful: bool,
    homed: bool,
    pressed: bool,
    latched: bool,
    run: Run,
}

impl Model {
    fn rest(&self) -> bool {
        self.run != Run::Going
    }

    fn can_go_on(&self) -> bool {
        self.run == Run::Held && !self.latched && !self.doubtful && self.tested && !self.pressed
    }
}

#[derive(Clone, Copy, Debug)]
enum Op {
    Load,
    Unload,
    VouchAll,
    Start,
    Hold,
    Resume,
    Skip,
    End,
    Home,
    Confirm,
    Test,
    Press,
    Release,
    Clear,
}

const OPS: [Op; 14] = [
    Op::Load,
    Op::Unload,
    Op::VouchAll,
    Op::Start,
    Op::Hold,
    Op::Resume,
    Op::Skip,
    Op::End,
    Op::Home,
    Op::Confirm,
    Op::Test,
    Op::Press,
    Op::Release,
    Op::Clear,
];

fn settle(rig: &mut Rig) {
    rig.wait(0.15);
    rig.until(60.0, |r| {
        !matches!(r.phase(), Phase::Starting | Phase::Homing | Phase::Stopping)
            && !matches!(
                r.m.act,
                crate::machine::Act::Testing { .. } | crate::machine::Act::Parking(_)
            )
            && r.m.line.listens()
    });
    // A person waits for the self-test too: until the emergency stop is cleared it cannot pass.
    if !rig.m.alarms.any_latch() && !rig.table.wrong.estop {
        rig.until(10.0, |r| r.m.self_test.passed);
    }
    rig.wait(0.15);
}

/// With the start plug out. Refused where nobody may vouch, and then so is the test.
fn test_permit(rig: &mut Rig) -> Answer {
    rig.ask(Ask::Vouch {
        check: crate::CheckId::SourceOff,
        yes: true,
    });
    rig.ask(Ask::PermitTest)
}

fn play(rig: &mut Rig, m: &mut Model, op: Op) -> Result<(), TestCaseError> {
    let before = *m;
    let mut expect = None;
    let answer = match op {
        Op::Load => {
            let ok = m.rest() && m.run != Run::Held;
            expect = Some(ok);
            if ok {
                m.loaded = true;
                m.vouched = false;
                m.run = Run::None;
            }
            Some(rig.ask(Ask::Load { job: job() }))
        }
        Op::Unload => {
            let ok = m.rest() && m.run != Run::Held;
            expect = Some(ok);
            if ok {
                m.loaded = false;
                m.vouched = false;
                m.run = Run::None;
            }
            Some(rig.ask(Ask::Unload))
        }
        Op::VouchAll => {
            let ok = m.loaded && matches!(m.run, Run::None | Run::Over);
            for check in checks::VOUCHED {
                let answer = rig.ask(Ask::Vouch { check, yes: true });
                let refused = matches!(answer, Answer::Refused { .. });
                prop_assert!(
                    refused != ok || answer == Answer::AlreadySo,
                    "{op:?} {before:?} {answer:?}"
                );
            }
            m.vouched |= ok;
            None
        }
        Op::Start => {
            let ok = m.loaded
                && m.vouched
                && m.tested
                && !m.doubtful
                && !m.latched
                && !m.pressed
                && m.run == Run::None;
            expect = Some(ok);
            if ok {
                m.run = Run::Going;
            }
            Some(rig.ask(Ask::Start))
        }
        Op::Hold => {
            if m.run == Run::Going {
                m.run = Run::Held;
            }
            expect = Some(true);
            Some(rig.ask_seen(0, Ask::Hold { press: None }))
        }
        Op::Resume => {
            expect = Some(m.can_go_on());
            if m.can_go_on() {
                m.run = Run::Going;
            }
            let plan = rig
                .view()
                .hold
                .and_then(|_| rig.plans(0.0).plans.into_iter().next());
            let ask = plan.map_or(Ask::Resume { splice: None }, |p| rig.accept(&p));
            Some(rig.ask(ask))
        }
        Op::Skip => {
            // The second cut is the last: skipped, the run is over.
            let ok = m.can_go_on();
            expect = Some(ok);
            let last = rig.view().cut == Some(2);
            if ok {
                m.run = if last { Run::Over } else { Run::Going };
                m.vouched &= !last;
            }
            Some(rig.ask(Ask::SkipCut))
        }
        Op::End => {
            let ok = m.run == Run::Held;
            expect = Some(ok);
            if ok {
                m.run = Run::Over;
                m.vouched = false;
            }
            Some(rig.ask(Ask::EndJob))
        }
        Op::Home => {
            let ok = m.rest() && !m.latched && !m.pressed;
            expect = Some(ok);
            if ok {
                m.doubtful = true;
                m.homed = true;
            }
            Some(rig.ask(Ask::Home))
        }
        Op::Confirm => {
            let ok = m.rest() && m.doubtful && m.homed && !m.pressed;
            expect = Some(ok);
            if ok {
                m.doubtful = false;
            }
            Some(rig.ask(Ask::ConfirmPlace))
        }
        Op::Test => {
            let ok = m.rest() && !m.latched && !m.pressed;
            expect = Some(ok);
            m.tested |= ok;
            Some(test_permit(rig))
        }
        Op::Press => {
            rig.table.wrong.estop = true;
            m.pressed = true;
            m.latched = true;
            m.doubtful = true;
            m.homed = false;
            if m.run == Run::Going {
                m.run = Run::Held;
            }
            None
        }
        Op::Release => {
            rig.table.wrong.estop = false;
            m.pressed = false;
            None
        }
        Op::Clear => {
            let ok = m.latched && !m.pressed && m.rest();
            expect = Some(ok);
            m.latched &= !ok;
            Some(rig.ask(Ask::Clear {
                cause: Cause::Estop,
            }))
        }
    };
    if let (Some(ok), Some(answer)) = (expect, answer) {
        let refused = matches!(answer, Answer::Refused { .. });
        prop_assert_eq!(!refused, ok, "{:?} {:?} {:?}", op, before, answer);
    }
    settle(rig);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn requests_are_taken_exactly_when_a_person_would_expect_it(
        walk in prop::collection::vec(0..OPS.len(), 1..14),
        prepared in any::<bool>(),
    ) {
        let mut rig = Rig::new();
        let mut m = Model {
            loaded: false, vouched: false, tested: false, doubtful: true, homed: false,
            pressed: false, latched: false, run: Run::None,
        };
        settle(&mut rig);
        rig.prove_buttons();
        settle(&mut rig);
        if prepared {
            for op in [Op::Load, Op::Home, Op::Confirm, Op::Test, Op::VouchAll, Op::Start] {
                play(&mut rig, &mut m, op)?;
            }
            prop_assert_eq!(m.run, Run::Going);
        }
        for op in walk {
            play(&mut rig, &mut m, OPS[op])?;
            let phase = rig.phase();
            prop_assert_eq!(m.latched && m.rest(), phase == Phase::Latched, "{:?} {:?}", m, phase);
        }
        prop_assert_eq!(rig.table.violations, Vec::<String>::new());
    }
}
