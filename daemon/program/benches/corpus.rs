//! What vetting says of a corpus of programs, one line each: what is to stay the same when the code is
//! made faster. Two states of the code are compared by their files:
//!
//!     cargo bench -p program --bench corpus -- FOLDER      the reports as JSON, a file a program
//!     diff -r FOLDER OTHER
#![allow(
    missing_docs,
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a tool beside the crate writes files"
)]

use std::fmt::Write as _;
use std::path::Path;

use program::{ReadingRules, Setup, read, vet_in_full};

#[path = "programs/families.rs"]
mod families;
#[path = "programs/mod.rs"]
mod programs;

use programs::{hot, input};

/// Random programs.
const RANDOM: u64 = 1500;

fn main() -> std::io::Result<()> {
    let Some(folder) = std::env::args().skip(1).find(|a| !a.starts_with('-')) else {
        println!("name a folder for the reports");
        return Ok(());
    };
    let folder = Path::new(&folder);
    std::fs::create_dir_all(folder)?;
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    for list in ["config/demo", "tests/fixtures/programs", "tests/fuzz/seeds"] {
        for entry in std::fs::read_dir(root.join(list))? {
            let path = entry?.path();
            let text = std::fs::read(&path)?;
            let setup = std::fs::read_to_string(path.with_extension("toml"));
            let setup = setup.ok().and_then(|s| Setup::from_toml(&s).ok());
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            tell(
                folder,
                &name,
                &text,
                &setup.unwrap_or_else(programs::blocks_setup),
            )?;
        }
    }
    for family in families::ALL {
        for size in [7, 60, family.least.min(500)] {
            let (text, setup) = (family.make)(size);
            let name = format!("{} {size}", family.name.replace([':', ','], ""));
            tell(folder, &name, text.as_bytes(), &setup)?;
        }
    }
    for seed in 0..RANDOM {
        let (text, setup) = random(seed);
        tell(folder, &format!("random {seed}"), text.as_bytes(), &setup)?;
    }
    tell(
        folder,
        "blocks",
        programs::blocks(30_000).as_bytes(),
        &programs::blocks_setup(),
    )?;
    tell(
        folder,
        "wavy",
        programs::wavy().as_bytes(),
        &programs::wavy_setup(),
    )
}

fn tell(folder: &Path, name: &str, text: &[u8], setup: &Setup) -> std::io::Result<()> {
    let reading = read(text, &ReadingRules::default());
    let hot = hot(reading.cut_list.cuts.len().min(2000));
    let mut all = String::new();
    for known in [true, false] {
        let mut input = input(setup, 1.5, &hot);
        if !known {
            input.facts = program::Facts::default();
            input.line_limit = 30;
            input.traverse_height_mm = 12.0;
        }
        let vetting = vet_in_full(&reading, &input);
        all += &serde_json::to_string_pretty(&vetting.report)?;
        let pieces = vetting.pieces.as_ref().map(|p| p.pieces());
        let _ = write!(all, "\n{pieces:?}\n{:?}\n", vetting.loose);
    }
    std::fs::write(folder.join(name), all)
}

/// A small generator of our own: the same numbers in every state of the code.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn upto(&mut self, n: u64) -> u64 {
        self.next() % n
    }

    fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * (self.upto(100_000) as f64 / 100_000.0)
    }

    fn one_in(&mut self, n: u64) -> bool {
        self.upto(n) == 0
    }
}

/// Contours of several kinds, nested, shifted, doubled, open, held by tabs, on a sheet with used
/// areas and keep-outs; units, arcs and compensation as the dice fall.
fn random(seed: u64) -> (String, Setup) {
    let mut d = Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    for _ in 0..8 {
        d.next();
    }
    let inches = d.one_in(6);
    let unit = if inches { 25.4 } else { 1.0 };
    let mut text = format!("{} G90 G17\n", if inches { "G20" } else { "G21" });
    let _ = writeln!(
        text,
        "F{:.3}",
        if d.one_in(5) { 600.0 } else { 1100.0 } / unit
    );
    let many = 1 + d.upto(18);
    let mut pen = Pen { text, unit };
    for _ in 0..many {
        let (x, y) = (d.between(-5.0, 260.0), d.between(-5.0, 160.0));
        let size = d.between(2.0, 60.0);
        let nested = d.upto(3);
        let inside_first = !d.one_in(4);
        let mut sizes: Vec<f64> = (0..=nested)
            .map(|k| size * 0.55_f64.powi(k as i32))
            .collect();
        if inside_first {
            sizes.reverse();
        }
        for s in sizes {
            let kind = d.upto(6);
            contour(&mut pen, &mut d, kind, x, y, s);
        }
    }
    if d.one_in(12) {
        pen.text.push_str("G1 X1,2\n#3\n");
    }
    pen.text.push_str("M5\nM2\n");
    let mut setup = format!(
        "material = \"mild-steel\"\nthickness = {}\nsheet = [300, 200]\norigin = [{:.1}, {:.1}]\nrotation = {}\nclamp = [{:.1}, {:.1}]\n",
        [1.5, 3.0, 5.0, 10.0][d.upto(4) as usize],
        d.between(-2.0, 20.0),
        d.between(-2.0, 20.0),
        [0, 0, 0, 90, 3, 181][d.upto(6) as usize],
        d.between(0.0, 300.0),
        d.between(0.0, 200.0),
    );
    if d.one_in(3) {
        setup += "used = [";
        for _ in 0..=d.upto(4) {
            let (x, y, s) = (
                d.between(0.0, 280.0),
                d.between(0.0, 180.0),
                d.between(1.0, 60.0),
            );
            let _ = write!(
                setup,
                "[[{x:.2}, {y:.2}], [{:.2}, {y:.2}], [{x:.2}, {:.2}]],",
                x + s,
                y + s
            );
        }
        setup += "]\n";
    }
    if d.one_in(3) {
        setup += "keepouts = [";
        for _ in 0..=d.upto(6) {
            let _ = write!(
                setup,
                "{{ at = [{:.2}, {:.2}], size = [{:.2}, {:.2}], height = {} }},",
                d.between(0.0, 300.0),
                d.between(0.0, 200.0),
                d.between(1.0, 30.0),
                d.between(1.0, 30.0),
                10 * d.upto(6)
            );
        }
        setup += "]\n";
    }
    if d.one_in(3) {
        setup += "tabs = [";
        for _ in 0..=d.upto(8) {
            let _ = write!(
                setup,
                "[{:.2}, {:.2}],",
                d.between(0.0, 300.0),
                d.between(0.0, 200.0)
            );
        }
        setup += "]\n";
    }
    (pen.text, programs::setup(&setup))
}

struct Pen {
    text: String,
    unit: f64,
}

impl Pen {
    fn go(&mut self, word: &str, x: f64, y: f64) {
        let _ = writeln!(
            self.text,
            "{word} X{:.5} Y{:.5}",
            x / self.unit,
            y / self.unit
        );
    }

    fn arc(&mut self, word: &str, to: (f64, f64), centre: (f64, f64)) {
        let _ = writeln!(
            self.text,
            "{word} X{:.5} Y{:.5} I{:.5} J{:.5}",
            to.0 / self.unit,
            to.1 / self.unit,
            centre.0 / self.unit,
            centre.1 / self.unit
        );
    }

    fn word(&mut self, word: &str) {
        self.text.push_str(word);
        self.text.push('\n');
    }
}

fn contour(pen: &mut Pen, d: &mut Dice, kind: u64, x: f64, y: f64, s: f64) {
    let turns = if d.one_in(15) { 2 } else { 1 };
    let lead = if d.one_in(3) {
        0.0
    } else {
        d.between(0.5, 6.0)
    };
    let outside = if d.one_in(3) { -1.0 } else { 1.0 };
    let compensation = d.one_in(10);
    match kind {
        0 | 1 => {
            // A round one, in one arc, in two, or of short lines, with an over-burn or a gap.
            let r = s / 2.0;
            pen.go("G0", x + r + outside * lead, y);
            if compensation {
                pen.word("G41");
            }
            pen.word("M3");
            pen.go("G1", x + r, y);
            let word = if d.one_in(2) { "G2" } else { "G3" };
            match d.upto(3) {
                0 => pen.arc(word, (x + r, y), (-r, 0.0)),
                1 => {
                    pen.arc(word, (x - r, y), (-r, 0.0));
                    pen.arc(word, (x + r, y), (r, 0.0));
                }
                _ => {
                    let n = 8 + d.upto(60);
                    for k in 1..=n * turns {
                        let (sin, cos) = (core::f64::consts::TAU * k as f64 / n as f64).sin_cos();
                        pen.go("G1", x + r * cos, y + r * sin);
                    }
                }
            }
            if d.one_in(2) {
                let (sin, cos) = (d.between(0.0, 3.0) / r.max(1.0)).sin_cos();
                pen.go("G1", x + r * cos, y + r * sin);
            }
        }
        2..=4 => {
            let h = s * d.between(0.3, 1.0);
            let m = x - s * 0.1;
            let low = y - h / 2.0;
            pen.go("G0", m, low - outside * lead);
            if compensation {
                pen.word("G42");
            }
            pen.word("M3");
            pen.go("G1", m, low);
            for _ in 0..turns {
                let mut corners = vec![
                    (x - s / 2.0, low),
                    (x - s / 2.0, low + h),
                    (x + s / 2.0, low + h),
                    (x + s / 2.0, low),
                ];
                if kind == 4 {
                    corners.reverse();
                }
                for (cx, cy) in corners {
                    pen.go("G1", cx, cy);
                }
            }
            let past = if d.one_in(4) {
                -d.between(0.0, 4.0)
            } else {
                d.between(0.0, 3.0)
            };
            let back = if kind == 4 { -past } else { past };
            pen.go("G1", m + back, low);
            if d.one_in(6) {
                pen.go("G1", m + back + 1.0, low - 3.0);
            }
        }
        _ => {
            pen.go("G0", x, y);
            pen.word("M3");
            for _ in 0..d.upto(12) {
                pen.go("G1", x + d.between(-s, s), y + d.between(-s, s));
            }
        }
    }
    if compensation {
        pen.word("G40");
    }
    if !d.one_in(40) {
        pen.word("M5");
    }
}
