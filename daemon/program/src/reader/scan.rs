//! One line of text to words: letters with numbers, and where they stand.

use super::foreign;
use super::number::{Bad, BadNumber, Number, number, plain};
use crate::reader::codes::Code;
use crate::reader::fault::Fault;
use crate::vetting::rules::reading::unreadable_block;
use crate::vetting::rules::reading::unsupported_word;

/// Most G words and most M words that one block may hold; more cannot be without a clash.
const MOST_CODES: usize = 16;

/// A word with a number, `G` and `M` apart.
#[derive(Clone, Copy, Debug)]
struct Word {
    number: Number,
    /// Bytes from the line's start.
    offset: u32,
    letter: u8,
}

/// What a line holds besides its words.
#[derive(Debug, Default)]
pub(crate) struct Head {
    /// A bit for each letter.
    present: u32,
    /// Bytes of the first comment: from and to.
    pub comment: Option<(u32, u32)>,
    /// Where a comment is opened that is not closed on the line.
    pub open_comment: Option<u32>,
    /// Begins with `/`.
    pub deleted: bool,
    /// The first thing that is wrong.
    pub fault: Option<Box<Fault>>,
    /// The line stops inside a word or a comment.
    pub cut_short: bool,
}

/// Where the words of some lines are kept: side by side, because they go from one processor's cache to
/// another's, and a slot for every letter of every line (some 900 bytes, few of them used) took longer
/// to pass on than to scan again. Cleared and filled again, so that reading allocates nothing.
#[derive(Debug, Default)]
pub(crate) struct Store {
    words: Vec<Word>,
    g: Vec<Code>,
    m: Vec<Code>,
}

/// Which of a [`Store`]'s words are those of one line.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Share {
    words: (u32, u32),
    g: (u32, u32),
    m: (u32, u32),
}

/// The words of one line. Passed on by reference: a copy made of what has only just been written waits for it.
#[derive(Debug)]
pub(crate) struct Words<'l> {
    pub head: &'l Head,
    words: &'l [Word],
    g: &'l [Code],
    m: &'l [Code],
}

impl Store {
    pub fn clear(&mut self) {
        self.words.clear();
        self.g.clear();
        self.m.clear();
    }

    /// Reads a line (without its end). What is wrong is kept in the head; the words that could be read are
    /// there all the same.
    pub fn scan(&mut self, line: &[u8]) -> (Head, Share) {
        let from = (self.words.len(), self.g.len(), self.m.len());
        let mut scan = Scan {
            store: self,
            head: Head::default(),
            from,
        };
        scan.words(line);
        if scan.head.fault.is_some() {
            let named = foreign::macro_call(scan.g()).or_else(|| foreign::macro_word(line));
            if let Some(named) = named {
                scan.head.fault = Some(Box::new(named));
            }
        }
        let head = scan.head;
        let range = |from: usize, to: usize| (from as u32, to as u32);
        let share = Share {
            words: range(from.0, self.words.len()),
            g: range(from.1, self.g.len()),
            m: range(from.2, self.m.len()),
        };
        (head, share)
    }

    /// The words of a line that was scanned into here.
    pub fn words<'l>(&'l self, head: &'l Head, share: &Share) -> Words<'l> {
        fn of<T>(all: &[T], (from, to): (u32, u32)) -> &[T] {
            all.get(from as usize..to as usize).unwrap_or_default()
        }
        Words {
            head,
            words: of(&self.words, share.words),
            g: of(&self.g, share.g),
            m: of(&self.m, share.m),
        }
    }
}

impl<'l> Words<'l> {
    /// No word at all, `N` apart.
    pub fn is_empty(&self) -> bool {
        self.head.present & !bit(b'N') == 0 && self.g.is_empty() && self.m.is_empty()
    }

    /// Wrong, and without one G or M word that could be made out.
    pub fn is_unread(&self) -> bool {
        self.head.fault.is_some() && self.g.is_empty() && self.m.is_empty()
    }

    pub fn has(&self, letter: u8) -> bool {
        self.head.present & bit(letter) != 0
    }

    pub fn has_any(&self, letters: &[u8]) -> bool {
        letters.iter().any(|&l| self.has(l))
    }

    fn word(&self, letter: u8) -> Option<&Word> {
        if !self.has(letter) {
            return None;
        }
        self.words.iter().find(|w| w.letter == letter)
    }

    pub fn get(&self, letter: u8) -> Option<Number> {
        self.word(letter).map(|w| w.number)
    }

    /// Whether it moves something in the plane or switches the torch.
    pub fn acts(&self, is_torch_word: impl Fn(u32) -> bool) -> bool {
        self.has_any(b"XYIJR")
            || (self.g.iter()).any(|c| matches!(c.tenths, 0 | 10 | 20 | 30))
            || self.m.iter().any(|c| is_torch_word(c.tenths / 10))
    }

    pub fn value(&self, letter: u8) -> Option<f64> {
        self.get(letter).map(|n| n.value)
    }

    /// Where the word stands, bytes from the line's start; 0 without such a word.
    pub fn offset(&self, letter: u8) -> u32 {
        self.word(letter).map_or(0, |w| w.offset)
    }

    pub fn g_codes(&self) -> &'l [Code] {
        self.g
    }

    pub fn m_codes(&self) -> &'l [Code] {
        self.m
    }
}

/// One line on its way into a [`Store`].
struct Scan<'s> {
    store: &'s mut Store,
    head: Head,
    /// What the store held before this line: words, G words, M words.
    from: (usize, usize, usize),
}

impl Scan<'_> {
    fn g(&self) -> &[Code] {
        self.store.g.get(self.from.1..).unwrap_or_default()
    }

    fn fail(&mut self, offset: usize, rule: &'static str, says: String, remedy: &str) {
        if self.head.fault.is_none() {
            self.head.fault = Some(Box::new(Fault {
                offset: offset as u32,
                rule,
                says,
                remedy: remedy.to_owned(),
            }));
        }
    }

    fn unreadable(&mut self, offset: usize, says: String, remedy: &str) {
        self.fail(offset, unreadable_block::NAME, says, remedy);
    }

    fn unsupported(&mut self, offset: usize, says: String, remedy: &str) {
        self.fail(offset, unsupported_word::NAME, says, remedy);
    }

    fn words(&mut self, line: &[u8]) {
        let mut i = 0;
        let mut first = true;
        while let Some(&byte) = line.get(i) {
            match byte {
                b' ' | b'\t' => i += 1,
                b'(' => i = self.comment_from(line, i),
                b';' => {
                    self.keep_comment(i + 1, line.len());
                    return;
                }
                b'/' if first => {
                    self.head.deleted = true;
                    return;
                }
                b'a'..=b'z' | b'A'..=b'Z' => {
                    i = self.word(line, i, byte.to_ascii_uppercase(), first);
                    first = false;
                }
                _ => {
                    i = self.stray(line, i, byte);
                    first = false;
                }
            }
        }
    }

    fn keep_comment(&mut self, from: usize, to: usize) {
        if self.head.comment.is_none() {
            self.head.comment = Some((from as u32, to as u32));
        }
    }

    fn comment_from(&mut self, line: &[u8], open: usize) -> usize {
        for (i, &byte) in line.iter().enumerate().skip(open + 1) {
            match byte {
                b')' => {
                    self.keep_comment(open + 1, i);
                    return i + 1;
                }
                b'(' => self.unreadable(
                    i,
                    "A comment is opened inside a comment.".to_owned(),
                    "Close the first comment with ) or use [ ] inside it.",
                ),
                _ => {}
            }
        }
        self.head.cut_short = true;
        self.keep_comment(open + 1, line.len());
        self.head.open_comment = Some(open as u32);
        line.len()
    }

    fn stray(&mut self, line: &[u8], i: usize, byte: u8) -> usize {
        match byte {
            b'#' | b'[' | b']' | b'=' => {
                self.unsupported(
                    i,
                    format!("\"{}\" belongs to a macro: parameters and expressions, which this panel does not work out.", char::from(byte)),
                    foreign::WRITE_OUT,
                );
                // What follows is an expression: its letters are no words.
                return line.len();
            }
            b'0'..=b'9' | b'+' | b'-' | b'.' => {
                self.unreadable(
                    i,
                    "A number stands here without a letter in front of it.".to_owned(),
                    "Write the letter that it belongs to (such as X or F), or take it out.",
                );
                return number(line, i).map_or_else(|bad| bad.offset.max(i + 1), |(_, next)| next);
            }
            b',' => self.unreadable(
                i,
                "A comma stands in the block: decimals are written with a point.".to_owned(),
                "Write 12.5, not 12,5.",
            ),
            b')' => self.unreadable(
                i,
                "A comment is closed that was not opened.".to_owned(),
                "Open it with ( or take the ) out.",
            ),
            b'/' => self.unreadable(
                i,
                "\"/\" stands in the middle of a block; it may only stand first.".to_owned(),
                "Take it out, or put it at the beginning to leave the block out.",
            ),
            0x21..=0x7e => self.unreadable(
                i,
                format!("\"{}\" is no RS-274.", char::from(byte)),
                "Take it out, or put it into a comment.",
            ),
            _ => self.unreadable(
                i,
                format!("A byte {byte:#04x} that is no RS-274 stands outside a comment."),
                "Take it out, or save the file as plain text.",
            ),
        }
        i + 1
    }

    fn word(&mut self, line: &[u8], start: usize, letter: u8, first: bool) -> usize {
        let (read, next) = match plain(line, start + 1) {
            Some((read, next)) => (read, next),
            None => match number(line, start + 1) {
                Ok((read, next)) => (read, next),
                Err(bad) => return self.bad_number(line, start, letter, &bad),
            },
        };
        if read.value.abs() > LARGEST {
            self.unreadable(
                start,
                format!(
                    "{}{} is beyond any size that can be reckoned with.",
                    char::from(letter),
                    read.value
                ),
                "Write the number that is meant.",
            );
            return next;
        }
        match letter {
            b'G' | b'M' => self.code(start, letter, read),
            b'A' | b'B' | b'C' => self.unsupported(
                start,
                format!("{} moves a rotary axis; this table has X and Y.", char::from(letter)),
                "Write the program for a flat sheet, without rotary axes.",
            ),
            b'O' if first => self.unsupported(
                start,
                format!("O{} numbers a subprogram, or names the program; this panel runs no subprograms.", read.value),
                "If it is only the program's name, take the word out; else write the subprogram's blocks out where they are called.",
            ),
            b'O' => self.unreadable(
                start,
                "The letter O stands where a zero seems to be meant.".to_owned(),
                "Write the digit 0 instead.",
            ),
            b'E' => {
                let (says, remedy) = foreign::exponent(line, start, next);
                self.unreadable(start, says, &remedy);
            }
            b'U' | b'V' | b'W' => self.unreadable(
                start,
                format!("{} is no word of this language.", char::from(letter)),
                "Use X and Y for the path.",
            ),
            _ => {
                if self.head.present & bit(letter) != 0 {
                    self.unreadable(
                        start,
                        format!("{} stands twice in one block.", char::from(letter)),
                        "Keep the one that is meant, or put the other on a line of its own.",
                    );
                } else {
                    self.head.present |= bit(letter);
                    self.store.words.push(Word {
                        number: read,
                        offset: start as u32,
                        letter,
                    });
                }
            }
        }
        next
    }

    fn code(&mut self, start: usize, letter: u8, read: Number) {
        let scaled = read.value * 10.0;
        // Cut off, not `round`: that is a call of the mathematics library where the processor is not asked
        // for more than its least. What is below 0 is no code either way.
        let nearest = f64::from((scaled + 0.5) as u32);
        // Integers count within 0.0001: NISTIR 6556, 3.3.2.1.
        let fits = (scaled - nearest).abs() <= 0.001 && (0.0..100_000.0).contains(&nearest);
        let whole = letter == b'G' || (nearest / 10.0).fract() == 0.0;
        if !fits || !whole {
            self.unreadable(
                start,
                format!("{}{} is no code.", char::from(letter), read.value),
                "Write one of the codes of the language.",
            );
            return;
        }
        let code = Code {
            tenths: nearest as u32,
            offset: start as u32,
        };
        let (list, from) = if letter == b'G' {
            (&mut self.store.g, self.from.1)
        } else {
            (&mut self.store.m, self.from.2)
        };
        if list.len() - from < MOST_CODES {
            list.push(code);
        } else {
            self.unreadable(
                start,
                format!(
                    "More than {MOST_CODES} {} words stand in one block.",
                    char::from(letter)
                ),
                "Split the block into lines.",
            );
        }
    }

    fn bad_number(&mut self, line: &[u8], start: usize, letter: u8, bad: &BadNumber) -> usize {
        let name = char::from(letter);
        match bad.kind {
            Bad::Comma => self.unreadable(
                bad.offset,
                format!("The number of {name} has a decimal comma."),
                "Write decimals with a point: 12.5, not 12,5.",
            ),
            Bad::SecondPoint => self.unreadable(
                bad.offset,
                format!("The number of {name} has a second point."),
                "Keep one point.",
            ),
            Bad::Expression => {
                self.unsupported(
                    bad.offset,
                    format!("{name} takes its number from a macro's parameter or expression, which this panel does not work out."),
                    foreign::WRITE_OUT,
                );
                return line.len();
            }
            Bad::Missing if letter == b'O' && line.get(bad.offset) == Some(&b'<') => {
                self.unsupported(
                    start,
                    "O with a name in < > names a subprogram; this panel runs no subprograms."
                        .to_owned(),
                    foreign::NO_SUBPROGRAMS,
                );
                return line.len();
            }
            Bad::Missing if letter == b'O' => self.unreadable(
                start,
                "The letter O stands where a zero seems to be meant.".to_owned(),
                "Write the digit 0 instead.",
            ),
            Bad::Missing => {
                if bad.offset >= line.len() {
                    self.head.cut_short = true;
                }
                self.unreadable(
                    start,
                    format!("{name} has no number."),
                    "Write its number, or take the letter out.",
                );
            }
        }
        bad.offset.max(start + 1)
    }
}

/// Numbers beyond this (in any unit) are refused, so that nothing downstream can overflow.
const LARGEST: f64 = 1e9;

fn bit(letter: u8) -> u32 {
    1 << (letter - b'A')
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line's own store, head and share.
    struct One(Store, Head, Share);

    fn one(line: &str) -> One {
        let mut store = Store::default();
        // A line before it: its words are not to be taken for this one's.
        store.scan(b"G1 X99 M5 Y98 F97");
        let (head, share) = store.scan(line.as_bytes());
        One(store, head, share)
    }

    impl One {
        fn words(&self) -> Words<'_> {
            self.0.words(&self.1, &self.2)
        }
    }

    #[test]
    fn spaces_and_case_mean_nothing_outside_comments() {
        // NISTIR 6556, 3.3.2: "g0x +0. 12 34y 7" equals "g0 x+0.1234 y7".
        let one = one("g0x +0. 12 34y 7");
        let w = one.words();
        assert!(w.head.fault.is_none());
        assert_eq!(w.g_codes()[0].tenths, 0);
        assert_eq!(w.value(b'X'), Some(0.1234));
        assert_eq!(w.value(b'Y'), Some(7.0));
    }

    #[test]
    fn numbers_are_those_of_the_published_language() {
        // NISTIR 6556, 3.3.2.1: "+.5", "5." and "-0." are numbers, "." is none.
        for (text, value) in [
            ("X+.5", 0.5),
            ("X5.", 5.0),
            ("X-0.", 0.0),
            ("x-12.75", -12.75),
        ] {
            assert_eq!(one(text).words().value(b'X'), Some(value), "{text}");
        }
        for text in [
            "X.", "X-", "X", "X1.2.3", "X+-1", "X1,5", "X1e3", "X1O", "X1O0",
        ] {
            let fault = one(text).1.fault.expect(text);
            assert_eq!(fault.rule, "unreadable-block", "{text}");
        }
    }

    #[test]
    fn an_exponent_is_an_unknown_word_and_not_part_of_the_number() {
        let one = one("X1e3");
        assert_eq!(one.words().value(b'X'), Some(1.0));
        assert_eq!(one.1.fault.map(|f| f.offset), Some(2));
    }

    #[test]
    fn long_numbers_are_as_near_as_a_double_can_be() {
        assert_eq!(
            one("X0.12345678901234567890").words().value(b'X'),
            "0.12345678901234567890".parse().ok()
        );
        assert_eq!(
            one(&format!("X{}", "9".repeat(240)))
                .1
                .fault
                .map(|f| f.offset),
            Some(0)
        );
    }

    #[test]
    fn comments_end_words_and_the_first_is_kept() {
        assert!(one("G1(up (x)X5;tail").1.fault.is_some());
        let one_of = one("M2(end)");
        assert_eq!(one_of.words().m_codes()[0].tenths, 20);
        assert_eq!(one_of.1.comment, Some((3, 6)));
        assert!(one("X1 (open").1.cut_short);
    }
}
