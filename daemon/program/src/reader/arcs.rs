//! Where an arc's centre lies.

use units::Point;

use super::number::Number;

/// The centre of an arc in radius format (NISTIR 6556, 3.5.3.1), and the height of the centre over
/// the chord before the sign is chosen; `None`: the chord is longer than the diameter.
///
/// A chord longer than the diameter by no more than 1 in 10,000 is taken as the diameter.
pub(crate) fn centre_of_radius(
    from: Point,
    to: Point,
    radius: f64,
    clockwise: bool,
) -> Option<Point> {
    let chord = from.distance(to);
    let r = radius.abs();
    if chord <= 0.0 || chord > 2.0 * r * 1.0001 {
        return None;
    }
    let over = r * r - chord * chord / 4.0;
    let height = over.max(0.0).sqrt();
    let side = if clockwise == (radius > 0.0) {
        -1.0
    } else {
        1.0
    };
    let (dx, dy) = ((to.x - from.x) / chord, (to.y - from.y) / chord);
    let middle = from.toward(to, 0.5);
    Some(middle.moved(-dy * side * height, dx * side * height))
}

/// The centre moved to the chord's bisector: M + n((C - M).n).
pub(crate) fn on_bisector(from: Point, to: Point, centre: Point) -> Point {
    let chord = from.distance(to);
    if chord <= 0.0 {
        return centre;
    }
    let middle = from.toward(to, 0.5);
    let (nx, ny) = (-(to.y - from.y) / chord, (to.x - from.x) / chord);
    let off = (centre.x - middle.x) * nx + (centre.y - middle.y) * ny;
    middle.moved(nx * off, ny * off)
}

/// One unit of the last digit of the finest of some numbers, in their own unit.
pub(crate) fn last_digit(numbers: &[Option<Number>], finest_so_far: u16) -> f64 {
    let decimals = numbers
        .iter()
        .flatten()
        .map(|n| n.decimals())
        .max()
        .unwrap_or(0)
        .max(finest_so_far);
    10_f64.powi(-i32::from(decimals.min(18)))
}
