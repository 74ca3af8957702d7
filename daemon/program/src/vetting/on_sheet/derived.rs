//! What several rules need of the sheet, worked out once and only when asked for.

use std::sync::OnceLock;

use units::{Bounds, Point};

use crate::geometry::plane::nearest_part;
use crate::geometry::tree::Tree;
use crate::report::findings::Spot;
use crate::sheet::kerfs::{Kerfs, Nearby};
use crate::sheet::pieces::grid::PIERCE_MORE;
use crate::sheet::pieces::strand::{NEVER, Tick};
use crate::sheet::pieces::{MapInput, PieceMap, Wide};
use crate::vetting::on_sheet::{Loose, OnSheet};

/// A stretch of path that lies in the kerf of earlier cuts.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stretch {
    /// Which cut's path, from 1.
    pub cut: usize,
    pub from_mm: f64,
    pub to_mm: f64,
    /// When the metal at its beginning was cut away.
    pub tick: Tick,
}

/// Where a contour's cut is pierced.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pierce {
    /// Sheet mm.
    pub at: Point,
    /// From the closed path, mm; the finished edge lies half a kerf further on.
    pub off_mm: f64,
    /// On the side of the contour that is kept.
    pub on_part: bool,
}

/// Where the lead-in meets the contour.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Joint {
    /// Along the cut, mm.
    pub at_mm: f64,
    /// How far the end passes it, mm.
    pub overlap_mm: f64,
}

/// The way from the pierce of a contour to it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lead {
    pub pierce: Pierce,
    pub joint: Joint,
}

/// See [`OnSheet`].
#[derive(Default)]
pub(crate) struct Derived {
    pieces: OnceLock<Option<PieceMap>>,
    kerfs: OnceLock<Kerfs>,
    wide: OnceLock<Option<Wide>>,
    stretches: OnceLock<Vec<Stretch>>,
    /// By cut: see [`crate::vetting::rules::order::pierce_in_void`].
    pub metal: OnceLock<Vec<Option<f64>>>,
    /// See [`crate::vetting::feeds`].
    pub feeds: OnceLock<Vec<(usize, usize)>>,
    /// By contour: see [`crate::vetting::lead`].
    pub leads: OnceLock<Vec<Lead>>,
    /// The edges of all used areas, and the index of them.
    used: OnceLock<(Vec<(Point, Point)>, Tree)>,
}

impl OnSheet<'_> {
    /// The sheet through all cuts; `None`: the sheet or the kerf is not known, or there is more path
    /// than any sheet takes.
    pub fn pieces(&self) -> Option<&PieceMap> {
        let make = || PieceMap::new(&self.map_input()?);
        self.derived.pieces.get_or_init(make).as_ref()
    }

    fn map_input(&self) -> Option<MapInput<'_>> {
        let setup = self.input.setup?;
        Some(MapInput {
            flat: self.flat(),
            sheet: setup.sheet,
            kerf_mm: self.input.kerf_mm?,
            used: &setup.used,
            clamp: setup.clamp,
            slats: self.known().slats,
            watch: self.watch,
        })
    }

    /// The outlines of the pieces that are loose in the end.
    pub fn loose(&self) -> Vec<Loose> {
        let (Some(map), Some(contours)) = (self.pieces(), self.contours()) else {
            return Vec::new();
        };
        let outline = |piece: crate::sheet::pieces::Piece| {
            let cut = piece.freed_by?;
            let contour = contours.of_cut(cut - 1)?;
            contour.contains(piece.inside).then(|| Loose {
                cut,
                outline: contour.points.clone(),
            })
        };
        map.pieces().into_iter().filter_map(outline).collect()
    }

    /// The sheet through all cuts, for whoever asks later.
    pub fn into_pieces(self) -> Option<PieceMap> {
        self.pieces();
        self.derived.pieces.into_inner().flatten()
    }

    /// Where the sheet is at least so wide between the clamp and a place.
    pub fn strait(&self, wide_mm: f64) -> Option<&Wide> {
        let make = || Wide::new(&self.map_input()?, &self.pieces()?.strands, wide_mm);
        self.derived.wide.get_or_init(make).as_ref()
    }

    /// The distance of a place from the nearest path among the first `before` strands, if it is
    /// less than `radius`, mm; half a kerf less is its distance from removed metal, as a pierce, whose
    /// hole is wider, counts as nearer by the difference.
    pub fn kerf_distance(&self, p: Point, radius: f64, before: u32) -> Option<f64> {
        let map = self.pieces()?;
        self.kerfs(map)
            .distance((self.flat(), &map.strands), p, radius, before)
    }

    /// Whether one of the first `before` strands comes nearer than `radius` mm to a place, a pierce
    /// counting as in [`OnSheet::kerf_distance`].
    pub fn kerf_within(&self, p: Point, radius: f64, before: u32) -> bool {
        self.pieces().is_some_and(|map| {
            self.kerfs(map)
                .is_near((self.flat(), &map.strands), p, radius, before)
        })
    }

    /// The pieces of path among the first `before` strands that come nearer than `radius` mm to a place;
    /// `None`: more than `most`.
    pub fn kerfs_nearby(
        &self,
        p: Point,
        radius: f64,
        (before, most): (u32, usize),
    ) -> Option<Nearby> {
        let map = self.pieces()?;
        let of = (self.flat(), &map.strands);
        self.kerfs(map).nearby(of, p, radius, (before, most))
    }

    fn kerfs(&self, map: &PieceMap) -> &Kerfs {
        let pierce_mm = PIERCE_MORE * self.input.kerf_mm.unwrap_or(0.0);
        let make = || Kerfs::new(self.flat(), &map.strands, pierce_mm);
        self.derived.kerfs.get_or_init(make)
    }

    /// The distance of a place from the edge of the nearest used area, if it is less than `radius`,
    /// mm.
    pub fn used_distance(&self, p: Point, radius: f64) -> Option<f64> {
        let make = || {
            let used = self.input.setup.map_or(&[][..], |s| &s.used);
            let edges = |o: &Vec<Point>| {
                let next: Vec<Point> = o.iter().copied().cycle().skip(1).take(o.len()).collect();
                o.clone().into_iter().zip(next)
            };
            let all: Vec<(Point, Point)> = used.iter().flat_map(edges).collect();
            let span = |(a, b): &(Point, Point)| {
                let mut bounds = Bounds::of(*a);
                bounds.add(*b);
                bounds
            };
            let tree = Tree::new(all.iter().map(span));
            (all, tree)
        };
        let (edges, tree) = self.derived.used.get_or_init(make);
        tree.nearest(p, radius, u32::MAX, |k| {
            let (a, b) = edges[k as usize];
            a.toward(b, nearest_part(a, b, p)).distance(p)
        })
    }

    /// Where a cut (from 1) runs in the kerf of earlier cuts.
    pub fn over_old_kerf(&self, number: usize) -> impl Iterator<Item = &Stretch> {
        let all = self.derived.stretches.get_or_init(|| self.stretches());
        let first = all.partition_point(|s| s.cut < number);
        all[first..].iter().take_while(move |s| s.cut == number)
    }

    fn stretches(&self) -> Vec<Stretch> {
        let mut all = Vec::new();
        let (Some(map), Some(kerf)) = (self.pieces(), self.input.kerf_mm) else {
            return all;
        };
        for (_, cut) in self.cuts() {
            let line = self.flat().line(cut - 1);
            let start = map.strands.start(cut - 1);
            let n = (line.length() / (kerf / 2.0)).ceil().clamp(1.0, 2e6) as u32;
            let mut open: Option<Stretch> = None;
            let mut walk = line.walk();
            for k in 0..=n {
                let s = line.length() * f64::from(k) / f64::from(n);
                let old = map
                    .gone_at(walk.at(s))
                    .filter(|t| *t < start && *t != NEVER);
                match (old, &mut open) {
                    (Some(tick), None) => {
                        open = Some(Stretch {
                            cut,
                            from_mm: s,
                            to_mm: s,
                            tick,
                        });
                    }
                    (Some(_), Some(stretch)) => stretch.to_mm = s,
                    (None, _) => all.extend(open.take()),
                }
            }
            all.extend(open);
        }
        all
    }

    /// The torch on of a cut (from 1).
    pub fn torch_on(&self, number: usize) -> Spot {
        let cut = number
            .checked_sub(1)
            .and_then(|k| self.reading.cut_list.cuts.get(k));
        cut.map_or_else(Spot::default, |cut| {
            Spot::torch_on(number, cut).at(self.placer.place(cut.pierce))
        })
    }

    /// A place along a cut (from 1): the element that leads there, and where it is on the sheet.
    pub fn spot_at(&self, number: usize, mm: f64) -> Spot {
        let Some(cut) = number
            .checked_sub(1)
            .and_then(|k| self.reading.cut_list.cuts.get(k))
        else {
            return Spot::default();
        };
        let line = self.flat().line(number - 1);
        if mm <= 0.0 || line.points.len() < 2 {
            return self.torch_on(number);
        }
        let element = line
            .element
            .get(line.index_at(mm))
            .map_or(0, |k| *k as usize);
        match cut.path.get(element) {
            Some(e) => Spot::element(number, e).at(line.at(mm)),
            None => self.torch_on(number),
        }
    }
}
