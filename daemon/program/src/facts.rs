//! What vetting is told of the machine, the chart row and the supplies. All of it comes from the
//! service, which has it from the machine file and from `process`; what is not known is `None`, and
//! the rules that need it say `not-judged`.

/// What is known besides the program and the setup.
#[derive(Clone, Copy, Debug, Default)]
pub struct Facts {
    /// The slats that the sheet lies on.
    pub slats: Slats,
}

/// The slats of the table: they decide which piece falls through and which may tip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slats {
    /// From slat to slat, mm.
    pub pitch_mm: f64,
    /// How far a piece can fall or tip before something stops it, mm.
    pub depth_mm: f64,
}

impl Default for Slats {
    /// Those of the invented table.
    fn default() -> Self {
        Self {
            pitch_mm: 75.0,
            depth_mm: 60.0,
        }
    }
}
