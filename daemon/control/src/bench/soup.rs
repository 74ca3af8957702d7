//! Any soup of inputs from any state of a run: no panic, and what must never be sent is not sent.

use core::time::Duration;
use std::sync::OnceLock;

use proptest::prelude::*;
use units::Time;

use super::rig::{Rig, job, planned, settings};
use super::states::replay;
use crate::ask::{Ask, AskId, CheckId, HandAxis, HandMove, HandPlace};
use crate::cause::Cause;
use crate::guard::{EdgeInput, GuardOrder, GuardReport, Phase as Permit};
use crate::io::{Effect, Input, RecordId};
use crate::machine::Machine;
use crate::parts::Part;
use crate::signals::Signals;
use crate::view::{Phase, Step};

/// The inputs of a whole run with one hold in it.
fn run_log() -> &'static Vec<(Time, Input)> {
    static LOG: OnceLock<Vec<(Time, Input)>> = OnceLock::new();
    LOG.get_or_init(|| {
        let mut rig = Rig::new();
        rig.make_ready();
        rig.must(Ask::Start);
        rig.run_to(2, 30.0);
        rig.must(Ask::Hold { press: None });
        rig.until_held();
        rig.resume_as_offered();
        rig.finish();
        rig.log
    })
}

#[derive(Clone, Debug)]
enum Drop {
    Input(Input),
    Ask(Ask, bool),
    /// Goes on by the so-manieth plan, so much earlier.
    GoOn(usize, f64),
    Trip(Cause, u64, bool),
    Frame(String),
    Replayed,
}

fn hand_axis() -> impl Strategy<Value = HandAxis> {
    prop::sample::select(vec![HandAxis::X, HandAxis::Y, HandAxis::Z])
}

fn drops() -> impl Strategy<Value = (u64, Drop)> {
    let cause = || prop::sample::select(Cause::ALL.to_vec());
    let ask = prop_oneof![
        Just(Ask::Load { job: job() }),
        Just(Ask::Unload),
        Just(Ask::Start),
        (0_u64..3).prop_map(|press| Ask::Hold {
            press: (press > 0).then_some(crate::PressId(press)),
        }),
        Just(Ask::HoldAfterCut),
        Just(Ask::Resume { splice: None }),
        Just(Ask::SkipCut),
        Just(Ask::EndJob),
        cause().prop_map(|cause| Ask::Seen { cause }),
        cause().prop_map(|cause| Ask::Clear { cause }),
        Just(Ask::Home),
        Just(Ask::ConfirmPlace),
        Just(Ask::PermitTest),
        Just(Ask::LampTest),
        Just(Ask::DatumGo),
        Just(Ask::DatumHere),
        (-8.0_f64..8.0, -8.0_f64..8.0).prop_map(|(dx_mm, dy_mm)| Ask::DatumNudge { dx_mm, dy_mm }),
        (
            hand_axis(),
            any::<bool>(),
            0_u64..4,
            prop::option::of(0.0_f64..12.0)
        )
            .prop_map(|(axis, forward, press, step_mm)| Ask::HandMove(HandMove {
                axis,
                forward,
                press: crate::PressId(press),
                step_mm,
            })),
        Just(Ask::HandStop),
        Just(Ask::HandGo {
            to: HandPlace::Corner
        }),
        Just(Ask::ChangeBegin),
        Just(Ask::ChangeIsolated),
        any::<bool>().prop_map(|some| Ask::ChangeParts {
            parts: if some { vec![Part::Nozzle] } else { vec![] },
            set: some.then(|| "40".into()),
        }),
        Just(Ask::ChangeContactByTouch),
        Just(Ask::ChangeSourceOn),
        Just(Ask::ChangeTouch),
        Just(Ask::ChangeEnd),
        Just(Ask::ChangeCancel),
        any::<bool>().prop_map(|yes| Ask::Vouch {
            check: CheckId::SlatsClear,
            yes
        }),
    ];
    let signals = (any::<[bool; 8]>(), -300.0_f64..300.0).prop_map(|(b, v)| Signals {
        fire_on: b[0],
        arc_ok: b[1],
        contact: b[2],
        estop_open: b[3] && b[4],
        permit_closed: Some(b[5]),
        sense_isolated: Some(b[6]),
        air_ok: Some(b[7]),
        volts: Some(v),
        ..Signals::default()
    });
    let edge = prop::sample::select(vec![
        EdgeInput::FireOn,
        EdgeInput::ArcOk,
        EdgeInput::Contact,
    ]);
    let report = (
        0_u32..400,
        0_u32..400,
        0_u32..90,
        0_u64..30,
        0..6_usize,
        0_u64..60_000,
    )
        .prop_map(|(x, y, z, e, d, u)| {
            let doing = ["idle", "run", "hold", "home", "touch", "fault"][d];
            Drop::Frame(format!(
                "at x{x}.000 y{y}.000 z{z}.000 f0.0 {doing} e{e} w0 q0 t0 r{} u{u}",
                u % 2
            ))
        });
    let drop = prop_oneof![
        12 => Just(Drop::Replayed),
        2 => Just(Drop::Input(Input::Tick)),
        1 => Just(Drop::Input(Input::LinkOpened)),
        1 => Just(Drop::Input(Input::LinkLost { why: "gone".into() })),
        2 => prop::collection::vec(any::<u8>(), 0..40).prop_map(|bytes| Drop::Input(Input::Bytes { bytes })),
        3 => signals.prop_map(|signals| Drop::Input(Input::Signals { signals, seen: None })),
        2 => (edge, any::<bool>()).prop_map(|(input, level)| Drop::Input(Input::Guard {
            report: GuardReport::Edge { input, level, at: Time::ZERO, after: None } })),
        1 => any::<bool>().prop_map(|p| Drop::Input(Input::Guard { report: GuardReport::Tested { passed: Some(p) } })),
        1 => cause().prop_map(|cause| Drop::Input(Input::Guard { report: GuardReport::Cleared { cause } })),
        1 => (cause(), 1_u64..50, any::<bool>()).prop_map(|(c, e, l)| Drop::Trip(c, e, l)),
        1 => (0_u64..500).prop_map(|id| Drop::Input(Input::Durable { id: RecordId(id) })),
        1 => any::<bool>().prop_map(|there| Drop::Input(Input::Screen { there })),
        1 => Just(Drop::Input(Input::RecordFailed { why: "full".into() })),
        4 => (ask, prop::bool::weighted(0.8)).prop_map(|(a, fresh)| Drop::Ask(a, fresh)),
        3 => (0..4_usize, prop_oneof![Just(0.0), -5.0_f64..60.0, Just(f64::NAN)])
            .prop_map(|(k, back)| Drop::GoOn(k, back)),
        2 => report,
        1 => (1_u64..30).prop_map(|n| Drop::Frame(format!("taken {n}"))),
        1 => (1_u64..30).prop_map(|n| Drop::Frame(format!("touched {n} z5.400"))),
        1 => (1_u64..30).prop_map(|n| Drop::Frame(format!("refused {n} limit no"))),
        1 => Just(Drop::Frame("hello 3 plain".into())),
        1 => Just(Drop::Frame("alarm limit X".into())),
    ];
    (prop_oneof![8 => 0_u64..30, 1 => 0_u64..4000], drop)
}

fn frame(body: &str) -> Input {
    let mut t = super::table::Table::new();
    let _ = t.take_out();
    t.say(body);
    Input::Bytes {
        bytes: t.take_out(),
    }
}

/// What was told to the far end and the guard so far.
#[derive(Default)]
struct Watch {
    sense_on: bool,
    z: f64,
    permit: Permit,
}

impl Watch {
    fn see(&mut self, m: &Machine, effects: &[Effect]) -> Result<(), TestCaseError> {
        let step = m.cycle_step();
        for e in effects {
            match e {
                Effect::Guard {
                    order: GuardOrder::Phase { phase },
                } => {
                    self.permit = *phase;
                    if matches!(phase, Permit::Closing | Permit::Firing) {
                        prop_assert!(!m.alarms.any_latch(), "a permit with a latch");
                        prop_assert!(
                            matches!(step, Some(Step::Ready | Step::AwaitArc)),
                            "a permit in {step:?}"
                        );
                        prop_assert!(!m.reference.doubtful, "a permit at a doubtful place");
                    }
                }
                Effect::Write {
                    bytes,
                    take_away: false,
                } => {
                    for line in String::from_utf8_lossy(bytes).lines() {
                        self.line(line)?;
                    }
                }
                _ => {}
            }
        }
        let tries = job().cycle.fire_tries;
        prop_assert!(
            m.run.as_ref().is_none_or(|r| r.tries <= tries),
            "too many tries"
        );
        let asked = !matches!(self.permit, Permit::Off | Permit::Test);
        prop_assert!(
            !asked || m.phase() == Phase::Running,
            "permit asked in {:?}",
            m.phase()
        );
        Ok(())
    }

    fn line(&mut self, line: &str) -> Result<(), TestCaseError> {
        let text = line.splitn(3, ' ').nth(2).unwrap_or("");
        let safe = settings().slat_top_z + 5.0 + 25.0;
        if text.contains("sense on") {
            self.sense_on = true;
        } else if text.contains("sense off") {
            self.sense_on = false;
        } else if text.starts_with("M3") {
            prop_assert!(!self.sense_on, "torch on with the sensing circuit on");
            prop_assert_eq!(self.permit, Permit::Firing);
        } else if let Some(z) = text.split('Z').nth(1) {
            self.z = z
                .split(' ')
                .next()
                .and_then(|z| z.parse().ok())
                .unwrap_or(0.0);
        } else if text.starts_with("G0 X") {
            prop_assert!(self.z >= safe - 0.01, "rapid in the plane at {}", self.z);
        }
        Ok(())
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_soup_of_inputs_is_stood_and_never_fires_or_travels_where_it_must_not(
        part in 0.0_f64..1.0,
        soup in prop::collection::vec(drops(), 1..120),
    ) {
        let log = run_log();
        let n = (log.len() as f64 * part) as usize;
        let mut rest = log[n..].iter();
        let mut m = Machine::new(settings(), super::rig::dialect(), crate::Restored::default());
        let mut watch = Watch::default();
        let mut now = Time::ZERO;
        for (at, input) in &log[..n] {
            now = *at;
            let effects = m.step(now, input.clone());
            watch.see(&m, &effects.0)?;
        }
        for (ms, drop) in soup {
            now += Duration::from_millis(ms);
            let input = match drop {
                Drop::Input(input) => input,
                Drop::Ask(ask, fresh) => Input::Ask {
                    id: AskId(1),
                    generation: if fresh { m.generation() } else { 0 },
                    ask,
                },
                Drop::GoOn(k, back) => Input::Ask {
                    id: AskId(1),
                    generation: m.generation(),
                    ask: Ask::Resume { splice: planned(&m, now, k, back) },
                },
                Drop::Trip(cause, epoch, latched) => Input::Guard {
                    report: GuardReport::Tripped { cause, at: now, epoch, latched, unread: false },
                },
                Drop::Frame(body) => frame(&body),
                Drop::Replayed => match rest.next() {
                    Some((_, input)) => input.clone(),
                    None => Input::Tick,
                },
            };
            let effects = m.step(now, input);
            watch.see(&m, &effects.0)?;
            let _ = m.view(now);
            prop_assert!(m.deadline().is_none_or(|d| d + Duration::from_secs(1) > now));
        }
    }

    #[test]
    fn the_same_inputs_come_to_the_same_view(part in 0.0_f64..1.0) {
        let log = run_log();
        let n = (log.len() as f64 * part) as usize;
        let (a, b) = (replay(&log[..n]), replay(&log[..n]));
        let at = log.get(n).map_or(Time::from_ms(1_000_000), |(t, _)| *t);
        prop_assert_eq!(a.view(at), b.view(at));
    }

    #[test]
    fn inputs_survive_being_written_and_read(n in 0_usize..2000) {
        let log = run_log();
        let (_, input) = &log[n % log.len()];
        let text = serde_json::to_string(input).expect("writes");
        let back: Input = serde_json::from_str(&text).expect("reads");
        prop_assert_eq!(&back, input);
    }
}
