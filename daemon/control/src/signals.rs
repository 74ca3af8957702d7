//! The levels of the panel's inputs, as the guard last read them.

use serde::{Deserialize, Serialize};

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
}
