//! A rule's page: what is measured, the limit and where it comes from, an example and its repair.
//!
//! The examples are the cases by which the rules are tested through the real command, and nothing
//! else: an example that does not trigger its rule, or a repair that does not cure it, fails a test.

use std::fmt::Write as _;

use serde::Deserialize;

use crate::vetting::rules::{ALL, Rule};

/// The cases of all rules, in TOML: a base, and for each rule what is wrong and what is right.
pub const CASES: &str = include_str!("../../../../tests/scenarios/rules.toml");

#[derive(Deserialize)]
struct Cases {
    program: String,
    setup: String,
    case: Vec<Case>,
}

#[derive(Deserialize)]
struct Case {
    rule: String,
    wrong: Side,
    right: Side,
}

#[derive(Deserialize)]
struct Side {
    text: Option<String>,
    #[serde(default)]
    program: Vec<[String; 2]>,
    #[serde(default)]
    setup: Vec<[String; 2]>,
    #[serde(default)]
    machine: Vec<[String; 2]>,
    #[serde(default)]
    bare: bool,
}

/// The page of a rule in Markdown; `None`: there is no such rule.
#[must_use]
pub fn page(rule: &str) -> Option<String> {
    let rule = ALL.iter().find(|r| r.name == rule)?;
    Some(written(rule, cases().as_ref()))
}

/// The pages of all rules as one Markdown text.
#[must_use]
pub fn all() -> String {
    let cases = cases();
    let mut out = format!(
        "# The {} rules of vetting\n\nrefuse: it is not cut. warn: a person accepts it with a reason. \
         note: it informs. The examples are those by which the rules are tested.\n",
        ALL.len()
    );
    let mut group = None;
    for rule in ALL {
        if group != Some(rule.group) {
            let _ = write!(out, "\n## {}\n", rule.group.title());
            group = Some(rule.group);
        }
        out.push('\n');
        // One level below the group.
        out.push_str(
            &written(rule, cases.as_ref())
                .replace("\n## ", "\n#### ")
                .replacen("# ", "### ", 1),
        );
    }
    out
}

/// The names of all rules with what they measure, a line each.
#[must_use]
pub fn names() -> String {
    ALL.iter().map(|r| r.name).collect::<Vec<_>>().join(", ")
}

fn cases() -> Option<Cases> {
    toml::from_str(CASES).ok()
}

fn written(rule: &Rule, cases: Option<&Cases>) -> String {
    let page = &rule.page;
    let mut out = format!(
        "# {}\n\n{}; {}.\n\n**What is measured.** {}\n\n**The limit.** {}\n\n**Where it comes from.** {}\n\n\
         **What it needs.** {}.\n",
        rule.name,
        page.severities,
        rule.group.title().to_lowercase(),
        (page.measured)(),
        (page.limit)(),
        page.source,
        page.needs
    );
    let found = cases.and_then(|all| Some((all, all.case.iter().find(|c| c.rule == rule.name)?)));
    if let Some((all, case)) = found {
        example(&mut out, all, case);
    }
    out
}

fn example(out: &mut String, all: &Cases, case: &Case) {
    let (wrong, right) = (&case.wrong, &case.right);
    let text = |side: &Side| changed(side.text.as_deref().unwrap_or(&all.program), &side.program);
    out.push_str("\n## An example that triggers it\n\nThe program:\n\n");
    block(out, "", &text(wrong));
    out.push_str("\nThe setup:\n\n");
    block(out, "", &changed(&all.setup, &wrong.setup));
    let _ = writeln!(out, "\n{}", machine(wrong));
    out.push_str("\n## Its repair\n\n");
    let mut parts = 0;
    for (what, before, after) in [
        ("In the program", text(wrong), text(right)),
        (
            "In the setup",
            changed(&all.setup, &wrong.setup),
            changed(&all.setup, &right.setup),
        ),
    ] {
        if before != after {
            let _ = write!(out, "{}{what}:\n\n", if parts > 0 { "\n" } else { "" });
            block(out, "diff", &difference(&before, &after));
            parts += 1;
        }
    }
    if wrong.machine != right.machine || wrong.bare != right.bare {
        let _ = writeln!(
            out,
            "{}{}",
            if parts > 0 { "\n" } else { "" },
            machine(right)
        );
    }
}

/// Which machine file a side is vetted with.
fn machine(side: &Side) -> String {
    if side.bare {
        return "No machine file, so no chart.".to_owned();
    }
    let mut text = "The machine file: the invented practice table with its chart".to_owned();
    for (k, [from, to]) in side.machine.iter().enumerate() {
        let _ = match to.as_str() {
            "@CHART@" | "../charts/@CHART@" => {
                write!(text, ", a chart whose feeds are four times too high")
            }
            _ if k == 0 => write!(text, ", with `{}` in place of `{}`", flat(to), flat(from)),
            _ => write!(text, ", and `{}` in place of `{}`", flat(to), flat(from)),
        };
    }
    text.push('.');
    text
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn changed(text: &str, edits: &[[String; 2]]) -> String {
    let text = edits
        .iter()
        .fold(text.to_owned(), |text, [from, to]| text.replace(from, to));
    text.replace("@64MiB@", "(and 64 MiB of empty lines)\n")
        .trim()
        .to_owned()
}

fn block(out: &mut String, kind: &str, text: &str) {
    let _ = writeln!(out, "```{kind}\n{}\n```", text.trim_end());
}

/// What goes and what comes, line by line, between the equal beginnings and ends.
fn difference(before: &str, after: &str) -> String {
    let (a, b): (Vec<&str>, Vec<&str>) = (before.lines().collect(), after.lines().collect());
    let head = a.iter().zip(&b).take_while(|(x, y)| x == y).count();
    let tail = (a[head..].iter().rev())
        .zip(b[head..].iter().rev())
        .take_while(|(x, y)| x == y)
        .count();
    let mut out = String::new();
    for line in &a[head..a.len() - tail] {
        let _ = writeln!(out, "- {line}");
    }
    for line in &b[head..b.len() - tail] {
        let _ = writeln!(out, "+ {line}");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_has_a_page_with_an_example_and_its_repair() {
        for rule in ALL {
            let page = page(rule.name).expect("a page");
            for part in [
                "**What is measured.**",
                "**The limit.**",
                "**Where it comes from.**",
                "**What it needs.**",
                "## An example that triggers it",
                "## Its repair",
            ] {
                assert!(page.contains(part), "{}: {part}\n{page}", rule.name);
            }
            let repair = page
                .split("## Its repair")
                .nth(1)
                .unwrap_or_default()
                .trim();
            assert!(repair.len() > 10, "{}: no repair\n{page}", rule.name);
            assert!(!page.contains('@'), "{}: {page}", rule.name);
            for severity in rule
                .page
                .severities
                .split([',', ' '])
                .filter(|w| !w.is_empty())
            {
                assert!(
                    ["refuse", "refused", "warn", "note", "or"].contains(&severity),
                    "{severity}"
                );
            }
        }
        assert!(page("no-such-rule").is_none());
    }

    #[test]
    fn all_pages_are_one_text_with_every_rule_once() {
        let text = all();
        for rule in ALL {
            let heading = format!("\n### {}\n", rule.name);
            assert_eq!(text.matches(&heading).count(), 1, "{}", rule.name);
        }
        assert!(text.starts_with("# The "), "{}", &text[..80]);
    }

    #[test]
    fn a_page_reads_as_a_page() {
        insta::assert_snapshot!(page("outside-sheet").expect("a page"));
    }
}
