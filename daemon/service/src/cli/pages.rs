//! The hidden `standclear pages`: manual pages and completions, written from the command line's own
//! definition when the package is made, so that they cannot say anything else than `--help`.

use std::fs;
use std::io;
use std::path::Path;
use std::process::ExitCode;

use clap::CommandFactory as _;
use clap_complete::{Shell, generate_to};

use super::{Cli, PagesArgs, USAGE, fail};

/// The shells that Debian has completions for, and where in the folder each lies.
const SHELLS: [Shell; 3] = [Shell::Bash, Shell::Zsh, Shell::Fish];

/// Runs the command.
pub fn run(args: &PagesArgs) -> ExitCode {
    match write(&args.dir) {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => fail("pages", &format!("{}: {e}", args.dir.display()), USAGE),
    }
}

/// A manual page for the command and one for each that is not hidden (`standclear-vet.1`), and the
/// completions, into `dir`, which is made.
fn write(dir: &Path) -> io::Result<()> {
    fs::create_dir_all(dir)?;
    let mut command = Cli::command();
    clap_mangen::generate_to(command.clone(), dir)?;
    for shell in SHELLS {
        generate_to(shell, &mut command, "standclear", dir)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_that_is_shown_has_a_page_and_is_completed() {
        let folder = tempfile::tempdir().expect("a folder");
        write(folder.path()).expect("written");
        let read = |name: &str| fs::read_to_string(folder.path().join(name));
        let bash = read("standclear.bash").expect("completions");
        let whole = read("standclear.1").expect("a page");
        // Hyphens are escaped in a manual page.
        assert!(whole.contains("hard\\-wired circuit"), "{whole}");
        for command in Cli::command().get_subcommands() {
            let name = command.get_name();
            let page = read(&format!("standclear-{name}.1"));
            assert_eq!(page.is_ok(), !command.is_hide_set(), "{name}");
            if let Ok(page) = page {
                assert!(page.contains(".TH") && bash.contains(name), "{name}");
            }
        }
        for file in ["_standclear", "standclear.fish"] {
            assert!(read(file).expect("completions").contains("practice"));
        }
    }
}
