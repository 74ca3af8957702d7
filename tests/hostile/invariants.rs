//! What holds for any bytes whatever. Shared by the tests of hostile files and by the fuzz targets
//! (`tests/fuzz`).

use program::{
    Facts, Link, Motion, Reading, ReadingRules, Setup, Severity, Verdict, VetInput, picture, read,
    text, vet_in_full,
};
use units::Point;

/// Reading answers, the same twice, with a path that has no gaps.
pub fn reads(bytes: &[u8]) -> Reading {
    let rules = ReadingRules::default();
    let reading = read(bytes, &rules);
    let again = read(bytes, &rules);
    assert_eq!(reading.findings, again.findings);
    assert_eq!(reading.cut_list, again.cut_list);
    for cut in &reading.cut_list.cuts {
        let mut at = cut.pierce;
        for e in &cut.path {
            assert_eq!(e.segment.from(), at, "the path has no gaps");
            at = e.segment.to();
        }
    }
    reading
}

/// How many of the first bytes make the setup in [`vets`].
pub const HEAD: usize = 10;

/// The whole vet answers, the same twice; the first bytes choose what lies on the table.
pub fn vets(bytes: &[u8]) {
    let Some((head, program)) = bytes.split_at_checked(HEAD) else {
        return;
    };
    let part = |k: usize| f64::from(head[k]) / 255.0;
    let sheet = Point::new(20.0 + 600.0 * part(0), 20.0 + 600.0 * part(1));
    let text = format!(
        "material = \"{}\"\nthickness = {}\nsheet = [{}, {}]\norigin = [{}, {}]\nrotation = {}\n{}{}",
        ["mild-steel", "stainless", "aluminium", "mystery"][usize::from(head[2] % 4)],
        0.5 + 12.0 * part(3),
        sheet.x,
        sheet.y,
        sheet.x * (part(4) - 0.2),
        sheet.y * (part(5) - 0.2),
        if head[6] < 128 { 0.0 } else { 360.0 * part(6) },
        if head[7] < 32 {
            String::new()
        } else {
            format!("clamp = [{}, {}]\n", sheet.x * part(7), sheet.y * 0.9)
        },
        if head[8] < 200 {
            ""
        } else {
            "used = [[[5, 5], [60, 5], [60, 60]]]\n"
        },
    );
    let setup = Setup::from_toml(&text).expect("a setup within its ranges");
    let input = VetInput {
        setup: (head[9] > 10).then_some(&setup),
        travel: Point::new(1300.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: (head[9] > 20).then_some(0.5 + 2.0 * part(9)),
        chart_feed_mm_s: (head[9] > 40).then_some(20.0),
        traverse_height_mm: 25.0,
        line_limit: 80,
        no_row: None,
        facts: Facts {
            motion: Some(Motion {
                accel_mm_s2: 400.0,
                corner_step_mm_s: 8.0,
                feed_max_mm_s: 200.0,
            }),
            link: Some(Link {
                bytes_s: 11_520.0,
                block_s: 0.008,
                line_bytes: 45.0,
                arc_bytes: Some(63.0),
                chord_off_mm: 0.02,
            }),
            ..Facts::default()
        },
    };
    let reading = reads(program);
    let vetting = vet_in_full(&reading, &input);
    let report = &vetting.report;
    assert_eq!(&vet_in_full(&reading, &input).report, report);
    let verdict = match report.findings.iter().map(|f| f.severity).max() {
        Some(Severity::Refuse) => Verdict::Refused,
        Some(Severity::Warn) => Verdict::Warned,
        Some(Severity::Note) | None => Verdict::Clear,
    };
    assert_eq!(report.verdict, verdict);
    for f in &report.findings {
        assert!(!f.says.is_empty() && !f.remedy.is_empty(), "{f:?}");
        assert!(
            !f.says.contains("NaN") && !f.says.contains("inf mm"),
            "{f:?}"
        );
        assert!(f.cut.is_none_or(|c| c >= 1 && c <= report.cuts), "{f:?}");
    }
    assert!(!text::render(report, "x", program, false).contains('\x1b'));
    let svg = picture::draw(&picture::Picture {
        name: "x",
        reading: &reading,
        setup: input.setup,
        kerf_mm: input.kerf_mm,
        report,
        loose: &vetting.loose,
    });
    assert!(svg.ends_with("</svg>\n") && !svg.contains("NaN"));
    if let Some(map) = &vetting.pieces {
        for piece in map.pieces() {
            assert!(piece.area_mm2 <= sheet.x * sheet.y * 1.1, "{piece:?}");
            assert!(map.is_free(piece.id));
        }
    }
}
