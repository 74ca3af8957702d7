//! Files that nobody should send: all are answered, none takes the program down.

mod invariants;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use program::{ReadingRules, Severity, read};

fn seeds() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/seeds");
    let mut all: Vec<PathBuf> = std::fs::read_dir(&folder)
        .expect("the seeds of the fuzz targets")
        .map(|e| e.expect("an entry").path())
        .collect();
    all.sort();
    assert!(all.len() >= 10, "{} has no seeds", folder.display());
    all
}

#[test]
fn what_fuzzing_began_from_and_what_it_has_found_is_answered_well() {
    for seed in seeds() {
        let bytes = std::fs::read(&seed).expect("a seed");
        println!("{}", seed.display());
        invariants::reads(&bytes);
        invariants::vets(&bytes);
        let whole: Vec<u8> = [&[200; invariants::HEAD][..], &bytes].concat();
        invariants::vets(&whole);
    }
}

fn vetted(program: &[u8]) {
    let whole: Vec<u8> = [&[220; invariants::HEAD][..], program].concat();
    invariants::vets(&whole);
}

#[test]
fn a_million_lines_are_answered() {
    let mut text = "G21 G90 F1100\nG0 X5 Y4\nM3\n".to_owned();
    for k in 0..1_000_000_u32 {
        let (x, y) = (f64::from(k % 1000) * 0.3, f64::from(k / 1000) * 0.3);
        let _ = writeln!(text, "G1 X{:.2} Y{:.2}", 5.0 + x, 5.0 + y);
    }
    text += "M5\nM2\n";
    let reading = read(text.as_bytes(), &ReadingRules::default());
    assert_eq!(reading.cut_list.cuts[0].path.len(), 1_000_000);
    vetted(text.as_bytes());
}

#[test]
fn one_line_without_end_an_empty_file_and_binary_are_refused_by_name() {
    let refused = |bytes: &[u8], rule: &str| {
        let reading = invariants::reads(bytes);
        let found = reading
            .findings
            .iter()
            .any(|f| f.rule == rule && f.severity == Severity::Refuse);
        assert!(found, "{rule}: {:?}", reading.findings);
        vetted(bytes);
    };
    refused(b"", "not-a-program");
    refused(b"\n\n\n", "not-a-program");
    refused(&[0_u8; 4096], "not-a-program");
    let binary: Vec<u8> = (0..100_000_u32)
        .map(|k| (k.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    refused(&binary, "not-a-program");
    let one_line: String = "G1X1Y1".repeat(1_000_000);
    refused(one_line.as_bytes(), "line-too-long");
    let commas: String = "X1,".repeat(50_000);
    refused(commas.as_bytes(), "unreadable-block");
}

#[test]
fn a_file_beyond_64_mib_is_refused_and_one_of_64_mib_is_read() {
    let mut text = b"G21 G90\n".to_vec();
    text.resize(program::LARGEST_BYTES, b'\n');
    let end = text.len() - 3;
    text[end..].copy_from_slice(b"M2\n");
    let rules = |bytes: &[u8]| {
        let findings = read(bytes, &ReadingRules::default()).findings;
        findings.into_iter().map(|f| f.rule).collect::<Vec<_>>()
    };
    assert_eq!(rules(&text), ["no-cut"; 0]);
    text.push(b'\n');
    assert_eq!(rules(&text), ["file-too-large"]);
}

#[test]
fn paths_of_absurd_size_are_answered() {
    let mut zigzag = "G21 G90 F1100\nG0 X0 Y0\nM3\n".to_owned();
    for _ in 0..20_000 {
        zigzag += "G1 X99999 Y99999\nG1 X-99999 Y0\n";
    }
    zigzag += "M5\nM2\n";
    vetted(zigzag.as_bytes());
    vetted(
        b"G21 G90 F1\nG0 X1e9 Y0\nM3\nG1 X99999999999999999999 Y1\nG3 I99999999999999 J0\nM5\nM2\n",
    );
    vetted(b"G21 G90 F1\nM3\nG3 X0.000001 Y0 I0.0000001 J0\nM5\nM3\nM5\nM2\n");
    let mut crumbs = "G21 G90 F1100\nG0 X50 Y50\nM3\nG91\n".to_owned();
    for k in 0..100_000 {
        crumbs += if k % 2 == 0 {
            "G1 X0.0001\n"
        } else {
            "G1 Y0.0001\n"
        };
    }
    crumbs += "M5\nM2\n";
    vetted(crumbs.as_bytes());
}
