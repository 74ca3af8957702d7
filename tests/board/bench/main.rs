//! What runs inside the emulated board beside the real `standclear serve`: the simulated table as a
//! process of its own, at the far end of a serial line and on the other side of the kernel's lines; an
//! operator who asks over HTTP; and the judge of each case, by the journal, the table's ledger and the
//! levels at the lines.
//!
//! The board's clock is counted in instructions, so milliseconds of it may be asserted.

mod cases;
mod check;
mod guard_path;
mod idle;
mod judge;
mod panel;
mod power;
mod set_up;
mod tape;
mod wires;
mod world;

#[path = "../../scenarios/service/client.rs"]
#[allow(
    dead_code,
    reason = "the scenarios' own client: not all of it is wanted here"
)]
mod client;
#[path = "../../scenarios/service/operated.rs"]
mod operated;

use std::process::ExitCode;
use std::time::Duration;

/// How long an answer of the console is waited for.
const PATIENCE: Duration = Duration::from_secs(20);

fn main() -> ExitCode {
    let Ok(chip) = std::env::var("LINES") else {
        eprintln!("LINES must name the folder of the simulated chip's lines: run tests/board/run");
        return ExitCode::from(2);
    };
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    let went = match wanted.first().map(String::as_str) {
        Some("table") => set_up::table_alone(&chip, &wanted[1..]),
        Some("idle") => set_up::fresh(&chip, false)
            .map(|mut panel| usize::from(!cases::run("idle", idle::measure, &mut panel))),
        Some("edges") => guard_path::measure(&chip),
        Some("until-the-power-is-cut") => set_up::fresh(&chip, true).and_then(|mut panel| {
            panel.start()?;
            power::cut(&mut panel).map(|()| 1)
        }),
        Some("after-the-power-was-cut") => {
            set_up::after_a_cut_of_the_power(&chip).map(|mut panel| {
                usize::from(!cases::run(
                    "power-cut-with-the-arc-on",
                    power::started_again,
                    &mut panel,
                ))
            })
        }
        _ => cases::all(&chip, &wanted),
    };
    match went {
        Ok(0) => ExitCode::SUCCESS,
        Ok(_) => ExitCode::FAILURE,
        Err(says) => {
            println!("CASE setting-up FAILED {says}");
            ExitCode::FAILURE
        }
    }
}
