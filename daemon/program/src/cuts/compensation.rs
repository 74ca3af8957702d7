//! Kerf compensation (G41, G42): the path that is cut, half a kerf beside the programmed one.
//!
//! The words are those of NISTIR 6556, appendix B: G41 left of travel, G42 right of it, in XY alone.
//! What differs here is chosen so that closed contours come out exact:
//!
//! - The offset is half the kerf of the setup, else of the chart row. `D` with decimals (`D1.45`)
//!   states the kerf in the active unit; a whole number is a place in a tool table and passed over.
//! - An outside corner gets an arc of half the kerf about it, an inside corner is trimmed to where
//!   the two offsets meet (the report calls every inside corner an error). Where a corner or arc is
//!   too small for that, the cut is refused: nothing vanishes in silence.
//! - A contour is where a path comes back to an earlier corner of itself. It is offset all round, as
//!   if it had no beginning; lead-in and lead-out join it and take nothing from it.
//! - The lead-in's first straight move, with no travel since G41, goes from the programmed pierce to
//!   the start of the offset path. Where that would cut the corner it goes along the tangent to the
//!   circle of half a kerf about the corner, as the report has it, and round the corner. In all other
//!   cases (travel since G41, an arc first, a single straight cut, a pierce on the contour) the
//!   pierce is moved aside with the path.
//! - What follows G40 with the torch still on goes from the end of the offset path to its own end.
//!
//! Pieces keep the line, column and feed of what they come from; corner arcs those of what follows.

mod contour;
mod corner;
mod crossings;
mod path;

use crate::Reading;
use crate::cuts::cut_list::CarriedOut;
use crate::cuts::cut_list::Compensation;
use crate::cuts::cut_list::Side;
use crate::cuts::cut_list::{Cut, CutList};
use crate::report::findings::{Findings, Spot};
use crate::vetting::rules::reading::unsupported_word;
use crate::vetting::rules::torch::compensation_open;

impl Compensation {
    pub(crate) fn new(side: Side, kerf_mm: Option<f64>, at: Spot, travelled: bool) -> Self {
        Self {
            side,
            kerf_mm,
            line: at.line,
            column: at.column,
            elements: None,
            travelled,
            carried_out: CarriedOut::NotYet,
        }
    }

    pub(crate) fn spot(&self, cut: usize) -> Spot {
        Spot {
            column: self.column,
            cut,
            ..Spot::line(self.line)
        }
    }
}

/// Whether a cut waits for its compensation.
pub(crate) fn is_due(list: &CutList) -> bool {
    list.cuts.iter().any(|c| waits(c).is_some())
}

fn waits(cut: &Cut) -> Option<Compensation> {
    cut.compensation
        .filter(|c| c.carried_out == CarriedOut::NotYet)
}

/// A reading whose cuts are the paths that are cut: those under G41 or G42 moved aside by half the
/// kerf. `kerf_mm` is that of the setup, else of the chart row; a kerf that the program states goes
/// before it. What cannot be carried out keeps its programmed path, and a refusal is among the
/// findings. Compensation that was carried out is not carried out again.
#[must_use]
pub fn compensated(mut reading: Reading, kerf_mm: Option<f64>) -> Reading {
    if !is_due(&reading.cut_list) {
        return reading;
    }
    let mut findings = Findings::default();
    let mut without_kerf: Option<(Spot, Side, usize)> = None;
    for (cut, number) in reading.cut_list.cuts.iter_mut().zip(1..) {
        let Some(mut asked) = waits(cut) else {
            continue;
        };
        asked.carried_out = CarriedOut::Refused;
        match asked.kerf_mm.or(kerf_mm).filter(|k| *k > 0.0) {
            None => {
                let first = without_kerf.get_or_insert((asked.spot(number), asked.side, 0));
                first.2 += 1;
            }
            Some(kerf_mm) => match path::offset(cut, &asked, kerf_mm / 2.0) {
                Ok((pierce, path)) => {
                    cut.pierce = pierce;
                    cut.path = path;
                    asked.carried_out = CarriedOut::Offset { kerf_mm };
                }
                Err(small) => {
                    let spot = cut
                        .path
                        .get(small.element)
                        .map_or(asked.spot(number), |e| Spot::element(number, e));
                    compensation_open::too_small(
                        &mut findings,
                        spot.at(small.at),
                        small.what,
                        kerf_mm / 2.0,
                    );
                }
            },
        }
        cut.compensation = Some(asked);
    }
    if let Some((spot, side, cuts)) = without_kerf {
        unsupported_word::kerf_not_known(&mut findings, spot, side, cuts);
    }
    reading.findings.extend(findings.into_list());
    reading
}
