//! An arc broken into short straight pieces.

use crate::vetting::rules::page::Page;
use units::geometry::angle_of;
use units::{Point, Segment};

use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::{mm, place};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "faceted-arc";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "the program alone",
    measured: || "Runs of straight pieces of equal length and equal turn.".to_owned(),
    limit: || format!("{PIECES} or more, alike within 10 %, on one circle within {NEAR_MM} mm."),
    source: "The number is invented.",
};

/// So many pieces at least.
const PIECES: usize = 8;
/// Length and turn alike within this part.
const ALIKE: f64 = 0.1;
/// The offered arc passes the corners this near, mm.
const NEAR_MM: f64 = 0.02;
/// Less of a turn is a straight line, as the sine.
const STRAIGHT: f64 = 1e-4;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    for (cut, number) in sheet.cuts() {
        let mut run = Run::default();
        for (i, e) in cut.path.iter().enumerate() {
            if let Segment::Line { from, to } = e.segment {
                let length = from.distance(to);
                // Pieces of different lengths are no arc, whatever their turn.
                let turn = run
                    .last
                    .filter(|(_, last)| alike(run.length, length) || alike(*last, length))
                    .map(|(last, _)| turn(last, &e.segment));
                if run.takes(length, turn) {
                    run.last = Some((&e.segment, length));
                    continue;
                }
                report(sheet, findings, &cut.path, number, &run);
                // The last piece may begin the next run.
                run = match (run.last, turn) {
                    (Some((_, last)), Some(t)) if t.abs() > STRAIGHT && alike(last, length) => Run {
                        start: i - 1,
                        count: 2,
                        length: last,
                        turn: Some(t),
                        last: Some((&e.segment, length)),
                    },
                    _ => Run {
                        start: i,
                        count: 1,
                        length,
                        turn: None,
                        last: Some((&e.segment, length)),
                    },
                };
            } else {
                report(sheet, findings, &cut.path, number, &run);
                run = Run::default();
            }
        }
        report(sheet, findings, &cut.path, number, &run);
    }
}

/// Pieces of equal length and turn so far.
#[derive(Clone, Copy, Default)]
struct Run<'p> {
    start: usize,
    count: usize,
    length: f64,
    turn: Option<f64>,
    /// The last piece and its length.
    last: Option<(&'p Segment, f64)>,
}

impl Run<'_> {
    fn takes(&mut self, length: f64, turn: Option<f64>) -> bool {
        let (Some(turn), true) = (turn, self.count > 0) else {
            return false;
        };
        let fits = alike(self.length, length)
            && turn.abs() > STRAIGHT
            && self.turn.is_none_or(|t| alike(t, turn));
        if fits {
            self.count += 1;
            self.turn.get_or_insert(turn);
        }
        fits
    }
}

fn alike(a: f64, b: f64) -> bool {
    (a - b).abs() <= ALIKE * a.abs().max(b.abs())
}

/// The turn between two pieces, radians, anticlockwise positive.
fn turn(a: &Segment, b: &Segment) -> f64 {
    let (a, b) = (a.heading_at_end(), b.heading());
    angle_of(a.0 * b.1 - a.1 * b.0, a.0 * b.0 + a.1 * b.1)
}

fn report(
    sheet: &OnSheet<'_>,
    findings: &mut Findings,
    path: &[crate::Element],
    number: usize,
    run: &Run<'_>,
) {
    let pieces = match path.get(run.start..run.start + run.count) {
        Some(pieces) if run.count >= PIECES => pieces,
        _ => return,
    };
    let Some((centre, radius)) = circle(pieces) else {
        return;
    };
    let (first, last) = (&pieces[0], &pieces[run.count - 1]);
    let spot = Spot::element(number, first).at(sheet.placer.place(first.segment.from()));
    findings.note(NAME, spot, || {
        let word = if run.turn.unwrap_or(0.0) < 0.0 { "G2" } else { "G3" };
        let start = first.segment.from();
        (
            format!(
                "{} straight pieces of {} mm up to line {} are an arc in facets, of radius {} mm.",
                run.count,
                mm(run.length),
                last.line,
                mm(radius)
            ),
            format!(
                "Write one {word} to {} with its centre {} mm in X and {} mm in Y from its start.",
                place(last.segment.to()),
                mm(centre.x - start.x),
                mm(centre.y - start.y)
            ),
        )
    });
}

/// The circle through the first, middle and last corner, if all corners lie near it.
fn circle(pieces: &[crate::Element]) -> Option<(Point, f64)> {
    let a = pieces.first()?.segment.from();
    let b = pieces.get(pieces.len() / 3)?.segment.from();
    let c = pieces.get(2 * pieces.len() / 3)?.segment.from();
    let (bx, by, cx, cy) = (b.x - a.x, b.y - a.y, c.x - a.x, c.y - a.y);
    let twice = 2.0 * (bx * cy - by * cx);
    if twice.abs() < 1e-12 {
        return None;
    }
    let (bb, cc) = (bx * bx + by * by, cx * cx + cy * cy);
    let centre = a.moved((cy * bb - by * cc) / twice, (bx * cc - cx * bb) / twice);
    let radius = a.distance(centre);
    pieces
        .iter()
        .all(|e| (e.segment.to().distance(centre) - radius).abs() <= NEAR_MM)
        .then_some((centre, radius))
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    /// At the chart's feed: few facets are no hole, which might be cut slower.
    fn facets(pieces: u32, bulge: f64) -> Vec<String> {
        // The hole of the frame in pieces; `bulge` puts one corner aside.
        let mut text = String::new();
        for k in 1..=pieces {
            let a = core::f64::consts::TAU * f64::from(k) / 24.0;
            let r = if k == 4 { 10.0 + bulge } else { 10.0 };
            text += &format!("G1 X{:.4} Y{:.4}\n", 40.0 + r * a.cos(), 40.0 + r * a.sin());
        }
        changed("F660\nG3 X50 Y40 I-10 J0\n", &format!("F1100\n{text}"))
    }

    #[test]
    fn eight_equal_pieces_are_noted_and_seven_pass() {
        assert_eq!(facets(8, 0.0), ["note faceted-arc 5:1 1"]);
        // All round they are a hole, and a fast one.
        assert_eq!(
            facets(24, 0.0),
            ["note faceted-arc 5:1 1", "note hole-feed 5:1 1"]
        );
        assert_eq!(facets(7, 0.0), nothing());
    }

    #[test]
    fn a_corner_off_the_circle_is_no_arc() {
        assert_eq!(facets(8, 0.03), nothing());
    }
}
