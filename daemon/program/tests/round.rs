//! Round things, however they are written: their size is that of the circle.

use program::{Facts, ReadingRules, Report, Setup, VetInput, read, vet};
use units::Point;

fn report(text: &str, setup: &Setup) -> Report {
    let input = VetInput {
        setup: Some(setup),
        travel: Point::new(1300.0, 1300.0),
        sheet_corner: Point::new(10.0, 10.0),
        kerf_mm: Some(1.4),
        chart_feed_mm_s: None,
        traverse_height_mm: 25.0,
        line_limit: 120,
        no_row: None,
        facts: Facts::default(),
    };
    vet(&read(text.as_bytes(), &ReadingRules::default()), &input)
}

fn setup(clamp: [f64; 2]) -> Setup {
    let text = format!(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [400, 300]\norigin = [0, 0]\nclamp = {clamp:?}\n"
    );
    Setup::from_toml(&text).expect("a right setup")
}

/// A circle of radius `r` about (200, 150) in two halves, begun at an angle.
fn two_halves(r: f64, deg: f64, way: &str) -> String {
    let (sin, cos) = deg.to_radians().sin_cos();
    let (dx, dy) = (r * cos, r * sin);
    format!(
        "G21 G90\nG0 X{:.4} Y{:.4}\nM3\n{way} X{:.4} Y{:.4} I{:.4} J{:.4} F1100\n{way} X{:.4} Y{:.4} I{:.4} J{:.4}\nM5\nM2\n",
        200.0 + dx,
        150.0 + dy,
        200.0 - dx,
        150.0 - dy,
        -dx,
        -dy,
        200.0 + dx,
        150.0 + dy,
        dx,
        dy
    )
}

#[test]
fn a_circle_of_two_halves_has_the_circles_bounds_wherever_it_begins() {
    for half_degrees in 0..720 {
        for way in ["G2", "G3"] {
            let text = two_halves(50.0, f64::from(half_degrees) / 2.0, way);
            let reading = read(text.as_bytes(), &ReadingRules::default());
            let b = reading.cut_list.bounds().expect("a cut");
            let off = [
                b.low.x - 150.0,
                b.low.y - 100.0,
                b.high.x - 250.0,
                b.high.y - 200.0,
            ];
            assert!(off.iter().all(|d| d.abs() < 2e-4), "{off:?} in\n{text}");
        }
    }
}

#[test]
fn a_circle_of_two_halves_is_seen_near_the_clamp_and_beyond_the_edge() {
    let finds = |text: &str, clamp: [f64; 2], rule: &str| {
        let all = report(text, &setup(clamp)).findings;
        all.iter().any(|f| f.rule == rule)
    };
    for half_degrees in (0..720).step_by(30) {
        let deg = f64::from(half_degrees) / 2.0;
        for way in ["G2", "G3"] {
            // 18 mm from the clamp on each of the four sides; the torch's body needs 25 mm.
            let text = two_halves(50.0, deg, way);
            for clamp in [
                [268.0, 150.0],
                [132.0, 150.0],
                [200.0, 218.0],
                [200.0, 82.0],
            ] {
                assert!(finds(&text, clamp, "on-clamp"), "{clamp:?} and\n{text}");
            }
            // The sheet is 300 mm high: its kerf ends 0.7 mm beyond both edges.
            let text = two_halves(150.0, deg, way);
            assert!(finds(&text, [20.0, 20.0], "outside-sheet"), "{text}");
        }
    }
}

/// How a hole is written.
#[derive(Clone, Copy, Debug)]
struct Hole {
    /// Finished, mm.
    across: f64,
    /// Where it begins, degrees.
    begun_at: f64,
    lead: Lead,
    /// Passes its start by so much, mm.
    over_mm: f64,
    /// Goes on to the middle behind that, by so many mm.
    lead_out_mm: f64,
    written: Written,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Lead {
    /// Straight from the middle.
    Straight,
    /// A half circle that meets the edge along it.
    Tangent,
    /// A quarter circle that meets the edge along it.
    Quarter,
}

#[derive(Clone, Copy, Debug)]
enum Written {
    /// In so many arcs with centres.
    Centres(u32),
    /// In so many arcs with radii.
    Radii(u32),
    /// In so many straight lines.
    Lines(u32),
}

const KERF: f64 = 1.4;

impl Hole {
    /// Its cut about (200, 150), anticlockwise.
    fn cut(&self) -> String {
        let r = (self.across - KERF) / 2.0;
        let at = |deg: f64, r: f64| {
            let (sin, cos) = deg.to_radians().sin_cos();
            format!("X{:.4} Y{:.4}", 200.0 + r * cos, 150.0 + r * sin)
        };
        let a = self.begun_at;
        let mut text = match self.lead {
            Lead::Straight => format!("G0 X200 Y150\nM3\nG1 {} F600\n", at(a, r)),
            // Half the radius: from the middle on.
            Lead::Tangent => {
                format!("G0 X200 Y150\nM3\nG3 {} R{:.4} F600\n", at(a, r), r / 2.0)
            }
            Lead::Quarter => {
                let (sin, cos) = a.to_radians().sin_cos();
                let b = 0.4 * r;
                let (x, y) = (
                    200.0 + (r - b) * cos + b * sin,
                    150.0 + (r - b) * sin - b * cos,
                );
                format!("G0 X{x:.4} Y{y:.4}\nM3\nG3 {} R{b:.4} F600\n", at(a, r))
            }
        };
        let over = (self.over_mm / r).to_degrees();
        let mut arcs = |n: u32, sweep: f64, from: f64, word: &dyn Fn(f64, f64) -> String| {
            for k in 1..=n {
                let step = sweep / f64::from(n);
                let start = from + step * f64::from(k - 1);
                text += &word(start, start + step);
            }
        };
        let centres = |from: f64, to: f64| {
            let (sin, cos) = from.to_radians().sin_cos();
            format!("G3 {} I{:.4} J{:.4}\n", at(to, r), -r * cos, -r * sin)
        };
        let radii = |_: f64, to: f64| format!("G3 {} R{r:.4}\n", at(to, r));
        let lines = |_: f64, to: f64| format!("G1 {}\n", at(to, r));
        let word: &dyn Fn(f64, f64) -> String = match self.written {
            Written::Centres(_) => &centres,
            Written::Radii(_) => &radii,
            Written::Lines(_) => &lines,
        };
        let (Written::Centres(n) | Written::Radii(n) | Written::Lines(n)) = self.written;
        arcs(n, 360.0, a, word);
        if over > 0.0 {
            arcs(1, over, a + 360.0, word);
        }
        if self.lead_out_mm > 0.0 {
            text += &format!("G1 {}\n", at(a + over, r - self.lead_out_mm));
        }
        text + "M5\n"
    }

    fn program(&self) -> String {
        format!(
            "G21 G90\n{}G0 X200 Y94\nM3\nG1 Y100 F1100\nG1 X150\nG1 Y200\nG1 X250\nG1 Y100\nG1 X198\nM5\nM2\n",
            self.cut()
        )
    }
}

fn holes(across: f64) -> impl Iterator<Item = Hole> {
    let written = [
        Written::Centres(1),
        Written::Centres(2),
        Written::Centres(3),
        Written::Radii(4),
        Written::Lines(24),
        Written::Lines(100),
    ];
    let overs = [0.0, 0.03, 0.05, 0.2, 1.0];
    written
        .into_iter()
        .enumerate()
        .flat_map(move |(i, written)| {
            [Lead::Straight, Lead::Tangent, Lead::Quarter]
                .into_iter()
                .flat_map(move |lead| {
                    overs.into_iter().enumerate().map(move |(k, over_mm)| Hole {
                        across,
                        begun_at: 37.0 * (i + 3 * k) as f64,
                        lead,
                        over_mm,
                        lead_out_mm: [0.0, 0.8, 1.5][(i + k) % 3],
                        written,
                    })
                })
        })
}

#[test]
fn a_round_hole_is_one_whatever_leads_in_and_out_and_however_it_is_written() {
    let setup = setup([20.0, 20.0]);
    for across in [4.9, 7.4] {
        for hole in holes(across) {
            let text = hole.program();
            let all = report(&text, &setup).findings;
            let own: Vec<_> = all.iter().filter(|f| f.rule == "hole-too-small").collect();
            let [finding] = own.as_slice() else {
                panic!("{hole:?}: {own:?} in\n{text}")
            };
            // Under 5 mm of thickness it is refused, under 1.5 times that warned.
            let severity = if across < 5.0 {
                program::Severity::Refuse
            } else {
                program::Severity::Warn
            };
            assert_eq!(finding.severity, severity, "{hole:?}: {finding:?}");
            let at = finding.at.expect("a place");
            assert!(
                at.distance(Point::new(200.0, 150.0)) < 0.03,
                "{hole:?}: {at:?}"
            );
            let said = finding
                .says
                .split(' ')
                .nth(3)
                .and_then(|w| w.parse::<f64>().ok());
            let said = said.expect("a diameter");
            assert!((said - across).abs() < 0.03, "{hole:?}: {finding:?}");
        }
    }
}

#[test]
fn what_is_nearly_round_is_no_round_hole() {
    let setup = setup([20.0, 20.0]);
    let cut = |x: f64, y: f64, n: u32| {
        let mut text = format!("G0 X200 Y150\nM3\nG1 X{:.4} Y150 F600\n", 200.0 + x);
        for k in 1..=n {
            let (sin, cos) = (core::f64::consts::TAU * f64::from(k) / f64::from(n)).sin_cos();
            text += &format!("G1 X{:.4} Y{:.4}\n", 200.0 + x * cos, 150.0 + y * sin);
        }
        format!(
            "G21 G90\n{text}M5\nG0 X200 Y94\nM3\nG1 Y100 F1100\nG1 X150\nG1 Y200\nG1 X250\nG1 Y100\nG1 X198\nM5\nM2\n"
        )
    };
    let told = |text: &str| {
        let all = report(text, &setup).findings;
        all.iter().any(|f| f.rule == "hole-too-small")
    };
    assert!(told(&cut(1.75, 1.75, 60)));
    // An oval, and a hexagon.
    assert!(!told(&cut(1.95, 1.55, 60)));
    assert!(!told(&cut(1.75, 1.75, 6)));
}

#[test]
fn a_contour_cut_twice_is_one_contour_and_its_holes_stay_holes() {
    let setup = setup([20.0, 20.0]);
    let hole = Hole {
        across: 30.0,
        begun_at: 10.0,
        lead: Lead::Straight,
        over_mm: 0.5,
        lead_out_mm: 0.0,
        written: Written::Centres(2),
    };
    let outline =
        "G0 X200 Y94\nM3\nG1 Y100 F1100\nG1 X150\nG1 Y200\nG1 X250\nG1 Y100\nG1 X198\nM5\n";
    // Once more, from another corner and the other way round.
    let again = "G0 X144 Y200\nM3\nG1 X150 F1100\nG1 Y100\nG1 X250\nG1 Y200\nG1 X148\nM5\n";
    for second in [outline, again] {
        let text = format!("(1 parts)\nG21 G90\n{}{outline}{second}M2\n", hole.cut());
        let all = report(&text, &setup).findings;
        let told = |rule: &str| all.iter().filter(|f| f.rule == rule).count();
        assert_eq!(told("cut-twice"), 1, "{all:?}");
        // One part, one hole in it, nothing beside nothing.
        for rule in [
            "part-count",
            "parts-too-close",
            "web-too-thin",
            "pierce-on-part",
            "hole-after-outline",
            "direction-of-cut",
        ] {
            let allowed = usize::from(rule == "direction-of-cut" && second == again);
            assert_eq!(told(rule), allowed, "{rule} in {all:?}");
        }
    }
}

#[test]
fn a_pierce_takes_a_disc_of_1_6_kerfs_from_the_sheet() {
    let setup = setup([20.0, 20.0]);
    let told = |off: f64| {
        // The first cut leads away from its pierce, to the right; the second is pierced to its left.
        let text = format!(
            "G21 G90\nG0 X200 Y150\nM3\nG1 X260 F1100\nM5\nG0 X{:.4} Y150\nM3\nG1 X100\nM5\nM2\n",
            200.0 - off
        );
        let all = report(&text, &setup).findings;
        let told = |rule: &str| all.iter().any(|f| f.rule == rule && f.cut == Some(2));
        (told("pierce-in-void"), told("pierce-near-kerf"))
    };
    // The disc's edge is 0.8 kerfs from the pierce; 90 % of what is within 1 mm must be metal.
    assert_eq!(told(0.8 * KERF + 0.3), (true, false));
    assert_eq!(told(0.8 * KERF + 1.0), (false, true));
    // One kerf and 1.5 mm.
    assert_eq!(told(0.8 * KERF + KERF + 1.5 - 0.05), (false, true));
    assert_eq!(told(0.8 * KERF + KERF + 1.5 + 0.05), (false, false));
}
