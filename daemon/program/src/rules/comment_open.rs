//! A comment that is not closed on its line: it ends with its line.

use crate::findings::{Findings, Spot};

pub(crate) const NAME: &str = "comment-open";

pub(crate) fn tell(findings: &mut Findings, at: Spot) {
    findings.warn(NAME, at, || {
        (
            "The comment opened here is not closed on its line: it is taken to end with the line, and \
             nothing behind the ( is carried out."
                .to_owned(),
            "Look whether words that are meant to act stand behind it; close it with ) on the same line."
                .to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use super::super::frame::{changed, nothing};

    #[test]
    fn a_comment_without_an_end_ends_with_its_line() {
        assert_eq!(changed("G1 X100", "G1 X100 (top"), ["warn comment-open 12:9 2"]);
        assert_eq!(changed("G1 X100", "(top\nG1 X100"), ["warn comment-open 12:1 2"]);
        assert_eq!(changed("G1 X100", "G1 X100 (top)"), nothing());
        assert_eq!(changed("G1 X100", "G1 X100 ;(top"), nothing());
    }

    #[test]
    fn what_stands_behind_it_is_comment() {
        // The move to the right is lost, and the path with it.
        let all = changed("G1 X100", "(top G1 X100");
        assert!(all.contains(&"warn comment-open 12:1 2".to_owned()), "{all:?}");
        assert!(all.len() > 1, "{all:?}");
    }
}
