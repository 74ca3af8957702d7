//! Something goes wrong at each millimetre of the last of every path: there the torch may have gone off
//! by the program before the loss was noticed, and the way on may lie beyond the path's end.
//!
//! `STANDCLEAR_ENDS=1-200` takes the programs of these seeds.

use simulator::harness::FaultKind;

use super::case::Case;
use super::{run, seeds_of};

/// Programs when none are named: one of odd shapes.
const PROGRAMS: [u64; 1] = [702_608];
/// Places before the end of a path, mm.
const BEFORE_MM: [f64; 6] = [0.3, 1.0, 2.5, 6.0, 13.0, 28.0];

fn near_every_end(kinds: &[FaultKind]) {
    let programs = seeds_of("STANDCLEAR_ENDS").unwrap_or_else(|| PROGRAMS.to_vec());
    let mut wrong = Vec::new();
    let mut cut = 0;
    for (seed, kind) in programs
        .iter()
        .flat_map(|s| kinds.iter().map(move |k| (*s, *k)))
    {
        for before_mm in BEFORE_MM {
            for stamps in [true, false] {
                for case in Case::near_ends(seed, kind, before_mm, stamps) {
                    cut += 1;
                    if let Err(why) = run(&case) {
                        wrong.push(format!("{before_mm} mm before an end: {case:?}\n{why}"));
                    }
                }
            }
        }
    }
    let first = wrong.first().cloned().unwrap_or_default();
    assert!(wrong.is_empty(), "{} of {cut}: {first}", wrong.len());
}

#[test]
fn a_line_lost_near_the_end_of_a_path_is_gone_on_with_as_agreed() {
    near_every_end(&[FaultKind::LinkCut]);
}

#[test]
fn a_controller_or_a_chain_lost_near_the_end_of_a_path_is_gone_on_with_as_agreed() {
    near_every_end(&[FaultKind::ControllerReset, FaultKind::Estop]);
}
