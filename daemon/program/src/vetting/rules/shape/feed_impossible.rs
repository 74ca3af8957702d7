//! A feed at which the arc could not melt the kerf, or would melt far more than it.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::supplies::chart_missing::row;
use crate::vetting::rules::reading::not_judged;
use crate::vetting::feeds::{feeds, mm_min};
use crate::report::findings::Findings;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "feed-impossible";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a setup and a chart row for steel, stainless or aluminium",
    measured: || "The part of the arc's power that melting the kerf takes at this feed, and all \
              together.".to_owned(),
    limit: || format!("{MELTING_LOW} to {MELTING_HIGH} for melting, at most {NEEDED_HIGH} in all."),
    source: "A balance of heat; the limits are invented.",
};

/// The kerf takes more than this part of the arc's power for melting (invented)...
const MELTING_HIGH: f64 = 0.65;
/// ... or less than this...
const MELTING_LOW: f64 = 0.05;
/// ... or needs more than this in all.
const NEEDED_HIGH: f64 = 0.75;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(row) = row(sheet, findings, NAME) else {
        return;
    };
    let Some(energy) = sheet.known().energy else {
        not_judged::no_metal(findings, NAME);
        return;
    };
    let much = |f: f64| energy.em(f) > MELTING_HIGH || energy.en(f) > NEEDED_HIGH;
    for feed in feeds(sheet, |_, f| much(f) || energy.em(f) < MELTING_LOW) {
        let f = feed.feed_mm_s;
        findings.warn(NAME, feed.spot, || {
            let what = if much(f) {
                "the arc has not the power to cut through"
            } else {
                "the arc has many times the power that the cut needs"
            };
            (
                format!(
                    "At {} mm/min{} {what}: melting the kerf takes {} of the arc's {:.1} kW \
                     (sensible: {MELTING_LOW} to {MELTING_HIGH}), all together {} (at most \
                     {NEEDED_HIGH}).",
                    mm_min(f),
                    feed.where_else(),
                    share(energy.em(f)),
                    energy.power_w / 1000.0,
                    share(energy.en(f))
                ),
                format!(
                    "Check the unit of F, the sheet's thickness and the chart row ({}).",
                    row.name
                ),
            )
        }).of_cuts(feed.cuts.iter().copied());
    }
}

pub(crate) fn share(part: f64) -> String {
    if part < 0.1 {
        format!("{part:.3}")
    } else {
        format!("{part:.2}")
    }
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, report_with};

    /// What is found with the chart's own feed moved along, so that only the power speaks.
    fn at(feed: f64) -> Vec<String> {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        let row = crate::Row {
            feed_mm_s: feed / 60.0,
            ..frame::ROW
        };
        input.facts.chart = crate::Chart::Row(row);
        input.facts.energy = Some(crate::Energy {
            melting_low: 0.0,
            melting_high: 10.0,
            ..frame::ENERGY
        });
        // Corners do not matter here.
        input.facts.motion = Some(crate::Motion {
            corner_step_mm_s: 1e3,
            accel_mm_s2: 1e5,
            ..frame::MOTION
        });
        let text = frame::PROGRAM
            .replace("F660", &format!("F{feed}"))
            .replace("F1100", &format!("F{feed}"));
        brief(&report_with(&text, &input))
    }

    #[test]
    fn a_feed_beyond_the_arcs_power_is_warned() {
        // em 0.65 at 2304 mm/min for 5 mm steel at 4520 W; en 0.75 at 2247.
        assert_eq!(at(2260.0), ["warn feed-impossible 4:1 1", "note hole-feed 5:1 1"]);
        assert_eq!(at(2200.0), ["note hole-feed 5:1 1"]);
    }

    #[test]
    fn a_feed_far_below_what_the_arc_can_do_is_warned() {
        // em 0.05 at 177 mm/min.
        assert_eq!(at(176.0), ["warn feed-impossible 4:1 1", "note hole-feed 5:1 1"]);
        assert_eq!(at(178.0), ["note hole-feed 5:1 1"]);
    }
}
