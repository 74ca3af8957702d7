//! A chart row that asks for more melting power than the arc has, or for next to none.

use crate::vetting::rules::page::Page;
use super::chart_missing::row;
use crate::vetting::rules::shape::feed_impossible::share;
use crate::vetting::rules::reading::not_judged;
use crate::vetting::feeds::mm_min;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "chart-implausible";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a setup and a chart row for steel, stainless or aluminium",
    measured: || "The part of the arc's power that melting the kerf takes by the chart row itself.".to_owned(),
    limit: || "0.12 to 0.55, in aluminium 0.08 to 0.40.".to_owned(),
    source: "A balance of heat; the limits are invented.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(row) = row(sheet, findings, NAME) else {
        return;
    };
    let Some(energy) = sheet.known().energy else {
        not_judged::no_metal(findings, NAME);
        return;
    };
    let em = energy.em(row.feed_mm_s);
    if (energy.melting_low..=energy.melting_high).contains(&em) {
        return;
    }
    findings.warn(NAME, Spot::default(), || {
        (
            format!(
                "The chart row {} is not plausible: at {} mm/min melting the kerf takes {} of the \
                 arc's {:.1} kW; usual is {} to {}.",
                row.name,
                mm_min(row.feed_mm_s),
                share(em),
                energy.power_w / 1000.0,
                share(energy.melting_low),
                share(energy.melting_high)
            ),
            "Check the row's feed, kerf, current and voltage against a test cut.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};

    fn at(em: f64) -> Vec<String> {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        // The power that makes it so; the program's own feeds stay sensible.
        let melting = frame::ENERGY.melt_j_mm * frame::ROW.feed_mm_s;
        input.facts.energy = Some(crate::Energy {
            power_w: melting / em,
            side_w: 0.0,
            ..frame::ENERGY
        });
        brief(&report_with(frame::PROGRAM, &input))
    }

    #[test]
    fn a_row_outside_the_sensible_band_is_warned() {
        assert_eq!(at(0.551), ["warn chart-implausible -:- -"]);
        assert_eq!(at(0.549), nothing());
        assert_eq!(at(0.119), ["warn chart-implausible -:- -"]);
        assert_eq!(at(0.121), nothing());
    }

    #[test]
    fn a_metal_without_numbers_is_not_judged() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        input.facts.energy = None;
        let report = report_with(frame::PROGRAM, &input);
        assert_eq!(brief(&report), ["note not-judged -:- -"]);
        assert_eq!(report.not_judged, [super::NAME, "feed-impossible"]);
    }
}
