//! `standclear chart` through the program itself: rows with their source, one that cannot be true, what lies
//! between two.

use serde_json::Value;

use crate::rig::{Ran, number, standclear};

const INVENTED: &str = "config/charts/invented.toml";

fn chart(arguments: &[&str]) -> Ran {
    let root = env!("CARGO_MANIFEST_DIR");
    Ran::of(standclear().current_dir(root).arg("chart").args(arguments))
}

#[test]
fn the_invented_chart_says_that_it_is_and_what_lies_between_two_of_its_rows() {
    let of = [
        "--material",
        "mild-steel",
        "--thickness",
        "3.5",
        "--amps",
        "40",
    ];
    let all = [&[INVENTED][..], &of].concat();
    let page = chart(&all);
    assert_eq!(page.code, Some(0), "{}", page.stderr);
    assert_eq!(
        page.stdout.matches(", invented, no date").count(),
        31,
        "{}",
        page.stdout
    );
    let object = chart(&[&all[..], &["--format", "json"]].concat());
    let told: Value = serde_json::from_str(&object.stdout).expect("one object");
    // Process handbook 4.1, calculated there: 3 mm at 2200 and 4 mm at 1500 give 1792 at 3.5.
    assert_eq!(number(&told["between"]["feed_mm_min"]).round(), 1792.0);

    let beyond = ["--material", "mild-steel", "--thickness", "40"];
    let refused = chart(&[&[INVENTED][..], &beyond].concat());
    assert_eq!(refused.code, Some(2), "{}", refused.stdout);
    assert!(
        refused.stderr.contains("beyond the rows"),
        "{}",
        refused.stderr
    );
}

#[test]
fn a_row_in_the_wrong_unit_cannot_be_true_and_is_told_by_the_exit_status() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("chart.toml");
    let text = include_str!("../../config/charts/invented.toml");
    // 1100 mm/min read as inches.
    let text = text.replacen("feed_mm_min = 1100", "feed_mm_min = 27940", 1);
    std::fs::write(&file, text).expect("written");
    let page = chart(&[&file.display().to_string()]);
    assert_eq!(page.code, Some(1), "{}", page.stdout);
    assert_eq!(
        page.stdout.matches("cannot be true").count(),
        1,
        "{}",
        page.stdout
    );
}
