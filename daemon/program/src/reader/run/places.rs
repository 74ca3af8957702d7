//! Where the zero is: G54 to G59, G92 and its kin.

use crate::vetting::rules::torch::zero_shift_in_cut;
use units::Point;

use super::{BlockAt, Run};
use crate::reader::codes::{GWord, name};

impl Run<'_> {
    pub(super) fn select_zero(&mut self, b: &BlockAt<'_>) {
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
            zero_shift_in_cut::tell(&mut self.findings, at, &name('G', code.tenths));
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
    pub(super) fn places(&mut self, b: &BlockAt<'_>) -> bool {
        if let Some((word, code)) = b.asked.set_place {
            let xy = b.words.has_any(b"XY");
            let z = b.words.has(b'Z');
            let at = self.spot(b, code.offset);
            if self.torch.is_on() && (xy || word != GWord::SetPlace) {
                zero_shift_in_cut::tell(&mut self.findings, at, &name('G', code.tenths));
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
    pub(super) fn set_place(&mut self, b: &BlockAt<'_>) {
        let unit = self.unit.mm();
        let shifts = self.moved || self.torch.is_on();
        if let Some(x) = b.words.value(b'X') {
            if shifts {
                self.shift.x = self.at.x - x * unit;
            } else {
                self.at.x = x * unit;
            }
        }
        if let Some(y) = b.words.value(b'Y') {
            if shifts {
                self.shift.y = self.at.y - y * unit;
            } else {
                self.at.y = y * unit;
            }
        }
        self.kept_shift = self.shift;
    }
}
