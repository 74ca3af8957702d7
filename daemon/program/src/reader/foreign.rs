//! Language of other controllers that turns up in cutting programs: macros, subprograms, exponents.
//! None of it is carried out; each is named as what it is.

use super::codes::name;
use super::number::number;
use crate::reader::codes::CALLS_MACRO;
use crate::reader::codes::Code;
use crate::reader::fault::Fault;
use crate::vetting::rules::reading::unsupported_word;

/// What to do about a macro.
pub(super) const WRITE_OUT: &str = "Write the moves out with plain numbers: whatever has made the program can usually be told to use \
     no macros.";

/// What to do about a subprogram.
pub(super) const NO_SUBPROGRAMS: &str = "Write its blocks out where it is called: whatever has made the program can usually be told to use \
     no subprograms.";

/// G65 to G67 in tenths, and what they do.
pub(super) const CALLS: core::ops::RangeInclusive<u32> = 650..=679;

/// Words that begin a statement of a macro language.
const STATEMENTS: [&str; 17] = [
    "IF",
    "THEN",
    "ELSE",
    "ELSEIF",
    "ENDIF",
    "WHILE",
    "ENDWHILE",
    "DO",
    "END",
    "GOTO",
    "REPEAT",
    "ENDREPEAT",
    "CALL",
    "SUB",
    "ENDSUB",
    "RETURN",
    "LET",
];

/// A call of a macro by G65 to G67: its other letters are arguments and no words.
pub(super) fn macro_call(codes: &[Code]) -> Option<Fault> {
    let code = codes.iter().find(|c| CALLS.contains(&c.tenths))?;
    Some(Fault {
        offset: code.offset,
        rule: unsupported_word::NAME,
        says: format!("{} {CALLS_MACRO}.", name('G', code.tenths)),
        remedy: WRITE_OUT.to_owned(),
    })
}

/// The statement that a line begins with, behind its `N` or `O` number.
pub(super) fn macro_word(line: &[u8]) -> Option<Fault> {
    let mut at = 0;
    let blank = |b: &u8| *b == b' ' || *b == b'\t';
    loop {
        at += line.get(at..)?.iter().take_while(|b| blank(b)).count();
        let numbered = matches!(line.get(at), Some(b'N' | b'n' | b'O' | b'o'))
            && line.get(at + 1).is_some_and(u8::is_ascii_digit);
        if !numbered {
            break;
        }
        at += 1 + line
            .get(at + 1..)?
            .iter()
            .take_while(|b| b.is_ascii_digit())
            .count();
    }
    let letters = line
        .get(at..)?
        .iter()
        .take_while(|b| b.is_ascii_alphabetic())
        .count();
    let word = String::from_utf8_lossy(line.get(at..at + letters)?).to_ascii_uppercase();
    // `DO1` and `END1` carry a number; letters of other words do too, but these two begin none.
    if !STATEMENTS.contains(&word.as_str()) {
        return None;
    }
    let calls = ["CALL", "SUB", "ENDSUB", "RETURN"].contains(&word.as_str());
    let (of, remedy) = match calls {
        true => ("a subprogram", NO_SUBPROGRAMS),
        false => ("a macro", WRITE_OUT),
    };
    Some(Fault {
        offset: at as u32,
        rule: unsupported_word::NAME,
        says: format!("{word} is a statement of {of}; this panel runs none."),
        remedy: remedy.to_owned(),
    })
}

/// An `E` that was read as a word with its number, from `start` to `next`: what it is in words, and
/// what to do.
pub(super) fn exponent(line: &[u8], start: usize, next: usize) -> (String, String) {
    let own = |from: usize, to: usize| {
        let text: Vec<u8> = (line.get(from..to).unwrap_or_default().iter())
            .filter(|b| !b.is_ascii_whitespace())
            .copied()
            .collect();
        String::from_utf8_lossy(&text).into_owned()
    };
    let of_number = |b: &u8| b.is_ascii_digit() || matches!(b, b'.' | b'+' | b'-' | b' ' | b'\t');
    let before = line.get(..start).unwrap_or_default();
    let begins = start - before.iter().rev().take_while(|b| of_number(b)).count();
    let mantissa = own(begins, start);
    // A space between, or a code: E is a word of its own.
    let close = before
        .last()
        .is_some_and(|b| b.is_ascii_digit() || *b == b'.');
    let codes = |b: &u8| matches!(b.to_ascii_uppercase(), b'G' | b'M' | b'N' | b'O');
    let letter = (begins.checked_sub(1).and_then(|i| line.get(i)))
        .filter(|b| b.is_ascii_alphabetic() && close && !codes(b));
    let (Some(letter), false) = (letter, mantissa.is_empty()) else {
        return (
            "E is no word of this language.".to_owned(),
            "Take it out.".to_owned(),
        );
    };
    let letter = char::from(letter.to_ascii_uppercase());
    let power = own(start + 1, next);
    let written = format!("{mantissa}e{power}");
    let value = (written.parse::<f64>().ok())
        .filter(|v| v.abs() < 1e9 && number(power.as_bytes(), 0).is_ok());
    (
        format!(
            "{letter} is written with an exponent ({written}): numbers of this language have none."
        ),
        match value {
            Some(value) => format!("Write the number out: {letter}{value}."),
            None => "Write the number out.".to_owned(),
        },
    )
}

/// An M word that is not of the published language, or is of a controller's own.
pub(super) fn m_word(m: u32) -> (String, &'static str) {
    match m {
        97 | 98 => (
            format!("M{m} calls a subprogram; this panel runs none."),
            NO_SUBPROGRAMS,
        ),
        99 => (
            "M99 returns from a subprogram, or begins the program again; this panel does neither."
                .to_owned(),
            NO_SUBPROGRAMS,
        ),
        _ => (
            format!("M{m} is no word that this panel can carry out."),
            "Take it out; if it is this table's torch word, name it in the machine file.",
        ),
    }
}

#[cfg(test)]
mod tests {
    use crate::{ReadingRules, read};

    /// Rule, words and remedy of the first finding of a line in mid-program.
    fn told(line: &str) -> (String, String, String) {
        let text = format!("G21 G90\nG0 X1\n{line}\nM3\nG1 X9 F500\nM5\nM2\n");
        let reading = read(text.as_bytes(), &ReadingRules::default());
        let first = reading.findings.into_iter().find(|f| f.line == Some(3));
        first.map_or_else(Default::default, |f| (f.rule, f.says, f.remedy))
    }

    #[test]
    fn subprograms_and_macros_are_named_as_such_with_what_can_be_done() {
        for (line, names, remedy) in [
            (
                "M98 P1000 L3",
                "M98 calls a subprogram",
                "Write its blocks out",
            ),
            ("M99", "returns from a subprogram", "Write its blocks out"),
            ("M97 P20", "M97 calls a subprogram", "Write its blocks out"),
            (
                "O1000",
                "O1000 numbers a subprogram, or names the program",
                "take the word out",
            ),
            (
                "O<corner> CALL [5]",
                "names a subprogram",
                "Write its blocks out",
            ),
            (
                "o100 sub",
                "SUB is a statement of a subprogram",
                "Write its blocks out",
            ),
            ("G65 P9010 A5", "G65 calls a macro", "no macros"),
            ("#100=25.4", "belongs to a macro", "no macros"),
            ("G1 X#100", "a macro's parameter", "no macros"),
            (
                "G1 X[5+3]",
                "a macro's parameter or expression",
                "no macros",
            ),
            (
                "IF [#1 LT 5] GOTO 10",
                "IF is a statement of a macro",
                "no macros",
            ),
            (
                "N30 WHILE [#1 LT 5] DO1",
                "WHILE is a statement of a macro",
                "no macros",
            ),
            ("GOTO 30", "GOTO is a statement of a macro", "no macros"),
            ("END1", "END is a statement of a macro", "no macros"),
        ] {
            let (rule, says, what) = told(line);
            assert_eq!(rule, "unsupported-word", "{line}: {says}");
            assert!(says.contains(names), "{line}: {says}");
            assert!(what.contains(remedy), "{line}: {what}");
        }
    }

    #[test]
    fn an_exponent_is_called_an_exponent() {
        for (line, says, remedy) in [
            ("G0 X1e3", "X is written with an exponent (1e3)", "X1000."),
            (
                "G0 Y-1.5E-05",
                "Y is written with an exponent (-1.5e-05)",
                "Y-0.000015.",
            ),
            (
                "G0 X2.5e+1 Y3",
                "X is written with an exponent (2.5e+1)",
                "X25.",
            ),
            (
                "G0 X1e99",
                "X is written with an exponent (1e99)",
                "Write the number out.",
            ),
        ] {
            let (rule, told_says, told_remedy) = told(line);
            assert_eq!(rule, "unreadable-block", "{line}");
            assert!(told_says.contains(says), "{line}: {told_says}");
            assert!(told_remedy.contains(remedy), "{line}: {told_remedy}");
        }
        for line in ["E5", "G0 E5", "G0E5"] {
            let (_, says, _) = told(line);
            assert!(says.contains("no word"), "{line}: {says}");
        }
    }
}
