//! Lines written as templates: words with fields in braces, `G1 X{x} F{feed}`.

/// What a field is filled with.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Value<'a> {
    /// Bytes as they are.
    Text(&'a str),
    /// A whole number.
    Whole(u64),
    /// A measure, with so many decimals unless the field says otherwise.
    Measure(f64, usize),
}

/// How a field is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Shape {
    /// Least number of digits of a whole number, filled with zeros.
    width: usize,
    /// `X` or `x`: hexadecimal.
    hex: Option<bool>,
    /// Exactly so many decimals.
    decimals: Option<usize>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Piece {
    Words(String),
    Field { name: String, shape: Shape },
}

/// A line with fields.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Template {
    pieces: Vec<Piece>,
    /// For each word the group of which it stays in force; empty: it is no line of path.
    pub groups: Vec<Option<usize>>,
}

/// What is wrong with a template.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct BadTemplate {
    pub says: String,
    pub remedy: String,
}

impl Template {
    /// Reads a template that may use these fields.
    pub fn parse(text: &str, fields: &[&str]) -> Result<Self, BadTemplate> {
        let bad = |says: String, remedy: &str| BadTemplate {
            says,
            remedy: remedy.to_owned(),
        };
        let mut pieces = Vec::new();
        let mut words = String::new();
        let mut rest = text;
        while let Some(at) = rest.find(['{', '}']) {
            words.push_str(&rest[..at]);
            let tail = &rest[at..];
            if tail.starts_with("{{") || tail.starts_with("}}") {
                words.push_str(&tail[..1]);
                rest = &tail[2..];
                continue;
            }
            if tail.starts_with('}') {
                return Err(bad(
                    "a } that closes nothing".into(),
                    "write }} for the character itself",
                ));
            }
            let Some(close) = tail.find('}') else {
                return Err(bad(
                    "a { that is never closed".into(),
                    "close the field with }, or write {{ for the character itself",
                ));
            };
            let inside = &tail[1..close];
            let (name, shape) = inside.split_once(':').unwrap_or((inside, ""));
            if !fields.contains(&name) {
                return Err(bad(
                    format!("no field {{{name}}} here"),
                    &format!("use {}", list(fields)),
                ));
            }
            let Some(shape) = Shape::parse(shape) else {
                return Err(bad(
                    format!("\"{shape}\" is no way to write {{{name}}}"),
                    "write :04X for four hexadecimal digits, :03 for three digits, :.3 for exactly three decimals",
                ));
            };
            if !words.is_empty() {
                pieces.push(Piece::Words(core::mem::take(&mut words)));
            }
            pieces.push(Piece::Field {
                name: name.to_owned(),
                shape,
            });
            rest = &tail[close + 1..];
        }
        words.push_str(rest);
        if !words.is_empty() {
            pieces.push(Piece::Words(words));
        }
        Ok(Self {
            pieces,
            groups: Vec::new(),
        })
    }

    /// Whether it has this field.
    pub fn has(&self, field: &str) -> bool {
        self.pieces
            .iter()
            .any(|p| matches!(p, Piece::Field { name, .. } if name == field))
    }

    /// The words between the fields.
    pub fn words(&self) -> impl Iterator<Item = &str> {
        self.pieces.iter().filter_map(|p| match p {
            Piece::Words(words) => Some(words.as_str()),
            Piece::Field { .. } => None,
        })
    }

    /// Filled in; `None` if a field has no value or one that cannot be written (not finite).
    pub fn fill<'a>(&self, value: impl Fn(&str) -> Option<Value<'a>>) -> Option<String> {
        let mut out = String::new();
        for piece in &self.pieces {
            match piece {
                Piece::Words(words) => out.push_str(words),
                Piece::Field { name, shape } => shape.write(&mut out, value(name)?)?,
            }
        }
        Some(out)
    }

    /// A pattern for what it can look like, whose one group is the field `body`.
    pub fn pattern(&self) -> String {
        let mut out = String::from("(?s)^");
        for piece in &self.pieces {
            match piece {
                Piece::Words(words) => out.push_str(&regex::escape(words)),
                Piece::Field { name, .. } if name == "body" => out.push_str("(?<body>.*)"),
                Piece::Field { .. } => out.push_str("[0-9A-Fa-f]+?"),
            }
        }
        out.push('$');
        out
    }
}

impl Shape {
    fn parse(text: &str) -> Option<Self> {
        let mut shape = Self::default();
        if text.is_empty() {
            return Some(shape);
        }
        if let Some(decimals) = text.strip_prefix('.') {
            shape.decimals = Some(decimals.parse().ok().filter(|d| *d <= 9)?);
            return Some(shape);
        }
        let digits = text.trim_end_matches(['X', 'x']);
        shape.hex = match &text[digits.len()..] {
            "" => None,
            "X" => Some(true),
            "x" => Some(false),
            _ => return None,
        };
        if !digits.is_empty() {
            shape.width = digits.parse().ok().filter(|w| *w <= 16)?;
        }
        Some(shape)
    }

    fn write(&self, out: &mut String, value: Value<'_>) -> Option<()> {
        let width = self.width;
        match value {
            Value::Text(text) => out.push_str(text),
            Value::Whole(n) => out.push_str(&match self.hex {
                Some(true) => format!("{n:0width$X}"),
                Some(false) => format!("{n:0width$x}"),
                None => format!("{n:0width$}"),
            }),
            Value::Measure(n, decimals) => {
                if !n.is_finite() || n.abs() >= 1e9 {
                    return None;
                }
                out.push_str(&match self.decimals {
                    Some(exactly) => unsigned_zero(format!("{n:.exactly$}")),
                    None => measure(n, decimals),
                });
            }
        }
        Some(())
    }
}

/// A number with at most so many decimals, without idle zeros.
pub(crate) fn measure(n: f64, decimals: usize) -> String {
    let text = format!("{n:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    };
    unsigned_zero(text)
}

/// `-0.00` is `0.00`.
fn unsigned_zero(text: String) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| b == b'0' || b == b'.') => rest.to_owned(),
        _ => text,
    }
}

fn list(fields: &[&str]) -> String {
    let names: Vec<String> = fields.iter().map(|f| format!("{{{f}}}")).collect();
    match names.split_last() {
        None => "no field at all".to_owned(),
        Some((one, [])) => one.clone(),
        Some((last, others)) => format!("{} or {last}", others.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_written_short_and_without_a_negative_zero() {
        assert_eq!(measure(12.5, 4), "12.5");
        assert_eq!(measure(100.0, 4), "100");
        assert_eq!(measure(-0.000_01, 4), "0");
        assert_eq!(measure(-7.123_46, 4), "-7.1235");
        assert_eq!(measure(1100.0, 0), "1100");
    }

    #[test]
    fn fields_are_filled_and_braces_can_be_written() {
        let t = Template::parse("{{{n:03X}}} {x:.2}", &["n", "x"]).expect("a good template");
        let filled = t.fill(|name| match name {
            "n" => Some(Value::Whole(255)),
            _ => Some(Value::Measure(-0.001, 4)),
        });
        assert_eq!(filled.as_deref(), Some("{0FF} 0.00"));
    }

    #[test]
    fn an_unknown_field_is_named_and_the_known_ones_listed() {
        let e = Template::parse("G1 X{x} Q{q}", &["x", "y"]).expect_err("q is not a field");
        assert_eq!(e.says, "no field {q} here");
        assert_eq!(e.remedy, "use {x} or {y}");
    }

    #[test]
    fn what_cannot_be_written_gives_nothing() {
        let t = Template::parse("{x}", &["x"]).expect("a good template");
        assert_eq!(t.fill(|_| Some(Value::Measure(f64::NAN, 3))), None);
    }
}
