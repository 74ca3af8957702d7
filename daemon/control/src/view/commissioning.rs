//! What a screen is shown of commissioning.

use serde::{Deserialize, Serialize};

use crate::ask::CheckId;
use crate::commissioning::{Hand, Standing, Step, Wire};

/// The commissioning of the table.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CommissioningView {
    /// Every step, in order.
    pub steps: Vec<StepView>,
    /// The one that is open.
    pub open: Option<OpenStepView>,
}

/// What is on record of a step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepView {
    /// Which.
    pub step: Step,
    /// Whether its record stands.
    pub standing: Standing,
    /// The panel makes it; else it is made by hand and kept on paper.
    pub here: bool,
    /// What was measured when it was made last.
    pub measured: Option<String>,
    /// On the simulated table.
    pub simulated: bool,
    /// Why it cannot be begun now, and what to do; `None`: it can.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
    /// The check that is why, where it is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub barred_by: Option<CheckId>,
}

/// A step that is open.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OpenStepView {
    /// Which.
    pub step: Step,
    /// What to do, or the question; `None`: the panel is at work.
    pub says: Option<String>,
    /// It is a question: yes or no.
    pub answer: bool,
    /// What the panel does by itself as soon as the answer is yes; `None`: nothing.
    #[serde(default)]
    pub follows: Option<Follows>,
    /// The input that is worked, and how.
    pub wire: Option<(Wire, Hand)>,
    /// Turns that are left, this one included.
    pub left: usize,
    /// What was measured so far.
    #[serde(default)]
    pub measured: Vec<String>,
    /// What was found wrong so far.
    pub found: Vec<String>,
    /// The inputs of this step as they read now.
    #[serde(default)]
    pub levels: Vec<LevelView>,
}

/// An input as it reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LevelView {
    /// Which.
    pub wire: Wire,
    /// Its contact reads closed.
    pub closed: bool,
    /// It is not as it was at rest; `None`: that is not known yet.
    pub changed: Option<bool>,
}

/// What the panel does by itself once a question is answered by yes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Follows {
    /// The permit relay is pulsed.
    Pulses,
    /// The torch is fired.
    Fires,
}
