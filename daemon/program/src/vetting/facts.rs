//! What vetting is told of the machine, the chart row and the supplies. All of it comes from the
//! service, which has it from the machine file and from `process`; what is not known is `None`, and
//! the rules that need it say `not-judged`.

use crate::passage::{Motion, Passage};
use serde::{Deserialize, Serialize};

/// What is known besides the program and the setup.
#[derive(Clone, Copy, Debug, Default)]
pub struct Facts<'a> {
    /// The slats that the sheet lies on.
    pub slats: Slats,
    /// What the axes can do.
    pub motion: Option<Motion>,
    /// How each cut is passed, where that was worked out already (see [`crate::passages`]).
    pub passages: Option<&'a [Option<Passage>]>,
    /// What the wire and the controller carry.
    pub link: Option<Link>,
    /// There is a chart to choose a row from.
    pub has_chart: bool,
    /// What the chart has for this sheet.
    pub chart: Chart<'a>,
    /// Where the arc's power goes; `None` where the metal is not known.
    pub energy: Option<Energy>,
    /// The power source.
    pub source: Option<Source>,
    /// How the power source's duty fares in this job.
    pub duty: Option<Forecast<'a>>,
    /// How the air fares in this job.
    pub air: Option<Air<'a>>,
    /// How this job wears the fitted set.
    pub wear: Option<Wear>,
    /// The predicted times.
    pub times: Option<Times>,
    /// The hottest place of every cut, in their order.
    pub heat: Option<&'a [Hot]>,
    /// Short pieces of the path were joined before it was vetted.
    pub joined: Option<Joined>,
    /// What the last first article reached, mm to either side.
    pub reached_tolerance_mm: Option<f64>,
}

/// The slats of the table: they decide which piece falls through and which may tip.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Slats {
    /// From slat to slat, mm.
    pub pitch_mm: f64,
    /// How far a piece can fall or tip before something stops it, mm.
    pub depth_mm: f64,
}

impl Default for Slats {
    /// Those of the invented table.
    fn default() -> Self {
        Self {
            pitch_mm: 75.0,
            depth_mm: 60.0,
        }
    }
}

/// What the wire and the controller carry. Every block goes over the wire as a framed line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// Bytes a second on the wire.
    pub bytes_s: f64,
    /// The controller takes a block every so often, s.
    pub block_s: f64,
    /// A straight piece as a framed line, bytes.
    pub line_bytes: f64,
    /// An arc as a framed line, bytes; `None`: arcs are sent as straight pieces.
    pub arc_bytes: Option<f64>,
    /// Then no further from the arc than this, mm.
    pub chord_off_mm: f64,
}

/// What the chart has for this sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Chart<'a> {
    /// There is no chart, or nobody said what lies on the table.
    #[default]
    NotGiven,
    /// It has no row; why, in words.
    Missing(&'a str),
    /// Several rows fit and none is named: their names.
    Several(&'a str),
    /// A row.
    Row(Row<'a>),
}

impl<'a> Chart<'a> {
    /// The row, where there is one.
    #[must_use]
    pub fn row(&self) -> Option<Row<'a>> {
        match *self {
            Self::Row(row) => Some(row),
            Self::NotGiven | Self::Missing(_) | Self::Several(_) => None,
        }
    }
}

/// A chart row as far as rules need it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row<'a> {
    /// Its name.
    pub name: &'a str,
    /// Current, A.
    pub amps: f64,
    /// Voltage, V.
    pub volts: f64,
    /// The sheet that it is for, mm.
    pub thickness_mm: f64,
    /// Feed, mm/s.
    pub feed_mm_s: f64,
    /// Reckoned from these two.
    pub between: Option<[&'a str; 2]>,
    /// It was named, and it is for another sheet: which.
    pub for_other: Option<&'a str>,
}

/// Where the arc's power goes, as a function of the feed v in mm/s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Energy {
    /// The arc's power, W.
    pub power_w: f64,
    /// Melting takes this times v, W s/mm.
    pub melt_j_mm: f64,
    /// The sheet beside the kerf takes this times v to the power [`Energy::side_power`], W.
    pub side_w: f64,
    /// See `side_w`.
    pub side_power: f64,
    /// Burning gives back this part of the melting power.
    pub burning: f64,
    /// The part of the power that sensible settings melt with.
    pub melting_low: f64,
    /// See `melting_low`.
    pub melting_high: f64,
}

impl Energy {
    /// The part of the arc's power that melts the kerf.
    #[must_use]
    pub fn em(&self, feed_mm_s: f64) -> f64 {
        self.melt_j_mm * feed_mm_s / self.power_w
    }

    /// The part of the arc's power that the cut needs in all.
    #[must_use]
    pub fn en(&self, feed_mm_s: f64) -> f64 {
        let melting = self.melt_j_mm * feed_mm_s * (1.0 - self.burning);
        let side = self.side_w * feed_mm_s.max(0.0).powf(self.side_power);
        (melting + side) / self.power_w
    }
}

/// The power source's rating plate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Source {
    /// Rated current, A.
    pub rated_amps: f64,
    /// Rated duty at that current (0 to 1).
    pub rated_duty: f64,
}

/// Where something first runs short, and where to wait.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Forecast<'a> {
    /// Where it runs short if nobody waits.
    pub short: Option<Moment>,
    /// Where to wait, and how long.
    pub waits: &'a [Wait],
    /// A cut that no wait helps.
    pub hopeless: Option<usize>,
    /// There are more waits than are listed.
    pub more: bool,
    /// The value at its worst: arc time in ten minutes for the duty, air for the whole job (s, L).
    pub most: f64,
    /// What is allowed of it.
    pub limit: f64,
}

/// A moment of the run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// In which cut, from 1.
    pub cut: usize,
    /// s from the start of the run.
    pub at_s: f64,
}

/// A wait.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wait {
    /// Before which cut, from 1.
    pub before_cut: usize,
    /// When it begins, s from the start of the run, earlier waits included.
    pub at_s: f64,
    /// How long, s.
    pub wait_s: f64,
}

/// How the air fares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air<'a> {
    /// Where it is short.
    pub forecast: Forecast<'a>,
    /// The receiver, L.
    pub receiver_l: f64,
    /// The compressor, L/min.
    pub compressor_l_min: f64,
    /// The torch, L/min.
    pub torch_l_min: f64,
    /// In the receiver the air is low below this, bar.
    pub low_bar: f64,
}

/// How the fitted set wears; at 1 it is changed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wear {
    /// Used before this job.
    pub before: f64,
    /// Used after it.
    pub after: f64,
    /// The cut in which it passes its change point.
    pub change_in: Option<usize>,
}

/// The predicted times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Times {
    /// The whole run, s.
    pub run_s: f64,
    /// With the arc on, s.
    pub arc_on_s: f64,
    /// Touch-offs that the cycle skips as it is set.
    pub touches_skipped: usize,
    /// Touch-offs that may be skipped: the pierce is near one that was touched.
    pub touches_to_skip: usize,
    /// What skipping them saves, s.
    pub skip_saves_s: f64,
}

/// How many pieces of path became how many by joining.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Joined {
    /// As the program writes them.
    pub from: usize,
    /// As they are cut.
    pub to: usize,
}

/// Where the sheet gets hot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hot {
    /// In which cut, from 1.
    pub cut: usize,
    /// Where, sheet mm.
    pub at: units::Point,
    /// Over the sheet's mean, K.
    pub rise_k: f64,
}
