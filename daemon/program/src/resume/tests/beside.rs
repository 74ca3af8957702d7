//! What else is on the sheet: other parts, their edges and pierces, kerfs that are crossed, the
//! sheet's own edge.

use super::*;

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
        let found = ask_of(SHARED, 0, lost(f64::from(at), 1.6), |_| {});
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
    get(&ask_of(SHARED, 0, lost(80.0, 1.6), |_| {}), Way::LeadIn);
}

#[test]
fn a_kerf_that_is_crossed_is_not_the_end_of_the_metal() {
    // The last edge of the second part runs across the one before it, 6 mm from its pierce.
    for tenths in 5..400 {
        let at = f64::from(tenths) / 10.0;
        let found = ask_of(SHARED, 2, lost(at, 0.5), |_| {});
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
        let found = ask_of(NEIGHBOURS, 0, lost(f64::from(at), 1.6), |_| {});
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

/// A plate so far from the sheet's lower edge, mm.
fn at_the_edge(mm: f64) -> String {
    format!("G21 G90\nG0 X144 Y110\nM3\nG1 X140 Y104 F1100\nX60\nY{mm}\nX160\nY104\nX139\nM5\nM2\n")
}

#[test]
fn what_was_accepted_of_the_cut_itself_is_not_asked_again_and_what_is_new_is() {
    // Vetting has warned of the edge.
    for at in (20..380).step_by(7) {
        let found = ask_of(&at_the_edge(4.0), 0, lost(f64::from(at), 0.4), |_| {});
        for p in found.proposals.iter().filter(|p| p.entry.is_empty()) {
            assert!(p.warns.is_empty(), "{at}: {p:#?}");
        }
    }
    // Beside one edge that was warned of, the pierce at another is new.
    let both = at_the_edge(9.0).replace("X160", "X296");
    let found = ask_of(&both, 0, lost(300.0, 0.4), |_| {});
    let warns = &get(&found, Way::LeadIn).warns;
    assert!(
        warns.len() == 1 && warns[0].rule == "near-edge",
        "{warns:#?}"
    );
    // The plate is well off the edge; a pierce between the two is not.
    let found = ask_of(&at_the_edge(9.0), 0, lost(230.0, 0.4), |_| {});
    assert!(found.proposals[0].warns.is_empty());
    let warns = &get(&found, Way::LeadIn).warns;
    assert!(
        warns.len() == 1 && warns[0].rule == "near-edge",
        "{warns:#?}"
    );
}
