//! What runs inside the emulated board beside the real `standclear serve`: the simulated table as a
//! process of its own, at the far end of a serial line and on the other side of the kernel's lines; an
//! operator who asks over HTTP; and the judge of each case, by the journal, the table's ledger and the
//! levels at the lines.
//!
//! The board's clock is counted in instructions, so milliseconds of it may be asserted.

mod cases;
mod panel;
mod world;

#[path = "../../scenarios/service/client.rs"]
#[allow(
    dead_code,
    reason = "the scenarios' own client: not all of it is wanted here"
)]
mod client;

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
    match cases::all(&chip, &wanted) {
        Ok(0) => ExitCode::SUCCESS,
        Ok(_) => ExitCode::FAILURE,
        Err(says) => {
            println!("CASE setting-up FAILED {says}");
            ExitCode::FAILURE
        }
    }
}
