//! Forty changes of a clean demonstration program, each caught by the rule that watches for it.

use program::{Report, Setup, Verdict};
use standclear::config::Config;
use standclear::job::prepare;

const SETUP: &str = include_str!("../../config/demo/hinge-plates.toml");
const PROGRAM: &str = include_str!("../../config/demo/hinge-plates.nc");
/// The first outline (part 4), and the hole before it that is largest.
const OUTLINE: usize = 30;
const HOLE: usize = 2;

#[derive(Clone)]
struct Demo {
    head: String,
    cuts: Vec<String>,
    setup: String,
    config: Config,
}

impl Demo {
    fn new() -> Self {
        let mut parts = PROGRAM.split("(cut ").map(str::to_owned);
        let head = parts.next().expect("a head");
        let mut cuts: Vec<String> = parts.map(|p| format!("(cut {p}")).collect();
        let last = cuts.last_mut().expect("cuts");
        *last = last.replace("M02\n", "");
        Self {
            head,
            cuts,
            setup: SETUP.to_owned(),
            config: Config::built_in(),
        }
    }

    fn report(&self) -> Report {
        let text = format!("{}{}M02\n", self.head, self.cuts.concat());
        self.vet(&text)
    }

    fn vet(&self, text: &str) -> Report {
        let setup = Setup::from_toml(&self.setup).expect("a setup");
        prepare(&self.config, "mutated", text.as_bytes(), Some(setup)).report
    }

    fn edit(&mut self, cut: usize, from: &str, to: &str) {
        let text = &mut self.cuts[cut];
        assert!(text.contains(from), "{from} is not in {text}");
        *text = text.replacen(from, to, 1);
    }

    fn place(&mut self, from: &str, to: &str) {
        assert!(self.setup.contains(from), "{from} is not in {}", self.setup);
        self.setup = self.setup.replacen(from, to, 1);
    }
}

/// Every X, Y, I and J of a text scaled.
fn scaled(text: &str, by: f64) -> String {
    text.lines()
        .map(|line| {
            if line.starts_with('(') {
                return line.to_owned() + "\n";
            }
            let words = line.split(' ').map(|w| match w.split_at_checked(1) {
                Some((l @ ("X" | "Y" | "I" | "J"), n)) => {
                    format!("{l}{:.4}", n.parse::<f64>().unwrap_or(0.0) * by)
                }
                _ => w.to_owned(),
            });
            words.collect::<Vec<_>>().join(" ") + "\n"
        })
        .collect()
}

type Change = fn(&mut Demo);

const CHANGES: &[(&str, &str, Change)] = &[
    ("unit word swapped", "scale-suspect", |d| {
        d.head = d.head.replace("G21", "G20")
    }),
    ("unit word deleted", "units-not-stated", |d| {
        d.head = d.head.replace("G21 ", "")
    }),
    ("scaled by 25.4", "outside-sheet", |d| {
        d.cuts.iter_mut().for_each(|c| *c = scaled(c, 25.4))
    }),
    ("scaled by 1/25.4", "scale-suspect", |d| {
        d.cuts.iter_mut().for_each(|c| *c = scaled(c, 1.0 / 25.4))
    }),
    ("a torch off deleted", "torch-on-in-rapid", |d| {
        d.edit(3, "M05\n", "")
    }),
    ("the last torch off deleted", "torch-left-on", |d| {
        d.edit(35, "M05\n", "")
    }),
    ("a torch on doubled", "torch-on-twice", |d| {
        d.edit(7, "M03", "M03\nM03")
    }),
    ("a torch on deleted", "torch-on-twice", |d| {
        d.edit(7, "M03\n", "")
    }),
    ("the letter O for a zero", "unreadable-block", |d| {
        d.edit(OUTLINE, "X160.725", "X16O.725")
    }),
    ("a decimal comma", "unreadable-block", |d| {
        d.edit(OUTLINE, "X160.725", "X160,725")
    }),
    ("a rotary axis", "unsupported-word", |d| {
        d.edit(OUTLINE, "G01 X32", "G01 X32 A90")
    }),
    ("another plane", "unsupported-word", |d| {
        d.head = d.head.replace("G17", "G18")
    }),
    ("a centre off along the chord", "arc-radius-mismatch", |d| {
        d.edit(OUTLINE, "I0 J12.725", "I0.4 J13.1")
    }),
    ("a corner turned the wrong way", "arc-wrong-way", |d| {
        d.edit(OUTLINE, "G02 X32", "G03 X32")
    }),
    ("a radius below half the chord", "arc-impossible", |d| {
        d.edit(OUTLINE, "X19.275 Y152 I0 J12.725", "X19.275 Y152 R5")
    }),
    ("an outline before its holes", "return-path-lost", |d| {
        let o = d.cuts.remove(OUTLINE);
        d.cuts.insert(0, o)
    }),
    (
        "an outline before its holes, told as such",
        "hole-after-outline",
        |d| {
            let o = d.cuts.remove(OUTLINE);
            d.cuts.insert(0, o)
        },
    ),
    ("an outline repeated", "cut-twice", |d| {
        let o = d.cuts[OUTLINE].clone();
        d.cuts.push(o)
    }),
    ("a hole repeated", "pierce-in-void", |d| {
        let h = d.cuts[HOLE].clone();
        d.cuts.insert(5, h)
    }),
    (
        "a pierce moved into an earlier kerf",
        "pierce-in-void",
        |d| d.edit(31, "X256 Y133.275", "X160.725 Y180"),
    ),
    (
        "a pierce moved beside an earlier kerf",
        "pierce-near-kerf",
        |d| {
            d.edit(
                31,
                "X256 Y133.275\nM03",
                "X164 Y180\nM03\nG01 X256 Y133.275",
            )
        },
    ),
    ("the clamp on a part", "clamp-on-dropout", |d| {
        d.place("[560, 360]", "[250, 160]")
    }),
    ("the clamp on a path", "on-clamp", |d| {
        d.place("[560, 360]", "[250, 139]")
    }),
    ("a lead-in deleted", "no-lead-in", |d| {
        d.edit(
            OUTLINE,
            "G00 X96 Y133.275\nM03\nG03 X90 Y139.275 I-6 J0",
            "G00 X90 Y139.275\nM03",
        )
    }),
    ("a lead-in flipped", "pierce-on-part", |d| {
        d.edit(
            OUTLINE,
            "G00 X96 Y133.275\nM03\nG03 X90 Y139.275 I-6 J0",
            "G00 X96 Y145.275\nM03\nG02 X90 Y139.275 I-6 J0",
        )
    }),
    ("a lead-in far too long", "lead-in-crosses", |d| {
        d.edit(
            OUTLINE,
            "G00 X96 Y133.275\nM03\nG03 X90 Y139.275 I-6 J0",
            "G00 X90 Y20\nM03\nG01 X90 Y139.275",
        )
    }),
    ("a hole reversed", "direction-of-cut", |d| {
        d.edit(HOLE, "G03", "G02")
    }),
    ("an outline that ends short", "open-contour", |d| {
        d.edit(OUTLINE, "G01 X88", "G01 X92")
    }),
    ("a part moved onto its neighbour", "parts-too-close", |d| {
        let o = d.cuts[31].clone();
        d.cuts[31] = shifted(&o, -25.0, 0.0)
    }),
    (
        "a part moved close to its neighbour",
        "parts-too-close",
        |d| {
            let o = d.cuts[31].clone();
            d.cuts[31] = shifted(&o, -17.0, 0.0)
        },
    ),
    ("the job moved half a sheet", "outside-sheet", |d| {
        d.place("origin = [0, 0]", "origin = [300, 0]")
    }),
    ("the job moved to the edge", "near-edge", |d| {
        d.place("origin = [0, 0]", "origin = [-17, 0]")
    }),
    ("a hole of 0.9 t", "hole-too-small", |d| {
        d.cuts[HOLE] =
            "(hole)\nG00 X90.2 Y185\nM03\nG01 X91.525 F660\nG03 X91.525 Y185 I-1.525 J0\nM05\n"
                .into()
    }),
    ("a feed 25.4 times too high", "feed-impossible", |d| {
        d.edit(OUTLINE, "F1100", "F27940")
    }),
    ("that feed against the machine", "feed-above-machine", |d| {
        d.edit(OUTLINE, "F1100", "F27940")
    }),
    ("a feed 1.3 times too high", "feed-off-chart", |d| {
        d.edit(OUTLINE, "F1100", "F1430")
    }),
    ("holes at full feed", "hole-feed", |d| {
        d.edit(0, "F660", "F1100")
    }),
    ("a stop in a cut", "stop-while-on", |d| {
        d.edit(OUTLINE, "G01 X32", "M00\nG01 X32")
    }),
    ("the zero shifted in a cut", "zero-shift-in-cut", |d| {
        d.edit(OUTLINE, "G01 X32", "G92 X0 Y0\nG01 X32")
    }),
    ("relative words in a cut", "mode-in-cut", |d| {
        d.edit(OUTLINE, "G01 X32", "G91\nG90\nG01 X32")
    }),
    ("a small compressor", "air-short", |d| {
        d.config.air.compressor_l_min = 90.0
    }),
    ("a worn set", "wear-out", |d| {
        d.config.supplies = d
            .config
            .supplies
            .map(|s| process::Set { starts: 590.0, ..s })
    }),
    ("a small source", "over-rated-current", |d| {
        d.config.power.rated_amps = 30.0
    }),
    ("an old slot at a pierce", "over-used", |d| {
        d.setup
            .push_str("used = [[[94, 183], [97, 183], [97, 187], [94, 187]]]\n")
    }),
    ("another thickness", "feed-impossible", |d| {
        d.place("thickness = 5", "thickness = 12")
    }),
];

fn shifted(text: &str, dx: f64, dy: f64) -> String {
    text.lines()
        .map(|line| {
            if line.starts_with('(') {
                return line.to_owned() + "\n";
            }
            let words = line.split(' ').map(|w| match w.split_at_checked(1) {
                Some(("X", n)) => format!("X{:.4}", n.parse::<f64>().unwrap_or(0.0) + dx),
                Some(("Y", n)) => format!("Y{:.4}", n.parse::<f64>().unwrap_or(0.0) + dy),
                _ => w.to_owned(),
            });
            words.collect::<Vec<_>>().join(" ") + "\n"
        })
        .collect()
}

#[test]
fn forty_changes_of_a_clean_program_are_caught_by_their_rules() {
    let clean = Demo::new().report();
    assert_eq!(clean.verdict, Verdict::Clear);
    let mut kinds: Vec<_> = clean.findings.iter().map(|f| f.rule.as_str()).collect();
    kinds.sort_unstable();
    kinds.dedup();
    assert!(kinds.len() <= 2, "{kinds:?}");
    assert!(CHANGES.len() >= 40);
    let mut missed = Vec::new();
    for (what, rule, change) in CHANGES {
        let mut demo = Demo::new();
        change(&mut demo);
        let report = demo.report();
        let own = report.findings.iter().find(|f| f.rule == *rule);
        let quiet = report.verdict == Verdict::Clear;
        match own {
            None => {
                let rules: Vec<_> = report.findings.iter().map(|f| &f.rule).collect();
                missed.push(format!("{what}: {rule} is not among {rules:?}"));
            }
            Some(f) if f.severity != program::Severity::Note && quiet => {
                missed.push(format!("{what}: still clear"));
            }
            Some(_) => {}
        }
    }
    assert!(missed.is_empty(), "{missed:#?}");
}

#[test]
fn the_text_cut_short_or_without_its_end_is_never_clear() {
    let demo = Demo::new();
    let whole = format!("{}{}M02\n", demo.head, demo.cuts.concat());
    for k in 1..40 {
        let end = whole.len() * k / 40;
        assert_ne!(
            demo.vet(&whole[..end]).verdict,
            Verdict::Clear,
            "cut at {end}"
        );
    }
}
