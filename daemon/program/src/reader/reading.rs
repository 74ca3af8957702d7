//! A program as read.

use crate::cuts::cut_list::CutList;
use crate::report::Finding;
use crate::report::findings::Findings;

/// How many comments are kept; the rest are only passed over.
pub const COMMENTS_KEPT: usize = 200;

/// A comment of the program.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Comment {
    /// Its line, from 1.
    pub line: u32,
    /// Its text without the brackets.
    pub text: String,
}

/// How many changes of the tool word are kept.
pub const TOOLS_KEPT: usize = 200;

/// A tool word (`T`) with another number than the one before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tool {
    /// Its number.
    pub number: f64,
    /// Its line, from 1.
    pub line: u32,
    /// How many cuts were done by then.
    pub after_cuts: usize,
}

/// A program as read.
#[derive(Clone, Debug)]
pub struct Reading {
    /// What it cuts.
    pub cut_list: CutList,
    /// What reading it has found (the rest is found by [`crate::vetting`]); places (`at`) are in
    /// program coordinates.
    pub findings: Vec<Finding>,
    /// The unit of its first dimension; millimetres where none is stated.
    pub unit: Unit,
    /// Most decimals of an X, Y or R word.
    pub decimals: u16,
    /// Lines read.
    pub lines: u32,
    /// Blocks with words in them.
    pub blocks: u32,
    /// Its first comments.
    pub comments: Vec<Comment>,
    /// Changes of the tool word.
    pub tools: Vec<Tool>,
    /// There was a program in the file: without one the other rules have nothing to judge.
    pub is_program: bool,
}

impl Reading {
    /// Cuts that come from no text.
    pub(crate) fn of_cuts(cut_list: CutList) -> Self {
        Self {
            cut_list,
            is_program: true,
            ..Self::without_program(Findings::default())
        }
    }

    pub(super) fn without_program(findings: Findings) -> Self {
        Self {
            cut_list: CutList::default(),
            findings: findings.into_list(),
            unit: Unit::Millimetre,
            decimals: 0,
            lines: 0,
            blocks: 0,
            comments: Vec::new(),
            tools: Vec::new(),
            is_program: false,
        }
    }
}

/// A unit of length.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Unit {
    /// Millimetres.
    #[default]
    Millimetre,
    /// Inches.
    Inch,
}

impl Unit {
    /// How many millimetres one of it is.
    #[must_use]
    pub fn mm(self) -> f64 {
        match self {
            Self::Millimetre => 1.0,
            Self::Inch => 25.4,
        }
    }
}
