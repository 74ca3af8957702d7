//! The rules of vetting. Each has a file of its own: its name, its limits, its words, its tests.
//!
//! Rules about single words and blocks are asked while reading; the others judge the cut list
//! against what lies on the table. [`ALL`] lists every one.

#[cfg(test)]
pub(crate) mod frame;
pub(crate) mod page;

use crate::report::findings::Findings;
use crate::vetting::on_sheet::OnSheet;

/// Which part of vetting a rule belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// Can the text be read, and does it mean one thing only.
    Reading,
    /// What the program does with the torch.
    Torch,
    /// Where the path lies on the sheet and in the machine.
    Place,
    /// What stays connected, and in which order it comes apart.
    Order,
    /// The drawn shape against what process and machine can do.
    Shape,
    /// Settings, air, power source and wear.
    Supplies,
}

impl Group {
    /// What it is called.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Self::Reading => "Reading",
            Self::Torch => "Torch",
            Self::Place => "Place and reach",
            Self::Order => "Order and what stays connected",
            Self::Shape => "Shape against process",
            Self::Supplies => "Supplies and settings",
        }
    }

    /// Its rules judge what the whole path does to the sheet.
    pub(crate) fn needs_path(self) -> bool {
        matches!(self, Self::Order | Self::Shape)
    }
}

/// A finding of reading after which the path is not what the program means.
pub(crate) fn path_unknown(finding: &crate::Finding) -> bool {
    let rule = finding.rule.as_str();
    finding.severity == crate::Severity::Refuse
        && (rule == reading::unreadable_block::NAME
            || rule == reading::unsupported_word::NAME
            || rule == reading::arc_impossible::NAME)
}

/// These look at a file before it is known to hold a program.
pub(crate) fn asked_of_any_file(rule: &str) -> bool {
    [
        reading::not_judged::NAME,
        reading::not_a_program::NAME,
        reading::file_too_large::NAME,
    ]
    .contains(&rule)
}

/// A rule of vetting.
#[derive(Clone, Copy)]
pub struct Rule {
    /// Its name: a contract.
    pub name: &'static str,
    /// Where it belongs.
    pub group: Group,
    /// What its page says.
    pub page: page::Page,
    /// How it judges the cut list; `None`: it is asked while reading.
    pub(crate) judge: Option<fn(&OnSheet<'_>, &mut Findings)>,
}

macro_rules! rules {
    ($($group:ident in $room:ident: $($module:ident $(judges $judge:ident)?),+;)+) => {
        $(pub(crate) mod $room {
            $(pub(crate) mod $module;)+
        })+

        /// Every rule, in the order of the report's groups.
        pub const ALL: &[Rule] = &[
            $($(Rule {
                name: $room::$module::NAME,
                group: Group::$group,
                page: $room::$module::PAGE,
                judge: rules!(@judge $room $module $($judge)?),
            }),+),+
        ];
    };
    (@judge $room:ident $module:ident judge) => { Some($room::$module::judge) };
    (@judge $room:ident $module:ident) => { None };
}

rules! {
    Reading in reading:
        not_judged, unreadable_block, comment_open, after_end, unsupported_word, word_ignored, not_a_program, end_missing,
        line_too_long judges judge, file_too_large, digits_excess, units_not_stated, units_changed,
        scale_suspect judges judge, arc_radius_mismatch, arc_impossible, arc_ill_defined,
        arc_ambiguous, arc_wrong_way judges judge, faceted_arc judges judge,
        no_feed judges judge, dwell_suspect, replaced;
    Torch in torch:
        no_cut judges judge, torch_left_on, torch_on_twice, torch_on_in_rapid,
        empty_cut judges judge, stray_cut judges judge, stop_while_on, mode_in_cut,
        zero_shift_in_cut, compensation_open, compensation_side judges judge;
    Place in place:
        outside_travel judges judge, outside_sheet judges judge, near_edge judges judge,
        on_clamp judges judge, over_used judges judge;
    Order in order:
        return_path_lost judges judge, clamp_on_dropout judges judge, pierce_in_void judges judge,
        pierce_near_kerf judges judge, path_in_void judges judge, hole_after_outline judges judge,
        rapid_over_loose judges judge, cut_near_loose judges judge, pierce_near_loose judges judge,
        cut_twice judges judge, kerf_crossing judges judge, part_unsupported judges judge,
        skeleton_weak judges judge, open_contour judges judge, part_count judges judge;
    Shape in shape:
        no_lead_in judges judge, lead_in_short judges judge, lead_in_crosses judges judge,
        lead_in_angle judges judge, overlap_at_close judges judge, pierce_on_part judges judge,
        hole_too_small judges judge, hole_feed judges judge, parts_too_close judges judge,
        web_too_thin judges judge, corner_tight judges judge, direction_of_cut judges judge,
        first_cut_small judges judge,
        feed_above_machine judges judge, feed_off_chart judges judge,
        feed_impossible judges judge, link_starved judges judge, speed_lost judges judge,
        corner_slow judges judge, heat_build_up judges judge;
    Supplies in supplies:
        chart_missing judges judge, chart_between judges judge, chart_implausible judges judge,
        over_rated_current judges judge, duty_exceeded judges judge, air_short judges judge,
        wear_out judges judge, little_arc_time judges judge, water_aluminium judges judge,
        coated_metal judges judge, mixed_settings judges judge, tolerance_tight judges judge;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_rules_share_a_name() {
        let mut names: Vec<_> = ALL.iter().map(|r| r.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), ALL.len());
    }

    #[test]
    fn the_frame_is_clear_with_nothing_but_what_it_frees() {
        let report = frame::report(frame::PROGRAM);
        assert!(
            report
                .findings
                .iter()
                .all(|f| f.rule == order::part_unsupported::NAME)
        );
        assert_eq!(frame::found(frame::PROGRAM), frame::nothing());
        assert_eq!(report.verdict, crate::Verdict::Clear);
    }
}
