//! Programs and setups that grow: what vetting costs must grow with them as n log n.

use std::fmt::Write as _;

use program::Setup;

use super::programs::setup;

/// A kind of program that can be made in any size.
#[derive(Clone, Copy)]
pub struct Family {
    /// What grows.
    pub name: &'static str,
    /// The program and the setup of a size.
    pub make: fn(usize) -> (String, Setup),
    /// The smallest size of a curve.
    #[allow(dead_code, reason = "the growth test has sizes of its own")]
    pub least: usize,
    /// At this size and at twice as much the growth test counts: what is dense is as dense as it gets.
    #[allow(dead_code, reason = "the benchmark draws curves against the clock")]
    pub counted: usize,
}

/// All of them.
pub const ALL: &[Family] = &[
    family("cuts: a grid of squares", grid_of_squares, [1000, 500]),
    family("cuts: torch on and off, spread", pairs_spread, [1000, 2000]),
    family(
        "cuts: torch on and off, at one point",
        pairs_at_a_point,
        [1000, 500],
    ),
    family("cuts: starting at one point", star, [500, 1000]),
    family("cuts: crossing each other all", all_cross, [64, 32]),
    family("cuts: one that crosses itself", self_crossing, [500, 250]),
    family("cuts: one zigzag", zigzag, [4000, 8000]),
    family("cuts: tiny arcs", tiny_arcs, [16_000, 8000]),
    family("contours: concentric rings", rings, [100, 25]),
    family("contours: concentric rings, close", close_rings, [40, 160]),
    family(
        "contours: nested squares, outside first",
        nested_squares,
        [100, 50],
    ),
    family("contours: holes in one outline", holes_in_one, [1000, 500]),
    family(
        "contours: circles of short lines",
        faceted_circles,
        [100, 50],
    ),
    family("contours: one of many corners", one_large, [8000, 8000]),
    family("contours: a comb within a comb", combs, [500, 62]),
    family("repeats: the same square", same_square, [125, 500]),
    family("repeats: the same ring", same_ring, [125, 250]),
    family("repeats: overlapping squares", overlapping, [125, 170]),
    family(
        "repeats: one cut round and round",
        round_and_round,
        [500, 500],
    ),
    family("keep-outs: spread, few cuts", keepouts_spread, [1500, 1500]),
    family("keep-outs: as many as cuts", keepouts_with_cuts, [500, 500]),
    family(
        "keep-outs: on one place, few cuts",
        keepouts_at_a_place,
        [1500, 3000],
    ),
    family(
        "keep-outs: on one place, as many cuts",
        keepouts_at_a_place_with_cuts,
        [250, 1000],
    ),
    family(
        "tabs: as many as open contours",
        tabs_with_contours,
        [500, 500],
    ),
    family("tabs: many, few contours", tabs_many, [4000, 4000]),
    family("used areas: spread, few cuts", used_spread, [500, 500]),
    family("used areas: as many as cuts", used_with_cuts, [500, 500]),
    family(
        "used areas: on one place, as many cuts",
        used_at_a_place,
        [250, 500],
    ),
    family(
        "used areas: one of many corners",
        used_corners,
        [2000, 2000],
    ),
    family("findings: none, comments", comments, [4000, 4000]),
    family("findings: unreadable blocks", unreadable, [8000, 8000]),
    family("compensated contours", compensated, [500, 500]),
    family(
        "compensated: one of many corners",
        compensated_large,
        [2000, 2000],
    ),
];

const fn family(
    name: &'static str,
    make: fn(usize) -> (String, Setup),
    [least, counted]: [usize; 2],
) -> Family {
    Family {
        name,
        make,
        least,
        counted,
    }
}

const SHEET: &str = "material = \"mild-steel\"\nthickness = 5\nsheet = [1250, 1250]\norigin = [0, 0]\nclamp = [1240, 1240]\n";

fn program(cuts: &str) -> String {
    format!("G21 G90\nF1100\n{cuts}M2\n")
}

/// A clockwise square without a lead-in.
fn square(out: &mut String, x: f64, y: f64, side: f64) {
    let (r, t) = (x + side, y + side);
    let _ = write!(
        out,
        "G0 X{x:.4} Y{y:.4}\nM3\nG1 Y{t:.4}\nG1 X{r:.4}\nG1 Y{y:.4}\nG1 X{x:.4}\nM5\n"
    );
}

fn ring(out: &mut String, x: f64, y: f64, r: f64) {
    let _ = write!(
        out,
        "G0 X{:.4} Y{y:.4}\nM3\nG3 X{:.4} Y{y:.4} I{:.4} J0\nM5\n",
        x + r,
        x + r,
        -r
    );
}

/// Places of a grid over the sheet, so many.
fn places(n: usize) -> impl Iterator<Item = (f64, f64, f64)> {
    let side = (n as f64).sqrt().ceil().max(1.0) as usize;
    let pitch = 1180.0 / side as f64;
    (0..n).map(move |k| {
        (
            20.0 + (k % side) as f64 * pitch,
            20.0 + (k / side) as f64 * pitch,
            pitch,
        )
    })
}

fn grid_of_squares(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for (x, y, pitch) in places(n) {
        square(&mut out, x, y, 0.7 * pitch);
    }
    (program(&out), setup(SHEET))
}

fn pairs_spread(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for (x, y, _) in places(n) {
        let _ = write!(out, "G0 X{x:.4} Y{y:.4}\nM3\nM5\n");
    }
    (program(&out), setup(SHEET))
}

fn pairs_at_a_point(n: usize) -> (String, Setup) {
    let out = format!("G0 X600 Y600\nM3\nG1 X700\nM5\n{}", "M3\nM5\n".repeat(n));
    (program(&out), setup(SHEET))
}

fn star(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for k in 0..n {
        let (sin, cos) = (core::f64::consts::TAU * k as f64 / n as f64).sin_cos();
        let (x, y) = (600.0 + 100.0 * cos, 600.0 + 100.0 * sin);
        let _ = write!(out, "G0 X600 Y600\nM3\nG1 X{x:.4} Y{y:.4}\nM5\n");
    }
    (program(&out), setup(SHEET))
}

/// Every cut crosses every other: the crossings are n squared and so is the metal cut away, until
/// nothing is left; the size is the square root of what is made.
fn all_cross(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for k in 0..n {
        let off = 20.0 + 1000.0 * k as f64 / n as f64;
        let _ = write!(
            out,
            "G0 X{off:.4} Y20\nM3\nG1 X{:.4} Y1020\nM5\n",
            1040.0 - off
        );
    }
    (program(&out), setup(SHEET))
}

fn self_crossing(n: usize) -> (String, Setup) {
    let mut out = "G0 X600 Y600\nM3\n".to_owned();
    for k in 0..n {
        // A star polygon: each piece goes nearly across.
        let (sin, cos) = (2.399_963_229_728_653 * k as f64).sin_cos();
        let _ = writeln!(
            out,
            "G1 X{:.4} Y{:.4}",
            600.0 + 200.0 * cos,
            600.0 + 200.0 * sin
        );
    }
    out.push_str("M5\n");
    (program(&out), setup(SHEET))
}

fn zigzag(n: usize) -> (String, Setup) {
    let mut out = "G0 X20 Y20\nM3\n".to_owned();
    for k in 0..n {
        let x = 20.0 + 1000.0 * k as f64 / n as f64;
        let _ = writeln!(out, "G1 X{x:.5} Y{}", if k % 2 == 0 { 24 } else { 20 });
    }
    out.push_str("M5\n");
    (program(&out), setup(SHEET))
}

fn tiny_arcs(n: usize) -> (String, Setup) {
    let mut out = "G0 X20 Y20\nM3\n".to_owned();
    for k in 0..n {
        let (row, at) = (k / 20_000, k % 20_000);
        let x = if row % 2 == 0 { at } else { 20_000 - at };
        let _ = writeln!(
            out,
            "G{} X{:.4} Y{} R0.05",
            2 + k % 2,
            20.0 + 0.05 * x as f64,
            20 + 8 * row
        );
    }
    out.push_str("M5\n");
    (program(&out), setup(SHEET))
}

fn rings(n: usize) -> (String, Setup) {
    rings_within(n, 580.0)
}

fn close_rings(n: usize) -> (String, Setup) {
    rings_within(n, 80.0)
}

fn rings_within(n: usize, radius: f64) -> (String, Setup) {
    let mut out = String::new();
    for k in 0..n {
        let r = 5.0 + radius * (k + 1) as f64 / n as f64;
        ring(&mut out, 600.0, 600.0, r);
    }
    (program(&out), setup(SHEET))
}

fn nested_squares(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for k in 0..n {
        let half = 590.0 - 580.0 * k as f64 / n as f64;
        square(&mut out, 600.0 - half, 600.0 - half, 2.0 * half);
    }
    (program(&out), setup(SHEET))
}

fn holes_in_one(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for (x, y, pitch) in places(n) {
        ring(&mut out, x + pitch / 2.0, y + pitch / 2.0, 0.3 * pitch);
    }
    square(&mut out, 12.0, 12.0, 1210.0);
    (program(&out), setup(SHEET))
}

fn faceted_circles(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for (x, y, pitch) in places(n) {
        let r = 0.4 * pitch;
        let (x, y) = (x + pitch / 2.0, y + pitch / 2.0);
        let _ = write!(out, "G0 X{:.4} Y{y:.4}\nM3\n", x + r);
        for k in 1..=400 {
            let (sin, cos) = (core::f64::consts::TAU * f64::from(k) / 400.0).sin_cos();
            let _ = writeln!(out, "G1 X{:.4} Y{:.4}", x + r * cos, y + r * sin);
        }
        out.push_str("M5\n");
    }
    (program(&out), setup(SHEET))
}

fn one_large(n: usize) -> (String, Setup) {
    let mut out = "G0 X600 Y0\nM3\n".to_owned();
    for k in 0..=n {
        let a = core::f64::consts::TAU * k as f64 / n as f64;
        let r = 500.0 + 8.0 * (97.0 * a).sin();
        let _ = writeln!(
            out,
            "G1 X{:.5} Y{:.5}",
            600.0 + r * a.cos(),
            600.0 + r * a.sin()
        );
    }
    out.push_str("M5\n");
    (program(&out), setup(SHEET))
}

/// Two combs whose teeth lie between each other: two long contours near each other everywhere.
fn combs(n: usize) -> (String, Setup) {
    let mut out = String::new();
    let pitch = 1000.0 / n as f64;
    for (base, tip, shift) in [(20.0, 300.0, 0.0), (320.0, 40.0, 0.5)] {
        let x = |k: f64| 50.0 + pitch * (k + shift);
        let _ = write!(out, "G0 X{:.4} Y{base}\nM3\n", x(0.0));
        for k in 0..n {
            let k = k as f64;
            let _ = write!(
                out,
                "G1 Y{tip}\nG1 X{:.5}\nG1 Y{base}\nG1 X{:.5}\n",
                x(k + 0.2),
                x(k + 1.0)
            );
        }
        let back = if base < tip { base - 10.0 } else { base + 10.0 };
        let _ = write!(out, "G1 Y{back}\nG1 X{:.4}\nG1 Y{base}\nM5\n", x(0.0));
    }
    (program(&out), setup(SHEET))
}

fn same_square(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for _ in 0..n {
        square(&mut out, 600.0, 600.0, 50.0);
    }
    (program(&out), setup(SHEET))
}

fn same_ring(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for _ in 0..n {
        ring(&mut out, 600.0, 600.0, 50.0);
    }
    (program(&out), setup(SHEET))
}

fn overlapping(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for k in 0..n {
        let off = 100.0 * k as f64 / n as f64;
        square(&mut out, 300.0 + off, 400.0 + 0.5 * off, 100.0);
    }
    (program(&out), setup(SHEET))
}

fn round_and_round(n: usize) -> (String, Setup) {
    let turn = "G1 Y650\nG1 X650\nG1 Y600\nG1 X600\n";
    let out = format!("G0 X600 Y600\nM3\n{}M5\n", turn.repeat(n));
    (program(&out), setup(SHEET))
}

fn keepouts(places: impl Iterator<Item = (f64, f64)>) -> Setup {
    let mut text = format!("{SHEET}keepouts = [\n");
    for (x, y) in places {
        let _ = writeln!(
            text,
            "{{ at = [{x:.3}, {y:.3}], size = [3, 3], height = 30 }},"
        );
    }
    text.push_str("]\n");
    setup(&text)
}

fn keepouts_spread(n: usize) -> (String, Setup) {
    let (text, _) = grid_of_squares(200);
    (text, keepouts(places(n).map(|(x, y, _)| (x, y))))
}

fn keepouts_with_cuts(n: usize) -> (String, Setup) {
    let (text, _) = grid_of_squares(n);
    (text, keepouts(places(n).map(|(x, y, _)| (x, y))))
}

fn keepouts_at_a_place(n: usize) -> (String, Setup) {
    let (text, _) = grid_of_squares(200);
    (
        text,
        keepouts((0..n).map(|k| (600.0, 600.0 + k as f64 / n as f64))),
    )
}

fn keepouts_at_a_place_with_cuts(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for k in 0..n {
        square(&mut out, 590.0 + 10.0 * k as f64 / n as f64, 590.0, 10.0);
    }
    let things = (0..n).map(|k| (600.0, 600.0 + k as f64 / n as f64));
    (program(&out), keepouts(things))
}

fn open_squares(n: usize) -> (String, Vec<(f64, f64)>) {
    let (mut out, mut gaps) = (String::new(), Vec::new());
    for (x, y, pitch) in places(n) {
        let side = (0.7 * pitch).max(8.0);
        let (r, t) = (x + side, y + side);
        let _ = write!(
            out,
            "G0 X{x:.4} Y{y:.4}\nM3\nG1 Y{t:.4}\nG1 X{r:.4}\nG1 Y{y:.4}\nG1 X{:.4}\nM5\n",
            x + 2.0
        );
        gaps.push((x + 1.0, y));
    }
    (program(&out), gaps)
}

fn tabs(of: impl Iterator<Item = (f64, f64)>) -> Setup {
    let mut text = format!("{SHEET}tabs = [\n");
    for (x, y) in of {
        let _ = writeln!(text, "[{x:.3}, {y:.3}],");
    }
    text.push_str("]\n");
    setup(&text)
}

fn tabs_with_contours(n: usize) -> (String, Setup) {
    let (text, gaps) = open_squares(n);
    (text, tabs(gaps.into_iter().rev()))
}

fn tabs_many(n: usize) -> (String, Setup) {
    let (text, _) = open_squares(400);
    (text, tabs(places(n).map(|(x, y, _)| (x + 7.0, y + 7.0))))
}

fn used(areas: impl Iterator<Item = Vec<(f64, f64)>>) -> Setup {
    let mut text = format!("{SHEET}used = [\n");
    for area in areas {
        text.push('[');
        for (x, y) in area {
            let _ = write!(text, "[{x:.4}, {y:.4}],");
        }
        text.push_str("],\n");
    }
    text.push_str("]\n");
    setup(&text)
}

fn triangle(x: f64, y: f64, size: f64) -> Vec<(f64, f64)> {
    vec![(x, y), (x + size, y), (x, y + size)]
}

fn used_spread(n: usize) -> (String, Setup) {
    let (text, _) = grid_of_squares(200);
    (
        text,
        used(places(n).map(|(x, y, p)| triangle(x, y, 0.5 * p))),
    )
}

fn used_with_cuts(n: usize) -> (String, Setup) {
    let (text, _) = grid_of_squares(n);
    (
        text,
        used(places(n).map(|(x, y, p)| triangle(x, y, 0.5 * p))),
    )
}

fn used_at_a_place(n: usize) -> (String, Setup) {
    let (text, _) = same_square(n);
    (
        text,
        used((0..n).map(|k| triangle(605.0, 595.0 + k as f64 / n as f64, 20.0))),
    )
}

fn used_corners(n: usize) -> (String, Setup) {
    let (text, _) = grid_of_squares(1000);
    let area = (0..n).map(|k| {
        let a = core::f64::consts::TAU * k as f64 / n as f64;
        let r = 400.0 + 20.0 * (40.0 * a).sin();
        (600.0 + r * a.cos(), 600.0 + r * a.sin())
    });
    (text, used(core::iter::once(area.collect())))
}

fn comments(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for k in 0..n {
        let _ = writeln!(out, "(qty {k} parts {k} off 5 mm steel 600 x {k})");
    }
    square(&mut out, 100.0, 100.0, 50.0);
    (program(&out), setup(SHEET))
}

fn unreadable(n: usize) -> (String, Setup) {
    let mut out = String::new();
    square(&mut out, 100.0, 100.0, 50.0);
    for k in 0..n {
        let _ = writeln!(out, "G1 X1,{k} Y#3");
    }
    (program(&out), setup(SHEET))
}

fn compensated(n: usize) -> (String, Setup) {
    let mut out = String::new();
    for (x, y, pitch) in places(n) {
        let side = 0.6 * pitch;
        let (r, t, m) = (x + side, y + side, x + 0.5 * side);
        let low = y - 0.2 * pitch;
        let _ = write!(
            out,
            "G0 X{m:.4} Y{low:.4}\nG41\nM3\nG1 Y{y:.4}\nG1 X{x:.4}\nG1 Y{t:.4}\nG1 X{r:.4}\nG1 Y{y:.4}\nG1 X{m:.4}\nG40\nM5\n"
        );
    }
    (program(&out), setup(SHEET))
}

fn compensated_large(n: usize) -> (String, Setup) {
    let mut out = "G0 X1120 Y600\nG42\nM3\n".to_owned();
    for k in 0..=n {
        let a = core::f64::consts::TAU * k as f64 / n as f64;
        let r = 500.0 + 3.0 * (31.0 * a).sin();
        let _ = writeln!(
            out,
            "G1 X{:.5} Y{:.5}",
            600.0 + r * a.cos(),
            600.0 + r * a.sin()
        );
    }
    out.push_str("G40\nM5\n");
    (program(&out), setup(SHEET))
}
