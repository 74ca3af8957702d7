//! What comments say about sheet and settings. Only what is said plainly counts: a comment is prose,
//! and a warning that was not meant costs more than one that is missing.

use crate::reader::reading::Comment;

/// Metals as comments name them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Metal {
    Steel,
    Stainless,
    Aluminium,
    Copper,
    Brass,
    Titanium,
}

impl Metal {
    /// From one word of a comment.
    fn from_word(word: &str) -> Option<Self> {
        Some(match word {
            "steel" | "mild-steel" | "mildsteel" => Self::Steel,
            "stainless" | "stainless-steel" | "inox" => Self::Stainless,
            "aluminium" | "aluminum" | "alu" => Self::Aluminium,
            "copper" => Self::Copper,
            "brass" => Self::Brass,
            "titanium" => Self::Titanium,
            _ => return None,
        })
    }

    /// From a setup's name of a material.
    pub fn of_setup(material: &str) -> Option<Self> {
        let has = |word: &str| material.contains(word);
        if has("stainless") {
            return Some(Self::Stainless);
        }
        if has("alumin") {
            return Some(Self::Aluminium);
        }
        if has("steel") {
            return Some(Self::Steel);
        }
        material.split('-').find_map(Self::from_word)
    }

    pub fn name(self) -> &'static str {
        match self {
            Self::Steel => "steel",
            Self::Stainless => "stainless",
            Self::Aluminium => "aluminium",
            Self::Copper => "copper",
            Self::Brass => "brass",
            Self::Titanium => "titanium",
        }
    }
}

/// A comment that names a metal with a thickness or a current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Said {
    pub metal: Metal,
    pub thickness_mm: Option<f64>,
    pub amps: Option<f64>,
    pub line: u32,
}

impl Said {
    /// `steel 5 mm 40 A`.
    pub fn words(&self) -> String {
        let mut text = self.metal.name().to_owned();
        if let Some(t) = self.thickness_mm {
            text.push_str(&format!(" {} mm", crate::geometry::plane::mm(t)));
        }
        if let Some(a) = self.amps {
            text.push_str(&format!(" {} A", crate::geometry::plane::mm(a)));
        }
        text
    }

    /// Whether two of them cannot both be meant.
    pub fn contradicts(&self, other: &Self) -> bool {
        let differ = |a: Option<f64>, b: Option<f64>, by: f64| {
            a.zip(b).is_some_and(|(a, b)| (a - b).abs() > by * a.max(b))
        };
        self.metal != other.metal
            || differ(self.thickness_mm, other.thickness_mm, 0.04)
            || differ(self.amps, other.amps, 0.02)
    }
}

#[derive(Clone, Debug, PartialEq)]
enum Token {
    Number(f64),
    Word(String),
    /// Times, in `150 x 90`.
    By,
    /// Plus or minus.
    PlusMinus,
    /// Anything that parts what stands before from what stands behind.
    Break,
}

/// A number followed by this word is a length, and by how many mm.
fn unit_mm(word: &str) -> Option<f64> {
    match word {
        "mm" => Some(1.0),
        "in" | "inch" => Some(25.4),
        _ => None,
    }
}

fn tokens(text: &str) -> Vec<Token> {
    let text = text
        .to_lowercase()
        .replace("+/-", "\u{b1}")
        .replace("+-", "\u{b1}");
    let mut out = Vec::new();
    let mut rest = text.as_str();
    while let Some(c) = rest.chars().next() {
        let end_of = |keep: &dyn Fn(char) -> bool| rest.find(|c| !keep(c)).unwrap_or(rest.len());
        let used = if c.is_ascii_digit() {
            let mut end = end_of(&|c| c.is_ascii_digit() || c == '.' || c == ',');
            // A point or comma behind the number belongs to the sentence.
            while rest[..end].ends_with(['.', ',']) {
                end -= 1;
            }
            out.push(match rest[..end].replace(',', ".").parse() {
                Ok(n) => Token::Number(n),
                Err(_) => Token::Break,
            });
            end
        } else if c.is_alphabetic() {
            let end = end_of(&|c| c.is_alphabetic() || c == '-');
            out.push(match &rest[..end] {
                "x" => Token::By,
                word => Token::Word(word.trim_end_matches('-').to_owned()),
            });
            end
        } else {
            match c {
                '*' | '\u{d7}' => out.push(Token::By),
                '\u{b1}' => out.push(Token::PlusMinus),
                ';' | '/' | '|' => out.push(Token::Break),
                _ => {}
            }
            c.len_utf8()
        };
        rest = &rest[used..];
    }
    out
}

/// Words behind which a length is not that of the sheet.
const OF_OTHER_THINGS: [&str; 16] = [
    "kerf",
    "hole",
    "holes",
    "dia",
    "diameter",
    "radius",
    "r",
    "lead",
    "lead-in",
    "offset",
    "gap",
    "slot",
    "height",
    "pitch",
    "tolerance",
    "tol",
];

/// A thickness stands within so many words of its metal.
const NEAR: usize = 3;

/// What a comment says, if it says it plainly.
pub(crate) fn said(comment: &Comment) -> Option<Said> {
    let tokens = tokens(&comment.text);
    let mut metal: Option<(usize, Metal)> = None;
    for (i, token) in tokens.iter().enumerate() {
        let Token::Word(word) = token else {
            continue;
        };
        let Some(found) = Metal::from_word(word) else {
            continue;
        };
        metal = match metal {
            None => Some((i, found)),
            // "stainless steel" is one metal; two metals are none.
            Some((at, Metal::Stainless)) if found == Metal::Steel && at + 1 == i => {
                Some((i, Metal::Stainless))
            }
            Some((_, before)) if before == found => metal,
            Some(_) => return None,
        };
    }
    let (at, metal) = metal?;
    let near = |i: usize| i.abs_diff(at) <= NEAR + 1;
    let mut thicknesses = Vec::new();
    let mut currents = Vec::new();
    for (i, token) in tokens.iter().enumerate() {
        let (Token::Number(n), Some(Token::Word(unit))) = (token, tokens.get(i + 1)) else {
            continue;
        };
        let before = i.checked_sub(1).and_then(|k| tokens.get(k));
        let of_other = match before {
            Some(Token::By | Token::PlusMinus) => true,
            Some(Token::Word(w)) => OF_OTHER_THINGS.contains(&w.as_str()),
            _ => false,
        };
        let of_other = of_other || tokens.get(i + 2) == Some(&Token::By);
        if let Some(mm) = unit_mm(unit) {
            let t = n * mm;
            if !of_other && near(i) && (0.3..=60.0).contains(&t) {
                thicknesses.push(t);
            }
        } else if matches!(unit.as_str(), "a" | "amp" | "amps" | "ampere" | "amperes")
            && (5.0..=400.0).contains(n)
        {
            currents.push(*n);
        }
    }
    let one = |list: &[f64]| match list {
        [one] => Some(*one),
        _ => None,
    };
    let found = Said {
        metal,
        thickness_mm: one(&thicknesses),
        amps: one(&currents),
        line: comment.line,
    };
    (found.thickness_mm.is_some() || found.amps.is_some()).then_some(found)
}

/// A tolerance that a comment states, mm to either side.
pub(crate) fn tolerance_mm(comment: &Comment) -> Option<f64> {
    let tokens = tokens(&comment.text);
    tokens.iter().enumerate().find_map(|(i, token)| {
        let speaks = match token {
            Token::PlusMinus => true,
            Token::Word(w) => matches!(w.as_str(), "tolerance" | "tol"),
            _ => false,
        };
        let Some(Token::Number(n)) = tokens.get(i + 1).filter(|_| speaks) else {
            return None;
        };
        let unit = match tokens.get(i + 2) {
            Some(Token::Word(w)) => unit_mm(w),
            None | Some(Token::Break) => Some(1.0),
            _ => None,
        };
        unit.map(|mm| n * mm).filter(|t| *t > 0.0 && *t <= 10.0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn comment(text: &str) -> Comment {
        Comment {
            line: 3,
            text: text.to_owned(),
        }
    }

    fn words(text: &str) -> Option<String> {
        said(&comment(text)).map(|s| s.words())
    }

    #[test]
    fn plain_statements_are_read() {
        for (text, expected) in [
            (
                "mild-steel 3 mm, 40 A, kerf 1.33 mm in the numbers",
                "steel 3 mm 40 A",
            ),
            ("sheet A steel 5 mm, set 40, kerf 1.45", "steel 5 mm"),
            ("STAINLESS STEEL 2MM 25A", "stainless 2 mm 25 A"),
            ("3mm aluminium", "aluminium 3 mm"),
            ("material: brass; 30 amps", "brass 30 A"),
            ("mild steel, 1,5 mm.", "steel 1.5 mm"),
            ("1/4 is not read, steel 0.25 in is", "steel 6.35 mm"),
        ] {
            assert_eq!(words(text).as_deref(), Some(expected), "{text}");
        }
    }

    #[test]
    fn what_is_not_said_plainly_is_not_guessed() {
        for text in [
            "8 parts 150 x 150 mm",
            "steel plate 600 x 400 mm",
            "steel or aluminium 3 mm",
            "hole 13 mm in steel",
            "steel",
            "cut 1: part 5, hole",
            "kerf 1.45 mm, steel",
            "keep the steel rule for the table that stands 20 mm off",
            "sheet A",
        ] {
            assert_eq!(words(text), None, "{text}");
        }
        // Two thicknesses are none; the current stands.
        assert_eq!(words("steel 3 mm 4 mm 40 A").as_deref(), Some("steel 40 A"));
    }

    #[test]
    fn tolerances_are_read() {
        for (text, expected) in [
            ("all sizes \u{b1}0.2", Some(0.2)),
            ("+-0.3 mm", Some(0.3)),
            ("+/- 0.01 in", Some(0.254)),
            ("tolerance 0.5 mm", Some(0.5)),
            ("TOL: 0.4", Some(0.4)),
            ("+-5 degrees", None),
            ("tolerance as drawn", None),
            ("3 + 4", None),
        ] {
            assert_eq!(tolerance_mm(&comment(text)), expected, "{text}");
        }
    }
}
