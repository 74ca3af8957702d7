//! What planning is told of the machine file.

use link::Command;
use process::{Air, Duty};
use program::{ReadingRules, Slats};
use units::{Point, Segment};

use super::Config;

/// The controller takes a block every so often where nothing else is known, s (invented).
const BLOCK_S: f64 = 0.008;
/// Bits on the wire for a byte: start and stop bit with it.
const BITS: f64 = 10.0;

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
            low_bar: a.low_bar + a.hose_bar,
            post_flow_s: a.post_flow_s,
        }
    }
}

/// What the wire carries: blocks of usual length in this dialect.
fn link_facts(config: &Config) -> program::Link {
    let dialect = &config.link.dialect;
    let (from, to) = (
        Point::new(612.3456, 412.3456),
        Point::new(612.4321, 412.4321),
    );
    let bytes = |segment: Segment| {
        let command = Command::Path {
            segment,
            mm_s: 20.0,
        };
        dialect.bytes_of(&command).map(|n| n as f64)
    };
    let arc = Segment::Arc {
        from,
        to,
        centre: Point::new(610.1234, 414.5678),
        clockwise: false,
    };
    let chord_off_mm = dialect.chord_off_mm();
    program::Link {
        bytes_s: f64::from(config.link.baud) / BITS,
        block_s: dialect.block_ms().map_or(BLOCK_S, |ms| ms as f64 / 1000.0),
        line_bytes: bytes(Segment::Line { from, to }).unwrap_or(40.0),
        arc_bytes: match chord_off_mm {
            Some(_) => None,
            None => bytes(arc),
        },
        chord_off_mm: chord_off_mm.unwrap_or(0.02),
    }
}
