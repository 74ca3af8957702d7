//! Text behind the end of the program: it is not carried out, and perhaps it was meant to be.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "after-end";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse or note",
    needs: "the program alone",
    measured: || "Text behind M2, M30 or the closing %.".to_owned(),
    limit: || {
        "None of it would be cut: refused where it holds motion or torch words, else a note.".to_owned()
    },
    source: "RS-274 as published in NISTIR 6556: nothing behind the end is carried out (from memory).",
};

/// What stands behind the end.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct After {
    /// The word that ends the program stands in this line.
    pub end_line: u32,
    /// The first line with text behind it.
    pub first: Option<Spot>,
    /// The first line with a word that moves or switches the torch.
    pub first_word: Option<Spot>,
    /// So many lines have text.
    pub lines: u32,
    /// So many have such words.
    pub with_words: u32,
}

pub(crate) fn tell(findings: &mut Findings, after: &After) {
    let Some(first) = after.first else {
        return;
    };
    let lines = |n: u32| {
        if n == 1 {
            "1 line".to_owned()
        } else {
            format!("{n} lines")
        }
    };
    let said = format!(
        "The program ends in line {}, and {} of text stand behind it",
        after.end_line,
        lines(after.lines)
    );
    match after.first_word {
        Some(at) => findings.refuse(NAME, at, || {
            (
                format!(
                    "{said}; {} of them hold motion or torch words: two programs in one file, or an end in the wrong place. Nothing behind the end would be cut.",
                    after.with_words
                ),
                "Divide the file, or take the first end word out; delete what is not to be cut."
                    .to_owned(),
            )
        }),
        None => findings.note(NAME, first, || {
            (
                format!("{said}: it is passed over."),
                "Delete it, or put it into comments before the end.".to_owned(),
            )
        }),
    };
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{PROGRAM, changed, found, nothing};

    #[test]
    fn programs_joined_in_one_file_are_refused_at_the_first_word_that_is_dropped() {
        let twice = format!("{PROGRAM}{PROGRAM}");
        // G21 G90 alone does nothing; the second program begins to move in the line behind.
        assert_eq!(found(&twice), ["refuse after-end 18:1 -"]);
        let fenced = format!("%\n{}%\n%\n{PROGRAM}%\n", PROGRAM.replace("M2\n", ""));
        assert_eq!(found(&fenced), ["refuse after-end 20:1 -"]);
        for behind in ["G0 X5", "X5 Y5", "M5", "m3", "N20 G1 Y3 F600", "G2 X0 Y0 I5"] {
            let all = changed("M2\n", &format!("M30\n\n{behind}\n"));
            assert_eq!(all, ["refuse after-end 18:1 -"], "{behind}");
        }
    }

    #[test]
    fn lines_behind_the_end_are_counted_whatever_ends_them() {
        for end in ["\n", "\r\n", "\r"] {
            let text = format!("{PROGRAM}%\n; remark\nG0 X5\n").replace('\n', end);
            assert_eq!(found(&text), ["refuse after-end 19:1 -"], "{end:?}");
        }
    }

    #[test]
    fn other_text_behind_the_end_is_noted() {
        for behind in ["whatever comes", "(a remark)", "S500", "T1"] {
            let all = changed("M2\n", &format!("M2\n{behind}\n"));
            assert_eq!(all, ["note after-end 17:1 -"], "{behind}");
        }
    }

    #[test]
    fn nothing_behind_the_end_but_a_fence_and_empty_lines_passes() {
        for end in ["M2\n%\n", "M30\n\n \n%\n\n", "%\n", "M2 (end)\n"] {
            assert_eq!(changed("M2\n", end), nothing(), "{end}");
        }
    }
}
