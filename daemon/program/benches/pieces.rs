//! What stays connected at every one of 10,000 cuts, and the whole vet of the demonstration.
#![allow(
    missing_docs,
    reason = "criterion_group! makes a public function without words"
)]

use std::fmt::Write as _;

use criterion::{Criterion, criterion_group, criterion_main};
use program::{Facts, ReadingRules, Setup, VetInput, read, vet, vet_in_full};
use units::Point;

/// Our own invented sheet: 10,010 wavy contours of 50 straight pieces on 2.5 x 1.25 m.
fn many() -> String {
    let mut text = "G21 G90\nF1100\n".to_owned();
    for k in 0..10_010_u32 {
        let (x, y) = (
            12.0 + f64::from(k % 143) * 17.3,
            10.0 + f64::from(k / 143) * 17.5,
        );
        let _ = write!(text, "G0 X{x:.3} Y{y:.3}\nM3\n");
        for j in 0..=50_u32 {
            let a = core::f64::consts::TAU * f64::from(j) / 50.0;
            let r = 6.0 * (1.0 + 0.1 * (3.0 * a).sin());
            let _ = writeln!(text, "G1 X{:.4} Y{:.4}", x + r * a.cos(), y + r * a.sin());
        }
        text.push_str("M5\n");
    }
    text.push_str("M2\n");
    text
}

fn input(setup: &Setup, kerf_mm: f64) -> VetInput<'_> {
    VetInput {
        setup: Some(setup),
        travel: Point::new(2600.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(kerf_mm),
        chart_feed_mm_s: Some(18.3),
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: Facts::default(),
    }
}

fn bench(c: &mut Criterion) {
    let rules = ReadingRules::default();
    let text = many();
    let setup = Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 2\nsheet = [2500, 1250]\norigin = [0, 0]\nclamp = [2490, 1240]\n",
    )
    .expect("setup");
    let mut group = c.benchmark_group("10,010 cuts");
    group.sample_size(10);
    let reading = read(text.as_bytes(), &rules);
    let input_many = input(&setup, 1.5);
    // The yardstick: every piece of path looked at once.
    group.bench_function("add up the path", |b| b.iter(|| reading.cut_list.cut_mm()));
    group.bench_function("pieces at every cut", |b| {
        b.iter(|| {
            program::piece_map(&reading, &input_many, &program::Unwatched).map(|m| m.pieces().len())
        });
    });
    group.bench_function("vet", |b| b.iter(|| vet(&reading, &input_many)));
    group.finish();

    let demo = include_bytes!("../../../config/demo/hinge-plates.nc");
    let setup = Setup::from_toml(include_str!("../../../config/demo/hinge-plates.toml"))
        .expect("the demonstration's setup");
    let input_demo = input(&setup, 1.45);
    c.bench_function("read and vet the demonstration", |b| {
        b.iter(|| vet_in_full(&read(demo, &rules), &input_demo));
    });
}

criterion_group!(benches, bench);
criterion_main!(benches);
