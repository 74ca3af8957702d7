//! The text of a line: one command.

use units::Point;

/// What a line asks for.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Asked {
    Begin { epoch: u32, every_ms: u64 },
    RapidXy(Point),
    RapidZ(f64),
    LineXy { to: Point, mm_s: f64 },
    FeedZ { z: f64, mm_s: f64 },
    Arc(ArcTo),
    TorchOn,
    TorchOff,
    Sense(bool),
    Touch { z: f64, mm_s: f64 },
    Home,
}

/// An arc from where the path stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct ArcTo {
    pub(crate) clockwise: bool,
    pub(crate) to: Point,
    /// From the start to the centre.
    pub(crate) to_centre: Point,
    pub(crate) mm_s: f64,
}

/// Motion word and feed that a line of path leaves in force for the line of path behind it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct InForce(Option<(String, String)>);

impl InForce {
    /// Nothing is in force: the next line stands by itself or is refused.
    pub(crate) fn end(&mut self) {
        self.0 = None;
    }

    /// The command of a text that may leave out what is in force, or why there is none. What it leaves
    /// in force itself is kept; anything but a line of path ends what was.
    pub(crate) fn hear(&mut self, text: &str) -> Result<Asked, &'static str> {
        let before = self.0.take();
        let mut words: Vec<&str> = text.split(' ').collect();
        if words.first().is_some_and(|w| w.starts_with('X')) {
            let (motion, _) = before.as_ref().ok_or("no motion word is in force")?;
            words.insert(0, motion);
        }
        let of_path = matches!(words.as_slice(), ["G1" | "G2" | "G3", x, ..] if x.starts_with('X'));
        if !of_path {
            return parse(text);
        }
        if words.last().is_none_or(|w| !w.starts_with('F')) {
            let (_, feed) = before.as_ref().ok_or("no feed is in force")?;
            words.push(feed);
        }
        let asked = parse(&words.join(" "))?;
        if let (Some(motion), Some(feed)) = (words.first(), words.last()) {
            self.0 = Some(((*motion).to_owned(), (*feed).to_owned()));
        }
        Ok(asked)
    }
}

/// Splits a body into its number and its text.
pub(crate) fn numbered(body: &str) -> Option<(u32, &str)> {
    let (number, text) = body.split_once(' ')?;
    let plain =
        !number.is_empty() && number.len() <= 9 && number.bytes().all(|b| b.is_ascii_digit());
    plain.then(|| Some((number.parse().ok()?, text))).flatten()
}

/// The command of a text, or why there is none.
pub(crate) fn parse(text: &str) -> Result<Asked, &'static str> {
    let mut words = text.split(' ');
    let first = words.next().unwrap_or("");
    let rest: Vec<&str> = words.collect();
    match (first, rest.as_slice()) {
        ("begin", [epoch, "every", every]) => {
            let (Some(epoch), Some(every)) = (whole(epoch), whole(every)) else {
                return Err("begin wants two whole numbers");
            };
            if !(5..=10_000).contains(&every) {
                return Err("a report every 5 to 10000 ms");
            }
            Ok(Asked::Begin {
                epoch,
                every_ms: u64::from(every),
            })
        }
        ("M3", []) => Ok(Asked::TorchOn),
        ("M5", []) => Ok(Asked::TorchOff),
        ("sense", ["on"]) => Ok(Asked::Sense(true)),
        ("sense", ["off"]) => Ok(Asked::Sense(false)),
        ("home", []) => Ok(Asked::Home),
        ("touch", rest) => {
            let v = values(rest, "ZF")?;
            Ok(Asked::Touch {
                z: v[0],
                mm_s: feed(v[1])?,
            })
        }
        ("G0", [z]) => Ok(Asked::RapidZ(values(&[z], "Z")?[0])),
        ("G0", rest) => {
            let v = values(rest, "XY")?;
            Ok(Asked::RapidXy(Point::new(v[0], v[1])))
        }
        ("G1", [z, f]) => {
            let v = values(&[z, f], "ZF")?;
            Ok(Asked::FeedZ {
                z: v[0],
                mm_s: feed(v[1])?,
            })
        }
        ("G1", rest) => {
            let v = values(rest, "XYF")?;
            Ok(Asked::LineXy {
                to: Point::new(v[0], v[1]),
                mm_s: feed(v[2])?,
            })
        }
        ("G2" | "G3", rest) => {
            let v = values(rest, "XYIJF")?;
            Ok(Asked::Arc(ArcTo {
                clockwise: first == "G2",
                to: Point::new(v[0], v[1]),
                to_centre: Point::new(v[2], v[3]),
                mm_s: feed(v[4])?,
            }))
        }
        _ => Err("no such command"),
    }
}

fn whole(text: &str) -> Option<u32> {
    let plain = (1..=9).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
    plain.then(|| text.parse().ok()).flatten()
}

fn feed(mm_min: f64) -> Result<f64, &'static str> {
    if mm_min > 0.0 {
        Ok(mm_min / 60.0)
    } else {
        Err("a feed above 0")
    }
}

/// Exactly these words, in this order, each with a plain decimal.
fn values(words: &[&str], letters: &str) -> Result<Vec<f64>, &'static str> {
    if words.len() != letters.len() {
        return Err("wrong number of words");
    }
    words
        .iter()
        .zip(letters.chars())
        .map(|(word, letter)| {
            word.strip_prefix(letter)
                .and_then(decimal)
                .ok_or("a word that is not in place or not a number")
        })
        .collect()
}

/// Digits, a point, at most 4 decimals, no exponent.
fn decimal(text: &str) -> Option<f64> {
    let digits = text.strip_prefix('-').unwrap_or(text);
    let (int, frac) = digits.split_once('.').unwrap_or((digits, "0"));
    let all = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    let good =
        (1..=7).contains(&int.len()) && (1..=4).contains(&frac.len()) && all(int) && all(frac);
    good.then(|| text.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_path_may_leave_out_what_the_one_before_left_in_force() {
        let mut force = InForce::default();
        for (short, long) in [
            ("G1 X1 Y2 F600", "G1 X1 Y2 F600"),
            ("X2 Y2", "G1 X2 Y2 F600"),
            ("X2 Y3 F60", "G1 X2 Y3 F60"),
            ("G3 X2 Y3 I1 J0", "G3 X2 Y3 I1 J0 F60"),
            ("X4 Y3 I1 J0", "G3 X4 Y3 I1 J0 F60"),
        ] {
            assert_eq!(force.hear(short), parse(long), "{short}");
        }
        for between in ["M5", "G0 X1 Y1", "G1 Z3 F60", "sense off", "nonsense"] {
            let _ = force.hear("G1 X1 Y2 F600");
            let _ = force.hear(between);
            assert!(force.hear("X2 Y2").is_err(), "after {between}");
            assert!(force.hear("G1 X2 Y2").is_err(), "after {between}");
        }
        let _ = force.hear("G1 X1 Y2 F600");
        assert!(force.hear("X2 Y2 I0").is_err(), "no line of its motion");
    }

    #[test]
    fn commands_are_read_and_anything_else_is_not() {
        assert_eq!(
            parse("begin 7 every 20"),
            Ok(Asked::Begin {
                epoch: 7,
                every_ms: 20
            })
        );
        assert_eq!(
            parse("G3 X1 Y2.5 I-0.1 J0 F600"),
            Ok(Asked::Arc(ArcTo {
                clockwise: false,
                to: Point::new(1.0, 2.5),
                to_centre: Point::new(-0.1, 0.0),
                mm_s: 10.0
            }))
        );
        assert_eq!(
            parse("touch Z3 F300"),
            Ok(Asked::Touch { z: 3.0, mm_s: 5.0 })
        );
        for bad in [
            "",
            "G1 X1 Y2",
            "G1 X1e3 Y0 F1",
            "G0 Y1 X2",
            "G1 X1 Y2 F0",
            "G0  X1 Y2",
            "m3",
            "M3 ",
            "G0 X1.00000 Y2",
            "begin 1",
            "begin -1 every 20",
            "sense",
            "touch Z1",
            "G4 X1 Y1 F1",
            "G0 X+1 Y2",
            "G0 Xinf YNaN",
        ] {
            assert!(parse(bad).is_err(), "{bad:?}");
        }
    }
}
