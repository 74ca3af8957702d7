//! What the panel says to a person: what happened, why, and what to do. The sentences stand in one file
//! for each language (`english.rs`); the console's copy is written from them (`ui-static/state/catalogue.js`).
//!
//! Trade words; what the machine did; one instruction a sentence; a cause only if it was measured,
//! otherwise "usual", commonest first. No blame.

mod english;

use crate::ask::CheckId;
use crate::cause::{Cause, Detail, Quality};
use crate::resume::Way;
use crate::view::{Step, Waiting};

/// What is said of a cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CauseWords {
    /// Its name in a list.
    pub name: &'static str,
    /// What happened, a sentence of at most eight words.
    pub what: &'static str,
    /// The same on a cut, whose number follows; `None`: no cut is named.
    pub on_cut: Option<&'static str>,
    /// What happened as a clause for the log.
    pub clause: &'static str,
    /// What to do: one instruction a sentence.
    pub remedy: &'static str,
    /// The far word of a hold by it, of eight letters at most; `None`: that of any hold.
    pub far: Option<&'static str>,
}

impl CauseWords {
    const fn on_cut(self, on_cut: &'static str) -> Self {
        Self {
            on_cut: Some(on_cut),
            ..self
        }
    }

    const fn far(self, far: &'static str) -> Self {
        Self {
            far: Some(far),
            ..self
        }
    }
}

/// What is said of a cause by what was measured beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct DetailWords {
    /// What happened, where it is not what the cause says.
    what: Option<&'static str>,
    clause: &'static str,
    remedy: &'static str,
    /// What to do while it may not be safe to go near; `None`: as with any cause.
    from_afar: Option<&'static str>,
}

/// What is said of a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CheckWords {
    /// The condition, as a clause.
    pub says: &'static str,
    /// What to do where it is not true.
    pub remedy: &'static str,
}

/// What is waited for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WaitWords {
    /// For a glass of 10 inches.
    pub long: &'static str,
    /// For one of 7 inches: about 12 letters.
    pub short: &'static str,
}

/// A way on from a stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WayWords {
    /// Its name as a choice.
    pub name: &'static str,
    /// As a clause for the log.
    pub clause: &'static str,
}

/// What is said of a cause.
#[must_use]
pub const fn cause(cause: Cause) -> CauseWords {
    english::cause(cause)
}

/// What is said of a check.
#[must_use]
pub const fn check(check: CheckId) -> CheckWords {
    english::check(check)
}

/// What is waited for.
#[must_use]
pub const fn waiting(what: Waiting) -> WaitWords {
    english::waiting(what)
}

/// A way on from a stop.
#[must_use]
pub const fn way(way: Way) -> WayWords {
    english::way(way)
}

/// The far word of a step of a cut, of eight letters at most.
#[must_use]
pub const fn step(step: Step) -> &'static str {
    english::step(step)
}

/// What happened. `cut`: which one, from 1.
#[must_use]
pub fn what(cause: Cause, cut: Option<usize>) -> String {
    let words = self::cause(cause);
    match (words.on_cut, cut) {
        (Some(on_cut), Some(number)) => format!("{on_cut} {number}."),
        _ => words.what.into(),
    }
}

/// The cause as a clause for the log.
#[must_use]
pub const fn plain(cause: Cause) -> &'static str {
    self::cause(cause).clause
}

/// What to do.
#[must_use]
pub const fn remedy(cause: Cause) -> &'static str {
    self::cause(cause).remedy
}

/// What happened, by what was measured beside the cause.
#[must_use]
pub fn what_of(cause: Cause, detail: Option<Detail>, cut: Option<usize>) -> String {
    let own = detail.and_then(|d| english::detail(d).what);
    own.map_or_else(|| what(cause, cut), Into::into)
}

/// The cause as a clause for the log, by what was measured beside it.
#[must_use]
pub fn plain_of(cause: Cause, detail: Option<Detail>) -> &'static str {
    detail.map_or_else(|| plain(cause), |d| english::detail(d).clause)
}

/// What to do, by what was measured beside the cause (process handbook, await-arc).
#[must_use]
pub fn remedy_of(cause: Cause, detail: Option<Detail>) -> &'static str {
    detail.map_or_else(|| remedy(cause), |d| english::detail(d).remedy)
}

/// What to do now. `near`: it is safe to go near; where it is not, nobody is sent there.
#[must_use]
pub fn remedy_now(cause: Cause, detail: Option<Detail>, near: bool) -> &'static str {
    if near || !cause.facts().is(Quality::AtTorch) {
        return remedy_of(cause, detail);
    }
    detail
        .and_then(|d| english::detail(d).from_afar)
        .unwrap_or(english::FROM_AFAR)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Words that say nothing to a person at a table, or blame.
    const NEVER: [&str; 12] = [
        "error",
        "abort",
        "invalid",
        "exception",
        "timeout",
        "fatal",
        "illegal",
        "failed to",
        "unknown",
        "please",
        "sorry",
        "okay",
    ];

    fn texts(cause: Cause) -> [String; 3] {
        [
            what(cause, Some(12)),
            plain(cause).to_string(),
            remedy(cause).to_string(),
        ]
    }

    #[test]
    fn what_happened_is_told_in_at_most_eight_words() {
        for cause in Cause::ALL {
            for text in [what(cause, None), what(cause, Some(12))] {
                assert!(text.split(' ').count() <= 8, "{text}");
                assert!(text.ends_with('.'), "{text}");
            }
        }
    }

    #[test]
    fn an_instruction_is_one_sentence_of_at_most_twelve_words() {
        for cause in Cause::ALL {
            for sentence in remedy(cause).split_terminator('.') {
                assert!(sentence.split_whitespace().count() <= 12, "{sentence}");
            }
        }
    }

    #[test]
    fn where_it_is_not_safe_to_go_near_nobody_is_sent_there() {
        // Words that only a person at the torch or the sheet can follow.
        let there = [
            "look at the flag",
            "look under",
            "look at the torch",
            "look at nozzle",
            "clean",
            "scrape",
            "seat the torch",
            "free it",
            "tipped",
            "look at the plate",
            "clamp",
        ];
        for cause in Cause::ALL {
            let lower = remedy_now(cause, None, false).to_lowercase();
            for word in there {
                assert!(!lower.contains(word), "{cause}: {lower}");
            }
            assert_eq!(remedy_now(cause, None, true), remedy(cause));
        }
    }

    #[test]
    fn no_text_uses_a_word_that_the_trade_does_not() {
        for cause in Cause::ALL {
            for text in texts(cause) {
                let lower = text.to_lowercase();
                assert!(NEVER.iter().all(|w| !lower.contains(w)), "{text}");
            }
        }
    }
}
