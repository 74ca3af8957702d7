//! What is on record of a table, on one page to print.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use control::Event;
use control::commissioning::{Records, Standing, Step};

use crate::config::Config;
use crate::journal::{self, Entry};

/// The events that the records are made of.
const NAMES: [&str; 2] = ["commissioned", "came-commissioned"];

/// The page.
///
/// # Errors
/// There is no journal that can be read, in words.
pub fn text(config: &Config, state: &Path) -> Result<String, String> {
    let told = journal::of_names(state, NAMES).map_err(|e| e.to_string())?;
    Ok(of(config, &told))
}

fn of(config: &Config, told: &[Entry]) -> String {
    let mut records = Records::default();
    let mut dates: BTreeMap<Step, &str> = BTreeMap::new();
    for entry in told {
        let Ok(event) = serde_json::from_value::<Event>(entry.fields.clone()) else {
            continue;
        };
        records.take(&event);
        match event {
            Event::Commissioned { step, .. } => {
                dates.insert(step, &entry.wall);
            }
            Event::CameCommissioned { covered } => {
                dates.extend(covered.keys().map(|step| (*step, entry.wall.as_str())));
            }
            _ => {}
        }
    }
    let table = &config.commissioning;
    let file = config.file.as_deref().unwrap_or(Path::new("built in"));
    let mut page = format!("Commissioning of {} ({})\n\n", config.name, file.display());
    for step in Step::ALL {
        let (facts, record) = (step.facts(), records.of(step));
        let how = match records.standing(step, table) {
            Standing::Missing if record.is_some() => "of another table",
            Standing::Missing => "not made",
            Standing::Failed => "DID NOT PASS",
            Standing::Lapsed => "LAPSED: the machine file was changed",
            Standing::Stands => "passed",
        };
        let mark = if facts.guards { '*' } else { ' ' };
        let _ = writeln!(page, "{:>2}{mark} {:<20} {how}", step.number(), facts.name);
        if let Some(record) = record {
            let date = dates.get(&step).and_then(|wall| wall.get(..16));
            let simulated = if record.simulated { ", simulated" } else { "" };
            let _ = writeln!(
                page,
                "      {} UTC, machine file {}{simulated}. {}",
                date.unwrap_or("date not known").replace('T', " "),
                record.covered.get(..8).unwrap_or(&record.covered),
                record.measured
            );
        }
    }
    page.push_str(
        "\n* guards a person: nothing is started before it has passed on this table as it is.\n\
         Limits are common practice, no source, with invented numbers.\n\
         The emergency stop is a hard-wired circuit: this panel only watches it. Local codes and licensed\n\
         people decide.\n\nSigned ______________________   Date ______________\n",
    );
    page
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(wall: &str, event: &Event) -> Entry {
        Entry {
            seq: 1,
            start: 1,
            run: None,
            clock_us: 0,
            wall: wall.into(),
            unsure: false,
            id: event.id(),
            name: event.name().into(),
            severity: "normal".into(),
            says: event.says(),
            advice: None,
            fields: serde_json::to_value(event).expect("writes"),
        }
    }

    #[test]
    fn the_events_that_are_looked_for_are_those_of_the_records() {
        let made = Event::Commissioned {
            step: Step::Papers,
            passed: true,
            measured: String::new(),
            covered: String::new(),
            simulated: false,
        };
        let came = Event::CameCommissioned {
            covered: BTreeMap::new(),
        };
        assert_eq!([made.name(), came.name()], NAMES);
    }

    #[test]
    fn each_step_has_its_result_its_date_and_the_machine_files_hash() {
        let mut config = Config::built_in();
        config.commissioning.simulated = false;
        let made = |step: Step, passed, covered: &str| Event::Commissioned {
            step,
            passed,
            measured: "Seen.".into(),
            covered: covered.into(),
            simulated: false,
        };
        let now = config.commissioning.covered[&Step::Papers].clone();
        let told = [
            entry("2026-03-01T10:20:30.000Z", &made(Step::Papers, false, &now)),
            entry("2026-03-02T10:20:30.000Z", &made(Step::Papers, true, &now)),
            entry(
                "2026-03-03T10:20:30.000Z",
                &made(Step::Inputs, false, "0123456789"),
            ),
            entry(
                "2026-03-04T10:20:30.000Z",
                &made(Step::Estop, true, "0123456789"),
            ),
        ];
        let page = of(&config, &told);
        let lines: Vec<&str> = page.lines().collect();
        assert_eq!(lines[2], " 1* Papers               passed");
        let hash = now.get(..8).expect("a hash");
        assert_eq!(
            lines[3],
            format!("      2026-03-02 10:20 UTC, machine file {hash}. Seen.")
        );
        assert_eq!(lines[4], " 2* Inputs by hand       DID NOT PASS");
        assert_eq!(
            lines[6],
            " 3* Emergency stop       LAPSED: the machine file was changed"
        );
        assert_eq!(lines[8], " 4* Permit relay         not made");
        assert!(lines.len() < 60, "one page");
    }
}
