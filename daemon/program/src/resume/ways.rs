//! The ways on from a stop, the best first.

use core::cell::OnceCell;

use units::{Point, Segment};

use super::ground::Ground;
use super::{Lost, Proposal, REACH_MM, Stopped, Way, Ways, entry, judge};
use crate::contours::Kind;
use crate::geometry::plane::mm;
use crate::report::{Finding, Severity};
use crate::resume::{Ahead, LEAVE_MM};
use crate::vetting::on_sheet::{OnSheet, VetInput};
use crate::{Cut, CutList, Reading, Setup};

/// A new lead-in joins this far before what is surely cut, mm (process handbook).
const BEFORE_MM: f64 = 0.3;
/// The second try from the open kerf leaves this much of the kerf's half round to spare, mm.
const SECOND_MM: f64 = 0.05;
/// Where a lead-in turns into the path the torch is slow and burns so much wider, mm (invented).
const TURN_MM: f64 = 0.15;
/// A tab is at least so long, mm.
const TAB_MM: f64 = 1.0;
/// A wall so near is reached without fail, mm (invented): a start from the open kerf goes back for
/// overlap as long as its wall stays within this.
const SURE_REACH_MM: f64 = 1.7;
/// So many lead-ins are vetted before another way is taken.
const VETTED: usize = 6;

/// What the ways are worked out from.
pub(super) struct Asked<'a, 'd> {
    pub stopped: &'a Stopped<'a>,
    input: &'a VetInput<'a>,
    pub ground: Ground<'a, 'd>,
    pub lost: Lost,
    /// Where the contour begins and where it is closed, mm along the cut.
    pub contour: Option<(f64, f64)>,
    pub length_mm: f64,
    /// What vetting has said of the cut, asked for when it is first wanted.
    known: OnceCell<Vec<Finding>>,
}

pub(super) fn find(stopped: &Stopped<'_>, input: &VetInput<'_>) -> Ways {
    let mut ways = Ways {
        proposals: Vec::new(),
        barred: Vec::new(),
    };
    let Some(cut) = stopped.cuts.get(stopped.cut) else {
        return ways;
    };
    let Some(lost) = stopped.lost else {
        // Nothing of it is cut: the pierce is the one that was vetted.
        let why = "Nothing of this cut is cut yet: it begins at its pierce.";
        ways.proposals.push(Proposal::fresh(cut.pierce, why));
        return ways;
    };
    // What was placed already is not placed again.
    let placed = input.setup.map(|setup| Setup {
        origin: Point::default(),
        rotation: 0.0,
        ..setup.clone()
    });
    let input = &VetInput {
        setup: placed.as_ref(),
        ..*input
    };
    let drawn = Reading::of_cuts(CutList {
        cuts: stopped.cuts.to_vec(),
        stops: Vec::new(),
    });
    let drawn = OnSheet::new(&drawn, input, &crate::Unwatched);
    let Some(ground) = Ground::new(stopped, &drawn) else {
        from_kerf_alone(cut, &lost, input, &mut ways);
        return ways;
    };
    let asked = Asked {
        contour: ground.joint_and_close(stopped.cut),
        length_mm: ground.length_mm(stopped.cut),
        stopped,
        input,
        ground,
        lost,
        known: OnceCell::new(),
    };
    let ahead = (lost.high_mm + asked.ground.kerf_mm).min(asked.length_mm);
    if asked.ground.ahead_holds(stopped.cut, ahead) {
        asked.kerf_end(&mut ways);
        if !asked.lead_in(&mut ways) {
            asked.far_kerf_end(&mut ways);
        }
        asked.leave(Ahead::Holds, &mut ways);
        asked.tab(&mut ways);
        asked.restart(&mut ways);
    } else {
        let why =
            "The metal there hangs on nothing that the ground clamp holds: it cannot be cut on.";
        ways.barred.push((Way::KerfEnd, why.into()));
        let hangs = asked.perhaps_loose(&drawn, &mut ways);
        let ahead = if hangs { Ahead::MayHold } else { Ahead::Loose };
        asked.leave(ahead, &mut ways);
    }
    ways
}

impl Proposal {
    /// The cut from its pierce, on whole metal.
    #[must_use]
    pub fn fresh(pierce: Point, why: &str) -> Self {
        Self {
            why: why.into(),
            ..plain(Way::Restart, pierce, 0.0)
        }
    }
}

pub(super) fn plain(way: Way, pierce: Point, from_mm: f64) -> Proposal {
    Proposal {
        way,
        pierce,
        entry: Vec::new(),
        from_mm,
        second_mm: None,
        pierces: way == Way::Restart,
        overlap_mm: 0.0,
        uncut_mm: 0.0,
        tab_mm: 0.0,
        why: String::new(),
        warns: Vec::new(),
    }
}

/// Where a start from the open kerf lies, and the worst wall ahead of it, mm; the third: its second
/// try. Never so far on that a bridge could stay between the two half rounds (process handbook), and
/// as far back towards what is surely cut as the wall stays near, wherever the kerf ends.
pub(super) fn kerf_end_at(lost: &Lost, kerf_mm: f64) -> (f64, f64, f64) {
    let furthest = lost.at_mm.min(lost.low_mm + kerf_mm - BEFORE_MM);
    let from = (lost.high_mm + kerf_mm / 2.0 - SURE_REACH_MM)
        .clamp(lost.low_mm, furthest.max(lost.low_mm));
    let second = (lost.low_mm + kerf_mm - SECOND_MM)
        .min(lost.high_mm)
        .max(from);
    (from, lost.high_mm - from + kerf_mm / 2.0, second)
}

/// What is known to a tenth at best is not told finer, mm.
pub(super) fn tenths(mm: f64) -> String {
    format!("{mm:.1}")
}

/// Without a known sheet or kerf only the open kerf is left, from what is surely cut.
fn from_kerf_alone(cut: &Cut, lost: &Lost, input: &VetInput<'_>, ways: &mut Ways) {
    let from = lost.low_mm;
    ways.proposals.push(Proposal {
        overlap_mm: lost.high_mm - from,
        why: format!(
            "From the open kerf, at the place surely cut. The sheet or the kerf ({} mm) is not known: \
             look at the wall first.",
            mm(input.kerf_mm.unwrap_or(0.0))
        ),
        ..plain(Way::KerfEnd, cut.point_at(from), from)
    });
    ways.barred
        .push((Way::LeadIn, "The sheet or the kerf is not known.".into()));
}

impl Asked<'_, '_> {
    pub(super) fn place(&self, s: f64) -> Point {
        self.ground.along(self.stopped.cut, s).0
    }

    /// Vets it; `false` and the reason among the barred when a rule refuses.
    fn propose(&self, mut proposal: Proposal, ways: &mut Ways) -> bool {
        match self.vetted(&proposal) {
            Ok(findings) => {
                proposal.warns = findings;
                ways.proposals.push(proposal);
                true
            }
            Err(why) => {
                ways.barred.push((proposal.way, why));
                false
            }
        }
    }

    fn vetted(&self, proposal: &Proposal) -> Result<Vec<Finding>, String> {
        let known = || {
            let said = || judge::known(self.stopped, self.input);
            self.known.get_or_init(said).clone()
        };
        let findings = judge::judge(self.stopped, self.input, proposal, self.contour, known);
        match findings.iter().find(|f| f.severity == Severity::Refuse) {
            Some(f) => Err(format!("{}: {}", f.rule, f.says)),
            None => Ok(findings),
        }
    }

    fn kerf_end(&self, ways: &mut Ways) {
        let (from, wall, second) = kerf_end_at(&self.lost, self.ground.kerf_mm);
        let barred = if self.stopped.kerf_end_failed {
            Some("No arc came from there in any try.".to_owned())
        } else if self.stopped.back_mm > 0.0 {
            Some("Further back in the open kerf there is no wall ahead to fire at.".to_owned())
        } else if wall > REACH_MM + 1e-9 {
            Some(format!(
                "The wall may be {} mm away; an arc reaches {} mm.",
                tenths(wall),
                mm(REACH_MM)
            ))
        } else {
            None
        };
        if let Some(why) = barred {
            ways.barred.push((Way::KerfEnd, why));
            return;
        }
        let proposal = Proposal {
            second_mm: (second > from + 0.05).then_some(second),
            overlap_mm: self.lost.high_mm - from,
            why: format!(
                "The kerf is open up to there and its wall at most {} mm away: no new pierce, the \
                 shortest overlap.",
                tenths(wall)
            ),
            ..plain(Way::KerfEnd, self.place(from), from)
        };
        self.propose(proposal, ways);
    }

    /// The joint of a lead-in: a bit before what is surely cut, earlier if so wanted.
    fn joint_mm(&self) -> f64 {
        (self.lost.low_mm - BEFORE_MM - self.stopped.back_mm).max(0.0)
    }

    /// Where there is no room for a new lead-in and the wall ahead may be far: from the open kerf all
    /// the same (process handbook). Its sides are near; the wall is reached as the torch goes on.
    fn far_kerf_end(&self, ways: &mut Ways) {
        self.open_kerf_from_sure("No scrap is wide enough for a new lead-in.", ways);
    }

    /// It may have come so far that the piece is loose, but by what is surely cut it still hangs: cut
    /// on from there. At worst the kerf is passed twice. `false`: by that it is loose, too.
    fn perhaps_loose(&self, drawn: &OnSheet<'_>, ways: &mut Ways) -> bool {
        let low_mm = self.lost.low_mm;
        let sure = Stopped {
            lost: Some(Lost {
                at_mm: low_mm,
                high_mm: low_mm,
                ..self.lost
            }),
            ..*self.stopped
        };
        let Some(ground) = Ground::new(&sure, drawn) else {
            return false;
        };
        let ahead = (low_mm + ground.kerf_mm).min(self.length_mm);
        let hangs = ground.ahead_holds(sure.cut, ahead);
        if hangs {
            let asked = Asked {
                stopped: &sure,
                input: self.input,
                ground,
                lost: self.lost,
                contour: self.contour,
                length_mm: self.length_mm,
                known: OnceCell::new(),
            };
            asked.open_kerf_from_sure("The piece may be loose already: look first.", ways);
        }
        hangs
    }

    fn open_kerf_from_sure(&self, first: &str, ways: &mut Ways) {
        let at_hand = ways.proposals.iter().any(|p| p.way == Way::KerfEnd);
        if at_hand || self.stopped.kerf_end_failed {
            return;
        }
        let from = (self.lost.low_mm - self.stopped.back_mm).max(0.0);
        let wall = self.lost.high_mm - from + self.ground.kerf_mm / 2.0;
        let second = (self.lost.low_mm + self.ground.kerf_mm - SECOND_MM).min(self.lost.high_mm);
        ways.barred.retain(|(way, _)| *way != Way::KerfEnd);
        let proposal = Proposal {
            second_mm: Some(second.max(from)),
            overlap_mm: self.lost.high_mm - from,
            why: format!(
                "{first} The wall ahead may be {} mm away: the arc holds on to the sides of the kerf, and they suffer.",
                tenths(wall)
            ),
            ..plain(Way::KerfEnd, self.place(from), from)
        };
        self.propose(proposal, ways);
    }

    /// `false`: there is no room for one.
    fn lead_in(&self, ways: &mut Ways) -> bool {
        let from = self.joint_mm();
        let made = |lead: Segment| Proposal {
            entry: vec![lead],
            pierces: true,
            overlap_mm: self.lost.high_mm - from,
            why: format!(
                "A new pierce in the scrap, {} mm from the edge, leads back into the kerf and on from \
                 there.",
                mm(self.off_mm(lead.from()))
            ),
            ..plain(Way::LeadIn, lead.from(), from)
        };
        self.best_entry(Way::LeadIn, from, &made, ways);
        ways.proposals.iter().any(|p| p.way == Way::LeadIn)
    }

    /// The first lead-in that nothing speaks against; else the first that is only warned of.
    fn best_entry(
        &self,
        way: Way,
        joint_mm: f64,
        made: &dyn Fn(Segment) -> Proposal,
        ways: &mut Ways,
    ) {
        let mut best: Option<Proposal> = None;
        let mut why = None;
        let cut = self.stopped.cut;
        let leads = entry::search(&self.ground, cut, joint_mm, &self.lost)
            .filter(|lead| way != Way::Tab || entry::from_ahead(&self.ground, cut, joint_mm, lead));
        for lead in leads.take(VETTED) {
            let mut proposal = made(lead);
            match self.vetted(&proposal) {
                Ok(findings) => {
                    let clear = findings.is_empty();
                    proposal.warns = findings;
                    if clear {
                        ways.proposals.push(proposal);
                        return;
                    }
                    best.get_or_insert(proposal);
                }
                Err(says) => {
                    why.get_or_insert(says);
                }
            }
        }
        match best {
            Some(proposal) => ways.proposals.push(proposal),
            None => ways
                .barred
                .push((way, why.unwrap_or_else(|| self.no_room()))),
        }
    }

    fn no_room(&self) -> String {
        match self.contour {
            None => "The path is open: both its sides are kept.".into(),
            Some(_) => {
                "Beside it there is no scrap wide enough that still hangs together with the \
                        ground clamp."
                    .into()
            }
        }
    }

    fn off_mm(&self, p: Point) -> f64 {
        let contour = self.ground.contour(self.stopped.cut);
        contour.map_or(0.0, |c| c.distance(p))
    }

    pub(super) fn is_outline(&self) -> bool {
        let contour = self.ground.contour(self.stopped.cut);
        contour.is_some_and(|c| c.kind == Kind::Outline)
    }

    /// Begun anew beyond the place lost; what lies between stays as a tab. It holds a part; a slug on a
    /// tab is worth nothing.
    fn tab(&self, ways: &mut Ways) {
        let Some((joint_mm, closed_mm)) = self.contour.filter(|_| self.is_outline()) else {
            return;
        };
        let w = self.ground.kerf_mm;
        let wide = (self.lost.high_mm - self.lost.low_mm).max(TAB_MM);
        let start = self.lost.at_mm + w + wide + TURN_MM;
        // Behind it a stretch must be left that is worth a pierce.
        if self.lost.at_mm < joint_mm || start + LEAVE_MM > closed_mm {
            return;
        }
        let (from_mm, unsure) = self.stays_from();
        let tab_mm = self.lost.at_mm - from_mm + wide;
        let made = |lead: Segment| Proposal {
            entry: vec![lead],
            pierces: true,
            uncut_mm: start - from_mm,
            tab_mm,
            why: format!(
                "A tab of {}{} mm stays where the arc was lost. Break it by hand when all is cold.",
                if unsure { "up to " } else { "" },
                mm(tab_mm)
            ),
            ..plain(Way::Tab, lead.from(), start)
        };
        self.best_entry(Way::Tab, start, &made, ways);
    }

    fn restart(&self, ways: &mut Ways) {
        let whole = self.lost.low_mm <= 0.0;
        let from = 0.0;
        let proposal = Proposal {
            pierces: whole && self.ground.whole(self.place(0.0)),
            overlap_mm: self.lost.high_mm,
            why: format!(
                "The whole cut again from its pierce: {} mm are cut twice, and both edges suffer.",
                tenths(self.lost.high_mm)
            ),
            ..plain(Way::Restart, self.place(from), from)
        };
        self.propose(proposal, ways);
    }
}
