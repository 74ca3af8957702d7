//! What the journal tells against the table's own ledger, at the moment at which it is told: nothing is
//! told as cut on which there is metal, no interval of a lost place excludes the true one, no sentence
//! is out of the order in which things happened. And what HOLD leaves: no fire and no motion until a
//! request was accepted.

use std::collections::BTreeMap;
use std::time::Duration;

use control::view::Phase;
use control::{Answer, Ask, Cause, Event};
use units::{Point, Time};

use super::World;

/// So much may a place told be wrong by: what an arc takes away beside itself and the rounding of what
/// is told, mm.
const SLACK_MM: f64 = 0.4;
/// Where the end of a path lies over its start the ledger may book either, mm.
const LAP_MM: f64 = 4.0;
/// A controller that was lost comes to stand within this.
const STANDS: Duration = Duration::from_secs(3);
/// The torch stands if it moves less, mm.
const STILL_MM: f64 = 1e-3;

/// What was told of each cut, and what was seen since.
#[derive(Debug, Default)]
pub(super) struct Told {
    /// Tabs that were left, by cut: mm.
    tabs: BTreeMap<usize, f64>,
    /// Where the cut was lost last, by what was told: surely cut up to, surely not beyond.
    lost: BTreeMap<usize, (f64, Option<f64>)>,
    /// Looked at for metal up to here, by cut, and how much was found, mm.
    looked: BTreeMap<usize, (f64, f64)>,
    /// The cut that was asked to fire, and whether its arc was told on.
    fire: Option<(usize, bool)>,
    /// The arc burned since the torch was asked for.
    burned: bool,
    /// The permit pulsed at the step before.
    pulses: bool,
    /// HOLD was pressed, and nothing accepted since.
    held: Option<Held>,
}

#[derive(Debug)]
struct Held {
    at: Time,
    stands: Option<(Point, f64)>,
}

impl World {
    fn mishaps(&self) -> bool {
        let truth = self.with_table(|t| t.truth());
        let unseen = ["collision", "sheet-moved", "drive-trip"];
        unseen.iter().any(|name| truth.mishaps.contains_key(*name))
    }

    pub(super) fn told_wrong(&mut self, what: String) {
        let at = self.now;
        if self.watch.wrongs.len() < 12 {
            self.watch.wrongs.push(format!("{at}: {what}"));
        }
    }

    /// There must be no metal on this stretch of a cut, but for tabs.
    fn must_be_cut(&mut self, cut: usize, to: f64, what: &str) {
        if cut == 0 || to <= 0.0 {
            return;
        }
        // Metal never comes back: what was looked at is not looked at again.
        let (from, known) = self.told.looked.get(&cut).copied().unwrap_or_default();
        let left = known + self.with_table(|t| t.uncut_mm(cut - 1, from, to.max(from)));
        self.told.looked.insert(cut, (to.max(from), left));
        let tabs = self.told.tabs.get(&cut).copied().unwrap_or(0.0);
        if left > tabs + SLACK_MM && !self.mishaps() {
            self.told_wrong(format!(
                "{what}: cut {cut} up to {to:.2} mm, and {left:.2} mm of it are metal ({tabs:.2} mm of tabs)"
            ));
        }
    }

    /// The ledger may not have passed the cut beyond what was told as the furthest.
    fn must_not_be_beyond(&mut self, cut: usize, high_mm: f64) {
        let Some(view) = self.view().cuts.get(cut - 1).cloned() else {
            return;
        };
        let length = self
            .job
            .cuts
            .get(cut - 1)
            .map_or(0.0, planning::JobCut::length_mm);
        let from = high_mm + SLACK_MM;
        let known: f64 = view
            .done
            .iter()
            .map(|[a, b]| (b.min(length) - a.max(from)).max(0.0))
            .sum();
        let beyond = self.with_table(|t| t.passed_mm(cut - 1, from, length - LAP_MM));
        if beyond > known + SLACK_MM && !self.mishaps() {
            let passed = |mm: &u32| {
                let mm = f64::from(*mm);
                self.with_table(|t| t.passed_mm(cut - 1, mm, mm + 1.0)) > 0.0
            };
            let at: Vec<u32> = (from as u32..length as u32).filter(passed).collect();
            self.told_wrong(format!(
                "cut {cut} surely not beyond {high_mm:.2} mm, and {beyond:.2} mm of it are cut ({known:.2} mm known), at {at:?} mm"
            ));
        }
    }

    /// An event is told now.
    pub(super) fn settle_told(&mut self, event: &Event) {
        match *event {
            Event::TabLeft { cut, tab_mm, .. } => {
                *self.told.tabs.entry(cut).or_default() += tab_mm + SLACK_MM;
            }
            Event::Skipped { cut, .. } => {
                self.told.tabs.insert(cut, f64::INFINITY);
            }
            Event::Held {
                cut,
                cause,
                sure_mm,
                high_mm,
                ..
            } => {
                if cause == Cause::RecordFailed && self.told.fire == Some((cut, true)) {
                    self.told_wrong(format!(
                        "cut {cut} is stopped for a record that is not kept"
                    ));
                }
                self.told.lost.insert(cut, (sure_mm, high_mm));
            }
            Event::RunTakenUp {
                cut,
                from_mm,
                high_mm,
                ..
            } => {
                self.told.lost.insert(cut, (from_mm, high_mm));
            }
            Event::PlaceFound {
                cut,
                sure_mm: Some(sure_mm),
                high_mm,
                ..
            } => {
                self.told.lost.insert(cut, (sure_mm, high_mm));
            }
            Event::CutReached { cut, at_mm, .. } => self.must_be_cut(cut, at_mm, "surely cut"),
            Event::CutDone { cut, length_mm, .. } => {
                self.must_be_cut(cut, length_mm, "done");
                self.told.lost.remove(&cut);
            }
            Event::Resumed { ref plan, .. } => {
                if let Some(cut) = plan.as_ref().map(|p| p.stop.cut)
                    && let Some((sure, high)) = self.told.lost.get(&cut).copied()
                {
                    self.must_be_cut(cut, sure, "held, surely cut");
                    if let Some(high) = high {
                        self.must_not_be_beyond(cut, high);
                    }
                }
            }
            Event::FireAsked { cut, .. } => {
                if self.told.held.is_some() {
                    self.told_wrong("the torch is asked for after HOLD".into());
                }
                self.told.fire = Some((cut, false));
                self.told.burned = false;
            }
            Event::ArcOn { cut, .. } => {
                if self.told.fire != Some((cut, false)) || !self.told.burned {
                    let (fire, burned) = (self.told.fire, self.told.burned);
                    self.told_wrong(format!(
                        "arc on at cut {cut}: fire {fire:?}, burned {burned}"
                    ));
                }
                self.told.fire = Some((cut, true));
            }
            Event::ArcOff { cut, .. } => {
                // An arc that comes while it is being stopped is told out alone.
                if self.told.fire.is_none_or(|(of, _)| of != cut) || !self.told.burned {
                    let (fire, burned) = (self.told.fire, self.told.burned);
                    self.told_wrong(format!(
                        "arc off at cut {cut}: fire {fire:?}, burned {burned}"
                    ));
                }
                if self.with_table(|t| t.burns()) {
                    self.told_wrong(format!("arc off at cut {cut} and it burns"));
                }
                self.told.fire = None;
            }
            Event::HoldPressed { .. } => {
                self.told.held = Some(Held {
                    at: self.now,
                    stands: None,
                });
            }
            _ => {}
        }
    }

    /// A request got this answer.
    pub(super) fn settle_answer(&mut self, ask: &Ask, answer: &Answer) {
        let only_said = matches!(
            ask,
            Ask::Hold { .. }
                | Ask::HoldAfterCut
                | Ask::Seen { .. }
                | Ask::Clear { .. }
                | Ask::Vouch { .. }
        );
        if !only_said && *answer == Answer::Accepted {
            self.told.held = None;
        }
    }

    /// Nothing can be recorded any more and the job stands: that is told, and HOLD is answered.
    pub fn settle_dead_disk(&mut self) {
        self.nobody_asks = true;
        self.press_hold_once();
        // Whoever writes has had time to say that nothing can be written.
        let end = self.now + Duration::from_secs(3);
        while self.now < end {
            self.turn();
        }
        let view = self.view();
        if view.phase == Phase::Running {
            self.told_wrong("it runs over a disk that is dead".into());
        }
        let is = |cause: Cause| cause == Cause::RecordFailed;
        let told =
            view.alarms.iter().any(|a| is(a.cause)) || view.holds.iter().any(|h| is(h.cause));
        if self.disk.tells() && !told {
            self.told_wrong("a disk that is dead is not told".into());
        }
    }

    /// A panel was killed: what it knew is gone.
    pub(super) fn told_anew(&mut self) {
        let tabs = std::mem::take(&mut self.told.tabs);
        let looked = std::mem::take(&mut self.told.looked);
        self.told = Told {
            tabs,
            looked,
            ..Told::default()
        };
    }

    /// Looks at the table after each turn.
    pub(super) fn settle_turn(&mut self) {
        let (burns, torch) = self.with_table(|t| (t.burns(), t.torch()));
        self.told.burned |= burns;
        let pulses = self.permitting();
        let pulsed = std::mem::replace(&mut self.told.pulses, pulses);
        if self.told.held.is_none() {
            return;
        }
        if self.told.pulses && !pulsed {
            self.told_wrong("the permit rose after HOLD".into());
        }
        let now = self.now;
        let rest = !self.machine_moves();
        let Some(held) = &mut self.told.held else {
            return;
        };
        if now < held.at + STANDS || !rest {
            held.stands = None;
            return;
        }
        let stood = *held.stands.get_or_insert(torch);
        let moved = stood.0.distance(torch.0) + (stood.1 - torch.1).abs();
        if moved > STILL_MM {
            held.stands = Some(torch);
            self.told_wrong(format!("moved {moved:.3} mm after HOLD"));
        }
    }
}
