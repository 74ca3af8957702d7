//! Corners, tight arcs and short pieces keep the torch below its feed.

use crate::passage::SLOW;
use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "speed-lost";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a machine file",
    measured: || "How much of the path is passed below its feed because of corners, arcs and short \
              pieces.".to_owned(),
    limit: || format!("Under {SLOW} of the feed for more than {PART} of the path."),
    source: "The number is invented.",
};

/// Under [`SLOW`] of the feed for more than this part of the path; numbers invented.
const PART: f64 = 0.10;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(motion) = sheet.known().motion else {
        not_judged::tell(findings, NAME, Lack::Machine("what the axes can do is not known"));
        return;
    };
    let (mut slow, mut all, mut worst) = (0.0, 0.0, (0.0, Spot::default()));
    let mut cuts = Vec::new();
    // A cut without a feed is refused elsewhere.
    let passed = sheet.cuts().zip(sheet.passages(&motion));
    for ((cut, number), passage) in passed.filter_map(|(cut, p)| Some((cut, p.as_ref()?))) {
        slow += passage.slow_mm;
        all += passage.length_mm;
        let Some((piece, slow_mm)) = passage.slowest else {
            continue;
        };
        cuts.push(number);
        if slow_mm > worst.0
            && let Some(e) = cut.path.get(piece)
        {
            let at = sheet.placer.place(e.segment.from());
            worst = (slow_mm, Spot::element(number, e).at(at));
        }
    }
    if slow <= PART * all {
        return;
    }
    findings.note(NAME, worst.1, || {
        (
            format!(
                "{} of {} mm of path ({:.0} %) are passed at under {:.0} % of the feed: corners, tight \
                 arcs and short pieces; the longest such piece is named.",
                mm(slow),
                mm(all),
                100.0 * slow / all,
                SLOW * 100.0
            ),
            "Expect a wider kerf and more dross there; round corners, or cut at a lower current with \
             a lower feed."
                .to_owned(),
        )
    }).of_cuts(cuts);
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};

    fn with_accel(accel_mm_s2: f64) -> Vec<String> {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.facts.motion = Some(crate::Motion {
            accel_mm_s2,
            ..frame::MOTION
        });
        brief(&report_with(frame::PROGRAM, &input))
    }

    #[test]
    fn a_tenth_of_the_path_under_four_fifths_of_the_feed_is_noted() {
        // 444 mm of path; slow are its ramps, all of them as 1 / acceleration. The outline's longest
        // is that from a corner on.
        assert_eq!(with_accel(40.0), nothing());
        assert_eq!(with_accel(4.0).len(), 1);
        assert!(with_accel(4.0)[0].starts_with("note speed-lost"));
    }
}
