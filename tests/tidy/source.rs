//! How source looks: length, leftovers, waits.

use crate::tree::{Tree, finds, nothing_wrong, numbered};

/// What people write; snapshots, lock files and demo programs are made by tools.
const WRITTEN: [&str; 9] = [
    ".rs", ".js", ".ts", ".css", ".html", ".py", ".toml", ".sh", ".sql",
];

/// These files hold the words that they look for.
fn is_rule(path: &str) -> bool {
    path.starts_with("tests/tidy")
}

fn is_test_file(path: &str) -> bool {
    (path.starts_with("tests/") || path.contains("/tests/") || path.ends_with("/tests.rs"))
        && !is_rule(path)
}

/// The lines that are tests: whole files of tests, and what follows the first `#[cfg(test)]`.
fn test_lines<'a>(path: &str, text: &'a str) -> Vec<(usize, &'a str)> {
    let all = is_test_file(path);
    let from = text
        .lines()
        .position(|line| line.trim() == "#[cfg(test)]")
        .unwrap_or(usize::MAX);
    numbered(text)
        .filter(|(k, _)| all || *k > from)
        .filter(|(_, line)| !line.trim_start().starts_with("//"))
        .collect()
}

/// A file holds one idea, and a page that nobody reads to its end is not reviewed. Most stay under
/// 400; none passes 600.
const LINES: usize = 600;
/// A function longer than this does more than one thing.
const FUNCTION_LINES: usize = 120;
/// The same for the console's scripts, where a page is one function: its parts made, laid out, and drawn.
const SCRIPT_FUNCTION_LINES: usize = 80;
/// Longer files and functions that are still here, with a length that they may not pass: it is
/// lowered as they shrink, and they leave this list when they are short enough.
const RATCHET: [(&str, usize); 4] = [
    // Lists, one line or two for each thing.
    ("daemon/control/src/bench/admitting.rs fn play", 145),
    ("daemon/control/src/event/catalogue.rs fn one_of_each", 150),
    ("daemon/service/src/config/range.rs fn rows", 195),
    ("daemon/service/src/web/fixtures.rs fn view", 130),
];

fn too_long(tree: &Tree, ratchet: &[(&str, usize)]) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut judge = |what: &str, length: usize, limit: usize| {
        let listed = ratchet
            .iter()
            .find(|(name, _)| *name == what)
            .map(|(_, n)| *n);
        match listed {
            Some(_) if length <= limit => wrong.push(format!(
                "{what}: {length} lines, short enough to leave the ratchet"
            )),
            Some(n) if length > n => wrong.push(format!("{what}: {length} lines, it may have {n}")),
            None if length > limit => {
                wrong.push(format!("{what}: {length} lines, the limit is {limit}"))
            }
            _ => {}
        }
    };
    for (path, text) in tree.ending(&WRITTEN) {
        judge(path, text.lines().count(), LINES);
        if path.ends_with(".rs") {
            for (name, length) in functions(text) {
                judge(&format!("{path} fn {name}"), length, FUNCTION_LINES);
            }
        }
        if path.starts_with("ui-static/") && path.ends_with(".js") {
            for (name, length) in script_functions(text) {
                judge(&format!("{path} {name}"), length, SCRIPT_FUNCTION_LINES);
            }
        }
    }
    wrong
}

/// The functions of a formatted file with their lengths, from `fn` to the brace in the same column.
fn functions(text: &str) -> Vec<(&str, usize)> {
    let lines: Vec<&str> = text.lines().collect();
    let mut found = Vec::new();
    for (k, line) in lines.iter().enumerate() {
        let code = line.trim_start();
        let indent = &line[..line.len() - code.len()];
        let Some((before, after)) = code.split_once("fn ") else {
            continue;
        };
        let starts = before.split_whitespace().all(|word| {
            word.starts_with("pub")
                || ["const", "async", "extern", "crate)", "super)"].contains(&word)
        });
        let name = after
            .split(|c: char| !c.is_alphanumeric() && c != '_')
            .next()
            .unwrap_or("");
        if !starts || name.is_empty() {
            continue;
        }
        let end = format!("{indent}}}");
        if let Some(length) = lines[k..].iter().position(|l| *l == end) {
            found.push((name, length + 1));
        }
    }
    found
}

/// The functions of a script with their lengths: declared, methods, and those that are handed over
/// (`=> {`). One that stands in another counts in both.
fn script_functions(text: &str) -> Vec<(&str, usize)> {
    const BLOCKS: [&str; 7] = ["if", "for", "while", "switch", "catch", "} else", "else"];
    let lines: Vec<&str> = text.lines().collect();
    let mut found = Vec::new();
    for (k, line) in lines.iter().enumerate() {
        let code = line.trim_start();
        let indent = &line[..line.len() - code.len()];
        let first = code.split([' ', '(']).next().unwrap_or("");
        let named = code.contains("function") || code.contains("=> {");
        let method = code.split_once('(').is_some_and(|(name, _)| {
            !name.is_empty()
                && name
                    .split(' ')
                    .all(|w| w.chars().all(char::is_alphanumeric))
        });
        if !code.ends_with('{') || BLOCKS.contains(&first) || !(named || method) {
            continue;
        }
        let name = code.trim_end_matches(" {");
        let ends = |l: &&str| {
            l.strip_prefix(indent)
                .is_some_and(|rest| rest.starts_with('}'))
        };
        if let Some(length) = lines[k + 1..].iter().position(ends) {
            found.push((name, length + 2));
        }
    }
    found
}

#[test]
fn no_file_and_no_function_is_too_long() {
    nothing_wrong(&too_long(Tree::of_repository(), &RATCHET));
    let long = "x\n".repeat(LINES + 1);
    let body = format!(
        "pub async fn big() {{\n{}}}\n",
        "    x;\n".repeat(FUNCTION_LINES)
    );
    let lines = "    x;\n".repeat(SCRIPT_FUNCTION_LINES);
    let script = format!(
        "export function page() {{\n  store.subscribe((state) => {{\n{lines}  }}, signal);\n}}\n\
         const made = {{\n  draw(c) {{\n{lines}  }},\n}};\nif (x) {{\n{lines}}}\n"
    );
    let tree = Tree::of(&[
        ("daemon/a.rs", &long),
        ("b.js", "x"),
        ("c.rs", &body),
        ("ui-static/d.js", &script),
    ]);
    let bad = too_long(&tree, &[("b.js", 700)]);
    finds(&bad, "ui-static/d.js export function page(): 84 lines");
    finds(&bad, "ui-static/d.js store.subscribe((state) =>: 82 lines");
    finds(&bad, "ui-static/d.js draw(c): 82 lines");
    assert_eq!(bad.len(), 6, "{bad:?}");
    finds(&bad, "daemon/a.rs: 601 lines");
    finds(&bad, "b.js: 1 lines, short enough to leave");
    finds(&bad, "c.rs fn big: 122 lines");
    finds(
        &too_long(&tree, &[("daemon/a.rs", 600)]),
        "601 lines, it may have 600",
    );
}

/// A note to oneself in the source is forgotten there; what is missing stands in the documents.
fn leftovers(tree: &Tree) -> Vec<String> {
    const LEFT: [&str; 9] = [
        "todo!",
        "dbg!(",
        "unimplemented!",
        "TODO",
        "FIXME",
        "XXX",
        "HACK",
        "console.log(",
        "debugger;",
    ];
    tree.ending(&[
        ".rs", ".js", ".css", ".html", ".py", ".toml", ".sh", ".md", ".sql",
    ])
    .filter(|(path, _)| !is_rule(path))
    .flat_map(|(path, text)| {
        numbered(text).flat_map(move |(k, line)| {
            LEFT.iter()
                .filter(move |left| line.contains(**left) && !line.contains("mktemp"))
                .map(move |left| format!("{path}:{k}: {left} was left behind"))
        })
    })
    .filter(|wrong| !wrong.starts_with("Cargo.toml"))
    .collect()
}

#[test]
fn no_note_to_oneself_is_left_behind() {
    nothing_wrong(&leftovers(Tree::of_repository()));
    let bad = leftovers(&Tree::of(&[
        ("a.rs", "fn a() {\n    todo!()\n}"),
        ("b.js", "// FIXME later"),
    ]));
    finds(&bad, "a.rs:2: todo! was left behind");
    finds(&bad, "b.js:1: FIXME");
}

/// A sleep in a test is a guess about another thread: it hides the race on a fast machine and fails
/// on a slow one. Tests wait for a level, bounded, in one place that prints what it saw last.
const THE_PLACE_TO_WAIT: [&str; 2] = ["tests/scenarios/rig.rs", "tests/ui/rig/wait.js"];

fn sleeps(tree: &Tree) -> Vec<String> {
    const SLEEPS: [&str; 3] = ["sleep(", "waitForTimeout(", "setTimeout("];
    tree.ending(&[".rs", ".js", ".mjs"])
        .filter(|(path, _)| !is_rule(path) && !THE_PLACE_TO_WAIT.contains(path))
        .flat_map(|(path, text)| {
            test_lines(path, text)
                .into_iter()
                .filter(|(_, line)| SLEEPS.iter().any(|s| line.contains(s)))
                .map(move |(k, _)| format!("{path}:{k}: a test that sleeps"))
        })
        .collect()
}

#[test]
fn no_test_sleeps() {
    nothing_wrong(&sleeps(Tree::of_repository()));
    let bad = sleeps(&Tree::of(&[
        (
            "daemon/link/src/a.rs",
            "fn a() { sleep(x) }\n#[cfg(test)]\nmod tests {\n    sleep(y);\n}",
        ),
        ("tests/rig/daemon.rs", "std::thread::sleep(d);"),
        ("tests/scenarios/rig.rs", "std::thread::sleep(d);"),
        ("tests/ui/cut.test.js", "await page.waitForTimeout(500);"),
    ]));
    assert_eq!(bad.len(), 3, "{bad:?}");
    finds(&bad, "daemon/link/src/a.rs:4");
}

/// A test that asks how long something took tells of the machine it ran on. Times are measured by
/// `cargo bench`; tests judge virtual time.
fn timed_asserts(tree: &Tree) -> Vec<String> {
    tree.ending(&[".rs", ".js"])
        .filter(|(path, _)| !is_rule(path))
        .flat_map(|(path, text)| {
            test_lines(path, text)
                .into_iter()
                .filter(|(_, line)| line.contains("assert"))
                .filter(|(_, line)| line.contains("elapsed()") || line.contains("performance.now("))
                .map(move |(k, _)| format!("{path}:{k}: an assert on real time"))
        })
        .collect()
}

#[test]
fn no_test_asserts_how_long_something_took() {
    nothing_wrong(&timed_asserts(Tree::of_repository()));
    let bad = timed_asserts(&Tree::of(&[(
        "tests/a.rs",
        "assert!(start.elapsed() < limit);",
    )]));
    finds(&bad, "tests/a.rs:1: an assert on real time");
}

/// A test that is not run says so, and why, beside its name; one that runs alone hides the others.
fn silenced(tree: &Tree) -> Vec<String> {
    tree.ending(&[".rs", ".js"])
        .filter(|(path, _)| !is_rule(path))
        .flat_map(|(path, text)| {
            numbered(text)
                .filter(|(_, line)| {
                    let line = line.trim();
                    line == "#[ignore]"
                        || (line.starts_with("test.")
                            || line.starts_with("it.")
                            || line.starts_with("describe."))
                            && (line.contains(".only(")
                                || line.contains(".skip(")
                                || line.contains(".todo("))
                })
                .map(move |(k, _)| format!("{path}:{k}: a test is left out without its reason"))
        })
        .collect()
}

#[test]
fn no_test_is_left_out_without_its_reason() {
    nothing_wrong(&silenced(Tree::of_repository()));
    let bad = silenced(&Tree::of(&[
        (
            "tests/a.rs",
            "#[test]\n#[ignore]\nfn a() {}\n#[ignore = \"needs the real table\"]\nfn b() {}",
        ),
        ("tests/ui/a.test.js", "test.only(\"a\", () => {});"),
    ]));
    assert_eq!(bad.len(), 2, "{bad:?}");
}

/// A folder's own file stands beside it (`x.rs` beside `x/`): one habit, and every tab of an editor has
/// a name of its own.
fn other_habit(tree: &Tree) -> Vec<String> {
    tree.under("daemon/")
        .filter(|(path, _)| path.contains("/src/") && path.ends_with("/mod.rs"))
        .map(|(path, _)| format!("{path}: stands beside its folder, under the folder's name"))
        .collect()
}

#[test]
fn a_folders_own_file_stands_beside_it() {
    nothing_wrong(&other_habit(Tree::of_repository()));
    let bad = other_habit(&Tree::of(&[
        ("daemon/link/src/a/mod.rs", ""),
        ("tests/a/mod.rs", ""),
    ]));
    finds(&bad, "daemon/link/src/a/mod.rs");
    assert_eq!(bad.len(), 1);
}
