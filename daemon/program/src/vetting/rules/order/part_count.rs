//! The program cuts another number of parts than it says.
//!
//! A count is only believed where its words leave no doubt: a number beside *parts*, *pcs*, *pieces*,
//! *off*, *qty* or *quantity*. Several numbers that disagree say nothing.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::contours::Kind;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "part-count";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a kerf (chart row or setup), and a count in a comment",
    measured: || "The number of closed outlines against the count that the program states.".to_owned(),
    limit: || "They are equal.".to_owned(),
    source: "The program's own comment.",
};

/// Words behind a number that make it a count.
const BEHIND: [&str; 5] = ["parts", "pcs", "pieces", "off", "nos"];
/// Words before a number that make it a count...
const BEFORE: [&str; 2] = ["qty", "quantity"];
/// ... and those that want a colon or an equals sign between.
const TITLE: [&str; 3] = ["parts", "pcs", "pieces"];
/// Words that may stand between a number and its word.
const BETWEEN: [&str; 7] = ["finished", "identical", "equal", "same", "nested", "x", "nr"];
/// `4 off the edge` and `8 parts each` count nothing that can be compared.
const UNSURE: [&str; 14] = [
    "the", "centre", "center", "edge", "from", "each", "per", "of", "left", "more", "to", "other",
    "axis", "every",
];
/// More parts than this are no count, but some other number.
const MOST: usize = 100_000;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let stated: Vec<(usize, u32)> = sheet
        .reading
        .comments
        .iter()
        .flat_map(|c| counts(&c.text).into_iter().map(|n| (n, c.line)))
        .collect();
    let Some(&(count, line)) = stated.first() else {
        return;
    };
    let Some(contours) = not_judged::contours(sheet, findings, NAME) else {
        return;
    };
    let outlines = contours.firsts().filter(|c| c.kind == Kind::Outline).count();
    // A number for each of several parts may be meant to be added up.
    let sum: usize = stated.iter().map(|(n, _)| n).sum();
    let agree = stated.iter().all(|(n, _)| *n == count);
    if !agree || outlines == count || outlines == sum || sheet.reading.cut_list.cuts.is_empty() {
        return;
    }
    findings.warn(NAME, Spot::line(line), || {
        let parts = |n: usize| if n == 1 { "1 part".to_owned() } else { format!("{n} parts") };
        (
            format!(
                "The comment says {}, the program cuts {} closed outline{}.",
                parts(count),
                outlines,
                if outlines == 1 { "" } else { "s" }
            ),
            "Look for a missing, doubled or open outline, or correct the comment.".to_owned(),
        )
    });
}

/// The counts of parts that a comment states.
fn counts(text: &str) -> Vec<usize> {
    let lower = text.to_lowercase();
    let tokens = tokens(&lower);
    let word = |i: usize| tokens.get(i).copied().unwrap_or("");
    let mut found = Vec::new();
    for i in 0..tokens.len() {
        let Some(n) = whole(word(i)) else {
            continue;
        };
        let before = i.checked_sub(1).map_or("", word);
        let title = i.checked_sub(2).map_or("", word);
        let mark = before == ":" || before == "=";
        let named = BEFORE.contains(&before)
            || (mark && (BEFORE.contains(&title) || TITLE.contains(&title)));
        // A list of numbers, a fraction, a size, a range.
        let next = word(i + 1);
        let more = matches!(next, "," | "/" | "*" | "+" | "-" | "mm" | "in" | "%") && named
            || (named && matches!(next, "of" | "x" | "to") && whole(word(i + 2)).is_some());
        let of_many = matches!(before, "of" | "/" | "part" | "sheet" | "-" | "+");
        let mut at = i + 1;
        while BETWEEN.contains(&word(at)) || (word(at) == "-" && word(at + 1) == "off") {
            at += 1;
        }
        let counted = BEHIND.contains(&word(at)) && !UNSURE.contains(&word(at + 1));
        if !of_many && ((named && !more) || counted) && (1..=MOST).contains(&n) {
            found.push(n);
        }
    }
    found
}

/// Words, numbers with their decimals, and single marks.
fn tokens(text: &str) -> Vec<&str> {
    let kind = |c: char| match c {
        c if c.is_ascii_digit() || c == '.' => 1,
        c if c.is_alphabetic() => 2,
        c if c.is_whitespace() => 0,
        _ => 3,
    };
    let mut all = Vec::new();
    let mut start = 0;
    let mut last = 0;
    for (at, c) in text.char_indices() {
        let now = kind(c);
        if now != last || now == 3 {
            if last > 0 {
                all.push(&text[start..at]);
            }
            start = at;
        }
        last = now;
    }
    if last > 0 {
        all.push(&text[start..]);
    }
    // `qty.` and the end of a sentence.
    all.retain(|t| *t != ".");
    all
}

/// A whole number; `6.` is one, `1.5` is none.
fn whole(token: &str) -> Option<usize> {
    token.strip_suffix('.').unwrap_or(token).parse().ok()
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, input, nothing, report_with, setup, PROGRAM};
    use super::*;

    #[test]
    fn a_count_that_differs_from_the_outlines_is_warned() {
        let said = |text: &str| changed("G21 G90", &format!("({text})\nG21 G90"));
        assert_eq!(said("hinge plates, 2 parts"), ["warn part-count 1:- -"]);
        assert_eq!(said("QTY 4"), ["warn part-count 1:- -"]);
        assert_eq!(said("hinge plates, 1 parts"), nothing());
        assert_eq!(said("parts: 1"), nothing());
        assert_eq!(said("bracket"), nothing());
    }

    #[test]
    fn an_outline_left_out_is_found_by_the_count() {
        let two = PROGRAM.replace("M2\n", "G0 X114 Y-8\nM3\nG1 X110 Y0\nG1 Y80\nG1 X180\nG1 Y0\nG1 X110\nG1 Y2\nM5\nM2\n");
        let counted = format!("(2 parts)\n{two}");
        let said = |text: &str| {
            let all = crate::vetting::rules::frame::found(text);
            all.into_iter().filter(|f| f.contains(NAME)).collect::<Vec<_>>()
        };
        assert_eq!(said(&counted), nothing());
        let one = counted.replace("(2 parts)", "(3 off)");
        assert_eq!(said(&one), ["warn part-count 1:- -"]);
    }

    #[test]
    fn numbers_that_disagree_say_nothing_and_several_may_add_up() {
        let said = |text: &str| changed("G21 G90", &format!("{text}\nG21 G90"));
        assert_eq!(said("(40 parts in all)\n(8 parts on this sheet)"), nothing());
        assert_eq!(said("(3 parts)\n(QTY 3)"), ["warn part-count 1:- -"]);
    }

    #[test]
    fn counts_are_read_out_of_comments() {
        for (text, n) in [
            ("sheet C, garden-bed corners: 8 parts 150 x 150 mm", 8),
            ("12 PARTS", 12),
            ("Qty: 4", 4),
            ("QTY=4", 4),
            ("quantity 16 pieces", 16),
            ("6 off", 6),
            ("6-OFF", 6),
            ("parts: 8", 8),
            ("number of parts = 8", 8),
            ("10pcs", 10),
            ("5 finished parts", 5),
        ] {
            assert_eq!(counts(text), [n], "{text}");
        }
        for text in [
            "cut 1: part 5, hole",
            "part 3 of 12",
            "sheet 1 of 2 parts",
            "parts: 1, 2, 5",
            "parts 3-7",
            "4 off the edge",
            "0 parts",
            "1.5 parts",
            "12 mm parts",
            "8 parts each",
            "qty 2 of 8",
            "spare parts",
            "set 40, kerf 1.45",
            "\u{e4}12\u{df}parts",
        ] {
            assert!(counts(text).is_empty(), "{text}");
        }
    }

    #[test]
    fn without_a_kerf_a_stated_count_is_not_judged() {
        let setup = setup();
        let mut input = input(&setup);
        input.kerf_mm = None;
        let told = |text: &str| {
            let all = report_with(&format!("{text}{PROGRAM}"), &input).not_judged;
            all.iter().filter(|r| *r == NAME).count()
        };
        assert_eq!((told("(2 parts)\n"), told("")), (1, 0));
    }
}
