//! The ways on from a stop; leaving a cut, and what lies beside it, have files of their own.

mod beside;
mod leaving;

use proptest::prelude::*;
use units::{Placement, Point, Segment};

use super::*;
use crate::vetting::rules::frame;
use crate::{ReadingRules, Severity, read};

/// A hole of 20 mm and an outline of 100 x 80 round it, the clamp on the sheet's left: invented.
const PLATE: &str = "G21 G90 G17 G40\n\
G0 X150 Y100\nM3\nG1 X159.3 F660\nG3 X159.3 Y100 I-9.3 J0\nM5\n\
G0 X150 Y53.3\nM3\nG3 X144 Y59.3 I-6 J0 F1100\nG1 X99.3\nG1 Y140.7\nG1 X200.7\nG1 Y59.3\nG1 X142\nM5\nM2\n";

fn read_cuts(text: &str) -> Vec<Cut> {
    read(text.as_bytes(), &ReadingRules::default())
        .cut_list
        .cuts
}

fn cuts() -> Vec<Cut> {
    read_cuts(PLATE)
}

fn setup() -> crate::Setup {
    crate::Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [300, 200]\norigin = [0, 0]\nclamp = [30, 100]\nkerf = 1.4\n",
    )
    .expect("a setup")
}

/// The ways on from a cut of a program that was lost, all before it cut whole.
fn ask_of(text: &str, cut: usize, lost: Lost, change: impl FnOnce(&mut Stopped<'_>)) -> Ways {
    let (cuts, setup) = (read_cuts(text), setup());
    let mut done = vec![Vec::new(); cuts.len()];
    for (done, cut) in done.iter_mut().zip(&cuts[..cut]) {
        done.push([0.0, cut.length_mm()]);
    }
    let mut stopped = Stopped {
        cuts: &cuts,
        done: &done,
        entries: &[],
        cut,
        lost: Some(lost),
        kerf_end_failed: false,
        back_mm: 0.0,
    };
    change(&mut stopped);
    ways(&stopped, &frame::input(&setup))
}

fn ask(cut: usize, lost: Lost, change: impl FnOnce(&mut Stopped<'_>)) -> Ways {
    ask_of(PLATE, cut, lost, change)
}

fn lost(at_mm: f64, half_mm: f64) -> Lost {
    Lost {
        at_mm,
        low_mm: (at_mm - half_mm).max(0.0),
        high_mm: at_mm + half_mm,
    }
}

fn get(ways: &Ways, way: Way) -> &Proposal {
    ways.proposals
        .iter()
        .find(|p| p.way == way)
        .unwrap_or_else(|| panic!("{way:?} is not offered: {ways:#?}"))
}

#[test]
fn a_short_interval_is_taken_up_from_the_open_kerf() {
    let found = ask(1, lost(60.0, 0.48), |_| {});
    let first = &found.proposals[0];
    assert_eq!(first.way, Way::KerfEnd);
    assert!(first.entry.is_empty() && !first.pierces);
    // Never so far on that a bridge could stay; the wall within reach.
    assert!(first.from_mm <= 60.0 - 0.48 + 1.4 - 0.3 + 1e-9);
    assert!(60.48 - first.from_mm + 0.7 <= REACH_MM);
    assert!((first.overlap_mm - (60.48 - first.from_mm)).abs() < 1e-9);
}

/// Process handbook 4.7: the walls of its table bound ours, for ours never starts further on.
#[test]
fn the_handbooks_table_of_starts_is_kept() {
    for (feed, w, ms, ok) in [
        (800.0, 1.80, 36.0, true),
        (1100.0, 1.45, 36.0, true),
        (2200.0, 1.33, 36.0, false),
        (2600.0, 1.33, 36.0, false),
        (800.0, 1.80, 10.0, true),
        (1100.0, 1.45, 10.0, true),
        (2200.0, 1.33, 10.0, true),
        (2600.0, 1.33, 10.0, true),
    ] {
        let half = feed / 60.0 * ms / 1000.0 + 0.3;
        let l = lost(50.0, half);
        let (from, wall, second) = super::ways::kerf_end_at(&l, w);
        let book = 50.0_f64.min(l.low_mm + w - 0.3);
        assert!(
            from <= book + 1e-9 && from >= l.low_mm - 1e-9,
            "{feed} {ms}"
        );
        assert!(second >= from && second <= l.low_mm + w);
        assert_eq!(wall <= REACH_MM + 1e-9, ok, "{feed} {ms}: {wall}");
    }
}

#[test]
fn a_long_interval_is_taken_up_by_a_new_lead_in_from_the_scrap() {
    let found = ask(1, lost(60.0, 1.6), |_| {});
    assert_eq!(found.proposals[0].way, Way::LeadIn);
    let lead = &found.proposals[0];
    assert!(found.barred.iter().any(|(w, _)| *w == Way::KerfEnd));
    assert!(lead.pierces && lead.warns.is_empty(), "{lead:?}");
    assert!((lead.from_mm - (60.0 - 1.6 - 0.3)).abs() < 1e-9);
    // Outside of the outline (x 99.3 to 200.7, y 59.3 to 140.7), 4 mm off or more.
    let p = lead.pierce;
    assert!(p.x < 99.3 - 3.9 || p.y < 59.3 - 3.9, "{p:?}");
    assert_eq!(lead.entry[0].from(), p);
}

#[test]
fn a_hole_is_led_into_from_its_inside() {
    // The pierce of the hole is at its middle: the lead-in keeps away from it.
    let found = ask(0, lost(40.0, 1.6), |_| {});
    let lead = get(&found, Way::LeadIn);
    let off = lead.pierce.distance(Point::new(150.0, 100.0));
    assert!(off < 9.3 - 3.9, "{off}");
    assert!(off > 1.6, "{off}");
}

#[test]
fn further_back_is_asked_for_and_led_into_there() {
    let found = ask(1, lost(60.0, 0.48), |s| s.back_mm = 5.0);
    assert_eq!(found.proposals[0].way, Way::LeadIn);
    assert!((found.proposals[0].from_mm - (60.0 - 0.48 - 0.3 - 5.0)).abs() < 1e-9);
}

#[test]
fn a_tab_is_as_long_as_it_says() {
    let found = ask(1, lost(60.0, 1.6), |_| {});
    let tab = get(&found, Way::Tab);
    assert!((tab.from_mm - 60.0 - 1.4 - 0.15 - tab.tab_mm).abs() < 1e-9);
    assert!(tab.tab_mm >= 3.2 - 1e-9);
}

#[test]
fn a_tab_begins_where_the_cut_is_surely_cut_where_the_arc_may_have_gone_out_long_before() {
    // A panel was killed: somewhere between 14 and 37 mm.
    let killed = Lost {
        at_mm: 37.0,
        low_mm: 14.0,
        high_mm: 37.0,
    };
    let found = ask(1, killed, |_| {});
    let tab = get(&found, Way::Tab);
    assert!(tab.from_mm - tab.uncut_mm <= 14.0 + 1e-9, "{tab:?}");
    assert!(tab.why.contains("up to"), "{tab:?}");
}

#[test]
fn metal_that_hangs_on_nothing_is_not_cut_on() {
    // The outline is cut whole; a hole in the part is lost: the part lies free.
    let (cuts, setup) = (cuts(), setup());
    let done = [Vec::new(), vec![[0.0, cuts[1].length_mm()]]];
    let stopped = Stopped {
        cuts: &cuts,
        done: &done,
        entries: &[],
        cut: 0,
        lost: Some(lost(30.0, 0.48)),
        kerf_end_failed: false,
        back_mm: 0.0,
    };
    let found = ways(&stopped, &frame::input(&setup));
    assert!(found.proposals.is_empty(), "{found:?}");
    assert!(found.barred[0].1.contains("clamp"));
}

#[test]
fn a_burnt_lead_in_is_no_ground_for_the_next() {
    let first = ask(1, lost(60.0, 1.6), |_| {});
    let burnt = first.proposals[0].entry.clone();
    let entries = [burnt.clone()];
    let (cuts, setup) = (cuts(), setup());
    let done = [vec![[0.0, cuts[0].length_mm()]], Vec::new()];
    let stopped = Stopped {
        cuts: &cuts,
        done: &done,
        entries: &entries,
        cut: 1,
        lost: Some(lost(60.0, 1.6)),
        kerf_end_failed: false,
        back_mm: 0.0,
    };
    let second = ways(&stopped, &frame::input(&setup));
    let lead = get(&second, Way::LeadIn);
    assert!(lead.pierce.distance(burnt[0].from()) > 1.4, "{lead:?}");
}

#[test]
fn a_long_interval_up_to_the_end_is_cut_on_from_what_is_surely_cut() {
    let end = cuts()[1].length_mm();
    let mut perhaps_loose = 0;
    for k in 0..40 {
        let high_mm = end - 0.25 * f64::from(k);
        let lost = Lost {
            at_mm: high_mm - 0.5,
            low_mm: end - 40.0,
            high_mm,
        };
        let found = ask(1, lost, |_| {});
        // Nobody knows how long that tab would be.
        assert!(found.proposals.iter().all(|p| p.way != Way::Leave));
        let first = &found.proposals[0];
        assert!(first.from_mm <= lost.low_mm, "{first:?}");
        assert!(first.uncut_mm <= 0.0, "{first:?}");
        perhaps_loose += usize::from(first.why.contains("loose"));
    }
    assert!(perhaps_loose > 0);
}

#[test]
fn a_cut_lost_on_its_own_lead_in_is_not_led_into_along_that() {
    let own = Segment::Line {
        from: Point::new(150.0, 100.0),
        to: Point::new(159.3, 100.0),
    };
    for at_mm in [0.0, 0.5, 1.0, 2.0] {
        let found = ask(0, lost(at_mm, 0.9), |_| {});
        let lead = get(&found, Way::LeadIn).entry[0];
        let far = (0..50).map(|k| lead.point_at(lead.length() * f64::from(k) / 50.0));
        for p in far.filter(|p| p.distance(lead.to()) > 2.8) {
            assert!(own.nearest(p).1 >= 1.4 - 1e-9, "{found:?}");
        }
    }
}

#[test]
fn an_open_path_has_no_scrap_side() {
    let cuts = read(
        b"G21 G0 X50 Y50\nM3\nG1 X250 F1100\nM5\nM2\n",
        &ReadingRules::default(),
    )
    .cut_list
    .cuts;
    let setup = setup();
    let stopped = Stopped {
        cuts: &cuts,
        done: &[Vec::new()],
        entries: &[],
        cut: 0,
        lost: Some(lost(60.0, 1.6)),
        kerf_end_failed: false,
        back_mm: 0.0,
    };
    let found = ways(&stopped, &frame::input(&setup));
    // Then from the open kerf, however far its wall may be.
    let first = &found.proposals[0];
    assert_eq!(first.way, Way::KerfEnd);
    assert!((first.from_mm - 58.4).abs() < 1e-9, "{found:?}");
    assert!(
        found
            .barred
            .iter()
            .any(|(w, why)| *w == Way::LeadIn && why.contains("open"))
    );
}

/// How much metal the kerf of a cut up to `from` leaves on its path from there to `to`, mm.
fn metal_mm(cut: &Cut, from: f64, to: f64) -> f64 {
    let stations = |a: f64, b: f64| {
        let n = ((b - a) / 0.05).ceil().max(0.0) as u32;
        (0..n).map(move |k| a + (b - a) * (f64::from(k) + 0.5) / f64::from(n))
    };
    let gone: Vec<Point> = stations(0.0, from).map(|s| cut.point_at(s)).collect();
    let left = stations(from, to).filter(|s| {
        let p = cut.point_at(*s);
        gone.iter().all(|q| q.distance(p) > 0.7)
    });
    left.count() as f64 * 0.05
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 120, ..ProptestConfig::default() })]

    /// Wherever a cut is lost, what is offered begins at or before what is surely cut or says what
    /// stays, fires where there is metal or from the open kerf, and leads in through scrap alone.
    #[test]
    fn whatever_is_lost_what_is_offered_holds(
        cut in 0_usize..2,
        part in 0.0_f64..1.0,
        half in 0.3_f64..3.0,
        back in prop_oneof![Just(0.0), 0.0_f64..20.0],
        failed: bool,
    ) {
        let all = cuts();
        let at = part * all[cut].length_mm();
        let l = lost(at, half);
        let found = ask(cut, l, |s| { s.back_mm = back; s.kerf_end_failed = failed; });
        // Where nothing can be offered it says why.
        prop_assert!(!found.proposals.is_empty() || !found.barred.is_empty(), "{found:?}");
        let here = crate::geometry::plane::Placer::new(&Placement::default());
        let list = crate::CutList { cuts: all.clone(), stops: Vec::new() };
        let flat = crate::cuts::polylines::Polylines::new(&list, &here);
        let contours = crate::contours::Contours::new(&flat, 1.4);
        let contour = contours.of_cut(cut).expect("closed");
        for p in &found.proposals {
            prop_assert!(p.warns.iter().all(|f| f.severity != Severity::Refuse));
            match p.way {
                Way::KerfEnd => prop_assert!(p.from_mm <= l.low_mm + 1.4 - 0.3 + 1e-9),
                Way::LeadIn => prop_assert!(p.from_mm <= l.low_mm),
                Way::Restart => prop_assert!(p.from_mm == 0.0),
                Way::Tab => {
                    prop_assert!(p.uncut_mm > 0.0);
                    let untold = metal_mm(&all[cut], l.low_mm, p.from_mm - p.uncut_mm);
                    prop_assert!(untold <= 1.1, "{untold}: {p:?} {l:?}");
                }
                Way::Leave => {
                    prop_assert!(p.uncut_mm >= p.tab_mm - 0.02, "{p:?}");
                    // Of the path between what is surely cut and where it is left, the kerf up to
                    // there has taken all but a hair.
                    let untold = metal_mm(&all[cut], l.low_mm, p.from_mm);
                    prop_assert!(untold <= 1.1, "{untold}: {p:?} {l:?}");
                    prop_assert!(all[cut].length_mm() - l.low_mm < 8.0 + 2.01, "{p:?}");
                }
            }
            for lead in &p.entry {
                let n = 400;
                for k in 0..n {
                    let q = lead.point_at(lead.length() * f64::from(k) / f64::from(n));
                    // The contour is made of chords, and it begins while the lead-in still leaves
                    // it: by both it may lie off the path.
                    let inside = contour.on_part(q) && contour.distance(q) > 0.07;
                    prop_assert!(!inside, "{p:?} at {q:?}");
                }
                let straight = matches!(lead, Segment::Line { .. });
                prop_assert!(straight);
            }
        }
    }
}
