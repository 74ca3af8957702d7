//! The contract with the screens, as files: written here, read by the tests of the console. If one
//! differs, do not write it anew at once: a screen that was loaded before an update speaks the old
//! messages. `STANDCLEAR_WRITE_FIXTURES=1 cargo test fixtures` writes them.

mod drawing;
mod plan;
mod review;
mod trace;

use std::path::Path;

use control::resume::{Barred, Lost, Plan, Plans, Proposal, Stop, Way};
use control::view::{
    Alarm, Allowed, ArcView, ChangeStep, ChangeView, CheckView, Choice, CutState, CutView,
    HoldRecord, HoldView, LinkView, Mark, Near, OutputsView, PartView, PartsView, Phase, Power,
    Step, TorchView, View, Waiting,
};
use control::{AlarmLevel, Answer, Ask, Cause, CheckId, Part, SetTag, Signals};
use program::{Finding, Report, Severity, Verdict};
use serde_json::{Map, Value, json};
use strum::VariantArray;
use units::{Bounds, Point, Segment};

use super::messages::*;
use crate::library::{Listed, LoadedJob};
use drawing::drawing;

fn part(starts: u32) -> PartView {
    PartView {
        part: Part::Nozzle,
        starts,
        failed: 2,
        lost: 1,
        arc_s: 1830.0,
        worn: Some(0.91),
    }
}

fn lead(from: Point, to: Point) -> Segment {
    Segment::Line { from, to }
}

fn stop() -> Stop {
    Stop {
        run: 7,
        number: 1,
        cut: 2,
        lost: Some(Lost {
            at_mm: 61.5,
            low_mm: 60.5,
            high_mm: 62.5,
        }),
        kerf_end_failed: false,
    }
}

fn ways() -> WaysOn {
    let kerf_end = Plan {
        id: "0123456789abcdef".into(),
        stop: stop(),
        entry_mm_s: 0.0,
        how: Proposal {
            way: Way::KerfEnd,
            from_mm: 60.75,
            second_mm: Some(61.8),
            pierces: false,
            overlap_mm: 1.75,
            ..Proposal::fresh(Point::new(131.75, 88.25), "The kerf is open up to there.")
        },
    };
    let lead_in = Plan {
        id: "fedcba9876543210".into(),
        stop: stop(),
        entry_mm_s: 18.0,
        how: Proposal {
            way: Way::LeadIn,
            entry: vec![lead(Point::new(136.0, 95.0), Point::new(131.5, 88.25))],
            from_mm: 60.2,
            overlap_mm: 2.3,
            ..Proposal::fresh(Point::new(136.0, 95.0), "A new pierce in the scrap.")
        },
    };
    WaysOn {
        v: VERSION,
        generation: 41,
        back_mm: 0.0,
        ways: Some(Plans {
            stop: stop(),
            plans: vec![kerf_end, lead_in],
            barred: vec![Barred {
                way: Way::Leave,
                why: "It is far from its end.".into(),
            }],
        }),
    }
}

fn signals() -> Signals {
    Signals {
        source_on: Some(true),
        air_ok: Some(true),
        volts: Some(0.5),
        ..Signals::default()
    }
}

fn parts() -> PartsView {
    PartsView {
        parts: vec![part(412)],
        fitted: Some(SetTag {
            tag: "40".into(),
            amps: 40.0,
        }),
        sets: vec![SetTag {
            tag: "40".into(),
            amps: 40.0,
        }],
        wanted_amps: Some(40.0),
        tested: true,
        supplies: None,
    }
}

fn change() -> ChangeView {
    ChangeView {
        step: ChangeStep::Contact,
        moving: false,
        parked: true,
        power: Power::CannotTell,
        power_at_s: None,
        vouched: true,
        changed: Some(vec![Part::Nozzle]),
        contact_closed: false,
        contact_seen: false,
        tested: false,
        by_touch: false,
        may_touch: true,
        off_mm: None,
        trouble: None,
        before: vec![part(412)],
    }
}

/// A view with something of everything: held by a lost arc in the second of three cuts.
pub(crate) fn view() -> View {
    let lost = Point::new(132.5, 88.25);
    let (what, why, remedy) = (
        "Arc went out on cut 2.",
        "arc signal gone for 31 ms, limit 30 ms",
        "Look at flag 1. Then pierce again a bit back.",
    );
    View {
        generation: 41,
        phase: Phase::Held,
        step: Some(Step::Cut),
        waiting_for: Waiting::YourMove,
        waited_s: 2.5,
        wait_limit_s: None,
        run: Some(7),
        seal: Some("00aa".into()),
        cut: Some(2),
        station_mm: Some(61.5),
        torch: TorchView {
            place: Some(lost),
            height_mm: Some(25.0),
            age_s: Some(0.05),
            feed_mm_s: Some(0.0),
            moving: false,
            arc: ArcView::Off,
            permit: false,
        },
        cuts: vec![
            CutView {
                state: CutState::Done,
                done: vec![[0.0, 40.0]],
            },
            CutView {
                state: CutState::Now,
                done: vec![[0.0, 60.5]],
            },
            CutView {
                state: CutState::ToDo,
                done: vec![],
            },
        ],
        entries: vec![vec![lead(
            Point::new(140.0, 92.0),
            Point::new(136.0, 88.25),
        )]],
        marks: vec![Mark {
            number: 1,
            cut: 2,
            at_mm: 61.5,
            place: lost,
            between_mm: Some([60.5, 62.5]),
            cause: Cause::ArcLost,
        }],
        hold: Some(HoldView {
            cause: Cause::ArcLost,
            cut: Some(2),
            at_mm: Some(61.5),
            what: what.into(),
            why: why.into(),
            remedy: remedy.into(),
            choices: vec![Choice::StepBack, Choice::Skip, Choice::End],
            ran_on_mm: Some(1.2),
            torch_down: Some(false),
            stop: Some(stop()),
        }),
        datum: None,
        alarms: vec![Alarm {
            cause: Cause::ArcLost,
            level: AlarmLevel::JobStopped,
            at_s: 62.31,
            first: true,
            seen: false,
            gone: true,
            latched: false,
            what: what.into(),
            why: why.into(),
            remedy: remedy.into(),
        }],
        checks: vec![
            CheckView {
                check: CheckId::AirGood,
                vouched: false,
                holds: Some(true),
                says: "air pressure is right".into(),
                remedy: "Check compressor and regulator.".into(),
            },
            CheckView {
                check: CheckId::ClampOnSkeleton,
                vouched: true,
                holds: None,
                says: "the ground clamp bites the piece that stays".into(),
                remedy: "Put the clamp on bright metal of the skeleton.".into(),
            },
        ],
        allowed: vec![
            Allowed {
                ask: "resume".into(),
                refused: None,
            },
            Allowed {
                ask: "start".into(),
                refused: Some("A run is under way.".into()),
            },
        ],
        left_s: Some(410.0),
        run_s: Some(62.3),
        arc_on_s: 20.5,
        pierces: 2,
        retries: vec![],
        faltered: vec![],
        holds: vec![held()],
        doubtful: false,
        near: near(),
        link: LinkView {
            alive: true,
            age_s: Some(0.04),
            referenced: true,
            resent: 0,
            bad_frames: 0,
        },
        signals: signals(),
        parts: parts(),
        change: Some(change()),
        self_test: self_test(),
        short_edges: short_edges(),
        commissioning: None,
        outputs: Some(OutputsView::default()),
    }
}

const fn held() -> HoldRecord {
    HoldRecord {
        cause: Cause::ArcLost,
        cut: 2,
        at_mm: 61.5,
        resumed_mm: None,
    }
}

const fn short_edges() -> control::view::ShortEdgesView {
    control::view::ShortEdgesView {
        last: Some(41),
        usual: Some(6.5),
        rising: true,
    }
}

fn self_test() -> control::view::SelfTestView {
    let item = |name: &str, holds, says: &str| control::view::SelfTestItem {
        name: name.into(),
        holds,
        says: says.into(),
    };
    control::view::SelfTestView {
        passed: false,
        items: vec![
            item("arc signal", Some(true), ""),
            item("float switch", Some(false), "the float switch is on"),
            item("line", None, "57 of 200 lines answered"),
        ],
        longest_ms: 7.25,
    }
}

fn near() -> Near {
    Near {
        safe: true,
        why: "Permit relay and arc are seen off. Nothing moves.".into(),
    }
}

fn listed() -> Listed {
    Listed {
        id: "demo/hinge-plates.nc".into(),
        name: "Hinge plates".into(),
        file: "hinge-plates.nc".into(),
        invented: true,
    }
}

fn report() -> Report {
    Report {
        verdict: Verdict::Warned,
        cuts: 1,
        pierces: 1,
        cut_mm: 60.0,
        rapid_mm: 140.0,
        time_s: Some(14.5),
        bounds: Some(Bounds {
            low: Point::new(100.0, 100.0),
            high: Point::new(160.0, 100.0),
        }),
        not_judged: vec!["air-short".into()],
        lacks: Vec::new(),
        findings: vec![Finding {
            rule: "near-edge".into(),
            severity: Severity::Warn,
            line: Some(12),
            column: Some(4),
            cut: Some(1),
            cuts: vec![1],
            at: Some(Point::new(100.0, 100.0)),
            says: "3.2 mm from the sheet's edge; the limit is 5 mm".into(),
            remedy: "Move the zero 2 mm inwards.".into(),
            under: None,
            more: 0,
        }],
    }
}

fn told() -> Vec<(&'static str, Value)> {
    let snapshot = Told::Snapshot {
        v: VERSION,
        n: 120,
        at_s: 64.8,
        table: Table {
            name: "practice table".into(),
            practice: true,
            opens_on: Some("demo/hinge-plates.nc".into()),
            lacks: Vec::new(),
        },
        view: Box::new(view()),
    };
    let mut set = Map::new();
    set.insert("generation".into(), json!(42));
    set.insert("phase".into(), json!("running"));
    set.insert("hold".into(), Value::Null);
    let delta = Told::Delta {
        v: VERSION,
        n: 121,
        at_s: 64.85,
        set,
        cuts: [(
            "1".into(),
            CutView {
                state: CutState::Now,
                done: vec![[0.0, 61.5], [58.0, 64.0]],
            },
        )]
        .into(),
    };
    let beat = Told::Delta {
        v: VERSION,
        n: 122,
        at_s: 64.9,
        set: Map::new(),
        cuts: [].into(),
    };
    let dropped = Told::Dropped {
        v: VERSION,
        missed: 37,
    };
    vec![
        ("snapshot", json!(snapshot)),
        ("delta", json!(delta)),
        ("beat", json!(beat)),
        ("dropped", json!(dropped)),
    ]
}

fn answers() -> Vec<(&'static str, Value)> {
    let answered = |answer| json!(Answered { v: VERSION, answer });
    let refused = Answer::Refused {
        reason: "stale".into(),
        says: "The screen showed an older state.".into(),
        remedy: "Look again, then press.".into(),
    };
    let trouble = Trouble {
        v: VERSION,
        field: "generation".into(),
        says: "is missing".into(),
        remedy: "Put this field right.".into(),
    };
    let programs = Programs {
        v: VERSION,
        programs: vec![listed()],
    };
    let program = ProgramRead {
        v: VERSION,
        listed: listed(),
        version: "c0ffee".into(),
        material: Some("mild-steel".into()),
        thickness_mm: Some(5.0),
        sheet: Some(Point::new(300.0, 250.0)),
        amps: Some(40.0),
        report: report(),
        plan: Some(plan::sample()),
        drawing: drawing(),
    };
    let job = JobDrawn {
        v: VERSION,
        job: LoadedJob {
            seal: "00aa".into(),
            name: "Hinge plates".into(),
            invented: true,
            material: "mild-steel".into(),
            thickness_mm: 5.0,
            amps: 40.0,
            volts: 120.0,
            pierce_delay_s: 0.6,
            accepted: 1,
            planned_s: 14.5,
            planned_cuts_s: vec![14.5],
            resume_back_mm: 5.0,
            drawing: drawing(),
        },
    };
    let events = Events {
        v: VERSION,
        events: vec![Event {
            id: 9,
            run: Some(7),
            at_s: 62.31,
            start: 3,
            wall_ms: 1_790_000_000_000,
            unsure: true,
            name: "arc-lost".into(),
            severity: "stop".into(),
            says: "Arc went out on cut 2.".into(),
            advice: None,
            trace: Some("start-3-62310000-62310000".into()),
        }],
    };
    vec![
        ("answer-accepted", answered(Answer::Accepted)),
        ("answer-already-so", answered(Answer::AlreadySo)),
        ("answer-refused", answered(refused)),
        ("trouble", json!(trouble)),
        ("programs", json!(programs)),
        ("program", json!(program)),
        ("job", json!(job)),
        ("ways", json!(ways())),
        ("events", json!(events)),
        ("trace", trace::trace()),
        ("checks", checks()),
    ]
}

/// What each check says, under its name.
fn checks() -> Value {
    let entry = |check: &CheckId| match json!(check) {
        Value::String(name) => (name, json!(control::words::check(*check).says)),
        other => panic!("no name: {other}"),
    };
    Value::Object(CheckId::VARIANTS.iter().map(entry).collect())
}

/// What a screen may ask: each must be understood here.
fn asks() -> Value {
    json!([
        { "kind": "unload" },
        { "kind": "vouch", "check": "clamp-on-skeleton", "yes": true },
        { "kind": "start" },
        { "kind": "hold" },
        { "kind": "hold", "press": 77 },
        { "kind": "hold-after-cut" },
        { "kind": "skip-cut" },
        { "kind": "end-job" },
        { "kind": "seen", "cause": "arc-lost" },
        { "kind": "clear", "cause": "estop" },
        { "kind": "home" },
        { "kind": "confirm-place" },
        { "kind": "datum-go" },
        { "kind": "datum-nudge", "dx_mm": -0.5, "dy_mm": 0.0 },
        { "kind": "datum-here" },
        { "kind": "hand-move", "axis": "x", "forward": true, "press": 78 },
        { "kind": "hand-move", "axis": "z", "forward": false, "press": 79, "step_mm": 0.1 },
        { "kind": "hand-stop" },
        { "kind": "hand-go", "to": "corner" },
        { "kind": "permit-test" },
        { "kind": "change-begin" },
        { "kind": "change-isolated" },
        { "kind": "change-parts", "parts": ["nozzle", "electrode", "shield", "swirl-ring"], "set": "40" },
        { "kind": "change-contact-by-touch" },
        { "kind": "change-source-on" },
        { "kind": "change-touch" },
        { "kind": "change-end" },
        { "kind": "change-cancel" },
        { "kind": "commission-step", "step": "inputs" },
        { "kind": "commission-answer", "yes": true },
        { "kind": "commission-leave" },
        { "kind": "lamp-test" },
    ])
}

#[test]
fn the_messages_are_as_the_screens_know_them() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/messages");
    let write = std::env::var_os("STANDCLEAR_WRITE_FIXTURES").is_some();
    let mut all = told();
    all.extend(answers());
    all.push(("asks", asks()));
    all.extend(review::messages());
    for (name, now) in all {
        let file = folder.join(format!("{name}.json"));
        let text = format!("{}\n", serde_json::to_string_pretty(&now).expect("JSON"));
        if write {
            std::fs::write(&file, text).expect("a file");
            continue;
        }
        let kept = std::fs::read_to_string(&file).unwrap_or_default();
        assert_eq!(
            kept, text,
            "{name}.json differs: the contract with the screens has changed"
        );
    }
}

#[test]
fn everything_that_a_screen_asks_is_understood() {
    let asks: Vec<ScreenAsk> = serde_json::from_value(asks()).expect("every one of them");
    assert_eq!(asks.len(), 32);
}

#[test]
fn a_job_cannot_be_asked_for_by_a_screen() {
    for kind in ["load", "Load"] {
        let ask = json!({ "kind": kind, "job": {} });
        assert!(serde_json::from_value::<ScreenAsk>(ask).is_err());
    }
    // Not even a whole one, and no way on.
    let demo = crate::library::demo("hinge-plates").expect("built in");
    let config = crate::config::Config::built_in();
    let prepared = crate::job::prepare(&config, "x", &demo.text, Some(demo.setup));
    let job = prepared.seal(&config.table(), &[]).expect("it is clear");
    for ask in [Ask::Load { job }, Ask::Resume { splice: None }] {
        let ask = serde_json::to_value(&ask).expect("it is JSON");
        assert!(serde_json::from_value::<Ask>(ask.clone()).is_ok());
        assert!(serde_json::from_value::<ScreenAsk>(ask).is_err());
    }
}
