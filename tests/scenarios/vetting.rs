//! `standclear vet` as the command line.

use std::io::Write as _;

use crate::rig::{Ran, fixture, standclear};

/// Rule, line and column of a finding.
type Found = (String, Option<u64>, Option<u64>);

/// Vets this text as a file and returns exit code and the findings' (rule, line, column).
fn vet(text: &str) -> (Option<i32>, Vec<Found>) {
    let mut file = tempfile::NamedTempFile::new().expect("a file");
    file.write_all(text.as_bytes()).expect("written");
    let ran = Ran::of(
        standclear()
            .arg("vet")
            .arg(file.path())
            .arg("--setup")
            .arg(fixture("square.toml"))
            .args(["--format", "json"]),
    );
    let told = ran.json();
    let findings = told["findings"]
        .as_array()
        .cloned()
        .unwrap_or_default()
        .iter()
        .map(|f| {
            let rule = f["rule"].as_str().unwrap_or_default().to_owned();
            (rule, f["line"].as_u64(), f["column"].as_u64())
        })
        .collect();
    (ran.code, findings)
}

fn square() -> String {
    std::fs::read_to_string(fixture("square.nc")).expect("the fixture")
}

#[track_caller]
fn refused_by(text: &str, rule: &str, line: u64) {
    let (code, findings) = vet(text);
    assert_eq!(code, Some(1), "{findings:?}");
    assert!(
        findings
            .iter()
            .any(|(r, l, _)| r == rule && *l == Some(line)),
        "{rule} at line {line} is not among {findings:?}"
    );
}

#[test]
fn the_clean_piece_is_not_refused() {
    let (code, findings) = vet(&square());
    assert_eq!(code, Some(0), "{findings:?}");
}

#[test]
fn a_bad_number_is_refused_with_line_and_column() {
    let text = square().replace("G01 X45.775 F660", "G01 X45.7O5 F660");
    let (code, findings) = vet(&text);
    assert_eq!(code, Some(1));
    let (_, line, column) = findings
        .iter()
        .find(|(rule, ..)| rule == "unreadable-block")
        .expect("unreadable-block");
    assert_eq!(*line, Some(5));
    assert_eq!(*column, Some(10), "where the letter stands in the number");
}

#[test]
fn an_arc_that_misses_its_radius_is_refused() {
    let text = square().replace("Y60.725 I0.725", "Y60.725 I0.325");
    refused_by(&text, "arc-radius-mismatch", 14);
}

#[test]
fn a_torch_left_on_is_refused() {
    let text = square();
    let cut = text.rfind("M05").expect("a torch off");
    let text = format!("{}{}", &text[..cut], &text[cut + 4..]);
    let (code, findings) = vet(&text);
    assert_eq!(code, Some(1));
    assert!(
        findings.iter().any(|f| f.0 == "torch-left-on"),
        "{findings:?}"
    );
}

#[test]
fn a_rapid_with_the_torch_on_is_refused() {
    refused_by(
        &square().replace("G01 X20\n", "G00 X20\n"),
        "torch-on-in-rapid",
        11,
    );
}

#[test]
fn a_path_off_the_sheet_is_refused() {
    let text = square()
        .replace("G01 Y60\n", "G01 Y160\n")
        .replace("Y60.725 I0.725", "Y160.725 I0.725");
    let (code, findings) = vet(&text);
    assert_eq!(code, Some(1));
    assert!(
        findings.iter().any(|f| f.0 == "outside-sheet"),
        "{findings:?}"
    );
}

#[test]
fn a_file_that_cannot_be_opened_is_a_usage_error_with_a_clear_message() {
    let ran = Ran::of(standclear().args(["vet", "/nowhere/at-all.nc"]));
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("/nowhere/at-all.nc"), "{}", ran.stderr);
    assert_eq!(ran.stdout, "");
}

#[test]
fn a_refused_program_is_not_practised() {
    let mut file = tempfile::NamedTempFile::new().expect("a file");
    file.write_all(square().replace("G01 X20\n", "G00 X20\n").as_bytes())
        .expect("written");
    let ran = Ran::of(
        standclear()
            .arg("practice")
            .arg(file.path())
            .arg("--setup")
            .arg(fixture("square.toml"))
            .args(["--headless", "--format", "json"]),
    );
    assert_eq!(ran.code, Some(1), "{}", ran.stderr);
    assert!(ran.stderr.contains("torch-on-in-rapid"), "{}", ran.stderr);
}
