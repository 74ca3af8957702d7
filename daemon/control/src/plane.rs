//! Whether a touch of the sheet fits those before it.

pub(crate) use process::{Plane, Touch};
use units::Point;

/// A touch further than this off the plane, or off the touch before it, is not the sheet as it was
/// found, mm (process handbook, invented).
pub(crate) const OFF_MM: f64 = 3.0;
/// A sheet does not lie steeper than this (process handbook, invented).
pub(crate) const SLOPE: f64 = 0.05;
/// The height to expect at a place: by the plane, else as touched last.
pub(crate) fn expected(touches: &[Touch], at: Point) -> Option<f64> {
    let last = touches.last()?.1;
    Some(
        Plane::fit(touches)
            .and_then(|p| p.at(at))
            .map_or(last, |z| z.clamp(last - OFF_MM, last + OFF_MM)),
    )
}

/// Whether a touch fits those before it; if not, why.
pub(crate) fn judge(touches: &[Touch], new: Touch) -> Result<(), String> {
    let (at, z) = new;
    if let Some((_, last)) = touches.last()
        && (z - last).abs() > OFF_MM
    {
        return Err(format!(
            "The plate lies {:+.1} mm from the touch before; limit {OFF_MM:.0} mm.",
            z - last
        ));
    }
    if let Some(plane) = Plane::fit(touches).and_then(|p| p.at(at))
        && (z - plane).abs() > OFF_MM
    {
        return Err(format!(
            "The plate lies {:+.1} mm from the plane of the touches so far; limit {OFF_MM:.0} mm.",
            z - plane
        ));
    }
    let with: Vec<Touch> = touches.iter().copied().chain([new]).collect();
    match Plane::fit(&with).map(|p| p.slope()) {
        Some(slope) if slope > SLOPE => Err(format!(
            "The plate slopes by {:.1} %; limit {:.0} %.",
            slope * 100.0,
            SLOPE * 100.0
        )),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// z = 5 + 0.01 x - 0.02 y
    fn tilted(places: &[(f64, f64)]) -> Vec<Touch> {
        let at = |&(x, y): &(f64, f64)| (Point::new(x, y), 5.0 + 0.01 * x - 0.02 * y);
        places.iter().map(at).collect()
    }

    #[test]
    fn a_plane_through_touches_of_a_tilted_sheet_is_that_tilt() {
        let touches = tilted(&[(0.0, 0.0), (100.0, 0.0), (0.0, 100.0), (100.0, 80.0)]);
        let plane = Plane::fit(&touches).expect("spread out");
        assert!((plane.slope() - 0.01_f64.hypot(0.02)).abs() < 1e-12);
        let z = plane.at(Point::new(60.0, 40.0)).expect("between them");
        assert!((z - 4.8).abs() < 1e-12, "{z}");
        assert_eq!(plane.at(Point::new(900.0, 40.0)), None, "too far away");
    }

    #[test]
    fn touches_along_a_line_or_two_alone_show_no_plane() {
        assert_eq!(Plane::fit(&tilted(&[(0.0, 0.0), (100.0, 50.0)])), None);
        let line = tilted(&[(0.0, 0.0), (100.0, 50.0), (200.0, 100.0), (300.0, 150.0)]);
        assert_eq!(Plane::fit(&line), None);
        assert_eq!(expected(&line, Point::new(0.0, 0.0)), Some(line[3].1));
    }

    #[test]
    fn a_touch_off_the_last_one_off_the_plane_or_too_steep_is_no_sheet() {
        let p = Point::new(50.0, 50.0);
        assert_eq!(judge(&[], (p, 40.0)), Ok(()), "nothing to judge it by");
        assert!(judge(&[(p, 5.0)], (p, 7.9)).is_ok());
        assert!(judge(&[(p, 5.0)], (p, 8.1)).is_err());
        // The last touch is 2 mm high, as a touch may be; the plane says what is wrong.
        let mut flat: Vec<Touch> = [(0.0, 0.0), (100.0, 0.0), (0.0, 100.0), (100.0, 100.0)]
            .map(|(x, y)| (Point::new(x, y), 5.0))
            .into();
        flat.push((p, 7.0));
        let off = judge(&flat, (p, 9.0)).expect_err("off the plane");
        assert!(off.contains("plane"), "{off}");
        let steep = [(Point::new(0.0, 0.0), 5.0), (Point::new(50.0, 0.0), 7.6)];
        let off = judge(&steep, (Point::new(0.0, 50.0), 5.0)).expect_err("steep");
        assert!(off.contains("slopes by 5.2 %"), "{off}");
    }
}
