//! More arc time in ten minutes than the power source's duty allows.

use crate::vetting::rules::page::Page;
use crate::vetting::rules::reading::not_judged;
use crate::report::lack::Lack;
use crate::vetting::facts::{Forecast, Wait};
use crate::vetting::feeds::time;
use crate::report::findings::{Findings, Spot};
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "duty-exceeded";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "a machine file, and a setup with a chart row",
    measured: || "Arc time in every window of 10 minutes.".to_owned(),
    limit: || "The power source's duty cycle at this current.".to_owned(),
    source: "The rating plate; the window of 10 minutes is that of IEC 60974-1 (from memory).",
};

/// So many waits are told one by one.
const TOLD: usize = 4;

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(duty) = sheet.known().duty else {
        not_judged::tell(findings, NAME, Lack::Times("the power source's duty or the predicted times are not known"));
        return;
    };
    let Some(short) = duty.short else {
        return;
    };
    findings.warn(NAME, at_cut(sheet, short.cut), || {
        (
            format!(
                "The arc burns for up to {} in ten minutes; the power source's duty at this current \
                 allows {}. It is passed {} after a cold start, in cut {}.",
                time(duty.most),
                time(duty.limit),
                time(short.at_s),
                short.cut
            ),
            waits(&duty, "Cut this job in pieces, or with a larger source: one cut alone is too long"),
        )
    });
}

/// The torch on of a cut.
pub(crate) fn at_cut(sheet: &OnSheet<'_>, number: usize) -> Spot {
    let Some((cut, _)) = number.checked_sub(1).and_then(|k| sheet.cuts().nth(k)) else {
        return Spot::default();
    };
    Spot::torch_on(number, cut).at(sheet.placer.place(cut.pierce))
}

/// Where to wait, and how long.
pub(crate) fn waits(forecast: &Forecast<'_>, hopeless: &str) -> String {
    let one = |w: &Wait| format!("{} before cut {}", time(w.wait_s), w.before_cut);
    let list: Vec<String> = forecast.waits.iter().take(TOLD).map(one).collect();
    let mut text = match (list.len(), forecast.waits.len()) {
        (0, _) => String::new(),
        (told, all) if told < all || forecast.more => {
            let least = if forecast.more { "at least " } else { "" };
            format!("Wait {}, and so on: {least}{all} waits.", list.join(", "))
        }
        (_, all) => {
            let number = if all == 1 {
                "one wait".to_owned()
            } else {
                format!("{all} waits")
            };
            format!("Wait {}: {number}.", list.join(", "))
        }
    };
    if let Some(cut) = forecast.hopeless {
        if !text.is_empty() {
            text.push(' ');
        }
        text.push_str(&format!("{hopeless} (cut {cut})."));
    }
    text
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame;
    use crate::vetting::rules::frame::{brief, nothing, report_with};
    use super::*;
    use crate::vetting::facts::Moment;

    const WAITS: [Wait; 1] = [Wait {
        before_cut: 2,
        at_s: 300.0,
        wait_s: 95.0,
    }];

    #[test]
    fn a_forecast_beyond_the_duty_is_warned_with_the_waits() {
        let setup = frame::setup();
        let mut input = frame::input(&setup);
        assert_eq!(brief(&report_with(frame::PROGRAM, &input)), nothing());
        input.facts.duty = Some(Forecast {
            short: Some(Moment {
                cut: 2,
                at_s: 360.0,
            }),
            waits: &WAITS,
            most: 400.0,
            limit: 285.7,
            ..Forecast::default()
        });
        let report = report_with(frame::PROGRAM, &input);
        assert_eq!(brief(&report), ["warn duty-exceeded 8:1 2"]);
        assert_eq!(
            report.findings[0].remedy,
            "Wait 1 min 35 s before cut 2: one wait."
        );
    }

    #[test]
    fn many_waits_are_cut_short_and_a_hopeless_cut_is_named() {
        let many = [WAITS[0]; 6];
        let mut forecast = Forecast {
            waits: &many,
            ..Forecast::default()
        };
        assert!(waits(&forecast, "x").ends_with("and so on: 6 waits."));
        forecast = Forecast {
            waits: &[],
            hopeless: Some(3),
            ..forecast
        };
        assert_eq!(waits(&forecast, "Too long"), "Too long (cut 3).");
    }
}
