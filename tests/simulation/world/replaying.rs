//! What a panel was told, fed to a new one.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;

use control::{Input, Machine, Restored};
use standclear::assemble::settings;
use units::Time;

use super::World;

/// The inputs of a panel's life, and the trace of its effects.
#[derive(Default)]
pub struct Recorded {
    pub(super) inputs: Vec<(Time, Input)>,
    pub(super) trace: Vec<u64>,
    /// The panel died: what another does is another story.
    pub(super) over: bool,
}

pub(super) fn traced(effects: &control::Effects) -> u64 {
    let mut hasher = DefaultHasher::new();
    format!("{effects:?}").hash(&mut hasher);
    hasher.finish()
}

impl World {
    /// Everything that the panel is told from here on is kept for a replay.
    pub fn record(&mut self) {
        self.recorded = Some(Recorded::default());
    }

    /// Whether a new machine that is told the same does the same.
    pub fn replays(&self) -> bool {
        let Some(recorded) = &self.recorded else {
            return true;
        };
        let mut machine = Machine::new(
            settings(&self.config),
            Arc::clone(&self.config.link.dialect),
            Restored::default(),
        );
        let mut pairs = recorded.inputs.iter().zip(&recorded.trace);
        pairs.all(|((at, input), trace)| traced(&machine.step(*at, input.clone())) == *trace)
    }
}
