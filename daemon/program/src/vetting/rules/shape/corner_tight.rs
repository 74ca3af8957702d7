//! An inner corner of the part that is drawn sharper than the kerf can be.
//!
//! The torch's path turns an inner corner toward the scrap: an outline's to the left when it goes
//! clockwise. Where it turns with a radius r the finished edge, half a kerf further out, has r + w/2,
//! so no inner corner can come out below w/2. A path that turns one under half the kerf, a plain
//! corner among them (r = 0), wants a corner that cannot be reached or was drawn on the finished
//! edge itself; either way the drawing is not what will come out, and it is noted. Turns are summed
//! over short pieces, so that an arc in facets is judged like the arc.

use crate::vetting::rules::page::Page;
use units::Segment;
use units::motion::{bends_less, turn};

use crate::vetting::rules::reading::not_judged;
use crate::contours::{Contour, Kind};
use crate::report::findings::{Findings, Spot};
use crate::vetting::lead::{each, joint, name};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "corner-tight";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a kerf (chart row or setup)",
    measured: || "The radius of inner corners.".to_owned(),
    limit: || "Half the kerf: a round torch cuts no smaller one.".to_owned(),
    source: "Geometry.",
};

/// Less of a turn is no corner, radians (20 degrees).
const CORNER: f64 = 0.349;
/// At an arc more of a turn is no corner but a mistake, radians (100 degrees).
const WRONG_WAY: f64 = 1.745;
/// Less of a turn is a kink of rounding, radians.
const KINK: f64 = 0.02;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(contours) = not_judged::contours(sheet, findings, NAME) else {
        return;
    };
    let Some(kerf) = sheet.input.kerf_mm else {
        return;
    };
    for (cut, number, contour) in each(sheet, contours) {
        let meets = joint(sheet, contour).at_mm;
        let tight = corners(cut, contour, meets, kerf);
        let Some(first) = tight.first() else {
            continue;
        };
        let Some(e) = cut.path.get(first.piece) else {
            continue;
        };
        let radius = tight.iter().fold(f64::INFINITY, |r, c| r.min(c.radius_mm));
        let spot = Spot::element(number, e).at(sheet.placer.place(e.segment.from()));
        findings.note(NAME, spot, || {
            let many = match tight.len() {
                1 => "One inner corner".to_owned(),
                n => format!("{n} inner corners"),
            };
            (
                format!(
                    "{many} of this {} turn{} with a radius of {} mm in the path, under half the kerf \
                     ({} mm): none comes out sharper than that.",
                    name(contour.kind),
                    if tight.len() == 1 { "s" } else { "" },
                    mm(radius),
                    mm(kerf / 2.0)
                ),
                "Round them in the drawing, or file them out afterwards.".to_owned(),
            )
        });
    }
}

#[derive(Clone, Copy)]
struct Corner {
    /// The piece behind it, or the arc itself.
    piece: usize,
    radius_mm: f64,
}

/// Turns toward the scrap that follow each other without a stretch between.
#[derive(Default)]
struct Run {
    turned: f64,
    length_mm: f64,
    piece: Option<usize>,
}

impl Run {
    fn add(&mut self, piece: usize, turned: f64, length_mm: f64) {
        self.turned += turned;
        self.length_mm += length_mm;
        self.piece.get_or_insert(piece);
    }

    fn close(&mut self, found: &mut Vec<Corner>) {
        if let Some(piece) = self.piece.filter(|_| self.turned > CORNER) {
            found.push(Corner { piece, radius_mm: self.length_mm / self.turned });
        }
        *self = Self::default();
    }
}

fn corners(cut: &crate::Cut, contour: &Contour, meets: f64, kerf: f64) -> Vec<Corner> {
    // Toward the scrap: outside an outline, inside a hole.
    let left = contour.clockwise() == (contour.kind == Kind::Outline);
    let toward = |turned: f64| if left { turned } else { -turned };
    let limit = kerf / 2.0 - 1e-3;
    let straight = KINK.cos();
    let (mut found, mut run, mut along) = (Vec::new(), Run::default(), 0.0);
    for (i, e) in cut.path.iter().enumerate() {
        let length = e.segment.length();
        let on_contour = along >= meets - 0.05 && along < contour.closed_mm - 0.05;
        let before = i.checked_sub(1).and_then(|k| cut.path.get(k)).map(|e| e.segment);
        // The corners in which the lead-in meets the contour and the lead-out leaves it are none
        // of the part.
        let of_part = along > meets + kerf && along < contour.closed_mm - kerf;
        let before = before.filter(|_| of_part);
        if let Some(before) = before
            && bends_less(&before, &e.segment, straight)
        {
            // Straight on, as nearly every piece is.
            if length >= kerf {
                run.close(&mut found);
            }
        } else if let Some(before) = before.filter(|b| !wrong_way(b, &e.segment)) {
            let turned = toward(turn(&before, &e.segment));
            let radius = chord_radius(&before, &e.segment, turned, kerf);
            if turned > KINK && radius < limit {
                run.add(i, turned, radius * turned);
            } else if turned.abs() > KINK || length >= kerf {
                run.close(&mut found);
            }
        }
        if on_contour && length > 0.0 {
            let turned = toward(e.segment.sweep());
            match e.segment.radius() {
                Some(r) if turned > 0.0 && r < limit => run.add(i, turned, length),
                Some(_) => run.close(&mut found),
                None if length >= kerf => run.close(&mut found),
                None => {}
            }
        }
        along += length;
    }
    run.close(&mut found);
    found
}

/// Arcs that go the wrong way break the path by more than a right angle; that has a rule of its own.
fn wrong_way(a: &Segment, b: &Segment) -> bool {
    let arc = a.radius().is_some() || b.radius().is_some();
    arc && turn(a, b).abs() > WRONG_WAY
}

/// The radius of the arc that two short straight pieces stand for; 0 for a plain corner.
fn chord_radius(a: &Segment, b: &Segment, turned: f64, kerf: f64) -> f64 {
    let straight = |s: &Segment| s.radius().is_none().then(|| s.length()).filter(|l| *l < kerf);
    match (straight(a), straight(b)) {
        (Some(a), Some(b)) => f64::midpoint(a, b) / (2.0 * (turned.abs() / 2.0).tan()),
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, found, nothing};

    /// The frame's outline with a notch in its left edge, whose two inner corners are rounded so:
    /// 0 facets is an arc.
    fn notch(r: f64, facets: u32) -> String {
        let mut text = format!("G1 X0\nG1 Y30\nG1 X{:.4}\n", 15.0 - r);
        for (x, y, from) in [(15.0 - r, 30.0 + r, -90.0), (15.0 - r, 50.0 - r, 0.0)] {
            let place = |deg: f64| {
                let a = f64::to_radians(deg);
                (x + r * a.cos(), y + r * a.sin())
            };
            if r > 0.0 && facets == 0 {
                let (to, start) = (place(from + 90.0), place(from));
                text += &format!(
                    "G3 X{:.4} Y{:.4} I{:.4} J{:.4}\n",
                    to.0, to.1, x - start.0, y - start.1
                );
            }
            for k in 1..=facets {
                let to = place(from + 90.0 * f64::from(k) / f64::from(facets));
                text += &format!("G1 X{:.4} Y{:.4}\n", to.0, to.1);
            }
            let (x, y) = if from < 0.0 { (15.0, 50.0 - r) } else { (0.0, 50.0) };
            text += &format!("G1 X{x:.4} Y{y:.4}\n");
        }
        PROGRAM.replace("G1 X0\nG1 Y80", &format!("{text}G1 Y80"))
    }

    fn of_rule(all: &[String]) -> Vec<&str> {
        all.iter().filter(|f| f.contains(super::NAME)).map(String::as_str).collect()
    }

    #[test]
    fn an_inner_corner_under_half_the_kerf_is_noted_once_a_contour() {
        assert_eq!(found(&notch(0.0, 0)), ["note corner-tight 13:1 2"]);
        assert_eq!(found(&notch(0.7, 0)), ["note corner-tight 13:1 2"]);
        assert_eq!(found(&notch(0.73, 0)), nothing());
    }

    #[test]
    fn an_arc_in_facets_is_judged_like_the_arc() {
        for facets in [6, 12] {
            assert_eq!(of_rule(&found(&notch(0.6, facets))).len(), 1, "{facets}");
            assert!(of_rule(&found(&notch(0.8, facets))).is_empty(), "{facets}");
        }
    }

    #[test]
    fn outside_corners_and_the_joint_may_be_sharp() {
        assert_eq!(found(PROGRAM), nothing());
    }
}
