//! Metal, pieces and clamp of one program, compared.

use std::fmt;

use program::{Facts, PieceMap, ReadingRules, Report, Setup, Under, VetInput, read, vet_in_full};
use units::Point;

use crate::engine::{Model, apart, area, beside, corners, holds, inside, length, perimeter, sides};
use crate::rules;
use crate::sheets::{Draw, P, Sheet, sheet_with};

/// Bridges up to 0.3 mm do not hold, from 1.0 mm on they do: kerfs drawn wider by half of each.
const NARROW_MM: f64 = 0.15;
const WIDE_MM: f64 = 0.52;
/// So deep in a kerf there is surely no metal.
const DEEP_MM: f64 = -0.35;
/// A piece shorter than half the pitch of the slats falls (process handbook); beside it either is right.
const FALLS_MM: f64 = 37.5;
const UNSURE_MM: f64 = 2.0;
/// The tip of an acute corner is thinner than a cell of the grid, and not in it.
const TIP_MM: f64 = 1.8;
/// Crumbs of a grid are no pieces; from here on they surely are.
const CRUMB_MM2: f64 = 1.0;
const SURELY_MM2: f64 = 25.0;

/// What was compared, and what differs.
#[derive(Default)]
pub struct Tally {
    pub wrong: Vec<String>,
    pub compared: usize,
    pub left_out: usize,
    pub pieces: usize,
    pub parted: usize,
    pub lost: usize,
    pub pierces: usize,
    pub voids: usize,
    pub over: usize,
    pub compensated: usize,
}

impl Tally {
    pub fn add(&mut self, other: Self) {
        self.wrong.extend(other.wrong);
        for (a, b) in [
            (&mut self.compared, other.compared),
            (&mut self.left_out, other.left_out),
            (&mut self.pieces, other.pieces),
            (&mut self.parted, other.parted),
            (&mut self.lost, other.lost),
            (&mut self.pierces, other.pierces),
            (&mut self.voids, other.voids),
            (&mut self.over, other.over),
            (&mut self.compensated, other.compensated),
        ] {
            *a += b;
        }
    }

    pub fn counts(&self) -> [(&'static str, usize); 7] {
        [
            ("loose pieces", self.pieces),
            ("places that part", self.parted),
            ("cuts without a return path", self.lost),
            ("pierces in a void", self.pierces),
            ("paths in a void", self.voids),
            ("traverses over loose pieces", self.over),
            ("programs with kerf compensation", self.compensated),
        ]
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} answers compared, {} left out as either is right",
            self.compared, self.left_out
        )?;
        self.counts()
            .iter()
            .try_for_each(|(what, n)| write!(f, "; {n} {what}"))
    }
}

/// One program: what vetting made of it, and the engine's sheets.
pub struct Case {
    pub seed: u64,
    pub sheet: Sheet,
    pub report: Report,
    pub map: PieceMap,
    /// The sheet as cut, and with narrow bridges, with wide ones, and with only the midst of kerfs gone.
    pub cut: Model,
    pub narrow: Model,
    pub wide: Model,
    pub deep: Model,
    /// A place in what is left behind in the end.
    pub main: P,
}

/// What is known of the piece under a place after so many cuts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Known {
    Metal,
    /// A kerf, or a piece that has fallen.
    Void,
    Unsure,
}

impl Case {
    pub fn new(seed: u64) -> Result<Self, String> {
        let sheet = sheet_with(seed, Some(beside));
        let setup =
            Setup::from_toml(&sheet.setup).map_err(|e| format!("{e:?}\n{}", sheet.setup))?;
        let input = VetInput {
            setup: Some(&setup),
            travel: Point::new(1300.0, 1300.0),
            sheet_corner: Point::new(100.0, 100.0),
            kerf_mm: None,
            chart_feed_mm_s: Some(1100.0 / 60.0),
            traverse_height_mm: rules::TRAVERSE_MM,
            line_limit: 120,
            no_row: None,
            facts: Facts::default(),
        };
        let reading = read(sheet.text.as_bytes(), &ReadingRules::default());
        let vetting = vet_in_full(&reading, &input);
        let Some(map) = vetting.pieces else {
            return Err(format!(
                "no pieces: {:?}\n{}",
                vetting.report.findings, sheet.text
            ));
        };
        let [cut, narrow, wide, deep] =
            [0.0, NARROW_MM, WIDE_MM, DEEP_MM].map(|more| Model::new(&sheet, more));
        let main = wide
            .after
            .last()
            .and_then(|metal| metal.iter().max_by(|a, b| area(a).total_cmp(&area(b))))
            .and_then(inside);
        let main = main.ok_or("nothing is left of the sheet")?;
        Ok(Self {
            seed,
            sheet,
            report: vetting.report,
            map,
            cut,
            narrow,
            wide,
            deep,
            main,
        })
    }

    pub fn cuts(&self) -> usize {
        self.sheet.paths.len()
    }

    /// The moment after so many cuts.
    fn moment(&self, cuts: usize) -> u32 {
        if cuts >= self.cuts() {
            self.map.end()
        } else {
            self.map.moment(cuts + 1, 0.0)
        }
    }

    pub fn told(&self, cuts: usize, p: P) -> Under {
        self.map.under(Point::new(p[0], p[1]), self.moment(cuts))
    }

    /// Whether two places hang together; `None`: either is right.
    pub fn together(&self, cuts: usize, a: P, b: P) -> Option<bool> {
        let in_one = |model: &Model| model.piece(cuts, a).is_some_and(|piece| holds(piece, b));
        let (narrow, wide) = (in_one(&self.narrow), in_one(&self.wide));
        (narrow == wide).then_some(narrow)
    }

    /// Whether the piece under a place has fallen after so many cuts; `None`: either is right.
    pub fn fallen(&self, cuts: usize, p: P) -> Option<bool> {
        let mut longest = 0.0_f64;
        let mut shortest = f64::INFINITY;
        for k in 0..=cuts {
            match self.together(k, p, self.main) {
                Some(true) => {}
                Some(false) => {
                    let long = length(self.narrow.piece(k, p)?);
                    longest = longest.max(long);
                    shortest = shortest.min(long);
                }
                None => return None,
            }
        }
        if longest == 0.0 || shortest > FALLS_MM + UNSURE_MM {
            Some(false)
        } else if longest < FALLS_MM - UNSURE_MM {
            Some(true)
        } else {
            None
        }
    }

    /// What lies under a place after so many cuts.
    pub fn known(&self, cuts: usize, p: P) -> Known {
        if self.deep.piece(cuts, p).is_none() {
            return Known::Void;
        }
        if self.wide.piece(cuts, p).is_none() {
            return Known::Unsure;
        }
        match self.fallen(cuts, p) {
            Some(true) => Known::Void,
            Some(false) => Known::Metal,
            None => Known::Unsure,
        }
    }

    pub fn wrong(&self, tally: &mut Tally, what: String) {
        tally.wrong.push(format!("seed {}: {what}", self.seed));
    }
}

pub fn compared(seed: u64) -> Tally {
    let mut tally = Tally::default();
    match Case::new(seed) {
        Err(why) => tally.wrong.push(format!("seed {seed}: {why}")),
        Ok(case) => {
            if ambiguous_main(&case) {
                tally.left_out += 1;
                return tally;
            }
            tally.compensated += usize::from(case.sheet.text.contains("\nG40\n"));
            let places = places(&case);
            metal(&case, &places, &mut tally);
            hangs(&case, &places, &mut tally);
            pieces(&case, &mut tally);
            births(&case, &mut tally);
            rules::compared(&case, &mut tally);
        }
    }
    tally
}

/// Two pieces that are left behind are nearly of a size: either may be called the sheet.
fn ambiguous_main(case: &Case) -> bool {
    let mut sizes: Vec<f64> = case.wide.after[case.cuts()].iter().map(area).collect();
    sizes.sort_by(|a, b| b.total_cmp(a));
    sizes.get(1).is_some_and(|second| *second > 0.7 * sizes[0])
}

/// Places to ask for: one in every piece of the end, and others by chance.
fn places(case: &Case) -> Vec<P> {
    let mut draw = Draw::of(case.seed ^ 0xabcd);
    let [w, h] = case.sheet.size;
    let mut all: Vec<P> = case.wide.after[case.cuts()]
        .iter()
        .filter(|p| area(p) > SURELY_MM2)
        .filter_map(inside)
        .collect();
    all.extend((0..40).map(|_| [draw.within(0.5, w - 0.5), draw.within(0.5, h - 0.5)]));
    all
}

fn metal(case: &Case, places: &[P], tally: &mut Tally) {
    for cuts in 0..=case.cuts() {
        for p in places {
            let told = case.told(cuts, *p);
            let known = case.known(cuts, *p);
            tally.compared += 1;
            let differs = match known {
                Known::Metal => told == Under::Nothing,
                Known::Void => told != Under::Nothing,
                Known::Unsure => {
                    tally.left_out += 1;
                    false
                }
            };
            if differs {
                case.wrong(
                    tally,
                    format!("after {cuts} cuts at {p:.2?} it is {known:?}, told {told:?}"),
                );
            }
        }
    }
}

fn hangs(case: &Case, places: &[P], tally: &mut Tally) {
    for cuts in 0..=case.cuts() {
        let here: Vec<(P, u32)> = places
            .iter()
            .filter(|p| case.known(cuts, **p) == Known::Metal)
            .filter_map(|p| match case.told(cuts, *p) {
                Under::Piece(id) => Some((*p, id)),
                Under::Nothing => None,
            })
            .collect();
        let clamped = case.map.clamped(case.moment(cuts));
        for (k, (a, one)) in here.iter().enumerate() {
            if let Some(holds) = case.together(cuts, *a, case.sheet.clamp) {
                tally.compared += 1;
                if holds != (clamped == Some(*one)) {
                    case.wrong(
                        tally,
                        format!(
                            "after {cuts} cuts the clamp holds {a:.2?}: {holds}, told otherwise"
                        ),
                    );
                }
            }
            for (b, other) in &here[k + 1..] {
                tally.compared += 1;
                let Some(together) = case.together(cuts, *a, *b) else {
                    tally.left_out += 1;
                    continue;
                };
                tally.parted += usize::from(!together);
                if together != (one == other) {
                    case.wrong(tally, format!("after {cuts} cuts {a:.2?} and {b:.2?} hang together: {together}, told otherwise"));
                }
            }
        }
    }
}

/// Every loose piece that is told is one, of that cut, area and box.
fn pieces(case: &Case, tally: &mut Tally) {
    for told in case.map.pieces() {
        let p = [told.inside.x, told.inside.y];
        let cuts = told.freed_by.unwrap_or(0);
        tally.compared += 1;
        let (Some(narrow), Some(wide)) = (case.narrow.piece(cuts, p), case.wide.piece(cuts, p))
        else {
            // A sliver of which nothing surely stays.
            tally.left_out += 1;
            continue;
        };
        let around = perimeter(narrow);
        if area(narrow) - area(wide) > 0.6 * around + 10.0 {
            tally.left_out += 1;
            continue;
        }
        tally.pieces += 1;
        if (told.area_mm2 - area(narrow)).abs() > 0.3 * around + 4.0 {
            case.wrong(
                tally,
                format!(
                    "the piece at {p:.1?} of cut {cuts} has {:.0} mm2, told {:.0}",
                    area(narrow),
                    told.area_mm2
                ),
            );
        }
        let box_of = [
            [told.bounds.low.x, told.bounds.low.y],
            [told.bounds.high.x, told.bounds.high.y],
        ];
        let off = corners(narrow)
            .iter()
            .flatten()
            .zip(box_of.iter().flatten())
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max);
        if off > TIP_MM {
            case.wrong(
                tally,
                format!(
                    "the piece at {p:.1?} of cut {cuts} lies in {:.1?}, told {box_of:.1?}",
                    corners(narrow)
                ),
            );
        }
        let measured = sides(narrow).map(|s| s.map(|side| side + 2.0 * NARROW_MM));
        if let Some(sides) =
            measured.filter(|s| (0..2).any(|k| (s[k] - told.sides_mm[k]).abs() > TIP_MM))
        {
            // A box turned otherwise may be as small.
            let as_small = (sides[0] * sides[1] - told.sides_mm[0] * told.sides_mm[1]).abs()
                < TIP_MM * (sides[0] + sides[1]);
            if !as_small {
                case.wrong(
                    tally,
                    format!(
                        "the piece at {p:.1?} of cut {cuts} is {sides:.1?} mm, told {:.1?}",
                        told.sides_mm
                    ),
                );
            }
        }
        let was_more = cuts == 0
            || case.narrow.piece(cuts - 1, p).is_some_and(|before| {
                case.narrow.after[cuts]
                    .iter()
                    .filter(|other| area(other) > CRUMB_MM2 && !holds(other, p))
                    .filter_map(inside)
                    .any(|q| holds(before, q))
            });
        if !was_more {
            case.wrong(
                tally,
                format!("the piece at {p:.1?} does not come free with cut {cuts}"),
            );
        }
    }
}

/// Every cut frees as many pieces as are told.
fn births(case: &Case, tally: &mut Tally) {
    for cuts in 1..=case.cuts() {
        let of = |model: &Model| -> Option<usize> {
            let mut births = 0;
            for before in &model.after[cuts - 1] {
                let mut count = 0_usize;
                for piece in &model.after[cuts] {
                    if inside(piece).is_none_or(|p| !holds(before, p)) || area(piece) < CRUMB_MM2 {
                        continue;
                    }
                    // Slivers between two kerfs: whether they count is the grid's business.
                    if area(piece) < SURELY_MM2 || area(piece) / perimeter(piece) < 0.8 {
                        return None;
                    }
                    count += 1;
                }
                births += count.saturating_sub(1);
            }
            Some(births)
        };
        tally.compared += 1;
        let (Some(narrow), Some(wide)) = (of(&case.narrow), of(&case.wide)) else {
            tally.left_out += 1;
            continue;
        };
        if narrow != wide {
            tally.left_out += 1;
            continue;
        }
        let told = case
            .map
            .pieces()
            .iter()
            .filter(|p| p.freed_by == Some(cuts))
            .count();
        if told != narrow {
            case.wrong(
                tally,
                format!("cut {cuts} frees {narrow} pieces, told {told}"),
            );
        }
    }
}

/// How far a place is from what the clamp holds, and from any metal, after so many cuts of a sheet.
pub fn reach(case: &Case, metal: &geo::MultiPolygon, p: P) -> (f64, f64) {
    let mut of_clamp = f64::INFINITY;
    let mut of_any = f64::INFINITY;
    for piece in metal {
        let far = apart(p, piece);
        of_any = of_any.min(far);
        if holds(piece, case.sheet.clamp) {
            of_clamp = of_clamp.min(far);
        }
    }
    (of_clamp, of_any)
}
