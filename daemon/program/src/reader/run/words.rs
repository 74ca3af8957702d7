//! G words set the modal state; letters that nothing asks for are found; F is kept.

use super::{BlockAt, Run};
use crate::reader::codes::Code;
use crate::reader::codes::{GWord, Motion, g_word, name};
use crate::reader::foreign;
use crate::reader::reading::Unit;
use crate::reader::reading::{TOOLS_KEPT, Tool};
use crate::vetting::rules::reading::units_changed;
use crate::vetting::rules::torch::mode_in_cut;

impl Run<'_> {
    /// G words: modal state is set, one-shot words are kept for later in the block.
    pub(super) fn modes(&mut self, b: &mut BlockAt<'_>) {
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

    pub(super) fn g_word(&mut self, b: &mut BlockAt<'_>, word: GWord, code: Code) {
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
                ask.home_word = Some(code);
                self.ignored.count("G28/G30", self.spot(b, code.offset));
            }
            GWord::MachinePlace => ask.machine_place = Some(code),
            GWord::SetPlace | GWord::ClearPlace | GWord::SuspendPlace | GWord::RestorePlace => {
                ask.set_place = Some((word, code));
            }
            GWord::Zero(n) => ask.zero = Some((n, code)),
            GWord::CompensationOff => ask.compensation = Some((None, code)),
            GWord::CompensationOn(side) => ask.compensation = Some((Some(side), code)),
            GWord::PlaneXy => {}
            GWord::Smooth => ask.path_mode = true,
            GWord::Exact => {
                ask.path_mode = true;
                self.ignored.count("G61", self.spot(b, code.offset));
            }
            GWord::ToolLength => {
                ask.tool_length = true;
                self.ignored
                    .count("tool length (G43)", self.spot(b, code.offset));
            }
            GWord::OwnTables => self.own_tables(b, code),
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
            GWord::Inch | GWord::Metric => {
                let unit = if word == GWord::Inch {
                    Unit::Inch
                } else {
                    Unit::Millimetre
                };
                ask.unit = Some(code);
                self.set_unit(b, unit, code);
            }
            GWord::Not(why) => {
                self.unsupported(
                    b,
                    code.offset,
                    format!("{} {why}.", name('G', code.tenths)),
                    if foreign::CALLS.contains(&code.tenths) {
                        foreign::WRITE_OUT
                    } else {
                        "Take it out, or write the program for a flat cutting table."
                    },
                );
                // Its axis words are its own: they are not moved to.
                b.asked.home = true;
            }
        }
    }

    /// `G10`: of the height alone it belongs to another machine's touch-off.
    fn own_tables(&mut self, b: &mut BlockAt<'_>, code: Code) {
        // Its axis words are its own: they are not moved to.
        b.asked.home = true;
        b.asked.own_tables = Some(code);
        if b.words.has(b'Z') && !b.words.has_any(b"XYR") {
            self.replaced.count("G10 Z", self.spot(b, code.offset));
        } else {
            self.unsupported(
                b,
                code.offset,
                "G10 writes the controller's own tables.".to_owned(),
                "Take it out, or write the program for a flat cutting table.",
            );
        }
    }

    pub(super) fn mode(
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
            mode_in_cut::tell(&mut self.findings, at, &name('G', code.tenths));
        }
    }

    pub(super) fn set_unit(&mut self, b: &BlockAt<'_>, unit: Unit, code: Code) {
        if self.first_unit.is_some_and(|_| self.unit != unit) {
            let at = self.spot(b, code.offset);
            units_changed::tell(&mut self.findings, at, &name('G', code.tenths), unit);
        }
        if self.unit != unit && !self.inverse_time {
            // F keeps its number and changes its meaning with the unit.
            self.feed_mm_s = self.feed.map(|f| f * unit.mm() / 60.0);
        }
        self.unit = unit;
        self.unit_stated = true;
    }

    /// Dimension words: is the unit known, and are there too many digits.
    pub(super) fn dimensions(&mut self, b: &BlockAt<'_>) {
        for letter in *b"XYZIJKR" {
            let Some(n) = b.words.get(letter) else {
                continue;
            };
            if matches!(letter, b'X' | b'Y' | b'R') {
                self.finest_decimals = self.finest_decimals.max(n.decimals());
            }
            // A zero is a zero in every unit.
            if n.value != 0.0 && self.first_unit.is_none() {
                self.first_unit = Some(self.unit);
                if !self.unit_stated {
                    self.unit_missing = Some(self.spot(b, b.words.offset(letter)));
                }
            }
            let most = if self.unit == Unit::Inch { 5 } else { 4 };
            if n.decimals() > most || n.digits() > 12 {
                let at = self.spot(b, b.words.offset(letter));
                self.digits.count(at, letter, n.decimals(), n.digits());
            }
        }
    }

    /// Letters that nothing in the block asks for.
    pub(super) fn check_words(&mut self, b: &BlockAt<'_>) {
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
            (
                b'P',
                b.asked.dwell.is_some() || b.asked.path_mode || b.asked.own_tables.is_some(),
            ),
            (
                b'D',
                b.asked.compensation.is_some_and(|(side, _)| side.is_some()),
            ),
            (b'H', b.asked.tool_length),
            (b'L', b.asked.own_tables.is_some()),
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
                Some(v) => {
                    let spot = self.spot(b, w.offset(letter));
                    self.ignored.count(kind, spot);
                    if letter == b'T' {
                        self.tool(v, spot.line);
                    }
                }
                None => {}
            }
        }
        if let Some(n) = w.get(b'N')
            && (n.value < 0.0 || n.decimals() > 0 || n.digits() > 9)
        {
            self.unreadable(
                b,
                w.offset(b'N'),
                "The line number is no whole number of up to nine digits.".to_owned(),
                "Number the lines with whole numbers, or leave the numbers out.",
            );
        }
    }

    /// A tool word does nothing here; it may tell that a program is for more than one setting.
    fn tool(&mut self, number: f64, line: u32) {
        let after_cuts = self.cut_list.cuts.len();
        if self.tools.last().is_some_and(|t| t.number == number) || self.tools.len() >= TOOLS_KEPT {
            return;
        }
        self.tools.push(Tool {
            number,
            line,
            after_cuts,
        });
    }

    pub(super) fn feed(&mut self, b: &BlockAt<'_>) {
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
}
