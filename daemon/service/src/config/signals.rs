//! The signals a table can have, by the names of the design.

/// What must be known of a signal to judge a machine file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SignalKind {
    /// Its name in the machine file.
    pub name: &'static str,
    /// A table that cuts must have it.
    pub required: bool,
    /// An open contact is the safe reading, so a wire that has come off must read as open.
    pub open_is_safe: bool,
    /// An on/off input that a pin can carry (arc voltage is not).
    pub on_a_pin: bool,
}

const fn signal(name: &'static str, required: bool, open_is_safe: bool) -> SignalKind {
    SignalKind {
        name,
        required,
        open_is_safe,
        on_a_pin: true,
    }
}

/// All of them. A broken wire at `arc_ok` or `fire_on` that reads "open" stops a cut; read as
/// "closed" it would hide a lost arc or a welded contact.
pub const SIGNALS: [SignalKind; 13] = [
    signal("fire_on", true, true),
    signal("arc_ok", true, true),
    signal("contact", true, false),
    signal("estop", true, true),
    signal("hold_button", false, false),
    signal("float_switch", false, false),
    signal("air_ok", false, true),
    signal("source_on", false, true),
    signal("torch_seated", false, true),
    signal("gate", false, true),
    signal("permit_closed", false, true),
    signal("sense_isolated", false, true),
    SignalKind {
        name: "volts",
        required: false,
        open_is_safe: false,
        on_a_pin: false,
    },
];

/// The signal of this name.
pub fn named(name: &str) -> Option<&'static SignalKind> {
    SIGNALS.iter().find(|s| s.name == name)
}

/// All names, for messages.
pub fn names() -> String {
    let names: Vec<_> = SIGNALS.iter().map(|s| s.name).collect();
    names.join(", ")
}
