//! M words, the torch, dwells and stops.

use super::{BlockAt, Place, Run};
use crate::cuts::cut_list::Stop;
use crate::reader::foreign;
use crate::report::findings::Spot;
use crate::vetting::rules::reading::dwell_suspect;
use crate::vetting::rules::reading::unsupported_word;
use crate::vetting::rules::torch::compensation_open;
use crate::vetting::rules::torch::stop_while_on;

impl Run<'_> {
    /// M words but for the torch's: returns the stop or end among them.
    pub(super) fn machine_words(&mut self, b: &BlockAt<'_>) -> Option<(u32, u32)> {
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
                let (says, remedy) = foreign::m_word(m);
                self.unsupported(b, code.offset, says, remedy);
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

    pub(crate) fn is_torch_word(&self, m: u32) -> Option<bool> {
        let m = u16::try_from(m).ok()?;
        if self.rules.torch_on.contains(&m) {
            Some(true)
        } else if self.rules.torch_off.contains(&m) {
            Some(false)
        } else {
            None
        }
    }

    pub(super) fn torch_word(&self, b: &BlockAt<'_>) -> Option<(bool, u32)> {
        b.words.m_codes().iter().find_map(|code| {
            let on = self.is_torch_word(code.tenths / 10)?;
            Some((on, code.offset))
        })
    }

    pub(super) fn switch_torch(&mut self, (on, offset): (bool, u32), b: &BlockAt<'_>) {
        let at = self.spot(b, offset);
        if on {
            if !self.torch.is_on() {
                self.start_from_machine_place(at);
            }
            let compensation = self.compensation.map(|on| on.for_cut());
            self.torch.on(
                &mut self.findings,
                &self.cut_list,
                at,
                self.at,
                compensation,
            );
        } else {
            let was_on = self.torch.is_on();
            self.torch.off(&mut self.findings, &mut self.cut_list, at);
            // G40 in the same block is carried out behind the torch word; nothing moves between.
            let ends_here = matches!(b.asked.compensation, Some((None, _)));
            if was_on
                && let Some(on) = self.compensation.take()
                && !ends_here
            {
                compensation_open::still_on(&mut self.findings, at, on.at);
            }
        }
    }

    /// A cut begins where the program itself does not say.
    pub(super) fn start_from_machine_place(&mut self, at: Spot) {
        if let Place::Machine { line } = self.place {
            unsupported_word::start_unknown(&mut self.findings, at, line);
            self.place = Place::Guessed;
        }
    }

    pub(super) fn dwell(&mut self, b: &BlockAt<'_>) {
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
        dwell_suspect::tell(&mut self.findings, at, p);
        if self.torch.has_path() && p > stop_while_on::LONGEST_S {
            stop_while_on::dwell(&mut self.findings, at, p);
        } else {
            self.replaced.count("dwell", at);
        }
    }

    pub(super) fn stops(&mut self, b: &BlockAt<'_>, stop: Option<(u32, u32)>) {
        let Some((code, offset)) = stop else {
            return;
        };
        if code > 1 {
            return;
        }
        let at = self.spot(b, offset);
        if self.torch.is_on() {
            stop_while_on::stop(&mut self.findings, at, code);
        } else {
            self.ignored.count("M0/M1", at);
            self.cut_list.stops.push(Stop {
                line: b.number,
                after_cuts: self.cut_list.cuts.len(),
                optional: code == 1,
            });
        }
    }
}
