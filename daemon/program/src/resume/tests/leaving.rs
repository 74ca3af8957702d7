//! A cut that is left where it was lost.

use super::*;

#[test]
fn near_the_end_it_may_be_left_as_a_tab_and_elsewhere_not() {
    let end = cuts()[1].length_mm();
    let found = ask(1, lost(end - 2.0 - 5.0, 0.48), |_| {});
    let leave = get(&found, Way::Leave);
    // The lead-in, an arc of 6 mm that meets the outline in its direction, has taken the last of it:
    // closed form sqrt((r + w/2)^2 - r^2).
    let taken = (6.7_f64.powi(2) - 36.0).sqrt();
    assert!(
        (leave.tab_mm - (5.0 - 0.7 - taken)).abs() < 0.2,
        "{leave:?}"
    );
    let found = ask(1, lost(60.0, 0.48), |_| {});
    assert!(found.proposals.iter().all(|p| p.way != Way::Leave));
}

/// Two discs that touch, cut in one go: nobody can say which side of it is kept.
const EIGHT: &str =
    "G21 G90 G17 G40\nG0 X150 Y100\nM3\nG2 X150 Y100 I20 J0 F1100\nG3 X150 Y100 I-20 J0\nM5\nM2\n";

fn ask_eight(lost: Lost) -> Ways {
    ask_of(EIGHT, 0, lost, |_| {})
}

#[test]
fn whatever_is_cut_has_a_way_on_at_its_very_end_and_nothing_is_fired_at_what_has_fallen() {
    let length = 2.0 * core::f64::consts::TAU * 20.0;
    // The end runs into the kerf of the beginning: nothing is left ahead.
    for before in [0.0, 0.3, 0.6] {
        let found = ask_eight(Lost {
            at_mm: length - before,
            low_mm: length - before - 0.4,
            high_mm: length,
        });
        let first = &found.proposals[0];
        assert_eq!(first.way, Way::Leave, "{before}: {found:#?}");
        assert_eq!((first.uncut_mm, first.tab_mm), (0.0, 0.0), "{before}");
    }
    // A hair may be left, and that is said.
    let hair = ask_eight(lost(length - 5.2, 0.2));
    let leave = get(&hair, Way::Leave);
    assert!(leave.tab_mm > 0.0 && leave.tab_mm < 1.0, "{leave:?}");
    assert!(leave.uncut_mm > leave.tab_mm, "{leave:?}");
    // Not known to a hair, but whatever it is, it hangs on nothing.
    let wide = ask_eight(Lost {
        at_mm: length - 4.8,
        low_mm: length - 5.6,
        high_mm: length,
    });
    assert_eq!(wide.proposals[0].way, Way::Leave, "{wide:#?}");
    // A way out in the scrap is path like any other.
    let disc = "G21 G90\nG0 X186 Y96\nM3\nG1 X180 Y100 F1100\nG2 X180 Y100 I-30 J0\nG1 X186 Y104\nM5\nM2\n";
    let closed = 52.0_f64.sqrt() + core::f64::consts::TAU * 30.0;
    for at in [closed - 1.4, closed, closed + 1.0, closed + 3.0] {
        let found = ask_of(disc, 0, lost(at, 0.2), |_| {});
        let whole = found.proposals.iter().find(|p| p.uncut_mm <= 0.0);
        assert!(
            whole.is_some_and(|p| p.way != Way::Leave),
            "{at}: {found:#?}"
        );
    }
    // What still hangs is cut.
    let far = ask_eight(lost(length - 12.0, 0.4));
    assert!(far.proposals.iter().all(|p| p.way != Way::Leave));
    assert!(!far.proposals.is_empty(), "{far:#?}");
}
