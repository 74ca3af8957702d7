//! Commands put into a dialect's words.

use core::f64::consts::TAU;

use units::{Point, Segment};

use crate::dialect::{Capability, Dialect, NumberForm};
use crate::modal::Text;
use crate::raw::{FeedUnit, LengthUnit};
use crate::template::{Template, Value, measure};
use crate::words::Command;

const MM_PER_INCH: f64 = 25.4;

impl LengthUnit {
    /// From millimetres.
    pub fn of_mm(self, mm: f64) -> f64 {
        match self {
            Self::Mm => mm,
            Self::Inch => mm / MM_PER_INCH,
        }
    }

    /// To millimetres.
    pub fn to_mm(self, n: f64) -> f64 {
        match self {
            Self::Mm => n,
            Self::Inch => n * MM_PER_INCH,
        }
    }
}

impl FeedUnit {
    /// From mm/s.
    pub fn of_mm_s(self, mm_s: f64) -> f64 {
        match self {
            Self::MmS => mm_s,
            Self::MmMin => mm_s * 60.0,
            Self::InchMin => mm_s * 60.0 / MM_PER_INCH,
        }
    }

    /// To mm/s.
    pub fn to_mm_s(self, n: f64) -> f64 {
        match self {
            Self::MmS => n,
            Self::MmMin => n / 60.0,
            Self::InchMin => n * MM_PER_INCH / 60.0,
        }
    }
}

/// The lines that say a command, without number and frame; or why it cannot be said.
pub(crate) fn texts(d: &Dialect, command: &Command) -> Result<Vec<Text>, String> {
    let c = &d.commands;
    let n = d.numbers;
    match command {
        Command::RapidXy(p) => fill(&c.rapid_xy, n, &[("x", p.x), ("y", p.y)], None),
        Command::RapidZ(z) => fill(&c.rapid_z, n, &[("z", *z)], None),
        Command::FeedZ { z, mm_s } => fill(&c.feed_z, n, &[("z", *z)], Some(*mm_s)),
        Command::Path { segment, mm_s } => path(d, segment, *mm_s),
        Command::TorchOn => fill(&c.torch_on, n, &[], None),
        Command::TorchOff => fill(&c.torch_off, n, &[], None),
        Command::SenseOn => able(
            c.sense.as_ref().map(|s| &s[0]),
            "switch the sensing circuit",
            n,
        ),
        Command::SenseOff => able(
            c.sense.as_ref().map(|s| &s[1]),
            "switch the sensing circuit",
            n,
        ),
        Command::TouchOff { to_z, mm_s } => match &c.touch_off {
            Some(forms) => fill(forms, n, &[("z", *to_z)], Some(*mm_s)),
            None => Err(cannot("touch off")),
        },
        Command::Home => able(c.home.as_ref(), "reference its axes", n),
    }
}

/// A feed that is written as 0 would never end.
fn says_something(feed: f64, decimals: usize) -> bool {
    measure(feed, decimals)
        .parse::<f64>()
        .is_ok_and(|written| written > 0.0)
}

fn cannot(what: &str) -> String {
    format!("this controller's dialect has no way to {what}")
}

fn able(forms: Option<&Vec<Template>>, what: &str, n: NumberForm) -> Result<Vec<Text>, String> {
    fill(forms.ok_or_else(|| cannot(what))?, n, &[], None)
}

fn fill(
    forms: &[Template],
    n: NumberForm,
    lengths: &[(&str, f64)],
    feed_mm_s: Option<f64>,
) -> Result<Vec<Text>, String> {
    if let Some(feed) = feed_mm_s
        && (!feed.is_finite() || !says_something(n.feed.of_mm_s(feed), n.feed_decimals))
    {
        return Err(format!("a feed of {feed} mm/s cannot be said"));
    }
    forms
        .iter()
        .map(|form| {
            form.fill(|field| {
                if field == "feed" {
                    return feed_mm_s.map(|f| Value::Measure(n.feed.of_mm_s(f), n.feed_decimals));
                }
                lengths
                    .iter()
                    .find(|(name, _)| *name == field)
                    .map(|(_, mm)| Value::Measure(n.length.of_mm(*mm), n.decimals))
            })
            .map(|full| Text {
                full,
                groups: form.groups.clone(),
            })
            .ok_or_else(|| "a place that is no number cannot be said".to_owned())
        })
        .collect()
}

fn path(d: &Dialect, segment: &Segment, mm_s: f64) -> Result<Vec<Text>, String> {
    let c = &d.commands;
    let n = d.numbers;
    let line = |to: Point| fill(&c.line, n, &[("x", to.x), ("y", to.y)], Some(mm_s));
    let Segment::Arc {
        from,
        to,
        centre,
        clockwise,
    } = *segment
    else {
        return line(segment.to());
    };
    let (radius, sweep) = (from.distance(centre), segment.sweep().abs());
    if !(radius.is_finite() && sweep.is_finite()) {
        return Err("a place that is no number cannot be said".to_owned());
    }
    let written = |mm: f64| measure(n.length.of_mm(mm), n.decimals);
    let same_ends = written(from.x) == written(to.x) && written(from.y) == written(to.y);
    if same_ends && sweep < TAU / 2.0 {
        // Written down, so short an arc would read as a full circle.
        return line(to);
    }
    if let Some(arcs) = &c.arcs {
        let places = [
            ("x", to.x),
            ("y", to.y),
            ("i", centre.x - from.x),
            ("j", centre.y - from.y),
            ("cx", centre.x),
            ("cy", centre.y),
        ];
        return fill(&arcs[usize::from(!clockwise)], n, &places, Some(mm_s));
    }
    let off = c.chord_off_mm.min(radius);
    let step = 2.0 * (1.0 - off / radius.max(f64::MIN_POSITIVE)).acos();
    let count = if step > 0.0 {
        (sweep / step).ceil().clamp(1.0, 4096.0)
    } else {
        1.0
    };
    let length = segment.length();
    let mut lines = Vec::new();
    for k in 1..=count as usize {
        lines.extend(line(segment.point_at(length * k as f64 / count))?);
    }
    Ok(lines)
}

/// Whether a command asks for something that the dialect cannot do.
#[must_use]
pub fn needs(command: &Command) -> Option<Capability> {
    match command {
        Command::SenseOn | Command::SenseOff => Some(Capability::Sense),
        Command::TouchOff { .. } => Some(Capability::TouchOff),
        Command::Home => Some(Capability::Home),
        _ => None,
    }
}
