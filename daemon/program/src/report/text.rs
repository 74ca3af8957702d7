//! The report as a page of text for a terminal: the verdict first, then the job in one line, then
//! what was found, rule by rule, the worst first.

mod groups;
mod headline;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use crate::geometry::plane::mm;
use crate::report::{Finding, Report, Severity, Verdict};
use groups::{Head, NAMED, alike, all_cuts, cuts, groups, times};
use headline::{bars, count, judged};

/// So many findings of one rule that say different things are shown in full.
const SHOWN: usize = 5;
/// Lines of the program are shown up to this width.
const LINE_WIDTH: usize = 76;
/// Words are wrapped at this width.
const WIDTH: usize = 78;

/// Writes the report for a person. `name` is what the program is called, `source` its text (for the
/// lines quoted), `colour` asks for the colours of an ANSI terminal.
#[must_use]
pub fn render(report: &Report, name: &str, source: &[u8], colour: bool) -> String {
    render_with(report, name, source, colour, "")
}

/// The same with a line in its head that says by what it was judged.
#[must_use]
pub fn render_with(
    report: &Report,
    name: &str,
    source: &[u8],
    colour: bool,
    judged_by: &str,
) -> String {
    let page = Page {
        lines: source_lines(report, source),
        colour,
    };
    let mut out = String::new();
    page.head(&mut out, report, name);
    if !judged_by.is_empty() {
        paragraph(&mut out, "  ", judged_by);
    }
    for group in groups(report) {
        page.group(&mut out, &group);
    }
    page.foot(&mut out, report);
    out
}

/// The lines of a program that findings name: a text of 64 MiB may have as many lines.
fn source_lines<'s>(report: &Report, source: &'s [u8]) -> BTreeMap<u32, &'s [u8]> {
    let wanted: BTreeSet<u32> = report.findings.iter().filter_map(|f| f.line).collect();
    let last = wanted.last().copied().unwrap_or(0);
    let mut next_wanted = wanted.into_iter().peekable();
    let mut lines = BTreeMap::new();
    let mut rest = source.strip_prefix(b"\xef\xbb\xbf").unwrap_or(source);
    for number in 1..=last {
        if rest.is_empty() {
            break;
        }
        let end = rest.iter().position(|&b| b == b'\n' || b == b'\r');
        let at = end.unwrap_or(rest.len());
        if next_wanted.next_if_eq(&number).is_some() {
            lines.insert(number, &rest[..at]);
        }
        let both = rest.get(at..at + 2) == Some(b"\r\n".as_slice());
        let next = at + if both { 2 } else { 1 };
        rest = rest.get(next..).unwrap_or_default();
    }
    lines
}

/// How many findings are not shown, and in which lines.
fn more(out: &mut String, rest: &[&Finding], like: &str) {
    if rest.is_empty() {
        return;
    }
    let mut lines: Vec<u32> = rest.iter().filter_map(|f| f.line).collect();
    lines.dedup();
    let named: Vec<String> = lines.iter().take(NAMED).map(u32::to_string).collect();
    let dots = if lines.len() > NAMED { ", ..." } else { "" };
    let at = match lines.len() {
        0 => String::new(),
        1 => format!(", in line {}", named.join("")),
        _ => format!(", in lines {}{dots}", named.join(", ")),
    };
    let of = match cuts(&all_cuts(rest.iter().copied())) {
        of if of.is_empty() => of,
        of => format!(" ({of})"),
    };
    paragraph(
        out,
        "  ",
        &format!("and {} more{like}{at}{of}", times(rest)),
    );
}

#[derive(Clone, Copy)]
enum Ink {
    Red,
    Yellow,
    Green,
    Faint,
    Bold,
}

struct Page<'a> {
    /// Those that findings name, by their numbers.
    lines: BTreeMap<u32, &'a [u8]>,
    colour: bool,
}

impl Page<'_> {
    fn ink(&self, ink: Ink, text: &str) -> String {
        if !self.colour {
            return text.to_owned();
        }
        let code = match ink {
            Ink::Red => "1;31",
            Ink::Yellow => "1;33",
            Ink::Green => "1;32",
            Ink::Faint => "2",
            Ink::Bold => "1",
        };
        format!("\x1b[{code}m{text}\x1b[0m")
    }

    fn head(&self, out: &mut String, report: &Report, name: &str) {
        let (word, ink) = match report.verdict {
            Verdict::Refused => ("REFUSED", Ink::Red),
            Verdict::Warned => ("WARNED", Ink::Yellow),
            Verdict::Clear => ("CLEAR", Ink::Green),
        };
        let why = match report.verdict {
            Verdict::Refused => bars(report),
            Verdict::Warned => format!(
                "{} to be accepted by a person",
                number(count(report, Severity::Warn), "warning")
            ),
            Verdict::Clear if !report.not_judged.is_empty() => String::new(),
            Verdict::Clear => "nothing stands against cutting it".to_owned(),
        };
        let both = if why.is_empty() { "" } else { ". " };
        let why = format!(
            "{why}{}",
            judged(report).map_or_else(String::new, |j| format!("{both}{j}"))
        );
        let name = printable(name.as_bytes());
        let _ = writeln!(
            out,
            "{}  {}: {why}.",
            self.ink(ink, word),
            self.ink(Ink::Bold, &name)
        );
        let _ = writeln!(out, "  {}", sums(report));
        if let Some(b) = report.bounds {
            let _ = writeln!(
                out,
                "  It covers {} x {} mm: x {} to {}, y {} to {}.",
                mm(b.width()),
                mm(b.height()),
                mm(b.low.x),
                mm(b.high.x),
                mm(b.low.y),
                mm(b.high.y)
            );
        }
    }

    fn group(&self, out: &mut String, group: &[Head<'_>]) {
        let Some(first) = group.first().map(|h| h.finding) else {
            return;
        };
        let (word, ink) = word(first.severity);
        let all: Vec<&Finding> = group.iter().map(|h| h.finding).collect();
        let times = match times(&all) {
            1 => String::new(),
            n => format!("  {n} times"),
        };
        let _ = writeln!(
            out,
            "\n{} {}{times}",
            self.ink(ink, word),
            self.ink(Ink::Bold, &first.rule)
        );
        let alike = alike(&all);
        for kind in alike.iter().take(SHOWN) {
            if let Some((first, rest)) = kind.split_first() {
                self.finding(out, first, ink);
                more(out, rest, " like it");
            }
        }
        let rest: Vec<&Finding> = alike.into_iter().skip(SHOWN).flatten().collect();
        more(out, &rest, "");
        for head in group {
            self.explained(out, &head.explains);
        }
    }

    /// What the finding above explains: each rule in a line.
    fn explained(&self, out: &mut String, explains: &[&Finding]) {
        if explains.is_empty() {
            return;
        }
        let _ = writeln!(
            out,
            "  This explains {}:",
            number(times(explains), "finding")
        );
        let mut rules: Vec<(Severity, &str, Vec<&Finding>)> = Vec::new();
        for &f in explains {
            match rules
                .iter_mut()
                .find(|(s, r, _)| (*s, *r) == (f.severity, f.rule.as_str()))
            {
                Some((_, _, list)) => list.push(f),
                None => rules.push((f.severity, &f.rule, vec![f])),
            }
        }
        for (severity, rule, list) in rules {
            let (word, ink) = word(severity);
            let n = match times(&list) {
                1 => String::new(),
                n => format!(", {n} times"),
            };
            let place = match cuts(&all_cuts(list.iter().copied())) {
                of if !of.is_empty() => format!(", {of}"),
                _ => list
                    .first()
                    .and_then(|f| f.line)
                    .map_or_else(String::new, |l| format!(", line {l}")),
            };
            let _ = writeln!(out, "    {} {rule}{n}{place}", self.ink(ink, word));
        }
    }

    fn finding(&self, out: &mut String, f: &Finding, ink: Ink) {
        let mut place = Vec::new();
        if let Some(line) = f.line {
            place.push(match f.column {
                Some(column) => format!("{line}:{column}"),
                None => format!("line {line}"),
            });
        }
        if !f.cuts.is_empty() {
            place.push(cuts(&f.cuts));
        }
        if let Some(at) = f.at {
            place.push(format!("at x {} y {}", mm(at.x), mm(at.y)));
        }
        if !place.is_empty() {
            let _ = writeln!(out, "  {}", self.ink(Ink::Faint, &place.join(", ")));
        }
        self.quote(out, f, ink);
        paragraph(out, "  ", &f.says);
        paragraph(out, "  > ", &f.remedy);
    }

    /// The line of the program, with a mark under the column.
    fn quote(&self, out: &mut String, f: &Finding, ink: Ink) {
        let text = f.line.and_then(|l| self.lines.get(&l));
        let Some(text) = text else {
            return;
        };
        let whole = printable(text);
        let column = f.column.unwrap_or(0) as usize;
        // Far along a long line the quotation begins near the mark.
        let skip = if column > LINE_WIDTH {
            column - LINE_WIDTH / 2
        } else {
            0
        };
        let shown: String = whole.chars().skip(skip).take(LINE_WIDTH).collect();
        if shown.trim().is_empty() {
            return;
        }
        let before = if skip > 0 { "..." } else { "" };
        let after = if whole.chars().count() > skip + LINE_WIDTH {
            "..."
        } else {
            ""
        };
        let _ = writeln!(out, "    | {before}{shown}{after}");
        if column > skip {
            let pad = " ".repeat(before.len() + column - skip - 1);
            let _ = writeln!(out, "    | {pad}{}", self.ink(ink, "^"));
        }
    }

    fn foot(&self, out: &mut String, report: &Report) {
        let _ = match report.verdict {
            Verdict::Refused => writeln!(out, "\nNot sealed: mend what is refused and vet again."),
            Verdict::Warned => {
                writeln!(
                    out,
                    "\nEach warning wants a reason from a person before the job is sealed."
                )
            }
            Verdict::Clear => Ok(()),
        };
        let rule = report
            .findings
            .first()
            .map_or("RULE|all", |f| f.rule.as_str());
        let _ = writeln!(
            out,
            "\nWhat a rule measures, its limit and an example: standclear vet --explain {rule}"
        );
    }
}

fn word(severity: Severity) -> (&'static str, Ink) {
    match severity {
        Severity::Refuse => ("refused", Ink::Red),
        Severity::Warn => ("warning", Ink::Yellow),
        Severity::Note => ("note", Ink::Faint),
    }
}

fn sums(report: &Report) -> String {
    if report.cuts == 0 {
        return "It cuts nothing.".to_owned();
    }
    let time = report.time_s.map_or_else(String::new, |s| {
        let whole = s.max(0.0).round() as u64;
        format!(", in about {} min {:02} s", whole / 60, whole % 60)
    });
    format!(
        "{} with {}: {} mm of path cut, {} mm between cuts{time}.",
        number(report.cuts, "cut"),
        number(report.pierces, "pierce"),
        mm((report.cut_mm * 10.0).round() / 10.0),
        mm((report.rapid_mm * 10.0).round() / 10.0)
    )
}

fn number(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// Text from outside as it may stand on a terminal: nothing in it can move the cursor.
fn printable(text: &[u8]) -> String {
    String::from_utf8_lossy(text)
        .chars()
        .map(|c| match c {
            '\t' => ' ',
            c if c.is_control() => '\u{b7}',
            // Marks that turn the writing direction, or take no room.
            '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' => '\u{b7}',
            c => c,
        })
        .collect()
}

/// Wraps words; further lines hang under the first.
fn paragraph(out: &mut String, lead: &str, text: &str) {
    let hang = " ".repeat(lead.chars().count());
    let mut line = lead.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            let _ = writeln!(out, "{line}");
            line.clone_from(&hang);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    let _ = writeln!(out, "{line}");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vetting::rules::frame;

    fn page(program: &str) -> String {
        render(
            &frame::report(program),
            "sheet A.nc",
            program.as_bytes(),
            false,
        )
    }

    #[test]
    fn a_clear_program_takes_three_lines() {
        insta::assert_snapshot!(page(frame::PROGRAM));
    }

    #[test]
    fn a_refused_program_says_what_where_and_what_to_do() {
        let program = frame::PROGRAM
            .replace("G1 X100", "G1 X1O0")
            .replace("I-10 J0", "I-10.4 J0")
            .replacen("M3", "M3\nG4 P0.5", 1)
            .replace("M5\nM2", "G0 X0 Y0\nM5");
        insta::assert_snapshot!(page(&program));
    }

    #[test]
    fn many_findings_of_one_rule_stand_under_one_heading() {
        let program = frame::PROGRAM.replacen("M5\n", &"M5\n".repeat(30), 1);
        insta::assert_snapshot!(page(&program));
    }

    #[test]
    fn findings_that_differ_only_in_their_numbers_are_shown_once_with_all_their_lines() {
        // Three holes of 7.0, 7.1 and 7.2 mm in plate of 5 mm, one of 4.8 mm.
        let mut holes = String::new();
        for (k, across) in [(0, 7.0), (1, 7.1), (2, 7.2), (3, 4.8)] {
            let (x, r) = (20.0 + 20.0 * f64::from(k), (across - 1.45) / 2.0);
            holes += &format!(
                "G0 X{x} Y65\nM3\nG1 X{0:.4} F660\nG3 X{0:.4} Y65 I-{r:.4} J0\nM5\n",
                x + r
            );
        }
        let program = frame::PROGRAM.replace("G0 X66", &format!("{holes}G0 X66"));
        insta::assert_snapshot!(page(&program));
        let places = frame::report(&program);
        let places = places
            .findings
            .iter()
            .filter(|f| f.rule == "hole-too-small");
        assert_eq!(places.count(), 4, "each place stays in the report itself");
    }

    #[test]
    fn colour_comes_only_when_asked_for_and_text_from_outside_cannot_bring_any() {
        let program = frame::PROGRAM.replace("G1 X100", "G1 X100 \x1b[31m");
        let report = frame::report(&program);
        let plain = render(&report, "a\x1b[2Jb", program.as_bytes(), false);
        assert!(!plain.contains('\x1b'), "{plain}");
        let coloured = render(&report, "a", program.as_bytes(), true);
        assert!(coloured.contains("\x1b[1;31m") && !coloured.contains("\x1b[31m"));
    }

    #[test]
    fn the_mark_stands_under_the_column_on_long_lines_too() {
        let line = format!("({}) G1 X1O0", "x".repeat(120));
        let text = page(&frame::PROGRAM.replace("G1 X100", &line));
        let rows: Vec<&str> = text.lines().collect();
        let mark = rows
            .iter()
            .position(|r| r.trim_end().ends_with("| ^") || r.contains('^'))
            .expect("a mark");
        let column = rows[mark].find('^').expect("a mark");
        assert_eq!(rows[mark - 1].chars().nth(column), Some('O'), "{text}");
    }
}
