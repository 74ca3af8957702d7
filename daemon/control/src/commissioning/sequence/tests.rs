//! Walks with a hand that does what it is asked, over wires that are right or wrong.

use super::*;

/// A table at rest with every input.
fn rest() -> Signals {
    Signals {
        hold_button: Some(false),
        float_switch: Some(false),
        air_ok: Some(true),
        source_on: Some(false),
        torch_seated: Some(true),
        gate_closed: Some(true),
        permit_closed: Some(false),
        sense_isolated: Some(true),
        ..Signals::default()
    }
}

fn set(s: &mut Signals, wire: Wire, closed: bool) {
    match wire {
        Wire::Contact => s.contact = closed,
        Wire::FireOn => s.fire_on = closed,
        Wire::ArcOk => s.arc_ok = closed,
        Wire::HoldButton => s.hold_button = Some(closed),
        Wire::FloatSwitch => s.float_switch = Some(closed),
        Wire::AirOk => s.air_ok = Some(closed),
        Wire::SourceOn => s.source_on = Some(closed),
        Wire::Gate => s.gate_closed = Some(closed),
        Wire::TorchSeated => s.torch_seated = Some(closed),
        Wire::Estop => s.estop_open = !closed,
    }
}

fn get(s: &Signals, wire: Wire) -> bool {
    wire.closed(s).expect("fitted")
}

/// What the wires make of the contacts, so long after a hand has worked one of them.
type Wires = dyn Fn(&Signals, Duration) -> Signals;

/// Makes the step; each question is answered by yes.
fn walked(step: Step, wires: &Wires) -> Outcome {
    let mut truth = rest();
    let mut now = Time::ZERO;
    let mut moved = now;
    let mut sequence = Sequence::new(step, &wires(&truth, HAND), true).expect("a course");
    let mut seen = None;
    for _ in 0..2_000_000 {
        if let Some(outcome) = sequence.outcome() {
            return outcome;
        }
        if sequence.own().is_some() {
            sequence.done(now, Ok("Done.".into()));
        }
        let turn = sequence.turns.front().copied();
        let left = sequence.left();
        if seen != Some(left) {
            seen = Some(left);
            moved = now;
            match turn {
                Some(Turn::Work(w) | Turn::WireOff(w)) => set(&mut truth, w, !get(&rest(), w)),
                Some(Turn::LetGo(w) | Turn::WireOn(w)) => set(&mut truth, w, get(&rest(), w)),
                Some(Turn::Say(..) | Turn::Only(..) | Turn::Still(..)) => {
                    assert!(sequence.told(now, true));
                }
                _ => {}
            }
        }
        now += Duration::from_millis(1);
        let _ = sequence.see(now, &wires(&truth, now.since(moved)));
    }
    panic!("it never ends: {sequence:?}");
}

fn found(wires: &Wires) -> String {
    let outcome = walked(Step::Inputs, wires);
    assert!(!outcome.passed, "{}", outcome.measured);
    outcome.measured
}

#[test]
fn wires_that_are_right_pass_and_each_is_named() {
    let outcome = walked(Step::Inputs, &|s, _| *s);
    assert!(outcome.passed, "{}", outcome.measured);
    for wire in Wire::ALL {
        let named = format!("{} right, 0 ms.", wire.name());
        assert!(outcome.measured.contains(&named), "{}", outcome.measured);
    }
    for step in [Step::Estop, Step::Papers, Step::Permit] {
        assert!(walked(step, &|s, _| *s).passed, "{step:?}");
    }
}

#[test]
fn any_two_wires_that_are_crossed_are_named_both() {
    for a in Wire::ALL {
        for b in Wire::ALL.into_iter().filter(|b| *b != a) {
            let says = found(&move |s, _| {
                let mut seen = *s;
                set(&mut seen, a, get(s, b));
                set(&mut seen, b, get(s, a));
                seen
            });
            assert!(
                says.contains("their wires are crossed"),
                "{a:?} {b:?}: {says}"
            );
            assert!(says.contains(a.name()) && says.contains(b.name()), "{says}");
            assert_eq!(says.matches("crossed").count(), 1, "told once: {says}");
        }
    }
}

#[test]
fn an_input_that_is_stuck_either_way_is_named_and_no_other() {
    for wire in Wire::ALL {
        for level in [false, true] {
            let says = found(&move |s, _| {
                let mut seen = *s;
                set(&mut seen, wire, level);
                seen
            });
            let reads = if level { "closed" } else { "open" };
            let words = if level == wire.closed_at_rest() {
                format!(
                    "{} did not change when it was worked: it reads {reads}",
                    wire.name()
                )
            } else {
                format!("{} is stuck: it reads {reads}", wire.name())
            };
            assert!(says.starts_with(&words), "{says}");
            for other in Wire::ALL.into_iter().filter(|o| *o != wire) {
                let named = says
                    .split(['.', ';'])
                    .any(|s| s.trim().starts_with(other.name()));
                assert!(!named, "{wire:?}: {says}");
            }
        }
    }
}

#[test]
fn an_inverted_input_is_told_from_a_stuck_one_by_what_was_seen() {
    for wire in Wire::ALL {
        let says = found(&move |s, _| {
            let mut seen = *s;
            set(&mut seen, wire, !get(s, wire));
            seen
        });
        let wanted = format!("{} is inverted", wire.name());
        let unsafe_loose = format!("{} reads closed with its wire off", wire.name());
        assert!(
            says.starts_with(&wanted) || says.starts_with(&unsafe_loose),
            "{says}"
        );
    }
}

#[test]
fn two_inputs_that_touch_are_told_from_two_that_are_crossed() {
    let says = found(&|s, _| Signals {
        fire_on: s.fire_on || s.arc_ok,
        arc_ok: s.fire_on || s.arc_ok,
        ..*s
    });
    assert!(
        says.starts_with("arc_ok changed together with fire_on"),
        "{says}"
    );
}

#[test]
fn bounce_counts_from_the_first_edge_and_only_beyond_its_limit() {
    // The hold button chatters for so long after it was pressed.
    let chatters = |ms: u64| {
        move |s: &Signals, since: Duration| {
            let mut seen = *s;
            let at = since.as_millis() as u64;
            if s.hold_button == Some(true) && at < ms && at % 4 >= 2 {
                seen.hold_button = s.hold_button.map(|b| !b);
            }
            seen
        }
    };
    let outcome = walked(Step::Inputs, &chatters(18));
    assert!(outcome.passed, "{}", outcome.measured);
    let says = found(&chatters(40));
    assert!(says.starts_with("hold_button bounced for "), "{says}");
}

#[test]
fn a_contact_that_sticks_when_it_is_let_go_is_named() {
    let worked = std::cell::Cell::new(false);
    let says = found(&move |s, _| {
        worked.set(worked.get() || s.gate_closed == Some(false));
        Signals {
            gate_closed: Some(s.gate_closed == Some(true) && !worked.get()),
            ..*s
        }
    });
    assert!(
        says.starts_with("gate still reads open after gate was let go"),
        "{says}"
    );
}

#[test]
fn without_the_source_isolated_nothing_is_asked_for() {
    for step in [Step::Inputs, Step::Permit, Step::Contact, Step::DryFire] {
        let mut sequence = Sequence::new(step, &rest(), true).expect("a course");
        assert!(sequence.told(Time::ZERO, false));
        let outcome = sequence.outcome().expect("it is over");
        assert!(!outcome.passed, "{step:?}");
    }
}

#[test]
fn a_contact_that_is_bridged_behind_its_wire_is_found_by_the_wire_that_is_off() {
    let outcome = walked(Step::Contact, &|s, _| *s);
    assert!(outcome.passed, "{}", outcome.measured);
    let mut sequence = Sequence::new(Step::Contact, &rest(), true).expect("a course");
    let wet = sequence
        .turns
        .iter()
        .position(|t| matches!(t, Turn::Still(..)));
    sequence.turns.drain(..wet.expect("the wet rag"));
    let _ = sequence.see(Time::from_ms(1), &rest());
    let closed = Signals {
        contact: true,
        ..rest()
    };
    let _ = sequence.see(Time::from_ms(2), &closed);
    assert!(sequence.told(Time::from_ms(3), true));
    assert_eq!(sequence.found(), ["contact changed meanwhile."]);
}

#[test]
fn where_the_circuit_cannot_be_told_on_no_hand_is_asked_to_close_its_contact() {
    let walk = Sequence::new(Step::Inputs, &rest(), false).expect("a course");
    let contact = |t: &Turn| t.wire() == Some(Wire::Contact);
    assert!(!walk.turns.iter().any(contact));
    let mut step = Sequence::new(Step::Contact, &rest(), false).expect("a course");
    assert!(step.told(Time::ZERO, true) && step.told(Time::ZERO, false));
    assert_eq!(
        step.found(),
        ["The contact's circuit was not proved by a meter."]
    );
}
