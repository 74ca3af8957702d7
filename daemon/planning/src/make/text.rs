//! The program's text.

use std::fmt::Write as _;

use program::Setup;
use units::{Placement, Point, Segment};

use super::path::MadeCut;
use super::{MakeSettings, Shape};

/// The program: what it is, then cut by cut, in the program's own coordinates.
pub(super) fn write(
    shape: &Shape,
    setup: &Setup,
    settings: &MakeSettings,
    cuts: &[MadeCut],
) -> String {
    let mut text = String::new();
    let row = plain(&settings.row);
    let kerf = number(settings.kerf_mm);
    // Writing into a string cannot fail.
    let _ = writeln!(text, "({})", what(shape));
    let _ = writeln!(text, "(chart row {row}, kerf {kerf} mm in the numbers)");
    let _ = writeln!(text, "G21 G90 G17 G40");
    let back = |p: Point| back(setup, p);
    for (n, cut) in cuts.iter().enumerate() {
        let _ = writeln!(text, "(cut {}: {})", n + 1, cut.name);
        let pierce = back(cut.pierce());
        let _ = writeln!(text, "G00 X{} Y{}", number(pierce.x), number(pierce.y));
        let _ = writeln!(text, "M03");
        let mut feed = format!(" F{}", short(cut.feed_mm_min));
        for piece in &cut.path {
            let (from, to) = (back(piece.from()), back(piece.to()));
            let to = format!("X{} Y{}", number(to.x), number(to.y));
            let _ = match *piece {
                Segment::Line { .. } => writeln!(text, "G01 {to}{feed}"),
                Segment::Arc {
                    centre, clockwise, ..
                } => {
                    let c = back(centre);
                    let (i, j) = (number(c.x - from.x), number(c.y - from.y));
                    let word = if clockwise { "G02" } else { "G03" };
                    writeln!(text, "{word} {to} I{i} J{j}{feed}")
                }
            };
            feed.clear();
        }
        let _ = writeln!(text, "M05");
    }
    text.push_str("M02\n");
    text
}

fn what(shape: &Shape) -> String {
    match *shape {
        Shape::Disc { diameter } => format!("disc, diameter {} mm finished", number(diameter)),
        Shape::Ring { outer, inner } => format!(
            "ring, outer {} mm, inner {} mm finished",
            number(outer),
            number(inner)
        ),
        Shape::Rectangle {
            width,
            height,
            radius,
        } => format!(
            "rectangle, width {} mm, height {} mm, corners {} mm finished",
            number(width),
            number(height),
            number(radius)
        ),
        Shape::Slot { length, width, .. } => format!(
            "slot, length {} mm, width {} mm finished",
            number(length),
            number(width)
        ),
        Shape::Line { .. } => "straight cut".to_owned(),
        Shape::Holes {
            count,
            diameter,
            rows,
            ..
        } => format!(
            "{rows} x {count} holes, diameter {} mm finished",
            number(diameter)
        ),
    }
}

/// Into the program's coordinates.
fn back(setup: &Setup, p: Point) -> Point {
    let unturned = Placement {
        origin: Point::default(),
        rotation_deg: -setup.rotation,
    };
    unturned.place(p.moved(-setup.origin.x, -setup.origin.y))
}

/// Four decimals: what a controller takes (`digits-excess`), without trailing zeros.
fn number(mm: f64) -> String {
    let text = format!("{mm:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.to_owned()
}

fn short(feed: f64) -> String {
    number((feed * 10.0).round() / 10.0)
}

/// A name as a comment may hold it.
fn plain(name: &str) -> String {
    let fit = |c: char| c.is_ascii_alphanumeric() || " .,-+_".contains(c);
    let chars = name.chars().take(60);
    chars.map(|c| if fit(c) { c } else { ' ' }).collect()
}
