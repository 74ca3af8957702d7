//! A program as it lies on the sheet, with all that vetting was told: what the rules judge.

pub(crate) mod derived;

use std::sync::OnceLock;

use units::{Bounds, Placement, Point, Segment};

use crate::contours::Contours;
use crate::contours::near::{Near, Pairs};
use crate::cuts::cut_list::{Cut, Element};
use crate::cuts::polylines::Polylines;
use crate::geometry::plane::Placer;
use crate::passage::{Motion, Passage, passages};
use crate::vetting::facts::Facts;
use crate::vetting::on_sheet::derived::Derived;
use crate::watch::Watch;
use crate::{Reading, Setup};

/// What vetting may know besides the program.
#[derive(Clone, Copy, Debug)]
pub struct VetInput<'a> {
    /// What lies on the table.
    pub setup: Option<&'a Setup>,
    /// Travel along X and Y, mm, and where the sheet's corner lies in it.
    pub travel: Point,
    /// The sheet's lower left corner, machine coordinates, mm.
    pub sheet_corner: Point,
    /// Kerf, mm: the chart row's; a kerf in the setup comes before it.
    pub kerf_mm: Option<f64>,
    /// Feed of the chart row, mm/s.
    pub chart_feed_mm_s: Option<f64>,
    /// Traverse height above the sheet, mm.
    pub traverse_height_mm: f64,
    /// Longest line the controller takes, characters.
    pub line_limit: usize,
    /// Why there is no chart row, in words, when there is none.
    pub no_row: Option<&'a str>,
    /// The machine, the chart row and the supplies.
    pub facts: Facts<'a>,
}

/// A reading as it lies on the sheet: what the rules judge.
pub(crate) struct OnSheet<'a> {
    pub reading: &'a Reading,
    pub input: VetInput<'a>,
    /// Program to sheet; leaves things where they are when there is no setup.
    pub placer: Placer,
    pub(super) facts: Vec<(Bounds, f64)>,
    /// What is known of machine, chart row and supplies, where it was worked out only later.
    told: OnceLock<Facts<'a>>,
    flat: OnceLock<Polylines>,
    contours: OnceLock<Option<Contours>>,
    passages: OnceLock<Vec<Option<Passage>>>,
    /// See [`super::webs`].
    pub pairs: OnceLock<Option<Pairs>>,
    pub derived: Derived,
    pub watch: &'a dyn Watch,
}

impl<'a> OnSheet<'a> {
    pub fn new(reading: &'a Reading, input: &VetInput<'a>, watch: &'a dyn Watch) -> Self {
        let mut input = *input;
        input.kerf_mm = input.setup.and_then(|s| s.kerf).or(input.kerf_mm);
        let placement = input.setup.map_or_else(Placement::default, |s| Placement {
            origin: s.origin,
            rotation_deg: s.rotation,
        });
        let placer = Placer::new(&placement);
        let facts = reading
            .cut_list
            .cuts
            .iter()
            .map(|cut| {
                let mut b = Bounds::of(placer.place(cut.pierce));
                let mut length = 0.0;
                for e in &cut.path {
                    b.join(&placer.segment(&e.segment).bounds());
                    length += e.segment.length();
                }
                (b, length)
            })
            .collect();
        Self {
            reading,
            input,
            placer,
            facts,
            told: OnceLock::new(),
            flat: OnceLock::new(),
            contours: OnceLock::new(),
            passages: OnceLock::new(),
            pairs: OnceLock::new(),
            derived: Derived::default(),
            watch,
        }
    }

    /// Tells what is known of machine, chart row and supplies, in place of what the input says. The first word
    /// counts.
    pub fn tell(&self, facts: Facts<'a>) {
        // A second word would be one to rules that have judged by the first.
        let _ = self.told.set(facts);
    }

    /// Whether it was told.
    pub fn was_told(&self) -> bool {
        self.told.get().is_some()
    }

    /// What is known of machine, chart row and supplies.
    pub fn known(&self) -> &Facts<'a> {
        self.told.get().unwrap_or(&self.input.facts)
    }

    /// The cuts with their numbers, from 1.
    pub fn cuts(&self) -> impl Iterator<Item = (&'a Cut, usize)> + use<'a> {
        self.reading.cut_list.cuts.iter().zip(1..)
    }

    /// Every piece of path.
    pub fn elements(&self) -> impl Iterator<Item = &'a Element> + use<'a> {
        self.reading.cut_list.cuts.iter().flat_map(|c| &c.path)
    }

    /// A cut's path as it lies on the sheet, each piece with that of the program.
    pub fn path<'s>(&'s self, cut: &'s Cut) -> impl Iterator<Item = (Segment, &'s Element)> + 's {
        cut.path
            .iter()
            .map(|e| (self.placer.segment(&e.segment), e))
    }

    /// The cuts as straight pieces, worked out when first asked for.
    pub fn flat(&self) -> &Polylines {
        self.flat
            .get_or_init(|| Polylines::new(&self.reading.cut_list, &self.placer))
    }

    /// How each cut is passed: as vetting was told, or worked out when first asked for.
    pub fn passages(&self, motion: &Motion) -> &[Option<Passage>] {
        let own = || {
            let feed = self.input.chart_feed_mm_s;
            passages(&self.reading.cut_list, motion, feed)
        };
        let told = self.known().passages;
        told.unwrap_or_else(|| self.passages.get_or_init(own))
    }

    /// The closed contours, worked out when first asked for; `None`: the kerf is not known.
    pub fn contours(&self) -> Option<&Contours> {
        self.contours
            .get_or_init(|| Some(Contours::new(self.flat(), self.input.kerf_mm?)))
            .as_ref()
    }

    /// All paths in a tree; `None`: the kerf is not known.
    pub fn near(&self) -> Option<Near<'_>> {
        let (flat, contours) = (self.flat(), self.contours()?);
        Some(Near { flat, contours })
    }

    fn fact(&self, number: usize) -> (Bounds, f64) {
        let nowhere = (Bounds::of(Point::default()), 0.0);
        let slot = number.checked_sub(1).and_then(|i| self.facts.get(i));
        slot.copied().unwrap_or(nowhere)
    }

    /// The rectangle round a cut, sheet mm.
    pub fn bounds(&self, number: usize) -> Bounds {
        self.fact(number).0
    }

    /// The length of a cut, mm.
    pub fn length_mm(&self, number: usize) -> f64 {
        self.fact(number).1
    }

    /// The rectangle round all cuts, sheet mm.
    pub fn all_bounds(&self) -> Option<Bounds> {
        let mut all: Option<Bounds> = None;
        for (b, _) in &self.facts {
            all.get_or_insert(*b).join(b);
        }
        all
    }

    /// How far from the sheet's corner the cuts reach, mm.
    pub fn far_mm(&self) -> f64 {
        self.all_bounds().map_or(0.0, |b| {
            [b.low.x, b.low.y, b.high.x, b.high.y]
                .iter()
                .fold(0.0, |far: f64, v| far.max(v.abs()))
        })
    }
}

/// A piece that is loose when all is cut.
#[derive(Clone, Debug, PartialEq)]
pub struct Loose {
    /// The cut that frees it, from 1.
    pub cut: usize,
    /// The middle of the kerf round it, sheet mm.
    pub outline: Vec<Point>,
}
