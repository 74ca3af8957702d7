//! A file that opens and holds no program of this language.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "not-a-program";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "Whether the file holds a program of this language at all: no zero bytes, no \
              drawing, no blocks of bare numbers, at least one block that can be read.".to_owned(),
    limit: || format!("{UNREAD} lines and not one that can be read make a file that is no program."),
    source: "The number is invented.",
};

/// How many unreadable lines without one readable make a file that is no program.
const UNREAD: u32 = 3;

fn refuse(findings: &mut Findings, line: u32, says: &str, remedy: &str) {
    findings.refuse(NAME, Spot::line(line), || (says.to_owned(), remedy.to_owned()));
}

/// Looks at the text before it is read. True: it is no program, and that was told.
pub(crate) fn tell(findings: &mut Findings, text: &[u8]) -> bool {
    if text.contains(&0) {
        let says = "The file holds zero bytes: it is binary data, or text in a two-byte code.";
        refuse(findings, 1, says, "Save the program as plain text (ASCII or UTF-8), or choose another file.");
        return true;
    }
    let lines = || {
        text.split(|&b| b == b'\n' || b == b'\r')
            .map(<[u8]>::trim_ascii)
            .zip(1_u32..)
            .filter(|(line, _)| !line.is_empty())
    };
    let Some((first, _)) = lines().next() else {
        refuse(findings, 1, "The file is empty.", "Choose another file.");
        return true;
    };
    if is_drawing(first, lines().nth(1).map(|(line, _)| line)) {
        let says = "The file is a drawing, not a program: it says what the part looks like, not how to cut it.";
        refuse(findings, 1, says, "Make a cutting program from the drawing first.");
        return true;
    }
    let mut blocks = lines().filter(|(line, _)| line.first() != Some(&b'%')).take(12).peekable();
    if let Some(&(_, line)) = blocks.peek() {
        let bare = |line: &[u8]| {
            line.iter().all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'*' | b' ' | b'\t'))
        };
        if blocks.all(|(line, _)| bare(line)) {
            let says = "The lines are numbers without letters: this is another code, not RS-274.";
            refuse(findings, line, says, "Write the program out as RS-274 (G and M words).");
            return true;
        }
    }
    false
}

/// Marks by which drawing files begin.
fn is_drawing(first: &[u8], second: Option<&[u8]>) -> bool {
    first.starts_with(b"<")
        || first.starts_with(b"%PDF")
        || first.starts_with(b"%!PS")
        || first.starts_with(b"ISO-10303")
        || (first == b"0" && second == Some(b"SECTION"))
        || (first == b"999" && second.is_some())
}

/// Judges what reading made of it. True: no program was in it, and that was told.
pub(crate) fn tell_if_nothing_read(
    findings: &mut Findings,
    blocks: u32,
    whole: u32,
    first_bad: u32,
) -> bool {
    if blocks == 0 {
        refuse(findings, 1, "The file holds comments and no block.", "Choose another file.");
        return true;
    }
    if whole == 0 && blocks >= UNREAD {
        *findings = Findings::default();
        findings.refuse(NAME, Spot::line(first_bad), || {
            (
                format!("Not one of {blocks} lines can be read as RS-274, from line {first_bad} on."),
                "Choose a cutting program, or save this one as plain text.".to_owned(),
            )
        });
        return true;
    }
    false
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::found;

    #[test]
    fn files_that_are_no_programs_are_refused_in_one_finding() {
        for text in [
            "",
            "\n \n",
            "(only a comment)\n",
            "G1\0X5\n",
            "  0\nSECTION\n  2\nHEADER\n",
            "<?xml version=\"1.0\"?>\n<svg/>\n",
            "%\n1\n+1000-500\n63\n",
            "Dear reader,\nthis is a letter.\nYours, somebody\n",
        ] {
            let all = found(text);
            assert_eq!(all.len(), 1, "{text:?}: {all:?}");
            assert!(all[0].starts_with("refuse not-a-program"), "{text:?}: {all:?}");
        }
    }

    #[test]
    fn a_program_with_one_bad_line_is_still_a_program() {
        let all = found("garbage here\nG21\nG0 X1 Y1\nM3\nG1 X5 F500\nM5\nM2\n");
        assert!(all.iter().all(|f| !f.contains("not-a-program")), "{all:?}");
    }
}
