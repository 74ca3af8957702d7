//! Leaving a cut where it was lost: what stays of it then, and what that holds.

use super::ways::{Asked, plain, tenths};
use super::{Lost, Proposal, Way, Ways};
use crate::geometry::plane::mm;
use crate::resume::Ahead;
use crate::resume::LEAVE_MM;

/// So much metal at the end of any path is as good as none: it breaks by hand, mm (invented).
const HAIR_MM: f64 = 1.0;
/// Of a longer rest nobody asks whether all of it runs through kerfs already, mm (invented).
const LONG_MM: f64 = 60.0;

impl Asked<'_, '_> {
    /// Where what stays uncut begins: at the likeliest place, or, where the arc may have gone out long
    /// before it, where the cut is surely cut (and true).
    pub(super) fn stays_from(&self) -> (f64, bool) {
        let Lost { at_mm, low_mm, .. } = self.lost;
        let unsure = self.metal_mm(low_mm, at_mm) > HAIR_MM;
        (if unsure { low_mm } else { at_mm }, unsure)
    }

    /// Metal along the path between two places, mm.
    fn metal_mm(&self, from: f64, to: f64) -> f64 {
        if from < to {
            self.ground.left_mm(self.stopped.cut, from, to)
        } else {
            0.0
        }
    }

    /// An outline near its end is left on a tab; whatever it is, when its rest is as good as gone, for
    /// then there may be nothing to fire at.
    pub(super) fn leave(&self, ahead: Ahead, ways: &mut Ways) {
        let low_mm = self.lost.low_mm;
        let end_mm = self.length_mm;
        let closed_mm = self.contour.map_or(end_mm, |(_, closed_mm)| closed_mm);
        if end_mm - low_mm > LONG_MM {
            return;
        }
        let metal = |from: f64, to: f64| self.metal_mm(from, to);
        let (from_mm, unsure) = self.stays_from();
        // What holds the piece, what stays of the path with its way out, and what may stay of it.
        let tab_mm = metal(from_mm, closed_mm);
        let (rest, most) = (metal(from_mm, end_mm), metal(low_mm, end_mm));
        let near = self.is_outline() && from_mm <= closed_mm && closed_mm - low_mm <= LEAVE_MM;
        let fallen = ahead == Ahead::Loose && end_mm - low_mm <= LEAVE_MM;
        if !near && !fallen && most > HAIR_MM {
            return;
        }
        let stays = if tab_mm > 0.0 && self.contour.is_some() {
            let up_to = if unsure { "up to " } else { "" };
            format!(
                "Leave a tab of {up_to}{} mm. Break it by hand when all is cold.",
                mm(tab_mm)
            )
        } else if rest > 0.0 {
            format!(
                "Leave it: its last {} mm stay uncut and hold no part.",
                tenths(end_mm - from_mm)
            )
        } else if most > 0.0 {
            format!(
                "Nothing is left of it, or {} mm at most: leave it, and look at the joint.",
                tenths(most.max(0.1))
            )
        } else {
            "Its end lies in the kerf already: nothing of it is left to cut.".into()
        };
        let piece = match ahead {
            Ahead::Holds => "",
            Ahead::MayHold => "The piece may be loose already. ",
            Ahead::Loose => "The piece is loose already. ",
        };
        let proposal = Proposal {
            uncut_mm: if rest > 0.0 { end_mm - from_mm } else { 0.0 },
            tab_mm,
            why: format!("{piece}{stays}"),
            ..plain(Way::Leave, self.place(from_mm), from_mm)
        };
        // Nothing to cut, or perhaps nothing to cut it from: that comes before any firing.
        if most <= 0.0 || ahead != Ahead::Holds {
            ways.proposals.insert(0, proposal);
        } else {
            ways.proposals.push(proposal);
        }
    }
}
