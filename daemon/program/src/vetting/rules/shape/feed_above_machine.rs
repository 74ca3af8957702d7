//! A feed that the axes cannot follow.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::vetting::feeds::{feeds, mm_min};
use crate::report::findings::Findings;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "feed-above-machine";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "a machine file",
    measured: || "Every feed against what the axes can do.".to_owned(),
    limit: || "The machine file's highest feed.".to_owned(),
    source: "The machine file.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(motion) = sheet.known().motion else {
        not_judged::tell(findings, NAME, Lack::Machine("the highest feed of the axes is not known"));
        return;
    };
    let limit = motion.feed_max_mm_s;
    for feed in feeds(sheet, |_, f| f > limit * (1.0 + 1e-9)) {
        findings.refuse(NAME, feed.spot, || {
            (
                format!(
                    "The feed of {} mm/min{} is above what the axes can do, {} mm/min.",
                    mm_min(feed.feed_mm_s),
                    feed.where_else(),
                    mm_min(limit)
                ),
                "Check the unit of F, and write the chart's feed.".to_owned(),
            )
        }).of_cuts(feed.cuts.iter().copied());
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, changed, nothing, report_with};

    #[test]
    fn a_feed_above_the_axes_is_refused() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        let motion = |most: f64| crate::Motion {
            feed_max_mm_s: most / 60.0,
            ..frame::MOTION
        };
        input.facts.motion = Some(motion(1099.0));
        let found = brief(&report_with(frame::PROGRAM, &input));
        assert_eq!(found, ["refuse feed-above-machine 9:1 2"]);
        input.facts.motion = Some(motion(1100.0));
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
    }

    #[test]
    fn a_wrong_unit_is_refused_together_with_what_else_it_is() {
        // 1100 x 25.4.
        assert_eq!(
            changed("F1100", "F27940"),
            [
                // The feeds alone are in the other unit: that explains the rest.
                "warn scale-suspect -:- -",
                "refuse feed-above-machine 9:1 2",
                "warn feed-off-chart 9:1 2",
                "warn feed-impossible 9:1 2",
                "note corner-slow 11:1 2",
                "note speed-lost 12:1 2",
            ]
        );
    }
}
