//! A lead-in that cuts into the part or into its neighbour.

use crate::vetting::rules::page::Page;
use units::{Bounds, Point};

use crate::vetting::rules::reading::not_judged;
use crate::contours::{Contour, Kind};
use crate::report::findings::Findings;
use crate::geometry::plane::between;
use crate::vetting::lead::{each, joint, pierce, place_on};
use crate::contours::near::{Crowd, Near, middles};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "lead-in-crosses";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "a kerf (chart row or setup)",
    measured: || "Where the lead-in runs before its last kerf.".to_owned(),
    limit: || "Not into the part, and not within half a kerf of a neighbour.".to_owned(),
    source: "Common practice, no source.",
};

/// Polylines of arcs are no truer than this, mm.
const DEEP_MM: f64 = 0.05;
/// A lead-in is compared with no more other contours than this: so many on one place are each
/// other's copies.
const CROWD: usize = 256;
/// So many pieces before the joint are looked at: what is longer is no lead-in.
const PIECES: usize = 200;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    if not_judged::contours(sheet, findings, NAME).is_none() {
        return;
    }
    let (Some(near), Some(kerf)) = (sheet.near(), sheet.input.kerf_mm) else {
        return;
    };
    for (_, _, contour) in each(sheet, near.contours) {
        // Within one kerf of the joint a lead-in may touch anything.
        let until = joint(sheet, contour).at_mm - kerf;
        if until <= 0.0 {
            continue;
        }
        let line = near.flat.line(contour.cut);
        let lead = line.part(0.0, until);
        let lead = &lead[lead.len().saturating_sub(PIECES)..];
        let into = own(sheet, contour, lead)
            .or_else(|| neighbour(near, contour, lead, line.at(until + kerf), kerf));
        let Some((at, what)) = into else {
            continue;
        };
        findings.refuse(NAME, place_on(sheet, contour.cut, at), || {
            (
                what,
                format!(
                    "Shorten or turn the lead-in so that it stays in the scrap up to one kerf ({} mm) \
                     before its joint.",
                    mm(kerf)
                ),
            )
        });
    }
}

/// The lead-in enters the part's side of its own contour.
fn own(
    sheet: &OnSheet<'_>,
    contour: &Contour,
    lead: &[Point],
) -> Option<(Point, String)> {
    let overlaps = bounds(lead).is_some_and(|b| meets(&b, &contour.bounds));
    // A pierce on the part is told by its own rule; its lead-in always crosses.
    if !overlaps || pierce(sheet, contour).on_part {
        return None;
    }
    let mut parts = Vec::new();
    for l in lead.windows(2) {
        contour.edges().crossings(&contour.points, l[0], l[1], &mut parts);
    }
    if parts.is_empty() {
        return None;
    }
    let deep = |p: &Point| contour.on_part(*p) && contour.distance(*p) > DEEP_MM;
    let at = lead.windows(2).find_map(|l| {
        let mut tried = middles(l[0], l[1], contour);
        tried.push(l[1]);
        tried.into_iter().find(|p| deep(p))
    })?;
    let what = match contour.kind {
        Kind::Outline => "The lead-in runs through the part before it meets the outline.",
        Kind::Hole => "The lead-in runs out of the hole into the part before it meets the hole's edge.",
    };
    Some((at, what.to_owned()))
}

/// The lead-in comes within half a kerf of another contour.
fn neighbour(
    near: Near<'_>,
    contour: &Contour,
    lead: &[Point],
    joint: Point,
    kerf: f64,
) -> Option<(Point, String)> {
    let reach = kerf / 2.0;
    let mut hit: Option<(usize, f64, Point)> = None;
    let (mut shared, mut crowd) = (None, Crowd::default());
    near.about(&bounds(lead)?, reach, usize::MAX, |cut, c, d| {
        // An open path has no side, and no part of its own.
        let other = near.contours.of_cut(cut).filter(|_| cut != contour.cut);
        let Some(other) = other.filter(|_| hit.is_none_or(|h| cut <= h.0)) else {
            return false;
        };
        for l in lead.windows(2) {
            let (off, at) = between(l[0], l[1], c, d);
            if off < reach - 1e-3 && hit.is_none_or(|h| (cut, off) < (h.0, h.1)) {
                // Where the contours themselves lie on each other, the lead-in is not to blame.
                let known = shared.filter(|(of, _)| *of == cut).map(|(_, lies)| lies);
                let lies = known.unwrap_or_else(|| {
                    other.edges().nearer(&other.points, joint, reach.next_up()).is_some()
                });
                shared = Some((cut, lies));
                if !lies {
                    hit = Some((cut, off, at));
                }
            }
        }
        crowd.count(cut) > CROWD
    });
    hit.map(|(cut, off, at)| {
        let says = format!(
            "The lead-in comes within {} mm of the contour of cut {} (half a kerf, {} mm, must stay \
             free).",
            mm(off),
            cut + 1,
            mm(reach)
        );
        (at, says)
    })
}

fn bounds(points: &[Point]) -> Option<Bounds> {
    let (first, rest) = points.split_first()?;
    let mut b = Bounds::of(*first);
    rest.iter().for_each(|p| b.add(*p));
    Some(b)
}

fn meets(a: &Bounds, b: &Bounds) -> bool {
    a.low.x <= b.high.x && a.high.x >= b.low.x && a.low.y <= b.high.y && a.high.y >= b.low.y
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing, of_shape};

    #[test]
    fn a_lead_in_through_the_corner_of_the_part_is_refused() {
        // From beside the lower right corner to below it.
        let past = |x: f64| {
            let lead = format!("G0 X{} Y8\nM3\nG1 X{} Y-4 F1100\n", x + 8.0, x - 4.0);
            of_shape(found(&PROGRAM.replace("G0 X66 Y-8\nM3\n", &lead)))
        };
        assert_eq!(past(100.1), nothing());
        assert_eq!(past(99.8), ["refuse lead-in-crosses 9:1 2"]);
    }

    #[test]
    fn a_lead_in_out_of_the_hole_and_back_is_refused() {
        let out = |y: f64| {
            let lead = format!("G0 X45 Y40\nM3\nG1 X45 Y{y} F660\nG1 X50 Y40\n");
            found(&PROGRAM.replace("G0 X45 Y40\nM3\nG1 X50 F660\n", &lead))
        };
        assert_eq!(out(49.0), ["refuse lead-in-crosses 4:1 1"]);
        assert_eq!(out(48.6), nothing());
    }

    #[test]
    fn a_lead_in_within_half_a_kerf_of_a_neighbour_is_refused() {
        // A hole in the sheet below the lead-in, whose edge comes so near to its middle.
        let with = |apart: f64| {
            let (x, y) = (58.0 - 0.4472 * (10.0 + apart), -4.0 - 0.8944 * (10.0 + apart));
            let ring = format!(
                "G0 X{:.4} Y{y:.4}\nM3\nG1 X{:.4} F660\nG3 X{1:.4} Y{y:.4} I-10 J0\nM5\n",
                x + 5.0,
                x + 10.0
            );
            of_shape(found(&PROGRAM.replace("G0 X66 Y-8\n", &format!("{ring}G0 X66 Y-8\n"))))
        };
        let web = "warn web-too-thin 19:1 3";
        assert_eq!(with(0.7), ["refuse lead-in-crosses 14:1 3", web]);
        assert_eq!(with(0.75), [web]);
    }

    #[test]
    fn within_one_kerf_of_the_joint_it_may_touch_the_part() {
        assert_eq!(changed("M3\nG1 X50 Y0 F1100", "M3\nG1 X51.3 Y-0.5 F1100\nG1 X50.6 Y0.3\nG1 X50 Y0"), nothing());
    }
}
