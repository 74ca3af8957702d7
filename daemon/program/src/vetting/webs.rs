//! Little metal between two kerfs: between which cuts, and how little counts.

use crate::contours::near::Pairs;
use crate::vetting::on_sheet::OnSheet;

/// Inside a part at least this or so many thicknesses, mm (see
/// [`crate::vetting::rules::shape::web_too_thin`]).
pub(crate) const NOTED_MM: f64 = 3.0;
pub(crate) const NOTED_T: f64 = 1.5;

/// Kerfs further apart than this are nobody's business, mm.
pub(crate) fn reach_mm(thickness: f64) -> f64 {
    (NOTED_T * thickness).max(NOTED_MM)
}

/// The pairs of cuts with little metal between them, worked out when first asked for; `None`: the kerf or
/// the thickness is not known.
pub(crate) fn pairs<'s>(sheet: &'s OnSheet<'_>) -> Option<&'s Pairs> {
    let work = || {
        let within_mm = reach_mm(sheet.input.setup?.thickness);
        let kerf_mm = sheet.input.kerf_mm?;
        Some(
            sheet
                .near()?
                .pairs(within_mm + kerf_mm, kerf_mm, sheet.watch),
        )
    };
    sheet.pairs.get_or_init(work).as_ref()
}
