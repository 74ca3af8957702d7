//! What the records of commissioning rest on in this machine file, as hashes.

use std::collections::BTreeMap;

use process::commissioning::{Step, covered};
use sha2::{Digest as _, Sha256};

/// So many hexadecimal digits tell two machine files of one table apart.
const DIGITS: usize = 24;

/// Of each step: the hash of the parts of machine file and dialect that its record rests on. Both texts
/// were read before: one that cannot be read counts as empty.
pub fn hashes(machine: &str, dialect: &str) -> BTreeMap<Step, String> {
    let read = |text: &str| text.parse::<toml::Table>().unwrap_or_default();
    let (machine, dialect) = (read(machine), read(dialect));
    let of = |step: Step| {
        let hash = Sha256::digest(covered(step, &machine, &dialect));
        let mut digits: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
        digits.truncate(DIGITS);
        (step, digits)
    };
    Step::ALL.into_iter().map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;

    const EXAMPLE: &str = include_str!("../../../../config/machines/example-board.toml");

    /// The steps whose hash differs.
    fn lapsed(one: &str, other: &str) -> Vec<&'static str> {
        let (one, other) = (hashes(one, "a = 1"), hashes(other, "a = 1"));
        let differ = Step::ALL.into_iter().filter(|s| one[s] != other[s]);
        differ.map(|s| s.facts().key).collect()
    }

    #[test]
    fn a_change_of_the_machine_file_lets_just_those_records_lapse_that_rest_on_it() {
        let with = |from: &str, to: &str| {
            assert_eq!(EXAMPLE.matches(from).count(), 1, "{from}");
            lapsed(EXAMPLE, &EXAMPLE.replace(from, to))
        };
        assert!(with("park = [0, 0]", "park = [5, 5] # nearer").is_empty());
        assert!(with("# As set in the controller.", "# As it is set.").is_empty());
        assert_eq!(with("lease_ms = 200", "lease_ms = 150"), ["permit"]);
        assert_eq!(
            with("rapid_mm_s = 150", "rapid_mm_s = 140"),
            ["speed", "pen-trace", "repeat"]
        );
        assert_eq!(
            with("pin = 13", "pin = 27"),
            ["papers", "inputs", "touch-off", "contact", "noise-soak"]
        );
        assert_eq!(
            with("permit = 18", "permit = 17"),
            ["papers", "estop", "permit", "dry-fire"]
        );
    }

    #[test]
    fn each_key_that_a_record_rests_on_is_a_key_of_a_machine_file() {
        for step in Step::ALL {
            for key in step.facts().covers {
                // A key that no machine file may have is refused by its name; a known one by its value.
                let (section, last) = key.rsplit_once('.').unwrap_or(("", key));
                let mut file: toml::Table = EXAMPLE.parse().expect("the example reads");
                let at =
                    section
                        .split('.')
                        .filter(|s| !s.is_empty())
                        .fold(&mut file, |at, part| {
                            let inner = at.entry(part).or_insert(toml::Table::new().into());
                            inner.as_table_mut().expect("a section")
                        });
                at.insert(
                    last.to_owned(),
                    toml::Value::Datetime("1979-05-27".parse().expect("a day")),
                );
                let text = toml::to_string(&file).expect("writes");
                let folder = tempfile::tempdir().expect("a folder");
                let named = folder.path().join("machine.toml");
                std::fs::write(&named, text).expect("written");
                let says = Config::load(&named).expect_err("no key is a day").says;
                let missing = format!("unknown field `{last}`");
                assert!(!says.contains(&missing), "{key}: {says}");
            }
        }
    }
}
