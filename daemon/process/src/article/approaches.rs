//! Lost motion of an axis from approaches to targets from both sides, in the manner of ISO 230-2
//! (formulas from memory: the printed standard was not read).

/// Approaches to one target, each as actual less target, mm.
#[derive(Clone, Debug, PartialEq)]
pub struct Approaches {
    /// From below.
    pub up: Vec<f64>,
    /// From above.
    pub down: Vec<f64>,
}

/// What approaches to one target show, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeatability {
    /// Reversal value B: mean from below less mean from above.
    pub reversal_mm: f64,
    /// Four standard deviations from below.
    pub up_mm: f64,
    /// Four standard deviations from above.
    pub down_mm: f64,
    /// Of both directions: max(2 s_up + 2 s_down + |B|, R_up, R_down).
    pub both_mm: f64,
}

impl Approaches {
    /// `None`: fewer than two approaches from a side.
    #[must_use]
    pub fn repeatability(&self) -> Option<Repeatability> {
        let (up, s_up) = spread(&self.up)?;
        let (down, s_down) = spread(&self.down)?;
        let reversal_mm = up - down;
        let (up_mm, down_mm) = (4.0 * s_up, 4.0 * s_down);
        let across = 2.0 * (s_up + s_down) + reversal_mm.abs();
        Some(Repeatability {
            reversal_mm,
            up_mm,
            down_mm,
            both_mm: across.max(up_mm).max(down_mm),
        })
    }
}

/// Mean and standard deviation (n - 1).
fn spread(of: &[f64]) -> Option<(f64, f64)> {
    if of.len() < 2 {
        return None;
    }
    let n = of.len() as f64;
    let mean = of.iter().sum::<f64>() / n;
    let squares: f64 = of.iter().map(|v| (v - mean).powi(2)).sum();
    Some((mean, (squares / (n - 1.0)).sqrt()))
}
