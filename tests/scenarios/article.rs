//! `standclear article` through the program itself: the page, the object, and what it refuses.

use std::path::Path;

use serde_json::Value;

use crate::rig::{Ran, number, standclear};

const READINGS: &str = "config/articles/gauge-plate.toml";
const MACHINE: &str = "config/machines/practice.toml";

fn article(arguments: &[&str]) -> Ran {
    let root = env!("CARGO_MANIFEST_DIR");
    Ran::of(
        standclear()
            .current_dir(root)
            .arg("article")
            .args(arguments),
    )
}

#[test]
fn the_invented_plate_gives_a_page_and_one_object_with_the_chart_rows_new_kerf() {
    let page = article(&[READINGS, "--config", MACHINE]);
    assert_eq!(page.code, Some(0), "{}", page.stderr);
    assert!(
        page.stdout.starts_with("# First article"),
        "{}",
        page.stdout
    );
    assert!(page.stdout.contains("ISO 9013-432"), "{}", page.stdout);

    let object = article(&[READINGS, "--config", MACHINE, "--format", "json"]);
    assert_eq!((object.code, object.stderr.as_str()), (Some(0), ""));
    let report: Value = serde_json::from_str(&object.stdout).expect("one object");
    let kerf = &report["proposals"][0];
    assert_eq!(kerf["about"], "kerf-outside");
    // 1.45 mm in the invented chart, and half of 0.20 mm, from one plate.
    assert!((number(&kerf["to_mm"]) - 1.55).abs() < 0.002, "{kerf}");
    assert_eq!(report["iso_9013"]["edition"], "ISO 9013:2017");
    assert_eq!(report["chosen"]["model"], "A");
}

#[test]
fn without_a_machine_file_the_change_is_told_and_no_row_is_made_up() {
    let object = article(&[READINGS, "--format", "json"]);
    assert_eq!(object.code, Some(0), "{}", object.stderr);
    let report: Value = serde_json::from_str(&object.stdout).expect("one object");
    assert!(report["row"].is_null());
    assert!(number(&report["proposals"][0]["change_mm"]) > 0.0);
    assert!(report["proposals"][0]["to_mm"].is_null());
}

#[test]
fn a_file_that_is_wrong_or_missing_is_refused_with_its_place() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join(READINGS)).expect("the example");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("wrong.toml");
    let wrong = text.replacen("measured_mm = 200.05", "measured_mm = 20.05", 1);
    std::fs::write(&file, wrong).expect("written");
    let line = text
        .lines()
        .position(|l| l == "measured_mm = 200.05")
        .expect("there")
        + 1;
    let ran = article(&[file.to_str().expect("a name")]);
    assert_eq!((ran.code, ran.stdout.as_str()), (Some(2), ""));
    let says = format!("line {line}, reading 1, measured_mm");
    assert!(ran.stderr.contains(&says), "{}", ran.stderr);

    let none = article(&["none.toml"]);
    assert_eq!(none.code, Some(2));
    assert!(
        none.stderr.contains("Name a file of readings"),
        "{}",
        none.stderr
    );
}
