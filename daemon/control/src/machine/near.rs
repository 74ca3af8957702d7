//! Whether a person may go near: the panel's one judgement of it, published with every view and shown
//! on every held page. Screens repeat it and never judge by themselves.
//!
//! What is not known counts as not safe. It says nothing of touching the torch: for that its power
//! source is isolated, which is another page's affair.

use process::VoltsInput;

use super::clearing::DEAD_V;
use super::{Act, Machine};
use crate::cause::Cause;
use crate::guard::Phase;
use crate::view::Near;

/// All that the judgement is made from.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Seen {
    /// Every input was heard, and is not older than it may be.
    inputs_fresh: bool,
    /// The power source's arc contact is closed.
    arc_ok: bool,
    /// A latch says that the source did not obey, and nobody has isolated it yet.
    disobeyed: bool,
    /// The start circuit is closed.
    fire_on: bool,
    /// The permit relay's mirror contact; `None`: not fitted.
    relay_closed: Option<bool>,
    /// The permit pulses, or is asked to.
    permit: bool,
    /// At the torch, V; `None`: not measured.
    volts: Option<f64>,
    /// What is measured there is a loose wire.
    volts_wire_off: bool,
    /// A run, a move, a test or a stop is under way.
    active: bool,
    /// The controller's reports are fresh.
    link_alive: bool,
    /// By the last of them it stands still.
    stands: bool,
}

impl Seen {
    /// The first reason against going near, the worst first.
    fn against(&self) -> Option<String> {
        let says = |text: &str| Some(text.to_string());
        if !self.inputs_fresh {
            return says("The inputs are not seen afresh.");
        }
        if self.arc_ok {
            return says("The arc signal is on.");
        }
        if self.disobeyed {
            return says("The power source did not obey. It must be switched off first.");
        }
        if self.fire_on {
            return says("The torch is being asked to fire.");
        }
        if self.relay_closed == Some(true) {
            return says("The permit relay is seen closed.");
        }
        if self.permit {
            return says("The permit is on.");
        }
        if self.volts_wire_off {
            return says("The wire of the arc volts is off: they are not seen.");
        }
        if let Some(v) = self.volts.filter(|v| v.abs() >= DEAD_V) {
            return Some(format!("There are {v:.0} V at the torch."));
        }
        if self.active {
            return says("The machine is at work: it may move.");
        }
        if !self.link_alive {
            return says("The controller does not answer: it may move.");
        }
        if !self.stands {
            return says("The controller does not report standstill.");
        }
        None
    }

    fn judge(&self) -> Near {
        match self.against() {
            Some(why) => Near { safe: false, why },
            None => Near {
                safe: true,
                why: match self.relay_closed {
                    Some(_) => "Permit relay and arc are seen off. Nothing moves.".into(),
                    None => {
                        "Permit is off, its relay cannot be seen. Arc is seen off. Nothing moves."
                            .into()
                    }
                },
            },
        }
    }
}

impl Machine {
    /// Whether a person may go near now, and why or why not.
    pub(super) fn near(&self) -> Near {
        let s = &self.signals;
        let latched = |cause| self.alarms.is_latched(cause);
        Seen {
            inputs_fresh: self.inputs_fresh() && !matches!(self.act, Act::Starting),
            arc_ok: s.arc_ok,
            disobeyed: latched(Cause::ArcStuck) || latched(Cause::UnaskedFire),
            fire_on: s.fire_on,
            relay_closed: s.permit_closed,
            permit: self.guard.phase != Phase::Off,
            volts: s.volts,
            volts_wire_off: s.volts_input == VoltsInput::WireOff,
            active: self.active(),
            link_alive: self.line.open && self.line.alive,
            stands: self.line.at_rest(),
        }
        .judge()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL_WELL: Seen = Seen {
        inputs_fresh: true,
        arc_ok: false,
        disobeyed: false,
        fire_on: false,
        relay_closed: Some(false),
        permit: false,
        volts: Some(0.4),
        volts_wire_off: false,
        active: false,
        link_alive: true,
        stands: true,
    };

    #[test]
    fn it_is_safe_to_go_near_only_when_nothing_at_all_speaks_against_it() {
        assert!(ALL_WELL.judge().safe);
        let without_volts = Seen {
            volts: None,
            ..ALL_WELL
        };
        assert!(without_volts.judge().safe);
        let against: [fn(&mut Seen); 11] = [
            |s| s.inputs_fresh = false,
            |s| s.arc_ok = true,
            |s| s.disobeyed = true,
            |s| s.fire_on = true,
            |s| s.relay_closed = Some(true),
            |s| s.permit = true,
            |s| s.volts = Some(DEAD_V),
            |s| s.volts_wire_off = true,
            |s| s.active = true,
            |s| s.link_alive = false,
            |s| s.stands = false,
        ];
        let mut told = std::collections::BTreeSet::new();
        for (k, change) in against.into_iter().enumerate() {
            let mut seen = ALL_WELL;
            change(&mut seen);
            let near = seen.judge();
            assert!(!near.safe, "{k}: {seen:?}");
            assert!(told.insert(near.why), "{k}: each reason has its own words");
        }
    }

    #[test]
    fn a_relay_that_no_contact_shows_is_never_told_as_seen_open() {
        let blind = Seen {
            relay_closed: None,
            ..ALL_WELL
        };
        let near = blind.judge();
        assert!(near.safe && near.why.contains("cannot be seen"), "{near:?}");
        let still_on = Seen {
            permit: true,
            ..blind
        };
        assert!(!still_on.judge().safe);
    }

    #[test]
    fn no_word_of_it_is_about_touching_the_torch() {
        for seen in [
            ALL_WELL,
            Seen {
                relay_closed: None,
                ..ALL_WELL
            },
        ] {
            let why = seen.judge().why.to_lowercase();
            assert!(!why.contains("touch") && !why.contains("hand"), "{why}");
        }
    }
}
