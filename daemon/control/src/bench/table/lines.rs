//! The lines of `plain` as the stand-in controller reads them.

use units::{Point, Segment};

#[derive(Clone, Debug)]
pub(super) enum Do {
    Xy(Point, f64),
    Z(f64, f64),
    Path(Segment, f64),
    Torch(bool),
    Sense(bool),
    Touch(f64, f64),
    Home,
}

/// Motion word and feed of the line of path before; none after anything else.
#[derive(Clone, Debug, Default)]
pub(super) struct InForce(Option<(String, String)>);

impl InForce {
    /// A line with what it leaves out.
    pub(super) fn whole(&mut self, text: &str) -> String {
        let before = self.0.take();
        let mut words: Vec<&str> = text.split(' ').collect();
        if let (true, Some((motion, _))) = (words[0].starts_with('X'), &before) {
            words.insert(0, motion);
        }
        let of_path = matches!(words[0], "G1" | "G2" | "G3") && words[1].starts_with('X');
        if !of_path {
            return text.to_owned();
        }
        let last = words[words.len() - 1];
        let feed = match (last.starts_with('F'), &before) {
            (true, _) => last,
            (false, Some((_, feed))) => {
                words.push(feed);
                feed.as_str()
            }
            (false, None) => panic!("no feed is in force: {text:?}"),
        };
        self.0 = Some((words[0].to_owned(), feed.to_owned()));
        words.join(" ")
    }
}

pub(super) fn parse(text: &str, from: Point) -> Do {
    let mut words = text.split(' ');
    let first = words.next().unwrap_or("");
    let mut get = [None; 26];
    for w in words {
        if let (Some(letter), Ok(v)) = (w.chars().next(), w[1..].parse::<f64>())
            && letter.is_ascii_uppercase()
        {
            get[(letter as u8 - b'A') as usize] = Some(v);
        }
    }
    let v = |c: char| get[(c as u8 - b'A') as usize];
    let to = Point::new(v('X').unwrap_or(from.x), v('Y').unwrap_or(from.y));
    let feed = v('F').unwrap_or(600.0) / 60.0;
    match (first, v('Z')) {
        ("G0", Some(z)) => Do::Z(z, 50.0),
        ("G1", Some(z)) => Do::Z(z, feed),
        ("G0", None) => Do::Xy(to, 200.0),
        ("G1", None) => Do::Path(Segment::Line { from, to }, feed),
        ("G2" | "G3", _) => Do::Path(
            Segment::Arc {
                from,
                to,
                centre: from.moved(v('I').unwrap_or(0.0), v('J').unwrap_or(0.0)),
                clockwise: first == "G2",
            },
            feed,
        ),
        ("M3", _) => Do::Torch(true),
        ("M5", _) => Do::Torch(false),
        ("touch", Some(z)) => Do::Touch(z, feed),
        ("home", _) => Do::Home,
        ("sense", _) => Do::Sense(text.ends_with("on")),
        _ => panic!("not plain: {text:?}"),
    }
}
