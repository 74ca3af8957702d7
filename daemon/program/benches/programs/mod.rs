//! Programs and setups of our own invention that the benchmarks share, and everything that vetting
//! can be told of a machine, so that every rule judges.
#![allow(
    dead_code,
    reason = "each benchmark is a program of its own and uses some of this"
)]

use std::fmt::Write as _;

use program::{
    Air, Chart, Energy, Facts, Forecast, Hot, Link, Motion, Row, Setup, Slats, Source, Times,
    VetInput, Wear,
};
use units::Point;

/// Blocks of [`blocks`].
pub const BLOCKS: usize = 1_000_000;

/// Many small contours of 100 blocks, three lines and one arc in turn; so many blocks in all.
pub fn blocks(count: usize) -> String {
    let mut text = String::with_capacity(32 * count);
    text.push_str("G21 G90 G17\nF1100\n");
    let mut blocks = 2;
    let mut contour = 0_u32;
    while blocks < count - 1 {
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

/// The sheet for [`blocks`].
pub fn blocks_setup() -> Setup {
    setup(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [1250, 1250]\norigin = [20, 20]\nrotation = 3\nclamp = [1240, 1240]\n",
    )
}

/// 10,010 wavy contours of 50 straight pieces on 2.5 x 1.25 m.
pub fn wavy() -> String {
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

/// The sheet for [`wavy`].
pub fn wavy_setup() -> Setup {
    setup(
        "material = \"mild-steel\"\nthickness = 2\nsheet = [2500, 1250]\norigin = [0, 0]\nclamp = [2490, 1240]\n",
    )
}

/// A setup from its text.
pub fn setup(text: &str) -> Setup {
    Setup::from_toml(text).expect("a right setup")
}

/// Hot places, one for each of so many cuts.
pub fn hot(cuts: usize) -> Vec<Hot> {
    (1..=cuts)
        .map(|cut| Hot {
            cut,
            at: Point::new(cut as f64 % 1000.0, cut as f64 / 1000.0),
            rise_k: (cut % 149) as f64,
        })
        .collect()
}

/// Nothing runs short.
const ENOUGH: Forecast<'static> = Forecast {
    short: None,
    waits: &[],
    hopeless: None,
    more: false,
    most: 28.0,
    limit: 540.0,
};

/// Everything that vetting can be told of a machine.
pub fn facts(hot: &[Hot]) -> Facts<'_> {
    Facts {
        slats: Slats::default(),
        passages: None,
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
        has_chart: true,
        chart: Chart::Row(Row {
            name: "mild-steel 5 mm 40 A",
            amps: 40.0,
            volts: 113.0,
            thickness_mm: 5.0,
            feed_mm_s: 1100.0 / 60.0,
            between: None,
            for_other: None,
        }),
        energy: Some(Energy {
            power_w: 4520.0,
            melt_j_mm: 76.83,
            side_w: 372.6,
            side_power: 0.36,
            burning: 0.30,
            melting_low: 0.12,
            melting_high: 0.55,
        }),
        source: Some(Source {
            rated_amps: 60.0,
            rated_duty: 0.40,
        }),
        duty: Some(ENOUGH),
        air: Some(Air {
            forecast: ENOUGH,
            receiver_l: 100.0,
            compressor_l_min: 170.0,
            torch_l_min: 165.0,
            low_bar: 5.5,
        }),
        wear: Some(Wear {
            before: 0.1,
            after: 0.11,
            change_in: None,
        }),
        times: Some(Times {
            run_s: 50.0,
            arc_on_s: 28.0,
            touches_skipped: 0,
            touches_to_skip: 0,
            skip_saves_s: 0.0,
        }),
        heat: Some(hot),
        joined: None,
        reached_tolerance_mm: Some(0.5),
    }
}

/// What vetting is asked with: a table that the setup's sheet lies on, everything known.
pub fn input<'a>(setup: &'a Setup, kerf_mm: f64, hot: &'a [Hot]) -> VetInput<'a> {
    VetInput {
        setup: Some(setup),
        travel: Point::new(setup.sheet.x + 100.0, setup.sheet.y + 100.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(kerf_mm),
        chart_feed_mm_s: Some(1100.0 / 60.0),
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: facts(hot),
    }
}
