//! `standclear article`: first-article sums from a file of readings.

use std::path::Path;
use std::process::ExitCode;

use process::article::{Article, Report, page, sums};

use super::{ArticleArgs, Format, USAGE, fail, print};
use crate::config::{Config, Found};

/// No file of readings is longer, bytes.
const LONGEST: u64 = 1 << 20;

/// Runs the command.
pub fn run(args: &ArticleArgs) -> ExitCode {
    match told(args) {
        Ok(text) => print("article", &text, 0),
        Err(says) => fail("article", &says, USAGE),
    }
}

fn told(args: &ArticleArgs) -> Result<String, String> {
    let article = read(&args.readings)?;
    let file = Found::look(args.config.as_deref(), &|name| std::env::var_os(name));
    let chart = match file.path() {
        Some(path) => {
            let config = Config::load(path).map_err(|e| format!("{}{e}", file.why()))?;
            config.chart
        }
        None => Vec::new(),
    };
    let named = |e| format!("{}: {e}", args.readings.display());
    let report = sums(article, &chart).map_err(named)?;
    match args.format {
        Format::Text => Ok(format!("{}\n{}\n", page(&report), file.told())),
        Format::Json => json(&report, &file),
    }
}

/// One object in a line. Which machine file was taken goes to stderr where nobody named one.
fn json(report: &Report, file: &Found) -> Result<String, String> {
    if !matches!(file, Found::Named(_)) {
        super::complain(&format!("standclear article: {}", file.told()));
    }
    let mut json = serde_json::to_string(report).map_err(|e| e.to_string())?;
    json.push('\n');
    Ok(json)
}

fn read(file: &Path) -> Result<Article, String> {
    let remedy = "Name a file of readings; config/articles/gauge-plate.toml is an example";
    let wrong = |says: String| format!("{}: {says}. {remedy}", file.display());
    let bytes = crate::files::read(file, LONGEST).map_err(wrong)?;
    let text = String::from_utf8(bytes).map_err(|_| wrong("is no text in UTF-8".into()))?;
    Article::from_toml(&text).map_err(|e| format!("{}: {e}", file.display()))
}
