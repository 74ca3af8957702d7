//! Most of the time nothing is cut.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::vetting::feeds::time;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "little-arc-time";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a machine file, and a setup with a chart row",
    measured: || "The part of the predicted time in which nothing is cut.".to_owned(),
    limit: || format!("{IDLE} of it."),
    source: "The number is invented.",
};

/// Over this part of the time not cutting; number invented.
const IDLE: f64 = 0.60;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(times) = sheet.known().times else {
        not_judged::tell(findings, NAME, Lack::Times("the predicted times are not known"));
        return;
    };
    if times.run_s <= 0.0 {
        return;
    }
    let idle = 1.0 - times.arc_on_s / times.run_s;
    if idle <= IDLE + 1e-9 {
        return;
    }
    findings.note(NAME, Spot::default(), || {
        let skip = match times.touches_to_skip {
            _ if times.touches_skipped > 0 => {
                format!("{} of its touch-offs are skipped", times.touches_skipped)
            }
            0 => "None of its touch-offs is near enough to another to be skipped".to_owned(),
            n => format!(
                "{n} of its touch-offs are near enough to one before to be skipped on a flat sheet \
                 ({} in all)",
                time(times.skip_saves_s)
            ),
        };
        (
            format!(
                "{:.0} % of the {} are not cutting (over {:.0} % is much).",
                idle * 100.0,
                time(times.run_s),
                IDLE * 100.0
            ),
            format!("{skip}; order cuts so that neighbours follow each other."),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};
    use crate::vetting::facts::Times;

    #[test]
    fn more_than_three_fifths_idle_are_noted() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        let times = |arc_on_s| {
            Some(Times {
                run_s: 100.0,
                arc_on_s,
                ..frame::TIMES
            })
        };
        input.facts.times = times(39.0);
        assert_eq!(
            brief(&report_with(frame::PROGRAM, &input)),
            ["note little-arc-time -:- -"]
        );
        input.facts.times = times(40.0);
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
    }
}
