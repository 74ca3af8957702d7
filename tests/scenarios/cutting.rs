//! Clean jobs.

use crate::rig::{PATIENT, Ran, Speaks, assert_whole, number, practise_speaking, standclear};

#[test]
fn the_demo_sheet_is_cut_whole_and_on_time() {
    let ran = Ran::of(
        standclear()
            .args(["practice", "--headless", "--format", "json"])
            .args(["--speed", "100"])
            .args(PATIENT),
    );
    let told = assert_whole(&ran);
    assert_eq!(told["cuts"], 36);
    assert_eq!(told["pierces"], 36);
    assert_eq!(told["holds"], serde_json::json!([]));
    assert_eq!(told["retries"], serde_json::json!([]));
    assert_eq!(told["faltered"], serde_json::json!([]));
    let (planned, run) = (number(&told["planned_s"]), number(&told["run_s"]));
    assert!((planned - run).abs() <= 0.05 * run, "{planned} and {run}");
    assert!(number(&told["truth"]["recut_mm"]) < 36.0 * 4.0);
}

#[test]
fn the_same_seed_gives_the_same_run() {
    for speaks in Speaks::BOTH {
        let once = practise_speaking(speaks, &["--seed", "7"]);
        let again = practise_speaking(speaks, &["--seed", "7"]);
        assert_whole(&once);
        assert_eq!(once.json(), again.json(), "{speaks:?}");
    }
}

#[test]
fn a_program_that_cannot_be_opened_is_a_usage_error() {
    let ran = Ran::of(standclear().args(["practice", "/nowhere/at-all.nc", "--headless"]));
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("/nowhere/at-all.nc"), "{}", ran.stderr);
    assert_eq!(ran.stdout, "");
}

/// The practice table with touch-offs that may be skipped.
fn skipping(folder: &std::path::Path) -> std::path::PathBuf {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let machine = std::fs::read_to_string(root.join("config/machines/practice.toml"))
        .expect("the practice table")
        .replace("\"../", &format!("\"{}/config/", root.display()));
    let path = folder.join("skipping.toml");
    std::fs::write(&path, format!("{machine}\n[cycle]\nskip_touch_mm = 40\n")).expect("written");
    path
}

#[test]
fn touch_offs_that_are_skipped_are_planned_as_they_are_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let run = |config: Option<std::path::PathBuf>| {
        let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo");
        let mut command = standclear();
        // The sheet whose holes lie less than 40 mm apart.
        command
            .arg("practice")
            .arg(demo.join("garden-corners.nc"))
            .arg("--setup")
            .arg(demo.join("garden-corners.toml"))
            .args(["--headless", "--format", "json"])
            .args(["--speed", "100", "--seed", "3"])
            .args(PATIENT);
        if let Some(config) = config {
            command.arg("--config").arg(config);
        }
        assert_whole(&Ran::of(&mut command))
    };
    let (skips, touches) = (run(Some(skipping(folder.path()))), run(None));
    let time = |told: &serde_json::Value, what: &str| number(&told[what]);
    let (planned, took) = (time(&skips, "planned_s"), time(&skips, "run_s"));
    assert!(
        (planned - took).abs() <= 0.01 * took,
        "{planned} and {took}"
    );
    // At least five of them, 2 s each.
    assert!(took < time(&touches, "run_s") - 10.0, "{took}");
    assert_eq!(skips["pierces"], touches["pierces"]);
}
