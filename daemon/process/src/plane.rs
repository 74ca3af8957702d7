//! The plane in which the sheet lies, by the touches of a run: least squares.

use units::Point;

/// Touches that lie closer together than this about their middle line show no slope, mm (invented).
const SPREAD_MM: f64 = 15.0;
/// A place for which the touches weigh less than one of them is too far from them to be foretold.
const LEVERAGE: f64 = 1.0;

/// Where the sheet was touched, and at which height, mm.
pub type Touch = (Point, f64);

/// The plane through touches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plane {
    n: f64,
    middle: Point,
    z: f64,
    /// Second moments about the middle, per touch, mm2.
    xx: f64,
    xy: f64,
    yy: f64,
    slope: Point,
}

impl Plane {
    /// `None`: fewer than three touches, or all of them along one line.
    #[must_use]
    pub fn fit(touches: &[Touch]) -> Option<Self> {
        let n = touches.len() as f64;
        if touches.len() < 3 {
            return None;
        }
        let mean = |f: &dyn Fn(&Touch) -> f64| touches.iter().map(f).sum::<f64>() / n;
        let middle = Point::new(mean(&|t| t.0.x), mean(&|t| t.0.y));
        let z = mean(&|t| t.1);
        let about = |t: &Touch| (t.0.x - middle.x, t.0.y - middle.y, t.1 - z);
        let moment = |f: &dyn Fn((f64, f64, f64)) -> f64| mean(&|t| f(about(t)));
        let (xx, xy, yy) = (
            moment(&|(x, _, _)| x * x),
            moment(&|(x, y, _)| x * y),
            moment(&|(_, y, _)| y * y),
        );
        let (xz, yz) = (moment(&|(x, _, z)| x * z), moment(&|(_, y, z)| y * z));
        let least = (xx + yy) / 2.0 - ((xx - yy) / 2.0).hypot(xy);
        if least.is_nan() || least < SPREAD_MM * SPREAD_MM {
            return None;
        }
        let det = xx * yy - xy * xy;
        let slope = Point::new((xz * yy - yz * xy) / det, (yz * xx - xz * xy) / det);
        Some(Self {
            n,
            middle,
            z,
            xx,
            xy,
            yy,
            slope,
        })
    }

    /// The height at a place; `None` where it lies too far from the touches.
    #[must_use]
    pub fn at(&self, p: Point) -> Option<f64> {
        let (x, y) = (p.x - self.middle.x, p.y - self.middle.y);
        let det = self.xx * self.yy - self.xy * self.xy;
        let far = (x * x * self.yy - 2.0 * x * y * self.xy + y * y * self.xx) / det;
        let leverage = (1.0 + far) / self.n;
        (leverage <= LEVERAGE).then_some(self.z + self.slope.x * x + self.slope.y * y)
    }

    /// Rise over run.
    #[must_use]
    pub fn slope(&self) -> f64 {
        self.slope.x.hypot(self.slope.y)
    }
}
