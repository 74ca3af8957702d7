//! What is published.

use units::{Point, Segment, Time};

use super::hand::Hand;
use super::{Act, Machine};
use crate::ask::CheckId;
use crate::cause::Cause;
use crate::guard;
use crate::machine::admission;
use crate::machine::checks;
use crate::resume::Stop;
use crate::view::{
    Alarm, Allowed, ArcView, CheckView, Choice, CutState, CutView, HoldView, LinkView, Phase,
    TorchView, View, Waiting,
};
use crate::words;

/// Speed below which it is shown as standing, mm/s.
const MOVING_MM_S: f64 = 0.05;
/// Said of a torch that stands below the height of travel.
const TORCH_DOWN: &str = " The torch is down. Whatever comes next lifts it first.";

impl Machine {
    /// The big state, as in the whole view, and cheap.
    #[must_use]
    pub fn phase(&self) -> Phase {
        match &self.act {
            Act::Starting => Phase::Starting,
            Act::Stopping(_) => Phase::Stopping,
            Act::Cutting(_) | Act::Parking(_) | Act::DryFire(_) => Phase::Running,
            Act::Homing { .. } | Act::ToMark(_) => Phase::Homing,
            Act::Hand(_) => Phase::Hand,
            Act::Changing(_) => Phase::Changing,
            Act::Rest | Act::Testing { .. } => self.phase_at_rest(),
        }
    }

    fn phase_at_rest(&self) -> Phase {
        if self.alarms.any_latch() {
            return Phase::Latched;
        }
        if self.change.is_some() {
            return Phase::Changing;
        }
        match &self.run {
            Some(run) if run.over() => Phase::Finished,
            Some(_) => Phase::Held,
            None if !self.line.listens() => Phase::NoLink,
            None if self.would_start() => Phase::Ready,
            None => Phase::Idle,
        }
    }

    /// Nothing bars a start, nor taking up a run that was interrupted.
    fn would_start(&self) -> bool {
        let bar = if self.interrupted_here().is_some() {
            checks::bars_taking_up(self)
        } else {
            checks::bars_start(self)
        };
        bar.is_none() && admission::causes_gone(self).is_ok()
    }

    pub(crate) fn cut_number(&self) -> Option<usize> {
        let run = self.run.as_ref()?;
        (run.cut < run.cuts.len()).then_some(run.cut + 1)
    }

    fn waiting(&self) -> (Waiting, Option<Time>, Option<f64>) {
        match &self.act {
            Act::Starting => (Waiting::ControllerToAnswer, self.started, None),
            Act::Cutting(c) => {
                let (what, since, limit) = c.waiting(&self.settings.guard);
                (what, Some(since), limit.map(|l| l.as_secs_f64()))
            }
            Act::Parking(_) | Act::ToMark(_) | Act::Hand(Hand::Going(_)) => {
                (Waiting::TorchToReachPlace, None, None)
            }
            Act::Hand(Hand::Pressed(_)) => (Waiting::KeyToBeLetGo, None, None),
            Act::Hand(Hand::Ending { since }) => (Waiting::MotionToStop, Some(*since), None),
            Act::Changing(g) => (
                Waiting::TorchToReachPlace,
                Some(g.since),
                Some(g.limit.as_secs_f64()),
            ),
            Act::Homing { since, .. } => (
                Waiting::TorchToReachPlace,
                Some(*since),
                Some(super::home::HOMING_LIMIT.as_secs_f64()),
            ),
            Act::DryFire(_) => (Waiting::ArcToGoOut, None, None),
            Act::Testing { since } => (
                Waiting::MotionToStop,
                Some(*since),
                Some(super::TEST_LIMIT.as_secs_f64()),
            ),
            Act::Stopping(s) => {
                let what = match s.stage {
                    super::stop::Stage::Flush if !self.line.alive => Waiting::ControllerToAnswer,
                    super::stop::Stage::Flush => Waiting::MotionToStop,
                    super::stop::Stage::ArcOut { .. } => Waiting::ArcToGoOut,
                    _ => Waiting::TorchToLift,
                };
                (what, Some(s.since), None)
            }
            Act::Rest => (self.waiting_at_rest(), None, None),
        }
    }

    fn waiting_at_rest(&self) -> Waiting {
        if self.alarms.is_latched(Cause::Estop) {
            return Waiting::EstopToBeCleared;
        }
        if !self.line.listens() {
            return Waiting::ControllerToAnswer;
        }
        if self.alarms.any_latch() {
            return Waiting::MessageToBeRead;
        }
        if self.change.is_some() {
            return Waiting::PartsToBeChanged;
        }
        let run_over = self.run.as_ref().is_some_and(|r| r.over());
        if self.reference.doubtful && !run_over && (self.loaded.is_some() || self.reference.homed) {
            return if self.reference.homed {
                Waiting::PlaceToBeConfirmed
            } else {
                Waiting::Reference
            };
        }
        match (&self.run, &self.loaded) {
            (Some(run), _) if !run.over() => Waiting::YourMove,
            (Some(_), _) => Waiting::Nothing,
            (None, None) => Waiting::Job,
            (None, Some(_)) if self.would_start() => Waiting::Start,
            (None, Some(_)) => Waiting::Checks,
        }
    }

    /// What it waits for: the same as in its view, without the rest of it.
    #[must_use]
    pub fn waiting_for(&self) -> Waiting {
        self.waiting().0
    }

    pub(super) fn show(&self, now: Time) -> View {
        let (waiting_for, since, wait_limit_s) = self.waiting();
        let near = self.near();
        let run = self.run.as_ref();
        View {
            generation: self.generation,
            phase: self.phase(),
            step: self.cycle_step(),
            waiting_for,
            waited_s: since.map_or(0.0, |t| now.since(t).as_secs_f64()),
            wait_limit_s,
            run: run.map(|r| r.id),
            seal: self.loaded.as_ref().map(|l| l.job.seal.hash().to_string()),
            cut: self.cut_number(),
            station_mm: self.station(),
            torch: self.torch_view(now),
            cuts: self.cut_views(),
            entries: self.entry_views(),
            marks: run.map(|r| r.marks.clone()).unwrap_or_default(),
            hold: self.hold_view(near.safe),
            datum: self.datum_view(),
            alarms: self.alarm_views(near.safe),
            checks: self.check_views(),
            allowed: admission::all(self)
                .iter()
                .map(|(ask, no)| Allowed {
                    ask: (*ask).to_string(),
                    refused: no.map(|n| format!("{} {}", n.says(), n.remedy())),
                })
                .collect(),
            left_s: self.left_s(),
            run_s: run.map(|r| {
                let end = r.ended.map_or(now, |(t, _)| t);
                end.since(r.started).as_secs_f64()
            }),
            arc_on_s: run.map_or(0.0, |r| {
                r.arc_on_s + r.arc_since.map_or(0.0, |t| now.since(t).as_secs_f64())
            }),
            pierces: run.map_or(0, |r| r.pierces),
            retries: run.map(|r| r.retries.clone()).unwrap_or_default(),
            faltered: run.map(|r| r.faltered.clone()).unwrap_or_default(),
            holds: run.map(|r| r.holds.clone()).unwrap_or_default(),
            doubtful: self.reference.doubtful || self.line.unproven.is_some(),
            near,
            link: self.link_view(now),
            signals: self.signals,
            parts: self.parts_view(),
            change: self.change_view(),
            self_test: self.self_test_view(),
            short_edges: self.short_edges_view(),
            commissioning: self.commissioning_view(),
            outputs: self.outputs_view(),
        }
    }

    fn station(&self) -> Option<f64> {
        match &self.act {
            Act::Cutting(c) => Some(c.station()),
            _ => self
                .run
                .as_ref()
                .and_then(|r| r.held.as_ref())
                .map(|h| h.at_mm),
        }
    }

    /// By the controller's last report.
    pub(super) fn moves(&self) -> bool {
        self.line.status.as_ref().is_some_and(|s| {
            s.feed_mm_s
                .map_or(s.doing != link::Doing::Idle, |v| v.abs() > MOVING_MM_S)
        })
    }

    pub(super) fn torch_view(&self, now: Time) -> TorchView {
        let status = self.line.status.as_ref();
        let known = status.filter(|_| self.reference.torch_known());
        let surface = match &self.act {
            Act::Cutting(c) => c.surface(),
            _ => None,
        }
        .or_else(|| self.run.as_ref().and_then(|r| r.touched_z))
        .or_else(|| {
            self.loaded
                .as_ref()
                .map(|l| self.settings.slat_top_z + l.job.thickness_mm)
        });
        TorchView {
            place: known.map(|s| self.to_sheet(s.place)),
            height_mm: known.zip(surface).map(|(s, z)| s.z - z),
            age_s: status.map(|s| now.since(s.at).as_secs_f64()),
            feed_mm_s: status.and_then(|s| s.feed_mm_s),
            moving: self.moves(),
            arc: self.arc_view(),
            permit: self.guard.phase != guard::Phase::Off,
        }
    }

    fn arc_view(&self) -> ArcView {
        if !self.signals_heard {
            return ArcView::Unknown;
        }
        if self.signals.arc_ok {
            return ArcView::On;
        }
        if let Act::Cutting(c) = &self.act
            && c.hot()
        {
            return ArcView::Asked;
        }
        if self.signals.fire_on {
            return ArcView::Asked;
        }
        if self.run.is_none() || self.change.is_some() || self.alarms.any_latch() {
            return ArcView::LockedOut;
        }
        ArcView::Off
    }

    fn cut_views(&self) -> Vec<CutView> {
        let Some(loaded) = &self.loaded else {
            return Vec::new();
        };
        let run = self.run_here();
        let run = run.as_deref();
        (0..loaded.job.cuts.len())
            .map(|i| {
                let progress = run.and_then(|r| r.cuts.get(i));
                CutView {
                    state: progress.map_or(CutState::ToDo, |p| p.state),
                    done: progress.map_or_else(Vec::new, super::run::Progress::done),
                }
            })
            .collect()
    }

    fn entry_views(&self) -> Vec<Vec<Segment>> {
        match (&self.run, &self.interrupted) {
            (Some(run), _) => run.entries.clone(),
            (None, Some(u)) => u.entries.clone(),
            (None, None) => Vec::new(),
        }
    }

    /// The stop that ways on are asked for.
    pub(crate) fn stop_now(&self) -> Option<Stop> {
        let run = self.run_here()?;
        let Some(loaded) = self.loaded.as_ref().filter(|_| self.run.is_none()) else {
            let held = run.held.as_ref().filter(|_| !run.over())?;
            let (cut, lost) = run.goes_on();
            return Some(Stop {
                run: run.id,
                number: run.holds.len(),
                cut: cut + 1,
                lost,
                kerf_end_failed: held.kerf_end_failed,
            });
        };
        Some(Stop {
            run: run.id,
            number: 0,
            cut: run.cut + 1,
            lost: run.interrupted_at(self.found, loaded),
            kerf_end_failed: false,
        })
    }

    fn hold_view(&self, near: bool) -> Option<HoldView> {
        let stop = self.stop_now()?;
        if let (None, Some(u)) = (&self.run, &self.interrupted) {
            let at_mm = stop.lost.map(|l| l.at_mm);
            let sure = stop.lost.map_or(u.sure(), |l| l.low_mm);
            let perhaps = match at_mm {
                Some(at) if at > sure + 0.05 => format!(" It may have come to {at:.1} mm."),
                _ => String::new(),
            };
            return Some(HoldView {
                cause: Cause::Interrupted,
                cut: Some(u.cut),
                at_mm: Some(at_mm.unwrap_or(0.0)),
                what: words::what(Cause::Interrupted, Some(u.cut)),
                why: format!("Surely cut: cut {} up to {sure:.1} mm.{perhaps}", u.cut),
                remedy: words::remedy_now(Cause::Interrupted, None, near).into(),
                choices: if self.would_start() {
                    vec![Choice::StepBack, Choice::Skip]
                } else {
                    Vec::new()
                },
                ran_on_mm: None,
                torch_down: self.torch_down(),
                stop: Some(stop),
            });
        }
        let run = self.run.as_ref()?;
        let held = run.held.as_ref()?;
        let may = !self.active()
            && checks::bars_going_on(self).is_none()
            && admission::causes_gone(self).is_ok();
        let mut choices = Vec::new();
        if may {
            choices.push(match stop.lost {
                Some(_) => Choice::StepBack,
                None => Choice::CarryOn,
            });
            choices.push(Choice::Skip);
        }
        if !self.active() {
            choices.push(Choice::End);
        }
        let torch_down = self.torch_down();
        let mut why = held.why.clone();
        if torch_down == Some(true) {
            why.push_str(TORCH_DOWN);
        }
        Some(HoldView {
            cause: held.cause,
            cut: self.cut_number(),
            at_mm: Some(held.at_mm),
            what: self.what(held.cause, self.cut_number()),
            why,
            remedy: self.remedy(held.cause, near).into(),
            choices,
            ran_on_mm: held.ran_on_mm,
            torch_down,
            stop: Some(stop),
        })
    }

    /// Whether the torch stands below the height of travel, where that is known.
    fn torch_down(&self) -> Option<bool> {
        let known = !self.active() && self.reference.torch_known();
        let z = self.line.z().filter(|_| known)?;
        Some(z < self.safe_z() - super::clearing::UP_MM)
    }

    /// What happened, by what was measured beside the cause.
    fn what(&self, cause: Cause, cut: Option<usize>) -> String {
        words::what_of(cause, self.alarms.detail(cause), cut)
    }

    /// What to do now. `near`: it is safe to go near.
    fn remedy(&self, cause: Cause, near: bool) -> &'static str {
        words::remedy_now(cause, self.alarms.detail(cause), near)
    }

    fn alarm_views(&self, near: bool) -> Vec<Alarm> {
        let mut all: Vec<Alarm> = self
            .alarms
            .iter()
            .map(|a| Alarm {
                cause: a.cause,
                level: a.cause.facts().level,
                at_s: a.at.as_s(),
                first: a.first,
                seen: a.seen,
                gone: self.gone(a.cause),
                latched: a.latched || self.alarms.is_latched(a.cause),
                what: self.what(a.cause, a.cut),
                why: a.why.clone(),
                remedy: self.remedy(a.cause, near).into(),
            })
            .collect();
        all.sort_by(|a, b| b.first.cmp(&a.first).then(a.at_s.total_cmp(&b.at_s)));
        all
    }

    fn check_views(&self) -> Vec<CheckView> {
        let view = |check, vouched, holds| {
            let words = words::check(check);
            let remedy = match check {
                CheckId::SelfTested if holds != Some(true) => self.self_test_remedy(),
                CheckId::Commissioned if holds != Some(true) => {
                    self.open_step_says().unwrap_or_else(|| words.remedy.into())
                }
                _ => words.remedy.into(),
            };
            CheckView {
                check,
                vouched,
                holds,
                says: words.says.into(),
                remedy,
            }
        };
        checks::seen(self)
            .map(|(check, holds)| view(check, false, holds))
            .chain(checks::to_vouch(self).map(|check| {
                view(
                    check,
                    true,
                    self.readiness.is_confirmed(check).then_some(true),
                )
            }))
            .collect()
    }

    fn left_s(&self) -> Option<f64> {
        let loaded = self.loaded.as_ref()?;
        let Some(run) = self.run.as_ref() else {
            return Some(loaded.job.planned_s);
        };
        if run.over() {
            return None;
        }
        let planned = |i: usize| loaded.job.planned_cuts_s.get(i).copied().unwrap_or(0.0);
        let mut left = 0.0;
        for (i, p) in run.cuts.iter().enumerate() {
            if matches!(p.state, CutState::Done | CutState::Skipped) {
                continue;
            }
            let length = loaded.length(i);
            let part = if i == run.cut && length > 0.0 {
                (1.0 - self.station().unwrap_or(p.sure_mm) / length).clamp(0.0, 1.0)
            } else {
                1.0
            };
            left += planned(i) * part;
        }
        Some(left)
    }

    fn link_view(&self, now: Time) -> LinkView {
        let counters = self.line.session.counters();
        LinkView {
            alive: self.line.open && self.line.alive,
            age_s: self
                .line
                .session
                .last_heard()
                .map(|t| now.since(t).as_secs_f64()),
            referenced: self.line.referenced(self.reference.homed),
            resent: counters.lines_resent,
            bad_frames: counters.bad_frames,
        }
    }

    /// Where the torch is on the sheet by the last report, whatever it is worth.
    #[must_use]
    pub fn last_place(&self) -> Option<Point> {
        self.line.place().map(|p| self.to_sheet(p))
    }
}
