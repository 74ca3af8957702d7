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
