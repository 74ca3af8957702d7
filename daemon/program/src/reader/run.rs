//! Carries blocks out in the order of NISTIR 6556, table 8, with the modal state between them.

use units::{Point, Segment};

use super::codes::{GWord, Motion, g_word, name};
use super::scan::{Code, Words};
use super::torch::Torch;
use super::{ReadingRules, arcs, spot};
use crate::cutlist::{CutList, Element, Stop};
use crate::findings::{Findings, Spot, Tally};
use crate::rules;
use crate::rules::digits_excess::Digits;

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

/// What the G words of one block ask for.
#[derive(Clone, Copy, Debug, Default)]
struct Asked {
    motion: Option<Motion>,
    no_motion: bool,
    touch_off: Option<Code>,
    dwell: Option<Code>,
    home: bool,
    machine_place: Option<Code>,
    set_place: Option<(GWord, Code)>,
    zero: Option<(u8, Code)>,
    compensation: Option<(bool, Code)>,
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
    pub(super) compensation: Option<Spot>,
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

    /// Carries a block out. True when the program ends with it.
    pub fn block(&mut self, words: &Words, line: &[u8], number: u32) -> bool {
        let mut b = BlockAt {
            words,
            line,
            number,
            asked: Asked::default(),
        };
        self.refused = false;
        if let Some(fault) = &words.fault {
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
        self.findings.refuse(rules::unreadable_block::NAME, at, || {
            (says, remedy.to_owned())
        });
    }

    pub(super) fn unsupported(&mut self, b: &BlockAt<'_>, offset: u32, says: String, remedy: &str) {
        self.refused = true;
        let at = self.spot(b, offset);
        self.findings.refuse(rules::unsupported_word::NAME, at, || {
            (says, remedy.to_owned())
        });
    }

    /// G words: modal state is set, one-shot words are kept for later in the block.
    fn modes(&mut self, b: &mut BlockAt<'_>) {
        let mut groups = 0_u32;
        for &code in b.words.g_codes() {
            let (word, group) = g_word(code.tenths);
            if groups & group != 0 {
                self.unreadable(
                    b,
                    code.offset,
                    format!(
                        "{} contradicts another word of its group in this block.",
                        name('G', code.tenths)
                    ),
                    "Keep one of the two, or put them on lines of their own.",
                );
                continue;
            }
            groups |= group;
            self.g_word(b, word, code);
        }
        let explicit_motion = groups & 0b10 != 0;
        let takes_axes = b.asked.home || matches!(b.asked.set_place, Some((GWord::SetPlace, _)));
        if explicit_motion && takes_axes && b.asked.motion.is_some() {
            self.unreadable(
                b,
                b.words.g_codes().first().map_or(0, |c| c.offset),
                "Two words of this block claim the same X and Y: a move and one of G28, G30, G92."
                    .to_owned(),
                "Put them on lines of their own.",
            );
        }
        self.dimensions(b);
    }

    fn g_word(&mut self, b: &mut BlockAt<'_>, word: GWord, code: Code) {
        let ask = &mut b.asked;
        match word {
            GWord::Motion(m) => {
                ask.motion = Some(m);
                self.motion = Some(m);
            }
            GWord::NoMotion => {
                ask.no_motion = true;
                self.motion = None;
            }
            GWord::TouchOff => {
                ask.touch_off = Some(code);
                self.motion = None;
            }
            GWord::Dwell => ask.dwell = Some(code),
            GWord::GoHome => {
                ask.home = true;
                self.ignored.count("G28/G30", self.spot(b, code.offset));
            }
            GWord::MachinePlace => ask.machine_place = Some(code),
            GWord::SetPlace | GWord::ClearPlace | GWord::SuspendPlace | GWord::RestorePlace => {
                ask.set_place = Some((word, code));
            }
            GWord::Zero(n) => ask.zero = Some((n, code)),
            GWord::CompensationOff => ask.compensation = Some((false, code)),
            GWord::CompensationOn => ask.compensation = Some((true, code)),
            GWord::PlaneXy => {}
            GWord::Smooth => ask.path_mode = true,
            GWord::Exact => {
                ask.path_mode = true;
                self.ignored.count("G61", self.spot(b, code.offset));
            }
            GWord::Idle => self.ignored.count("G49/G98/G99", self.spot(b, code.offset)),
            GWord::Absolute => self.mode(b, code, |s| &mut s.relative, false),
            GWord::Relative => self.mode(b, code, |s| &mut s.relative, true),
            GWord::CentreAbsolute => self.mode(b, code, |s| &mut s.centre_absolute, true),
            GWord::CentreRelative => self.mode(b, code, |s| &mut s.centre_absolute, false),
            GWord::InverseTime => {
                self.inverse_time = true;
                self.feed = None;
                self.feed_mm_s = None;
            }
            GWord::PerMinute => {
                if self.inverse_time {
                    self.feed = None;
                    self.feed_mm_s = None;
                }
                self.inverse_time = false;
            }
            GWord::Inch => self.set_unit(b, Unit::Inch, code),
            GWord::Metric => self.set_unit(b, Unit::Millimetre, code),
            GWord::Not(why) => {
                self.unsupported(
                    b,
                    code.offset,
                    format!("{} {why}.", name('G', code.tenths)),
                    "Take it out, or write the program for a flat cutting table.",
                );
                // Its axis words are its own: they are not moved to.
                b.asked.home = true;
            }
        }
    }

    fn mode(
        &mut self,
        b: &BlockAt<'_>,
        code: Code,
        which: impl Fn(&mut Self) -> &mut bool,
        value: bool,
    ) {
        let at = self.spot(b, code.offset);
        let changed = *which(self) != value;
        *which(self) = value;
        if changed && self.torch.is_on() {
            rules::mode_in_cut::tell(&mut self.findings, at, &name('G', code.tenths));
        }
    }

    fn set_unit(&mut self, b: &BlockAt<'_>, unit: Unit, code: Code) {
        if self.first_unit.is_some_and(|_| self.unit != unit) {
            let at = self.spot(b, code.offset);
            rules::units_changed::tell(&mut self.findings, at, &name('G', code.tenths), unit);
        }
        if self.unit != unit && !self.inverse_time {
            // F keeps its number and changes its meaning with the unit.
            self.feed_mm_s = self.feed.map(|f| f * unit.mm() / 60.0);
        }
        self.unit = unit;
        self.unit_stated = true;
    }

    /// Dimension words: is the unit known, and are there too many digits.
    fn dimensions(&mut self, b: &BlockAt<'_>) {
        for letter in *b"XYZIJKR" {
            let Some(n) = b.words.get(letter) else {
                continue;
            };
            if matches!(letter, b'X' | b'Y' | b'R') {
                self.finest_decimals = self.finest_decimals.max(n.decimals);
            }
            // A zero is a zero in every unit.
            if n.value != 0.0 && self.first_unit.is_none() {
                self.first_unit = Some(self.unit);
                if !self.unit_stated {
                    self.unit_missing = Some(self.spot(b, b.words.offset(letter)));
                }
            }
            let most = if self.unit == Unit::Inch { 5 } else { 4 };
            if n.decimals > most || n.digits > 12 {
                let at = self.spot(b, b.words.offset(letter));
                self.digits.count(at, letter, n.decimals, n.digits);
            }
        }
    }

    /// Letters that nothing in the block asks for.
    fn check_words(&mut self, b: &BlockAt<'_>) {
        let w = b.words;
        if !w.has_any(b"DHIJKLPQRSTN") || self.refused {
            return;
        }
        let arc = matches!(self.motion, Some(Motion::Clockwise | Motion::Anticlockwise));
        for (letter, used) in [
            (b'I', arc),
            (b'J', arc),
            (b'R', arc),
            (b'K', arc),
            (b'P', b.asked.dwell.is_some() || b.asked.path_mode),
            (b'D', b.asked.compensation.is_some_and(|(on, _)| on)),
            (b'H', false),
            (b'L', false),
            (b'Q', false),
        ] {
            if w.has(letter) && !used {
                let letter_name = char::from(letter);
                self.unreadable(
                    b,
                    w.offset(letter),
                    format!("{letter_name} stands here, and no word of this block uses it."),
                    "Take it out, or add the word that it belongs to (such as G2 or G3).",
                );
                return;
            }
        }
        if let Some(k) = w.value(b'K') {
            if k == 0.0 {
                self.ignored.count("K0", self.spot(b, w.offset(b'K')));
            } else {
                self.unsupported(
                    b,
                    w.offset(b'K'),
                    "K places the centre of an arc in another plane than that of the sheet."
                        .to_owned(),
                    "Write the arc with I and J.",
                );
            }
        }
        for (letter, kind) in [(b'S', "S"), (b'T', "T")] {
            match w.value(letter) {
                Some(v) if v < 0.0 => self.unreadable(
                    b,
                    w.offset(letter),
                    format!("{kind} is negative."),
                    "Write a number from 0 on, or take the word out.",
                ),
                Some(_) => self.ignored.count(kind, self.spot(b, w.offset(letter))),
                None => {}
            }
        }
        if let Some(n) = w.get(b'N')
            && (n.value < 0.0 || n.decimals > 0 || n.digits > 9)
        {
            self.unreadable(
                b,
                w.offset(b'N'),
                "The line number is no whole number of up to nine digits.".to_owned(),
                "Number the lines with whole numbers, or leave the numbers out.",
            );
        }
    }

    fn feed(&mut self, b: &BlockAt<'_>) {
        let Some(f) = b.words.value(b'F') else {
            return;
        };
        if f < 0.0 {
            self.unreadable(
                b,
                b.words.offset(b'F'),
                "The feed is negative.".to_owned(),
                "Write a feed above 0.",
            );
            return;
        }
        self.feed = (f > 0.0).then_some(f);
        self.feed_mm_s = match self.feed {
            Some(f) if !self.inverse_time => Some(f * self.unit.mm() / 60.0),
            _ => None,
        };
    }

    /// M words but for the torch's: returns the stop or end among them.
    fn machine_words(&mut self, b: &BlockAt<'_>) -> Option<(u32, u32)> {
        let mut stop = None;
        let mut groups = 0_u32;
        for &code in b.words.m_codes() {
            let m = code.tenths / 10;
            let torch = self.is_torch_word(m).is_some();
            let (group, known) = match m {
                _ if torch => (1 << 7, true),
                0 | 1 | 2 | 30 => (1 << 4, true),
                6 => (1 << 6, true),
                3..=5 => (1 << 10, true),
                7 | 8 => (0, true),
                9 => (1 << 8, true),
                48 | 49 => (1 << 9, true),
                _ => (0, false),
            };
            if groups & group != 0 {
                self.unreadable(
                    b,
                    code.offset,
                    format!("M{m} contradicts another word of its group in this block."),
                    "Keep one of the two, or put them on lines of their own.",
                );
                continue;
            }
            groups |= group;
            if !known {
                self.unsupported(
                    b,
                    code.offset,
                    format!("M{m} is no word that this panel can carry out."),
                    "Take it out; if it is this table's torch word, name it in the machine file.",
                );
                continue;
            }
            let at = self.spot(b, code.offset);
            match m {
                _ if torch => {}
                0 | 1 | 2 | 30 => stop = Some((m, code.offset)),
                6 => self.ignored.count("M6", at),
                7..=9 => self.ignored.count("M7/M8/M9", at),
                48 | 49 => self.ignored.count("M48/M49", at),
                _ => self.ignored.count("M3/M4/M5", at),
            }
        }
        stop
    }

    fn is_torch_word(&self, m: u32) -> Option<bool> {
        let m = u16::try_from(m).ok()?;
        if self.rules.torch_on.contains(&m) {
            Some(true)
        } else if self.rules.torch_off.contains(&m) {
            Some(false)
        } else {
            None
        }
    }

    fn torch_word(&self, b: &BlockAt<'_>) -> Option<(bool, u32)> {
        b.words.m_codes().iter().find_map(|code| {
            let on = self.is_torch_word(code.tenths / 10)?;
            Some((on, code.offset))
        })
    }

    fn switch_torch(&mut self, (on, offset): (bool, u32), b: &BlockAt<'_>) {
        let at = self.spot(b, offset);
        if on {
            if !self.torch.is_on() {
                self.start_from_machine_place(at);
            }
            self.torch.on(&mut self.findings, at, self.at);
        } else {
            let was_on = self.torch.is_on();
            self.torch.off(&mut self.findings, &mut self.cut_list, at);
            if was_on && let Some(since) = self.compensation.take() {
                rules::compensation_open::still_on(&mut self.findings, at, since);
            }
        }
    }

    /// A cut begins where the program itself does not say.
    fn start_from_machine_place(&mut self, at: Spot) {
        if let Place::Machine { line } = self.place {
            rules::unsupported_word::start_unknown(&mut self.findings, at, line);
            self.place = Place::Guessed;
        }
    }

    fn dwell(&mut self, b: &BlockAt<'_>) {
        let Some(code) = b.asked.dwell else {
            return;
        };
        let at = self.spot(b, code.offset);
        let Some(p) = b.words.value(b'P') else {
            self.unreadable(
                b,
                code.offset,
                "G4 says no time.".to_owned(),
                "Write the seconds with P, such as G4 P0.5.",
            );
            return;
        };
        if p < 0.0 {
            self.unreadable(
                b,
                b.words.offset(b'P'),
                "G4 asks for a negative time.".to_owned(),
                "Write seconds from 0 on.",
            );
            return;
        }
        rules::dwell_suspect::tell(&mut self.findings, at, p);
        if self.torch.has_path() && p > rules::stop_while_on::LONGEST_S {
            rules::stop_while_on::dwell(&mut self.findings, at, p);
        } else {
            self.replaced.count("dwell", at);
        }
    }

    fn compensate(&mut self, b: &BlockAt<'_>) {
        match b.asked.compensation {
            Some((true, code)) => {
                let at = self.spot(b, code.offset);
                self.unsupported(
                    b,
                    code.offset,
                    format!(
                        "{} asks for kerf compensation, which this panel does not do yet.",
                        name('G', code.tenths)
                    ),
                    "Write the program with the kerf already in its numbers, and G40.",
                );
                if self.torch.is_on() {
                    rules::compensation_open::inside_a_cut(&mut self.findings, at);
                }
                self.compensation = Some(at);
            }
            Some((false, _)) => self.compensation = None,
            None => {}
        }
    }

    fn select_zero(&mut self, b: &BlockAt<'_>) {
        let Some((zero, code)) = b.asked.zero else {
            return;
        };
        if self.zero == Some(zero) || (self.zero.is_none() && !self.moved) {
            self.zero = Some(zero);
            return;
        }
        // G54 is in force until another is chosen.
        if self.zero.is_none() && zero == 0 {
            self.zero = Some(0);
            return;
        }
        self.zero = Some(zero);
        if self.torch.is_on() {
            let at = self.spot(b, code.offset);
            rules::zero_shift_in_cut::tell(&mut self.findings, at, &name('G', code.tenths));
            self.refused = true;
        } else {
            self.unsupported(
                b,
                code.offset,
                format!("{} changes to another zero in mid-program, and the setup says where one zero lies.", name('G', code.tenths)),
                "Use one zero for the whole sheet, or split the program in two.",
            );
        }
    }

    /// G92 and its kin, G28 and G30. True when they took the block's axis words.
    fn places(&mut self, b: &BlockAt<'_>) -> bool {
        if let Some((word, code)) = b.asked.set_place {
            let xy = b.words.has_any(b"XY");
            let z = b.words.has(b'Z');
            let at = self.spot(b, code.offset);
            if self.torch.is_on() && (xy || word != GWord::SetPlace) {
                rules::zero_shift_in_cut::tell(&mut self.findings, at, &name('G', code.tenths));
            }
            match word {
                GWord::SetPlace if xy => self.set_place(b),
                GWord::SetPlace if z => {}
                GWord::SetPlace => self.unreadable(
                    b,
                    code.offset,
                    "G92 names no axis.".to_owned(),
                    "Write the coordinates that the torch stands at, such as G92 X0 Y0.",
                ),
                GWord::ClearPlace => {
                    self.shift = Point::default();
                    self.kept_shift = Point::default();
                }
                GWord::SuspendPlace => {
                    self.kept_shift = self.shift;
                    self.shift = Point::default();
                }
                _ => self.shift = self.kept_shift,
            }
            if word == GWord::SetPlace {
                if z {
                    self.replaced.count("G92 Z", at);
                }
                return true;
            }
        }
        b.asked.home
    }

    /// `G92`: the place where the torch stands is called by new coordinates. Before the first move
    /// it says where the torch stands; later it shifts the zero (NISTIR 6556, 3.5.18).
    fn set_place(&mut self, b: &BlockAt<'_>) {
        let unit = self.unit.mm();
        if let Some(x) = b.words.value(b'X') {
            if self.moved {
                self.shift.x = self.at.x - x * unit;
            } else {
                self.at.x = x * unit;
            }
        }
        if let Some(y) = b.words.value(b'Y') {
            if self.moved {
                self.shift.y = self.at.y - y * unit;
            } else {
                self.at.y = y * unit;
            }
        }
        self.kept_shift = self.shift;
    }

    fn target(&self, words: &Words) -> Point {
        let unit = self.unit.mm();
        let axis = |letter, at: f64, shift: f64| match words.value(letter) {
            Some(v) if self.relative => at + v * unit,
            Some(v) => v * unit + shift,
            None => at,
        };
        Point::new(
            axis(b'X', self.at.x, self.shift.x),
            axis(b'Y', self.at.y, self.shift.y),
        )
    }

    fn travel(&mut self, b: &BlockAt<'_>) {
        let w = b.words;
        if let Some(code) = b.asked.touch_off {
            let at = self.spot(b, code.offset);
            if w.has_any(b"XY") {
                self.unsupported(
                    b,
                    code.offset,
                    "This touch-off moves sideways; the panel touches off straight down."
                        .to_owned(),
                    "Touch off with Z alone.",
                );
            } else {
                self.replaced.count("touch-off", at);
            }
            return;
        }
        if w.has(b'Z') {
            self.replaced.count("Z word", self.spot(b, w.offset(b'Z')));
        }
        if let Some(code) = b.asked.machine_place {
            self.machine_place(b, code);
            return;
        }
        let arc_words = w.has_any(b"IJR")
            && matches!(self.motion, Some(Motion::Clockwise | Motion::Anticlockwise));
        if !w.has_any(b"XY") && !arc_words {
            if !w.has(b'Z')
                && matches!(
                    b.asked.motion,
                    Some(Motion::Clockwise | Motion::Anticlockwise)
                )
                && !self.refused
            {
                self.arc_without_words(b);
            }
            return;
        }
        let Some(motion) = self.motion else {
            if !self.refused {
                let first = if w.has(b'X') { b'X' } else { b'Y' };
                self.unreadable(
                    b,
                    w.offset(first),
                    "X and Y stand here with no G0, G1, G2 or G3 in force.".to_owned(),
                    "Write how to move there, such as G0 or G1.",
                );
            }
            return;
        };
        let to = self.target(w);
        match motion {
            Motion::Rapid | Motion::Line => self.straight(b, motion, to),
            Motion::Clockwise => self.arc(b, to, true),
            Motion::Anticlockwise => self.arc(b, to, false),
        }
        self.at = to;
        self.moved = true;
        if !self.refused && !self.relative && w.has(b'X') && w.has(b'Y') {
            self.place = Place::Known;
        }
    }

    fn arc_without_words(&mut self, b: &BlockAt<'_>) {
        let code = b.words.g_codes().first().map_or(0, |c| c.offset);
        // `G2` alone on a line only says how the next lines move; no standard asks more of it here.
        self.ignored
            .count("G2/G3 without a move", self.spot(b, code));
    }

    fn machine_place(&mut self, b: &BlockAt<'_>, code: Code) {
        let at = self.spot(b, code.offset);
        if !matches!(self.motion, Some(Motion::Rapid | Motion::Line)) && b.words.has_any(b"XY") {
            self.unreadable(
                b,
                code.offset,
                "G53 goes with G0 or G1 only.".to_owned(),
                "Write G53 G0, or take G53 out.",
            );
            return;
        }
        if !b.words.has_any(b"XY") {
            return;
        }
        if self.torch.is_on() {
            rules::zero_shift_in_cut::tell(&mut self.findings, at, "G53");
            return;
        }
        self.replaced.count("G53 move", at);
        self.moved = true;
        self.place = Place::Machine { line: b.number };
    }

    fn straight(&mut self, b: &BlockAt<'_>, motion: Motion, to: Point) {
        if !self.torch.is_on() {
            return;
        }
        if motion == Motion::Rapid {
            let at = self.spot(b, b.move_offset());
            rules::torch_on_in_rapid::judge(&mut self.findings, at, self.at.distance(to));
        }
        self.cut(b, Segment::Line { from: self.at, to });
    }

    fn cut(&mut self, b: &BlockAt<'_>, segment: Segment) {
        if segment.from() == segment.to() && matches!(segment, Segment::Line { .. }) {
            return;
        }
        let feed_mm_s = if self.inverse_time {
            let rate = b.words.value(b'F').filter(|f| *f > 0.0);
            if rate.is_none() && !self.refused {
                self.unreadable(
                    b,
                    0,
                    "With G93 in force every cutting move needs its own F.".to_owned(),
                    "Write F on this line, or use G94.",
                );
            }
            rate.map(|f| f * segment.length() / 60.0)
        } else {
            self.feed_mm_s
        };
        let column = spot(b.number, b.line, b.move_offset()).column;
        self.torch.add(Element {
            segment,
            feed_mm_s,
            line: b.number,
            column,
        });
    }

    fn arc(&mut self, b: &BlockAt<'_>, to: Point, clockwise: bool) {
        let from = self.at;
        let w = b.words;
        let at = self.spot(b, b.move_offset());
        let centre = if self.refused {
            None
        } else if w.has(b'R') {
            self.radius_format(b, at, to, clockwise)
        } else {
            self.centre_format(b, at, to)
        };
        if !self.torch.is_on() {
            return;
        }
        let segment = match centre {
            Some((centre, to)) => Segment::Arc {
                from,
                to,
                centre,
                clockwise,
            },
            // Refused already; a straight line keeps the path whole.
            None => Segment::Line { from, to },
        };
        self.cut(b, segment);
    }

    fn radius_format(
        &mut self,
        b: &BlockAt<'_>,
        at: Spot,
        to: Point,
        clockwise: bool,
    ) -> Option<(Point, Point)> {
        let w = b.words;
        let unit = self.unit.mm();
        let radius = w.value(b'R')? * unit;
        if w.has_any(b"IJ") {
            self.unreadable(
                b,
                w.offset(b'R'),
                "The arc has a radius and a centre.".to_owned(),
                "Keep R, or keep I and J.",
            );
            return None;
        }
        let centre = arcs::centre_of_radius(self.at, to, radius, clockwise);
        if self.place != Place::Known {
            return centre.map(|c| (c, to));
        }
        let chord = self.at.distance(to);
        let Some(centre) = centre else {
            self.refused = true;
            rules::arc_impossible::radius(&mut self.findings, at, chord, radius.abs());
            return None;
        };
        let numbers = [w.get(b'X'), w.get(b'Y'), w.get(b'R')];
        let digit = arcs::last_digit(&numbers, self.finest_decimals) * unit;
        rules::arc_ill_defined::judge(&mut self.findings, at, chord, radius.abs(), digit);
        Some((centre, to))
    }

    fn centre_format(&mut self, b: &BlockAt<'_>, at: Spot, to: Point) -> Option<(Point, Point)> {
        let w = b.words;
        let unit = self.unit.mm();
        let (i, j) = (w.value(b'I'), w.value(b'J'));
        let centre = match (i, j) {
            (None, None) => None,
            (Some(i), Some(j)) if self.centre_absolute => {
                Some(Point::new(i * unit + self.shift.x, j * unit + self.shift.y))
            }
            _ if self.centre_absolute => None,
            _ => Some(
                self.at
                    .moved(i.unwrap_or(0.0) * unit, j.unwrap_or(0.0) * unit),
            ),
        };
        let Some(centre) = centre else {
            self.refused = true;
            rules::arc_impossible::no_centre(&mut self.findings, at, self.centre_absolute);
            return None;
        };
        let radius = self.at.distance(centre);
        if radius < 1e-6 {
            self.refused = true;
            rules::arc_impossible::no_radius(&mut self.findings, at);
            return None;
        }
        if self.place != Place::Known {
            return Some((arcs::on_bisector(self.at, to, centre), to));
        }
        // Sums of relative words leave crumbs; a full turn is still a full turn.
        let gap = self.at.distance(to);
        if gap < 1e-9 {
            return Some((centre, self.at));
        }
        rules::arc_ambiguous::judge(&mut self.findings, at, gap, radius);
        let end_radius = to.distance(centre);
        let moved = arcs::on_bisector(self.at, to, centre);
        let offset = if self.centre_absolute {
            Point::new(moved.x - self.shift.x, moved.y - self.shift.y)
        } else {
            Point::new(moved.x - self.at.x, moved.y - self.at.y)
        };
        let (shown, name) = (Point::new(offset.x / unit, offset.y / unit), self.unit);
        let mended = rules::arc_radius_mismatch::judge(
            &mut self.findings,
            at,
            radius,
            end_radius,
            shown,
            name,
        );
        Some((if mended { moved } else { centre }, to))
    }

    fn stops(&mut self, b: &BlockAt<'_>, stop: Option<(u32, u32)>) {
        let Some((code, offset)) = stop else {
            return;
        };
        if code > 1 {
            return;
        }
        let at = self.spot(b, offset);
        if self.torch.is_on() {
            rules::stop_while_on::stop(&mut self.findings, at, code);
        } else {
            self.ignored.count("M0/M1", at);
            self.cut_list.stops.push(Stop {
                line: b.number,
                after_cuts: self.cut_list.cuts.len(),
                optional: code == 1,
            });
        }
    }

    /// No block follows.
    pub fn end_of_text(&mut self, last_line: u32) {
        let end = self.end.unwrap_or(Spot::line(last_line));
        self.torch.end(&mut self.findings, &mut self.cut_list, end);
        if let Some(since) = self.compensation.take() {
            rules::compensation_open::still_on(&mut self.findings, end, since);
        }
    }
}

/// A block and where it stands.
pub(crate) struct BlockAt<'w> {
    words: &'w Words,
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
