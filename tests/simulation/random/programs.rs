//! Programs of chance: a few parts on a sheet, holes first, each with its lead-in, as a person would
//! have them made. What vetting refuses is not for the table: another is drawn.

use core::fmt::Write;
use std::sync::Arc;

use planning::Job;
use program::Setup;
use standclear::config::Config;
use standclear::job::prepare;

use super::odd;
use crate::chance::Chance;

/// Kerf and feed of some rows of the invented chart: thickness mm, current A, kerf mm, feed mm/min.
const ROWS: [(f64, u32, f64, u32); 5] = [
    (2.0, 40, 1.27, 3300),
    (3.0, 40, 1.33, 2200),
    (4.0, 40, 1.39, 1500),
    (5.0, 40, 1.45, 1100),
    (6.0, 40, 1.51, 800),
];
/// Seeds above this draw odd shapes as well.
pub const ODD_ABOVE: u64 = 10_000;
/// A part has a square of this side for itself, mm.
const CELL_MM: f64 = 84.0;
/// So many programs are drawn at most until one may be cut.
const DRAWS: u64 = 40;

/// A program in the making.
pub(super) struct Drawing {
    text: String,
    pub feed: u32,
}

impl Drawing {
    pub fn fire(&mut self, x: f64, y: f64) {
        let _ = writeln!(self.text, "G00 X{x:.3} Y{y:.3}\nM03");
    }

    pub fn line(&mut self, x: f64, y: f64, feed: u32) {
        let _ = writeln!(self.text, "G01 X{x:.3} Y{y:.3} F{feed}");
    }

    pub fn arc(&mut self, word: &str, to: (f64, f64), i: f64, j: f64) {
        let (x, y, feed) = (to.0, to.1, self.feed);
        let _ = writeln!(self.text, "{word} X{x:.3} Y{y:.3} I{i:.3} J{j:.3} F{feed}");
    }

    pub fn out(&mut self) {
        self.text.push_str("M05\n");
    }

    /// A round hole, counter-clockwise, led into from its middle.
    fn hole(&mut self, (x, y): (f64, f64), r: f64) {
        let slow = self.feed * 6 / 10;
        self.fire(x, y);
        self.line(x + r, y, slow);
        let feed = std::mem::replace(&mut self.feed, slow);
        self.arc("G03", (x + r, y), -r, 0.0);
        self.feed = feed;
        self.out();
    }

    /// A slot, counter-clockwise, led into from its middle.
    fn slot(&mut self, (x, y): (f64, f64), w: f64, h: f64, over: f64) {
        let (r, a, slow) = (h / 2.0, w / 2.0 - h / 2.0, self.feed * 6 / 10);
        self.fire(x, y);
        self.line(x, y - r, slow);
        self.line(x + a, y - r, slow);
        let feed = std::mem::replace(&mut self.feed, slow);
        self.arc("G03", (x + a, y + r), 0.0, r);
        self.line(x - a, y + r, slow);
        self.arc("G03", (x - a, y - r), 0.0, -r);
        self.feed = feed;
        self.line(x + over, y - r, slow);
        self.out();
    }

    /// A rounded rectangle, clockwise, led into along an arc from below.
    fn plate(&mut self, (x, y): (f64, f64), w: f64, h: f64, r: f64, over: f64) {
        let (l, t, b, g, f) = (
            x - w / 2.0,
            y + h / 2.0,
            y - h / 2.0,
            x + w / 2.0,
            self.feed,
        );
        self.fire(x + 6.0, b - 6.0);
        self.arc("G03", (x, b), -6.0, 0.0);
        self.line(l + r, b, f);
        self.arc("G02", (l, b + r), 0.0, r);
        self.line(l, t - r, f);
        self.arc("G02", (l + r, t), r, 0.0);
        self.line(g - r, t, f);
        self.arc("G02", (g, t - r), 0.0, -r);
        self.line(g, b + r, f);
        self.arc("G02", (g - r, b), -r, 0.0);
        self.line(x - over, b, f);
        self.out();
    }

    /// A plate with sharp corners, clockwise, led into straight from below.
    fn sharp(&mut self, (x, y): (f64, f64), w: f64, h: f64, over: f64) {
        let (l, t, b, g, f) = (
            x - w / 2.0,
            y + h / 2.0,
            y - h / 2.0,
            x + w / 2.0,
            self.feed,
        );
        self.fire(x + 4.0, b - 6.0);
        self.line(x, b, f);
        for (to_x, to_y) in [(l, b), (l, t), (g, t), (g, b), (x - over, b)] {
            self.line(to_x, to_y, f);
        }
        self.out();
    }

    /// A disc, clockwise, led into along an arc from below.
    fn disc(&mut self, (x, y): (f64, f64), r: f64) {
        self.fire(x + 6.0, y - r - 6.0);
        self.arc("G03", (x, y - r), -6.0, 0.0);
        self.arc("G02", (x, y + r), 0.0, r);
        self.arc("G02", (x, y - r), 0.0, -r);
        let a = (1.5 / r).min(0.3);
        let end = (x - r * a.sin(), y - r * a.cos());
        self.arc("G02", end, 0.0, r);
        self.out();
    }

    /// A slit that stays open.
    fn slit(&mut self, (x, y): (f64, f64), long: f64) {
        let f = self.feed;
        self.fire(x - long / 2.0, y);
        self.line(x + long / 2.0, y, f);
        self.out();
    }

    fn part(&mut self, chance: &mut Chance, at: (f64, f64), kerf: f64) {
        let (w, h) = (chance.within(34.0, 58.0), chance.within(34.0, 58.0));
        let kind = chance.below(4);
        let (inner_w, inner_h) = if kind == 2 {
            let side = w.min(h) * 0.62;
            (side, side)
        } else {
            (w - 14.0, h - 14.0)
        };
        let least = (3.0 * kerf).max(5.0);
        match chance.below(6) {
            0 => {}
            1 | 2 => {
                let r = chance.within(least, (inner_w.min(inner_h) / 2.0 - 1.0).max(least));
                self.hole(at, r.min(12.0));
            }
            3 => {
                let r = chance.within(least, 6.5);
                let off = inner_w / 4.0;
                if off > r + 4.0 {
                    self.hole((at.0 - off, at.1), r);
                    self.hole((at.0 + off, at.1), r);
                } else {
                    self.hole(at, r);
                }
            }
            4 => self.slot(at, inner_w.min(26.0), 11.0, chance.within(0.5, 2.0)),
            _ => self.slit(at, inner_w.min(18.0)),
        }
        let over = chance.within(0.0, 2.5);
        match kind {
            0 => self.sharp(at, w, h, over),
            2 => self.disc(at, w.min(h) / 2.0),
            _ => self.plate(at, w, h, chance.within(1.0, 8.0), over),
        }
    }
}

/// A job of chance: its program, and what lies on the table.
pub fn job(config: &Config, seed: u64) -> (Arc<Job>, String) {
    for draw in 0..DRAWS {
        let mut chance = Chance::of(seed, 100 + draw);
        let (text, setup) = drawn(&mut chance, seed > ODD_ABOVE);
        let setup = Setup::from_toml(&setup).expect("a setup as it should be");
        let prepared = prepare(config, "drawn", text.as_bytes(), Some(setup));
        let warned = prepared.report.accepted_for("a program of chance");
        if let Ok(job) = prepared.seal(&config.table(), &warned) {
            return (job, text);
        }
    }
    panic!("seed {seed}: {DRAWS} programs were all refused");
}

/// A program's text and its setup's.
fn drawn(chance: &mut Chance, odd: bool) -> (String, String) {
    let (thickness, amps, kerf, feed) = chance.pick(&ROWS);
    let (columns, rows) = (1 + chance.below(2), 1 + chance.below(2));
    let mut drawing = Drawing {
        text: String::from("G21 G90 G17 G40\n(invented: drawn by chance)\n"),
        feed,
    };
    let mut parts = 0;
    for row in 0..rows {
        for column in 0..columns {
            if parts > 0 && chance.happens(0.35) {
                continue;
            }
            parts += 1;
            let x = 14.0 + CELL_MM * (column as f64 + 0.5);
            let y = 14.0 + CELL_MM * (row as f64 + 0.5);
            if odd && chance.happens(0.7) {
                odd::shape(&mut drawing, chance, (x, y), CELL_MM - 18.0);
            } else {
                drawing.part(chance, (x, y), kerf);
            }
        }
    }
    drawing.text.push_str("M02\n");
    let sheet = (
        CELL_MM * columns as f64 + 60.0,
        CELL_MM * rows as f64 + 30.0,
    );
    let setup = format!(
        "material = \"mild-steel\"\nthickness = {thickness}\nsheet = [{}, {}]\norigin = [0, 0]\n\
         clamp = [{}, {}]\nchart = \"mild-steel {thickness} mm {amps} A\"\n",
        sheet.0,
        sheet.1,
        sheet.0 - 12.0,
        sheet.1 / 2.0
    );
    (drawing.text, setup)
}
