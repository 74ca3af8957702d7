//! Carries blocks out in the order of NISTIR 6556, table 8, with the modal state between them.

mod compensate;
mod machine;
mod places;
mod travel;
mod words;

use crate::reader::reading::Unit;
use crate::vetting::rules::reading::unreadable_block;
use crate::vetting::rules::reading::unsupported_word;
use crate::vetting::rules::torch::compensation_open;
use units::Point;

use self::compensate::On;
use super::codes::{GWord, Motion};
use super::scan::Words;
use super::torch::Torch;
use super::{ReadingRules, spot};
use crate::cuts::cut_list::CutList;
use crate::cuts::cut_list::Side;
use crate::reader::codes::Code;
use crate::reader::reading::Tool;
use crate::report::findings::{Findings, Spot, Tally};
use crate::vetting::rules::reading::digits_excess::Digits;

/// What the G words of one block ask for.
#[derive(Clone, Copy, Debug, Default)]
struct Asked {
    motion: Option<Motion>,
    no_motion: bool,
    touch_off: Option<Code>,
    dwell: Option<Code>,
    home: bool,
    home_word: Option<Code>,
    unit: Option<Code>,
    machine_place: Option<Code>,
    set_place: Option<(GWord, Code)>,
    zero: Option<(u8, Code)>,
    tool_length: bool,
    own_tables: Option<Code>,
    compensation: Option<(Option<Side>, Code)>,
    path_mode: bool,
}

/// What is known of where the torch is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    Known,
    /// A block came that could not be read: what follows from it is not held against the program.
    Guessed,
    /// A move in machine coordinates came, in this line.
    Machine {
        line: u32,
    },
}

/// The state of a program between its blocks.
pub(crate) struct Run<'a> {
    rules: &'a ReadingRules,
    pub findings: Findings,
    pub cut_list: CutList,
    pub replaced: Tally,
    pub ignored: Tally,
    pub tools: Vec<Tool>,
    pub digits: Digits,
    /// First dimension word before any unit word.
    pub unit_missing: Option<Spot>,
    /// The word that ends the program.
    end: Option<Spot>,
    /// The block at hand was refused.
    pub refused: bool,
    pub(super) torch: Torch,
    /// Where the torch is, in the coordinates of the cut list, mm.
    pub(super) at: Point,
    place: Place,
    moved: bool,
    unit: Unit,
    unit_stated: bool,
    first_unit: Option<Unit>,
    motion: Option<Motion>,
    relative: bool,
    centre_absolute: bool,
    inverse_time: bool,
    /// As written, in units a minute or 1/min.
    feed: Option<f64>,
    feed_mm_s: Option<f64>,
    shift: Point,
    kept_shift: Point,
    zero: Option<u8>,
    pub(super) compensation: Option<On>,
    finest_decimals: u16,
}

impl<'a> Run<'a> {
    pub fn new(rules: &'a ReadingRules, findings: Findings) -> Self {
        Self {
            rules,
            findings,
            cut_list: CutList::default(),
            replaced: Tally::default(),
            ignored: Tally::default(),
            tools: Vec::new(),
            digits: Digits::default(),
            unit_missing: None,
            end: None,
            refused: false,
            torch: Torch::default(),
            at: Point::default(),
            place: Place::Known,
            moved: false,
            unit: Unit::Millimetre,
            unit_stated: false,
            first_unit: None,
            motion: None,
            relative: false,
            centre_absolute: false,
            inverse_time: false,
            feed: None,
            feed_mm_s: None,
            shift: Point::default(),
            kept_shift: Point::default(),
            zero: None,
            compensation: None,
            finest_decimals: 0,
        }
    }

    pub fn first_unit(&self) -> Unit {
        self.first_unit.unwrap_or(self.unit)
    }

    /// Most decimals of an X, Y or R word so far.
    pub fn finest_decimals(&self) -> u16 {
        self.finest_decimals
    }

    /// Carries a block out. True when the program ends with it.
    pub fn block(&mut self, words: &Words<'_>, line: &[u8], number: u32) -> bool {
        let mut b = BlockAt {
            words,
            line,
            number,
            asked: Asked::default(),
        };
        self.refused = false;
        if let Some(fault) = &words.head.fault {
            self.refused = true;
            let at = self.spot(&b, fault.offset);
            self.findings.refuse(fault.rule, at, || {
                (fault.says.clone(), fault.remedy.clone())
            });
        }
        self.modes(&mut b);
        let ended = self.machine_words(&b);
        self.check_words(&b);
        self.feed(&b);
        if let Some(on) = self.torch_word(&b) {
            self.switch_torch(on, &b);
        }
        self.dwell(&b);
        self.compensate(&b);
        self.select_zero(&b);
        let used = self.places(&b);
        if !used {
            self.travel(&b);
        }
        if self.refused && words.has_any(b"XYIJR") {
            self.place = Place::Guessed;
        }
        self.stops(&b, ended);
        match ended {
            Some((2 | 30, offset)) => {
                self.end = Some(self.spot(&b, offset));
                true
            }
            _ => false,
        }
    }

    /// The cut that is under way, from 1; 0: none.
    pub fn cut_number(&self) -> usize {
        self.torch.cut_number(&self.cut_list)
    }

    pub(super) fn spot(&self, b: &BlockAt<'_>, offset: u32) -> Spot {
        Spot {
            cut: self.torch.cut_number(&self.cut_list),
            at: Some(self.at),
            ..spot(b.number, b.line, offset)
        }
    }

    pub(super) fn unreadable(&mut self, b: &BlockAt<'_>, offset: u32, says: String, remedy: &str) {
        // One reason is enough to mend a block; more often than not the rest follows from it.
        if self.refused {
            return;
        }
        self.refused = true;
        let at = self.spot(b, offset);
        self.findings
            .refuse(unreadable_block::NAME, at, || (says, remedy.to_owned()));
    }

    pub(super) fn unsupported(&mut self, b: &BlockAt<'_>, offset: u32, says: String, remedy: &str) {
        self.refused = true;
        let at = self.spot(b, offset);
        self.findings
            .refuse(unsupported_word::NAME, at, || (says, remedy.to_owned()));
    }

    /// No block follows.
    pub fn end_of_text(&mut self, last_line: u32) {
        let end = self.end.unwrap_or(Spot::line(last_line));
        self.torch.end(&mut self.findings, &mut self.cut_list, end);
        if let Some(on) = self.compensation.take() {
            compensation_open::still_on(&mut self.findings, end, on.at);
        }
    }
}

/// A block and where it stands.
pub(crate) struct BlockAt<'w> {
    words: &'w Words<'w>,
    line: &'w [u8],
    pub number: u32,
    asked: Asked,
}

impl BlockAt<'_> {
    /// Where the word stands that moves: the G word of the line, or its first coordinate.
    fn move_offset(&self) -> u32 {
        let code = self.words.g_codes().iter().find(|c| c.tenths <= 30);
        code.map_or_else(
            || {
                let letters = b"XYIJR".iter().filter(|l| self.words.has(**l));
                letters.map(|l| self.words.offset(*l)).min().unwrap_or(0)
            },
            |c| c.offset,
        )
    }
}
