//! The cut that is being gathered while the torch is on.

use crate::vetting::rules::reading::file_too_large;
use crate::vetting::rules::torch::torch_left_on;
use crate::vetting::rules::torch::torch_on_twice;
use units::Point;

use crate::cuts::cut_list::Compensation;
use crate::cuts::cut_list::{Cut, CutList, Element};
use crate::report::findings::{Findings, Spot};

/// Room for so many pieces at most is made for a cut before any of them has come: as many as the cut before
/// had, for cuts mostly come in kinds.
const ROOM: usize = 4096;

#[derive(Debug, Default)]
pub(crate) struct Torch {
    cut: Option<Cut>,
    /// What was gathered so far, in pieces of path: a cut counts as some.
    pub pieces: usize,
}

impl Torch {
    pub fn is_on(&self) -> bool {
        self.cut.is_some()
    }

    /// On, and something was cut since.
    pub fn has_path(&self) -> bool {
        self.cut.as_ref().is_some_and(|c| !c.path.is_empty())
    }

    /// The number of the cut at hand, from 1; 0 when the torch is off.
    pub fn cut_number(&self, list: &CutList) -> usize {
        if self.is_on() { list.cuts.len() + 1 } else { 0 }
    }

    pub fn on(
        &mut self,
        findings: &mut Findings,
        list: &CutList,
        at: Spot,
        pierce: Point,
        compensation: Option<Compensation>,
    ) {
        if let Some(cut) = &self.cut {
            torch_on_twice::on(findings, at, cut.on_line);
            return;
        }
        self.pieces += file_too_large::CUT_PIECES;
        self.cut = Some(Cut {
            pierce,
            on_line: at.line,
            on_column: at.column,
            off_line: at.line,
            path: Vec::with_capacity(list.cuts.last().map_or(0, |c| c.path.len().min(ROOM))),
            compensation,
        });
    }

    pub fn off(&mut self, findings: &mut Findings, list: &mut CutList, at: Spot) {
        match self.cut.take() {
            Some(mut cut) => {
                cut.path.shrink_to_fit();
                list.cuts.push(Cut {
                    off_line: at.line,
                    ..cut
                });
            }
            None => torch_on_twice::off(findings, at),
        }
    }

    /// Compensation begins, in the block of the torch word itself.
    pub fn compensate(&mut self, compensation: Compensation) {
        if let Some(cut) = &mut self.cut {
            cut.compensation = Some(compensation);
        }
    }

    /// Compensation ends: what follows in this cut is not compensated.
    pub fn compensated_until_here(&mut self) {
        if let Some(cut) = &mut self.cut
            && let Some(c) = &mut cut.compensation
        {
            c.elements = c.elements.or(Some(cut.path.len()));
        }
    }

    pub fn add(&mut self, element: Element) {
        if let Some(cut) = &mut self.cut {
            cut.path.push(element);
            self.pieces += 1;
        }
    }

    pub fn end(&mut self, findings: &mut Findings, list: &mut CutList, end: Spot) {
        if let Some(cut) = self.cut.take() {
            let number = list.cuts.len() + 1;
            torch_left_on::tell(findings, &cut, number, end);
            list.cuts.push(Cut {
                off_line: end.line,
                ..cut
            });
        }
    }
}
