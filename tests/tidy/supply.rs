//! What we build on: licences that we may ship under, one registry, nothing twice without a reason, and no
//! dependency that nobody uses.

use std::collections::BTreeMap;
use std::process::Command;

use serde_json::Value;

use crate::tree::{Tree, finds, nothing_wrong, root};

/// Licences that ask for no more than that they are named with what we ship.
const LICENCES: [&str; 12] = [
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];
const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

/// Crates that stand in the lock file in several versions: each version is built, and each is one more to
/// look after. Who brings the older one is named; what leaves the tree leaves the list.
const TWICE: [(&str, &str); 17] = [
    ("bitflags", "nix of i2cdev"),
    ("block-buffer", "sha2"),
    ("cpufeatures", "sha2"),
    ("crypto-common", "sha2"),
    ("digest", "sha2"),
    ("getrandom", "rand"),
    (
        "glam",
        "nalgebra names each version that it can convert from; none is built",
    ),
    ("hashbrown", "rusqlite 0.37, by hashlink"),
    (
        "nix",
        "linux-embedded-hal, its spidev and its i2cdev bring one each",
    ),
    ("proc-macro2", "gcode, of tests alone"),
    ("quote", "gcode, of tests alone"),
    (
        "rand",
        "ours and tungstenite; another draw would change every kept seed of the simulated table",
    ),
    ("rand_core", "rand"),
    ("rand_pcg", "rand"),
    (
        "sha2",
        "ours and sha1 of tungstenite; the newer by rust-embed",
    ),
    ("syn", "macros of tracing and rust-embed; ours in tests"),
    ("winnow", "toml 0.9"),
];

/// A licence as packages write it: `A OR B` (older: `A/B`) may be chosen from, `A AND B` hold all.
fn allowed(licence: &str) -> bool {
    let plain = licence.replace(['(', ')'], "").replace('/', " OR ");
    plain
        .split(" AND ")
        .all(|all| all.split(" OR ").any(|one| LICENCES.contains(&one.trim())))
}

fn packages(metadata: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut versions: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for package in metadata["packages"].as_array().into_iter().flatten() {
        let text = |key: &str| package[key].as_str().unwrap_or("");
        let (name, version) = (text("name"), text("version"));
        if package["source"].is_null() {
            continue;
        }
        versions.entry(name).or_default().push(version);
        if text("source") != REGISTRY {
            wrong.push(format!("{name} {version}: comes from {}", text("source")));
        }
        if !allowed(text("license")) {
            wrong.push(format!("{name} {version}: licence {:?}", text("license")));
        }
    }
    let listed = |name: &str| TWICE.iter().any(|(twice, _)| *twice == name);
    for (name, all) in &versions {
        if all.len() > 1 && !listed(name) {
            wrong.push(format!("{name}: in versions {}", all.join(" and ")));
        }
    }
    let once = |name: &str| versions.get(name).is_none_or(|all| all.len() < 2);
    let left = TWICE.iter().filter(|(name, _)| once(name));
    wrong
        .extend(left.map(|(name, _)| format!("{name}: is there once only: take it from the list")));
    wrong
}

#[test]
fn what_we_build_on_is_free_to_ship_from_one_registry_and_there_once() {
    let out = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--offline", "--locked"])
        .args(["--filter-platform", "x86_64-unknown-linux-gnu"])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    let metadata: Value = serde_json::from_slice(&out.stdout).expect("cargo speaks JSON");
    nothing_wrong(&packages(&metadata));
    let bad: Value = serde_json::from_str(
        r#"{"packages": [
            {"name": "ours", "version": "1", "source": null, "license": null},
            {"name": "a", "version": "1.0.0", "source": "git+https://x", "license": "MIT OR GPL-3.0"},
            {"name": "b", "version": "1.0.0", "source": "git+https://x", "license": "MIT AND GPL-3.0"},
            {"name": "b", "version": "2.0.0", "source": "git+https://x", "license": "(MIT OR X) AND ISC"}]}"#,
    )
    .expect("good JSON");
    let wrong = packages(&bad);
    finds(&wrong, "a 1.0.0: comes from git");
    finds(&wrong, "b 1.0.0: licence");
    finds(&wrong, "b: in versions 1.0.0 and 2.0.0");
    assert!(
        !wrong
            .iter()
            .any(|w| w.starts_with("ours") || w.contains("2.0.0: licence"))
    );
}

/// Where a crate's own source lies.
fn sources(folder: &str) -> Vec<String> {
    match folder {
        "" => ["daemon/service/", "tests/"].map(str::to_owned).to_vec(),
        // What it fuzzes stands beside the hostile tests.
        "tests/fuzz" => ["tests/fuzz/", "tests/hostile/"]
            .map(str::to_owned)
            .to_vec(),
        _ => vec![format!("{folder}/")],
    }
}

/// A dependency that no source of its crate names.
fn unused(tree: &Tree) -> Vec<String> {
    let mut wrong = Vec::new();
    for (path, text) in tree.ending(&["Cargo.toml"]) {
        let folder = path.trim_end_matches("Cargo.toml").trim_end_matches('/');
        let manifest: toml::Table = text.parse().expect("good TOML");
        let all: String = sources(folder)
            .iter()
            .flat_map(|start| {
                tree.under(start)
                    .filter(|(p, _)| p.ends_with(".rs"))
                    .map(|(_, t)| t)
            })
            .collect();
        for key in ["dependencies", "dev-dependencies", "build-dependencies"] {
            let names = manifest.get(key).and_then(toml::Value::as_table);
            for name in names.into_iter().flat_map(toml::Table::keys) {
                let word = name.replace('-', "_");
                let uses = [
                    format!("{word}::"),
                    format!("use {word};"),
                    format!("{word} as "),
                ];
                if !uses.iter().any(|u| all.contains(u.as_str())) {
                    wrong.push(format!("{path}: nobody uses {name}"));
                }
            }
        }
    }
    wrong
}

#[test]
fn every_dependency_is_used() {
    let tree = Tree::of_repository();
    nothing_wrong(&unused(tree));
    let bad = unused(&Tree::of(&[
        (
            "daemon/a/Cargo.toml",
            "[dependencies]\none-thing = '1'\nother = '1'\n",
        ),
        ("daemon/a/src/lib.rs", "use one_thing::X;"),
        ("daemon/b/src/lib.rs", "use other::X;"),
    ]));
    finds(&bad, "daemon/a/Cargo.toml: nobody uses other");
    assert_eq!(bad.len(), 1);
}
