//! Kerf compensation switched on or off at the wrong place.

use crate::vetting::rules::page::Page;
use crate::report::findings::{Findings, Spot};
use crate::geometry::plane::mm;

pub(crate) const NAME: &str = "compensation-open";

/// What the rule's page says (`--explain`).
pub(crate) const PAGE: Page = Page {
    severities: "refuse",
    needs: "the program and a kerf",
    measured: || "Where G41 and G42 begin and end, and whether the offset path can be made.".to_owned(),
    limit: || "On before the torch, off with it; no inner corner or arc smaller than half the \
              kerf.".to_owned(),
    source: "RS-274 as published in NISTIR 6556, 3.5.10, forbids offsets that gouge (from memory).",
};

pub(crate) fn still_on(findings: &mut Findings, at: Spot, since: Spot) {
    findings.refuse(NAME, at, || {
        (
            format!(
                "Kerf compensation is still on here, since line {}.",
                since.line
            ),
            "Write G40 after the cut's last move, before the torch goes off.".to_owned(),
        )
    });
}

pub(crate) fn twice(findings: &mut Findings, at: Spot, since: Spot) {
    findings.refuse(NAME, at, || {
        (
            format!(
                "Kerf compensation is switched on and is on already, since line {}.",
                since.line
            ),
            "Write G40 between the two, or delete one.".to_owned(),
        )
    });
}

/// A path that cannot be moved aside by half the kerf.
pub(crate) fn too_small(findings: &mut Findings, at: Spot, what: &str, half_mm: f64) {
    findings.refuse(NAME, at, || {
        (
            format!(
                "{what} here for half a kerf of {} mm: the compensated path cannot reach it.",
                mm(half_mm)
            ),
            "Widen the place or draw it with a plain corner, check the side (G41, G42), or write the kerf into the numbers and G40.".to_owned(),
        )
    });
}

pub(crate) fn inside_a_cut(findings: &mut Findings, at: Spot) {
    findings.refuse(NAME, at, || {
        (
            "Kerf compensation is switched on with the torch on: the path would jump by half a kerf.".to_owned(),
            "Switch it on before torch on.".to_owned(),
        )
    });
}

#[cfg(test)]
mod tests {
    use crate::vetting::rules::frame::{changed, found, nothing};

    /// A hole's cut as it stands in the frame.
    const HOLE: &str = "M3\nG1 X50 F660\nG3 X50 Y40 I-10 J0\nM5";
    const D_NOTE: &str = "note word-ignored 3:5 -";

    /// A slot of a hair's width has other rules' findings too.
    fn of_rule(all: Vec<String>) -> Vec<String> {
        all.into_iter()
            .filter(|f| f.contains(super::NAME))
            .collect()
    }

    #[test]
    fn compensation_must_be_closed_before_torch_off_and_opened_before_torch_on() {
        assert_eq!(
            changed("M3", "G41 D1\nM3"),
            ["refuse compensation-open 7:1 1", D_NOTE]
        );
        assert_eq!(changed("M3", "G41\nM3"), ["refuse compensation-open 7:1 1"]);
        let inside = changed("G3 X50", "G41\nG40\nG3 X50");
        assert_eq!(inside, ["refuse compensation-open 5:1 1"]);
        let before_moving = changed("G1 X50 F660", "G41\nG40\nG1 X50 F660");
        assert_eq!(before_moving, ["refuse compensation-open 4:1 1"]);
        let at_the_end = changed("M2", "G41\nM2");
        assert_eq!(at_the_end, ["refuse compensation-open 17:1 -"]);
    }

    #[test]
    fn compensation_that_is_closed_in_time_passes() {
        let right = changed(HOLE, "G41\nM3\nG1 X50 F660\nG3 X50 Y40 I-10 J0\nG40\nM5");
        assert_eq!(right, nothing());
        // In the blocks of the torch words themselves nothing moves in between.
        let one_block = changed(HOLE, "G41 M3\nG1 X50 F660\nG3 X50 Y40 I-10 J0\nG40 M5");
        assert_eq!(one_block, nothing());
        assert_eq!(changed("M2", "G41\nG40\nM2"), nothing());
        // On a line that moves, G41 and G40 act first.
        let on_moves = changed(
            &format!("G0 X45 Y40\n{HOLE}"),
            "G41 G0 X45 Y40\nM3\nG1 X50 F660\nG3 X50 Y40 I-10 J0\nG40 G1 X45\nM5",
        );
        assert_eq!(of_rule(on_moves), nothing());
    }

    #[test]
    fn switched_on_twice_is_refused_and_after_g40_is_not() {
        let twice = changed(
            HOLE,
            "G41\nG41\nM3\nG1 X50 F660\nG3 X50 Y40 I-10 J0\nG40\nM5",
        );
        assert_eq!(twice, ["refuse compensation-open 4:1 -"]);
        let other = changed(
            HOLE,
            "G42\nG41\nM3\nG1 X50 F660\nG3 X50 Y40 I-10 J0\nG40\nM5",
        );
        assert!(
            other.contains(&"refuse compensation-open 4:1 -".to_owned()),
            "{other:?}"
        );
        let again = changed(
            HOLE,
            "G42\nG40\nG41\nM3\nG1 X50 F660\nG3 X50 Y40 I-10 J0\nG40\nM5",
        );
        assert_eq!(again, nothing());
    }

    /// An outline with a slot, cut with the kerf outside the part: it is `width` wide and ends in an
    /// arc of half of that.
    fn slotted(width: f64) -> Vec<String> {
        let (left, right, r) = (50.0 - width / 2.0, 50.0 + width / 2.0, width / 2.0);
        found(&format!(
            "G21 G90\nG0 X30 Y-8\nG41\nM3\nG1 Y0 F1100\nG1 X0\nG1 Y80\nG1 X{left}\nG1 Y40\n\
             G3 X{right} Y40 I{r} J0\nG1 Y80\nG1 X100\nG1 Y0\nG1 X30\nG40\nM5\nM2\n"
        ))
    }

    #[test]
    fn an_arc_smaller_than_half_the_kerf_is_refused() {
        // Kerf 1.45: half of it is 0.725.
        assert_eq!(of_rule(slotted(1.44)), ["refuse compensation-open 10:1 1"]);
        assert_eq!(of_rule(slotted(1.45)), ["refuse compensation-open 10:1 1"]);
        let just_passes = slotted(1.46);
        assert_eq!(of_rule(just_passes), nothing());
        assert_eq!(of_rule(slotted(4.0)), nothing());
    }

    /// The same slot with a flat end.
    fn notched(width: f64) -> Vec<String> {
        let (left, right) = (50.0 - width / 2.0, 50.0 + width / 2.0);
        found(&format!(
            "G21 G90\nG0 X30 Y-8\nG41\nM3\nG1 Y0 F1100\nG1 X0\nG1 Y80\nG1 X{left}\nG1 Y40\n\
             G1 X{right}\nG1 Y80\nG1 X100\nG1 Y0\nG1 X30\nG40\nM5\nM2\n"
        ))
    }

    #[test]
    fn an_inner_corner_smaller_than_the_kerf_is_refused() {
        assert_eq!(of_rule(notched(1.4)), ["refuse compensation-open 10:1 1"]);
        let just_passes = notched(1.5);
        assert_eq!(of_rule(just_passes), nothing());
    }

    #[test]
    fn a_neck_narrower_than_the_kerf_is_refused() {
        // The slot widens behind its mouth: no corner is too small, and the mouth is.
        let necked = |width: f64| {
            let (left, right) = (50.0 - width / 2.0, 50.0 + width / 2.0);
            found(&format!(
                "G21 G90\nG0 X30 Y-8\nG41\nM3\nG1 Y0 F1100\nG1 X0\nG1 Y80\nG1 X{left}\nG1 X40 Y40\n\
                 G1 X60\nG1 X{right} Y80\nG1 X100\nG1 Y0\nG1 X30\nG40\nM5\nM2\n"
            ))
        };
        assert_eq!(of_rule(necked(1.2)), ["refuse compensation-open 9:1 1"]);
        let just_passes = necked(1.6);
        assert_eq!(of_rule(just_passes), nothing());
    }

    #[test]
    fn a_hole_smaller_than_the_kerf_is_refused() {
        let hole = |r: f64| {
            let edge = 40.0 + r;
            changed(
                &format!("G0 X45 Y40\n{HOLE}"),
                &format!("G0 X40 Y40\nG41\nM3\nG1 X{edge} F660\nG3 X{edge} Y40 I-{r} J0\nG40\nM5"),
            )
        };
        assert_eq!(of_rule(hole(0.7)), ["refuse compensation-open 6:1 1"]);
        let just_passes = hole(1.0);
        assert_eq!(of_rule(just_passes), nothing());
    }
}
