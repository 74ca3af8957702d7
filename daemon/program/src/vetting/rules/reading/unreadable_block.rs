//! A block that is not RS-274. The scanner and the modal state find it; here are its name, the
//! words about fences and the tests.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};

pub(crate) const NAME: &str = "unreadable-block";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program alone",
    measured: || "Every block against the grammar of the language: letters, numbers, one word of a \
              modal group in a block, no word twice.".to_owned(),
    limit: || "A block means one thing, or it is refused.".to_owned(),
    source: "RS-274 as published in NISTIR 6556, 3.3 to 3.5.",
};

pub(crate) fn words_behind_fence(findings: &mut Findings, line: u32, column: u32) {
    let spot = Spot {
        column,
        ..Spot::line(line)
    };
    findings.refuse(NAME, spot, || {
        (
            "Words stand behind % on its line.".to_owned(),
            "Put % on a line of its own.".to_owned(),
        )
    });
}

pub(crate) fn fence_in_the_middle(findings: &mut Findings, line: u32) {
    let spot = Spot {
        column: 1,
        ..Spot::line(line)
    };
    findings.refuse(NAME, spot, || {
        (
            "% stands in the middle: some controllers begin here, others end here.".to_owned(),
            "Delete the %, or delete what is not to be cut.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, found, nothing};

    #[test]
    fn each_way_of_being_unreadable_is_found_where_it_stands() {
        for (from, to, expected) in [
            ("G1 X100", "G1 X1O0", "12:6 2"),
            ("G1 X100", "G1 X10O", "12:7 2"),
            ("G1 X100", "G1 X100,0", "12:8 2"),
            ("G1 X100", "G1 X1e2", "12:6 2"),
            ("G1 X100", "G1 X", "12:4 2"),
            ("G1 X100", "G1 X100 X100", "12:9 2"),
            ("G1 X100", "G1 G0 X100", "12:4 2"),
            ("G1 X100", "G1 X100 top)", "12:9 2"),
            ("G1 X100", "G1 X100 U5", "12:9 2"),
            ("G1 X100", "G1 X100 I5", "12:9 2"),
            ("G1 X100", "12 G1 X100", "12:1 2"),
            ("G1 X100", "G1 X100 / 2", "12:9 2"),
            ("G1 X100", "G1 X100 F-5", "12:9 2"),
            ("G1 X100", "G1 X100 \u{00a0}", "12:9 2"),
            ("M5", "M5 M3", "6:4 1"),
            ("M5", "M5\nG4", "7:1 -"),
            ("M5", "M5\nG4 P-1", "7:4 -"),
            ("M5", "M5\nG92", "7:1 -"),
            ("M5", "M5\nG92 G0 X5", "7:1 -"),
            ("M5", "M5\nG0 G28", "7:1 -"),
            ("M5", "M5 T-1", "6:4 1"),
            ("M5", "M5\nG80\nX5", "8:1 -"),
        ] {
            let all = changed(from, to);
            assert!(
                all.iter().any(|f| *f == format!("refuse unreadable-block {expected}")),
                "{to}: {all:?}"
            );
            assert!(
                all.iter().all(|f| f.contains("unreadable-block") || !f.starts_with("refuse")),
                "{to}: {all:?}"
            );
        }
    }

    #[test]
    fn the_column_counts_characters_and_not_bytes() {
        let all = changed("G1 X100", "(\u{00e4}\u{00f6}) G1 X1O0");
        assert_eq!(all, ["refuse unreadable-block 12:11 2"]);
    }

    #[test]
    fn untidy_blocks_that_mean_one_thing_pass() {
        for (from, to) in [
            ("G1 X100", "  g 0 1 x + 1 0 0 . (top) ; end"),
            ("G1 X100", "N120 X100"),
            ("G1 X100", "G1\tX100\r"),
            ("G1 X0", "G1 X-0."),
        ] {
            assert_eq!(changed(from, to), nothing(), "{to}");
        }
    }

    #[test]
    fn a_percent_in_the_middle_is_refused_and_one_at_the_end_is_not() {
        let middle = changed("M5\n", "M5\n%\n");
        assert_eq!(middle, ["refuse unreadable-block 7:1 -"]);
        assert_eq!(changed("M2\n", "%\n\n"), nothing());
        let behind = found(&format!("% 7\n{}", crate::vetting::rules::frame::PROGRAM));
        assert_eq!(behind, ["refuse unreadable-block 1:2 -"]);
    }
}
