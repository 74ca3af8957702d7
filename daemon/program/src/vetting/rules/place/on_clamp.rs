//! Path or traverse too near to the ground clamp or to a marked keep-out.

use std::collections::BTreeMap;

use crate::vetting::rules::page::Page;
use units::{Bounds, Point};

use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::{chords, distance_to_box, mm};
use crate::geometry::tree::{Tree, grown};
use crate::vetting::on_sheet::OnSheet;

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

impl Thing {
    fn bounds(&self) -> Bounds {
        Bounds {
            low: self.low,
            high: self.high,
        }
    }
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
    let tree = Tree::new(things.iter().map(Thing::bounds));
    let mut hits = paths(sheet, &things, &tree);
    hits.extend(traverses(sheet, &things));
    hits.sort_by_key(|h| (h.thing, h.traverse, h.number));
    for hit in hits {
        tell(sheet, findings, &things[hit.thing as usize], &hit);
    }
}

/// The others are counted up to this number.
const MORE_COUNTED: usize = 1000;
/// A cut or traverse is told to be too near to no more things than this; how many more stand about
/// is told as a number.
const TOLD_A_CUT: usize = 16;

/// A path or traverse too near to a thing.
struct Hit {
    thing: u32,
    /// The cut, or the one that a traverse leads to, from 1.
    number: usize,
    traverse: bool,
    distance: f64,
    spot: Spot,
    /// So many things stand about that are not told: within the torch's body of the rectangle round
    /// the path.
    more: usize,
}

fn near(distance: f64) -> bool {
    distance < BODY_MM - 1e-6
}

fn paths(sheet: &OnSheet<'_>, things: &[Thing], tree: &Tree) -> Vec<Hit> {
    let mut hits = Vec::new();
    for (cut, number) in sheet.cuts() {
        let mut any = false;
        tree.within(&grown(&sheet.bounds(number), BODY_MM), u32::MAX, |_| {
            any = true;
            any
        });
        if !any {
            continue;
        }
        let pierce = sheet.placer.place(cut.pierce);
        let from_pierce = |thing: u32| {
            let (distance, at) = off(pierce, pierce, &things[thing as usize]);
            (distance, Spot::torch_on(number, cut).at(at))
        };
        let mut nearest: BTreeMap<u32, (f64, Spot)> = BTreeMap::new();
        let mut told = 0;
        tree.within(&grown(&Bounds::of(pierce), BODY_MM), u32::MAX, |thing| {
            let here = from_pierce(thing);
            told += usize::from(near(here.0));
            nearest.insert(thing, here);
            told >= TOLD_A_CUT
        });
        for (s, e) in sheet.path(cut) {
            let mut flat = None;
            tree.within(&grown(&s.bounds(), BODY_MM), u32::MAX, |thing| {
                if told >= TOLD_A_CUT && !nearest.contains_key(&thing) {
                    return true;
                }
                let before = nearest.get(&thing).is_some_and(|(d, _)| near(*d));
                let slot = nearest.entry(thing).or_insert_with(|| from_pierce(thing));
                for (a, b) in flat.get_or_insert_with(|| chords(&s)).iter() {
                    let (distance, at) = off(*a, *b, &things[thing as usize]);
                    if distance < slot.0 {
                        *slot = (distance, Spot::element(number, e).at(at));
                    }
                }
                told += usize::from(near(slot.0) && !before);
                false
            });
        }
        let mut too_near: Vec<Hit> = (nearest.into_iter())
            .filter(|(_, (d, _))| near(*d))
            .map(|(thing, (distance, spot))| Hit {
                thing,
                number,
                traverse: false,
                distance,
                spot,
                more: 0,
            })
            .collect();
        leave_off(&mut too_near, tree, &sheet.bounds(number));
        hits.extend(too_near);
    }
    hits
}

fn traverses(sheet: &OnSheet<'_>, all: &[Thing]) -> Vec<Hit> {
    let height = sheet.input.traverse_height_mm;
    let mut hits = Vec::new();
    let high: Vec<u32> = (0_u32..)
        .zip(all)
        .filter(|(_, t)| height - t.height < CLEAR_MM)
        .map(|(k, _)| k)
        .collect();
    if high.is_empty() {
        return hits;
    }
    let bounds = high.iter().map(|&k| all[k as usize].bounds());
    let tree = Tree::new(bounds);
    for t in sheet.reading.cut_list.traverses() {
        let (a, b) = (sheet.placer.place(t.from), sheet.placer.place(t.to));
        let mut own = Vec::new();
        tree.along((a, b), BODY_MM, u32::MAX, |k| {
            let thing = high[k as usize];
            let (distance, at) = off(a, b, &all[thing as usize]);
            if near(distance) {
                own.push(Hit {
                    thing,
                    number: t.cut,
                    traverse: true,
                    distance,
                    spot: Spot {
                        line: t.line,
                        column: t.column,
                        cut: t.cut,
                        at: Some(at),
                    },
                    more: 0,
                });
            }
            own.len() >= TOLD_A_CUT
        });
        let mut about = Bounds::of(a);
        about.add(b);
        leave_off(&mut own, &tree, &about);
        hits.extend(own);
    }
    hits
}

/// Where as many are told as may be, the last says how many more stand about.
fn leave_off(told: &mut [Hit], tree: &Tree, about: &Bounds) {
    let n = told.len();
    if n >= TOLD_A_CUT
        && let Some(last) = told.last_mut()
    {
        last.more = tree.count(&grown(about, BODY_MM), n + MORE_COUNTED).saturating_sub(n);
    }
}

/// What is said of those that are not told.
fn and_more(hit: &Hit) -> String {
    match hit.more {
        0 => String::new(),
        MORE_COUNTED.. => format!(
            " {MORE_COUNTED} more or more stand within {BODY_MM} mm of the rectangle round it: they are not told one by one."
        ),
        n => format!(
            " {n} more stand within {BODY_MM} mm of the rectangle round it: they are not told one by one."
        ),
    }
}

fn tell(sheet: &OnSheet<'_>, findings: &mut Findings, thing: &Thing, hit: &Hit) {
    let height = sheet.input.traverse_height_mm;
    if !hit.traverse {
        findings.refuse(NAME, hit.spot, || {
            (
                format!(
                    "The cut passes {} mm from {}; the torch's body needs {BODY_MM} mm.{}",
                    mm(hit.distance),
                    thing.name,
                    and_more(hit)
                ),
                "Move the clamp, or the program's zero.".to_owned(),
            )
        });
        return;
    }
    findings.warn(NAME, hit.spot, || {
        (
            format!(
                "The traverse to this cut passes {} mm from {}, {} mm high; at traverse height {} mm it clears it by {} mm, {CLEAR_MM} mm are wanted.{}",
                mm(hit.distance),
                thing.name,
                mm(thing.height),
                mm(height),
                mm(height - thing.height),
                and_more(hit)
            ),
            "Move it, or raise the traverse height.".to_owned(),
        )
    });
}

fn off(a: Point, b: Point, thing: &Thing) -> (f64, Point) {
    distance_to_box(a, b, thing.low, thing.high)
}

#[cfg(test)]
mod tests {
    use units::Point;

    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{PROGRAM, nothing, placed};
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
    fn of_many_things_on_one_place_some_are_told_and_the_others_counted() {
        let mut setup = frame::setup();
        let thing = |k: i32| Keepout {
            at: Point::new(165.0, 100.0 + f64::from(k) / 100.0),
            size: Point::new(2.0, 2.0),
            height: 10.0,
        };
        let says = |setup: &crate::Setup| -> Vec<String> {
            let report = frame::report_with(PROGRAM, &frame::input(setup));
            let of = report.findings.into_iter().filter(|f| f.rule == super::NAME);
            of.map(|f| f.says).collect()
        };
        for n in [1, 15, 16, 17, 400] {
            setup.keepouts = (0..n).map(thing).collect();
            let told = says(&setup);
            assert_eq!(told.len(), super::TOLD_A_CUT.min(n as usize), "{n}");
            let more = format!(" {} more stand within 25 mm", n - 16);
            let counted = told.iter().filter(|s| s.contains("more stand")).count();
            assert_eq!(counted, usize::from(n > 16), "{n}: {told:?}");
            assert!(n <= 16 || told.iter().any(|s| s.contains(&more)), "{n}: {told:?}");
        }
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
