//! Every rule by its name, through the real command: the smallest program that it is about, and a
//! twin for which it is silent (`rules.toml`).

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use serde::Deserialize;

use crate::rig::{Ran, standclear};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    program: String,
    setup: String,
    case: Vec<Case>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    rule: String,
    wrong: Side,
    right: Side,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Side {
    /// A program in place of the base's.
    text: Option<String>,
    /// What is replaced by what, in program, setup and machine file.
    #[serde(default)]
    program: Vec<[String; 2]>,
    #[serde(default)]
    setup: Vec<[String; 2]>,
    #[serde(default)]
    machine: Vec<[String; 2]>,
    /// Without a machine file.
    #[serde(default)]
    bare: bool,
}

fn changed(text: &str, edits: &[[String; 2]]) -> String {
    edits.iter().fold(text.to_owned(), |text, [from, to]| {
        assert!(text.contains(from), "{from:?} is not in {text}");
        text.replace(from, to)
    })
}

/// The rules that are named, and whether the program is refused.
fn named(file: &File, side: &Side, folder: &Path) -> BTreeSet<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let write = |name: &str, text: String| {
        let path = folder.join(name);
        fs::write(&path, text).expect("written");
        path
    };
    let program = changed(side.text.as_deref().unwrap_or(&file.program), &side.program)
        .replace("@64MiB@", &"\n".repeat(64 << 20));
    let machine = fs::read_to_string(root.join("config/machines/practice.toml")).expect("there");
    let chart = fs::read_to_string(root.join("config/charts/invented.toml")).expect("there");
    // A chart whose feeds are four times too high.
    let wild = changed(
        &chart,
        &[["feed_mm_min = 1100".into(), "feed_mm_min = 4400".into()]],
    );
    let wild = write("wild.toml", wild);
    let machine = changed(&machine, &side.machine)
        .replace("@CHART@", &wild.display().to_string())
        .replace("\"../", &format!("\"{}/config/", root.display()));
    let mut command = standclear();
    command
        .arg("vet")
        .arg(write("program.nc", program))
        .arg("--setup")
        .arg(write("setup.toml", changed(&file.setup, &side.setup)))
        .args(["--format", "json"]);
    if !side.bare {
        command.arg("--config").arg(write("machine.toml", machine));
    }
    let told = Ran::of(&mut command).json();
    let findings = told["findings"].as_array().expect("findings");
    findings
        .iter()
        .map(|f| f["rule"].as_str().expect("a rule").to_owned())
        .collect()
}

#[test]
fn every_rule_is_named_for_its_smallest_program_and_not_for_its_twin() {
    let file: File = toml::from_str(include_str!("rules.toml")).expect("rules.toml");
    let cases: BTreeSet<&str> = file.case.iter().map(|c| c.rule.as_str()).collect();
    let rules: BTreeSet<&str> = program::RULES.iter().map(|r| r.name).collect();
    assert_eq!(cases, rules, "every rule has its case");
    let folder = tempfile::tempdir().expect("a folder");
    let mut amiss = Vec::new();
    for case in &file.case {
        let (wrong, right) = (
            named(&file, &case.wrong, folder.path()),
            named(&file, &case.right, folder.path()),
        );
        if !wrong.contains(&case.rule) {
            amiss.push(format!("{} is not named: {wrong:?}", case.rule));
        }
        if right.contains(&case.rule) {
            amiss.push(format!("{} is named for its twin: {right:?}", case.rule));
        }
    }
    assert!(amiss.is_empty(), "{amiss:#?}");
}
