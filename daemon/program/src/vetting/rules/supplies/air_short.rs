//! The receiver falls below what the power source needs before the job is done.

use crate::vetting::rules::page::Page;
use super::duty_exceeded::{at_cut, waits};
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::vetting::feeds::time;
use crate::report::findings::Findings;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "air-short";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a machine file, and a setup with a chart row",
    measured: || "The pressure in the receiver through the whole job, pre-flow and post-flow \
              counted.".to_owned(),
    limit: || "The lowest pressure of the power source, with what filter and hose take.".to_owned(),
    source: "The machine file ([air]).",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(air) = sheet.known().air else {
        not_judged::tell(findings, NAME, Lack::Times("the air supply or the predicted times are not known"));
        return;
    };
    let Some(short) = air.forecast.short else {
        return;
    };
    findings.warn(NAME, at_cut(sheet, short.cut), || {
        (
            format!(
                "The receiver of {:.0} L falls to {} bar {} ({:.1} min) after the start, in cut {}: \
                 with post-flow the torch takes {:.0} L/min, {:.0} L in all, and the compressor \
                 gives {:.0} L/min.",
                air.receiver_l,
                air.low_bar,
                time(short.at_s),
                short.at_s / 60.0,
                short.cut,
                air.torch_l_min,
                air.forecast.most,
                air.compressor_l_min
            ),
            waits(
                &air.forecast,
                "A larger receiver or compressor is needed: full as it is, it does not last for one \
                 cut",
            ),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};
    use crate::vetting::facts::{Air, Forecast, Moment, Wait};

    #[test]
    fn a_receiver_that_falls_low_is_warned_with_the_waits() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
        let waits = [Wait {
            before_cut: 2,
            at_s: 40.0,
            wait_s: 165.0,
        }];
        let forecast = Forecast {
            short: Some(Moment { cut: 2, at_s: 48.0 }),
            waits: &waits,
            most: 200.0,
            ..Forecast::default()
        };
        input.facts.air = Some(Air {
            forecast,
            receiver_l: 24.0,
            ..frame::AIR
        });
        let report = report_with(frame::PROGRAM, &input);
        assert_eq!(brief(&report), ["warn air-short 8:1 2"]);
        assert!(
            report.findings[0]
                .says
                .contains("falls to 5.5 bar 48 s (0.8 min)")
        );
        assert_eq!(
            report.findings[0].remedy,
            "Wait 2 min 45 s before cut 2: one wait."
        );
    }
}
