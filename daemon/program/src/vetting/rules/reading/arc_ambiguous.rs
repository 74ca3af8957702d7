//! An arc that ends a hair from its start: a full turn, or nothing.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;

pub(crate) const NAME: &str = "arc-ambiguous";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "warn",
    needs: "the program alone",
    measured: || "The gap between start and end of an arc in centre format.".to_owned(),
    limit: || format!("Nearer than {NEAR_MM} mm and not equal: a full turn or nothing, by a rounding."),
    source: "The number is invented.",
};

/// Nearer than this, mm, and not the same place.
const NEAR_MM: f64 = 0.01;

pub(crate) fn judge(findings: &mut Findings, at: Spot, gap_mm: f64, radius_mm: f64) {
    if gap_mm >= NEAR_MM {
        return;
    }
    findings.warn(NAME, at, || {
        (
            format!(
                "The arc of radius {} mm ends {gap_mm:.4} mm from its start (limit {NEAR_MM} mm): a full turn or nothing, by a rounding.",
                mm(radius_mm)
            ),
            "Write the end as the start for a full circle, or delete the arc.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, nothing};

    #[test]
    fn an_end_a_hair_from_the_start_is_warned() {
        let all = changed("G3 X50 Y40 I-10 J0", "G3 X50 Y40.009 I-10 J0");
        // What is no hole any more is cut at a hole's feed.
        assert_eq!(all, ["warn feed-off-chart 4:1 1", "warn arc-ambiguous 5:1 1"]);
    }

    #[test]
    fn equal_ends_and_ends_well_apart_pass() {
        assert_eq!(changed("G3 X50 Y40 I-10 J0", "G3 I-10"), nothing());
        assert_eq!(changed("G3 X50 Y40 I-10 J0", "G3 X50 Y39.989 I-10 J0"), nothing());
    }
}
