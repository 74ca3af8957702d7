//! What a person reads first of a vet report, through the real command: what was judged and what was
//! not, one cause in one headline, true counts, the page of each rule, and the form for editors.

use std::fs;

use serde_json::Value;

use crate::rig::{Ran, fixture, standclear};
use crate::schema;

fn square() -> String {
    fs::read_to_string(fixture("square.nc")).expect("the fixture")
}

/// Vets a text with these further arguments.
fn vet(text: &str, args: &[&str]) -> Ran {
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("piece.nc");
    fs::write(&file, text).expect("written");
    Ran::of(standclear().arg("vet").arg(file).args(args))
}

fn setup() -> String {
    fixture("square.toml").display().to_string()
}

fn machine() -> String {
    format!(
        "{}/config/machines/practice.toml",
        env!("CARGO_MANIFEST_DIR")
    )
}

/// With everything known.
fn vet_fully(text: &str) -> Value {
    vet(
        text,
        &[
            "--setup",
            &setup(),
            "--config",
            &machine(),
            "--format",
            "json",
        ],
    )
    .json()
}

fn findings(told: &Value) -> &Vec<Value> {
    told["findings"].as_array().expect("findings")
}

/// The places of what the finding at `head` explains.
fn under(told: &Value, head: usize) -> Vec<&str> {
    let of = findings(told)
        .iter()
        .filter(|f| f["under"].as_u64() == Some(head as u64));
    of.filter_map(|f| f["rule"].as_str()).collect()
}

#[test]
fn without_chart_and_sheet_the_headline_says_what_was_judged_and_what_to_give() {
    let bare = vet(&square(), &[]);
    let first = bare.stdout.lines().next().expect("a line");
    assert!(first.starts_with("CLEAR"), "{first}");
    assert!(
        !bare.stdout.contains("nothing stands against"),
        "{}",
        bare.stdout
    );
    let wanted = "rules; the others lack a chart and a sheet: give --config and --setup.";
    assert!(
        first.contains("no finding in ") && first.contains(wanted),
        "{first}"
    );
    let numbers: Vec<usize> = first.split(' ').filter_map(|w| w.parse().ok()).collect();
    let told = vet(&square(), &["--format", "json"]).json();
    let missing = told["not_judged"].as_array().expect("a list").len();
    let all = program::RULES.len();
    assert_eq!(numbers, [all - missing, all], "{first}");
    let notes = findings(&told)
        .iter()
        .filter(|f| f["rule"] == "not-judged")
        .count();
    assert_eq!(notes, 1, "one line stands for all of them");
    assert_eq!(
        bare.stdout.matches("not-judged").count(),
        2,
        "its heading, and where to read on"
    );
}

#[test]
fn the_headline_asks_only_for_what_is_missing() {
    let head = |args: &[&str]| {
        vet(&square(), args)
            .stdout
            .lines()
            .next()
            .unwrap_or_default()
            .to_owned()
    };
    let no_chart = head(&["--setup", &setup()]);
    assert!(
        no_chart.ends_with("lack a chart: give --config."),
        "{no_chart}"
    );
    let no_sheet = head(&["--config", &machine()]);
    assert!(
        no_sheet.ends_with("lack a sheet: give --setup."),
        "{no_sheet}"
    );
    let both = head(&["--setup", &setup(), "--config", &machine()]);
    assert!(
        both.ends_with("nothing stands against cutting it."),
        "{both}"
    );
    let told = vet_fully(&square());
    assert_eq!(told["not_judged"], serde_json::json!([]));
}

#[test]
fn a_machine_file_is_looked_for_and_named() {
    let vet = |set: Option<&str>| {
        let mut command = standclear();
        command
            .arg("vet")
            .arg(fixture("square.nc"))
            .args(["--setup", &setup()]);
        if let Some(file) = set {
            command.env("STANDCLEAR_CONFIG", file);
        }
        Ran::of(&mut command)
    };
    let found = vet(Some(&machine()));
    // Long lines are wrapped.
    let words = found
        .stdout
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(
        words.contains("practice.toml ($STANDCLEAR_CONFIG)"),
        "{}",
        found.stdout
    );
    assert!(
        found.stdout.contains("nothing stands against"),
        "its chart is used: {}",
        found.stdout
    );
    let none = vet(None);
    assert!(
        none.stdout.contains("built-in practice table without its"),
        "{}",
        none.stdout
    );
    let wrong = vet(Some("/nowhere/machine.toml"));
    assert_eq!(wrong.code, Some(2));
    assert!(
        wrong
            .stderr
            .contains("$STANDCLEAR_CONFIG: /nowhere/machine.toml"),
        "{}",
        wrong.stderr
    );
}

#[test]
fn a_wrong_unit_is_line_one_with_both_sizes_and_the_rest_folds_under_it() {
    let text = square().replace("G21", "G20");
    let told = vet_fully(&text);
    let all = findings(&told);
    assert_eq!(all[0]["rule"], "scale-suspect", "{all:#?}");
    assert_eq!(all[0]["severity"], "warn", "severities stay");
    assert_eq!(told["verdict"], "refused");
    let says = all[0]["says"].as_str().expect("words");
    // 41.45 x 47.45 mm as drawn; the sheet is 160 x 100 mm.
    for size in [
        "1052.83 x 1205.23 mm in inches",
        "41.45 x 47.45 mm in millimetres",
        "160 x 100 mm",
    ] {
        assert!(says.contains(size), "{size}: {says}");
    }
    let refused = all.iter().filter(|f| f["severity"] == "refuse");
    for f in refused {
        assert_eq!(f["under"], 0, "{f}");
    }
    let text = vet(&text, &["--setup", &setup(), "--config", &machine()]).stdout;
    let heading = text
        .lines()
        .position(|l| l == "warning scale-suspect")
        .expect("a heading");
    let before: Vec<&str> = text
        .lines()
        .take(heading)
        .filter(|l| l.starts_with("refused"))
        .collect();
    assert!(before.is_empty(), "{text}");
    assert!(text.contains("This explains "), "{text}");
}

#[test]
fn a_forgotten_torch_off_explains_what_follows_from_it() {
    let text = square();
    let told = vet_fully(&text.replacen("M05\n", "", 1));
    let head = findings(&told)
        .iter()
        .position(|f| f["rule"] == "torch-on-in-rapid")
        .expect("it");
    assert_eq!(head, 0, "{told:#}");
    let says = findings(&told)[0]["says"].as_str().expect("words");
    assert!(
        says.contains("A torch off is missing before this"),
        "{says}"
    );
    assert!(under(&told, head).contains(&"torch-on-twice"), "{told:#}");
    let alone: Vec<&Value> = findings(&told)[1..]
        .iter()
        .filter(|f| f["under"].is_null() && f["severity"] != "note")
        .collect();
    assert!(alone.is_empty(), "{alone:#?}");
}

#[test]
fn a_fault_of_its_own_stays_beside_a_cause() {
    // The bad radius has nothing to do with the missing torch off.
    let text = square()
        .replacen("M05\n", "", 1)
        .replace("Y60.725 I0.725", "Y60.725 I0.225");
    let told = vet_fully(&text);
    let arc = findings(&told)
        .iter()
        .find(|f| f["rule"] == "arc-radius-mismatch")
        .expect("it");
    assert!(arc["under"].is_null(), "{arc}");
}

#[test]
fn a_wrong_zero_explains_all_that_lies_off_the_sheet() {
    let dir = tempfile::tempdir().expect("a folder");
    let moved = fs::read_to_string(fixture("square.toml"))
        .expect("it")
        .replace("[0, 0]", "[130, 5]");
    let file = dir.path().join("setup.toml");
    fs::write(&file, moved).expect("written");
    let file = file.display().to_string();
    let told = vet(
        &square(),
        &["--setup", &file, "--config", &machine(), "--format", "json"],
    )
    .json();
    let all = findings(&told);
    assert_eq!(all[0]["rule"], "outside-sheet", "{told:#}");
    let remedy = all[0]["remedy"].as_str().expect("words");
    assert!(remedy.contains("Move the program's zero by -"), "{remedy}");
    assert!(
        all[1..]
            .iter()
            .all(|f| !f["under"].is_null() || f["severity"] == "note"),
        "{told:#}"
    );
    assert!(all.len() > 2, "{told:#}");
}

#[test]
fn a_program_for_another_machine_is_one_headline() {
    let text = square().replace(
        "G00 X40.8 Y40\n",
        "G43 H1 Z5\nM98 P100\nG81 X5 Y5 Z-2 R2\nG0 A90\nS2000 T1 M6\nG00 X40.8 Y40\n",
    );
    let told = vet_fully(&text);
    let all = findings(&told);
    assert_eq!(all[0]["rule"], "unsupported-word");
    let says = all[0]["says"].as_str().expect("words");
    assert!(says.contains("another machine"), "{says}");
    let own: Vec<&Value> = all[1..]
        .iter()
        .filter(|f| f["under"].is_null() && f["severity"] == "refuse")
        .collect();
    assert!(own.is_empty(), "{own:#?}");
}

/// So many straight cuts that are too short, one under the other.
fn strays(n: usize) -> String {
    let cut = |k: usize| {
        format!(
            "G0 X{} Y{}\nM3\nG1 X{} F1100\nM5\n",
            5 + 5 * (k % 20),
            5 + 5 * (k / 20),
            7 + 5 * (k % 20)
        )
    };
    format!("G21 G90\n{}M2\n", (0..n).map(cut).collect::<String>())
}

#[test]
fn counts_are_true_and_every_cut_is_listed() {
    let n = 340;
    let told = vet_fully(&strays(n));
    let of: Vec<&Value> = findings(&told)
        .iter()
        .filter(|f| f["rule"] == "stray-cut")
        .collect();
    let mut cuts: Vec<u64> = of
        .iter()
        .flat_map(|f| f["cuts"].as_array().expect("cuts"))
        .filter_map(Value::as_u64)
        .collect();
    cuts.sort_unstable();
    assert_eq!(cuts, (1..=n as u64).collect::<Vec<_>>());
    let text = vet(&strays(n), &["--setup", &setup(), "--config", &machine()]).stdout;
    assert!(text.contains("stray-cut  340 times"), "{text}");
    assert!(text.contains("(cuts 2 to 340)"), "{text}");
    // A feed that is off is one finding, and it names every cut.
    let fast = vet_fully(&strays(30).replace("F1100", "F1600"));
    let feed = findings(&fast)
        .iter()
        .find(|f| f["rule"] == "feed-off-chart")
        .expect("it");
    assert_eq!(feed["cuts"].as_array().map(Vec::len), Some(30), "{feed}");
}

#[test]
fn a_rule_is_explained_with_its_example_and_vet_says_where() {
    let page = Ran::of(standclear().args(["vet", "--explain", "outside-sheet"]));
    assert_eq!(page.code, Some(0), "{}", page.stderr);
    for part in [
        "# outside-sheet",
        "What is measured",
        "The limit",
        "An example that triggers it",
        "+ origin = [20, 20]",
    ] {
        assert!(page.stdout.contains(part), "{part}: {}", page.stdout);
    }
    let all = Ran::of(standclear().args(["vet", "--explain", "all"])).stdout;
    for rule in program::RULES {
        assert!(
            all.contains(&format!("\n### {}\n", rule.name)),
            "{}",
            rule.name
        );
    }
    let none = Ran::of(standclear().args(["vet", "--explain", "inside-out"]));
    assert_eq!(none.code, Some(2));
    assert!(none.stderr.contains("outside-sheet"), "{}", none.stderr);
    let vetted = vet(&square(), &[]).stdout;
    let last = vetted.lines().last().unwrap_or_default();
    assert!(last.contains("standclear vet --explain "), "{last}");
}

#[test]
fn sarif_is_as_its_schema_says_and_editors_find_the_line() {
    let schema: Value =
        serde_json::from_str(include_str!("../fixtures/sarif/sarif-schema-2.1.0.json"))
            .expect("the schema");
    let bad = square().replace("G01 X45.775 F660", "G01 X45.7O5 F660");
    for (text, args) in [
        (square(), vec![]),
        (bad.clone(), vec![]),
        (
            square().replace("G21", "G20"),
            vec!["--setup".to_owned(), setup()],
        ),
        ("<svg/>".to_owned(), vec![]),
        (
            strays(50),
            vec![
                "--setup".to_owned(),
                setup(),
                "--config".to_owned(),
                machine(),
            ],
        ),
    ] {
        let mut args: Vec<&str> = args.iter().map(String::as_str).collect();
        args.extend(["--format", "sarif"]);
        let log = vet(&text, &args).json();
        let faults = schema::faults(&log, &schema);
        assert!(faults.is_empty(), "{faults:#?}");
    }
    let log = vet(&bad, &["--format", "sarif"]).json();
    let results = log["runs"][0]["results"].as_array().expect("results");
    let found = results
        .iter()
        .find(|r| r["ruleId"] == "unreadable-block")
        .expect("it");
    assert_eq!(found["level"], "error");
    let region = &found["locations"][0]["physicalLocation"]["region"];
    assert_eq!(
        (region["startLine"].as_u64(), region["startColumn"].as_u64()),
        (Some(5), Some(10))
    );
    // The checker itself sees what is wrong.
    let mut wrong = log.clone();
    wrong["runs"][0]["results"][0]["level"] = "fatal".into();
    wrong["runs"][0]["colour"] = "red".into();
    wrong["version"] = Value::Null;
    assert_eq!(
        schema::faults(&wrong, &schema).len(),
        3,
        "{:#?}",
        schema::faults(&wrong, &schema)
    );
}

#[test]
fn check_and_serve_look_where_vet_looks_and_say_which_file_was_used() {
    let run = |command: &str, variable: Option<&str>| {
        let mut line = standclear();
        line.arg(command);
        line.env_remove("STANDCLEAR_CONFIG");
        if let Some(file) = variable {
            line.env("STANDCLEAR_CONFIG", file);
        }
        Ran::of(&mut line)
    };
    // Its port is none of this machine: something is wrong, but not with the machine file.
    let checked = run("check", Some(&machine()));
    let wanted = format!("{} ($STANDCLEAR_CONFIG)", machine());
    let first = checked.stdout.lines().next().unwrap_or_default();
    assert!(
        first.starts_with("configuration") && first.contains(&wanted),
        "{}{}",
        checked.stdout,
        checked.stderr
    );
    for command in ["check", "serve"] {
        let wrong = run(command, Some("/nowhere/machine.toml"));
        assert_eq!(wrong.code, Some(2), "{command}");
        assert!(
            wrong
                .stderr
                .contains("$STANDCLEAR_CONFIG: /nowhere/machine.toml"),
            "{command}: {}",
            wrong.stderr
        );
        // Never the built-in table; a machine file that this computer has is taken instead.
        if !std::path::Path::new("/etc/standclear/machine.toml").exists() {
            let none = run(command, None);
            assert_eq!(none.code, Some(2), "{command}: {}", none.stdout);
            assert!(
                none.stderr.contains("no machine file: name one"),
                "{command}: {}",
                none.stderr
            );
        }
    }
}
