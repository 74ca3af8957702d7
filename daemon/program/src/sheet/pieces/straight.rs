//! Short pieces of a polyline put together where they run straight, so that painting them costs by the
//! length of path and not by how finely the program was written.

use units::Point;

/// The places left out lie no farther than this from the straight piece that is painted, mm: a tenth of the
/// finest cell, and a fifteenth of what a kerf counts as wider.
const OFF_MM: f64 = 0.01;
/// So many places are left out one after the other at most: each is looked at again for the next.
const MOST: usize = 6;

/// Puts pieces together.
pub(super) struct Straight {
    /// Where the piece at hand begins.
    from: Point,
    /// The places since then; the last is where the piece ends as yet.
    since: [Point; MOST],
    count: usize,
}

impl Straight {
    /// Begins at a place.
    pub fn new(from: Point) -> Self {
        Self {
            from,
            since: [from; MOST],
            count: 0,
        }
    }

    /// Goes on to a place; `piece` is told of each piece that is not to be any longer.
    pub fn on(&mut self, to: Point, piece: &mut dyn FnMut(Point, Point)) {
        if self.count == MOST || !self.is_straight(to) {
            self.end(piece);
        }
        self.since[self.count] = to;
        self.count += 1;
    }

    /// Tells of the last piece.
    pub fn end(&mut self, piece: &mut dyn FnMut(Point, Point)) {
        if let Some(last) = self.count.checked_sub(1) {
            piece(self.from, self.since[last]);
            self.from = self.since[last];
            self.count = 0;
        }
    }

    /// Whether all places since the beginning lie on the way to `to`.
    fn is_straight(&self, to: Point) -> bool {
        let (dx, dy) = (to.x - self.from.x, to.y - self.from.y);
        let square = dx * dx + dy * dy;
        let most = OFF_MM * OFF_MM * square;
        self.since[..self.count].iter().all(|p| {
            let (px, py) = (p.x - self.from.x, p.y - self.from.y);
            let (along, across) = (px * dx + py * dy, px * dy - py * dx);
            across * across <= most && (0.0..=square).contains(&along)
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn pieces(path: &[Point]) -> Vec<(Point, Point)> {
        let mut all = Vec::new();
        let mut add = |a, b| all.push((a, b));
        let mut straight = Straight::new(path[0]);
        path[1..].iter().for_each(|p| straight.on(*p, &mut add));
        straight.end(&mut add);
        all
    }

    proptest! {
        #[test]
        fn pieces_hang_together_and_no_place_lies_off_them(
            steps in prop::collection::vec((-0.4_f64..0.4, -0.02_f64..0.02), 1..60),
        ) {
            let mut path = vec![Point::default()];
            for (dx, dy) in steps {
                path.push(path[path.len() - 1].moved(dx, dy));
            }
            let all = pieces(&path);
            prop_assert_eq!(all[0].0, path[0]);
            prop_assert_eq!(all[all.len() - 1].1, path[path.len() - 1]);
            prop_assert!(all.windows(2).all(|w| w[0].1 == w[1].0));
            // Every place in the order of the path on one of the pieces, none passed over.
            let mut at = 0;
            for p in &path {
                let off = |k: usize| {
                    let (a, b): (Point, Point) = all[k];
                    a.toward(b, crate::geometry::plane::nearest_part(a, b, *p)).distance(*p)
                };
                while off(at) > OFF_MM + 1e-9 {
                    at += 1;
                    prop_assert!(at < all.len(), "{p:?} lies on no piece");
                }
            }
        }
    }

    #[test]
    fn a_fine_circle_becomes_few_pieces_and_a_corner_stays() {
        let circle: Vec<Point> = (0..=720)
            .map(|k| {
                let (sin, cos) = (f64::from(k) / 2.0).to_radians().sin_cos();
                Point::new(20.0 * cos, 20.0 * sin)
            })
            .collect();
        let many = pieces(&circle).len();
        assert!((103..200).contains(&many), "{many}");
        let corner = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0)].map(|(x, y)| Point::new(x, y));
        assert_eq!(pieces(&corner).len(), 2);
        // There and back is no straight way.
        let back = [(0.0, 0.0), (5.0, 0.0), (1.0, 0.0)].map(|(x, y)| Point::new(x, y));
        assert_eq!(pieces(&back).len(), 2);
    }
}
