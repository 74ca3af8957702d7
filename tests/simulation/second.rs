//! The simulated table as a second opinion on random sheets (those of vetting's other second opinion, a
//! polygon engine): what is not refused never loses its arc for want of metal, and where a pierce is
//! refused for a void the table's sheet has one, and nowhere else.
//!
//! `STANDCLEAR_SECOND=FROM..TO` takes other seeds.

use std::time::Duration;

use control::view::Phase;
use planning::Prepared;
use program::{Setup, Severity};
use simulator::Metal;
use standclear::config::Config;
use standclear::job::prepare;
use units::Point;

use crate::world::World;

#[expect(dead_code, reason = "the polygon engine needs more of a sheet")]
#[path = "../opinion/sheets.rs"]
mod sheets;

use sheets::{P, Sheet};

/// Steps of the arc along its path, mm.
const STEP_MM: f64 = 0.1;
/// The hole of a pierce, in kerfs across (process handbook).
const PIERCE: f64 = 1.6;
/// Metal is looked for within this of a pierce, mm; nine tenths of it are wanted (vetting).
const WITHIN_MM: f64 = 1.0;

fn seeds(few: std::ops::Range<u64>) -> std::ops::Range<u64> {
    let Ok(range) = std::env::var("STANDCLEAR_SECOND") else {
        return few;
    };
    let (from, to) = range.split_once("..").expect("STANDCLEAR_SECOND=FROM..TO");
    let number = |s: &str| s.parse().expect("STANDCLEAR_SECOND=FROM..TO");
    number(from)..number(to)
}

/// A sheet whose places are those of the table: nothing was cut from it before.
fn prepared(seed: u64, config: &Config) -> Option<(Sheet, Prepared)> {
    let sheet = sheets::sheet(seed);
    let setup = format!("{}chart = \"mild-steel 5 mm 40 A\"\n", sheet.setup);
    let setup = Setup::from_toml(&setup).expect("a setup");
    let prepared = prepare(config, "second", sheet.text.as_bytes(), Some(setup));
    sheet.used.is_empty().then_some((sheet, prepared))
}

/// The part of the surroundings of a place that is metal.
fn metal_part(metal: &Metal, p: P) -> f64 {
    let (mut there, mut all) = (0_u32, 0_u32);
    for i in -20..=20 {
        for j in -20..=20 {
            let (dx, dy) = (f64::from(i) * 0.05, f64::from(j) * 0.05);
            if dx.hypot(dy) <= WITHIN_MM {
                all += 1;
                there += u32::from(metal.at(Point::new(p[0] + dx, p[1] + dy)));
            }
        }
    }
    f64::from(there) / f64::from(all)
}

/// The arc goes along a cut.
fn burn(metal: &mut Metal, path: &[P], kerf: f64) {
    let at = |p: P| Point::new(p[0], p[1]);
    metal.burn(at(path[0]), PIERCE * kerf / 2.0);
    metal.end(false);
    for w in path.windows(2) {
        let n = (at(w[0]).distance(at(w[1])) / STEP_MM).ceil().max(1.0) as u32;
        for k in 0..=n {
            let part = f64::from(k) / f64::from(n);
            let p = [
                w[0][0] + (w[1][0] - w[0][0]) * part,
                w[0][1] + (w[1][1] - w[0][1]) * part,
            ];
            metal.burn(at(p), kerf / 2.0);
        }
    }
    metal.end(true);
}

#[test]
fn a_pierce_is_refused_for_a_void_where_the_tables_sheet_has_one_and_nowhere_else() {
    let config = Config::built_in();
    let falls = simulator::TableSettings::default().falls_mm;
    let (mut refused, mut passed, mut wrong) = (0, 0, Vec::new());
    for seed in seeds(1..201) {
        let Some((sheet, prepared)) = prepared(seed, &config) else {
            continue;
        };
        let mut metal = Metal::new(
            Point::default(),
            Point::new(sheet.size[0], sheet.size[1]),
            falls,
        );
        for (path, cut) in sheet.paths.iter().zip(1..) {
            let findings = &prepared.report.findings;
            let told = findings
                .iter()
                .any(|f| f.rule == "pierce-in-void" && f.cuts.contains(&cut));
            let part = metal_part(&metal, path[0]);
            if told {
                refused += 1;
            } else {
                passed += 1;
            }
            if (told && part > 0.97) || (!told && part < 0.8) {
                wrong.push(format!(
                    "seed {seed}, cut {cut}: {part:.2} is metal, refused: {told}"
                ));
            }
            burn(&mut metal, path, sheet.kerf);
        }
    }
    println!("{refused} refused, {passed} passed");
    assert_eq!(wrong, Vec::<String>::new());
    assert!(
        refused >= 15 && passed >= 500,
        "{refused} refused, {passed} passed"
    );
}

#[test]
fn what_is_not_refused_never_loses_its_arc_for_want_of_metal() {
    let mut config = Config::built_in();
    // Worn parts are not what this is about.
    config.supplies = None;
    let mut cut = 0;
    for seed in seeds(1..61) {
        let Some((sheet, prepared)) = prepared(seed, &config) else {
            continue;
        };
        if prepared
            .report
            .findings
            .iter()
            .any(|f| f.severity == Severity::Refuse)
        {
            continue;
        }
        let accepted = prepared.report.accepted_for("a test");
        let job = prepared.seal(&config.table(), &accepted).expect("a seal");
        let mut world = World::new(config.clone(), job, seed, &[]);
        let view = world.run(Duration::from_secs(7200));
        let story = || format!("seed {seed}\n{}\n{}", sheet.text, world.story(30));
        assert_eq!(view.phase, Phase::Finished, "{}", story());
        assert_eq!(view.holds, vec![], "{}", story());
        assert_eq!(view.retries, vec![], "{}", story());
        let truth = world.table.lock().expect("one thread").truth();
        assert_eq!(truth.violations, Vec::<String>::new(), "{}", story());
        cut += 1;
    }
    println!("{cut} sheets were cut");
    assert!(
        std::env::var_os("STANDCLEAR_SECOND").is_some() || cut >= 10,
        "{cut} sheets were cut"
    );
}
