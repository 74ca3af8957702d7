//! What a screen is shown of the optional outputs.

use serde::{Deserialize, Serialize};

use crate::outputs::{Output, Tone};

/// The optional outputs, as the panel has told them to be.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct OutputsView {
    /// The lamp that says that the torch may fire; `None`: there is none.
    pub beacon: Option<bool>,
    /// Fume extraction; `None`: there is none.
    pub extraction: Option<bool>,
    /// There is a sounder.
    pub sounder: bool,
    /// What is being said by sound; `None`: nothing.
    pub sounds: Option<Tone>,
    /// They are being tried.
    pub testing: bool,
    /// Those that could not be driven.
    pub failing: Vec<Output>,
}
