//! The report in SARIF 2.1.0 (OASIS), so that an editor shows each finding at its line.

use serde::{Serialize, Serializer};
use serde_json::{Map, Value, json};

use crate::report::{Finding, Report, Severity, Verdict};
use crate::vetting::rules::ALL;

/// Where the standard's schema is published.
pub const SCHEMA: &str =
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json";

/// The report as a SARIF log. `path` is where the program lies, `version` that of the panel. Results are
/// made one by one as they are written: tens of thousands of them as values would take 15 kB each.
#[must_use]
pub fn log<'a>(report: &'a Report, path: &str, version: &str) -> impl Serialize + 'a {
    let uri = uri(path);
    let verdict = match report.verdict {
        Verdict::Clear => "clear",
        Verdict::Warned => "warned",
        Verdict::Refused => "refused",
    };
    Log {
        schema: SCHEMA,
        version: "2.1.0",
        runs: [Run {
            tool: json!({ "driver": {
                "name": "standclear",
                "version": version,
                "rules": ALL.iter().map(rule).collect::<Vec<_>>(),
            }}),
            // Vetting came to its end; whether the program may be cut is the verdict.
            invocations: json!([{ "executionSuccessful": true }]),
            artifacts: json!([{ "location": { "uri": uri }, "roles": ["analysisTarget"] }]),
            // Columns are counted in characters.
            column_kind: "unicodeCodePoints",
            results: Results {
                findings: &report.findings,
                uri,
            },
            properties: json!({ "verdict": verdict, "notJudged": report.not_judged }),
        }],
    }
}

#[derive(Serialize)]
struct Log<'a> {
    #[serde(rename = "$schema")]
    schema: &'static str,
    version: &'static str,
    runs: [Run<'a>; 1],
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Run<'a> {
    tool: Value,
    invocations: Value,
    artifacts: Value,
    column_kind: &'static str,
    results: Results<'a>,
    properties: Value,
}

struct Results<'a> {
    findings: &'a [Finding],
    uri: String,
}

impl Serialize for Results<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(self.findings.iter().map(|f| result(f, &self.uri)))
    }
}

fn rule(rule: &crate::Rule) -> Value {
    let page = &rule.page;
    json!({
        "id": rule.name,
        "shortDescription": { "text": (page.measured)() },
        "fullDescription": { "text": format!("{} Limit: {} {}", (page.measured)(), (page.limit)(), page.source) },
        "help": { "text": format!("standclear vet --explain {}", rule.name) },
        "properties": { "group": rule.group.title(), "severities": page.severities, "needs": page.needs },
    })
}

fn result(f: &Finding, uri: &str) -> Value {
    let level = match f.severity {
        Severity::Refuse => "error",
        Severity::Warn => "warning",
        Severity::Note => "note",
    };
    let mut physical = json!({ "artifactLocation": { "uri": uri, "index": 0 } });
    if let Some(line) = f.line {
        let mut region = Map::new();
        region.insert("startLine".into(), json!(line));
        if let Some(column) = f.column {
            region.insert("startColumn".into(), json!(column));
        }
        physical["region"] = Value::Object(region);
    }
    let mut location = json!({ "physicalLocation": physical });
    if !f.cuts.is_empty() {
        let cut = |n: &usize| json!({ "name": format!("cut {n}") });
        location["logicalLocations"] = f.cuts.iter().take(1000).map(cut).collect();
    }
    let mut one = json!({
        "ruleId": f.rule,
        "level": level,
        "message": { "text": format!("{} {}", f.says, f.remedy) },
        "locations": [location],
        "properties": {
            "severity": f.severity,
            "cuts": f.cuts,
            "at": f.at.map(|p| [p.x, p.y]),
            "remedy": f.remedy,
            "under": f.under,
        },
    });
    if let Some(index) = ALL.iter().position(|r| r.name == f.rule) {
        one["ruleIndex"] = json!(index);
    }
    if f.more > 0 {
        one["occurrenceCount"] = json!(f.times());
    }
    one
}

/// A path as a URI reference (RFC 3986): absolute ones with their scheme.
fn uri(path: &str) -> String {
    let mut out = String::from(if path.starts_with('/') { "file://" } else { "" });
    for &byte in path.as_bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                out.push(char::from(byte));
            }
            _ => out.push_str(&format!("%{byte:02X}")),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vetting::rules::frame;

    #[test]
    fn paths_become_references() {
        assert_eq!(uri("a b/c.nc"), "a%20b/c.nc");
        assert_eq!(uri("/tmp/\u{e4}.nc"), "file:///tmp/%C3%A4.nc");
    }

    #[test]
    fn a_finding_stands_at_its_line_and_column_with_its_level() {
        let report = frame::report(&frame::PROGRAM.replace("G1 X100", "G1 X1O0"));
        let log = serde_json::to_value(log(&report, "sheet.nc", "1")).expect("it is JSON");
        let results = log["runs"][0]["results"].as_array().expect("results");
        let bad = results
            .iter()
            .find(|r| r["ruleId"] == "unreadable-block")
            .expect("it");
        assert_eq!(bad["level"], "error");
        let region = &bad["locations"][0]["physicalLocation"]["region"];
        assert_eq!(
            (&region["startLine"], &region["startColumn"]),
            (&json!(12), &json!(6))
        );
        let index = bad["ruleIndex"].as_u64().expect("an index") as usize;
        assert_eq!(
            log["runs"][0]["tool"]["driver"]["rules"][index]["id"],
            "unreadable-block"
        );
        assert_eq!(results.len(), report.findings.len());
    }
}
