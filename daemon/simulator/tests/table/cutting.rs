//! A panel that does everything right cuts everything once, and nothing wrong is seen.

use crate::panel::{Panel, Went, hole, square};

#[test]
fn a_square_and_a_hole_are_cut_once_and_cleanly() {
    let cuts = vec![hole(120.0, 120.0, 6.0), square(100.0, 200.0)];
    let mut panel = Panel::ready(1, cuts.clone());
    for path in &cuts {
        assert_eq!(panel.cut(path), Went::Whole);
    }
    let truth = panel.table.truth();
    assert_eq!(truth.violations, Vec::<String>::new());
    assert_eq!(truth.uncut_mm, 0.0, "{truth:?}");
    assert!(truth.recut_mm < 0.01, "{truth:?}");
    assert!(truth.off_path_mm < 0.01, "{truth:?}");
    assert_eq!(truth.pierces, 2);
}
