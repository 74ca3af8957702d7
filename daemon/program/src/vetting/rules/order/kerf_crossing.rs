//! A path that crosses an earlier kerf: height control is to stand still there.

use crate::vetting::rules::reading::not_judged;
use crate::vetting::rules::page::Page;
use super::cut_twice::CROSSING_KERFS;
use crate::vetting::on_sheet::derived::Stretch;
use crate::report::findings::Findings;
use crate::geometry::plane::mm;
use crate::vetting::on_sheet::OnSheet;

pub(crate) const NAME: &str = "kerf-crossing";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "note",
    needs: "a setup and a kerf (chart row or setup)",
    measured: || "Where a path crosses an earlier kerf.".to_owned(),
    limit: || format!("Every crossing up to {CROSSING_KERFS} kerfs wide: height control stands still \
              there."),
    source: "Common practice, no source.",
};

pub(crate) fn judge(sheet: &OnSheet<'_>, findings: &mut Findings) {
    let Some(map) = not_judged::pieces(sheet, findings, NAME) else {
        return;
    };
    for (_, number) in sheet.cuts() {
        for s in of_cut(sheet, number) {
            let earlier = map.strands.cut_at(s.tick).map_or(0, |c| c + 1);
            findings.note(NAME, sheet.spot_at(number, s.from_mm), || {
                (
                    format!("{} mm along, the path crosses the kerf of cut {earlier}: the height is held still there.", mm((s.from_mm * 10.0).round() / 10.0)),
                    "Nothing to do; cut the crossing path first if the edge matters there.".to_owned(),
                )
            }).of_cuts([earlier]);
        }
    }
}

/// Where a cut crosses earlier kerfs.
pub(crate) fn of_cut<'s>(
    sheet: &'s OnSheet<'_>,
    number: usize,
) -> impl Iterator<Item = &'s Stretch> {
    let longest = CROSSING_KERFS * sheet.input.kerf_mm.unwrap_or(0.0);
    let length = sheet.length_mm(number);
    sheet.over_old_kerf(number).filter(move |s| {
        let inner = s.from_mm > 0.0 && s.to_mm < length;
        inner && s.to_mm - s.from_mm <= longest
    })
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{nothing, order};


    #[test]
    fn each_crossing_is_noted_where_it_is() {
        let line = |x: f64| format!("G0 X{x} Y20\nM3\nG1 Y120 F1100\nM5\n");
        let across = "G0 X20 Y70\nM3\nG1 X200 F1100\nM5\n".to_owned();
        let all = order(&[line(60.0), line(100.0), across.clone()], |_| ());
        assert_eq!(all, ["note kerf-crossing 3", "note kerf-crossing 3"]);
        assert_eq!(order(&[across, line(220.0)], |_| ()), nothing());
    }
}
