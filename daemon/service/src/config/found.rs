//! Where a machine file is looked for when none is named.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use super::Config;

/// The variable that names it.
const VARIABLE: &str = "STANDCLEAR_CONFIG";
/// Where the system keeps it.
const SYSTEM: &str = "/etc/standclear/machine.toml";

/// Which machine file is used, and why that one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Found {
    /// The command line names it.
    Named(PathBuf),
    /// The variable names it.
    Variable(PathBuf),
    /// The system's.
    System(PathBuf),
    /// None was found.
    Nowhere,
}

impl Found {
    /// Looks for it: as named, as the variable says, in the system's place.
    #[must_use]
    pub fn look(named: Option<&Path>, variable: &dyn Fn(&str) -> Option<OsString>) -> Self {
        Self::look_in(named, variable, Path::new(SYSTEM))
    }

    fn look_in(
        named: Option<&Path>,
        variable: &dyn Fn(&str) -> Option<OsString>,
        system: &Path,
    ) -> Self {
        if let Some(file) = named {
            return Self::Named(file.to_path_buf());
        }
        if let Some(file) = variable(VARIABLE).filter(|v| !v.is_empty()) {
            return Self::Variable(file.into());
        }
        // One that is there and cannot be read is an error, and not passed over.
        if system.symlink_metadata().is_ok() {
            return Self::System(system.to_path_buf());
        }
        Self::Nowhere
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> Option<&Path> {
        match self {
            Self::Named(path) | Self::Variable(path) | Self::System(path) => Some(path),
            Self::Nowhere => None,
        }
    }

    /// Where a machine file belongs: where it is looked for, else the system's place.
    #[must_use]
    pub fn place(&self) -> &Path {
        self.path().unwrap_or(Path::new(SYSTEM))
    }

    /// Says before an error who has named the file; nothing where the command line did.
    #[must_use]
    pub fn why(&self) -> String {
        match self {
            Self::Named(_) | Self::Nowhere => String::new(),
            Self::Variable(_) => format!("${VARIABLE}: "),
            Self::System(_) => "no --config, so ".to_owned(),
        }
    }

    /// The file, and who has named it.
    #[must_use]
    pub fn which(&self) -> String {
        match self {
            Self::Named(path) => format!("{} (--config)", path.display()),
            Self::Variable(path) => format!("{} (${VARIABLE})", path.display()),
            Self::System(path) => path.display().to_string(),
            Self::Nowhere => format!(
                "the built-in practice table without its chart; no --config, no ${VARIABLE}, no \
                 {SYSTEM}"
            ),
        }
    }

    /// Which was used, for the report.
    #[must_use]
    pub fn told(&self) -> String {
        format!("Machine file: {}.", self.which())
    }

    /// Loads it for a command that works with the real table: the built-in one will not do.
    ///
    /// # Errors
    /// None was found, or it cannot be used; in words.
    pub fn load(&self) -> Result<Config, String> {
        let Some(path) = self.path() else {
            return Err(format!(
                "no machine file: name one with --config FILE or with ${VARIABLE}, or put it at \
                 {SYSTEM}. `config/machines/` has an example to start from, and `standclear check` \
                 says what is wrong with it"
            ));
        };
        Config::load(path).map_err(|e| format!("{}{e}", self.why()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_looked_for_in_order_and_told_which() {
        let dir = tempfile::tempdir().expect("a folder");
        let system = dir.path().join("machine.toml");
        let unset = |_: &str| None;
        let set = |name: &str| (name == VARIABLE).then(|| OsString::from("mine.toml"));
        let empty = |_: &str| Some(OsString::new());
        let look = |named, variable: &dyn Fn(&str) -> Option<OsString>| {
            Found::look_in(named, variable, &system)
        };
        assert_eq!(look(None, &unset), Found::Nowhere);
        assert!(look(None, &empty).told().contains("without its chart"));
        std::fs::write(&system, "").expect("written");
        assert_eq!(look(None, &unset), Found::System(system.clone()));
        assert_eq!(look(None, &set), Found::Variable("mine.toml".into()));
        let named = look(Some(Path::new("a")), &set);
        assert_eq!(named, Found::Named("a".into()));
        assert_eq!(named.told(), "Machine file: a (--config).");
    }
}
