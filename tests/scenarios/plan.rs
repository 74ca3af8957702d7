//! `standclear plan` through the program itself: the page, the object, and its exit status.

use serde_json::Value;

use crate::rig::{Ran, number, standclear};

const HINGES: &str = "config/demo/hinge-plates.nc";
const SETUP: &str = "config/demo/hinge-plates.toml";
const MACHINE: &str = "config/machines/practice.toml";

fn plan(arguments: &[&str]) -> Ran {
    let root = env!("CARGO_MANIFEST_DIR");
    Ran::of(standclear().current_dir(root).arg("plan").args(arguments))
}

#[test]
fn the_demonstration_wants_no_pause_and_without_its_compressor_no_pause_helps() {
    let page = plan(&[HINGES, "--setup", SETUP, "--config", MACHINE]);
    assert_eq!(page.code, Some(0), "{}", page.stderr);
    assert!(
        page.stdout.contains("pauses  none are wanted"),
        "{}",
        page.stdout
    );
    assert!(page.stdout.contains("time    8 min "), "{}", page.stdout);

    let off = plan(&[
        HINGES,
        "--setup",
        SETUP,
        "--config",
        MACHINE,
        "--compressor",
        "off",
    ]);
    assert_eq!(off.code, Some(1), "{}", off.stdout);
    assert!(
        off.stdout.contains("the compressor is left off"),
        "{}",
        off.stdout
    );
}

#[test]
fn the_object_has_the_line_of_time_and_the_pauses_of_its_machine_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let machine = folder.path().join("small.toml");
    let text = include_str!("../../config/machines/practice.toml");
    let text = text.replace("compressor_l_min = 170", "compressor_l_min = 90");
    let text = text.replace("../", &format!("{}/config/", env!("CARGO_MANIFEST_DIR")));
    std::fs::write(&machine, format!("{text}\n[prices]\nset = 12\nhour = 40\n")).expect("written");
    let machine = machine.display().to_string();
    let object = plan(&[
        HINGES, "--setup", SETUP, "--config", &machine, "--format", "json",
    ]);
    assert_eq!((object.code, object.stderr.as_str()), (Some(0), ""));
    let plan: Value = serde_json::from_str(&object.stdout).expect("one object");
    assert_eq!(
        plan["pauses"].as_array().expect("pauses").len(),
        2,
        "{}",
        plan["pauses"]
    );
    assert_eq!(plan["cures"], serde_json::json!(["air-short"]));
    let line = plan["line"].as_array().expect("a line");
    let least = line
        .iter()
        .map(|m| number(&m["bar"]))
        .fold(f64::INFINITY, f64::min);
    assert!((5.5..5.8).contains(&least), "{least}");
    // 40 an hour and 12 a set, process handbook 1 (invented there).
    let (run_s, sets) = (number(&plan["run_s"]), number(&plan["wear"]["sets"]));
    let (time, parts) = (
        number(&plan["cost"]["time"]),
        number(&plan["cost"]["parts"]),
    );
    assert!((time - 40.0 * run_s / 3600.0).abs() < 1e-9 && (parts - 12.0 * sets).abs() < 1e-9);
}
