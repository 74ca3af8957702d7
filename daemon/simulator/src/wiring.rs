//! How the panel's inputs are wired, what a hand does to them one by one, and what can be wrong with that.

use std::collections::{BTreeMap, BTreeSet};

use crate::harness::{HandAct, Input, Levels, WireFault};

const MS: u64 = 1_000_000;
/// A worn contact bounces for so long after it was worked, and so fast (invented).
const BOUNCES_NS: u64 = 60 * MS;
const BOUNCE_NS: u64 = 5 * MS;
/// A divider for another source: the volts read are so many times too small (invented).
const RATIO: f64 = 2.5;

/// The wires between the table and the panel.
#[derive(Clone, Debug, Default)]
pub(crate) struct Wiring {
    faults: Vec<WireFault>,
    /// Contacts that a hand works now.
    worked: BTreeSet<Input>,
    /// Wires that are off their terminals.
    off: BTreeSet<Input>,
    /// When each was worked last.
    moved: BTreeMap<Input, u64>,
}

impl Wiring {
    pub(crate) fn add(&mut self, fault: WireFault) {
        self.faults.push(fault);
    }

    pub(crate) fn has(&self, fault: WireFault) -> bool {
        self.faults.contains(&fault)
    }

    pub(crate) fn work(&mut self, now: u64, input: Input, act: HandAct) {
        self.moved.insert(input, now);
        match act {
            HandAct::Work => self.worked.insert(input),
            HandAct::LetGo => self.worked.remove(&input),
            HandAct::WireOff => self.off.insert(input),
            HandAct::WireOn => self.off.remove(&input),
        };
    }

    /// The next moment at which a contact bounces.
    pub(crate) fn next(&self, now: u64) -> Option<u64> {
        let bouncing = self.faults.iter().filter_map(|f| match f {
            WireFault::Bouncing(input) => self.moved.get(input).copied(),
            _ => None,
        });
        let due = |at: u64| {
            let next = at + ((now - at) / BOUNCE_NS + 1) * BOUNCE_NS;
            (now <= at + BOUNCES_NS).then_some(next)
        };
        bouncing.filter_map(due).min()
    }

    /// What the panel reads of these contacts. `senses`: the sensing circuit is on the torch.
    pub(crate) fn read(&self, now: u64, truth: Levels, senses: bool) -> Levels {
        let mut contacts = truth;
        for &input in &self.worked {
            let closed = match input {
                Input::Contact => senses,
                // The chain itself is opened by the hand.
                Input::Estop => input.closed(&truth),
                _ => !input.closed_at_rest(),
            };
            input.set(&mut contacts, closed);
        }
        let mut read = contacts;
        for fault in &self.faults {
            if let WireFault::Crossed(a, b) = *fault {
                a.set(&mut read, b.closed(&contacts));
                b.set(&mut read, a.closed(&contacts));
            }
        }
        for &input in &self.off {
            input.set(&mut read, false);
        }
        for fault in &self.faults {
            match *fault {
                WireFault::Open(input) => input.set(&mut read, false),
                WireFault::Closed(input) => input.set(&mut read, true),
                WireFault::Inverted(input) => {
                    let closed = input.closed(&read);
                    input.set(&mut read, !closed);
                }
                WireFault::Bouncing(input) => {
                    if let Some(at) = self.moved.get(&input).copied()
                        && now < at + BOUNCES_NS
                        && ((now - at) / BOUNCE_NS) % 2 == 1
                    {
                        let closed = input.closed(&read);
                        input.set(&mut read, !closed);
                    }
                }
                WireFault::VoltsInverted => read.volts = -read.volts,
                WireFault::VoltsOpen => read.volts = 0.0,
                WireFault::VoltsRatio => read.volts /= RATIO,
                _ => {}
            }
        }
        read
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_fault_is_found_again_by_its_name() {
        let all = WireFault::all();
        for fault in &all {
            assert_eq!(WireFault::named(&fault.name()), Some(*fault), "{fault:?}");
        }
        for wrong in ["", "arc_ok", "arc_ok:arc_ok", "arc_ok:shut", "k4-welded"] {
            assert_eq!(WireFault::named(wrong), None, "{wrong}");
        }
        assert!(all.len() > 60);
    }

    #[test]
    fn a_wire_that_is_off_reads_open_whatever_its_contact_does() {
        let mut wiring = Wiring::default();
        let truth = Levels {
            torch_seated: true,
            ..Levels::default()
        };
        assert!(wiring.read(0, truth, false).torch_seated);
        wiring.work(0, Input::TorchSeated, HandAct::WireOff);
        assert!(!wiring.read(0, truth, false).torch_seated);
        wiring.work(0, Input::TorchSeated, HandAct::WireOn);
        wiring.work(0, Input::TorchSeated, HandAct::Work);
        assert!(!wiring.read(0, truth, false).torch_seated);
        wiring.add(WireFault::Crossed(Input::TorchSeated, Input::HoldButton));
        let read = wiring.read(0, truth, false);
        assert!(
            !read.torch_seated && !read.hold_button,
            "hold shows the seat"
        );
    }

    #[test]
    fn a_worn_contact_bounces_for_a_while_and_comes_to_rest() {
        let mut wiring = Wiring::default();
        wiring.add(WireFault::Bouncing(Input::HoldButton));
        wiring.work(0, Input::HoldButton, HandAct::Work);
        let at = |ms: u64| wiring.read(ms * MS, Levels::default(), false).hold_button;
        assert!(at(1) && !at(6) && at(11) && !at(56));
        assert!(at(61) && at(66));
        assert_eq!(wiring.next(0), Some(BOUNCE_NS));
        assert_eq!(wiring.next(70 * MS), None);
    }
}
