//! Kerf compensation while reading: which cuts it holds for, and where its words may stand.
//!
//! NISTIR 6556, appendix B. What may not stand while it is on (a unit word, G28, G30, G53, G92 and
//! its kin) is `unsupported-word`; switching it on twice is `compensation-open`.

use super::{BlockAt, Run};
use crate::cuts::cut_list::{Compensation, Side};
use crate::reader::codes::Code;
use crate::reader::codes::name;
use crate::report::findings::Spot;
use crate::vetting::rules::torch::compensation_open;

/// No kerf is wider, mm.
const WIDEST_KERF_MM: f64 = 20.0;

/// Compensation that is switched on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct On {
    pub at: Spot,
    side: Side,
    kerf_mm: Option<f64>,
    /// The torch has travelled since.
    pub moved: bool,
}

impl On {
    /// What holds for a cut that begins now.
    pub fn for_cut(&self) -> Compensation {
        Compensation::new(self.side, self.kerf_mm, self.at, self.moved)
    }
}

impl Run<'_> {
    pub(super) fn compensate(&mut self, b: &BlockAt<'_>) {
        if self.compensation.is_some()
            && let Some(code) = b.asked.unit
        {
            // The unit word comes before G40 in the order of execution.
            self.not_while_on(b, code);
        }
        match b.asked.compensation {
            Some((Some(side), code)) => self.switch_on(b, side, code),
            Some((None, _)) => {
                self.compensation = None;
                self.torch.compensated_until_here();
            }
            None => {}
        }
        if self.compensation.is_some() {
            let words = [
                b.asked.set_place.map(|(_, code)| code),
                b.asked.machine_place,
                b.asked.home_word,
            ];
            for code in words.into_iter().flatten() {
                self.not_while_on(b, code);
            }
        }
    }

    fn switch_on(&mut self, b: &BlockAt<'_>, side: Side, code: Code) {
        let at = self.spot(b, code.offset);
        if let Some(on) = self.compensation {
            self.refused = true;
            compensation_open::twice(&mut self.findings, at, on.at);
            return;
        }
        let Ok(kerf_mm) = self.stated_kerf(b) else {
            return;
        };
        let on = On {
            at,
            side,
            kerf_mm,
            moved: false,
        };
        if self.torch.has_path() || (self.torch.is_on() && self.torch_word(b).is_none()) {
            compensation_open::inside_a_cut(&mut self.findings, at);
        } else {
            self.torch.compensate(on.for_cut());
        }
        self.compensation = Some(on);
    }

    /// The kerf that D states, mm: a number with decimals; a whole one is a place in a tool table,
    /// and there is none.
    fn stated_kerf(&mut self, b: &BlockAt<'_>) -> Result<Option<f64>, ()> {
        let Some(d) = b.words.get(b'D') else {
            return Ok(None);
        };
        let offset = b.words.offset(b'D');
        let kerf_mm = d.value * self.unit.mm();
        if d.value < 0.0 || (d.decimals() > 0 && !(kerf_mm > 0.0 && kerf_mm <= WIDEST_KERF_MM)) {
            self.unreadable(
                b,
                offset,
                format!("D{} is no width of a kerf and no tool's number.", d.value),
                "Write the kerf with its decimals (such as D1.45), or leave D out.",
            );
            return Err(());
        }
        if d.decimals() > 0 {
            return Ok(Some(kerf_mm));
        }
        self.ignored.count(
            "D (a tool's number: the kerf of the setup or the chart row is used)",
            self.spot(b, offset),
        );
        Ok(None)
    }

    fn not_while_on(&mut self, b: &BlockAt<'_>, code: Code) {
        let Some(since) = self.compensation.map(|on| on.at.line) else {
            return;
        };
        self.unsupported(
            b,
            code.offset,
            format!(
                "{} stands where kerf compensation is on, since line {since}.",
                name('G', code.tenths)
            ),
            "Write G40 before it, and switch compensation on again behind it.",
        );
    }
}
