//! The machine file, chart and dialect that are part of the program.

use super::resolve::resolve;
use super::{Config, ConfigError};

/// The practice table's machine file. INVENTED DATA.
pub const PRACTICE: &str = include_str!("../../../../config/machines/practice.toml");
/// The invented chart.
pub const CHART: &str = include_str!("../../../../config/charts/invented.toml");
/// Our own dialect.
pub const PLAIN: &str = include_str!("../../../../config/dialects/plain.toml");
/// The dialect that is as unlike it as may be.
pub const QUILL: &str = include_str!("../../../../config/dialects/quill.toml");

/// The built-in configuration, read by the same way as any other.
pub fn practice() -> Result<Config, ConfigError> {
    built_in(PRACTICE)
}

/// The same machine with a controller that speaks `quill`. It stamps nothing and is asked every
/// 50 ms; a report is 6 ms under way, as with the other.
pub fn practice_quill() -> Result<Config, ConfigError> {
    let text = PRACTICE.replace("../dialects/plain.toml", "../dialects/quill.toml");
    built_in(&format!("{text}\n[arc_signal]\nreports_ms = 56\n"))
}

fn built_in(text: &str) -> Result<Config, ConfigError> {
    let mut config = resolve("built-in practice.toml", text, &|named| {
        let text = match named {
            "../charts/invented.toml" => CHART,
            "../dialects/plain.toml" => PLAIN,
            "../dialects/quill.toml" => QUILL,
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
    })?;
    config.on_simulated_table();
    Ok(config)
}
