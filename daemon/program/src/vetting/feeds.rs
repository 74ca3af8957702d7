//! Feeds of a program, each told once: a finding for every block with the same feed helps nobody.

use std::collections::BTreeMap;

use crate::report::findings::Spot;
use crate::vetting::on_sheet::OnSheet;

/// The pieces of path with one feed.
#[derive(Clone, Debug)]
pub(crate) struct Feed {
    pub feed_mm_s: f64,
    /// The first of them.
    pub spot: Spot,
    /// In which cuts, from 1.
    pub cuts: Vec<usize>,
}

impl Feed {
    /// `in 3 cuts`, or nothing for one.
    pub fn where_else(&self) -> String {
        match self.cuts.len() {
            0 | 1 => String::new(),
            n => format!(" in {n} cuts"),
        }
    }
}

/// The program's own feeds that `wanted` picks (cut from 1, feed in mm/s), in the order in which they
/// first come. `wanted` is asked once for pieces of one feed that follow each other in a cut: most
/// programs name a feed once.
pub(crate) fn feeds(sheet: &OnSheet<'_>, wanted: impl Fn(usize, f64) -> bool) -> Vec<Feed> {
    let mut found: Vec<Feed> = Vec::new();
    let mut places: BTreeMap<u64, usize> = BTreeMap::new();
    let changes = sheet.derived.feeds.get_or_init(|| changes(sheet));
    let named = changes.iter().filter_map(|&(number, piece)| {
        let e = sheet
            .reading
            .cut_list
            .cuts
            .get(number - 1)?
            .path
            .get(piece)?;
        Some((number, e, e.feed_mm_s?))
    });
    for (number, e, feed_mm_s) in named {
        let bits = feed_mm_s.to_bits();
        if !wanted(number, feed_mm_s) {
            continue;
        }
        let place = *places.entry(bits).or_insert_with(|| {
            found.push(Feed {
                feed_mm_s,
                spot: Spot::element(number, e).at(sheet.placer.place(e.segment.from())),
                cuts: Vec::new(),
            });
            found.len() - 1
        });
        if let Some(f) = found
            .get_mut(place)
            .filter(|f| f.cuts.last() != Some(&number))
        {
            f.cuts.push(number);
        }
    }
    found
}

/// Where a cut's feed is another than before in it: the cut, from 1, and its piece, from 0. Several rules
/// look at feeds; going through all pieces of a long program for each would cost more than all they do.
fn changes(sheet: &OnSheet<'_>) -> Vec<(usize, usize)> {
    let mut all = Vec::new();
    for (cut, number) in sheet.cuts() {
        let mut before = None;
        for (piece, e) in cut.path.iter().enumerate() {
            let bits = e.feed_mm_s.map(f64::to_bits);
            if bits.is_some() && before != bits {
                before = bits;
                all.push((number, piece));
            }
        }
    }
    all
}

/// A feed as the trade writes it, mm/min.
pub(crate) fn mm_min(feed_mm_s: f64) -> String {
    crate::geometry::plane::mm(feed_mm_s * 60.0)
}

/// A time in words, to a second below ten minutes.
pub(crate) fn time(s: f64) -> String {
    if s >= 600.0 {
        return format!("{:.0} min", s / 60.0);
    }
    let s = s.round();
    let (min, s) = ((s / 60.0).floor(), s % 60.0);
    match (min > 0.0, s > 0.0) {
        (true, true) => format!("{min} min {s} s"),
        (true, false) => format!("{min} min"),
        (false, _) => format!("{s} s"),
    }
}
