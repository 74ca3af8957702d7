//! The ways on from a stop: late in a sheet of 10,010 cuts, and in one path of 200,000 pieces.
#![allow(
    missing_docs,
    reason = "criterion_group! makes a public function without words"
)]

use std::fmt::Write as _;

use criterion::{Criterion, criterion_group, criterion_main};
use program::resume::{Lost, Stopped, ways};
use program::{Facts, ReadingRules, Setup, VetInput, read};
use units::Point;

/// Our own invented sheet: 10,010 discs of 50 straight pieces on 2.5 x 1.25 m.
fn many() -> String {
    let mut text = "G21 G90\nF1100\n".to_owned();
    for k in 0..10_010_u32 {
        let (x, y) = (
            12.0 + f64::from(k % 143) * 17.3,
            10.0 + f64::from(k / 143) * 17.5,
        );
        let _ = write!(text, "G0 X{:.3} Y{y:.3}\nM3\n", x + 8.0);
        for j in 0..=50_u32 {
            let a = -core::f64::consts::TAU * f64::from(j) / 50.0;
            let _ = writeln!(
                text,
                "G1 X{:.4} Y{:.4}",
                x + 4.5 * a.cos(),
                y + 4.5 * a.sin()
            );
        }
        text.push_str("M5\n");
    }
    text.push_str("M2\n");
    text
}

/// One path in rows of 0.1 mm pieces.
fn long() -> String {
    let mut text = "G21 G90\nG0 X20 Y20\nM3\nF1100\n".to_owned();
    for k in 0..200_000_u32 {
        let (row, along) = (k / 20_000, k % 20_000);
        let x = if row % 2 == 0 { along } else { 19_999 - along };
        let (x, y) = (20.0 + f64::from(x) / 10.0, 20.0 + 6.0 * f64::from(row));
        let _ = writeln!(text, "G1 X{x:.1} Y{y:.1}");
    }
    text.push_str("M5\nM2\n");
    text
}

fn bench(c: &mut Criterion) {
    let setup = Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 2\nsheet = [2500, 1250]\norigin = [0, 0]\nclamp = [2490, 1240]\n",
    )
    .expect("setup");
    let input = VetInput {
        setup: Some(&setup),
        travel: Point::new(2600.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(1.27),
        chart_feed_mm_s: Some(18.3),
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: Facts::default(),
    };
    let mut group = c.benchmark_group("ways on");
    group.sample_size(10);
    for (name, text, cut, at_mm) in [
        ("cut 9,000 of 10,010", many(), 8_999, 20.0),
        ("the middle of 200,000 pieces", long(), 0, 10_000.0),
    ] {
        let cuts = read(text.as_bytes(), &ReadingRules::default())
            .cut_list
            .cuts;
        // The yardstick: every cut looked at once.
        group.bench_function(format!("{name}: add up the path"), |b| {
            b.iter(|| cuts.iter().map(program::Cut::length_mm).sum::<f64>());
        });
        let done: Vec<Vec<[f64; 2]>> = cuts
            .iter()
            .enumerate()
            .map(|(k, c)| {
                if k < cut {
                    vec![[0.0, c.length_mm()]]
                } else {
                    Vec::new()
                }
            })
            .collect();
        let stopped = Stopped {
            cuts: &cuts,
            done: &done,
            entries: &[],
            cut,
            lost: Some(Lost {
                at_mm,
                low_mm: at_mm - 1.6,
                high_mm: at_mm + 1.6,
            }),
            kerf_end_failed: false,
            back_mm: 0.0,
        };
        group.bench_function(name, |b| b.iter(|| ways(&stopped, &input)));
    }
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
