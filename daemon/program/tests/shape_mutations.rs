//! One change of the shape of a demonstration sheet, at every cut where it can be made: the rule that
//! watches for it speaks, and unless it is a note the verdict is no longer clear.

use program::{
    Chart, Cut, Facts, ReadingRules, Report, Row, Setup, Severity, Verdict, VetInput, read, vet,
};
use units::{Point, Segment};

/// A sheet of the demonstration, with kerf and feed (mm/min) of its row in the invented chart.
struct Sheet {
    name: &'static str,
    program: &'static str,
    setup: &'static str,
    kerf_mm: f64,
    feed_mm_min: f64,
}

macro_rules! sheet {
    ($name:literal, $kerf:literal, $feed:literal) => {
        Sheet {
            name: $name,
            program: include_str!(concat!("../../../config/demo/", $name, ".nc")),
            setup: include_str!(concat!("../../../config/demo/", $name, ".toml")),
            kerf_mm: $kerf,
            feed_mm_min: $feed,
        }
    };
}

const SHEETS: [Sheet; 5] = [
    sheet!("hinge-plates", 1.45, 1100.0),
    sheet!("latch-plates", 1.8, 800.0),
    sheet!("garden-corners", 1.33, 2200.0),
    sheet!("guard-brackets", 1.02, 1900.0),
    sheet!("row-markers", 1.43, 4100.0),
];

impl Sheet {
    fn cuts(&self) -> Vec<Cut> {
        read(self.program.as_bytes(), &ReadingRules::default())
            .cut_list
            .cuts
    }

    fn setup(&self) -> Setup {
        Setup::from_toml(self.setup).expect("the demonstration's setup is right")
    }

    fn vetted(&self, text: &str) -> Report {
        let setup = self.setup();
        let feed_mm_s = self.feed_mm_min / 60.0;
        let row = Row {
            name: "invented",
            amps: 40.0,
            volts: 110.0,
            thickness_mm: setup.thickness,
            feed_mm_s,
            between: None,
            for_other: None,
        };
        let input = VetInput {
            setup: Some(&setup),
            travel: Point::new(1300.0, 1300.0),
            sheet_corner: Point::new(10.0, 10.0),
            kerf_mm: Some(self.kerf_mm),
            chart_feed_mm_s: Some(feed_mm_s),
            traverse_height_mm: 25.0,
            line_limit: 120,
            no_row: None,
            facts: Facts {
                chart: Chart::Row(row),
                ..Facts::default()
            },
        };
        vet(&read(text.as_bytes(), &ReadingRules::default()), &input)
    }
}

/// A cut list as a program.
fn written(cuts: &[Cut]) -> String {
    let mut text = "G21 G90\n".to_owned();
    for cut in cuts {
        text += &format!("G0 X{:.4} Y{:.4}\nM3\n", cut.pierce.x, cut.pierce.y);
        for e in &cut.path {
            let to = e.segment.to();
            let feed = 60.0 * e.feed_mm_s.unwrap_or_default();
            match e.segment {
                Segment::Line { .. } => {
                    text += &format!("G1 X{:.4} Y{:.4} F{feed}\n", to.x, to.y);
                }
                Segment::Arc {
                    from,
                    centre,
                    clockwise,
                    ..
                } => {
                    let word = if clockwise { "G2" } else { "G3" };
                    let (i, j) = (centre.x - from.x, centre.y - from.y);
                    text += &format!("{word} X{:.4} Y{:.4} I{i:.4} J{j:.4} F{feed}\n", to.x, to.y);
                }
            }
        }
        text += "M5\n";
    }
    text + "M2\n"
}

/// What the demonstration's drawing says: only outlines are led into by an arc.
fn is_outline(cut: &Cut) -> bool {
    cut.path[0].segment.radius().is_some()
}

fn is_round(cut: &Cut) -> bool {
    cut.path.len() == 2
}

fn joint(cut: &Cut) -> Point {
    cut.path[0].segment.to()
}

/// Changes every cut of every sheet that `applies`, one at a time.
fn everywhere(
    rule: &str,
    severity: Severity,
    applies: impl Fn(&Cut) -> bool,
    change: impl Fn(&Sheet, &[Cut], usize) -> Cut,
) {
    for sheet in &SHEETS {
        let cuts = sheet.cuts();
        let mut tried = 0;
        for (i, _) in cuts.iter().enumerate().filter(|(_, c)| applies(c)) {
            let mut changed = cuts.clone();
            changed[i] = change(sheet, &cuts, i);
            let report = sheet.vetted(&written(&changed));
            let spoken = report
                .findings
                .iter()
                .any(|f| f.rule == rule && f.severity == severity);
            let all: Vec<_> = report
                .findings
                .iter()
                .map(|f| (&f.rule, f.cut, &f.says))
                .collect();
            assert!(
                spoken,
                "{} cut {}: {rule} is not among {all:#?}",
                sheet.name,
                i + 1
            );
            if severity != Severity::Note {
                assert_ne!(
                    report.verdict,
                    Verdict::Clear,
                    "{} cut {}",
                    sheet.name,
                    i + 1
                );
            }
            tried += 1;
        }
        assert!(tried > 0, "{} has no such cut", sheet.name);
    }
}

fn line(from: Point, to: Point) -> Segment {
    Segment::Line { from, to }
}

fn moved(s: &Segment, dx: f64, dy: f64) -> Segment {
    match *s {
        Segment::Line { from, to } => line(from.moved(dx, dy), to.moved(dx, dy)),
        Segment::Arc {
            from,
            to,
            centre,
            clockwise,
        } => Segment::Arc {
            from: from.moved(dx, dy),
            to: to.moved(dx, dy),
            centre: centre.moved(dx, dy),
            clockwise,
        },
    }
}

fn reversed(s: &Segment) -> Segment {
    match *s {
        Segment::Line { from, to } => line(to, from),
        Segment::Arc {
            from,
            to,
            centre,
            clockwise,
        } => Segment::Arc {
            from: to,
            to: from,
            centre,
            clockwise: !clockwise,
        },
    }
}

/// A cut with another lead-in.
fn led_in(cut: &Cut, along: &[Segment]) -> Cut {
    let mut led = cut.clone();
    let first = led.path.remove(0);
    let lead = along.iter().map(|s| program::Element {
        segment: *s,
        ..first
    });
    led.path.splice(0..0, lead);
    led.pierce = along.first().map_or(joint(cut), Segment::from);
    led
}

#[test]
fn the_demonstration_written_anew_has_only_notes_of_loose_pieces() {
    for sheet in &SHEETS {
        let report = sheet.vetted(&written(&sheet.cuts()));
        assert_eq!(report.verdict, Verdict::Clear, "{}", sheet.name);
        let known = [
            "not-judged",
            "part-unsupported",
            "cut-near-loose",
            "pierce-near-loose",
        ];
        let other = report
            .findings
            .iter()
            .find(|f| !known.contains(&f.rule.as_str()));
        assert_eq!(other, None, "{}", sheet.name);
    }
}

#[test]
fn every_lead_in_deleted_is_found() {
    everywhere(
        "no-lead-in",
        Severity::Warn,
        |_| true,
        |_, cuts, i| led_in(&cuts[i], &[]),
    );
}

#[test]
fn every_lead_in_flipped_is_found() {
    everywhere(
        "pierce-on-part",
        Severity::Warn,
        |_| true,
        |_, cuts, i| {
            let cut = &cuts[i];
            let at = joint(cut);
            let other = |p: Point| Point::new(2.0 * at.x - p.x, 2.0 * at.y - p.y);
            led_in(cut, &[line(other(cut.pierce), at)])
        },
    );
}

#[test]
fn every_lead_in_far_too_long_is_found() {
    // An outline's out of the middle of the nearest other part.
    everywhere(
        "lead-in-crosses",
        Severity::Refuse,
        is_outline,
        |_, cuts, i| {
            let at = joint(&cuts[i]);
            let others = cuts
                .iter()
                .enumerate()
                .filter(|(k, c)| *k != i && is_outline(c));
            let nearest = others
                .map(|(_, c)| joint(c).moved(0.0, 20.0))
                .min_by(|a, b| a.distance(at).total_cmp(&b.distance(at)))
                .expect("every sheet has several parts");
            led_in(&cuts[i], &[line(nearest, at)])
        },
    );
    // A hole's out of it and back again.
    everywhere(
        "lead-in-crosses",
        Severity::Refuse,
        |c| !is_outline(c),
        |_, cuts, i| {
            let (from, at) = (cuts[i].pierce, joint(&cuts[i]));
            let beyond = at.toward(from, 4.0);
            led_in(&cuts[i], &[line(from, beyond), line(beyond, at)])
        },
    );
}

#[test]
fn every_contour_reversed_is_found() {
    everywhere(
        "direction-of-cut",
        Severity::Note,
        |_| true,
        |_, cuts, i| {
            let mut cut = cuts[i].clone();
            let at = joint(&cut);
            let mut contour = cut.path.split_off(1);
            // Without the over-burn.
            if let Some(Segment::Line { to, .. }) = contour.last_mut().map(|e| &mut e.segment) {
                *to = at;
            }
            contour.reverse();
            contour
                .iter_mut()
                .for_each(|e| e.segment = reversed(&e.segment));
            cut.path.extend(contour);
            cut
        },
    );
}

#[test]
fn every_outline_ended_4_mm_early_is_found() {
    everywhere("open-contour", Severity::Warn, is_outline, |_, cuts, i| {
        let mut cut = cuts[i].clone();
        let last = &mut cut.path.last_mut().expect("an outline has a path").segment;
        *last = last.part(0.0, last.length() - 4.0);
        cut
    });
}

#[test]
fn every_part_moved_onto_its_neighbour_is_found() {
    everywhere(
        "parts-too-close",
        Severity::Refuse,
        is_outline,
        |_, cuts, i| {
            let at = joint(&cuts[i]);
            let others = cuts
                .iter()
                .enumerate()
                .filter(|(k, c)| *k != i && is_outline(c));
            let to = others
                .map(|(_, c)| at.toward(joint(c), 0.6))
                .min_by(|a, b| a.distance(at).total_cmp(&b.distance(at)))
                .expect("every sheet has several parts");
            let mut cut = cuts[i].clone();
            let (dx, dy) = (to.x - at.x, to.y - at.y);
            cut.pierce = cut.pierce.moved(dx, dy);
            cut.path
                .iter_mut()
                .for_each(|e| e.segment = moved(&e.segment, dx, dy));
            cut
        },
    );
}

/// A round hole with another finished diameter, led into from its middle.
fn resized(cut: &Cut, across: f64, kerf: f64) -> Cut {
    let Segment::Arc {
        centre, clockwise, ..
    } = cut.path[1].segment
    else {
        panic!("a round hole is an arc")
    };
    let at = centre.moved((across - kerf) / 2.0, 0.0);
    let mut cut = led_in(cut, &[line(centre, at)]);
    cut.path[1].segment = Segment::Arc {
        from: at,
        to: at,
        centre,
        clockwise,
    };
    cut
}

#[test]
fn every_hole_too_small_is_found() {
    for (times, severity) in [
        (0.9, Severity::Refuse),
        (1.4, Severity::Warn),
        (1.9, Severity::Note),
    ] {
        everywhere("hole-too-small", severity, is_round, |sheet, cuts, i| {
            resized(&cuts[i], times * sheet.setup().thickness, sheet.kerf_mm)
        });
    }
}

#[test]
fn every_small_hole_at_the_outlines_feed_is_found() {
    everywhere("hole-feed", Severity::Note, is_round, |sheet, cuts, i| {
        let mut cut = cuts[i].clone();
        cut.path
            .iter_mut()
            .for_each(|e| e.feed_mm_s = Some(sheet.feed_mm_min / 60.0));
        cut
    });
}

#[test]
fn every_outline_left_out_is_found_by_the_count_in_the_comment() {
    for sheet in &SHEETS {
        let cuts = sheet.cuts();
        let comment = sheet
            .program
            .lines()
            .find(|l| l.contains(" parts "))
            .expect("a count");
        for (i, _) in cuts.iter().enumerate().filter(|(_, c)| is_outline(c)) {
            let mut fewer = cuts.clone();
            fewer.remove(i);
            let report = sheet.vetted(&format!("{comment}\n{}", written(&fewer)));
            assert!(
                report.findings.iter().any(|f| f.rule == "part-count"),
                "{}",
                sheet.name
            );
            assert_ne!(report.verdict, Verdict::Clear);
        }
    }
}
