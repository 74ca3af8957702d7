//! Where on the sheet a simple cut lies.

use program::Setup;
use units::{Bounds, Point, Segment};

use super::path::MadeCut;
use super::{MakeSettings, NotMade};
use crate::table::Table;

/// The torch's body, mm from its middle (`on-clamp`).
const BODY_MM: f64 = 25.0;
/// Kept beyond every margin, mm: numbers are rounded.
pub(super) const SPARE_MM: f64 = 0.01;
/// Places are tried so far apart, mm; on a large sheet further, so that there are no more than [`TRIED`]
/// along an axis.
const STEP_MM: f64 = 5.0;
const TRIED: f64 = 200.0;

impl MakeSettings {
    /// What is to stay between kerf and the sheet's edge, mm (`near-edge`).
    pub(super) fn border_mm(&self) -> f64 {
        self.thickness_mm.max(5.0)
    }
}

/// What of a sheet may be cut.
pub(super) struct Place {
    /// Where the torch's middle may go.
    room: Bounds,
    /// Where it may not.
    barred: Vec<Bounds>,
}

impl Place {
    pub fn new(table: &Table<'_>, setup: &Setup, settings: &MakeSettings) -> Self {
        let border = settings.border_mm() + settings.kerf_mm / 2.0 + SPARE_MM;
        let (corner, travel) = (table.sheet_corner, table.travel_xy());
        let room = Bounds {
            low: Point::new(border.max(-corner.x), border.max(-corner.y)),
            high: Point::new(
                (setup.sheet.x - border).min(travel.x - corner.x),
                (setup.sheet.y - border).min(travel.y - corner.y),
            ),
        };
        let body = BODY_MM + SPARE_MM;
        let mut barred: Vec<_> = setup
            .keepouts
            .iter()
            .map(|k| around(k.at, k.size.x / 2.0 + body, k.size.y / 2.0 + body))
            .collect();
        barred.extend(setup.clamp.map(|c| around(c, body, body)));
        // As far as `pierce-near-kerf` offers.
        let aside = 2.0 * settings.kerf_mm + 2.0;
        barred.extend(setup.used.iter().filter_map(|area| {
            let (first, rest) = area.split_first()?;
            let mut b = Bounds::of(*first);
            rest.iter().for_each(|p| b.add(*p));
            b.low = b.low.moved(-aside, -aside);
            b.high = b.high.moved(aside, aside);
            Some(b)
        }));
        Self { room, barred }
    }

    /// The first free place from the lower left corner on, along X first.
    pub fn free(&self, cuts: &[MadeCut]) -> Result<Point, NotMade> {
        let all = bounds(cuts);
        let spare = (
            self.room.width() - all.width(),
            self.room.height() - all.height(),
        );
        if spare.0 < 0.0 || spare.1 < 0.0 {
            return Err(self.too_large(&all));
        }
        let tried = |spare: f64| {
            let step = STEP_MM.max(spare / TRIED);
            let n = (spare / step) as u32;
            (0..=n).map(move |i| f64::from(i) * step)
        };
        let low = self.room.low.moved(-all.low.x, -all.low.y);
        tried(spare.1)
            .flat_map(|y| tried(spare.0).map(move |x| low.moved(x, y)))
            .find(|at| self.clear(&moved(&all, *at)))
            .ok_or_else(|| {
                NotMade::by(
                    "on-clamp",
                    format!(
                        "No free place of {:.1} x {:.1} mm is left beside clamp, keep-outs and what is cut away.",
                        all.width(),
                        all.height()
                    ),
                    "Move the clamp, take another sheet, or say where with --at X,Y.",
                )
            })
    }

    /// Whether it lies on the sheet with its margins. Clamp and keep-outs are left to vetting, which
    /// looks at the path itself.
    pub fn check(&self, cuts: &[MadeCut]) -> Result<(), NotMade> {
        let all = bounds(cuts);
        let near = 2.0 * SPARE_MM;
        let inside = all.low.x >= self.room.low.x - near
            && all.low.y >= self.room.low.y - near
            && all.high.x <= self.room.high.x + near
            && all.high.y <= self.room.high.y + near;
        if inside {
            return Ok(());
        }
        if all.width() > self.room.width() + near || all.height() > self.room.height() + near {
            return Err(self.too_large(&all));
        }
        Err(NotMade::by(
            "near-edge",
            format!(
                "The cut reaches from ({:.1}, {:.1}) to ({:.1}, {:.1}); with the margins of sheet and travel there is \
                 room from ({:.1}, {:.1}) to ({:.1}, {:.1}).",
                all.low.x,
                all.low.y,
                all.high.x,
                all.high.y,
                self.room.low.x,
                self.room.low.y,
                self.room.high.x,
                self.room.high.y
            ),
            "Put it further in.",
        ))
    }

    fn too_large(&self, all: &Bounds) -> NotMade {
        NotMade::by(
            "outside-sheet",
            format!(
                "With kerf and lead-in it takes {:.1} x {:.1} mm; the sheet has room for {:.1} x {:.1} mm inside its \
                 margins.",
                all.width(),
                all.height(),
                self.room.width().max(0.0),
                self.room.height().max(0.0)
            ),
            "Take a larger sheet, or make it smaller.",
        )
    }

    fn clear(&self, b: &Bounds) -> bool {
        let meets = |o: &Bounds| {
            o.low.x < b.high.x && o.high.x > b.low.x && o.low.y < b.high.y && o.high.y > b.low.y
        };
        !self.barred.iter().any(meets)
    }
}

fn around(p: Point, x: f64, y: f64) -> Bounds {
    Bounds {
        low: p.moved(-x, -y),
        high: p.moved(x, y),
    }
}

fn moved(b: &Bounds, by: Point) -> Bounds {
    Bounds {
        low: b.low.moved(by.x, by.y),
        high: b.high.moved(by.x, by.y),
    }
}

fn bounds(cuts: &[MadeCut]) -> Bounds {
    let pieces = cuts.iter().flat_map(|c| &c.path).map(Segment::bounds);
    let all = pieces.reduce(|mut all, one| {
        all.join(&one);
        all
    });
    all.unwrap_or_else(|| Bounds::of(Point::default()))
}
