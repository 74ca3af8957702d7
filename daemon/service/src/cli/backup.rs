//! `standclear backup` and `standclear restore`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::args::state_dir;
use super::{BackupArgs, RestoreArgs, USAGE, fail, print};
use crate::backup;
use crate::config::Found;

/// Runs `backup`. 0: the file is made; 2: it is not.
pub(crate) fn make(args: &BackupArgs) -> ExitCode {
    match made(args) {
        Ok(told) => print("backup", &told, 0),
        Err(says) => fail("backup", &says, USAGE),
    }
}

fn made(args: &BackupArgs) -> Result<String, String> {
    let (file, state) = places(args.config.as_deref(), args.state.as_deref())?;
    let machine = file.path().ok_or_else(|| {
        format!(
            "{}: there is no machine file. Name it with --config FILE",
            file.place().display()
        )
    })?;
    let made = backup::make(machine, &state, &args.file)?;
    let mut told = format!(
        "{}: {} files, {} kB. Keep it away from this board.\n",
        args.file.display(),
        made.files,
        made.bytes.div_ceil(1000)
    );
    if made.without_journal {
        told += &format!(
            "There is no journal in {} yet: none is in it.\n",
            state.display()
        );
    }
    Ok(told)
}

/// Runs `restore`. 0: all is in place; 2: it is not.
pub(crate) fn restore(args: &RestoreArgs) -> ExitCode {
    let done = places(args.config.as_deref(), args.state.as_deref())
        .and_then(|(file, state)| backup::restore(&args.file, file.place(), &state));
    let done = match done {
        Ok(done) => done,
        Err(says) => return fail("restore", &says, USAGE),
    };
    let mut told = format!("Backup of {}.\n", done.made);
    for file in &done.files {
        told += &format!("put in place  {}\n", file.display());
    }
    for file in &done.aside {
        told += &format!("moved aside   {}\n", file.display());
    }
    if done.files.is_empty() {
        told += "Everything lay there already.\n";
    }
    if done.journal {
        told += "The journal ends where the backup was made: at the next start the place is in doubt, \
                 and what happened since is not known. Look at the table before it is referenced.\n";
    }
    print("restore", &told, 0)
}

fn places(config: Option<&Path>, state: Option<&Path>) -> Result<(Found, PathBuf), String> {
    let file = Found::look(config, &|name| std::env::var_os(name));
    let state = state_dir(state, &|name| std::env::var_os(name))?;
    Ok((file, state))
}
