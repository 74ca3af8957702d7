//! A program of 1,000,000 blocks read, reduced and vetted.
#![allow(
    missing_docs,
    reason = "criterion_group! makes a public function without words"
)]

use std::fmt::Write as _;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use program::{ReadingRules, Setup, VetInput, read, vet};
use units::Point;

const BLOCKS: usize = 1_000_000;

/// Our own invented sheet: many small contours, three lines and one arc in turn.
fn program() -> String {
    let mut text = String::with_capacity(32 * BLOCKS);
    text.push_str("G21 G90 G17\nF1100\n");
    let mut blocks = 2;
    let mut contour = 0_u32;
    while blocks < BLOCKS - 1 {
        let (x, y) = (
            f64::from(contour % 90) * 13.0,
            f64::from(contour / 90 % 90) * 13.0,
        );
        let _ = write!(text, "G0 X{x:.4} Y{y:.4}\nM3\n");
        blocks += 2;
        for k in 0..100_u32 {
            let d = 0.1 * f64::from(k % 50);
            let (px, py) = (x + 1.0 + d, y + 1.0 + 0.37 * d * d);
            let _ = if k % 4 == 3 {
                writeln!(text, "G3 X{px:.4} Y{py:.4} R25.5")
            } else {
                writeln!(text, "G1 X{px:.4} Y{py:.4}")
            };
            blocks += 1;
        }
        text.push_str("M5\n");
        blocks += 1;
        contour += 1;
    }
    text.push_str("M2\n");
    text
}

fn bench(c: &mut Criterion) {
    let text = program();
    let setup = Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [1250, 1250]\norigin = [20, 20]\nrotation = 3\nclamp = [1240, 1240]\n",
    )
    .expect("setup");
    let input = VetInput {
        setup: Some(&setup),
        travel: Point::new(1300.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(1.45),
        chart_feed_mm_s: Some(18.3),
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: program::Facts::default(),
    };
    let rules = ReadingRules::default();
    let mut group = c.benchmark_group("a million blocks");
    group.sample_size(10);
    group.throughput(Throughput::Elements(BLOCKS as u64));
    // The yardstick: the same bytes looked at once.
    group.bench_function("count the line ends", |b| {
        b.iter(|| text.bytes().filter(|&x| x == b'\n').count());
    });
    // A general parser of the language on the same text: blocks and words into a tree, no meaning.
    group.bench_function("parse into a tree by the gcode crate", |b| {
        b.iter(|| gcode::parse(&text).map(|p| p.blocks.len()));
    });
    group.bench_function("read", |b| b.iter(|| read(text.as_bytes(), &rules)));
    let reading = read(text.as_bytes(), &rules);
    group.bench_function("vet", |b| b.iter(|| vet(&reading, &input)));
    group.bench_function("read and vet", |b| {
        b.iter(|| vet(&read(text.as_bytes(), &rules), &input));
    });
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
