//! The shapes: what sizes they may have, and their cuts about their own zero.

use std::f64::consts::FRAC_PI_2;

use units::Point;

use super::path::{MadeCut, Pen, hole, outline};
use super::place::SPARE_MM;
use super::{MakeSettings, NotMade};

/// A shape with its finished sizes, mm and degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// A round part.
    Disc {
        /// Its diameter.
        diameter: f64,
    },
    /// A round part with a round hole in its middle.
    Ring {
        /// Diameter of the part.
        outer: f64,
        /// Diameter of the hole.
        inner: f64,
    },
    /// A rectangular part, along the sheet's edges.
    Rectangle {
        /// Along X.
        width: f64,
        /// Along Y.
        height: f64,
        /// Of its corners; 0: square.
        radius: f64,
    },
    /// A slot with round ends, cut out of the sheet.
    Slot {
        /// From end to end.
        length: f64,
        /// Across.
        width: f64,
        /// Anticlockwise from X.
        angle: f64,
    },
    /// A straight cut, sheet mm; its kerf lies beside the line, on the waste.
    Line {
        /// Where it begins; `None` for both: see `trim`.
        from: Point,
        /// Where it ends.
        to: Point,
        /// What is kept lies left of the way from one to the other; else right.
        keep_left: bool,
        /// Its ends are drawn in to where a kerf may end on this sheet: a bridge stays at each edge.
        trim: bool,
    },
    /// A row or a grid of round holes.
    Holes {
        /// In a row.
        count: u32,
        /// Of each.
        diameter: f64,
        /// From middle to middle in a row.
        pitch: f64,
        /// Direction of a row, anticlockwise from X.
        angle: f64,
        /// So many rows.
        rows: u32,
        /// From row to row.
        row_pitch: f64,
    },
}

/// Nothing on a table is larger, mm.
const LARGEST_MM: f64 = 20_000.0;
/// No more holes at once: a longer program is drawn elsewhere.
const MOST_HOLES: u32 = 400;
/// A hole is small below this, mm, or below so many thicknesses, and cut at this part of the feed
/// (`hole-feed`).
const SMALL_MM: f64 = 32.0;
const SMALL_T: f64 = 6.0;
const SMALL_FEED: f64 = 0.6;

impl Shape {
    /// Whether it can come out well.
    ///
    /// # Errors
    /// A size that is none, or that a rule of vetting would not pass: what, why, what to do.
    pub fn check(&self, settings: &MakeSettings) -> Result<(), NotMade> {
        match *self {
            Self::Disc { diameter } => {
                size("diameter", diameter)?;
                part_size("disc", diameter, settings)
            }
            Self::Ring { outer, inner } => {
                size("outer diameter", outer)?;
                size("inner diameter", inner)?;
                if inner >= outer {
                    return Err(NotMade::plain(
                        format!("A ring of {outer} mm has no room for a hole of {inner} mm."),
                        "Give an inner diameter below the outer one.",
                    ));
                }
                inside("hole", inner, settings)?;
                web("ring", (outer - inner) / 2.0, settings)
            }
            Self::Rectangle {
                width,
                height,
                radius,
            } => {
                size("width", width)?;
                size("height", height)?;
                if !(0.0..=width.min(height) / 2.0).contains(&radius) {
                    return Err(NotMade::plain(
                        format!("{radius} mm is no corner radius of {width} x {height} mm."),
                        "Give one from 0 to half the shorter side.",
                    ));
                }
                part_size("rectangle", width.min(height), settings)
            }
            Self::Slot {
                length,
                width,
                angle,
            } => {
                size("length", length)?;
                size("width", width)?;
                turned(angle)?;
                if length < width + 0.1 {
                    return Err(NotMade::plain(
                        format!(
                            "A slot of {length} mm is not longer than its width of {width} mm."
                        ),
                        "Give a longer one, or make a hole.",
                    ));
                }
                inside("slot", width, settings)
            }
            Self::Line { from, to, .. } => {
                let near = |p: Point| p.x.abs() <= LARGEST_MM && p.y.abs() <= LARGEST_MM;
                if !near(from) || !near(to) {
                    return Err(NotMade::plain(
                        "The line does not lie on any sheet.".into(),
                        "Give its places in mm from the sheet's lower left corner.",
                    ));
                }
                let shortest = 4.0 * settings.kerf_mm;
                if from.distance(to) < shortest {
                    return Err(NotMade::by(
                        "stray-cut",
                        format!(
                            "A line of {:.1} mm is hardly longer than its kerf is wide.",
                            from.distance(to)
                        ),
                        "Give a line of four kerfs or more.",
                    ));
                }
                Ok(())
            }
            Self::Holes {
                count,
                diameter,
                pitch,
                angle,
                rows,
                row_pitch,
            } => {
                size("diameter", diameter)?;
                turned(angle)?;
                if !(1..=MOST_HOLES).contains(&count.saturating_mul(rows)) {
                    return Err(NotMade::plain(
                        format!("{count} x {rows} holes are none or more than {MOST_HOLES}."),
                        "Make fewer at once.",
                    ));
                }
                inside("hole", diameter, settings)?;
                for (many, name, pitch) in [(count, "pitch", pitch), (rows, "row pitch", row_pitch)]
                {
                    if many > 1 {
                        size(name, pitch)?;
                        web("web between two holes", pitch - diameter, settings)?;
                    }
                }
                Ok(())
            }
        }
    }

    /// The narrower size of the part that comes free.
    fn across(&self) -> f64 {
        match *self {
            Self::Disc { diameter } => diameter,
            Self::Ring { outer, .. } => outer,
            Self::Rectangle { width, height, .. } => width.min(height),
            Self::Slot { .. } | Self::Line { .. } | Self::Holes { .. } => f64::INFINITY,
        }
    }

    /// Its cuts in order, about its own zero: holes first. A line's are sheet mm.
    pub(super) fn cuts(
        &self,
        settings: &MakeSettings,
        sheet: Point,
    ) -> Result<Vec<MadeCut>, NotMade> {
        let (half, feed) = (settings.kerf_mm / 2.0, settings.feed_mm_min);
        let lead = settings.outline_lead_mm(self.across());
        let round = |r: f64| {
            let mut pen = Pen::at(0.0, -r);
            pen.arc((0.0, -r), (0.0, 0.0), true);
            pen.path
        };
        Ok(match *self {
            Self::Disc { diameter } => {
                vec![outline("disc", round(diameter / 2.0 + half), lead, feed)]
            }
            Self::Ring { outer, inner } => vec![
                // It ends where the way to the outline begins, so that none leads over its slug.
                settings.hole(Point::default(), inner, -FRAC_PI_2, "hole of the ring"),
                outline("outline of the ring", round(outer / 2.0 + half), lead, feed),
            ],
            Self::Rectangle {
                width,
                height,
                radius,
            } => {
                let path = rectangle(width / 2.0 + half, height / 2.0 + half, radius + half);
                vec![outline("rectangle", path, lead, feed)]
            }
            Self::Slot {
                length,
                width,
                angle,
            } => vec![settings.slot(length, width).placed(Point::default(), angle)],
            Self::Line {
                from,
                to,
                keep_left,
                trim,
            } => vec![line(settings, sheet, (from, to), keep_left, trim)?],
            Self::Holes {
                count,
                diameter,
                pitch,
                angle,
                rows,
                row_pitch,
            } => {
                let turn = angle.to_radians();
                let (c, s) = (turn.cos(), turn.sin());
                let middles: Vec<_> = (0..rows)
                    .flat_map(|r| {
                        // There and back: the way to the next hole stays short.
                        (0..count).map(move |i| {
                            if r % 2 == 0 {
                                (i, r)
                            } else {
                                (count - 1 - i, r)
                            }
                        })
                    })
                    .map(|(i, r)| (f64::from(i) * pitch, f64::from(r) * row_pitch))
                    .map(|(x, y)| Point::new(x * c - y * s, x * s + y * c))
                    .collect();
                let mut toward = turn;
                (0..middles.len())
                    .map(|i| {
                        if let Some(next) = middles.get(i + 1) {
                            toward = (next.y - middles[i].y).atan2(next.x - middles[i].x);
                        }
                        settings.hole(middles[i], diameter, toward, "hole")
                    })
                    .collect()
            }
        })
    }
}

/// Narrower parts may fall between usual slats, mm (common practice, number invented).
const MAY_FALL_MM: f64 = 80.0;

impl MakeSettings {
    /// What `lead-in-short` offers, mm.
    pub(super) fn lead_mm(&self) -> f64 {
        (1.5 * self.thickness_mm).max(4.0)
    }

    /// Of an outline. A part that may fall through the slats comes free a little before its contour
    /// closes, as soon as the kerf meets that of the lead-in; with a tight lead-in there is less left
    /// to cut by then (`path-in-void`). The pierce still lies beyond its splash (`lead-in-short`).
    fn outline_lead_mm(&self, across: f64) -> f64 {
        if across >= MAY_FALL_MM {
            return self.lead_mm();
        }
        let w = self.kerf_mm;
        let splash = (1.5 * w).max(0.8 * w + 1.0 + 0.3 * self.thickness_mm);
        (splash + 0.05 - w / 2.0).max(1.1 * w)
    }

    fn inside_feed(&self, across: f64) -> f64 {
        let small = across < SMALL_MM.max(SMALL_T * self.thickness_mm);
        self.feed_mm_min * if small { SMALL_FEED } else { 1.0 }
    }

    fn hole(&self, middle: Point, diameter: f64, toward: f64, name: &'static str) -> MadeCut {
        let radius = (diameter - self.kerf_mm) / 2.0;
        let lead = self.lead_mm().min(radius);
        hole(
            (middle, radius),
            toward,
            lead,
            self.inside_feed(diameter),
            name,
        )
    }

    /// Round its middle, anticlockwise from its right end; pierced on its middle line.
    fn slot(&self, length: f64, width: f64) -> MadeCut {
        let r = (width - self.kerf_mm) / 2.0;
        let straight = (length - width) / 2.0;
        let lead = self.lead_mm().max(r).min(straight + r);
        let mut pen = Pen::at(straight + r - lead, 0.0);
        pen.line(straight + r, 0.0);
        pen.arc((straight, r), (straight, 0.0), false);
        pen.line(-straight, r);
        pen.arc((-straight, -r), (-straight, 0.0), false);
        pen.line(straight, -r);
        pen.arc((straight + r, 0.0), (straight, 0.0), false);
        MadeCut {
            name: "slot",
            path: pen.path,
            lead_in: 1,
            over_burn: 0,
            feed_mm_min: self.inside_feed(length),
        }
    }
}

/// Clockwise from the middle of the lower side; `x`, `y`: half its sides.
fn rectangle(x: f64, y: f64, r: f64) -> Vec<units::Segment> {
    let mut pen = Pen::at(0.0, -y);
    pen.line(-x + r, -y);
    pen.arc((-x, -y + r), (-x + r, -y + r), true);
    pen.line(-x, y - r);
    pen.arc((-x + r, y), (-x + r, y - r), true);
    pen.line(x - r, y);
    pen.arc((x, y - r), (x - r, y - r), true);
    pen.line(x, -y + r);
    pen.arc((x - r, -y), (x - r, -y + r), true);
    pen.line(0.0, -y);
    pen.path
}

/// A straight cut, half a kerf beside its line on the waste, with what is kept right of travel: the
/// better edge lies there (`direction-of-cut`).
fn line(
    settings: &MakeSettings,
    sheet: Point,
    (mut from, mut to): (Point, Point),
    keep_left: bool,
    trim: bool,
) -> Result<MadeCut, NotMade> {
    if keep_left {
        (from, to) = (to, from);
    }
    let long = from.distance(to);
    let (x, y) = ((to.x - from.x) / long, (to.y - from.y) / long);
    // Left of travel is the waste.
    let aside = |p: Point| p.moved(-y * settings.kerf_mm / 2.0, x * settings.kerf_mm / 2.0);
    let (mut from, mut to) = (aside(from), aside(to));
    if trim {
        let border = settings.border_mm() + settings.kerf_mm / 2.0 + SPARE_MM;
        let drawn_in = |p: Point| {
            Point::new(
                p.x.min(sheet.x - border).max(border),
                p.y.min(sheet.y - border).max(border),
            )
        };
        // Trim lines run along the sheet's edges: drawing in along the line moves none aside.
        let (a, b) = (drawn_in(from), drawn_in(to));
        (from, to) = if (x == 0.0 && a.x == from.x) || (y == 0.0 && a.y == from.y) {
            (a, b)
        } else {
            return Err(NotMade::by(
                "near-edge",
                "The trim line lies too near to the sheet's edge, or off the sheet.".into(),
                "Give a line further in.",
            ));
        };
    }
    Ok(MadeCut {
        name: "line",
        path: vec![units::Segment::Line { from, to }],
        lead_in: 0,
        over_burn: 0,
        feed_mm_min: settings.feed_mm_min,
    })
}

fn size(name: &str, mm: f64) -> Result<(), NotMade> {
    if mm.is_finite() && mm > 0.0 && mm <= LARGEST_MM {
        return Ok(());
    }
    Err(NotMade::plain(
        format!("{mm} mm is no {name} (above 0, up to {LARGEST_MM} mm)."),
        "Give the finished size.",
    ))
}

fn turned(angle: f64) -> Result<(), NotMade> {
    if angle.is_finite() && angle.abs() <= 360.0 {
        return Ok(());
    }
    Err(NotMade::plain(
        format!("{angle} is no angle (-360 to 360 degrees)."),
        "Give it in degrees, anticlockwise.",
    ))
}

/// Whether an opening is wide enough for its pierce and its edge.
fn inside(what: &str, across: f64, settings: &MakeSettings) -> Result<(), NotMade> {
    let by_t = 1.5 * settings.thickness_mm;
    if across < by_t {
        return Err(NotMade::by(
            "hole-too-small",
            format!(
                "A {what} of {across} mm in {} mm is under 1.5 x thickness ({by_t:.1} mm): it comes out \
                 tapered and slag fills it.",
                settings.thickness_mm
            ),
            "Mark it and drill it.",
        ));
    }
    // A little more than the rule: numbers are written with four decimals.
    let by_w = 3.0 * settings.kerf_mm + 0.01;
    if across < by_w {
        return Err(NotMade::by(
            "no-lead-in",
            format!(
                "A {what} of {across} mm is under 3 x kerf ({by_w:.2} mm): its pierce would lie on its \
                 own edge.",
            ),
            "Drill or mill it, or make it wider.",
        ));
    }
    Ok(())
}

fn part_size(what: &str, across: f64, settings: &MakeSettings) -> Result<(), NotMade> {
    let limit = (1.5 * settings.thickness_mm).max(3.0 * settings.kerf_mm);
    if across >= limit {
        return Ok(());
    }
    Err(NotMade::by(
        "web-too-thin",
        format!(
            "A {what} of {across} mm is under {limit:.1} mm across (1.5 x thickness, 3 x kerf): it melts."
        ),
        "Make it larger, or saw it.",
    ))
}

fn web(what: &str, across: f64, settings: &MakeSettings) -> Result<(), NotMade> {
    let limit = settings.thickness_mm.max(2.0);
    if across >= limit {
        return Ok(());
    }
    Err(NotMade::by(
        "web-too-thin",
        format!(
            "A {what} of {across:.2} mm is under {limit} mm (one thickness or 2 mm): it warps and melts."
        ),
        "Give it more metal.",
    ))
}
