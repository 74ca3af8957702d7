//! The shape of the house: what lies at the top, who may know whom, who may touch the system.

use std::process::Command;

use serde_json::Value;

use crate::tree::{Tree, finds, nothing_wrong, numbered, root};

/// A new folder at the top is a new idea of the whole: it is talked about first.
fn top_level(tree: &Tree) -> Vec<String> {
    const ALLOWED: [&str; 11] = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE-MIT",
        "LICENSE-APACHE",
        "daemon",
        "ui-static",
        "config",
        "tests",
        "systemd",
    ];
    let mut tops: Vec<&str> = tree
        .under("")
        .filter_map(|(path, _)| path.split('/').next())
        .collect();
    tops.dedup();
    let mut wrong: Vec<String> = tops
        .iter()
        .filter(|top| !top.starts_with('.') && !ALLOWED.contains(top))
        .map(|top| format!("{top}: does not belong at the top of the repository"))
        .collect();
    wrong.extend(
        ALLOWED
            .iter()
            .filter(|name| !tops.contains(name))
            .map(|name| format!("{name}: is missing at the top of the repository")),
    );
    wrong
}

#[test]
fn the_top_of_the_repository_is_as_the_developers_page_draws_it() {
    nothing_wrong(&top_level(Tree::of_repository()));
    let bad = top_level(&Tree::of(&[("scratch/notes.md", ""), ("Cargo.toml", "")]));
    finds(&bad, "scratch: does not belong");
    finds(&bad, "README.md: is missing");
}

/// Whom each crate may use: ours, others, and others in tests alone. Imports go downwards only,
/// and what is not in a manifest cannot be imported. The simulated table never knows `control`: it
/// is the second opinion.
const MAY_USE: [(&str, Names, Names, Names); 7] = [
    ("units", &[], &["serde"], TEST_TOOLS),
    (
        "program",
        &["units"],
        // `rstar` indexes places; `cavalier_contours` offsets lines and arcs; `memchr` finds the ends of
        // lines: no I/O in any of them.
        &[
            "cavalier_contours",
            "memchr",
            "rstar",
            "serde",
            "serde_json",
            "sha2",
            "strum",
            "thiserror",
            "toml",
        ],
        TEST_TOOLS,
    ),
    (
        "process",
        &["units"],
        // Singular values and the tails of distributions: arithmetic without I/O.
        &["nalgebra", "serde", "statrs", "thiserror", "toml"],
        TEST_TOOLS,
    ),
    (
        "link",
        &["units"],
        &["crc", "regex", "serde", "thiserror", "toml"],
        TEST_TOOLS,
    ),
    (
        "planning",
        &["process", "program", "units"],
        &["serde", "serde_json", "thiserror"],
        TEST_TOOLS,
    ),
    (
        "control",
        &["link", "planning", "process", "program", "units"],
        &["serde", "strum", "thiserror"],
        TEST_TOOLS,
    ),
    (
        "simulator",
        &["units"],
        &[
            "crc",
            "rand",
            "rand_pcg",
            "rustix",
            "serde",
            "serde_json",
            "thiserror",
        ],
        TEST_TOOLS,
    ),
];
type Names = &'static [&'static str];
const TEST_TOOLS: Names = &[
    "criterion",
    "gcode",
    "insta",
    "proptest",
    "serde_json",
    "toml",
];

fn dependencies(metadata: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    let packages = metadata["packages"].as_array().expect("packages");
    for package in packages {
        let name = package["name"].as_str().expect("a name");
        let rule = MAY_USE.iter().find(|rule| rule.0 == name);
        let Some((_, ours, others, in_tests)) = rule else {
            if name != "standclear" {
                wrong.push(format!("{name}: a crate without a rule of what it may use"));
            }
            continue;
        };
        for used in package["dependencies"].as_array().expect("dependencies") {
            let used_name = used["name"].as_str().expect("a name");
            let in_test = used["kind"].as_str() == Some("dev");
            let fine = ours.contains(&used_name)
                || others.contains(&used_name)
                || (in_test && in_tests.contains(&used_name));
            if !fine {
                wrong.push(format!("{name} may not use {used_name}"));
            }
        }
    }
    wrong
}

fn cargo_metadata() -> Value {
    let out = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--format-version",
            "1",
            "--no-deps",
            "--offline",
        ])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    serde_json::from_slice(&out.stdout).expect("cargo speaks JSON")
}

#[test]
fn each_crate_uses_only_what_it_may_know() {
    nothing_wrong(&dependencies(&cargo_metadata()));
    let upwards: Value = serde_json::from_str(
        r#"{"packages": [
            {"name": "simulator", "dependencies": [{"name": "control", "kind": null}]},
            {"name": "units", "dependencies": [{"name": "tokio", "kind": "dev"}]},
            {"name": "extra", "dependencies": []}]}"#,
    )
    .expect("good JSON");
    let bad = dependencies(&upwards);
    finds(&bad, "simulator may not use control");
    finds(&bad, "units may not use tokio");
    finds(&bad, "extra: a crate without a rule");
}

/// `cargo test` at the root runs the default members only: a crate left out would go untested.
fn members(manifest: &str) -> Vec<String> {
    let manifest: toml::Table = manifest.parse().expect("good TOML");
    let list = |key: &str| -> Vec<String> {
        manifest["workspace"][key]
            .as_array()
            .expect("a list")
            .iter()
            .filter_map(|v| v.as_str().map(str::to_owned))
            .collect()
    };
    let default = list("default-members");
    let mut wanted = list("members");
    wanted.push(".".to_owned());
    wanted
        .iter()
        .filter(|member| !default.contains(member))
        .map(|member| format!("{member} is no default member: its tests would not run"))
        .collect()
}

#[test]
fn every_member_is_tested_by_a_plain_cargo_test() {
    let manifest = &Tree::of_repository().0["Cargo.toml"];
    nothing_wrong(&members(manifest));
    let bad = "[workspace]\nmembers = ['daemon/a']\ndefault-members = ['.']\n";
    finds(&members(bad), "daemon/a is no default member");
}

/// Test files are named one by one in the manifest: one that is not named would never run.
fn test_targets(tree: &Tree) -> Vec<String> {
    let manifest = &tree.0["Cargo.toml"];
    tree.under("tests/")
        .filter(|(path, _)| {
            let depth = path.matches('/').count();
            (depth == 1 && path.ends_with(".rs")) || (depth == 2 && path.ends_with("/main.rs"))
        })
        .filter(|(path, _)| !manifest.contains(&format!("path = \"{path}\"")))
        .map(|(path, _)| format!("{path}: no [[test]] in Cargo.toml names it, so it never runs"))
        .collect()
}

#[test]
fn every_test_file_is_run() {
    nothing_wrong(&test_targets(Tree::of_repository()));
    let bad = Tree::of(&[
        ("Cargo.toml", "path = \"tests/a.rs\""),
        ("tests/a.rs", ""),
        ("tests/b.rs", ""),
    ]);
    let wrong = test_targets(&bad);
    finds(&wrong, "tests/b.rs");
    assert_eq!(wrong.len(), 1);
}

/// The bans that keep the pure crates pure stand in each one's `clippy.toml`, the same list
/// everywhere and a reason beside each; workspace lints (no unsafe code) hold in every crate.
fn bans(tree: &Tree) -> Vec<String> {
    let mut wrong = Vec::new();
    let parse = |path: &str| -> Option<toml::Table> { tree.0.get(path)?.parse().ok() };
    let model = parse("daemon/units/clippy.toml").unwrap_or_default();
    for (name, ..) in MAY_USE {
        let path = format!("daemon/{name}/clippy.toml");
        let Some(list) = parse(&path) else {
            wrong.push(format!("{path}: is missing or no TOML"));
            continue;
        };
        if list != model {
            wrong.push(format!("{path}: differs from daemon/units/clippy.toml"));
        }
        for (key, entries) in &list {
            for entry in entries.as_array().into_iter().flatten() {
                if entry.get("reason").is_none() {
                    wrong.push(format!("{path}: {key} without a reason: {entry}"));
                }
            }
        }
        for ban in [
            "std::time::Instant",
            "std::fs::File",
            "std::thread::spawn",
            "std::collections::HashMap",
        ] {
            if !tree.0[&path].contains(ban) {
                wrong.push(format!("{path}: does not ban {ban}"));
            }
        }
        let manifest = tree.0.get(&format!("daemon/{name}/Cargo.toml"));
        if !manifest.is_some_and(|text| text.contains("[lints]\nworkspace = true")) {
            wrong.push(format!(
                "daemon/{name}/Cargo.toml: workspace lints do not hold there"
            ));
        }
    }
    wrong
}

#[test]
fn every_pure_crate_bans_clock_files_threads_and_hash_order() {
    let tree = Tree::of_repository();
    nothing_wrong(&bans(tree));
    assert!(tree.0["Cargo.toml"].contains("unsafe_code = \"forbid\""));
    let mut bad = Tree(tree.0.clone());
    bad.0.insert(
        "daemon/link/clippy.toml".to_owned(),
        "disallowed-types = [{ path = \"std::time::Instant\" }]".to_owned(),
    );
    bad.0.remove("daemon/control/clippy.toml");
    let wrong = bans(&bad);
    finds(&wrong, "daemon/control/clippy.toml: is missing");
    finds(&wrong, "daemon/link/clippy.toml: differs");
    finds(&wrong, "without a reason");
    finds(&wrong, "does not ban std::fs::File");
}

/// Only the shell of the simulated table may lift a ban or touch the system; the other pure crates
/// have no such place. (A test may read its own fixtures: it stands outside `src`.)
fn lifted_bans(tree: &Tree) -> Vec<String> {
    let mut wrong = Vec::new();
    for (name, ..) in MAY_USE {
        for (path, text) in tree.under(&format!("daemon/{name}/src/")) {
            if path.starts_with("daemon/simulator/src/shell") {
                continue;
            }
            for (line, code) in numbered(text).filter(|(_, l)| !l.trim_start().starts_with("//")) {
                let lifts = code.contains("clippy::disallowed_");
                let system = code.contains("rustix::") || code.contains("std::os::");
                if lifts || system {
                    wrong.push(format!(
                        "{path}:{line}: a pure crate does not touch the system"
                    ));
                }
            }
        }
    }
    wrong
}

#[test]
fn only_the_simulators_shell_touches_the_system() {
    nothing_wrong(&lifted_bans(Tree::of_repository()));
    let bad = lifted_bans(&Tree::of(&[
        (
            "daemon/control/src/lib.rs",
            "#![allow(clippy::disallowed_types)]",
        ),
        ("daemon/simulator/src/plate.rs", "use rustix::fd::OwnedFd;"),
        (
            "daemon/simulator/src/shell/pty.rs",
            "use rustix::fd::OwnedFd;",
        ),
    ]));
    finds(&bad, "daemon/control/src/lib.rs:1");
    finds(&bad, "daemon/simulator/src/plate.rs:1");
    assert_eq!(bad.len(), 2);
}

/// The panel on the real table and in practice is the same code: whoever asks which of the two it
/// is has two products. So in the service only practice itself names the simulator, and the command
/// line where it reads what practice is asked for.
fn named_simulator(tree: &Tree) -> Vec<String> {
    tree.under("daemon/service/src/")
        .filter(|(path, _)| path.ends_with(".rs") && !path.contains("practice"))
        .filter(|(path, _)| !path.starts_with("daemon/service/src/cli/"))
        .flat_map(|(path, text)| {
            numbered(text)
                .filter(|(_, line)| !line.trim_start().starts_with("//"))
                .filter(|(_, line)| line.contains("simulator::") || line.contains("use simulator"))
                .map(move |(k, _)| format!("{path}:{k}: only practice names the simulator"))
        })
        .collect()
}

#[test]
fn nothing_in_the_service_but_practice_names_the_simulator() {
    nothing_wrong(&named_simulator(Tree::of_repository()));
    let bad = named_simulator(&Tree::of(&[
        (
            "daemon/service/src/guard_thread.rs",
            "// simulator::harness\nuse simulator::harness::Levels;",
        ),
        (
            "daemon/service/src/practice/pins.rs",
            "use simulator::harness::Levels;",
        ),
    ]));
    assert_eq!(
        bad,
        ["daemon/service/src/guard_thread.rs:2: only practice names the simulator"]
    );
}
