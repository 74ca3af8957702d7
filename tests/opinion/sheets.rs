//! Random sheets: programs of nested parts with faults of order, tabs, used areas and clamps, said in
//! many ways, beside the true path of each cut. Nothing here comes from what is tested.

use std::f64::consts::{PI, TAU};
use std::fmt::Write as _;

#[path = "tongue.rs"]
mod tongue;

use tongue::Tongue;

pub type P = [f64; 2];

/// A sequence of numbers from a seed (splitmix64, Steele, Lea, Flood 2014).
pub struct Draw(u64);

impl Draw {
    pub fn of(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5851_f42d_4c95_7f2d)
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }

    pub fn chance(&mut self, p: f64) -> bool {
        self.within(0.0, 1.0) < p
    }
}

/// A piece of path.
#[derive(Clone, Copy, Debug)]
pub enum Step {
    Line { to: P },
    Arc { to: P, centre: P, left: bool },
}

impl Step {
    fn to(self) -> P {
        match self {
            Self::Line { to } | Self::Arc { to, .. } => to,
        }
    }
}

/// One cut: pierce and path, sheet mm.
#[derive(Clone, Debug)]
pub struct Cut {
    pub pierce: P,
    pub steps: Vec<Step>,
    /// The steps behind the lead-in draw the finished edge: the kerf lies on this side of it.
    pub beside: Option<Beside>,
}

/// On which side of a closed edge, and of its direction of travel, the kerf lies.
#[derive(Clone, Copy, Debug)]
pub struct Beside {
    /// What is kept lies within the edge.
    pub outline: bool,
    /// To the left of travel: G41.
    pub left: bool,
}

/// A sheet with its program.
pub struct Sheet {
    pub text: String,
    pub setup: String,
    pub size: P,
    pub kerf: f64,
    pub clamp: P,
    pub used: Vec<Vec<P>>,
    /// The middle of each cut's kerf from its pierce on, in straight pieces, sheet mm.
    pub paths: Vec<Vec<P>>,
}

fn plus(a: P, b: P) -> P {
    [a[0] + b[0], a[1] + b[1]]
}

fn polar(c: P, r: f64, a: f64) -> P {
    plus(c, [r * a.cos(), r * a.sin()])
}

fn far(a: P, b: P) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The sweep of an arc, rad; a whole turn where it ends where it begins.
fn sweep(from: P, to: P, centre: P, left: bool) -> (f64, f64) {
    let a = (from[1] - centre[1]).atan2(from[0] - centre[0]);
    let b = (to[1] - centre[1]).atan2(to[0] - centre[0]);
    let d = if left { b - a } else { a - b }.rem_euclid(TAU);
    (a, if d < 1e-9 { TAU } else { d })
}

/// The places along a cut, arcs in steps of at most 0.01 mm of sagitta.
pub fn places(cut: &Cut) -> Vec<P> {
    let mut all = vec![cut.pierce];
    let mut at = cut.pierce;
    for step in &cut.steps {
        if let Step::Arc { to, centre, left } = *step {
            let (a, d) = sweep(at, to, centre, left);
            let r = far(at, centre);
            let n = (d / (2.0 * (1.0 - 0.01 / r.max(0.05)).clamp(-1.0, 1.0).acos()))
                .ceil()
                .max(4.0);
            for k in 1..n as u32 {
                let turn = d * f64::from(k) / n;
                all.push(polar(centre, r, if left { a + turn } else { a - turn }));
            }
        }
        at = step.to();
        all.push(at);
    }
    all
}

/// A closed contour that begins at `start`.
struct Contour {
    start: P,
    steps: Vec<Step>,
}

/// A contour about `c` whose places lie between `0.6 r` and `r` from it.
fn contour(draw: &mut Draw, c: P, r: f64) -> Contour {
    let turned = draw.within(0.0, TAU);
    let left = draw.chance(0.5);
    match draw.below(4) {
        0 => circle(draw, c, r, turned, left),
        1 => {
            // Two straight flanks, two half circles.
            let (half, round) = (0.3 * r, 0.65 * r);
            let (u, v) = ([turned.cos(), turned.sin()], [-turned.sin(), turned.cos()]);
            let at = |a: f64, b: f64| [c[0] + a * u[0] + b * v[0], c[1] + a * u[1] + b * v[1]];
            let (e, w) = (at(half, 0.0), at(-half, 0.0));
            let (ne, nw, sw, se) = (
                at(half, round),
                at(-half, round),
                at(-half, -round),
                at(half, -round),
            );
            let steps = if left {
                vec![
                    Step::Line { to: nw },
                    Step::Arc {
                        to: sw,
                        centre: w,
                        left,
                    },
                    Step::Line { to: se },
                    Step::Arc {
                        to: ne,
                        centre: e,
                        left,
                    },
                ]
            } else {
                vec![
                    Step::Arc {
                        to: se,
                        centre: e,
                        left,
                    },
                    Step::Line { to: sw },
                    Step::Arc {
                        to: nw,
                        centre: w,
                        left,
                    },
                    Step::Line { to: ne },
                ]
            };
            Contour { start: ne, steps }
        }
        kind => {
            let n = if kind == 2 { 4 } else { 5 + draw.below(4) };
            let mut corners: Vec<P> = (0..n)
                .map(|k| {
                    let reach = if kind == 2 {
                        r
                    } else {
                        draw.within(0.72, 1.0) * r
                    };
                    polar(c, reach, turned + TAU * k as f64 / n as f64)
                })
                .collect();
            if !left {
                corners.reverse();
            }
            let start = corners[n - 1];
            Contour {
                start,
                steps: corners.into_iter().map(|to| Step::Line { to }).collect(),
            }
        }
    }
}

fn circle(draw: &mut Draw, c: P, r: f64, turned: f64, left: bool) -> Contour {
    let n = 1 + draw.below(4);
    let start = polar(c, r, turned);
    let turn = if left { TAU } else { -TAU };
    let steps = (1..=n)
        .map(|k| {
            let to = if k == n {
                start
            } else {
                polar(c, r, turned + turn * k as f64 / n as f64)
            };
            Step::Arc {
                to,
                centre: c,
                left,
            }
        })
        .collect();
    Contour { start, steps }
}

/// Ends a path `short` mm before its end, or goes on along its beginning by `-short`.
fn ended(start: P, steps: &[Step], short: f64) -> Vec<Step> {
    let mut all = steps.to_vec();
    if short < 0.0 {
        let part = cut_to(start, steps[0], -short);
        all.push(part);
        return all;
    }
    let mut left = short;
    while let Some(last) = all.pop() {
        let from = all.last().map_or(start, |s| s.to());
        let long = length(from, last);
        if long > left + 0.5 {
            all.push(cut_to(from, last, long - left));
            break;
        }
        left -= long;
        if left <= 0.0 {
            break;
        }
    }
    all
}

fn length(from: P, step: Step) -> f64 {
    match step {
        Step::Line { to } => far(from, to),
        Step::Arc { to, centre, left } => sweep(from, to, centre, left).1 * far(from, centre),
    }
}

/// The first `mm` of a step.
fn cut_to(from: P, step: Step, mm: f64) -> Step {
    let part = (mm / length(from, step)).min(1.0);
    match step {
        Step::Line { to } => Step::Line {
            to: [
                from[0] + (to[0] - from[0]) * part,
                from[1] + (to[1] - from[1]) * part,
            ],
        },
        Step::Arc { to, centre, left } => {
            let (a, d) = sweep(from, to, centre, left);
            let turn = if left { d * part } else { -d * part };
            Step::Arc {
                to: polar(centre, far(from, centre), a + turn),
                centre,
                left,
            }
        }
    }
}

/// A cut along a contour about `c`: from inside or outside, with a tab left, closed, or beyond.
fn along(draw: &mut Draw, c: P, r: f64, inside: bool, kerf: f64) -> Cut {
    let contour = contour(draw, c, r);
    let lead = if inside { -(0.45 * r).min(6.0) } else { 6.0 };
    let out = [
        (contour.start[0] - c[0]) / far(contour.start, c),
        (contour.start[1] - c[1]) / far(contour.start, c),
    ];
    let pierce = plus(contour.start, [out[0] * lead, out[1] * lead]);
    let short = match draw.below(8) {
        0 | 1 => draw.within(2.0, 6.0) + kerf,
        2 => kerf + draw.within(-0.3, 0.2),
        3 | 4 => -draw.within(0.3, 3.0),
        _ => 0.0,
    };
    let mut steps = vec![Step::Line { to: contour.start }];
    steps.extend(ended(contour.start, &contour.steps, short));
    Cut {
        pierce,
        steps,
        beside: None,
    }
}

/// The same with the finished edge drawn, closed, and the kerf beside it (G41, G42).
fn compensated(draw: &mut Draw, c: P, r: f64, inside: bool, kerf: f64) -> Cut {
    let Contour { start, mut steps } = contour(draw, c, r);
    // Begun in the middle of a straight side: there is no corner where it closes.
    let start = match steps[0] {
        Step::Line { to } => {
            let middle = [(start[0] + to[0]) / 2.0, (start[1] + to[1]) / 2.0];
            steps.push(Step::Line { to: middle });
            middle
        }
        Step::Arc { .. } => start,
    };
    let out = [
        (start[0] - c[0]) / far(start, c),
        (start[1] - c[1]) / far(start, c),
    ];
    let lead = if inside { -0.5 * r } else { 4.0 + kerf };
    let pierce = plus(start, [out[0] * lead, out[1] * lead]);
    let mut cut = Cut {
        pierce,
        steps: vec![Step::Line { to: start }],
        beside: None,
    };
    cut.steps.extend(steps);
    let edge = &places(&cut)[1..];
    let twice: f64 = edge
        .windows(2)
        .map(|w| w[0][0] * w[1][1] - w[1][0] * w[0][1])
        .sum();
    cut.beside = Some(Beside {
        outline: !inside,
        // Anticlockwise, what lies within is to the left.
        left: (twice > 0.0) == inside,
    });
    cut
}

/// How a contour is drawn: as its kerf's middle or as its edge.
type Drawn = fn(&mut Draw, P, f64, bool, f64) -> Cut;

/// A part about `c` with what lies in it, the innermost first.
fn nest(
    draw: &mut Draw,
    (c, r): (P, f64),
    depth: usize,
    (kerf, drawn): (f64, Drawn),
    cuts: &mut Vec<Cut>,
) {
    if r > 20.0 {
        match draw.below(4) {
            0 => {}
            1 => nest(draw, (c, 0.5 * r), depth + 1, (kerf, drawn), cuts),
            _ => {
                for side in [-1.0, 1.0] {
                    let a = draw.within(-0.4, 0.4) + if side < 0.0 { PI } else { 0.0 };
                    let hole = draw.within(0.14, 0.24) * r;
                    nest(
                        draw,
                        (polar(c, 0.36 * r, a), hole.max(4.5)),
                        depth + 1,
                        (kerf, drawn),
                        cuts,
                    );
                }
            }
        }
    }
    cuts.push(drawn(draw, c, r, depth % 2 == 1, kerf));
}

const SIZE: P = [400.0, 280.0];
const PITCH: f64 = 120.0;
/// So many of the programs ask for kerf compensation.
const COMPENSATED: f64 = 0.3;

/// Moves a drawn edge aside: the drawn path from its pierce on, whether what is kept lies within the edge,
/// and by how much, mm.
pub type Aside = fn(&[P], bool, f64) -> Vec<P>;

/// The sheet of a seed, every path drawn as the middle of its kerf.
#[allow(
    dead_code,
    reason = "one of two test programs has an engine that moves edges aside"
)]
pub fn sheet(seed: u64) -> Sheet {
    sheet_with(seed, None)
}

/// The sheet of a seed; where `aside` is given, some of the programs draw the finished edges.
pub fn sheet_with(seed: u64, aside: Option<Aside>) -> Sheet {
    let mut draw = Draw::of(seed);
    let kerf = draw.within(1.0, 2.0);
    // By a draw of its own: what is drawn with and without differs in nothing else.
    let drawn: Drawn = match aside.is_some() && Draw::of(seed ^ 0x4142).chance(COMPENSATED) {
        true => compensated,
        false => along,
    };
    let mut cuts = Vec::new();
    for k in 0..6 {
        if draw.chance(0.3) {
            continue;
        }
        let c = [
            75.0 + PITCH * f64::from(k % 3),
            75.0 + PITCH * f64::from(k / 3),
        ];
        let r = draw.within(14.0, 44.0);
        nest(&mut draw, (c, r), 0, (kerf, drawn), &mut cuts);
    }
    if cuts.is_empty() {
        cuts.push(drawn(&mut draw, [75.0, 75.0], 30.0, false, kerf));
    }
    faults(&mut draw, &mut cuts);
    let used = if draw.chance(0.3) {
        vec![used(&mut draw)]
    } else {
        Vec::new()
    };
    let path = |cut: &Cut| match (cut.beside, aside) {
        (Some(side), Some(aside)) => aside(&places(cut), side.outline, kerf / 2.0),
        _ => places(cut),
    };
    let paths: Vec<Vec<P>> = cuts.iter().map(path).collect();
    let clamp = clamp(&mut draw, &paths, &used, kerf);
    let tongue = Tongue::draw(&mut draw);
    let mut setup = format!(
        "# INVENTED DATA - not for cutting metal\nmaterial = \"mild-steel\"\nthickness = 5\nsheet = [{}, {}]\norigin = [{}, {}]\nrotation = {}\nkerf = {kerf}\nclamp = [{}, {}]\n",
        SIZE[0], SIZE[1], tongue.origin[0], tongue.origin[1], tongue.turned, clamp[0], clamp[1]
    );
    if !used.is_empty() {
        let _ = writeln!(setup, "used = {used:?}");
    }
    Sheet {
        text: tongue.say(&cuts, 1100.0),
        setup,
        size: SIZE,
        kerf,
        clamp,
        used,
        paths,
    }
}

/// Wrongs of order: cuts exchanged, one repeated, one straight across everything.
fn faults(draw: &mut Draw, cuts: &mut Vec<Cut>) {
    if draw.chance(0.5) {
        for _ in 0..=draw.below(3) {
            let (a, b) = (draw.below(cuts.len()), draw.below(cuts.len()));
            cuts.swap(a, b);
        }
    }
    if draw.chance(0.15) {
        let again = cuts[draw.below(cuts.len())].clone();
        cuts.push(again);
    }
    if draw.chance(0.25) {
        let mut inside = || {
            [
                draw.within(15.0, SIZE[0] - 15.0),
                draw.within(15.0, SIZE[1] - 15.0),
            ]
        };
        let (pierce, to) = (inside(), inside());
        let k = draw.below(cuts.len() + 1);
        cuts.insert(
            k,
            Cut {
                pierce,
                steps: vec![Step::Line { to }],
                beside: None,
            },
        );
    }
}

/// An area that an earlier job has used.
fn used(draw: &mut Draw) -> Vec<P> {
    let c = [
        draw.within(40.0, SIZE[0] - 40.0),
        draw.within(40.0, SIZE[1] - 40.0),
    ];
    let (r, turned, n) = (
        draw.within(8.0, 34.0),
        draw.within(0.0, TAU),
        3 + draw.below(4),
    );
    (0..n)
        .map(|k| polar(c, r, turned + TAU * k as f64 / n as f64))
        .collect()
}

/// Where the clamp bites: on metal that is never cut away, often on the border, else anywhere.
fn clamp(draw: &mut Draw, paths: &[Vec<P>], used: &[Vec<P>], kerf: f64) -> P {
    let border = draw.chance(0.6);
    for _ in 0..400 {
        let p = if border {
            [draw.within(4.0, 12.0), draw.within(4.0, SIZE[1] - 4.0)]
        } else {
            [
                draw.within(4.0, SIZE[0] - 4.0),
                draw.within(4.0, SIZE[1] - 4.0),
            ]
        };
        let near = |line: &[P], room: f64| line.windows(2).any(|w| from_line(p, w[0], w[1]) < room);
        let taken = used.iter().any(|a| {
            let centre = a.iter().fold([0.0, 0.0], |s, q| {
                plus(s, [q[0] / a.len() as f64, q[1] / a.len() as f64])
            });
            far(p, centre) < 40.0
        });
        if !taken && !paths.iter().any(|path| near(path, kerf + 3.5)) {
            return p;
        }
    }
    [4.0, 4.0]
}

/// How far a place is from a straight piece.
pub fn from_line(p: P, a: P, b: P) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let t = if dx == 0.0 && dy == 0.0 {
        0.0
    } else {
        (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / (dx * dx + dy * dy)).clamp(0.0, 1.0)
    };
    far(p, [a[0] + t * dx, a[1] + t * dy])
}
