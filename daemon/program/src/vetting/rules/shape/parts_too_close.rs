//! Two parts so close that one cut eats the other part, or that nothing is left between them.
//!
//! The finished edge lies half a kerf inside an outline's path: two outlines whose paths lie d apart
//! have finished edges d + w apart. A cut that two parts share lies on one path: w apart.

use crate::vetting::webs;
use crate::vetting::rules::page::Page;
use units::Point;

use crate::vetting::rules::reading::not_judged;
use crate::contours::{Contour, Contours, Kind};
use crate::report::findings::Findings;
use crate::report::Severity;
use crate::vetting::lead::place_on;
use crate::contours::near::{Pair, overlap};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "parts-too-close";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse or warn",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "The distance of the finished edges of two parts.".to_owned(),
    limit: || "One kerf (a shared cut) at least; a warning under two kerfs and half a thickness.".to_owned(),
    source: "Common practice, no source.",
};

/// Paths that lie deeper in each other than this cut into the other part, mm; paths nearer than
/// this lie on each other: a shared cut.
pub(crate) const SHARED_MM: f64 = 0.05;

/// How two outlines lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Closeness {
    /// One cut eats the other part, here.
    Eaten(Point),
    /// Finished edges so far apart, mm: too near.
    Near(f64),
}

/// What is wrong with a pair of cuts, where both are parts and something is.
pub(crate) fn close(contours: &Contours, pair: &Pair, kerf: f64, thickness: f64) -> Option<Closeness> {
    // A part that is cut twice is told as that.
    if contours.same(pair.a, pair.b) {
        return None;
    }
    let (a, b) = (contours.of_cut(pair.a)?, contours.of_cut(pair.b)?);
    // What lies round a contour is larger: no need to go further up than that.
    let within = |inner: &Contour, outer: &Contour| {
        let size = outer.area_mm2.abs();
        let mut at = inner.parent;
        while let Some(c) = at.and_then(|i| contours.all.get(i)) {
            if contours.same(c.cut, outer.cut) {
                return true;
            }
            if c.area_mm2.abs() > size {
                return false;
            }
            at = c.parent;
        }
        false
    };
    let nested = within(a, b) || within(b, a);
    let part = |c: &Contour| c.kind == Kind::Outline;
    // A part that lies mostly on a larger one seems to be a hole in it, but for its direction.
    let astray = |c: &Contour| c.kind == Kind::Hole && c.clockwise();
    let parts = (part(a) && part(b) && !nested) || (nested && (astray(a) || astray(b)));
    if !parts {
        return None;
    }
    if pair.apart_mm <= SHARED_MM {
        let at = if nested { crosses(a, b) } else { overlap(a, b, SHARED_MM) };
        return at.map(Closeness::Eaten);
    }
    let edges = pair.apart_mm + kerf;
    (!nested && edges < limit_mm(kerf, thickness) - 0.02).then_some(Closeness::Near(edges))
}

/// The two paths cross: neither lies within the other.
pub(crate) fn crosses(a: &Contour, b: &Contour) -> Option<Point> {
    let outside = |inner: &Contour, outer: &Contour| {
        let mut places = inner.points.iter();
        let (edges, on) = (outer.edges(), SHARED_MM.next_up());
        let clear = |p: &Point| edges.nearer(&outer.points, *p, on).is_none();
        places.find(|p| !outer.contains(**p) && clear(p)).copied()
    };
    let at = overlap(a, b, SHARED_MM)?;
    let (small, large) = match a.area_mm2.abs() < b.area_mm2.abs() {
        true => (a, b),
        false => (b, a),
    };
    outside(small, large).map(|_| at)
}

fn limit_mm(kerf: f64, thickness: f64) -> f64 {
    2.0 * kerf + thickness / 2.0
}

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some((contours, kerf, thickness)) = not_judged::sized(sheet, findings, NAME) else {
        return;
    };
    let Some(pairs) = webs::pairs(sheet) else {
        return;
    };
    if let Some((cut, at)) = pairs.crowded {
        findings.tell_at(NAME, Severity::Refuse, cut + 1, || place_on(sheet, cut, at), || {
            (
                format!(
                    "More cuts lie on each other here than are compared with each other: what is too \
                     close among them is not all told. So it is with {} cuts.",
                    pairs.crowds
                ),
                "Delete the copies.".to_owned(),
            )
        });
    }
    for pair in &pairs.all {
        let Some(how) = close(contours, pair, kerf, thickness) else {
            continue;
        };
        let (severity, at) = match how {
            Closeness::Eaten(at) => (Severity::Refuse, at),
            Closeness::Near(_) => (Severity::Warn, pair.on_b),
        };
        findings.tell_at(NAME, severity, pair.b + 1, || place_on(sheet, pair.b, at), || {
            let other = pair.a + 1;
            match how {
                Closeness::Eaten(_) => (
                    format!("This part and that of cut {other} overlap: one cut eats the other part."),
                    format!("Move them apart: at least {} mm of edge to edge.", mm(limit_mm(kerf, thickness))),
                ),
                Closeness::Near(edges) => (
                    format!(
                        "The finished edges of this part and that of cut {other} lie {} mm apart: only \
                         {} mm stay between the kerfs ({} mm from edge to edge are wanted).",
                        mm(edges),
                        mm((edges - 2.0 * kerf).max(0.0)),
                        mm(limit_mm(kerf, thickness))
                    ),
                    "Move them apart, or let them share one cut.".to_owned(),
                ),
            }
        }).of_cuts([pair.a + 1]);
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, found, nothing, of_shape, placed};

    fn on(program: &str) -> Vec<String> {
        of_shape(found(program))
    }

    /// A second part beside the frame's, its left path at `x`.
    fn beside(x: f64) -> String {
        let text = format!(
            "G0 X{} Y-8\nM3\nG1 X{} Y0\nG1 X{x}\nG1 Y60\nG1 X{r}\nG1 Y0\nG1 X{}\nM5\nM2\n",
            x + 36.0,
            x + 20.0,
            x + 18.0,
            r = x + 50.0
        );
        PROGRAM.replace("M2\n", &text)
    }

    #[test]
    fn finished_edges_under_2_kerfs_and_half_a_thickness_are_warned() {
        // 2 x 1.45 + 2.5 = 5.4 mm: paths 3.95 mm apart. Beyond it the web between is thin.
        assert_eq!(on(&beside(103.9)), ["warn parts-too-close 19:1 3"]);
        assert_eq!(on(&beside(104.0)), ["warn web-too-thin 19:1 3"]);
        let thin = |x: f64| of_shape(placed(&beside(x), |s| s.thickness = 1.0));
        // 3.4 mm: paths 1.95 mm apart.
        assert_eq!(thin(101.9), ["warn parts-too-close 19:1 3"]);
        assert_eq!(thin(103.5), nothing());
    }

    #[test]
    fn parts_that_overlap_are_refused_and_those_that_share_a_cut_are_not() {
        assert_eq!(on(&beside(99.9)), ["refuse parts-too-close 20:1 3"]);
        assert_eq!(on(&beside(60.0)), ["refuse parts-too-close 22:1 3"]);
        let shared = |x: f64| {
            let all = found(&beside(x));
            !all.iter().any(|f| f.contains(super::NAME) || f.contains("web"))
        };
        assert!(shared(100.0) && shared(99.97) && shared(100.03));
    }
}
