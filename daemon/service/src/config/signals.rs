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
    /// How a wire that has come off is found, where it does not read as the safe state or not in time.
    pub proof: &'static str,
}

const fn signal(
    name: &'static str,
    required: bool,
    open_is_safe: bool,
    proof: &'static str,
) -> SignalKind {
    SignalKind {
        name,
        required,
        open_is_safe,
        on_a_pin: true,
        proof,
    }
}

/// All of them. A broken wire at `arc_ok` or `fire_on` that reads "open" stops a cut; read as
/// "closed" it would hide a lost arc or a welded contact. The proofs are those of the process handbook
/// (its failures and its commissioning).
pub const SIGNALS: [SignalKind; 13] = [
    signal(
        "fire_on",
        true,
        true,
        "reads as not asked for: the first start is told as overdue; the dry fire shows it before",
    ),
    signal(
        "arc_ok",
        true,
        true,
        "reads as no arc: the first start is told as no-arc; the dry fire on scrap shows it before",
    ),
    signal(
        "contact",
        true,
        false,
        "reads as no contact; the controller finds the sheet by its own branch of the circuit, so no \
         start tells: the contact test (touch the shield to the sheet with a wire) once a shift",
    ),
    signal("estop", true, true, "reads as pressed"),
    signal(
        "hold_button",
        false,
        false,
        "reads as not pressed: press it once after each start, the panel asks for that",
    ),
    signal(
        "float_switch",
        false,
        false,
        "reads as at rest, so a touch-off goes on to the limit of Z: lift the floating head by hand \
         once a shift and watch the input",
    ),
    signal("air_ok", false, true, "reads as no air"),
    signal("source_on", false, true, "reads as switched off"),
    signal("torch_seated", false, true, "reads as unseated"),
    signal("gate", false, true, "reads as open"),
    signal(
        "permit_closed",
        false,
        true,
        "reads as dropped: the permit test and the first start find that it never closes",
    ),
    signal(
        "sense_isolated",
        false,
        true,
        "reads as not isolated: no start is let through",
    ),
    SignalKind {
        name: "volts",
        required: false,
        open_is_safe: false,
        on_a_pin: false,
        proof: "",
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
