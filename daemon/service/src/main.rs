//! The `standclear` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    // A decision that has gone wrong must not be carried on from: the process ends, the permit
    // pulses with it, and the service manager starts it afresh.
    let report = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        report(info);
        std::process::abort();
    }));
    standclear::command::main()
}
