use proptest::prelude::*;
use units::{Placement, Point, Segment};

use super::*;
use crate::rules::frame;
use crate::{ReadingRules, Severity, read};

/// A hole of 20 mm and an outline of 100 x 80 round it, the clamp on the sheet's left: invented.
const PLATE: &str = "G21 G90 G17 G40\n\
G0 X150 Y100\nM3\nG1 X159.3 F660\nG3 X159.3 Y100 I-9.3 J0\nM5\n\
G0 X150 Y53.3\nM3\nG3 X144 Y59.3 I-6 J0 F1100\nG1 X99.3\nG1 Y140.7\nG1 X200.7\nG1 Y59.3\nG1 X142\nM5\nM2\n";

fn cuts() -> Vec<Cut> {
    read(PLATE.as_bytes(), &ReadingRules::default())
        .cut_list
        .cuts
}

fn setup() -> crate::Setup {
    crate::Setup::from_toml(
        "material = \"mild-steel\"\nthickness = 5\nsheet = [300, 200]\norigin = [0, 0]\nclamp = [30, 100]\nkerf = 1.4\n",
    )
    .expect("a setup")
}

fn ask(cut: usize, lost: Lost, change: impl FnOnce(&mut Stopped<'_>)) -> Ways {
    let (cuts, setup) = (cuts(), setup());
    let whole = [[0.0, cuts[0].length_mm()]].to_vec();
    let done = [if cut == 0 { Vec::new() } else { whole }, Vec::new()];
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
fn near_the_end_it_may_be_left_as_a_tab_and_elsewhere_not() {
    let (cuts, _) = (cuts(), ());
    let end = cuts[1].length_mm();
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

#[test]
fn a_tab_is_as_long_as_it_says() {
    let found = ask(1, lost(60.0, 1.6), |_| {});
    let tab = get(&found, Way::Tab);
    assert!((tab.from_mm - 60.0 - 1.4 - 0.15 - tab.tab_mm).abs() < 1e-9);
    assert!(tab.tab_mm >= 3.2 - 1e-9);
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
        let here = crate::shape::Placer::new(&Placement::default());
        let list = crate::CutList { cuts: all.clone(), stops: Vec::new() };
        let flat = crate::flat::Flat::new(&list, &here);
        let contours = crate::contour::Contours::new(&flat, 1.4);
        let contour = contours.of_cut(cut).expect("closed");
        for p in &found.proposals {
            prop_assert!(p.warns.iter().all(|f| f.severity != Severity::Refuse));
            match p.way {
                Way::KerfEnd => prop_assert!(p.from_mm <= l.low_mm + 1.4 - 0.3 + 1e-9),
                Way::LeadIn => prop_assert!(p.from_mm <= l.low_mm),
                Way::Restart => prop_assert!(p.from_mm == 0.0),
                Way::Tab => prop_assert!(p.uncut_mm > 0.0),
                Way::Leave => {
                    prop_assert!(p.uncut_mm >= p.tab_mm - 0.02, "{p:?}");
                    // What it may have left unsaid is a hair, and half a kerf to each side of it.
                    let told = p.from_mm - l.low_mm;
                    prop_assert!(told <= 1.0 + 1.4 + 0.02, "{p:?} {l:?}");
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

/// Two discs that touch, cut in one go: nobody can say which side of it is kept.
const EIGHT: &str =
    "G21 G90 G17 G40\nG0 X150 Y100\nM3\nG2 X150 Y100 I20 J0 F1100\nG3 X150 Y100 I-20 J0\nM5\nM2\n";

fn ask_eight(lost: Lost) -> Ways {
    ask_program(EIGHT, lost)
}

fn ask_program(program: &str, lost: Lost) -> Ways {
    let cuts = read(program.as_bytes(), &ReadingRules::default())
        .cut_list
        .cuts;
    let stopped = Stopped {
        cuts: &cuts,
        done: &[Vec::new()],
        entries: &[],
        cut: 0,
        lost: Some(lost),
        kerf_end_failed: false,
        back_mm: 0.0,
    };
    ways(&stopped, &frame::input(&setup()))
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
        let found = ask_program(disc, lost(at, 0.2));
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

/// Two parts that share an edge, and a slit to come beside the first.
const SHARED: &str = "G21 G90\n\
G0 X100 Y166\nM3\nG1 X100 Y100 F1100\nX140\nY160\nX99\nM5\n\
G0 X180 Y166\nM3\nG1 Y100\nX140\nM5\n\
G0 X186 Y160\nM3\nG1 X140\nM5\n\
G0 X80 Y120\nM3\nG1 X90 Y140\nM5\nM2\n";

#[test]
fn no_lead_in_begins_in_another_part_nor_beside_a_path_to_come() {
    // Along the shared edge, and along the edge beside the slit.
    for at in (110..150).chain(20..60) {
        let found = ask_program(SHARED, lost(f64::from(at), 1.6));
        let leads = found.proposals.iter().filter(|p| !p.entry.is_empty());
        for lead in leads {
            let p = lead.pierce;
            let in_part = p.x > 99.0 && p.x < 181.0 && p.y > 99.0 && p.y < 161.0;
            assert!(!in_part, "{at}: {lead:#?}");
            let slit = Segment::Line {
                from: Point::new(80.0, 120.0),
                to: Point::new(90.0, 140.0),
            };
            for k in 0..=100 {
                let q = lead.entry[0].point_at(lead.entry[0].length() * f64::from(k) / 100.0);
                assert!(slit.nearest(q).1 > 1.4 + 0.9, "{at}: {lead:#?}");
            }
        }
    }
    // Elsewhere there is one.
    get(&ask_program(SHARED, lost(80.0, 1.6)), Way::LeadIn);
}

/// A plate so far from the sheet's lower edge, mm.
fn at_the_edge(mm: f64) -> String {
    format!("G21 G90\nG0 X144 Y110\nM3\nG1 X140 Y104 F1100\nX60\nY{mm}\nX160\nY104\nX139\nM5\nM2\n")
}

#[test]
fn what_was_accepted_of_the_cut_itself_is_not_asked_again_and_what_is_new_is() {
    // Vetting has warned of the edge.
    for at in (20..380).step_by(7) {
        let found = ask_program(&at_the_edge(4.0), lost(f64::from(at), 0.4));
        for p in found.proposals.iter().filter(|p| p.entry.is_empty()) {
            assert!(p.warns.is_empty(), "{at}: {p:#?}");
        }
    }
    // Beside one edge that was warned of, the pierce at another is new.
    let both = at_the_edge(9.0).replace("X160", "X296");
    let found = ask_program(&both, lost(300.0, 0.4));
    let warns = &get(&found, Way::LeadIn).warns;
    assert!(
        warns.len() == 1 && warns[0].rule == "near-edge",
        "{warns:#?}"
    );
    // The plate is well off the edge; a pierce between the two is not.
    let found = ask_program(&at_the_edge(9.0), lost(230.0, 0.4));
    assert!(found.proposals[0].warns.is_empty());
    let warns = &get(&found, Way::LeadIn).warns;
    assert!(
        warns.len() == 1 && warns[0].rule == "near-edge",
        "{warns:#?}"
    );
}

#[test]
fn a_kerf_that_is_crossed_is_not_the_end_of_the_metal() {
    // The last edge of the second part runs across the one before it, 6 mm from its pierce.
    let cuts = read(SHARED.as_bytes(), &ReadingRules::default())
        .cut_list
        .cuts;
    let whole = |k: usize| vec![[0.0, cuts[k].length_mm()]];
    let done = [whole(0), whole(1), Vec::new(), Vec::new()];
    for tenths in 5..400 {
        let at = f64::from(tenths) / 10.0;
        let stopped = Stopped {
            cuts: &cuts,
            done: &done,
            entries: &[],
            cut: 2,
            lost: Some(lost(at, 0.5)),
            kerf_end_failed: false,
            back_mm: 0.0,
        };
        let found = ways(&stopped, &frame::input(&setup()));
        assert!(!found.proposals.is_empty(), "{at}: {found:#?}");
    }
}

/// The second plate is pierced in the scrap beside the first.
const NEIGHBOURS: &str = "G21 G90\n\
G0 X94 Y130\nM3\nG1 X100 Y126 F1100\nY160\nX140\nY100\nX100\nY127\nM5\n\
G0 X145 Y130\nM3\nG1 X162 Y126\nY160\nX200\nY100\nX162\nY127\nM5\nM2\n";

#[test]
fn a_lead_in_leaves_whole_what_the_next_cut_is_pierced_in() {
    let to_come = Segment::Line {
        from: Point::new(145.0, 130.0),
        to: Point::new(162.0, 126.0),
    };
    let mut led = 0;
    for at in 82..142 {
        let found = ask_program(NEIGHBOURS, lost(f64::from(at), 1.6));
        for lead in found.proposals.iter().flat_map(|p| &p.entry) {
            led += 1;
            for k in 0..=100 {
                let q = lead.point_at(lead.length() * f64::from(k) / 100.0);
                assert!(to_come.nearest(q).1 >= 1.4 + 0.9, "{at}: {lead:?}");
            }
        }
    }
    assert!(led > 20, "{led}");
}

#[test]
fn a_path_of_very_many_pieces_is_no_burden() {
    // 50,000 pieces of 0.1 mm in a wave, lost in the middle and near its end.
    let mut text = String::from("G21 G90\nG0 X20 Y100\nM3\nF1100\n");
    for k in 1..=50_000 {
        let (row, along) = (k / 2_500, k % 2_500);
        let x = if row % 2 == 0 { along } else { 2_499 - along };
        let (x, y) = (20.0 + f64::from(x) / 10.0, 100.0 + 4.0 * f64::from(row));
        text.push_str(&format!("G1 X{x:.1} Y{y:.1}\n"));
    }
    text.push_str("M5\nM2\n");
    for at in [2_000.0, 5_060.0] {
        assert!(
            !ask_program(&text, lost(at, 0.5)).proposals.is_empty(),
            "{at}"
        );
    }
}
