//! Machine, guard and table in one loop of one millisecond: what the service does, and no more.

use core::time::Duration;
use std::sync::Arc;

use link::{Dialect, PLAIN};
use planning::{Job, JobCut, JobElement, Stock};
use process::{ChartRow, CycleSettings};
use units::{Point, Segment, Time};

use super::table::{TOP_Z, Table};
use crate::Cause;
use crate::ask::{Answer, Ask, AskId};
use crate::event::{Event, Restored};
use crate::guard::{GuardRules, GuardSettings, Phase as Permit};
use crate::io::{Effect, Input, RecordId};
use crate::machine::Machine;
use crate::parts::SetTag;
use crate::resume::{Plan, Plans, Splice, Way};
use crate::settings::{ArcEdge, EstopProof, Settings};
use crate::view::{Phase, View};

pub(crate) fn dialect() -> Arc<Dialect> {
    Arc::new(Dialect::from_toml(PLAIN).expect("the shipped dialect reads"))
}

pub(crate) fn settings() -> Settings {
    Settings {
        guard: GuardSettings::default(),
        sheet_corner: Point::new(50.0, 60.0),
        slat_top_z: 0.0,
        top_z: TOP_Z,
        travel: Some(Point::new(1300.0, 1300.0)),
        rapid_mm_s: 200.0,
        rapid_z_mm_s: 50.0,
        accel_mm_s2: 400.0,
        baud: 115_200,
        link_silence_ms: 250,
        estop: EstopProof {
            latching: false,
            told_to_controller: true,
        },
        arc_edge: ArcEdge::default(),
        park: Point::new(0.0, 0.0),
        change: Some(Point::new(20.0, 10.0)),
        sets: vec![
            SetTag {
                tag: "40".into(),
                amps: 40.0,
            },
            SetTag {
                tag: "55".into(),
                amps: 55.0,
            },
        ],
        screen_lost_after_cut: false,
        supplies: Some(process::Set::default()),
        commissioning: None,
        outputs: crate::OutputSettings::default(),
    }
}

/// Two cuts: a full circle with a straight lead-in, and a line in three pieces.
pub(crate) fn job() -> Arc<Job> {
    job_named("two cuts", "aa11")
}

pub(crate) fn job_named(name: &str, seal: &str) -> Arc<Job> {
    let p = Point::new;
    let el = |segment| JobElement {
        segment,
        feed_mm_s: 20.0,
        line: 1,
    };
    let line = |from, to| el(Segment::Line { from, to });
    let circle = el(Segment::Arc {
        from: p(120.0, 100.0),
        to: p(120.0, 100.0),
        centre: p(100.0, 100.0),
        clockwise: false,
    });
    Arc::new(Job {
        seal: serde_json::from_str(&format!("\"{seal}\"")).expect("a seal for a test"),
        name: name.into(),
        sheet: p(400.0, 300.0),
        thickness_mm: 5.0,
        row: ChartRow {
            name: "invented".into(),
            material: "mild-steel".into(),
            amps: 40.0,
            thickness_mm: 5.0,
            feed_mm_min: 1200.0,
            pierce_height_mm: 3.5,
            cut_height_mm: 1.5,
            pierce_delay_s: 0.4,
            volts: 113.0,
            kerf_mm: 1.45,
        },
        cycle: CycleSettings::default(),
        cuts: vec![
            JobCut {
                pierce: p(112.0, 100.0),
                path: vec![line(p(112.0, 100.0), p(120.0, 100.0)), circle],
                crossings: Vec::new(),
                freed_by: None,
            },
            JobCut {
                pierce: p(200.0, 50.0),
                path: vec![
                    line(p(200.0, 50.0), p(230.0, 50.0)),
                    line(p(230.0, 50.0), p(230.0, 90.0)),
                    line(p(230.0, 90.0), p(260.0, 90.0)),
                ],
                crossings: Vec::new(),
                freed_by: None,
            },
        ],
        planned_s: 30.0,
        planned_cuts_s: vec![15.0, 15.0],
        stock: Some(stock()),
        waits: Vec::new(),
    })
}

/// The so-manieth way on from the stop in hand, accepted and sealed.
pub(crate) fn planned(m: &Machine, now: Time, k: usize, back_mm: f64) -> Option<Arc<Splice>> {
    let loaded = m.loaded.as_ref()?;
    let plans = crate::plans(&loaded.job, &m.view(now), back_mm)?;
    let plan = plans.plans.into_iter().nth(k)?;
    Some(Arc::new(plan.seal(&loaded.job, "a test").ok()?))
}

fn stock() -> Stock {
    Stock {
        setup: program::Setup::from_toml(
            "material = \"mild-steel\"\nthickness = 5\nsheet = [400, 300]\norigin = [0, 0]\nclamp = [350, 250]\n",
        )
        .expect("a setup"),
        kerf_mm: Some(1.45),
        travel: Point::new(1300.0, 1300.0),
        sheet_corner: settings().sheet_corner,
        slats: program::Slats::default(),
    }
}

pub(crate) struct Rig {
    pub m: Machine,
    pub guard: GuardRules,
    pub table: Table,
    pub now: Time,
    lease: Time,
    port: bool,
    drop_lines: bool,
    written_epoch: u64,
    handled: u64,
    pub events: Vec<Event>,
    pub answers: Vec<Answer>,
    pub permits: Vec<Permit>,
    /// What the optional outputs were told, and when.
    pub outputs: Vec<(Time, crate::OutputLevels)>,
    /// How often the guard was told that torch-off was carried out.
    pub torch_off_told: usize,
    pub disk_dead: bool,
    /// A record is on the disk so long after it was written; `None`: at once.
    pub disk_late: Option<Duration>,
    /// Records that wait to be on the disk, and those that are.
    waiting: Vec<(Time, RecordId)>,
    pub kept: std::collections::BTreeSet<RecordId>,
    /// The start record of each try.
    pub starts: Vec<RecordId>,
    /// Bends what is read of the wires.
    pub bend: Option<fn(&mut crate::Signals)>,
    /// Edges too short for their debounce so far.
    pub short_edges: Option<u64>,
    /// The volts have a converter of their own, and it was last read then.
    pub volts_read: Option<Time>,
    /// The machine is not stepped until its lease has lapsed.
    pub stall: bool,
    /// The guard is kept from its steps until then.
    pub asleep: Time,
    /// Every input with its moment: enough to come to the same state again.
    pub log: Vec<(Time, Input)>,
    next_ask: u64,
    to_guard: Vec<crate::guard::GuardOrder>,
    to_machine: Vec<Input>,
    last_signals: Option<crate::Signals>,
    signals_at: Time,
}

impl Rig {
    pub(crate) fn new() -> Self {
        Self::with(Restored::default(), Table::new())
    }

    pub(crate) fn with(restored: Restored, table: Table) -> Self {
        Self {
            m: Machine::new(settings(), dialect(), restored),
            guard: GuardRules::new(GuardSettings::default()),
            table,
            now: Time::ZERO,
            lease: Time::ZERO,
            port: false,
            drop_lines: false,
            written_epoch: 0,
            handled: 0,
            events: Vec::new(),
            answers: Vec::new(),
            permits: Vec::new(),
            outputs: Vec::new(),
            torch_off_told: 0,
            disk_dead: false,
            disk_late: None,
            waiting: Vec::new(),
            kept: std::collections::BTreeSet::new(),
            starts: Vec::new(),
            bend: None,
            short_edges: None,
            volts_read: None,
            stall: false,
            asleep: Time::ZERO,
            log: Vec::new(),
            next_ask: 0,
            to_guard: Vec::new(),
            to_machine: Vec::new(),
            last_signals: None,
            signals_at: Time::ZERO,
        }
    }

    /// The same table with a new service on it.
    pub(crate) fn restart(self) -> Self {
        let restored = Restored::from_events(self.events.iter().cloned());
        let mut rig = Self::with(restored, self.table);
        rig.now = self.now;
        rig.events = self.events;
        rig
    }

    pub(crate) fn view(&self) -> View {
        self.m.view(self.now)
    }

    pub(crate) fn phase(&self) -> Phase {
        self.view().phase
    }

    /// One millisecond of table, guard and machine.
    pub(crate) fn tick(&mut self) {
        self.now += Duration::from_millis(1);
        self.let_disk_write();
        self.table.tick(self.now);
        let mut signals = self.table.signals();
        if let Some(bend) = self.bend {
            bend(&mut signals);
        }
        let asleep = self.now < self.asleep;
        if !asleep {
            self.run_guard(signals);
        }
        if self.stall && self.now <= self.lease {
            let _ = self.table.take_out();
            return;
        }
        self.stall = false;
        let changed = self.last_signals != Some(signals);
        if !asleep && (changed || self.now.since(self.signals_at).as_millis() >= 50) {
            self.signals_at = self.now;
            self.last_signals = Some(signals);
            let told = self.short_edges.is_some() || self.volts_read.is_some();
            self.to_machine.push(Input::Signals {
                signals,
                seen: told.then(|| crate::Seen {
                    short_edges: self.short_edges.unwrap_or(0),
                    volts: self.volts_read,
                    ..crate::Seen::at(self.now)
                }),
            });
        }
        let bytes = self.table.take_out();
        if self.port && !bytes.is_empty() {
            self.to_machine.push(Input::Bytes { bytes });
        }
        if self.to_machine.is_empty() && self.m.deadline().is_some_and(|t| self.now >= t) {
            self.to_machine.push(Input::Tick);
        }
        let mut rounds = 0;
        while !self.to_machine.is_empty() || !self.to_guard.is_empty() {
            for input in core::mem::take(&mut self.to_machine) {
                self.step(input);
            }
            if asleep && self.to_machine.is_empty() {
                break;
            }
            if !asleep && !self.to_guard.is_empty() {
                self.run_guard(signals);
            }
            rounds += 1;
            assert!(rounds < 50, "machine and guard never come to rest");
        }
    }

    fn run_guard(&mut self, signals: crate::Signals) {
        for order in self.to_guard.drain(..) {
            if let crate::guard::GuardOrder::Handled { epoch } = order {
                self.handled = epoch;
            }
            self.guard.order(self.now, &order);
        }
        let out = self
            .guard
            .step(self.now, &signals, crate::Opened::default(), self.lease);
        self.table.permit(out.permit_level);
        if out.take_away && self.port {
            self.table.hear(&[0x9C, 0x87]);
        }
        self.written_epoch = out.epoch;
        self.drop_lines = out.epoch != self.handled;
        self.to_machine.extend(
            out.reports
                .into_iter()
                .map(|report| Input::Guard { report }),
        );
    }

    pub(crate) fn step(&mut self, input: Input) {
        self.log.push((self.now, input.clone()));
        let effects = self.m.step(self.now, input);
        self.lease = self.now + Duration::from_millis(200);
        let mut record_seen = false;
        for effect in effects.0 {
            match effect {
                Effect::Write { bytes, take_away } => {
                    assert!(!record_seen, "a record before a write");
                    let pending = self.to_guard.iter().any(|o| {
                        matches!(o, crate::guard::GuardOrder::Handled { epoch } if *epoch == self.written_epoch)
                    });
                    if self.port && (take_away || !self.drop_lines || pending) {
                        self.table.hear(&bytes);
                    }
                }
                Effect::OpenLink => {
                    self.port = !self.table.wrong.unplugged;
                    self.to_machine.push(if self.port {
                        self.table.take_out();
                        Input::LinkOpened
                    } else {
                        Input::LinkLost {
                            why: "no such port".into(),
                        }
                    });
                }
                Effect::CloseLink => self.port = false,
                Effect::Guard { order } => {
                    match &order {
                        crate::guard::GuardOrder::Phase { phase } => self.permits.push(*phase),
                        crate::guard::GuardOrder::Doing { torch_off_done, .. } => {
                            self.torch_off_told += usize::from(*torch_off_done);
                        }
                        _ => {}
                    }
                    self.to_guard.push(order);
                }
                Effect::Record { id, event, durable } => {
                    record_seen = true;
                    self.keep(id, event, durable);
                }
                Effect::Outputs { levels } => self.outputs.push((self.now, levels)),
                Effect::Publish => {}
                Effect::Answer { answer, .. } => self.answers.push(answer),
            }
        }
    }

    fn keep(&mut self, id: RecordId, event: Event, durable: bool) {
        if self.disk_dead {
            self.to_machine.push(Input::RecordFailed {
                why: "no space".into(),
            });
            return;
        }
        if matches!(event, Event::CutStarted { .. }) {
            self.starts.push(id);
        }
        self.events.push(event);
        if durable {
            let late = self.disk_late.unwrap_or_default();
            self.waiting.push((self.now + late, id));
            self.let_disk_write();
        }
    }

    /// Records whose time has come are on the disk.
    fn let_disk_write(&mut self) {
        let now = self.now;
        let (due, later) = self.waiting.drain(..).partition(|(at, _)| *at <= now);
        self.waiting = later;
        let due: Vec<(Time, RecordId)> = due;
        for (_, id) in due {
            self.kept.insert(id);
            self.to_machine.push(Input::Durable { id });
        }
    }

    pub(crate) fn unplug(&mut self) {
        self.table.wrong.unplugged = true;
        if self.port {
            self.port = false;
            self.to_machine.push(Input::LinkLost {
                why: "hung up".into(),
            });
        }
    }

    pub(crate) fn ask(&mut self, ask: Ask) -> Answer {
        let generation = self.m.generation();
        self.ask_seen(generation, ask)
    }

    pub(crate) fn ask_seen(&mut self, generation: u64, ask: Ask) -> Answer {
        self.next_ask += 1;
        self.step(Input::Ask {
            id: AskId(self.next_ask),
            generation,
            ask,
        });
        self.answers.pop().expect("every request is answered")
    }

    #[track_caller]
    pub(crate) fn must(&mut self, ask: Ask) {
        let answer = self.ask(ask.clone());
        assert!(
            answer == Answer::Accepted,
            "{ask:?}: {answer:?}\n{:#?}",
            self.view()
        );
    }

    /// Runs until something is so, at most this many seconds.
    #[track_caller]
    pub(crate) fn until(&mut self, limit_s: f64, what: impl Fn(&Self) -> bool) {
        let end = self.now + Duration::from_secs_f64(limit_s);
        while !what(self) {
            assert!(
                self.now < end,
                "not so after {limit_s} s: {:#?}\n{:?}",
                self.view(),
                self.events.iter().rev().take(12).collect::<Vec<_>>()
            );
            self.tick();
        }
    }

    pub(crate) fn wait(&mut self, s: f64) {
        let end = self.now + Duration::from_secs_f64(s);
        while self.now < end {
            self.tick();
        }
    }

    /// Starts and runs until the torch is so far along a cut (from 1).
    #[track_caller]
    pub(crate) fn run_to(&mut self, cut: usize, mm: f64) {
        self.until(60.0, |r| {
            let v = r.view();
            v.cut == Some(cut)
                && v.step == Some(crate::view::Step::Cut)
                && v.station_mm.is_some_and(|s| s >= mm)
        });
    }

    #[track_caller]
    pub(crate) fn until_held(&mut self) -> View {
        self.until(30.0, |r| matches!(r.phase(), Phase::Held | Phase::Latched));
        self.view()
    }

    /// The ways on from the stop in hand.
    #[track_caller]
    pub(crate) fn plans(&self, back_mm: f64) -> Plans {
        let loaded = self.m.loaded.as_ref().expect("a job");
        crate::plans(&loaded.job, &self.view(), back_mm).expect("it stands")
    }

    #[track_caller]
    pub(crate) fn accept(&self, plan: &Plan) -> Ask {
        let loaded = self.m.loaded.as_ref().expect("a job");
        let splice = plan.clone().seal(&loaded.job, "a test").expect("sealed");
        Ask::Resume {
            splice: Some(Arc::new(splice)),
        }
    }

    /// Goes on by the best plan, and tells it.
    #[track_caller]
    pub(crate) fn resume_as_offered(&mut self) -> Plan {
        self.read();
        self.be_tested();
        let plans = self.plans(0.0);
        let plan = plans.plans.first().expect("a way on").clone();
        self.must(self.accept(&plan));
        plan
    }

    /// Goes on by a certain way, and tells the plan.
    #[track_caller]
    pub(crate) fn resume_by(&mut self, way: Way) -> Plan {
        self.read();
        self.be_tested();
        let plans = self.plans(0.0);
        let plan = plans.plans.iter().find(|p| p.how.way == way).cloned();
        let plan = plan.unwrap_or_else(|| panic!("{way:?} is not offered: {plans:#?}"));
        self.must(self.accept(&plan));
        plan
    }

    #[track_caller]
    pub(crate) fn clear_all(&mut self) {
        self.read();
        let causes: Vec<Cause> = self.view().alarms.iter().map(|a| a.cause).collect();
        for cause in causes {
            if matches!(cause, Cause::ArcStuck | Cause::UnaskedFire) {
                self.be_tested();
            }
            self.must(Ask::Clear { cause });
            self.wait(0.1);
        }
    }

    #[track_caller]
    pub(crate) fn finish(&mut self) {
        self.until(120.0, |r| r.phase() == Phase::Finished);
    }

    /// Places of the job's paths that no kerf has taken away.
    pub(crate) fn uncut_mm(&self) -> f64 {
        let corner = settings().sheet_corner;
        let job = job();
        let mut uncut = 0.0;
        for cut in &job.cuts {
            let n = (cut.length_mm() / 0.1) as usize;
            for k in 0..=n {
                let p = cut.point_at(k as f64 * 0.1).moved(corner.x, corner.y);
                if !self
                    .table
                    .burnt
                    .iter()
                    .any(|b| b.distance(p) < job.row.kerf_mm / 2.0)
                {
                    uncut += 0.1;
                }
            }
        }
        uncut
    }

    #[track_caller]
    pub(crate) fn all_is_well(&self) {
        assert_eq!(self.table.violations, Vec::<String>::new());
        assert!(self.uncut_mm() < 0.05, "{} mm uncut", self.uncut_mm());
        let v = self.view();
        assert!(!v.signals.arc_ok && !v.signals.fire_on && !v.torch.moving);
        assert!(
            v.cuts
                .iter()
                .all(|c| c.state == crate::view::CutState::Done)
        );
        assert_eq!(
            v.cuts
                .iter()
                .zip(&job().cuts)
                .map(|(c, j)| (c.done[0][1] - j.length_mm()).abs() < 1e-6)
                .collect::<Vec<_>>(),
            vec![true; 2]
        );
    }
}
