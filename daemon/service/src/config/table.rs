//! What planning is told of the machine file.

use process::{Air, Duty};
use program::{ReadingRules, Slats};

use super::Config;

impl Config {
    /// The machine file as far as a job hangs on it.
    #[must_use]
    pub fn table(&self) -> planning::Table<'_> {
        planning::Table {
            travel: self.travel,
            sheet_corner: self.sheet_corner,
            slat_top_z: self.slat_top_z,
            slats: Slats {
                pitch_mm: self.slat_pitch_mm,
                depth_mm: self.slat_depth_mm,
            },
            park: self.park,
            motion: &self.motion,
            cycle: &self.cycle,
            source: &self.source,
            chart: &self.chart,
            duty: self.duty(),
            air: self.receiver(),
            worn: self.counted.or(self.supplies),
            prices: self.prices,
            reached_tolerance_mm: self.reached_tolerance_mm,
            link: link_facts(self),
            line_limit: self.link.dialect.line_limit(),
            words: ReadingRules {
                torch_on: self.torch_on.clone(),
                torch_off: self.torch_off.clone(),
            },
            text: &self.text,
        }
    }

    /// The rating plate of the source.
    pub(crate) fn duty(&self) -> Duty {
        Duty {
            rated_amps: self.power.rated_amps,
            rated_duty: self.power.rated_duty,
        }
    }

    fn receiver(&self) -> Air {
        let a = &self.air;
        Air {
            receiver_l: a.receiver_l,
            compressor_l_min: a.compressor_l_min,
            torch_l_min: a.torch_l_min,
            start_bar: a.start_bar,
            stop_bar: a.stop_bar,
            // A fixed regulator that has less than it is set to starves the torch as a low supply does.
            low_bar: a.low_bar.max(a.regulator_bar) + a.hose_bar,
            post_flow_s: a.post_flow_s,
            at_start: a.compressor,
            regulated_bar: if a.regulator_bar > 0.0 {
                a.regulator_bar + a.hose_bar
            } else {
                0.0
            },
        }
    }
}

/// What the wire carries of a path in this dialect.
fn link_facts(config: &Config) -> program::Link {
    let dialect = &config.link.dialect;
    let carried = dialect.carried(config.link.baud);
    program::Link {
        bytes_s: carried.bytes_s,
        block_s: carried.block_s,
        line_bytes: carried.line_bytes,
        arc_bytes: carried.arc_bytes,
        chord_off_mm: dialect.chord_off_mm().unwrap_or(0.02),
    }
}
