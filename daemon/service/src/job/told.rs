//! What vetting is told of machine, chart row and supplies: forecasts of `process` as plain facts.

use control::{Cause, JobWait};
use link::Command;
use process::{Air, Balance, ChartRow, CutShape, Duty, Heat, JobTime, Metal};
use program::{Chart, Energy, Facts, Forecast, Hot, Moment, Row, Slats, Times, Wait};
use units::{Point, Segment};

use crate::config::Config;

/// The controller takes a block every so often where nothing else is known, s (invented).
const BLOCK_S: f64 = 0.008;
/// Bits on the wire for a byte: start and stop bit with it.
const BITS: f64 = 10.0;
/// Sheets above this are no matter for the rule of heat, mm.
const THIN_MM: f64 = 3.0;
/// A pierce so near to one that was touched may go without a touch-off, mm; less on thin sheet
/// (common practice, numbers invented).
const SKIP_MM: f64 = 40.0;
const SKIP_THIN_MM: f64 = 20.0;
const SKIP_UP_TO_MM: f64 = 2.0;
/// So many in a row.
const SKIP_RUN: usize = 3;

/// What the chart has for a setup.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) enum Chosen {
    /// No setup or no chart.
    #[default]
    NotGiven,
    /// No row: why.
    Missing(String),
    /// Several rows: their names.
    Several(Vec<String>),
    /// A row.
    Row {
        row: ChartRow,
        /// Reckoned from these two.
        between: Option<[String; 2]>,
        /// Named, and for another sheet: which.
        for_other: Option<String>,
    },
}

impl Chosen {
    pub fn row(&self) -> Option<&ChartRow> {
        match self {
            Self::Row { row, .. } => Some(row),
            Self::NotGiven | Self::Missing(_) | Self::Several(_) => None,
        }
    }
}

/// Everything that facts point into.
#[derive(Default)]
pub(super) struct Told {
    names: String,
    air: Option<process::AirForecast>,
    air_waits: Vec<Wait>,
    duty: Option<process::DutyForecast>,
    duty_waits: Vec<Wait>,
    wear: Option<process::WearForecast>,
    times: Option<Times>,
    hot: Option<Vec<Hot>>,
    energy: Option<Energy>,
}

impl Told {
    /// Reckons what can be reckoned: with a row and times all of it.
    pub fn new(config: &Config, chosen: &Chosen, job: Option<&PlannedJob<'_>>) -> Self {
        let mut told = Self::default();
        if let Chosen::Several(names) = chosen {
            told.names = names.join(", ");
        }
        let Some(job) = job else {
            return told;
        };
        let arcs = &job.time.arcs;
        let air = air(config).forecast(arcs);
        told.air_waits = waits(&air.waits);
        told.air = Some(air);
        let duty = duty(config).forecast(job.row.amps, arcs);
        told.duty_waits = waits(&duty.waits);
        told.duty = Some(duty);
        told.wear = config
            .counted
            .or(config.supplies)
            .map(|set| set.forecast(arcs));
        told.times = Some(times(job));
        if let Some(metal) = Metal::named(job.material) {
            let balance = Balance::new(
                metal,
                job.row.amps,
                job.row.volts,
                job.kerf_mm,
                job.thickness_mm,
            );
            told.energy = Some(energy(metal, &balance));
            if job.thickness_mm <= THIN_MM + 1e-9 {
                let heat = Heat::new(metal, job.thickness_mm, balance);
                told.hot = Some(hot(&heat, job));
            }
        }
        told
    }

    /// Where the run is to stand until a supply has recovered.
    pub fn planned_stops(&self) -> Vec<JobWait> {
        let stops = |cause, waits: &[Wait]| {
            let stop = move |w: &Wait| JobWait {
                cause,
                before_cut: w.before_cut,
                wait_s: w.wait_s,
            };
            waits.iter().map(stop).collect::<Vec<_>>()
        };
        let mut all = stops(Cause::AirWait, &self.air_waits);
        all.extend(stops(Cause::DutyWait, &self.duty_waits));
        let change = self.wear.and_then(|w| w.change_in);
        all.extend(change.map(|before_cut| JobWait {
            cause: Cause::ChangeDue,
            before_cut,
            wait_s: 0.0,
        }));
        all
    }

    /// The facts.
    pub fn facts<'a>(&'a self, config: &'a Config, chosen: &'a Chosen) -> Facts<'a> {
        let air = air(config);
        Facts {
            slats: Slats {
                pitch_mm: config.slat_pitch_mm,
                depth_mm: config.slat_depth_mm,
            },
            motion: Some(program::Motion {
                accel_mm_s2: config.motion.accel_mm_s2,
                corner_step_mm_s: config.motion.corner_step_mm_s,
                feed_max_mm_s: config.motion.feed_max_mm_s,
            }),
            link: Some(link_facts(config)),
            has_chart: !config.chart.is_empty(),
            chart: self.chart(chosen),
            energy: self.energy,
            source: Some(program::Source {
                rated_amps: config.power.rated_amps,
                rated_duty: config.power.rated_duty,
            }),
            duty: self.duty.as_ref().map(|f| Forecast {
                short: moment(f.over),
                waits: &self.duty_waits,
                hopeless: f.hopeless,
                more: f.more,
                most: f.most_s,
                limit: f.allowed * 600.0,
            }),
            air: self.air.as_ref().map(|f| program::Air {
                forecast: Forecast {
                    short: moment(f.low),
                    waits: &self.air_waits,
                    hopeless: f.hopeless,
                    more: f.more,
                    most: f.wanted_l,
                    limit: air.low_bar,
                },
                receiver_l: air.receiver_l,
                compressor_l_min: air.compressor_l_min,
                torch_l_min: air.torch_l_min,
                low_bar: air.low_bar,
            }),
            wear: self.wear.map(|f| program::Wear {
                before: f.before,
                after: f.after,
                change_in: f.change_in,
            }),
            times: self.times,
            heat: self.hot.as_deref(),
            joined: None,
            reached_tolerance_mm: config.reached_tolerance_mm,
        }
    }

    fn chart<'a>(&'a self, chosen: &'a Chosen) -> Chart<'a> {
        match chosen {
            Chosen::NotGiven => Chart::NotGiven,
            Chosen::Missing(why) => Chart::Missing(why),
            Chosen::Several(_) => Chart::Several(&self.names),
            Chosen::Row {
                row,
                between,
                for_other,
            } => Chart::Row(Row {
                name: &row.name,
                amps: row.amps,
                volts: row.volts,
                thickness_mm: row.thickness_mm,
                feed_mm_s: row.feed_mm_s(),
                between: between.as_ref().map(|[a, b]| [a.as_str(), b.as_str()]),
                for_other: for_other.as_deref(),
            }),
        }
    }
}

/// A job with its times.
pub(super) struct PlannedJob<'a> {
    pub material: &'a str,
    pub thickness_mm: f64,
    pub kerf_mm: f64,
    pub row: &'a ChartRow,
    pub cuts: &'a [CutShape<'a>],
    pub time: &'a JobTime,
    /// What one touch-off takes, s.
    pub touch_s: f64,
}

fn moment(low: Option<process::Low>) -> Option<Moment> {
    low.map(|l| Moment {
        cut: l.cut,
        at_s: l.at_s,
    })
}

fn waits(of: &[process::Wait]) -> Vec<Wait> {
    of.iter()
        .map(|w| Wait {
            before_cut: w.before_cut,
            at_s: w.at_s,
            wait_s: w.wait_s,
        })
        .collect()
}

/// The air supply; low in the receiver is low at the source and what filter and hose take.
fn air(config: &Config) -> Air {
    let a = &config.air;
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

/// The rating plate of the source.
pub(crate) fn duty(config: &Config) -> Duty {
    Duty {
        rated_amps: config.power.rated_amps,
        rated_duty: config.power.rated_duty,
    }
}

fn energy(metal: Metal, b: &Balance) -> Energy {
    let [melting_low, melting_high] = metal.melting_share();
    Energy {
        power_w: b.power_w,
        melt_j_mm: b.melt_j_mm,
        side_w: b.side_w,
        side_power: Balance::SIDE_POWER,
        burning: b.burning,
        melting_low,
        melting_high,
    }
}

fn hot(heat: &Heat, job: &PlannedJob<'_>) -> Vec<Hot> {
    heat.forecast(job.cuts, &job.time.arcs)
        .iter()
        .map(|p| Hot {
            cut: p.cut,
            at: p.at,
            rise_k: p.rise_k,
        })
        .collect()
}

fn times(job: &PlannedJob<'_>) -> Times {
    let near = if job.thickness_mm <= SKIP_UP_TO_MM + 1e-9 {
        SKIP_THIN_MM
    } else {
        SKIP_MM
    };
    let (mut skipped, mut run, mut touched): (usize, usize, Option<Point>) = (0, 0, None);
    for cut in job.cuts {
        let is_near = touched.is_some_and(|t| t.distance(cut.pierce) <= near);
        if is_near && run < SKIP_RUN {
            (skipped, run) = (skipped + 1, run + 1);
        } else {
            (touched, run) = (Some(cut.pierce), 0);
        }
    }
    Times {
        run_s: job.time.run_s,
        arc_on_s: job.time.arc_on_s,
        touches_skipped: job.time.touches_skipped,
        touches_to_skip: skipped,
        skip_saves_s: skipped as f64 * job.touch_s,
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
