//! What a controller can do: by its dialect, and as far as it was seen.

use super::{CapabilityFound, Trial};
use crate::dialect::{Capability, Dialect};
use crate::words::{StampedInput, Status};

/// Name, what it rests on, and what of a trial shows it (`None`: nothing at rest does).
type Row = (
    &'static str,
    fn(&Dialect) -> bool,
    fn(&Trial) -> Option<bool>,
);

const ROWS: [Row; 14] = [
    (
        "hold-at-once",
        |d| d.has(Capability::HoldAtOnce),
        |t| t.held.filter(|h| *h),
    ),
    (
        "torch-off-at-once",
        |d| d.has(Capability::TorchOffAtOnce),
        |_| None,
    ),
    (
        "line-check",
        |d| d.has(Capability::LineCheck),
        |t| Some(t.hearing.good > 0),
    ),
    (
        "line-numbers",
        |d| d.has(Capability::LineNumbers),
        |t| Some(!t.rounds_ms.is_empty()),
    ),
    ("words-in-force", |d| d.modal, |_| None),
    (
        "reports-by-itself",
        |d| d.has(Capability::ReportsByItself),
        |t| Some(!t.reports.is_empty()),
    ),
    (
        "executed-told",
        |d| d.has(Capability::ExecutedTold),
        |t| Some(t.executed),
    ),
    ("keepalive", |d| d.has(Capability::Keepalive), |_| None),
    ("touch-off", |d| d.has(Capability::TouchOff), |_| None),
    ("sense", |d| d.has(Capability::Sense), |_| None),
    ("home", |d| d.has(Capability::Home), |_| None),
    (
        "stamps",
        |d| d.has(Capability::Stamps(StampedInput::ArcOk)),
        |_| None,
    ),
    (
        "feed-told",
        |_| true,
        |t| told(t, |s| s.feed_mm_s.is_some()),
    ),
    (
        "referenced-told",
        |_| true,
        |t| told(t, |s| s.referenced.is_some()),
    ),
];

fn told(trial: &Trial, what: fn(&Status) -> bool) -> Option<bool> {
    trial.last.as_ref().map(what)
}

impl Trial {
    pub(super) fn capabilities(&self) -> Vec<CapabilityFound> {
        let row = |(name, has, seen): Row| {
            let has = has(&self.dialect);
            CapabilityFound {
                name,
                has,
                seen: has.then(|| seen(self)).flatten(),
            }
        };
        ROWS.into_iter().map(row).collect()
    }
}
