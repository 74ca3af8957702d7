//! What each event means for the wear of the torch parts: counted from the journal alone, so that no stop
//! of the panel loses a start.

use super::Event;
use crate::cause::Cause;
use crate::parts::{Part, PartsUsed, SetTag, Used};

impl PartsUsed {
    /// Takes what happened next.
    pub fn take(&mut self, event: &Event) {
        match event {
            Event::FireAsked { .. } => {
                self.settle_start();
                self.asked = true;
                self.each(|u| u.starts += 1);
            }
            Event::ArcOn { .. } => {
                self.asked = false;
                self.burning_s = Some(0.0);
            }
            Event::CutReached {
                arc_s: Some(arc_s), ..
            } if self.burning_s.is_some() && arc_s.is_finite() => {
                self.burning_s = self.burning_s.map(|s| s.max(*arc_s));
            }
            Event::ArcOff { arc_s, .. } => {
                let arc_s = arc_s.max(0.0);
                self.burning_s = None;
                self.each(|u| u.arc_s += arc_s);
            }
            Event::Held { cause, .. } | Event::Retry { cause, .. } => {
                self.settle_start();
                if *cause == Cause::ArcLost {
                    self.each(|u| u.lost += 1);
                }
            }
            // The arc went out because of something else: it says nothing of the parts.
            Event::HoldExplained {
                was: Cause::ArcLost,
                cause,
                ..
            } if *cause != Cause::ArcLost => self.each(|u| u.lost = u.lost.saturating_sub(1)),
            Event::PanelStarted | Event::RunEnded { .. } => {
                self.in_run &= matches!(event, Event::PanelStarted);
                // Whether an arc followed that start nobody has seen: it counts as a start only.
                self.asked = false;
                if let Some(arc_s) = self.burning_s.take() {
                    self.each(|u| u.arc_s += arc_s);
                }
            }
            Event::JobLoaded { .. } if !self.in_run => {
                self.at_load = Some(Box::new(self.counts()));
            }
            Event::RunStarted { .. } => self.in_run = true,
            Event::PartsChanged {
                parts, set, amps, ..
            } => self.changed(parts, set.as_deref().zip(*amps)),
            Event::ContactTested { .. } => self.untested = false,
            _ => {}
        }
    }

    fn each(&mut self, f: impl Fn(&mut Used)) {
        for part in Part::ALL {
            f(self.used.entry(part).or_default());
        }
    }

    fn settle_start(&mut self) {
        if core::mem::take(&mut self.asked) {
            self.each(|u| u.failed += 1);
        }
    }

    /// The only place where a count goes back to nothing.
    fn changed(&mut self, parts: &[Part], set: Option<(&str, f64)>) {
        for part in parts {
            self.used.insert(*part, Used::default());
            if !self.changed.contains(part) {
                self.changed.push(*part);
            }
        }
        self.changed.sort_unstable();
        if let Some((tag, amps)) = set {
            self.fitted = Some(SetTag {
                tag: tag.to_owned(),
                amps,
            });
        }
        self.untested = true;
    }
}
