//! The frame that the tests of all rules start from: a sheet of 300 x 200 mm, one hole, one
//! outline, the clamp in the skeleton. It is clear; each test changes one thing.

use units::Point;

use crate::passage::Motion;
use crate::vetting::facts::{
    Air, Chart, Energy, Facts, Forecast, Link, Row, Slats, Source, Times, Wear,
};
use crate::{ReadingRules, Report, Setup, VetInput, read, vet};

pub const PROGRAM: &str = "\
G21 G90
G0 X45 Y40
M3
G1 X50 F660
G3 X50 Y40 I-10 J0
M5
G0 X66 Y-8
M3
G1 X50 Y0 F1100
G1 X0
G1 Y80
G1 X100
G1 Y0
G1 X48
M5
M2
";

pub const SETUP: &str = "\
material = \"mild-steel\"
thickness = 5
sheet = [300, 200]
origin = [60, 60]
clamp = [270, 170]
";

pub fn setup() -> Setup {
    Setup::from_toml(SETUP).expect("the frame's setup is right")
}

/// The invented table's axes.
pub const MOTION: Motion = Motion {
    accel_mm_s2: 400.0,
    corner_step_mm_s: 8.0,
    feed_max_mm_s: 200.0,
};

/// 115 200 baud, and the blocks of the invented dialect.
pub const LINK: Link = Link {
    bytes_s: 11_520.0,
    block_s: 0.008,
    line_bytes: 45.0,
    arc_bytes: Some(63.0),
    chord_off_mm: 0.02,
};

/// Mild steel of 5 mm at 40 A, of the invented chart.
pub const ROW: Row<'static> = Row {
    name: "mild-steel 5 mm 40 A",
    amps: 40.0,
    volts: 113.0,
    thickness_mm: 5.0,
    feed_mm_s: 1100.0 / 60.0,
    between: None,
    for_other: None,
};

/// The balance of that row with a kerf of 1.45 mm: em 0.31, en 0.45.
pub const ENERGY: Energy = Energy {
    power_w: 4520.0,
    melt_j_mm: 76.83,
    side_w: 372.6,
    side_power: 0.36,
    burning: 0.30,
    melting_low: 0.12,
    melting_high: 0.55,
};

/// Air that lasts.
pub const AIR: Air<'static> = Air {
    forecast: ENOUGH,
    receiver_l: 100.0,
    compressor_l_min: 170.0,
    torch_l_min: 165.0,
    low_bar: 5.5,
};

/// The frame's own, about.
pub const TIMES: Times = Times {
    run_s: 50.0,
    arc_on_s: 28.0,
    touches_skipped: 0,
    touches_to_skip: 0,
    skip_saves_s: 0.0,
};

const ENOUGH: Forecast<'static> = Forecast {
    short: None,
    waits: &[],
    hopeless: None,
    more: false,
    most: 28.0,
    limit: 540.0,
};

/// Everything known, nothing wrong.
pub const fn facts() -> Facts<'static> {
    Facts {
        slats: Slats {
            pitch_mm: 75.0,
            depth_mm: 60.0,
        },
        passages: None,
        motion: Some(MOTION),
        link: Some(LINK),
        has_chart: true,
        chart: Chart::Row(ROW),
        energy: Some(ENERGY),
        source: Some(Source {
            rated_amps: 60.0,
            rated_duty: 0.40,
        }),
        duty: Some(ENOUGH),
        air: Some(AIR),
        wear: Some(Wear {
            before: 0.1,
            after: 0.11,
            change_in: None,
        }),
        times: Some(TIMES),
        heat: Some(&[]),
        joined: None,
        reached_tolerance_mm: Some(0.5),
    }
}

pub fn input(setup: &Setup) -> VetInput<'_> {
    VetInput {
        setup: Some(setup),
        travel: Point::new(1300.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(1.45),
        chart_feed_mm_s: Some(1100.0 / 60.0),
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: facts(),
    }
}

pub fn report(program: &str) -> Report {
    let setup = setup();
    report_with(program, &input(&setup))
}

pub fn report_with(program: &str, input: &VetInput<'_>) -> Report {
    vet(&read(program.as_bytes(), &ReadingRules::default()), input)
}

/// What is found, as `severity rule line:column cut`, dashes for what is not known. What the frame
/// itself frees (its slug falls, its part may tip) is left out: that note stands beside everything.
pub fn brief(report: &Report) -> Vec<String> {
    let or_dash = |n: Option<u32>| n.map_or("-".to_owned(), |n| n.to_string());
    report
        .findings
        .iter()
        .filter(|f| f.rule != super::order::part_unsupported::NAME)
        .map(|f| {
            let severity = format!("{:?}", f.severity).to_lowercase();
            format!(
                "{severity} {} {}:{} {}",
                f.rule,
                or_dash(f.line),
                or_dash(f.column),
                or_dash(f.cut.map(|c| c as u32))
            )
        })
        .collect()
}

/// Without the rules of the order: what a shape does to the sheet besides is their own tests' matter.
pub fn of_shape(all: Vec<String>) -> Vec<String> {
    let in_order = |name: &str| {
        let rule = super::ALL.iter().find(|r| r.name == name);
        rule.is_some_and(|r| r.group == super::Group::Order)
    };
    let name = |f: &String| f.split(' ').nth(1).unwrap_or_default().to_owned();
    all.into_iter().filter(|f| !in_order(&name(f))).collect()
}

/// What is found in a program on the frame's sheet.
pub fn found(program: &str) -> Vec<String> {
    brief(&report(program))
}

/// What is found in the frame's program with one piece of its text changed (its first place).
pub fn changed(from: &str, to: &str) -> Vec<String> {
    assert!(PROGRAM.contains(from), "{from} is not in the frame");
    found(&PROGRAM.replacen(from, to, 1))
}

/// What is found in the frame's program with the setup changed.
pub fn placed(program: &str, change: impl FnOnce(&mut Setup)) -> Vec<String> {
    let mut setup = setup();
    change(&mut setup);
    brief(&report_with(program, &input(&setup)))
}

pub fn nothing() -> Vec<String> {
    Vec::new()
}

/// Cuts of a program of their own on the frame's sheet: rectangles, with a lead-in of 6 mm from
/// the side that is not kept and 2 mm of over-burn.
pub struct Rect(pub f64, pub f64, pub f64, pub f64);

impl Rect {
    /// As an outline: clockwise, pierced outside.
    pub fn outline(&self) -> String {
        let Self(x0, y0, x1, y1) = *self;
        let m = f64::midpoint(x0, x1);
        format!(
            "G0 X{m} Y{}\nM3\nG1 Y{y0} F1100\nG1 X{x0}\nG1 Y{y1}\nG1 X{x1}\nG1 Y{y0}\nG1 X{}\nM5\n",
            y0 - 6.0,
            m - 2.0
        )
    }

    /// As a hole: anticlockwise, pierced inside.
    pub fn hole(&self) -> String {
        let Self(x0, y0, x1, y1) = *self;
        let m = f64::midpoint(x0, x1);
        format!(
            "G0 X{m} Y{}\nM3\nG1 Y{y0} F1100\nG1 X{x1}\nG1 Y{y1}\nG1 X{x0}\nG1 Y{y0}\nG1 X{m}\nM5\n",
            y0 + 6.0
        )
    }

    /// As an outline that ends so many mm before it closes: a tab.
    pub fn tabbed(&self, tab: f64) -> String {
        let Self(x0, y0, x1, y1) = *self;
        let m = f64::midpoint(x0, x1);
        format!(
            "G0 X{m} Y{}\nM3\nG1 Y{y0} F1100\nG1 X{x0}\nG1 Y{y1}\nG1 X{x1}\nG1 Y{y0}\nG1 X{}\nM5\n",
            y0 - 6.0,
            m + tab
        )
    }
}

/// A whole program, in sheet coordinates, from its cuts.
pub fn program(cuts: &[String]) -> String {
    format!("G21 G90\n{}M2\n", cuts.concat())
}

/// What rules of the order find in a program on the frame's sheet with its zero at the sheet's
/// corner: `severity rule cut`.
pub fn order(cuts: &[String], change: impl FnOnce(&mut Setup)) -> Vec<String> {
    let mut setup = setup();
    setup.origin = Point::new(0.0, 0.0);
    change(&mut setup);
    let report = report_with(&program(cuts), &input(&setup));
    let order = |name: &str| {
        let group = super::ALL.iter().find(|r| r.name == name).map(|r| r.group);
        name != super::order::part_unsupported::NAME && group == Some(super::Group::Order)
    };
    report
        .findings
        .iter()
        .filter(|f| order(&f.rule))
        .map(|f| {
            let severity = format!("{:?}", f.severity).to_lowercase();
            let cut = f.cut.map_or("-".to_owned(), |c| c.to_string());
            format!("{severity} {} {cut}", f.rule)
        })
        .collect()
}
