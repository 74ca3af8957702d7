//! Path or traverse too near to the ground clamp or to a marked keep-out.

use super::page::Page;
use units::Point;

use super::not_judged::{self, Lack};
use crate::findings::{Findings, Spot};
use crate::shape::{apart, chords, distance_to_box, mm};
use crate::vet::OnSheet;

pub(crate) const NAME: &str = "on-clamp";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse or warn",
    needs: "a setup",
    measured: || "How near the torch comes to the ground clamp and to keep-outs, on the path and on \
              traverses.".to_owned(),
    limit: || format!("The torch's body needs {BODY_MM} mm; a traverse passes {CLEAR_MM} mm above (a \
              clamp of unknown height counts as {CLAMP_HEIGHT_MM} mm)."),
    source: "Common practice, no source.",
};

/// The torch's body, mm from its middle; common practice, no source.
const BODY_MM: f64 = 25.0;
/// A clamp whose height is not stated counts as this high, mm.
const CLAMP_HEIGHT_MM: f64 = 20.0;
/// A lifted traverse passes so far above things, mm.
const CLEAR_MM: f64 = 5.0;

struct Thing {
    name: String,
    low: Point,
    high: Point,
    height: f64,
}

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(setup) = sheet.input.setup else {
        not_judged::tell(findings, NAME, Lack::Setup("the sheet is not known"));
        return;
    };
    let mut things: Vec<Thing> = setup
        .keepouts
        .iter()
        .map(|k| Thing {
            name: format!("the keep-out at ({}, {})", mm(k.at.x), mm(k.at.y)),
            low: k.at.moved(-k.size.x / 2.0, -k.size.y / 2.0),
            high: k.at.moved(k.size.x / 2.0, k.size.y / 2.0),
            height: k.height,
        })
        .collect();
    match setup.clamp {
        Some(at) => things.push(Thing {
            name: "the ground clamp".to_owned(),
            low: at,
            high: at,
            height: CLAMP_HEIGHT_MM,
        }),
        None => not_judged::tell(findings, NAME, Lack::Clamp),
    }
    for thing in &things {
        paths(sheet, findings, thing);
        traverses(sheet, findings, thing);
    }
}

fn paths(sheet: &OnSheet<'_>, findings: &mut Findings, thing: &Thing) {
    let own = units::Bounds {
        low: thing.low,
        high: thing.high,
    };
    let far = |b: &units::Bounds| apart(b, &own, BODY_MM);
    for (cut, number) in sheet.cuts() {
        if far(&sheet.bounds(number)) {
            continue;
        }
        let pierce = sheet.placer.place(cut.pierce);
        let (distance, at) = off(pierce, pierce, thing);
        let mut nearest = (distance, Spot::torch_on(number, cut).at(at));
        for (s, e) in sheet.path(cut) {
            if far(&s.bounds()) {
                continue;
            }
            for (a, b) in chords(&s) {
                let (distance, at) = off(a, b, thing);
                if distance < nearest.0 {
                    nearest = (distance, Spot::element(number, e).at(at));
                }
            }
        }
        let (distance, spot) = nearest;
        if distance < BODY_MM - 1e-6 {
            findings.refuse(NAME, spot, || {
                (
                    format!(
                        "The cut passes {} mm from {}; the torch's body needs {BODY_MM} mm.",
                        mm(distance),
                        thing.name
                    ),
                    "Move the clamp, or the program's zero.".to_owned(),
                )
            });
        }
    }
}

fn traverses(sheet: &OnSheet<'_>, findings: &mut Findings, thing: &Thing) {
    let height = sheet.input.traverse_height_mm;
    if height - thing.height >= CLEAR_MM {
        return;
    }
    for t in sheet.reading.cut_list.traverses() {
        let (a, b) = (sheet.placer.place(t.from), sheet.placer.place(t.to));
        let (distance, at) = off(a, b, thing);
        if distance < BODY_MM - 1e-6 {
            let spot = Spot {
                line: t.line,
                column: t.column,
                cut: t.cut,
                at: Some(at),
            };
            findings.warn(NAME, spot, || {
                (
                    format!(
                        "The traverse to this cut passes {} mm from {}, {} mm high; at traverse height {} mm it clears it by {} mm, {CLEAR_MM} mm are wanted.",
                        mm(distance),
                        thing.name,
                        mm(thing.height),
                        mm(height),
                        mm(height - thing.height)
                    ),
                    "Move it, or raise the traverse height.".to_owned(),
                )
            });
        }
    }
}

fn off(a: Point, b: Point, thing: &Thing) -> (f64, Point) {
    distance_to_box(a, b, thing.low, thing.high)
}

#[cfg(test)]
mod tests {
    use units::Point;

    use super::super::frame::{self, PROGRAM, nothing, placed};
    use crate::Keepout;

    #[test]
    fn a_path_within_the_torch_body_of_the_clamp_is_refused() {
        // The outline's right edge lies at x = 160.
        let at = |x: f64| placed(PROGRAM, |s| s.clamp = Some(Point::new(x, 100.0)));
        assert_eq!(at(184.9), ["refuse on-clamp 13:1 2"]);
        assert_eq!(at(185.0), nothing());
    }

    #[test]
    fn a_round_path_is_measured_to_its_curve() {
        // Inside the hole of radius 10 about (100, 100).
        let all = placed(PROGRAM, |s| s.clamp = Some(Point::new(100.0, 100.0)));
        assert!(all.contains(&"refuse on-clamp 3:1 1".to_owned()), "{all:?}");
    }

    #[test]
    fn a_keep_out_is_measured_from_its_sides() {
        let at = |x: f64| {
            placed(PROGRAM, |s| {
                s.keepouts = vec![Keepout {
                    at: Point::new(x, 100.0),
                    size: Point::new(20.0, 40.0),
                    height: 10.0,
                }];
            })
        };
        assert_eq!(at(194.9), ["refuse on-clamp 13:1 2"]);
        assert_eq!(at(195.0), nothing());
    }

    /// A second cut far off, so that a traverse passes over the middle of nothing.
    const WIDE: &str = "G21\nG0 X0 Y0\nM3\nG1 X5 F1100\nM5\nG0 X150\nM3\nG1 X155\nM5\nM2\n";

    #[test]
    fn a_lifted_traverse_over_something_high_is_warned() {
        let over = |height: f64| {
            placed(WIDE, |s| {
                s.keepouts = vec![Keepout {
                    at: Point::new(140.0, 80.0),
                    size: Point::new(10.0, 10.0),
                    height,
                }];
            })
        };
        assert_eq!(over(20.1), ["warn on-clamp 7:1 2"]);
        assert_eq!(over(20.0), nothing());
        // An unknown clamp counts as 20 mm: clear at 25 mm, not at 24.
        let mut setup = frame::setup();
        setup.clamp = Some(Point::new(140.0, 70.0));
        let mut input = frame::input(&setup);
        assert_eq!(frame::brief(&frame::report_with(WIDE, &input)), nothing());
        input.traverse_height_mm = 24.0;
        assert_eq!(frame::brief(&frame::report_with(WIDE, &input)), ["warn on-clamp 7:1 2"]);
    }

    #[test]
    fn without_a_clamp_that_much_is_not_judged() {
        let mut setup = frame::setup();
        setup.clamp = None;
        let report = frame::report_with(PROGRAM, &frame::input(&setup));
        assert_eq!(frame::brief(&report), ["note not-judged -:- -"]);
        assert_eq!(report.not_judged, ["clamp-on-dropout", super::NAME, "return-path-lost"]);
    }
}
