//! What is written about the code is true, and what must be labelled is labelled.

use std::collections::BTreeSet;

use crate::tree::{Tree, finds, nothing_wrong, numbered};

/// Somebody will lay real metal under a demonstration: each file of it says what it is.
fn labels(tree: &Tree) -> Vec<String> {
    const LABEL: &str = "INVENTED DATA - not for cutting metal";
    tree.under("config/demo/")
        .chain(tree.under("config/charts/"))
        .filter(|(_, text)| !text.contains(LABEL))
        .map(|(path, _)| format!("{path}: does not say {LABEL:?}"))
        .collect()
}

#[test]
fn every_file_of_the_demonstration_says_that_it_is_invented() {
    let tree = Tree::of_repository();
    assert!(
        tree.under("config/demo/").count() >= 10,
        "the demonstration is there"
    );
    nothing_wrong(&labels(tree));
    let bad = labels(&Tree::of(&[
        ("config/demo/a.nc", "G21"),
        ("config/charts/b.toml", ""),
    ]));
    assert_eq!(bad.len(), 2, "{bad:?}");
}

/// Places on the machine of whoever wrote it, and words about how it was written, mean nothing to
/// whoever reads it.
fn strangers(tree: &Tree) -> Vec<String> {
    let paths = [
        concat!("/wor", "k/"),
        concat!("/tmp", "/sc"),
        concat!("/ro", "ot/"),
        concat!("/tmp", "/t-"),
    ];
    let words = [
        concat!("co-auth", "ored-by"),
        concat!("the bri", "ef says"),
        concat!("as an ", "ai"),
        concat!("language ", "model"),
    ];
    // Pages that are not in this repository.
    let pages = [
        "design", "process", "vetting", "style", "screens", "checks", "platform", "roadmap",
    ]
    .map(|page| format!("{page}{}", ".md"));
    let mut wrong = Vec::new();
    for (path, text) in tree.under("") {
        if path == "Cargo.lock" || path.ends_with("package-lock.json") {
            continue;
        }
        for (k, line) in numbered(text) {
            let lower = line.to_lowercase();
            let mut say = |what: &str| wrong.push(format!("{path}:{k}: {what}"));
            for place in paths.iter().filter(|p| line.contains(**p)) {
                say(&format!("{place} is a place on one machine"));
            }
            for word in words.iter().filter(|w| lower.contains(**w)) {
                say(&format!("{word:?} is not about this product"));
            }
            for page in pages.iter().filter(|p| lower.contains(p.as_str())) {
                say(&format!("{page} is not in this repository"));
            }
            if let Some((_, after)) = lower.split_once(concat!("iss", "ue ")) {
                let after = after.trim_start_matches('#');
                if after.starts_with(|c: char| c.is_ascii_digit()) {
                    say("a number that nobody can look up");
                }
            }
        }
    }
    wrong
}

#[test]
fn nothing_speaks_of_places_and_papers_that_a_reader_does_not_have() {
    nothing_wrong(&strangers(Tree::of_repository()));
    let bad = strangers(&Tree::of(&[(
        "a.rs",
        concat!(
            "// see /wor",
            "k/x\n// as in design",
            ".md 4\n// iss",
            "ue #7\n// an issue arises"
        ),
    )]));
    finds(&bad, "a.rs:1: ");
    finds(&bad, "n.md is not in this repository");
    finds(&bad, "a.rs:3: a number");
    assert_eq!(bad.len(), 3, "{bad:?}");
}

/// The panel watches the emergency stop; it never performs it, and says nothing that sounds so.
fn claims(tree: &Tree) -> Vec<String> {
    const NEVER: [&str; 6] = [
        "emergency stop performed",
        "performs the emergency stop",
        "safety-rated",
        "safety rated",
        "guarantees safety",
        "completely safe",
    ];
    tree.ending(&[".md", ".rs", ".js", ".html", ".toml"])
        .filter(|(path, _)| !path.starts_with("tests/tidy"))
        .flat_map(|(path, text)| {
            numbered(text)
                .filter(|(_, line)| NEVER.iter().any(|n| line.to_lowercase().contains(n)))
                .map(move |(k, _)| format!("{path}:{k}: claims what wires and people do"))
        })
        .collect()
}

#[test]
fn nothing_claims_to_be_a_safety_device() {
    nothing_wrong(&claims(Tree::of_repository()));
    finds(
        &claims(&Tree::of(&[("README.md", "A safety-rated panel.")])),
        "README.md:1",
    );
}

/// The ids `S-nn` in a text.
fn ids(text: &str) -> BTreeSet<String> {
    text.match_indices("S-")
        .filter(|(at, _)| !text[..*at].ends_with(|c: char| c.is_alphanumeric()))
        .filter_map(|(at, _)| {
            let id = text.get(at..at + 4)?;
            let digits = id[2..].chars().all(|c| c.is_ascii_digit());
            let ends = !text[at + 4..].starts_with(|c: char| c.is_alphanumeric());
            (digits && ends).then(|| id.to_owned())
        })
        .collect()
}

/// The rows of DEVELOPERS.md that promise something: the id, and the tests that keep it.
fn promised(tree: &Tree) -> Vec<(String, Vec<&str>)> {
    let page = tree.0.get("DEVELOPERS.md").map_or("", String::as_str);
    page.lines()
        .filter(|line| line.starts_with("| S-"))
        .map(|row| {
            let cells: Vec<&str> = row.trim_matches('|').split('|').collect();
            let kept_by = cells
                .get(2)
                .map_or(Vec::new(), |c| c.split('`').skip(1).step_by(2).collect());
            (cells[0].trim().to_owned(), kept_by)
        })
        .collect()
}

/// A promise that no test keeps is a wish; a test that cites no promise of the list cites nothing.
/// Promises are the lines of DEVELOPERS.md that begin with `| S-nn |`; the last column names the
/// tests that keep them.
fn promises(tree: &Tree) -> Vec<String> {
    let mut ids_promised = BTreeSet::new();
    let mut wrong = Vec::new();
    for (id, kept_by) in promised(tree) {
        if kept_by.is_empty() {
            wrong.push(format!(
                "{id}: promised in DEVELOPERS.md, and no test is named"
            ));
        }
        for test in kept_by {
            let begins = format!("fn {test}(");
            if !tree
                .ending(&[".rs"])
                .any(|(path, text)| tests_of(path, text).contains(&begins))
            {
                wrong.push(format!("{id}: there is no test {test}"));
            }
        }
        ids_promised.insert(id);
    }
    for (path, text) in tree
        .ending(&[".rs", ".js"])
        .filter(|(path, _)| !path.starts_with("tests/tidy"))
    {
        for id in ids(tests_of(path, text)) {
            if !ids_promised.contains(&id) {
                wrong.push(format!(
                    "{path}: cites {id}, which DEVELOPERS.md does not promise"
                ));
            }
        }
    }
    wrong
}

/// The part of a file that is tests. Files of stories that a crate keeps beside its source are
/// tests as a whole.
fn tests_of<'a>(path: &str, text: &'a str) -> &'a str {
    let whole = path.starts_with("tests/")
        || [
            "/tests/",
            "/tests.rs",
            "/bench/",
            "/stories.rs",
            "/stories/",
            "/exhaustive.rs",
        ]
        .iter()
        .any(|part| path.contains(part));
    if whole {
        text
    } else {
        text.split_once("#[cfg(test)]")
            .map_or("", |(_, tests)| tests)
    }
}

#[test]
fn every_safety_promise_is_kept_by_a_test() {
    let tree = Tree::of_repository();
    assert!(
        tree.0["DEVELOPERS.md"].contains("| S-01 |"),
        "the promises are where they are looked for"
    );
    nothing_wrong(&promises(tree));
    let wrong = promises(&Tree::of(&[
        (
            "DEVELOPERS.md",
            "| S-01 | a | `it_holds` |\n| S-02 | b | |\n| S-03 | c, see S-09 | `it_holds`, `gone`, `only_code` |",
        ),
        (
            "daemon/control/src/a.rs",
            "// S-55\nfn only_code() {}\n#[cfg(test)]\nmod tests {\n    /// S-01, S-44\n    fn it_holds() {}\n}",
        ),
    ]));
    finds(
        &wrong,
        "S-02: promised in DEVELOPERS.md, and no test is named",
    );
    finds(&wrong, "S-03: there is no test gone");
    finds(&wrong, "S-03: there is no test only_code");
    finds(&wrong, "cites S-44");
    assert_eq!(wrong.len(), 4, "{wrong:?}");
}

/// A promise whose breaking nobody tried is a guess: `tests/mutants.toml` names for each a mutant in a
/// file that exists, and tests of that promise which must kill it.
fn broken(tree: &Tree) -> Vec<String> {
    let known = tree.0.get("tests/mutants.toml").map_or("", String::as_str);
    let known: toml::Table = known.parse().expect("good TOML");
    let entries: Vec<&toml::Value> = known
        .get("promise")
        .and_then(toml::Value::as_array)
        .map_or(Vec::new(), |all| all.iter().collect());
    let said = |entry: &toml::Value, key: &str| entry[key].as_str().unwrap_or("").to_owned();
    let mut wrong = Vec::new();
    let promised = promised(tree);
    for (id, kept_by) in &promised {
        let its: Vec<_> = entries
            .iter()
            .filter(|e| said(e, "promise") == *id)
            .collect();
        if its.is_empty() {
            wrong.push(format!("{id}: tests/mutants.toml names no mutant of it"));
        }
        for test in its
            .iter()
            .flat_map(|e| e["tests"].as_array().into_iter().flatten())
            .filter_map(toml::Value::as_str)
        {
            if !kept_by.contains(&test) {
                wrong.push(format!("{id}: DEVELOPERS.md does not name {test}"));
            }
        }
    }
    for entry in entries {
        let (id, mutant) = (said(entry, "promise"), said(entry, "mutant"));
        if !promised.iter().any(|(known, _)| *known == id) {
            wrong.push(format!("tests/mutants.toml: {id} is not promised"));
        }
        let file = mutant.split(':').next().unwrap_or("");
        if !tree.0.contains_key(file) {
            wrong.push(format!("{id}: there is no file {file}"));
        }
    }
    wrong
}

#[test]
fn for_every_safety_promise_a_mutant_is_named_that_its_tests_kill() {
    nothing_wrong(&broken(Tree::of_repository()));
    let wrong = broken(&Tree::of(&[
        (
            "DEVELOPERS.md",
            "| S-01 | a | `it_holds` |\n| S-02 | b | `it_holds` |",
        ),
        (
            "tests/mutants.toml",
            "[[promise]]\npromise = \"S-01\"\nmutant = \"gone.rs: a with b\"\ntests = [\"other\"]\n\
             [[promise]]\npromise = \"S-07\"\nmutant = \"tests/mutants.toml: a\"\ntests = []",
        ),
    ]));
    finds(&wrong, "S-02: tests/mutants.toml names no mutant");
    finds(&wrong, "S-01: DEVELOPERS.md does not name other");
    finds(&wrong, "S-01: there is no file gone.rs");
    finds(&wrong, "S-07 is not promised");
    assert_eq!(wrong.len(), 4, "{wrong:?}");
}

/// A map with streets that are gone misleads: every path of ours that the documents name exists.
fn map(tree: &Tree) -> Vec<String> {
    let mut wrong = Vec::new();
    for page in ["DEVELOPERS.md", "README.md"] {
        let text = tree.0.get(page).map_or("", String::as_str);
        for (k, line) in numbered(text) {
            for code in line.split('`').skip(1).step_by(2) {
                let ours = ["daemon/", "ui-static/", "config/", "tests/", "systemd/"]
                    .iter()
                    .any(|f| code.starts_with(f));
                let plain = !code.contains([' ', '*', '<', '{']);
                let path = code.trim_end_matches('/');
                if ours
                    && plain
                    && !tree.0.contains_key(path)
                    && tree.under(&format!("{path}/")).next().is_none()
                {
                    wrong.push(format!("{page}:{k}: {code} does not exist"));
                }
            }
        }
    }
    wrong
}

#[test]
fn every_path_that_the_documents_name_exists() {
    nothing_wrong(&map(Tree::of_repository()));
    let bad = map(&Tree::of(&[
        ("DEVELOPERS.md", "see `daemon/units/` and `daemon/gone.rs`"),
        ("daemon/units/src/lib.rs", ""),
    ]));
    assert_eq!(bad, ["DEVELOPERS.md:1: daemon/gone.rs does not exist"]);
}

/// What is cited as a section of the handbook can be looked up in it.
fn handbook(tree: &Tree) -> Vec<String> {
    const PAGE: &str = "daemon/process/HANDBOOK.md";
    let Some((_, page)) = tree.under(PAGE).next() else {
        return vec![format!("{PAGE} is not there")];
    };
    let sections: BTreeSet<&str> = page
        .lines()
        .filter_map(|l| l.strip_prefix("## ")?.split_whitespace().next())
        .collect();
    let mut wrong = Vec::new();
    for (path, text) in tree.under("daemon/").filter(|(path, _)| *path != PAGE) {
        for (k, line) in numbered(text) {
            let lower = line.to_lowercase();
            for (at, word) in lower.match_indices("handbook ") {
                let cited: String = lower[at + word.len()..]
                    .chars()
                    .take_while(|c| c.is_ascii_digit() || *c == '.')
                    .collect();
                let cited = cited.trim_end_matches('.');
                if !cited.is_empty() && !sections.contains(cited) {
                    wrong.push(format!("{path}:{k}: the handbook has no section {cited}"));
                }
            }
        }
    }
    wrong
}

#[test]
fn what_is_cited_of_the_handbook_stands_in_it() {
    nothing_wrong(&handbook(Tree::of_repository()));
    let bad = Tree::of(&[
        ("daemon/process/HANDBOOK.md", "## 4.2 Energy\n"),
        (
            "daemon/a.rs",
            "// Process handbook 4.2.\n// Handbook 9.9: no.\n",
        ),
    ]);
    finds(
        &handbook(&bad),
        "daemon/a.rs:2: the handbook has no section 9.9",
    );
    assert_eq!(handbook(&bad).len(), 1);
    finds(&handbook(&Tree::of(&[])), "is not there");
}
