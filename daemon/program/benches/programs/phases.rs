//! How much processor time each phase of vetting takes.

use std::sync::Mutex;

use program::Watch;

use crate::clock::on_processor_s;

/// Adds up what each phase takes.
#[derive(Debug, Default)]
pub struct Phases(Mutex<Vec<(&'static str, f64)>>);

impl Watch for Phases {
    fn phase(&self, name: &'static str) {
        self.0
            .lock()
            .expect("no panic before")
            .push((name, on_processor_s()));
    }
}

impl Phases {
    /// The phases that take over this part of the whole, the longest first.
    pub fn shown(&self, part: f64) -> String {
        self.phase("");
        let begun = self.0.lock().expect("no panic before");
        let mut took: Vec<(&str, f64)> = begun
            .windows(2)
            .map(|two| (two[0].0, two[1].1 - two[0].1))
            .collect();
        let whole: f64 = took.iter().map(|(_, s)| s).sum();
        took.sort_by(|a, b| b.1.total_cmp(&a.1));
        let shown = took.iter().filter(|(_, s)| *s > part * whole);
        let shown: Vec<String> = shown
            .map(|(name, s)| format!("{name} {:.0} ms", s * 1e3))
            .collect();
        shown.join(", ")
    }
}
