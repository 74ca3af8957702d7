//! The rough mood: what goes wrong by chance, each kind in a file of its own with a generator of its
//! own, so that one does not move another's draws. Shapes and rates: process handbook, chapter *The
//! simulated table*, invented there unless a line says otherwise.

pub(crate) mod air;
pub(crate) mod bridge;
pub(crate) mod bursts;
pub(crate) mod drives;
pub(crate) mod film;
pub(crate) mod heat;
pub(crate) mod losses;
pub(crate) mod mishaps;
pub(crate) mod tips;
pub(crate) mod wear;
pub(crate) mod wet;

use crate::settings::TableSettings;
pub(crate) use losses::Conditions;
pub(crate) use mishaps::Mishaps;

/// All that makes a table rough.
#[derive(Clone, Debug)]
pub(crate) struct Rough {
    pub(crate) mishaps: Mishaps,
    pub(crate) film: film::Films,
    pub(crate) wet: wet::Wet,
    pub(crate) bridge: bridge::Bridges,
    pub(crate) tips: tips::Tips,
    pub(crate) wear: wear::Wear,
    pub(crate) air: air::Air,
    pub(crate) bursts: bursts::Bursts,
    pub(crate) trips: drives::Trips,
    /// What the source was seen doing at the step before.
    pub(crate) was: Was,
    /// When that was, ns.
    pub(crate) seen_at: u64,
}

/// What the source was doing.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Was {
    pub(crate) burning: bool,
    pub(crate) arc: bool,
    /// There was metal under the torch when no arc burned last.
    pub(crate) metal: bool,
    /// The arc came on below 70 % of the pierce height.
    pub(crate) low_pierce: bool,
    /// The arc came on over metal.
    pub(crate) pierced: bool,
}

impl Rough {
    pub(crate) fn new(settings: &TableSettings) -> Self {
        let seed = settings.seed;
        Self {
            mishaps: Mishaps::default(),
            film: film::Films::new(seed),
            wet: wet::Wet::new(seed),
            bridge: bridge::Bridges::new(seed),
            tips: tips::Tips::new(seed, settings.falls_mm * 2.0),
            wear: wear::Wear::new(seed),
            air: air::Air::new(seed, settings.compressor_l_min),
            bursts: bursts::Bursts::new(seed),
            trips: drives::Trips::new(seed),
            was: Was::default(),
            seen_at: 0,
        }
    }
}

/// Whether `seen` of `tries` fits a chance of `p`: within five standard deviations and one.
#[cfg(test)]
pub(crate) fn fits(seen: usize, tries: usize, p: f64) -> bool {
    let n = tries as f64;
    (seen as f64 - n * p).abs() <= 5.0 * (n * p * (1.0 - p)).sqrt() + 1.0
}
