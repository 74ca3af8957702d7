//! Simple cuts made by the real binary, vetted, and cut on the simulated table.

use std::path::Path;

use crate::rig::{PATIENT, Ran, assert_whole, standclear};

const MACHINE: &str = "config/machines/practice.toml";
const SETUP: &str = "config/demo/hinge-plates.toml";

fn make(shape: &str, setup: &Path, more: &[&str]) -> Ran {
    Ran::of(
        standclear()
            .arg("make")
            .args(shape.split(' '))
            .args(["--config", MACHINE, "--setup"])
            .arg(setup)
            .args(more),
    )
}

#[test]
fn every_shape_is_made_clear_and_cut_whole() {
    let folder = tempfile::tempdir().expect("a folder");
    for shape in [
        "disc --diameter 100mm",
        "ring --outer 90mm --inner 30mm",
        "rectangle --width 120mm --height 3in --radius 5mm",
        "slot --length 60mm --width 12mm --angle 30",
        "line --x 300mm",
        "holes --count 3 --diameter 14mm --pitch 40mm --rows 2",
    ] {
        let file = folder.path().join("made.nc");
        let out = file.to_str().expect("a name");
        let made = make(shape, Path::new(SETUP), &["--format", "json", "--out", out]);
        assert_eq!(made.code, Some(0), "{shape}: {}", made.stderr);
        assert_eq!(made.json()["report"]["verdict"], "clear", "{shape}");
        let ran = Ran::of(
            standclear()
                .arg("practice")
                .arg(&file)
                .args(["--setup", SETUP, "--config", MACHINE])
                .args(["--headless", "--format", "json", "--speed", "1000"])
                .args(PATIENT),
        );
        let told = assert_whole(&ran);
        assert_eq!(told["holds"], serde_json::json!([]), "{shape}");
        assert_eq!(told["truth"]["off_path_mm"], 0.0, "{shape}");
    }
}

#[test]
fn shapes_of_many_sizes_on_every_row_of_the_chart_vet_clear_but_for_small_parts_or_are_refused_by_a_rule()
 {
    let folder = tempfile::tempdir().expect("a folder");
    let setup = folder.path().join("setup.toml");
    let sheets = [
        ("mild-steel", 2, 25),
        ("mild-steel", 6, 40),
        ("mild-steel", 10, 55),
        ("aluminium", 8, 55),
        ("stainless", 4, 40),
    ];
    for (i, (material, t, amps)) in sheets.iter().enumerate() {
        let text = format!(
            "material = \"{material}\"\nthickness = {t}\nsheet = [600, 400]\norigin = [20, 0]\n\
             rotation = {}\nclamp = [580, 380]\nchart = \"{material} {t} mm {amps} A\"\n",
            37 * (i % 2)
        );
        std::fs::write(&setup, text).expect("written");
        for size in [4.0, 16.5, 21.1, 30.93, 55.0, 120.0, 500.0] {
            for shape in [
                format!("disc --diameter {size}mm"),
                format!("ring --outer {}mm --inner {size}mm", size + 40.0),
                format!("rectangle --width {}mm --height {size}mm", size * 1.3),
                format!("slot --length {}mm --width {size}mm", size + 20.0),
                format!("line --y {}mm --keep above", 20.0 + size / 2.0),
                format!(
                    "holes --count 3 --diameter {size}mm --pitch {}mm",
                    size + 12.0
                ),
            ] {
                let made = make(&shape, &setup, &["--format", "json"]);
                let told = made.json();
                match told["made"].as_bool() {
                    Some(true) => {
                        let findings = told["report"]["findings"].as_array();
                        let loud = findings.into_iter().flatten();
                        let loud = loud.filter(|f| f["severity"] != "note");
                        // Not yet cured: a part that falls through comes free just before its contour
                        // closes. Vetting says so, and a person accepts it or does not.
                        let falls = size < 80.0 && !shape.starts_with("slot");
                        for f in loud {
                            assert!(
                                falls && f["rule"] == "path-in-void" && f["severity"] == "warn",
                                "{material} {t} mm, {shape}: {f}"
                            );
                        }
                    }
                    _ => assert!(told["refused"]["rule"].is_string(), "{shape}: {told}"),
                }
            }
        }
    }
}

#[test]
fn bad_numbers_end_with_words_and_nothing_is_written() {
    let setup = Path::new(SETUP);
    for (number, code) in [
        ("100", 2),
        ("NaNmm", 2),
        ("infmm", 2),
        ("mm", 2),
        ("-5mm", 1),
        ("1e300mm", 1),
        ("900mm", 1),
    ] {
        let made = make(&format!("disc --diameter {number}"), setup, &[]);
        assert_eq!(made.code, Some(code), "{number}: {}", made.stderr);
        assert_eq!(made.stdout, "", "{number}");
        assert!(!made.stderr.is_empty() && !made.stderr.contains("panicked"));
    }
}
