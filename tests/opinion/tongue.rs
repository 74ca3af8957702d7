//! How a program is said: its unit, whole places or steps, arcs by centre or radius, its zero and turn.

use std::f64::consts::PI;
use std::fmt::Write as _;

use super::{Cut, Draw, P, Step, far, sweep};

/// How a program is said.
pub struct Tongue {
    inches: bool,
    steps: bool,
    radius: bool,
    pub origin: P,
    pub turned: f64,
}

impl Tongue {
    pub fn draw(draw: &mut Draw) -> Self {
        Self {
            inches: draw.chance(0.3),
            steps: draw.chance(0.3),
            radius: draw.chance(0.4),
            origin: if draw.chance(0.5) {
                [draw.within(0.0, 60.0), draw.within(0.0, 60.0)]
            } else {
                [0.0, 0.0]
            },
            turned: [0.0, 0.0, 90.0, 180.0, 33.0][draw.below(5)],
        }
    }

    /// A place of the sheet in the program's own numbers: whole ones, so many to a unit.
    fn number(&self, v: f64) -> f64 {
        let (unit, whole) = if self.inches { (25.4, 1e5) } else { (1.0, 1e4) };
        (v / unit * whole).round() / whole
    }

    fn turn(&self, p: P) -> P {
        let (sin, cos) = (-self.turned).to_radians().sin_cos();
        [p[0] * cos - p[1] * sin, p[0] * sin + p[1] * cos]
    }

    fn place(&self, p: P) -> P {
        let q = self.turn([p[0] - self.origin[0], p[1] - self.origin[1]]);
        [self.number(q[0]), self.number(q[1])]
    }

    pub fn say(&self, cuts: &[Cut], feed: f64) -> String {
        let mut text = String::from("(INVENTED DATA - not for cutting metal)\n");
        let _ = writeln!(
            text,
            "G{} G{} F{:.2}",
            if self.inches { 20 } else { 21 },
            if self.steps { 91 } else { 90 },
            self.number(feed)
        );
        let mut at = [0.0, 0.0];
        let mut go = |text: &mut String, word: &str, p: P, more: &str| {
            let said = if self.steps {
                [p[0] - at[0], p[1] - at[1]]
            } else {
                p
            };
            at = p;
            let _ = writeln!(text, "{word} X{:.5} Y{:.5}{more}", said[0], said[1]);
        };
        for cut in cuts {
            go(&mut text, "G0", self.place(cut.pierce), "");
            if let Some(side) = cut.beside {
                text.push_str(if side.left { "G41\n" } else { "G42\n" });
            }
            text.push_str("M3\n");
            let mut from = cut.pierce;
            for step in &cut.steps {
                match *step {
                    Step::Line { to } => go(&mut text, "G1", self.place(to), ""),
                    Step::Arc { to, centre, left } => {
                        let (_, swept) = sweep(from, to, centre, left);
                        // Near half and whole turns a radius says too little: RS-274 advises against it.
                        let by_radius = self.radius
                            && (swept < 0.95 * PI || (swept > 1.05 * PI && swept < 1.8 * PI));
                        let more = if by_radius {
                            let r = self.number(far(from, centre));
                            format!(" R{:.5}", if swept > PI { -r } else { r })
                        } else {
                            let c = self.turn([centre[0] - from[0], centre[1] - from[1]]);
                            format!(" I{:.5} J{:.5}", self.number(c[0]), self.number(c[1]))
                        };
                        go(
                            &mut text,
                            if left { "G3" } else { "G2" },
                            self.place(to),
                            &more,
                        );
                    }
                }
                from = step.to();
            }
            if cut.beside.is_some() {
                text.push_str("G40\n");
            }
            text.push_str("M5\n");
        }
        text + "M2\n"
    }
}
