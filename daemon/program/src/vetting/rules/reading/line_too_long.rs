//! A line beyond what the language allows, or beyond what the controller takes once it is sent.

use crate::vetting::rules::page::Page;
use units::Segment;

use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "line-too-long";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program; the controller's own limit from the machine file",
    measured: || "The characters of each line, and of the block as it would be sent.".to_owned(),
    limit: || format!("{LONGEST} characters, and the longest line that the controller takes."),
    source: "RS-274 as published in NISTIR 6556, 3.3.1: 256 characters.",
};

/// NISTIR 6556, 3.3.1: a line has at most 256 characters.
pub(crate) const LONGEST: usize = 256;

pub(crate) fn tell_if_long(findings: &mut Findings, line: u32, text: &[u8]) {
    if text.len() <= LONGEST {
        return;
    }
    // A character of several bytes counts once.
    let length = text.iter().filter(|&&b| b & 0xc0 != 0x80).count();
    if length <= LONGEST {
        return;
    }
    let spot = Spot {
        column: LONGEST as u32 + 1,
        ..Spot::line(line)
    };
    findings.refuse(NAME, spot, || {
        (
            format!("The line has {length} characters; the language allows {LONGEST}."),
            "Split the line, or shorten its comment.".to_owned(),
        )
    });
}

/// The line that the controller would be sent: four decimals, one for the feed.
pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let limit = sheet.input.line_limit;
    // No line is longer than this with coordinates below 1,000,000 mm.
    const NEVER_LONGER: usize = 64;
    if limit >= NEVER_LONGER && sheet.far_mm() < 1e5 {
        return;
    }
    for (cut, number) in sheet.cuts() {
        for e in &cut.path {
            let length = sent_length(&sheet.placer.segment(&e.segment), e.feed_mm_s);
            if length > limit {
                let spot = Spot::element(number, e).at(sheet.placer.place(e.segment.from()));
                findings.refuse(NAME, spot, || {
                    (
                        format!("This block would be sent as {length} characters; the controller takes {limit}."),
                        "Use a dialect with longer lines.".to_owned(),
                    )
                });
            }
        }
    }
}

fn sent_length(segment: &Segment, feed_mm_s: Option<f64>) -> usize {
    let (from, to) = (segment.from(), segment.to());
    let feed = feed_mm_s.map_or(0, |f| format!("F{:.1}", f * 60.0).len() + 1);
    let text = match segment {
        Segment::Line { .. } => format!("G1 X{:.4} Y{:.4}", to.x, to.y),
        Segment::Arc { centre, .. } => format!(
            "G2 X{:.4} Y{:.4} I{:.4} J{:.4}",
            to.x,
            to.y,
            centre.x - from.x,
            centre.y - from.y
        ),
    };
    text.len() + feed
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn a_line_may_have_256_characters_and_no_more() {
        let line = |n: usize| format!("M5 ({})", "x".repeat(n - 5));
        assert_eq!(changed("M5", &line(256)), nothing());
        assert_eq!(changed("M5", &line(257)), ["refuse line-too-long 6:257 -"]);
    }

    #[test]
    fn a_block_that_the_controller_cannot_take_is_refused() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        // The arc, and not the lines: G2 X110.0000 Y100.0000 I-10.0000 J0.0000 F660.0
        input.line_limit = 46;
        let all = frame::brief(&frame::report_with(frame::PROGRAM, &input));
        assert_eq!(all, ["refuse line-too-long 5:1 1"]);
        input.line_limit = 47;
        let all = frame::brief(&frame::report_with(frame::PROGRAM, &input));
        assert_eq!(all, nothing());
    }
}
