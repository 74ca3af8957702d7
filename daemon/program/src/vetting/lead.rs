//! The way from the pierce to the contour, and how the contour is closed.

use units::geometry::angle_of;
use units::{Point, Segment};

use crate::Cut;
use crate::contours::{Contour, Contours, Kind};
use crate::cuts::polylines::Polyline;
use crate::report::findings::Spot;
use crate::vetting::on_sheet::OnSheet;
pub(crate) use crate::vetting::on_sheet::derived::Joint;
use crate::vetting::on_sheet::derived::{Lead, Pierce};

/// The closed contours with their cuts and the cuts' numbers, from 1.
pub(crate) fn each<'s>(
    sheet: &'s OnSheet<'_>,
    contours: &'s Contours,
) -> impl Iterator<Item = (&'s Cut, usize, &'s Contour)> {
    sheet
        .cuts()
        .filter_map(|(cut, n)| Some((cut, n, contours.of_cut(n - 1)?)))
}

/// Where a contour's cut is pierced.
pub(crate) fn pierce(sheet: &OnSheet<'_>, contour: &Contour) -> Pierce {
    lead(sheet, contour).map_or_else(|| pierced(sheet, contour), |l| l.pierce)
}

/// What is known of a contour's lead-in, worked out once for all of them: half a dozen rules ask.
fn lead<'s>(sheet: &'s OnSheet<'_>, contour: &Contour) -> Option<&'s Lead> {
    let contours = sheet.contours()?;
    let make = |contour: &Contour| Lead {
        pierce: pierced(sheet, contour),
        joint: joined(sheet, contour),
    };
    let all = (sheet.derived.leads).get_or_init(|| contours.all.iter().map(make).collect());
    all.get(contours.index(contour.cut)?)
}

fn pierced(sheet: &OnSheet<'_>, contour: &Contour) -> Pierce {
    let points = sheet.flat().line(contour.cut).points;
    let at = points.first().copied().unwrap_or_default();
    Pierce {
        at,
        off_mm: contour.distance(at),
        on_part: contour.on_part(at),
    }
}

/// Two paths run together while they are nearer than this, mm: finer than what makes a contour
/// closed, and coarser than the difference of two polylines of one arc.
const TOGETHER_MM: f64 = 0.025;
/// The lead-in ends between two pieces of the program this near to where it seems to end, mm: a
/// tangent arc parts slowly.
const BEFORE_MM: f64 = 0.4;
const BEHIND_MM: f64 = 3.0;

/// The joint, taken to the end of a piece of the program where one lies there: two paths that part
/// under a small angle seem to run together for longer than they do, and an end that stops short of
/// the contour's start may come near the lead-in instead.
pub(crate) fn joint(sheet: &OnSheet<'_>, contour: &Contour) -> Joint {
    lead(sheet, contour).map_or_else(|| joined(sheet, contour), |l| l.joint)
}

fn joined(sheet: &OnSheet<'_>, contour: &Contour) -> Joint {
    let rough = Joint {
        at_mm: contour.joint_mm,
        overlap_mm: contour.overlap_mm,
    };
    let line = sheet.flat().line(contour.cut);
    if let Some(short) = stops_short(&line, contour) {
        return short;
    }
    if contour.overlap_mm <= 0.0 || contour.tab_mm > 0.0 {
        return rough;
    }
    let meets = contour.joint_mm + contour.overlap_mm;
    let end = contour.closed_mm + contour.overlap_mm;
    let from = contour.joint_mm - BEFORE_MM;
    let to = (contour.joint_mm + BEHIND_MM).min(meets);
    let off = line.at(meets).distance(line.at(end));
    let together = |s: f64| line.at(s).distance(line.at(end - (meets - s))) <= off + TOGETHER_MM;
    let snapped = ends(&line, from, to).find(|s| together(*s));
    snapped.map_or(rough, |s| Joint {
        at_mm: s,
        overlap_mm: meets - s,
    })
}

/// An end that heads for a place this far ahead was meant to reach it, mm.
const AHEAD_MM: f64 = 20.0;
/// It heads for it within this, radians.
const HEADS: f64 = 0.09;
/// An end nearer to the path than this lies on it, mm.
const ON_PATH_MM: f64 = 0.025;

/// The end lies beside the lead-in, and what it heads for is where the lead-in ends.
fn stops_short(line: &Polyline<'_>, contour: &Contour) -> Option<Joint> {
    if contour.lead_out_mm > 0.0 {
        return None;
    }
    let length = line.length();
    let end = line.at(length);
    // Of a contour that is closed: where it seems to be met, on the lead-in.
    let meets = contour.joint_mm + contour.overlap_mm.max(0.0);
    if line.at(meets).distance(end) < ON_PATH_MM {
        return None;
    }
    let travels = line.direction(length);
    let reach = AHEAD_MM.max(contour.tab_mm) + 1e-6;
    let angle =
        |a: (f64, f64), b: (f64, f64)| angle_of(a.0 * b.1 - a.1 * b.0, a.0 * b.0 + a.1 * b.1);
    ends(line, meets, (meets + 2.0 * reach).min(length / 2.0)).find_map(|s| {
        let there = line.at(s);
        let gap = there.distance(end);
        if gap > reach || gap < ON_PATH_MM {
            return None;
        }
        let way = ((there.x - end.x) / gap, (there.y - end.y) / gap);
        let behind = line.direction(s + 1e-6);
        let (turn, again) = (angle(travels, way), angle(way, behind));
        // Straight on, or along a circle: as much before the chord as behind it.
        let heads =
            turn.abs() <= HEADS || ((turn - again).abs() <= 2.0 * HEADS && turn.abs() <= 0.6);
        heads.then_some(Joint {
            at_mm: s,
            overlap_mm: -gap,
        })
    })
}

/// Where pieces of the program end between two places along a cut.
fn ends<'a>(line: &'a Polyline<'_>, from: f64, to: f64) -> impl Iterator<Item = f64> + 'a {
    let first = line.along.partition_point(|s| *s < from).max(1);
    (first..line.points.len().saturating_sub(1))
        .take_while(move |&i| line.along[i] <= to)
        .filter(|&i| line.element[i] != line.element[i + 1])
        .map(|i| line.along[i])
}

/// The piece of the program that ends nearest to a place along a cut, and the one behind it.
pub(crate) fn pieces_at(
    sheet: &OnSheet<'_>,
    contour: &Contour,
    at_mm: f64,
) -> Option<(Segment, Segment)> {
    let line = sheet.flat().line(contour.cut);
    let s = ends(&line, at_mm - BEFORE_MM, at_mm + BEFORE_MM)
        .min_by(|a, b| (a - at_mm).abs().total_cmp(&(b - at_mm).abs()))?;
    let i = line.along.partition_point(|a| *a < s);
    let path = &sheet.reading.cut_list.cuts.get(contour.cut)?.path;
    let piece = |k: usize| Some(path.get(*line.element.get(k)? as usize)?.segment);
    Some((piece(i)?, piece(i + 1)?))
}

/// A place on a cut's path with the piece of the program that it belongs to.
pub(crate) fn place_on(sheet: &OnSheet<'_>, cut: usize, at: Point) -> Spot {
    let Some(c) = sheet.reading.cut_list.cuts.get(cut) else {
        return Spot::default().at(at);
    };
    let line = sheet.flat().line(cut);
    let nearest = line
        .chords()
        .map(|c| (c.nearest(at).1, c.end))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let piece = nearest.and_then(|(_, end)| c.path.get(*line.element.get(end)? as usize));
    piece
        .map_or_else(|| Spot::torch_on(cut + 1, c), |e| Spot::element(cut + 1, e))
        .at(at)
}

/// What a contour is called.
pub(crate) fn name(kind: Kind) -> &'static str {
    match kind {
        Kind::Outline => "outline",
        Kind::Hole => "hole",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vetting::rules::frame;
    use crate::{ReadingRules, read};

    /// The joint of the last contour of a program.
    fn joint_of(text: &str) -> Joint {
        let reading = read(text.as_bytes(), &ReadingRules::default());
        let setup = frame::setup();
        let sheet = OnSheet::new(&reading, &frame::input(&setup), &crate::Unwatched);
        let contour = sheet
            .contours()
            .and_then(|c| c.all.last())
            .expect("a contour");
        joint(&sheet, contour)
    }

    #[test]
    fn a_tangent_lead_in_ends_where_its_arc_ends() {
        for (r, over) in [(4.0, 2.0), (6.0, 2.0), (8.0, 0.5), (20.0, 3.0)] {
            let j = joint_of(&format!(
                "G21 G0 X{} Y{}\nM3\nG3 X50 Y0 I-{r} J0 F600\nG1 X0\nG1 Y80\nG1 X100\nG1 Y0\nG1 X{}\nM5\nM2\n",
                50.0 + r,
                -r,
                50.0 - over
            ));
            let arc = core::f64::consts::FRAC_PI_2 * r;
            assert!((j.at_mm - arc).abs() < 1e-6, "{r}: {j:?}");
            assert!((j.overlap_mm - over).abs() < 1e-6, "{r}: {j:?}");
        }
    }

    #[test]
    fn an_end_that_stops_short_is_measured_to_the_end_of_the_lead_in() {
        for (lead, end) in [
            ("G0 X56 Y-6\nM3\nG3 X50 Y0 I-6 J0 F600", 52.0),
            ("G0 X56 Y-6\nM3\nG3 X50 Y0 I-6 J0 F600", 51.0),
            ("G0 X66 Y-8\nM3\nG1 X50 Y0 F600", 52.9),
            ("G0 X50 Y-8\nM3\nG1 X50 Y0 F600", 51.0),
            ("G0 X50 Y-8\nM3\nG1 X50 Y0 F600", 52.0),
        ] {
            let j = joint_of(&format!(
                "G21 {lead}\nG1 X0\nG1 Y80\nG1 X100\nG1 Y0\nG1 X{end}\nM5\nM2\n"
            ));
            assert!(
                (j.overlap_mm - (50.0 - end)).abs() < 1e-6,
                "{lead} {end}: {j:?}"
            );
        }
    }

    #[test]
    fn straight_lead_ins_end_where_they_end() {
        for x in [50.0, 60.0, 75.0] {
            let j = joint_of(&format!(
                "G21 G0 X{x} Y-8\nM3\nG1 X50 Y0 F600\nG1 X0\nG1 Y80\nG1 X100\nG1 Y0\nG1 X48\nM5\nM2\n"
            ));
            assert!(
                (j.at_mm - (x - 50.0_f64).hypot(8.0)).abs() < 1e-6,
                "{x}: {j:?}"
            );
            assert!((j.overlap_mm - 2.0).abs() < 1e-6, "{x}: {j:?}");
        }
    }
}
