//! The machine file, chart and dialect that are part of the program.

use super::resolve::resolve;
use super::{Config, ConfigError};

/// The practice table's machine file. INVENTED DATA.
pub const PRACTICE: &str = include_str!("../../../../config/machines/practice.toml");
/// The invented chart.
pub const CHART: &str = include_str!("../../../../config/charts/invented.toml");
/// Our own dialect.
pub const PLAIN: &str = include_str!("../../../../config/dialects/plain.toml");

/// The built-in configuration, read by the same way as any other.
pub fn practice() -> Result<Config, ConfigError> {
    resolve("built-in practice.toml", PRACTICE, &|named| {
        let text = match named {
            "../charts/invented.toml" => CHART,
            "../dialects/plain.toml" => PLAIN,
            _ => {
                return Err(ConfigError {
                    file: "built-in practice.toml".into(),
                    says: format!("{named} is not part of the program"),
                    remedy: "Name a file that is".into(),
                });
            }
        };
        let name = named.rsplit('/').next().unwrap_or(named);
        Ok((format!("built-in {name}"), text.to_owned()))
    })
}
