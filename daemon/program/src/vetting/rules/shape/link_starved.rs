//! More blocks a second than the wire and the controller carry: the torch would falter.

use crate::vetting::rules::page::Page;
use units::Segment;

use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::cuts::cut_list::{CutList, Element};
use crate::vetting::facts::Link;
use crate::report::findings::{Findings, Spot};
use crate::cuts::join::{JOIN_MM, join};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "link-starved";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a machine file",
    measured: || "The blocks a second that the path needs at its feed against what wire and \
              controller carry.".to_owned(),
    limit: || format!("No stretch over {STRETCH_MM} mm needs more than is carried."),
    source: "The machine file and the dialect; 8 ms a block where none is named (invented).",
};

/// Shorter stretches are covered by what the controller holds in store, mm.
const STRETCH_MM: f64 = 20.0;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    if let Some(joined) = sheet.known().joined {
        findings.note(NAME, Spot::default(), || {
            (
                format!(
                    "Short pieces are joined within {JOIN_MM} mm: {} became {}.",
                    joined.from, joined.to
                ),
                "Lines in this report are those of the first piece of each. Leave the joining out to \
                 cut the program as it is written."
                    .to_owned(),
            )
        });
    }
    let Some(link) = sheet.known().link else {
        not_judged::tell(findings, NAME, Lack::Machine("what the wire and the controller carry is not known"));
        return;
    };
    let feed = sheet.input.chart_feed_mm_s;
    let list = &sheet.reading.cut_list;
    let mut starved = Vec::new();
    let mut worst: Option<(Need, Spot)> = None;
    for (cut, number) in sheet.cuts() {
        let Some(need) = worst_stretch(&cut.path, &link, feed).filter(Need::starves) else {
            continue;
        };
        starved.push(number);
        if worst.as_ref().is_none_or(|(w, _)| need.ratio() > w.ratio())
            && let Some(e) = cut.path.get(need.first)
        {
            let at = sheet.placer.place(e.segment.from());
            worst = Some((need, Spot::element(number, e).at(at)));
        }
    }
    let Some((need, spot)) = worst else {
        return;
    };
    findings.warn(NAME, spot, || {
        let many = if starved.len() > 1 { format!(", the worst of {} cuts", starved.len()) } else { String::new() };
        (
            format!(
                "From here on {:.0} mm of path need {:.0} blocks a second at their feed{many}; the wire \
                 and the controller carry {:.0}. The torch would falter.",
                need.length_mm,
                need.wanted(),
                need.carried()
            ),
            remedy(list, &link, feed),
        )
    }).of_cuts(starved.iter().copied());
}

fn remedy(list: &CutList, link: &Link, feed: Option<f64>) -> String {
    let after = join(list, JOIN_MM);
    let worst = after
        .cuts
        .iter()
        .filter_map(|c| worst_stretch(&c.path, link, feed))
        .max_by(|a, b| a.ratio().total_cmp(&b.ratio()));
    match worst {
        Some(need) if need.starves() => format!(
            "Joining short pieces within {JOIN_MM} mm does not cure it ({:.0} blocks a second remain, \
             {:.0} are carried): write the program with longer pieces, or cut slower.",
            need.wanted(),
            need.carried()
        ),
        _ => format!(
            "Joining short pieces into lines and arcs within {JOIN_MM} mm cures it{} (--join), or write \
             the program with arcs.",
            worst.map_or(String::new(), |n| format!(
                ": {:.0} blocks a second are left",
                n.wanted()
            ))
        ),
    }
}

/// What a stretch of path needs of the link.
#[derive(Clone, Copy, Debug)]
struct Need {
    /// The first piece of it.
    first: usize,
    length_mm: f64,
    time_s: f64,
    blocks: f64,
    /// How long wire and controller take for it.
    link_s: f64,
}

impl Need {
    fn ratio(&self) -> f64 {
        self.link_s / self.time_s
    }

    fn starves(&self) -> bool {
        self.ratio() > 1.0 + 1e-9
    }

    fn wanted(&self) -> f64 {
        self.blocks / self.time_s
    }

    fn carried(&self) -> f64 {
        self.blocks / self.link_s
    }
}

/// The stretch of a path that asks most of the link.
fn worst_stretch(path: &[Element], link: &Link, chart_feed: Option<f64>) -> Option<Need> {
    let each: Vec<[f64; 4]> = path
        .iter()
        .map(|e| {
            let feed = e.feed_mm_s.or(chart_feed).unwrap_or(0.0);
            let length = e.segment.length();
            let (blocks, bytes) = blocks(&e.segment, link);
            // A piece without a feed is refused elsewhere; it takes no part here.
            let time = if feed > 0.0 {
                length / feed
            } else {
                f64::INFINITY
            };
            [length, time, blocks, bytes]
        })
        .collect();
    let mut worst: Option<Need> = None;
    let (mut first, mut sum) = (0, [0.0_f64; 4]);
    for now in &each {
        for (s, n) in sum.iter_mut().zip(now) {
            *s += n;
        }
        // The shortest stretch that ends here and is long enough.
        while let Some(gone) = each.get(first).filter(|g| sum[0] - g[0] > STRETCH_MM) {
            for (s, g) in sum.iter_mut().zip(gone) {
                *s -= g;
            }
            first += 1;
        }
        let [length_mm, time_s, blocks, bytes] = sum;
        if length_mm <= STRETCH_MM || !(time_s > 0.0 && time_s.is_finite()) {
            continue;
        }
        let need = Need {
            first,
            length_mm,
            time_s,
            blocks,
            link_s: (bytes / link.bytes_s).max(blocks * link.block_s),
        };
        // The last digit must not decide which of many like stretches is named.
        if worst.is_none_or(|w| need.ratio() > 1.001 * w.ratio()) {
            worst = Some(need);
        }
    }
    worst
}

/// How many blocks a piece is sent as, and how many bytes.
fn blocks(segment: &Segment, link: &Link) -> (f64, f64) {
    match (segment.radius(), link.arc_bytes) {
        (None, _) => (1.0, link.line_bytes),
        (Some(_), Some(bytes)) => (1.0, bytes),
        (Some(radius), None) => {
            let off = link.chord_off_mm.clamp(1e-4, radius.max(1e-4));
            let step = 2.0 * (1.0 - off / radius.max(1e-4)).acos();
            let chords = (segment.sweep().abs() / step).ceil().clamp(1.0, 4096.0);
            (chords, chords * link.line_bytes)
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{PROGRAM, brief, found, nothing, report, report_with};
    use crate::vetting::facts::Joined;

    /// The left side of the frame's outline in pieces of so many mm, `count` of them.
    fn pieces(each: f64, count: u32) -> String {
        let lines: String = (1..=count)
            .map(|k| format!("G1 Y{:.4}\n", each * f64::from(k)))
            .collect();
        PROGRAM.replace("G1 Y80\n", &format!("{lines}G1 Y80\n"))
    }

    #[test]
    fn pieces_shorter_than_a_block_time_of_feed_are_warned() {
        // 8 ms at 1100 mm/min are 0.1467 mm.
        let starved = report(&pieces(0.146, 150));
        assert_eq!(brief(&starved), ["warn link-starved 11:1 2"]);
        let finding = &starved.findings[0];
        assert!(
            finding.says.contains("need 126 blocks a second"),
            "{}",
            finding.says
        );
        assert!(finding.says.contains("carry 125"), "{}", finding.says);
        assert!(finding.remedy.contains("cures it"), "{}", finding.remedy);
        assert_eq!(found(&pieces(0.147, 150)), nothing());
    }

    #[test]
    fn a_stretch_of_20_mm_may_be_finer() {
        assert_eq!(found(&pieces(0.146, 137)), ["warn link-starved 11:1 2"]);
        assert_eq!(found(&pieces(0.146, 120)), nothing());
    }

    #[test]
    fn a_slow_wire_starves_before_the_controller() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        let at = |baud: f64| crate::Link {
            bytes_s: baud / 10.0,
            ..frame::LINK
        };
        // 45 bytes at 9600 baud take 47 ms: 0.86 mm.
        input.facts.link = Some(at(9600.0));
        let found = |each, count| brief(&report_with(&pieces(each, count), &input));
        assert_eq!(found(0.85, 60), ["warn link-starved 11:1 2"]);
        assert_eq!(found(0.87, 60), nothing());
    }

    #[test]
    fn arcs_sent_as_chords_count_as_many_blocks() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        let chords = |chord_off_mm| crate::Link {
            arc_bytes: None,
            chord_off_mm,
            ..frame::LINK
        };
        // The hole's 62.8 mm at 660 mm/min take 5.71 s: 714 blocks; chords 0.0001 mm off are 703.
        input.facts.link = Some(chords(0.000_1));
        assert_eq!(brief(&report_with(PROGRAM, &input)), nothing());
        input.facts.link = Some(crate::Link {
            block_s: 0.0083,
            ..chords(0.000_1)
        });
        let report = report_with(PROGRAM, &input);
        assert_eq!(brief(&report), ["warn link-starved 5:1 1"]);
        assert!(
            report.findings[0].remedy.contains("does not cure"),
            "{:?}",
            report.findings
        );
    }

    #[test]
    fn a_joined_path_says_so() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.facts.joined = Some(Joined { from: 900, to: 12 });
        assert_eq!(
            brief(&report_with(PROGRAM, &input)),
            ["note link-starved -:- -"]
        );
    }
}
