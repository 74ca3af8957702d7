//! What of the machine file the record of a step rests on, in a form in which comments, order, spaces
//! and ways to write a number do not count.
//!
//! It is the file as it is typed: a key that is left out is not the same as its default written down
//! (that lets a record lapse that need not have), and a default that another version of the program
//! changed is not seen.

use std::fmt::Write as _;

use toml::{Table, Value};

use super::Step;

/// The parts of machine file and dialect that the record of this step rests on, in one text.
#[must_use]
pub fn covered(step: Step, machine: &Table, dialect: &Table) -> String {
    let facts = step.facts();
    let mut text = String::new();
    for key in facts.covers {
        let _ = write!(text, "{key}: ");
        match found(machine, key) {
            Some(value) => write_value(value, &mut text),
            None => text.push_str("left out"),
        }
        text.push('\n');
    }
    if facts.dialect {
        text.push_str("the dialect: ");
        write_table(dialect, &mut text);
    }
    text
}

fn found<'a>(table: &'a Table, key: &str) -> Option<&'a Value> {
    let mut parts = key.split('.');
    let first = table.get(parts.next()?)?;
    parts.try_fold(first, |value, part| value.get(part))
}

fn write_value(value: &Value, text: &mut String) {
    match value {
        Value::Table(table) => write_table(table, text),
        Value::Array(all) => {
            text.push('[');
            for one in all {
                write_value(one, text);
                text.push(',');
            }
            text.push(']');
        }
        // A whole number is the same however it is written.
        Value::Float(f) if f.fract() == 0.0 && f.abs() < 9e15 => {
            let _ = write!(text, "{}", *f as i64);
        }
        other => {
            let _ = write!(text, "{other}");
        }
    }
}

fn write_table(table: &Table, text: &mut String) {
    let mut keys: Vec<&String> = table.keys().collect();
    keys.sort_unstable();
    text.push('{');
    for key in keys {
        let _ = write!(text, "{key:?}=");
        if let Some(value) = table.get(key) {
            write_value(value, text);
        }
        text.push(',');
    }
    text.push('}');
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(step: Step, machine: &str, dialect: &str) -> String {
        let read = |text: &str| text.parse::<Table>().expect("reads");
        covered(step, &read(machine), &read(dialect))
    }

    #[test]
    fn how_a_file_is_written_does_not_count_and_what_it_says_does() {
        let file = "[pins]\npermit = 18\n[pins.inputs.estop]\npin = 19\npull = \"up\"\n[guard]\nlease_ms = 200\n";
        let same = "# measured\n[guard]\nlease_ms = 200 # ms\n[pins]\ninputs.estop.pull='up'\npermit=0x12\ninputs.estop.pin = 19";
        let d = "name = \"d\"\n";
        for step in Step::ALL {
            assert_eq!(of(step, file, d), of(step, same, d), "{step:?}");
        }
        let other = file.replace("pin = 19", "pin = 20");
        assert_ne!(of(Step::Inputs, file, d), of(Step::Inputs, &other, d));
        assert_ne!(of(Step::Estop, file, d), of(Step::Estop, &other, d));
        assert_eq!(of(Step::Permit, file, d), of(Step::Permit, &other, d));
    }

    #[test]
    fn numbers_are_compared_and_not_their_spelling() {
        let d = "";
        let whole = of(Step::Speed, "[motion]\naccel_mm_s2 = 400", d);
        assert_eq!(whole, of(Step::Speed, "[motion]\naccel_mm_s2 = 400.0", d));
        assert_ne!(whole, of(Step::Speed, "[motion]\naccel_mm_s2 = 400.5", d));
        assert_ne!(whole, of(Step::Speed, "", d));
    }

    #[test]
    fn a_step_that_goes_by_the_controller_rests_on_its_dialect_and_others_do_not() {
        let (one, two) = ("hold = 1", "hold = 2");
        assert_ne!(of(Step::Direction, "", one), of(Step::Direction, "", two));
        assert_eq!(of(Step::Inputs, "", one), of(Step::Inputs, "", two));
    }
}
