//! The levels of the panel's inputs, as the guard last read them.

use process::VoltsInput;
use serde::{Deserialize, Serialize};
use units::Time;

/// What the inputs say. `None` means that the input is not fitted on this table.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Signals {
    /// The start circuit is closed: the controller asks for the torch.
    pub fire_on: bool,
    /// The power source's arc-transferred contact.
    pub arc_ok: bool,
    /// The ohmic sensing circuit is closed.
    pub contact: bool,
    /// The emergency stop chain is open: stop.
    pub estop_open: bool,
    /// The hard-wired hold button is pressed.
    pub hold_button: Option<bool>,
    /// The floating head has met the sheet.
    pub float_switch: Option<bool>,
    /// Air pressure is good.
    pub air_ok: Option<bool>,
    /// The power source is switched on.
    pub source_on: Option<bool>,
    /// The torch sits in its breakaway.
    pub torch_seated: Option<bool>,
    /// The gate or light curtain is closed.
    pub gate_closed: Option<bool>,
    /// Mirror contact: the permit relay K2 is closed.
    pub permit_closed: Option<bool>,
    /// Mirror contact: the sensing circuit is off the torch.
    pub sense_isolated: Option<bool>,
    /// Arc voltage, V.
    pub volts: Option<f64>,
    /// Whether the volts' input can be believed, where it has a converter that tells.
    #[serde(default, skip_serializing_if = "VoltsInput::is_plausible")]
    pub volts_input: VoltsInput,
    /// The inputs could not be read: the levels are those of before, with the chain as if open.
    #[serde(default)]
    pub unreadable: bool,
}

/// Contacts that opened between two looks, however briefly: an edge that was seen counts, though the
/// level may have come back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Opened {
    /// The emergency stop chain.
    pub estop: bool,
    /// The torch's seat.
    pub torch_seated: bool,
    /// The gate.
    pub gate: bool,
    /// Edges may have been lost since the look before (a full queue, or pins that keep none): what is
    /// not told here may have happened all the same.
    pub missed: bool,
    /// Edges of any input that were shorter than its debounce, as far as they were seen.
    pub short_edges: u32,
    /// How many edges are known to be lost since the look before, by the kernel's own count.
    pub lost: u32,
    /// When those inputs changed that control times by, where the pins tell it.
    pub moments: Moments,
}

/// The kernel's own moments of the changes since the look before; `None`: nothing is known but the
/// look's own moment. An input that changed more than once has the moment since which it has stood
/// as it stands; one that [`Opened`] names the moment at which it opened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
#[allow(missing_docs, reason = "named as the signals")]
pub struct Moments {
    pub fire_on: Option<Time>,
    pub arc_ok: Option<Time>,
    pub contact: Option<Time>,
    pub estop: Option<Time>,
    pub permit_closed: Option<Time>,
    pub hold_button: Option<Time>,
}

impl Opened {
    /// The levels as the guard must take them: what opened counts as open in this look.
    #[must_use]
    pub fn over(self, levels: &Signals) -> Signals {
        let mut s = *levels;
        s.estop_open |= self.estop;
        s.torch_seated = s.torch_seated.map(|seated| seated && !self.torch_seated);
        s.gate_closed = s.gate_closed.map(|closed| closed && !self.gate);
        s
    }
}

/// The moments at which the inputs were last looked at. Old levels are bad levels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seen {
    /// The pins.
    pub pins: Time,
    /// The volts, where they have a converter of their own; `None`: they came with the pins.
    #[serde(default)]
    pub volts: Option<Time>,
    /// As [`Opened::missed`]: edges may have been lost since the look before.
    #[serde(default)]
    pub missed: bool,
    /// Edges of any input that were shorter than its debounce, since the panel started: noise.
    #[serde(default, skip_serializing_if = "is_none")]
    pub short_edges: u64,
}

fn is_none(n: &u64) -> bool {
    *n == 0
}

impl Seen {
    /// Everything was looked at in this moment, and no edge was lost.
    #[must_use]
    pub const fn at(now: Time) -> Self {
        Self {
            pins: now,
            volts: None,
            missed: false,
            short_edges: 0,
        }
    }
}
