//! The inputs that a hand can work, one by one.

use serde::{Deserialize, Serialize};

use crate::signals::Signals;

/// An input that is worked by hand in the walk. Mirror contacts are not: the permit relay's is proved by
/// its test, the sensing relay's by the contact test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "named as the signals of the machine file")]
pub enum Wire {
    // The torch contact first: its circuit is on only while the controller is well.
    Contact,
    FireOn,
    ArcOk,
    HoldButton,
    FloatSwitch,
    AirOk,
    SourceOn,
    Gate,
    TorchSeated,
    // Last: it takes the drives, and on some tables the controller.
    Estop,
}

impl Wire {
    /// All of them, in the order in which they are worked.
    pub const ALL: [Self; 10] = [
        Self::Contact,
        Self::FireOn,
        Self::ArcOk,
        Self::HoldButton,
        Self::FloatSwitch,
        Self::AirOk,
        Self::SourceOn,
        Self::Gate,
        Self::TorchSeated,
        Self::Estop,
    ];

    /// Its name in the machine file.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Contact => "contact",
            Self::FireOn => "fire_on",
            Self::ArcOk => "arc_ok",
            Self::HoldButton => "hold_button",
            Self::FloatSwitch => "float_switch",
            Self::AirOk => "air_ok",
            Self::SourceOn => "source_on",
            Self::Gate => "gate",
            Self::TorchSeated => "torch_seated",
            Self::Estop => "estop",
        }
    }

    /// Whether its contact reads closed; `None`: it is not fitted.
    #[must_use]
    pub const fn closed(self, s: &Signals) -> Option<bool> {
        match self {
            Self::Contact => Some(s.contact),
            Self::FireOn => Some(s.fire_on),
            Self::ArcOk => Some(s.arc_ok),
            Self::HoldButton => s.hold_button,
            Self::FloatSwitch => s.float_switch,
            Self::AirOk => s.air_ok,
            Self::SourceOn => s.source_on,
            Self::Gate => s.gate_closed,
            Self::TorchSeated => s.torch_seated,
            Self::Estop => Some(!s.estop_open),
        }
    }

    /// Its contact is closed while nobody touches it and the source is isolated.
    #[must_use]
    pub const fn closed_at_rest(self) -> bool {
        matches!(
            self,
            Self::AirOk | Self::Gate | Self::TorchSeated | Self::Estop
        )
    }

    /// How a hand works it: what to do, and what undoes it.
    pub(super) const fn by_hand(self) -> (&'static str, &'static str) {
        match self {
            Self::Contact => (
                "Touch the nozzle with metal that lies on the sheet.",
                "Take the metal away.",
            ),
            Self::FireOn => (
                "Bridge the mirror contact of the start relay.",
                "Take the bridge off.",
            ),
            Self::ArcOk => (
                "Bridge the arc signal's terminals at the source.",
                "Take the bridge off.",
            ),
            Self::HoldButton => ("Press the hold button.", "Let the hold button go."),
            Self::FloatSwitch => ("Lift the floating head.", "Let the floating head down."),
            Self::AirOk => (
                "Shut the air valve and let the pressure fall.",
                "Open the air valve.",
            ),
            Self::SourceOn => (
                "Bridge the source's own on contact.",
                "Take the bridge off.",
            ),
            Self::Gate => ("Open the gate.", "Close the gate."),
            Self::TorchSeated => ("Knock the torch out of its holder.", "Seat the torch."),
            Self::Estop => (
                "Press the emergency stop.",
                "Release the emergency stop and reset its chain.",
            ),
        }
    }
}
